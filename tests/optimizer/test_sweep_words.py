"""Sentences, tables and figures of a sweep, from rows made by hand."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from optimizer.files import write_json
from optimizer.sweep_page import draw_sweep
from optimizer.sweep_plan import make_plan
from optimizer.sweep_table import merge, table_text, write_tables
from optimizer.sweep_words import crossing, sweep_sentences, unit_of, with_unit

VENTED, BANDPASS = "oA/Ao", "AB/Ao"


def row(values: dict[str, Any], vented: float, bandpass: float, **shares: float) -> dict[str, Any]:
    """A finished point with two types."""
    scores = {VENTED: vented, BANDPASS: bandpass}
    graph = max(scores, key=lambda one: scores[one])
    return {
        "values": values,
        "status": "done",
        "best_db": scores[graph],
        "score_db": scores[graph],
        "graph": graph,
        "topology": "vented box" if graph == VENTED else "fourth-order bandpass",
        "lead_db": abs(vented - bandpass),
        "closed_db": None,
        "vented_db": vented,
        "bound_db": 140.0,
        "settled": True,
        "shares": shares,
        "topologies": [{"graph": graph, "best_db": score} for graph, score in scores.items()],
        "run": "points/x",
    }


def table(rows: list[dict[str, Any]], together: bool = False) -> dict[str, Any]:
    return {"season": "<b>", "keys": list(rows[0]["values"]), "together": together, "rows": rows}


def power(watts: float, vented: float, bandpass: float, **shares: float) -> dict[str, Any]:
    return row({"limits.power_w": watts}, vented, bandpass, **shares)


RISING = [
    power(8, 129.0, 130.0, power=1.0),
    power(12, 132.0, 131.0, power=0.5, excursion=0.5),
    power(24, 133.0, 131.5, excursion=1.0),
]


def test_sentences_of_a_line() -> None:
    """Slopes and the crossing are those of straight lines between the points."""
    words = sweep_sentences(table(RISING))
    assert words == [
        "limits.power_w: the best score goes from 130.00 dB at 8 W to 133.00 dB at 24 W, on average "
        "+0.188 dB per W.",
        "It is steepest between 8 and 12 W (+0.5 dB per W) and flattest between 12 and 24 W "
        "(+0.0833 dB per W).",
        "The winner changes near 10 W: fourth-order bandpass below, vented box above.",
        "Cone excursion stops tones from 12 W on, and none up to 8 W.",
        "The power limit stops tones up to 12 W and none from 24 W on: beyond, this rule changes nothing.",
    ]
    assert crossing(RISING[0], RISING[1], "limits.power_w") == pytest.approx(10.0)
    assert sweep_sentences(table(RISING[::-1])) == words


def test_a_fall_under_a_looser_limit_is_a_miss() -> None:
    rows = [power(8, 130.0, 129.0), power(12, 132.0, 129.0), power(16, 131.25, 129.0)]
    assert any("at limits.power_w = 16 is 0.75 dB below" in words for words in sweep_sentences(table(rows)))
    depth = [row({"envelope.depth_mm": r["values"]["limits.power_w"]}, r["best_db"], 129.0) for r in rows]
    assert not any("looser" in words for words in sweep_sentences(table(depth)))
    grid = [
        row({"limits.power_w": watts, "tones[0].hz": hz}, 130.0 + watts - (hz == 2 and watts == 3), 120.0)
        for watts in (1, 2, 3, 4)
        for hz in (1, 2)
    ]
    grid[5]["best_db"] = 131.5
    words = sweep_sentences(table(grid))
    assert any("at limits.power_w = 3, tones[0].hz = 2 is 0.50 dB below" in one for one in words)
    assert any("One type wins at every point: vented box." == one for one in words)


def test_doubts_are_told() -> None:
    rows = [power(8, 130.0, 129.0), power(12, 132.0, 131.95), power(16, 133.0, 129.0)]
    rows[2]["settled"] = False
    rows.append({**power(20, 0.0, 0.0), "status": "failed"})
    rows.append({**power(24, 0.0, 0.0), "graph": "", "topology": ""})
    words = " ".join(sweep_sentences(table(rows)))
    assert "1 of 5 points are missing: 1 failed." in words
    assert "At 1 of 5 points no design fits." in words
    assert "At 1 of 3 points the winner leads by less than 0.1 dB" in words
    assert "At 1 of 3 points the restarts did not agree" in words


def test_words_for_values() -> None:
    assert [unit_of(key) for key in ("tones[0].hz", "limits.air_speed_m_s", "spaces[1].size_mm[0]")] == [
        "Hz",
        "m/s",
        "mm",
    ]
    assert with_unit("envelope.width_mm", 240.0) == "240 mm"
    assert with_unit("search.duct_shape", "slot") == "slot"


def test_figures(tmp_path: Path) -> None:
    """A line, categories, pairs and a grid with a missing point are drawn; names are escaped."""
    names = [row({"driver.file": f"drivers/{i}.toml"}, 130.0 + i, 131.0, power=1.0) for i in range(3)]
    both = [{"limits.power_w": 10**i, "search.duct_shape": str(i)} for i in range(3)]
    pairs = [row(values, 130.0, 131.0, power=0.5) for values in both]
    grid = [row({"a": i, "b": j}, 130.0 + i, 129.0 + j, power=1.0) for i in range(4) for j in range(4)]
    grid[5]["status"] = "not run"
    for name, made, figures in (
        ("line", table(RISING), {"score", "binding"}),
        ("names", table(names), {"score", "binding"}),
        ("pairs", table(pairs, together=True), {"score", "binding"}),
        ("grid", table(grid), {"map", "binding"}),
        ("one", table(RISING[:1]), set()),
    ):
        draw_sweep(tmp_path / name, made | {"sentences": sweep_sentences(made)})
        found = {path.stem for path in (tmp_path / name).glob("*.png")}
        assert found == figures == {path.stem for path in (tmp_path / name).glob("*.svg")}
        page = (tmp_path / name / "sweep.html").read_text(encoding="utf-8")
        assert page.count("data:image/svg+xml") == len(figures)
        assert "&lt;b&gt;" in page and "<b>" not in page


def test_merging_takes_all_values(season_path: Path, tmp_path: Path) -> None:
    """Parts with other values of the same key become one table in rising order."""
    for name, values in (("one", "12,8"), ("two", "10,12")):
        plan = make_plan(season_path, [f"limits.power_w={values}"], effort=None, seed=None)
        write_json(tmp_path / name / "plan.json", plan.record())
        for point in plan.points:
            if (name, point.values[0]) != ("two", 10):
                record = power(point.values[0], 130.0, 129.0, power=1.0) | {
                    "config_hash": point.season.config_hash
                }
                kept = {key: value for key, value in record.items() if key not in ("values", "status", "run")}
                write_json(tmp_path / name / "points" / point.id / "point.json", kept)
    merge([tmp_path / "one", tmp_path / "two"], tmp_path / "out")
    made = write_tables(tmp_path / "out")
    assert [(r["values"]["limits.power_w"], r["status"]) for r in made["rows"]] == [
        (8, "done"),
        (10, "not run"),
        (12, "done"),
    ]
    assert json.loads((tmp_path / "out" / "sweep.json").read_text()) == made
    lines = table_text(made, "out").splitlines()
    assert lines[1].split()[:4] == ["8", "130.00", "vented", "box"] and "not run" in lines[2]
    assert (tmp_path / "out" / "sweep.csv").read_text().splitlines()[1].startswith("8,done,,130.0,")
