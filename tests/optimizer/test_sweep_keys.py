"""What ``--vary`` says: keys, ranges, lists, and its faults."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimizer.cli_options import BadOption
from optimizer.season import Season
from optimizer.sweep import shard_of
from optimizer.sweep_keys import read_vary
from optimizer.sweep_plan import make_plan, plan_differences


@pytest.mark.parametrize(
    ("text", "key", "values"),
    [
        ("limits.power_w=8:16:5", "limits.power_w", (8, 10, 12, 14, 16)),
        ("limits.power_w=16:8:3", "limits.power_w", (16, 12, 8)),
        ("limits.power_w=0.1:0.3:3", "limits.power_w", (0.1, 0.2, 0.3)),
        ("tones.1.hz=10:1000:3:log", "tones[1].hz", (10, 100, 1000)),
        ("tones[0].hz=1:2:3:log", "tones[0].hz", (1.0, 1.41421, 2.0)),
        ('spaces."far court".distance_m=1,2.5', "spaces[1].distance_m", (1, 2.5)),
        ("spaces.far court.distance_m=1, 2", "spaces[1].distance_m", (1, 2)),
        ("search.duct_shape=round,slot", "search.duct_shape", ("round", "slot")),
        ("driver.file=a.toml,b.toml", "driver.file", ("a.toml", "b.toml")),
        ("search.topologies=named, [oA]", "search.topologies", ("named", "[oA]")),
        ('search.topologies="named",["oA", "oA/Ao"]', "search.topologies", ("named", ["oA", "oA/Ao"])),
        ("physics.wall_losses=true,false", "physics.wall_losses", (True, False)),
    ],
)
def test_keys_and_values(season: Season, text: str, key: str, values: tuple) -> None:
    vary = read_vary(text, season.source)
    assert (vary.key, vary.values) == (key, values)
    assert [type(a) for a in vary.values] == [type(b) for b in values]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("limits.power_w", "must be KEY=VALUES"),
        ("=3", "must be KEY=VALUES"),
        ("limits.power_w=", "lacks a value"),
        ("limits.power_w=8,,9", "lacks a value"),
        ("limits.power_w=8:9", "COUNT 2 to"),
        ("limits.power_w=8:9:1", "COUNT 2 to"),
        ("limits.power_w=8:9:3:lin", "START:STOP:COUNT:log"),
        ("limits.power_w=8:8:3", "nothing to vary"),
        ("limits.power_w=0:8:3:log", "above 0 at both ends"),
        ("limits.power_w=8,8.0", "has the value 8 twice"),
        ("tones.3.hz=1,2", "there is no tones[3]: tones has 0 to 2"),
        ("tones.low.hz=1,2", "there is no 'low' in tones"),
        ("spaces.for court.weight=1,2", "the nearest name is 'far court'"),
        ("limits.power_w.x=1,2", "limits.power_w is a single value"),
    ],
)
def test_bad_texts(season: Season, text: str, words: str) -> None:
    with pytest.raises(BadOption) as caught:
        read_vary(text, season.source)
    assert words in caught.value.message


def plan(path: Path, *texts: str, together: bool = False):
    return make_plan(path, texts, together=together, effort=None, seed=None)


def test_grid_and_pairs(season_path: Path) -> None:
    texts = ("limits.power_w=8,10", "limits.excursion_mm=2:3:2")
    grid, pairs = plan(season_path, *texts), plan(season_path, *texts, together=True)
    assert [point.values for point in grid.points] == [(8, 2), (8, 3), (10, 2), (10, 3)]
    assert [point.values for point in pairs.points] == [(8, 2), (10, 3)]
    assert {point.id for point in pairs.points} < {point.id for point in grid.points}
    for point in grid.points:
        assert point.season.rules.limits.power == point.values[0]
        assert point.season.rules.limits.excursion == pytest.approx(point.values[1] * 1e-3)


def test_ids_and_shards_do_not_depend_on_order(season_path: Path) -> None:
    one = plan(season_path, "limits.power_w=8:14:4", "tones.0.hz=100,110")
    two = plan(season_path, "tones.0.hz=110,100", "limits.power_w=14:8:4")
    shards = [{point.id for point in shard_of(one.points, n, 3)} for n in (1, 2, 3)]
    assert shards == [{point.id for point in shard_of(two.points, n, 3)} for n in (1, 2, 3)]
    assert set.union(*shards) == {point.id for point in one.points}
    assert [len(shard) for shard in shards] == [3, 3, 2]


def test_more_values_are_no_other_sweep(season_path: Path) -> None:
    then = plan(season_path, "limits.power_w=8,10").record()
    assert plan_differences(then, plan(season_path, "limits.power_w=8:12:5").record()) == []
    other = plan(season_path, "limits.excursion_mm=2,3").record()
    assert plan_differences(then, other) == ["it sweeps limits.power_w, not limits.excursion_mm"]


def test_driver_files(season_path: Path) -> None:
    """A driver file replaces the season's driver, and keys of the driver in it can be varied too."""
    text = season_path.read_text(encoding="utf-8")
    table = text.partition("[driver]")[2].partition("[envelope]")[0]
    folder = season_path.parent
    (folder / "a.toml").write_text(table, encoding="utf-8")
    (folder / "b.toml").write_text(table.replace("sd_cm2 = 21.0", "sd_cm2 = 25.0"), encoding="utf-8")
    made = plan(season_path, "driver.file=a.toml,b.toml", "driver.qes=0.4,0.5")
    drivers = [point.season.rules.driver for point in made.points]
    assert [driver.area * 1e4 for driver in drivers] == pytest.approx([21.0, 21.0, 25.0, 25.0])
    assert [driver.qes for driver in drivers] == pytest.approx([0.4, 0.5, 0.4, 0.5])


