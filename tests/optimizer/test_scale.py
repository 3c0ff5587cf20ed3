"""The command ``scale``: levels, order and panels at full size."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from optimizer.full_size import full_size, put_beside
from optimizer.full_size_words import order_words
from optimizer.run_folder import write_run
from optimizer.season import season_from_data


@pytest.fixture
def scaled(run, season_path):
    """Runs ``scale`` on files and returns its JSON."""

    def command(*arguments):
        status, output, errors = run("scale", season_path, *arguments, "--json")
        assert status == 0, errors
        return json.loads(output)

    return command


def test_without_losses_nothing_changes(season, designs):
    """Levels, air speeds and limits at full size are the model's where no layer is at any wall."""
    source = season.source | {"physics": season.source["physics"] | {"wall_losses": False}}
    sizes = full_size(season_from_data(source, season.path))
    for design in designs:
        found = put_beside(sizes, design)
        tones = [tone for space in found["spaces"] for tone in space["tones"]]
        assert [t["change_db"] for t in tones] == pytest.approx([0.0] * len(tones), abs=1e-6)
        assert [t["full_size_limit"] for t in tones] == [t["limit"] for t in tones]


def test_layers_take_less_at_full_size(season, designs):
    """Layers change the levels of a vented box, a little; their own numbers scale as stated."""
    found = put_beside(full_size(season), designs[1])
    changes = [tone["change_db"] for space in found["spaces"] for tone in space["tones"]]
    assert 0.01 < max(np.abs(changes)) < 1.0
    duct = found["ducts"][0]
    model, full = duct["model"], duct["full_size"]
    assert full["viscous_layer_mm"] == pytest.approx(2.0 * model["viscous_layer_mm"])
    assert full["lost_per_radian"] == pytest.approx(0.5 * model["lost_per_radian"])
    ratio = full["air_speed_m_s"] / model["air_speed_m_s"]
    assert full["reynolds"] == pytest.approx(4.0 * ratio * model["reynolds"])


def test_command_agrees_with_evaluate(run, scaled, season_path, design_paths):
    """The model's levels are those of ``evaluate``; tones, power and microphone are a quarter size's."""
    found = scaled(*design_paths)
    _, output, _ = run("evaluate", season_path, *design_paths, "--json")
    for one, two in zip(found["designs"], json.loads(output), strict=True):
        assert one["score_db"] == two["score_db"]
        for space, other in zip(one["spaces"], two["spaces"], strict=True):
            for tone, known in zip(space["tones"], other["tones"], strict=True):
                assert tone["level_db"] == known["level_db"] and tone["limit"] == known["limit"]
                assert tone["full_size_hz"] == known["hz"] / 4.0
                assert tone["full_size_real_power_w"] <= 16.0 * 12.0 * (1.0 + 1e-9)
    assert found["driver"]["sd_cm2"] == pytest.approx(16.0 * 21.0)
    assert found["driver"]["fs_hz"] == pytest.approx(95.0 / 4.0)


def test_end_losses_and_damping_are_varied(scaled, design_paths):
    """More loss at duct ends lowers a vented box at the tone where its duct is fastest."""
    closed, vented = scaled(*design_paths[:2])["designs"]
    assert closed["end_loss_scores_db"] == [] and closed["damping_scores_db"] == []
    changes = [tone["end_loss_change_db"] for tone in vented["spaces"][0]["tones"]]
    less, more = max(changes, key=lambda pair: abs(pair[1]))
    assert less > 0.0 > more


def test_a_given_driver_and_its_limits(run, scaled, tmp_path, design_paths):
    path = tmp_path / "woofer.toml"
    path.write_text(
        'name = "invented 200 mm woofer"\nfs_hz = 30.0\nqms = 5.0\nqes = 0.4\nvas_l = 70.0\nre_ohm = 3.2\n'
        "sd_cm2 = 330.0\ncutout_mm = 230.0\nframe_mm = 265.0\ndepth_mm = 120.0\n",
        encoding="utf-8",
    )
    arguments = ("--driver", path, "--power-w", "50", "--excursion-mm", "6")
    found = scaled(design_paths[0], *arguments)
    assert found["driver"]["name"] == "invented 200 mm woofer" and not found["driver"]["scaled"]
    tones = [tone for space in found["designs"][0]["spaces"] for tone in space["tones"]]
    assert max(t["full_size_real_power_w"] for t in tones) <= 50.0 * (1.0 + 1e-9)
    assert max(t["full_size_excursion_mm"] for t in tones) <= 6.0 * (1.0 + 1e-9)
    assert found["designs"][0]["build"]["dimensions"]["driver"]["cutout_mm"] == 230.0


