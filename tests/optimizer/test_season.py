"""Season files: what a good one gives, and every fault of a bad one at its line."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path

import numpy as np
import pytest

from models.spaces import Cabin, HalfSpace
from optimizer.faults import ConfigError
from optimizer.season import load_season, season_from_data

CONFIGS = Path(__file__).parents[2] / "configs"
_FAULTS = tomllib.loads((Path(__file__).parent / "season_faults.toml").read_text(encoding="utf-8"))

BASE = """[season]
name = "test league"

[driver]
fs_hz = 95.0
qms = 4.0
qes = 0.50
vas_l = 0.90
re_ohm = 3.4
sd_cm2 = 21.0
cutout_mm = 58.0
frame_mm = 68.0
depth_mm = 38.0

[envelope]
width_mm = 240.0
height_mm = 180.0
depth_mm = 160.0
wall_mm = 3.0

[limits]
power_w = 12.0
excursion_mm = 3.0

[[tones]]
hz = 112.0
[[tones]]
hz = 144.0

[[spaces]]
name = "shut"
kind = "cabin"
size_mm = [620.0, 360.0, 300.0]
enclosure_at_mm = [530.0, 180.0, 90.0]
microphone_at_mm = [150.0, 180.0, 200.0]
damping = 0.10
[[spaces]]
name = "open"
kind = "half_space"
distance_m = 1.0
"""


def faults_of(folder: Path, text: str) -> list[str]:
    """Faults of a season's text, without the folder in front."""
    path = folder / "season.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError) as caught:
        load_season(path)
    return [str(fault).removeprefix(f"{folder}/") for fault in caught.value.faults]


def cases(table: str, *keys: str) -> pytest.MarkDecorator:
    """Bad inputs and their faults, from the list beside this file."""
    rows = [tuple(row[key] for key in keys) for row in _FAULTS[table]]
    return pytest.mark.parametrize(keys, rows, ids=[row[-1].split(": ", 1)[-1][:60] for row in rows])


def test_demo_season() -> None:
    """The demo's numbers in SI, and the driver's file joined in."""
    season = load_season(CONFIGS / "demo.toml")
    rules = season.rules
    assert (season.name, season.scale) == ("Quarter-scale league", 4.0)
    assert rules.tones_hz.tolist() == [112.0, 144.0, 188.0, 248.0]
    assert rules.tone_weights.tolist() == [1.0, 1.0, 1.0, 1.0]
    assert rules.driver.fs == pytest.approx(95.0)
    assert rules.driver.vas(rules.air) == pytest.approx(0.9e-3)
    assert rules.driver.cutout == pytest.approx(0.058)
    assert rules.driver.displaced_volume == pytest.approx(30e-6)
    assert rules.driver.coil_inductance == pytest.approx(0.15e-3)
    assert rules.envelope.outer_sides == pytest.approx([0.16, 0.24, 0.18])
    assert (rules.limits.power, rules.limits.excursion, rules.limits.air_speed) == (12.0, 0.003, 25.0)
    assert (rules.limits.voltage, rules.limits.current, rules.drive, rules.mean) == (
        30.0,
        6.0,
        "per_tone",
        "level",
    )
    shut, opened = rules.spaces
    assert isinstance(shut, Cabin) and isinstance(opened, Cabin)
    assert shut.size == pytest.approx((0.62, 0.36, 0.30)) and not shut.openings
    assert opened.openings[0].area == pytest.approx(0.02)
    assert opened.openings[0].at == pytest.approx((0.2, 0.0, 0.15))
    assert rules.air.density == pytest.approx(1.199314, abs=1e-6)
    assert season.search.topologies == "all"
    assert season.search.objectives == ("output", "evenness", "material")


@pytest.mark.parametrize("name", ["demo", "half_space", "narrow_band"])
def test_supplied_seasons_load(name: str) -> None:
    """Each loads, and its plain data give the same season again."""
    season = load_season(CONFIGS / f"{name}.toml")
    again = season_from_data(season.source, season.path)
    assert again.config_hash == season.config_hash
    assert again.rules.driver == season.rules.driver
    assert again.rules.spaces == season.rules.spaces
    assert np.array_equal(again.rules.tones_hz, season.rules.tones_hz)