@pytest.mark.parametrize(
    ("arguments", "faults"),
    [
        (
            ["--vary", "limits.powr_w=1:2:3"],
            ["command line:1: --vary limits.powr_w: unknown key; the nearest valid key is power_w (at every"],
        ),
        (
            ["--vary", "limits.power_w=-1,5", "--vary", "tones.0.hz=1,100"],
            [
                "--vary limits.power_w: must be above 0, is -1 (at limits.power_w = -1, tones[0].hz = 1; ",
                "--vary tones[0].hz: must be at least 5, is 1 (at limits.power_w = -1, tones[0].hz = 1; ",
            ],
        ),
        (["--vary", "envelope.width_mm=30,240"], ["(at envelope.width_mm = 30)"]),
        (["--vary", "driver.file=none.toml,x.toml"], ["none.toml: no such file", "x.toml: no such file"]),
        (["--vary", "search.seed=0.5,1"], ["--vary search.seed: must be a whole number, is 0.5"]),
        (["--vary", "limits.power_w=1,2", "--vary", "limits.power_w=3,4"], ["limits.power_w is given twice"]),
        (["--vary", "search.seed=1:10000:10000", "--vary", "limits.power_w=1,2"], ["more than 10000 points"]),
        (["--vary", "limits.power_w=1,2", "--together"], ["--together: needs --vary twice"]),
        (
            ["--vary", "limits.power_w=1,2", "--vary", "limits.excursion_mm=1,2,3", "--together"],
            ["--together: needs as many values of every key, has limits.power_w 2, limits.excursion_mm 3"],
        ),
        ([], ["--vary: is missing"]),
        (["--vary", "limits.power_w=1,2", "--shard", "3/2"], ["--shard: must be N/OF"]),
        (["--vary", "limits.power_w=1,2", "--workers", "0"], ["--workers: must be at least 1"]),
        (["--vary", "limits.power_w=1,2", "--address", "tcp://x:1"], ["--address: names a dask cluster"]),
        (["--vary", "limits.power_w=1,2", "--resume", "--out", "none"], ["none holds no plan.json"]),
        (["--merge"], ["--merge: ", "plan.json cannot be read"]),
        (["--merge", "--resume"], ["--merge: takes folders of sweeps"]),
    ],
)
def test_bad_input(season_path: Path, tmp_path: Path, monkeypatch, run, arguments, faults) -> None:
    """Faults of any point are told before anything is run or written."""
    monkeypatch.chdir(tmp_path)
    before = sorted(tmp_path.iterdir())
    status, out, err = run("sweep", season_path, *arguments)
    assert (status, out) == (2, "")
    for fault in faults:
        assert fault in err
    assert sorted(tmp_path.iterdir()) == before


def test_old_folder_needs_resume(season_path: Path, tmp_path: Path, run) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "plan.json").write_text("{}", encoding="utf-8")
    status, _, err = run("sweep", season_path, "--vary", "limits.power_w=1,2", "--out", out)
    assert status == 2 and "is not empty; nothing was written" in err
    status, _, err = run("sweep", season_path, "--vary", "limits.power_w=1,2", "--out", out, "--resume")
    assert status == 2 and "is not the plan of a sweep" in err