def test_dimensions_and_panels(scaled, design_paths):
    """The closed box of 150 x 160 x 120 mm is 600 x 640 x 480 mm inside; its sheet adds up."""
    build = scaled(design_paths[0], "--sheet-mm", "20")["designs"][0]["build"]
    assert build["dimensions"]["chambers"]["A"]["sides_mm"] == pytest.approx([600.0, 640.0, 480.0])
    volume = sum(p["count"] * p["length_mm"] * p["width_mm"] * 20.0 for p in build["panels"])
    assert volume == pytest.approx(640.0 * 680.0 * 520.0 - 600.0 * 640.0 * 480.0)
    holes = [hole for panel in build["panels"] for hole in panel["cut_outs"]]
    assert [hole["size_mm"] for hole in holes] == [pytest.approx([232.0])]


def test_candidates_of_a_run_and_their_order(run, season, season_path, result, tmp_path):
    """Every candidate is at its place; the text says whether the order stays."""
    folder = write_run(tmp_path / "run", season, result).folder
    status, output, errors = run("scale", season_path, "--run", folder)
    assert status == 0, errors
    assert "candidate 3" in output and "The order" in output
    status, output, _ = run("scale", season_path, "--run", folder, "--json")
    found = json.loads(output)
    scores = [one["score_db"] for one in found["designs"]]
    assert scores == sorted(scores, reverse=True)
    assert found["order"]["model"] == ["candidate 1", "candidate 2", "candidate 3"]
    assert [one["score_db"] for one in found["designs"]] == pytest.approx(
        [candidate.score_db for candidate in result.candidates], abs=0.01
    )


def test_an_order_that_changes_is_told():
    def one(model, full):
        return {
            "topology": "closed box", "graph": "oA", "score_db": model, "full_size_score_db": full,
            "change_db": full - model, "end_loss_scores_db": [full, full], "damping_scores_db": [],
        }  # fmt: skip

    text, record = order_words(["a", "b"], [one(100.0, 100.1), one(99.9, 100.3)])
    assert "b passes a" in text and record["full_size"] == ["b", "a"] and not record["survives"]
    text, record = order_words(["a", "b"], [one(100.0, 100.1), one(99.9, 100.12)])
    assert record["survives"] and "order is the same" in text


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "DESIGN: name at least one design file"),
        (("DESIGN", "--sheet-mm", "0"), "--sheet-mm: must be 0.1 to 200, is 0"),
        (("DESIGN", "--driver", "nowhere.toml"), "nowhere.toml: no such file"),
        (("DESIGN", "--power-w", "-3"), "--power-w: must be"),
    ],
)
def test_bad_input(run, season_path, design_paths, arguments, words):
    given = [design_paths[0] if one == "DESIGN" else one for one in arguments]
    status, _, errors = run("scale", season_path, *given)
    assert status == 2 and words in errors and "Traceback" not in errors


def test_bad_driver_file(run, season_path, design_paths, tmp_path):
    """Every fault of the driver's file is named with its line."""
    path = tmp_path / "woofer.toml"
    path.write_text("[driver]\nfs_hz = 30.0\nqmss = 5.0\ncount = 2\n", encoding="utf-8")
    status, _, errors = run("scale", season_path, design_paths[0], "--driver", path)
    assert status == 2 and f"{Path(path)}:3: driver.qmss: unknown key" in errors


def test_a_run_of_another_season_is_refused(run, season, result, tmp_path, season_path):
    folder = write_run(tmp_path / "run", season, result).folder
    text = season_path.read_text(encoding="utf-8").replace("power_w = 12.0", "power_w = 13.0")
    season_path.write_text(text, encoding="utf-8")
    status, _, errors = run("scale", season_path, "--run", folder)
    assert status == 2 and "another season" in errors


def test_text_of_a_vented_box(run, season_path, design_paths):
    status, output, errors = run("scale", season_path, design_paths[1])
    assert status == 0, errors
    for words in (
        "power 192 W (real)",
        "court, microphone at 4 m:",
        "caution, hearing at full size",
        "full-size Hz",
        "Reynolds number",
        "panels of 18 mm",
        "cut-outs",
    ):
        assert words in output
