"""What ``evaluate`` says of warm-up and of ears."""

from __future__ import annotations

import json

import numpy as np
import pytest

from models.exposure import a_weighting_db
from optimizer.exposure import duration, exposure_sentence, tone_exposure
from optimizer.report_words import CAUTIONS, cautions
from optimizer.run_folder import Run

HOT = "thermal_k_w = 9.0\ncoil_temperature_max_c = 60.0\n[envelope]"


@pytest.fixture
def hot_season(season_path):
    """The season with a driver whose thermal resistance is known."""
    text = season_path.read_text(encoding="utf-8").replace("[envelope]", HOT)
    season_path.write_text(text, encoding="utf-8")
    return season_path


def test_hot_levels_stand_beside_cold_ones(run, hot_season, design_paths):
    status, output, errors = run("evaluate", hot_season, *design_paths, "--json")
    assert status == 0, errors
    for one in json.loads(output):
        assert one["hot_score_db"] < one["score_db"]
        means = []
        for space in one["spaces"]:
            levels = [tone["hot_level_db"] for tone in space["tones"]]
            assert space["hot_mean_db"] == pytest.approx(np.mean(levels))
            means.append(space["hot_mean_db"])
            for tone in space["tones"]:
                assert tone["hot_level_db"] < tone["level_db"] and tone["coil_temperature_c"] > 20.0
        assert one["hot_score_db"] == pytest.approx((2.0 * means[0] + means[1]) / 3.0)


def test_text_tells_what_the_coil_bears(run, hot_season, design_paths):
    status, output, _ = run("evaluate", hot_season, design_paths[0])
    assert status == 0 and "hot dB" in output and "coil degC" in output
    assert "each tone held at the cold coil's drive" in output
    assert "tones the coil would pass the 60 degC that it bears" in output
    status, output, _ = run("check", hot_season)
    assert "coil to air 9 K/W; the coil bears 60 degC" in output


def test_without_the_key_nothing_is_said(run, season_path, design_paths):
    status, output, _ = run("evaluate", season_path, design_paths[0], "--json")
    assert status == 0 and "hot" not in output and "coil_temperature" not in output
    status, output, _ = run("evaluate", season_path, design_paths[0])
    assert "hot dB" not in output and "caution, hearing: at the microphone" in output


def test_unknown_and_useless_keys_are_refused(run, season_path, design_paths):
    text = season_path.read_text(encoding="utf-8")
    for line, words in (
        ("thermal_kw = 9.0", "driver.thermal_kw: unknown key; the nearest valid key is thermal_k_w"),
        ("coil_temperature_max_c = 180.0", "180 says nothing without thermal_k_w"),
    ):
        season_path.write_text(text.replace("[envelope]", line + "\n[envelope]"), encoding="utf-8")
        status, _, errors = run("evaluate", season_path, design_paths[0])
        assert status == 2 and words in errors


def test_exposure_at_both_frequencies(run, season_path, design_paths):
    """dB(A) is the level plus the weighting, at the model's frequency and at a quarter of it."""
    _, output, _ = run("evaluate", season_path, design_paths[1], "--json")
    for tone in json.loads(output)[0]["spaces"][0]["tones"]:
        found = tone["exposure"]
        assert found["full_size"]["hz"] == tone["hz"] / 4.0
        for at in (found["model"], found["full_size"]):
            weighting = float(a_weighting_db(np.array(at["hz"])))
            assert at["level_dba"] == pytest.approx(tone["level_db"] + weighting)
            assert at["niosh_s"] == pytest.approx(28800.0 / 2.0 ** ((at["level_dba"] - 85.0) / 3.0))


def test_one_caution_on_the_most_harmful_tone():
    spaces = [{"tones": [{"hz": 1000.0, "level_db": 94.0}, {"hz": 100.0, "level_db": 110.0}]}]
    text = exposure_sentence(spaces, 10.0)
    assert "1000 Hz is 94 dB(A): NIOSH 98-126 permits 1.0 h of it a day" in text
    assert "at 100 Hz is 75 dB(A)" in text and "the whole day" in text and "140" not in text
    loud = [{"tones": [{"hz": 1000.0, "level_db": 140.0}, {"hz": 500.0, "level_db": None}]}]
    text = exposure_sentence(loud, 1.0)
    assert "less than 1 s" in text and "Peaks of up to 143 dB(C)" in text and "full size" not in text
    assert exposure_sentence([{"tones": [{"hz": 500.0, "level_db": None}]}], 4.0) == ""
    assert tone_exposure(None, 100.0, 4.0) is None


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.3, "less than 1 s"), (28.1, "28 s"), (900.0, "15 min"), (9000.0, "2.5 h"), (1e5, "the whole day")],
)
def test_durations(seconds, words):
    assert duration(seconds) == words


def test_report_cautions_name_the_first_box(season, tmp_path):
    """The general cautions come first; the exposure is that of the first-ranked box."""
    spaces = [{"tones": [{"hz": 160.0, "level_db": 120.0}]}]
    record = {"scale": 4.0}
    first = {"evaluation": {"spaces": spaces}}
    run = Run(folder=tmp_path, record=record, candidates=[first], front=[], topologies=[])
    assert cautions(run)[:-1] == list(CAUTIONS)
    assert cautions(run)[-1] == f"Exposure to the first-ranked box: {exposure_sentence(spaces, 4.0)}"
    empty = Run(folder=tmp_path, record=record, candidates=[], front=[], topologies=[])
    assert cautions(empty) == list(CAUTIONS)
