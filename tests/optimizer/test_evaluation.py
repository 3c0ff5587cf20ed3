"""The evaluation object: the contract's keys, and numbers that agree with each other and with the physics."""

import json
from dataclasses import replace

import numpy as np
import pytest

from models.drive import LIMIT_NAMES
from models.score import Judge
from optimizer.evaluation import evaluation, number, unique_names

CONTRACT = {
    "hz", "level_db", "drive_v_rms", "current_a_rms", "real_power_w", "apparent_power_va", "impedance_ohm",
    "excursion_mm", "air_speed_m_s", "limit",
}  # fmt: skip


def test_keys_of_the_contract(season, designs) -> None:
    one = evaluation(Judge(season.rules), designs[1])[0]
    assert one.keys() >= {"score_db", "fits", "reasons_not", "spaces"}
    assert [space["name"] for space in one["spaces"]] == ["court", "far court"]
    for space in one["spaces"]:
        assert space.keys() >= {"name", "weight", "mean_db", "tones"}
        assert [tone["hz"] for tone in space["tones"]] == [112.0, 160.0, 224.0]
        for tone in space["tones"]:
            assert tone.keys() >= CONTRACT
            assert list(tone["air_speed_m_s"]) == ["port"]
            assert tone["limit"] in LIMIT_NAMES


def test_score_is_the_weighted_mean(season, designs) -> None:
    one = evaluation(Judge(season.rules), designs[1])[0]
    near, far = (np.mean([tone["level_db"] for tone in space["tones"]]) for space in one["spaces"])
    assert one["spaces"][0]["mean_db"] == pytest.approx(near, abs=1e-9)
    assert one["score_db"] == pytest.approx((2.0 * near + far) / 3.0, abs=1e-9)
    # the pressure of a small source in a half space falls as 1/r, which is the stated formula
    assert near - far == pytest.approx(20.0 * np.log10(2.0), abs=0.02)


@pytest.mark.parametrize("which", [0, 1, 2])
def test_electrical_values_agree(season, designs, which) -> None:
    one = evaluation(Judge(season.rules), designs[which])[0]
    for tone in (tone for space in one["spaces"] for tone in space["tones"]):
        impedance = complex(*tone["impedance_ohm"])
        assert tone["drive_v_rms"] == pytest.approx(abs(impedance) * tone["current_a_rms"])
        assert tone["apparent_power_va"] == pytest.approx(tone["drive_v_rms"] * tone["current_a_rms"])
        assert tone["real_power_w"] == pytest.approx(tone["current_a_rms"] ** 2 * impedance.real)


@pytest.mark.parametrize("which", [0, 1, 2])
def test_one_limit_is_met_and_none_exceeded(season, designs, which) -> None:
    one = evaluation(Judge(season.rules), designs[which])[0]
    for tone in (tone for space in one["spaces"] for tone in space["tones"]):
        shares = {
            "excursion": max(tone["excursion_mm"]) / 3.0,
            "power": tone["real_power_w"] / 12.0,
            "air_speed": max(tone["air_speed_m_s"].values(), default=0.0) / 25.0,
            "voltage": tone["drive_v_rms"] / 30.0,
            "current": tone["current_a_rms"] / 6.0,
        }
        assert max(shares.values()) == pytest.approx(1.0, rel=1e-5)
        assert shares[tone["limit"]] == pytest.approx(1.0, rel=1e-5)
        assert tone["margins_db"][tone["limit"]] == pytest.approx(0.0, abs=1e-5)
        assert tone["margins_db"]["voltage"] == pytest.approx(-20.0 * np.log10(shares["voltage"]), abs=1e-6)
        assert tone["margins_db"]["diaphragm"] is None


def test_given_drive(season, designs) -> None:
    one = evaluation(Judge(season.rules), designs[0], 1.0)[0]
    two = evaluation(Judge(season.rules), designs[0], 2.0)[0]
    for low, high in zip(one["spaces"][0]["tones"], two["spaces"][0]["tones"], strict=True):
        assert low["drive_v_rms"] == 1.0 and high["drive_v_rms"] == 2.0
        assert high["level_db"] - low["level_db"] == pytest.approx(
            20.0 * np.log10(2.0)
        )  # a closed box is linear


def test_does_not_fit(season, designs) -> None:
    large = replace(designs[0], sides=designs[0].sides * 2.0)
    one = evaluation(Judge(season.rules), large)[0]
    assert one["fits"] is False
    assert any("exceed the inside of the envelope" in reason for reason in one["reasons_not"])


def test_valid_json_without_sound(season, designs) -> None:
    one = evaluation(Judge(season.rules), designs[0], 0.0)[0]
    assert json.loads(json.dumps(one, allow_nan=False)) == one
    assert one["score_db"] is None and one["spaces"][0]["tones"][0]["impedance_ohm"] == [None, None]


def test_numbers_and_names() -> None:
    assert number(np.float64(1.5)) == 1.5
    assert [number(v) for v in (np.nan, np.inf, -np.inf)] == [None, None, None]
    assert unique_names(["a", "b", "a", "a 2", "a"]) == ["a", "b", "a 2", "a 2 2", "a 3"]


def test_warns_above_the_first_cross_mode(season, designs) -> None:
    design = designs[0]
    assert evaluation(Judge(season.rules), design)[0]["warnings"] == []
    high = evaluation(Judge(season.rules, [3000.0]), design)[0]["warnings"]
    assert high and "3000 Hz" in high[0]
