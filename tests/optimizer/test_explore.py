"""What the report lets a reader explore: the same designs, files and curves as everywhere else."""

import json
import tomllib
from dataclasses import replace

import numpy as np
import pytest

from models.score import Judge
from optimizer import explore
from optimizer.curves import CurveMaker
from optimizer.design_file import read_design
from optimizer.design_writing import write_design
from optimizer.explore import GAP, STEPS, explore_record, with_gaps
from optimizer.run_folder import read_run, write_run


def filled(record, index: int) -> str:
    values = iter(record["files"]["values"][index])
    parts = record["files"]["texts"][record["files"]["of"][index]].split(GAP)
    return parts[0] + "".join(f"{next(values)}{part}" for part in parts[1:])


def test_gaps_take_numbers_and_walls_but_no_names(designs) -> None:
    bandpass = designs[2]
    text = write_design(bandpass, 0, label='a 4 "5" x- box', comments=[])
    shared, values = with_gaps(text)
    assert shared.startswith('topology = "a 4 \\"5\\" x- box"  # graph AB/Ao\n')
    assert values[:3] == [150.0, 100.0, 140.0] and '[chambers.B]\nsides_mm = [' in shared
    assert {v for v in values if isinstance(v, str)} <= {"x-", "x+", "y-", "y+", "z-", "z+"}
    longer = replace(bandpass, sides=bandpass.sides * 1.25)
    assert with_gaps(write_design(longer, 0, label='a 4 "5" x- box'))[0] == shared


def test_files_read_back_to_the_score(tmp_path, season, explored_result) -> None:
    record = json.loads(json.dumps(explore_record(season, explored_result)))
    judge = Judge(season.rules, backend="numpy")
    for index in (0, 1, 2, 5, 40, len(record["candidate"]) - 1):
        path = tmp_path / "one.toml"
        path.write_text(filled(record, index), encoding="utf-8")
        assert tomllib.loads(path.read_text())["topology"] == _named(record, "topology", index)
        score = judge.scores(judge.respond(read_design(path, season.rules)))[0]
        assert score == pytest.approx(record["objectives"]["output_db"][index], abs=1e-4)


def _named(record, column: str, index: int) -> str:
    return record[column]["names"][record[column]["of"][index]]


def test_candidates_first_then_the_front_then_the_rest(season, explored_result) -> None:
    record = explore_record(season, explored_result)
    assert record["candidate"][:4] == [1, 2, 3, 0]
    front = [row for row in record["front"] if row]
    assert record["front"][3 : 3 + len(front)] == front == sorted(front) and len(front) == 3
    rest = record["objectives"]["output_db"][3 + len(front) :]
    assert rest == sorted(rest, reverse=True) and len(rest) > 50
    first = next(d for d in record["dimensions"] if d["name"] == "chamber A")["values"][:3]
    sides = [candidate.design.sides[0, 0] for candidate in explored_result.candidates]
    assert first == pytest.approx([1e3 * float(side.prod()) for side in sides], rel=1e-3)  # as in the reasons
    volumes = next(d for d in record["dimensions"] if d["name"] == "chamber B")
    known = {_named(record, "graph", i) for i, value in enumerate(volumes["values"]) if value is not None}
    assert volumes["unit"] == "l" and known == {"AB/Ao"}


def test_curves_are_those_of_the_evaluation(season, explored_result) -> None:
    record = explore_record(season, explored_result)
    hz = np.array(record["curves"]["hz"])
    assert {112.0, 160.0, 224.0} <= set(hz) and record["curves"]["spaces"] == ["court", "far court"]
    batch = explored_result.candidates[1].design
    responses = CurveMaker(season.rules, season.scale, explore.CURVE_POINTS).respond(batch)
    expected = {
        "level_db": responses.level_db[0],
        "excursion_mm": responses.excursion[0].max(axis=-1) * 1e3,
        "impedance_ohm": np.abs(responses.impedance[0]),
    }
    for name, values in expected.items():
        kept = record["curves"]["quantities"][name]
        steps = np.array(kept["rows"][1]).reshape(2, -1).cumsum(axis=1)
        assert kept["step"] == STEPS[name]
        np.testing.assert_allclose(steps * kept["step"], values, atol=kept["step"] * 0.501)


def test_curves_stop_at_the_budget(season, explored_result, monkeypatch) -> None:
    whole = explore_record(season, explored_result)["curves"]
    monkeypatch.setattr(explore, "CURVE_NUMBERS", 7 * 4 * 2 * len(whole["hz"]) + 1)
    fewer = explore_record(season, explored_result)["curves"]
    for name in STEPS:
        assert fewer["quantities"][name]["rows"] == whole["quantities"][name]["rows"][:7]
        assert len(whole["quantities"][name]["rows"]) > 50


def test_lies_in_the_run_folder(tmp_path, season, explored_result) -> None:
    run = write_run(tmp_path / "run", season, explored_result)
    assert run.explore == json.loads(json.dumps(explore_record(season, explored_result)))
    (run.folder / explore.EXPLORE).unlink()
    assert read_run(run.folder).explore is None