def test_extension_keys() -> None:
    """Keys beyond the demo's reach the rules."""
    season = load_season(CONFIGS / "half_space.toml")
    rules = season.rules
    assert rules.spaces == (HalfSpace(name="court", weight=1.0, distance=1.0),)
    assert (rules.drive, rules.limits.power_kind, rules.physics.leak_corner_hz) == (
        "per_space",
        "nominal",
        1.0,
    )
    assert (rules.driver.coil_loss_k, rules.driver.coil_loss_n) == (0.012, 0.68)
    assert rules.driver.nominal_resistance == 6.0
    assert (season.search.duct_shape, season.search.topologies[3]) == ("slot", "oA/AB.Bo")
    narrow = load_season(CONFIGS / "narrow_band.toml").rules
    assert isinstance(narrow.spaces[0], Cabin)
    assert narrow.spaces[0].leak_corner_hz == 4.0
    assert narrow.spaces[0].openings[0].thickness == pytest.approx(0.002)
    assert narrow.mean == "energy"


def test_driver_file_and_inline_driver_are_the_same_season(tmp_path: Path) -> None:
    """The hash depends on the data, not on the files they stand in; a file may leave its header out."""
    (tmp_path / "whole.toml").write_text(BASE)
    start, end = BASE.index("[driver]"), BASE.index("[envelope]")
    for name, header in (("a.toml", "[driver]\n"), ("b.toml", "")):
        (tmp_path / name).write_text(header + BASE[start:end].removeprefix("[driver]\n"))
        text = BASE[:start] + f'[driver]\nfile = "{name}"\n' + BASE[end:]
        (tmp_path / f"season_{name}").write_text(text)
        assert (
            load_season(tmp_path / f"season_{name}").config_hash
            == load_season(tmp_path / "whole.toml").config_hash
        )


def test_hash_follows_every_value(tmp_path: Path) -> None:
    """Comments and order do not change the hash; a value does."""
    (tmp_path / "a.toml").write_text(BASE)
    (tmp_path / "b.toml").write_text(
        "# words\n" + BASE.replace("qms = 4.0\nqes = 0.50", "qes = 0.5\nqms = 4")
    )
    (tmp_path / "c.toml").write_text(BASE.replace("qms = 4.0", "qms = 4.001"))
    one, same, other = (load_season(tmp_path / f"{n}.toml").config_hash for n in "abc")
    assert one == same != other


def test_changed_copy_of_the_source() -> None:
    """A sweep changes plain data; faults are still found."""
    season = load_season(CONFIGS / "demo.toml")
    data = copy.deepcopy(season.source)
    data["limits"]["excursion_mm"] = 4.0
    assert season_from_data(data, season.path).rules.limits.excursion == pytest.approx(0.004)
    data["limits"]["excursion_mm"] = -1.0
    with pytest.raises(ConfigError, match=r"demo\.toml:1: limits\.excursion_mm: must be above 0, is -1"):
        season_from_data(data, season.path)


SEARCH = BASE + "[search]\n"
OPENING = BASE.replace('[[spaces]]\nname = "open"', '[[spaces.openings]]\nAT\n[[spaces]]\nname = "open"')


@cases("one_fault", "old", "new", "fault")
def test_one_fault(tmp_path: Path, old: str, new: str, fault: str) -> None:
    """File, line, key and values; one cause gives one fault."""
    assert BASE.count(old) >= 1
    faults = faults_of(tmp_path, BASE.replace(old, new, 1))
    wanted = [found for found in faults if fault in found]
    assert len(wanted) == 1, faults
    # a misspelt or absent key is also missed where it is needed
    others = [found for found in faults if found not in wanted and "missing" not in found]
    assert [found for found in others if "not enough data" not in found] == []


@cases("search", "line", "fault")
def test_search_faults(tmp_path: Path, line: str, fault: str) -> None:
    """Names are listed where one is unknown."""
    faults = faults_of(tmp_path, f"{SEARCH}{line}\n")
    assert len(faults) == 1 and fault in faults[0], faults


