"""The audit of small seasons with planted answers, and drivers side by side."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from optimizer.audit import _bettered, audit
from optimizer.audit_words import audit_sentences, audit_text
from optimizer.driver_options import compare_drivers
from optimizer.known import Known, known_of_run
from optimizer.progress import silent
from optimizer.rematch import Match, rematch
from optimizer.run_folder import write_run
from optimizer.season import Season, load_season, season_from_data
from optimizer.tasks import TaskRunner
from optimizer.variants import Variant, output_of
from tests.optimizer.conftest import SEASON, hand_made_result

SMALL = SEASON + 'topologies = ["closed box", "vented box"]\neffort = "quick"\n'

LOUDER = """
[[driver_options]]
name = "twice the piston"
fs_hz = 95.0
qms = 4.0
qes = 0.5
vas_l = 3.6
re_ohm = 3.4
sd_cm2 = 42.0
cutout_mm = 80.0
frame_mm = 90.0
depth_mm = 38.0
displaced_cm3 = 30.0
"""


def season_with(tmp: Any, tones: list[float], extra: str = "", **limits: float) -> Season:
    """The small season at other tones and limits."""
    path = tmp / "league.toml"
    path.write_text(SMALL + extra, encoding="utf-8")
    source = load_season(path).source
    source = source | {"tones": [{"hz": hz} for hz in tones], "limits": source["limits"] | limits}
    return season_from_data(source, path)


def contest(season: Season) -> tuple[Variant, list[Known]]:
    """A closed and a vented box by a short look at each."""
    variant = Variant(TaskRunner(season))
    known = []
    for graph, name in (("oA/Ao", "vented box"), ("oA", "closed box")):
        point = variant.seek(graph, "survey", 1)
        assert point is not None
        design = variant.cell(graph).space.decode(point.x, point.site)
        best = output_of(point)
        known.append(Known(topology=name, graph=graph, best_db=best, design=design, reduces_to=""))
    return variant, known


def with_rungs(found: dict[str, Any]) -> dict[str, Any]:
    best = found["types"][0]["best_db"]
    own = {"name": "every tone with its own box", "above_best_db": 2.5}
    return {"best_found_db": best, "par": {"closed box": best - 7.0}, "rungs": [own], "audit": found}


@pytest.fixture(scope="module")
def planted(tmp_path_factory) -> tuple[Season, dict[str, Any]]:
    """Power that nothing uses up; one tone, 45 Hz, that only a tuned box serves, and one that any does."""
    season = season_with(tmp_path_factory.mktemp("audit"), [45.0, 120.0], power_w=1e5, air_speed_m_s=80.0)
    return season, audit(season, *contest(season))


def test_a_limit_that_never_binds_is_named(planted) -> None:
    _, found = planted
    uses = {use["rule"]: use for use in found["uses"]}
    assert not uses["limits.power_w"]["binds"]
    assert 0.0 < uses["limits.power_w"]["most"] < 1e4
    assert uses["limits.excursion_mm"]["binds"] and uses["limits.excursion_mm"]["most"] == pytest.approx(3.0)
    sentence = next(s for s in audit_sentences(with_rungs(found)) if "never bind" in s)
    assert "Power (" in sentence and "of 100000 W used" in sentence and "excursion" not in sentence
    still = [r for r in found["rules"] if r["rule"] == "limits.power_w"]
    assert [r["gain_db"] for r in still] == pytest.approx([0.0, 0.0], abs=5e-3)


def test_a_tone_for_a_tuned_box_is_named(planted) -> None:
    _, found = planted
    low, *others = found["tones"]
    assert low["narrow"] and "peak" in low["why"] and low["peak_db"] > 3.0
    assert low["above_rival_db"] > 10.0  # a closed box gives little at 45 Hz
    assert not any("peak" in tone["why"] for tone in others)
    text = audit_text(with_rungs(found))
    assert "The tone at 45 Hz rewards a box made for it: 5 % beside it" in text
    assert "Another type wins" in text or "The winner is firm" in text


def test_every_change_of_the_planted_season_goes_the_right_way(planted) -> None:
    season, found = planted
    for rule in found["rules"]:
        looser = (rule["to"] > rule["from"]) != (rule["rule"] == "envelope.wall_mm")
        assert rule["gain_db"] >= -1e-9 if looser else rule["gain_db"] <= 0.01, rule["rule"]
        assert rule["order"][0] == rule["graph"]
    for tone in found["tones"]:
        assert tone["left_out"]["gain_db"] >= -1e-6
        assert [m["to_hz"] for m in tone["moved"]] == pytest.approx([0.95 * tone["hz"], 1.05 * tone["hz"]])
    assert len(found["rules"]) == 2 * 9 and len(found["tones"]) == season.rules.tones_hz.size
    assert found["drivers"] == []


def test_further_changes_are_counted_on_the_page_too(planted) -> None:
    """The page shows the sentences without the tables, so they must not point below."""
    found = planted[1]
    flip = found["rules"][0] | {"changes_winner": True, "best_db": 120.0, "margin_db": 0.1}
    others = {"rules": [flip] * 6, "tones": []}
    sentence = audit_sentences(with_rungs(found | others))[0]
    assert sentence.endswith(", and with 2 smaller leads.")


def test_the_winner_changes_where_a_tone_decides(tmp_path) -> None:
    """A box that must be small: closed and vented ones change places when the low tone goes."""
    season = season_with(tmp_path, [45.0, 300.0])
    variant, known = contest(season)
    base = Match(
        variant=variant,
        points={k.graph: variant.solve(k.graph, variant.seek(k.graph, "survey", 2)) for k in known},
    )
    low = rematch(base, variant.hearing([0, 1], [0]), None, 1)
    assert low is not None and low.order == ["oA/Ao", "oA"]
    assert low.margin_db is not None and low.margin_db > 5.0
    assert low.best_db >= float(
        variant.hearing([0, 1], [0]).carried("oA/Ao", base.points["oA/Ao"], variant).columns["output_db"][0]
    )


def test_nothing_fits_where_the_walls_leave_nothing(tmp_path) -> None:
    season = season_with(tmp_path, [112.0, 160.0])
    variant, known = contest(season)
    points = {k.graph: variant.seek(k.graph, "survey", 1) for k in known}
    base = Match(variant=variant, points=points)
    envelope = replace(season.rules.envelope, wall=0.075)
    assert rematch(base, variant.under(replace(season.rules, envelope=envelope)), None, 1) is None


def test_a_better_box_under_moved_rules_becomes_the_seasons(tmp_path) -> None:
    season = season_with(tmp_path, [112.0, 160.0])
    variant = Variant(TaskRunner(season))
    poor = variant.cell("oA").evaluate(np.full((1, 1), 0.2), np.zeros((1, 1), dtype=int))
    assert poor.excess[0] <= 0.0
    best = variant.solve("oA", variant.seek("oA", "survey", 1))
    assert output_of(best) > output_of(poor) + 0.1
    better = _bettered(
        Match(variant=variant, points={"oA": poor}), [Match(variant=variant, points={"oA": best})]
    )
    assert better is not None and better.best_db == pytest.approx(output_of(best), abs=1e-3)
    assert _bettered(better, [Match(variant=variant, points={"oA": poor})]) is None


def test_a_plainly_better_driver_is_told(tmp_path) -> None:
    """Twice the piston at the same excursion moves twice the air: 6 dB where excursion stops."""
    season = season_with(tmp_path, [60.0, 80.0], LOUDER, power_w=1e4, amplifier_v=1e4, amplifier_a=1e4)
    variant, known = contest(season)
    own, other = compare_drivers(season, variant, known[1:], "survey", silent)
    assert (own["name"], other["name"]) == ("test driver", "twice the piston")
    assert own["stops"] == other["stops"] == {"excursion": 1.0}
    assert other["best_db"] - own["best_db"] == pytest.approx(20.0 * np.log10(2.0), abs=0.1)
    assert own["par"]["closed box"] == own["best_db"]
    assert own["margin_db"] is None and own["power_db_per_w"] == pytest.approx(0.0, abs=1e-9)
    # 1 mm more of 3 mm, all excursion: 20 log10(e) / 3 dB a mm at its start
    assert own["excursion_db_per_mm"] == pytest.approx(20.0 / np.log(10.0) / 3.0, rel=0.02)
    only = [{"graph": "oA", "topology": "closed box", "best_db": own["best_db"]}]
    audit_of_two = {"types": only, "rules": [], "tones": [], "uses": [], "drivers": [own, other]}
    text = audit_text(with_rungs(audit_of_two))
    assert "Twice the piston makes the loudest season" in text and "6.0" in text
    assert "only one type fits" in text.lower()


def test_command_writes_the_audit_into_the_run(run, tmp_path) -> None:
    """One tone, closed boxes alone: a contest that is short."""
    path = tmp_path / "league.toml"
    tones = SEASON[SEASON.index("[[tones]]") : SEASON.index("[[spaces]]")]
    text = SEASON.replace(tones, "[[tones]]\nhz = 112.0\n") + 'topologies = ["closed box"]\n' + LOUDER
    path.write_text(text, encoding="utf-8")
    season = load_season(path)
    _, known = contest(season)
    folder = tmp_path / "run"
    folder.mkdir()
    write_run(folder, season, hand_made_result(season, [known[1].design]))
    status, text, err = run("ceiling", path, "--run", folder, "--audit", "--effort", "quick")
    assert status == 0 and "Traceback" not in err
    for words in ("Before announcing this season", "Rules moved by a tenth", "Drivers", "twice the piston"):
        assert words in text
    found = json.loads((folder / "ceiling.json").read_text(encoding="utf-8"))
    assert {"best_found_db", "par", "rungs", "topologies", "prices", "audit"} <= set(found)
    assert set(found["audit"]) >= {"types", "rules", "tones", "uses", "drivers", "sentences"}
    assert [d["name"] for d in found["audit"]["drivers"]] == ["test driver", "twice the piston"]
    assert found["audit"]["tones"][0]["left_out"] is None
    for sentence in found["audit"]["sentences"]:
        assert sentence in text


def test_runs_serve_seasons_with_other_tolerances_and_drivers(season, result, tmp_path) -> None:
    folder = tmp_path / "run"
    folder.mkdir()
    write_run(folder, season, result)
    beside = {"tolerances": {"duct_length_mm": 1.0}, "driver_options": [{"name": "x", **_plain(season)}]}
    assert len(known_of_run(folder, season_from_data(season.source | beside, season.path))) == 3


def _plain(season: Season) -> dict[str, Any]:
    return {k: v for k, v in season.source["driver"].items() if k not in ("name", "count", "wiring")}


@pytest.mark.parametrize(
    "table, words",
    [
        ('name = "a"\nsd_cm2 = 21.0', "driver_options[0]: not enough data"),
        ('file = "nowhere.toml"', "driver_options[0].file"),
        ('file = "part.toml"\nfs_hz = 80.0', "driver_options[0].fs_hz: is set in"),
        ('file = "part.toml"\ncount = 2', "driver_options[0].count: unknown key"),
        ('file = "part.toml"', '"test driver" is also the name of [driver]'),
        ('file = "wide.toml"', "driver_options[0].frame_mm: a frame of 300 mm fits no face"),
    ],
)
def test_faults_of_other_drivers(run, tmp_path, table, words) -> None:
    part = "\n".join(f"{k} = {json.dumps(v)}" for k, v in load_text(tmp_path).items())
    (tmp_path / "part.toml").write_text(part, encoding="utf-8")
    wide = part.replace("frame_mm = 68.0", "frame_mm = 300.0").replace("test driver", "wide")
    (tmp_path / "wide.toml").write_text(wide, encoding="utf-8")
    path = tmp_path / "league.toml"
    path.write_text(SMALL + f"[[driver_options]]\n{table}\n", encoding="utf-8")
    status, out, err = run("check", path)
    assert (status, out) == (2, "")
    assert words in err and "Traceback" not in err


def test_a_driver_file_serves_as_an_option(tmp_path) -> None:
    """Its count is for a season's own driver and is left out here."""
    data = load_text(tmp_path) | {"name": "second", "count": 2}
    (tmp_path / "part.toml").write_text("\n".join(f"{k} = {json.dumps(v)}" for k, v in data.items()))
    path = tmp_path / "league.toml"
    path.write_text(SMALL + '[[driver_options]]\nfile = "part.toml"\n', encoding="utf-8")
    season = load_season(path)
    assert [driver.name for driver in season.driver_options] == ["second"]
    assert replace(season.driver_options[0], name="test driver") == season.rules.driver


def load_text(tmp_path) -> dict[str, Any]:
    """The test driver's data as a season gives them."""
    path = tmp_path / "own.toml"
    path.write_text(SMALL, encoding="utf-8")
    source = load_season(path).source["driver"]
    return {k: v for k, v in source.items() if k not in ("count", "wiring")}