@cases("opening", "lines", "fault")
def test_opening_faults(tmp_path: Path, lines: str, fault: str) -> None:
    """An opening lies on one wall, within it, and is not blocked."""
    faults = faults_of(tmp_path, OPENING.replace("AT", lines))
    assert any(fault in found for found in faults), faults


def test_all_faults_at_once(tmp_path: Path) -> None:
    """Faults of types, ranges and cross-checks in different tables, in the order of the file."""
    text = BASE.replace("qms = 4.0", "qms = 4.0\nqts = 0.4").replace("power_w = 12.0", "power_w = 0")
    text = (
        text.replace("hz = 144.0", "hz = 112.0")
        .replace('name = "open"', 'name = "shut"')
        .replace("wall_mm = 3.0", "wall_mm = 90")
    )
    keys = [fault.split(": ")[1] for fault in faults_of(tmp_path, text)]
    assert keys == ["driver.qts", "envelope.wall_mm", "limits.power_w", "tones[1].hz", "spaces[1].name"]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"[season\n", "season.toml:1: toml: not TOML: Expected ']'"),
        (b"[season]\nname = 'x'\nname = 'y'\n", "season.toml:3: toml: not TOML: Cannot overwrite a value"),
        (b"[season]\nname = 'x'\npower = 8,5\n", "season.toml:3: toml: not TOML"),
        (b"[season]\nname = 'x", "season.toml:2: toml: not TOML"),
        (b"[season]\nname = '\xe9'\n", "season.toml:2: file: not UTF-8 text: byte 0xe9 at offset 17"),
        (b"\x00\x01", "season.toml:1: toml: not TOML"),
        (b"", "season.toml:1: season: missing"),
        (b"a = " + b"[" * 5000 + b"]" * 5000, "season.toml:1: toml: lists or tables are nested too deeply"),
        (b"a = " + b"9" * 5000, "season.toml:1: toml: not TOML"),
    ],
)
def test_not_a_season(tmp_path: Path, content: bytes, words: str) -> None:
    """Broken text gives the line and no traceback."""
    path = tmp_path / "season.toml"
    path.write_bytes(content)
    with pytest.raises(ConfigError) as caught:
        load_season(path)
    assert words in str(caught.value)


def test_missing_file_and_directory(tmp_path: Path) -> None:
    """The file's name stands in front."""
    with pytest.raises(ConfigError, match=r"none\.toml:1: file: no such file"):
        load_season(tmp_path / "none.toml")
    with pytest.raises(ConfigError, match="file: is a directory, not a file"):
        load_season(tmp_path)
    with pytest.raises(ConfigError, match=r"\\x00b\.toml:1: file: cannot be read"):
        load_season(str(tmp_path / "a\0b.toml"))


def season_with_driver_file(folder: Path, driver: str, more: str = "") -> list[str]:
    """Faults of a season whose driver stands in a file."""
    (folder / "drivers").mkdir(exist_ok=True)
    (folder / "drivers" / "d.toml").write_text(driver)
    start, end = BASE.index("[driver]"), BASE.index("[envelope]")
    return faults_of(folder, BASE[:start] + f'[driver]\nfile = "drivers/d.toml"\n{more}\n' + BASE[end:])


@cases("driver_file", "driver", "more", "fault")
def test_driver_file_faults(tmp_path: Path, driver: str, more: str, fault: str) -> None:
    """Faults name the file they stand in."""
    faults = season_with_driver_file(tmp_path, driver, more)
    assert len(faults) == 1 and fault in faults[0], faults


def test_driver_file_missing(tmp_path: Path) -> None:
    """The season's line names the path, relative to the season; other faults are still listed."""
    start, end = BASE.index("[driver]"), BASE.index("[envelope]")
    text = (
        BASE[:start]
        + '[driver]\nfile = "none/d.toml"\n'
        + BASE[end:].replace("power_w = 12.0", "power_w = 0")
    )
    missing, power = faults_of(tmp_path, text)
    assert missing == f"season.toml:5: driver.file: {tmp_path}/none/d.toml: no such file"
    assert power.startswith("season.toml:13: limits.power_w: must be above 0")
