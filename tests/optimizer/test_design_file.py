"""Design files: what a good one gives, and every fault of a bad one at its line."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.design import DesignBatch, Mouth, Patch
from models.envelope import Site
from models.places import default_patch
from models.rules import Rules
from models.topology import parse_graph_id
from optimizer.design_file import read_design
from optimizer.faults import ConfigError
from optimizer.season import load_season

RULES = load_season(Path(__file__).parents[2] / "configs" / "demo.toml").rules

BASE = """topology = "vented box"
[chambers.A]
sides_mm = [200.0, 125.0, 80.0]
[[drivers]]
front = "outside"
rear = "A"
rear_patch = { wall = "y+", at_mm = [60.0, 40.0], diameter_mm = 52.0 }
[[ducts]]
name = "port"
from = "A"
from_patch = { wall = "x+", at_mm = [62.5, 40.0], diameter_mm = 39.1 }
to = "outside"
shape = "round"
area_cm2 = 12.0
length_mm = 150.0
count = 1
from_end_mm = 0.0
"""

_FAULTS = tomllib.loads((Path(__file__).parent / "design_faults.toml").read_text(encoding="utf-8"))
CASES = [(case["old"], case["new"], case["fault"]) for case in _FAULTS["one_fault"]]

DIAPHRAGM = """[[diaphragms]]
from = "A"
to = "outside"
area_cm2 = 30
mass_g = 12
compliance_mm_n = 0.9
qm = 6
excursion_mm = 4
"""


def read(folder: Path, text: str, rules: Rules = RULES) -> DesignBatch:
    """Design of a text."""
    (folder / "box.toml").write_text(text, encoding="utf-8")
    return read_design(folder / "box.toml", rules)


def faults_of(folder: Path, text: str) -> list[str]:
    """Faults of a design's text, without the folder in front."""
    with pytest.raises(ConfigError) as caught:
        read(folder, text)
    return [str(fault).removeprefix(f"{folder}/") for fault in caught.value.faults]


def test_contract_example(tmp_path: Path) -> None:
    """Every number in SI."""
    batch = read(tmp_path, BASE)
    assert batch.size == 1 and batch.topology.graph_id == "oA/Ao"
    assert batch.sides[0, 0] == pytest.approx([0.2, 0.125, 0.08])
    front, rear = batch.driver_ends[0]
    assert isinstance(front, Mouth) and isinstance(rear, Patch)
    assert batch.sites[front.site[0]] == Site("x-", (0.12, 0.09))
    assert rear.wall == "y+" and rear.centre[0] == pytest.approx([0.06, 0.04])
    assert (2.0 * rear.half[0]) ** 2 == pytest.approx(math.pi / 4.0 * 0.052**2)
    duct = batch.ducts[0]
    assert (duct.name, duct.shape, duct.count) == ("port", "round", 1)
    assert (duct.area[0], duct.length[0], duct.loss_factor[0]) == pytest.approx((12e-4, 0.15, 1.0))
    assert duct.end_lengths[0] == pytest.approx([0.0]) and duct.end_lengths[1] is None


def test_volumes_names_and_default_places(tmp_path: Path) -> None:
    """A cube, a square prism, free names in file order; places follow the rule of models.places."""
    text = """[chambers."back room"]
volume_l = 2.0
[chambers.Z]
volume_l = 3.0
length_mm = 300.0
[[drivers]]
front = "back room"
rear = "Z"
rear_at = 0.25
[[ducts]]
from = "back room"
to = "Z"
shape = "slot"
area_cm2 = 16
area_end_cm2 = 24
length_mm = 30
to_at = 1
[[ducts]]
from = "Z"
to = "outside"
to_patch = { wall = "z+", at_mm = [50.0, 60.0] }
area_cm2 = 9
length_mm = 80
"""
    batch = read(tmp_path, text)
    assert batch.topology.graph_id == parse_graph_id("AB/AB.Bo").graph_id
    assert batch.sides[0, 0] == pytest.approx([0.002 ** (1 / 3)] * 3)
    assert batch.sides[0, 1] == pytest.approx([0.3, 0.1, 0.1])
    front, rear = batch.driver_ends[0]
    cube, prism, area = batch.sides[:, 0], batch.sides[:, 1], np.array([RULES.driver.area])
    first, second = batch.ducts
    assert (first.name, second.name) == ("duct 1", "duct 2")
    height = np.array([0.02])
    for found, wanted in (
        (front, default_patch(cube, 0, None, area)),
        (rear, default_patch(prism, 0, np.array([0.25]), area)),
        (first.ends[0], default_patch(cube, 1, None, np.array([16e-4]), shape="slot", slot_height=height)),
        (
            first.ends[1],
            default_patch(prism, 1, np.ones(1), np.array([24e-4]), shape="slot", slot_height=height),
        ),
        (second.ends[0], default_patch(prism, 2, None, np.array([9e-4]))),
    ):
        assert isinstance(found, Patch)
        assert found.wall == wanted.wall
        assert found.centre == pytest.approx(wanted.centre) and found.half == pytest.approx(wanted.half)
    assert (front.wall, rear.wall, first.ends[0].wall, first.ends[1].wall) == ("x-", "y-", "x+", "x+")
    assert first.slot_height == pytest.approx(height) and first.area_end == pytest.approx([24e-4])
    assert isinstance(second.ends[1], Mouth)
    assert batch.sites[second.ends[1].site[0]] == Site("z+", (0.05, 0.06))


def test_taper_and_lining(tmp_path: Path) -> None:
    """A profile beside the second area; flow resistivities as they stand; without them, neither."""
    text = BASE.replace(
        "length_mm", 'area_end_cm2 = 24\nprofile = "exponential"\nlining_pa_s_m2 = 900\nlength_mm'
    )
    text = text.replace("[[drivers]]", "lining_pa_s_m2 = 2500.5\n[[drivers]]")
    batch, plain = read(tmp_path, text), read(tmp_path, BASE)
    duct = batch.ducts[0]
    assert (duct.profile, plain.ducts[0].profile) == ("exponential", "conical")
    assert duct.lining == pytest.approx([900.0]) and duct.area_end == pytest.approx([24e-4])
    assert len(batch.lining) == 1 and batch.lining[0] == pytest.approx([2500.5])
    assert plain.lining == () and plain.ducts[0].lining is None


def test_lining_of_every_wanted_frequency(tmp_path: Path) -> None:
    """The range follows from the frequencies that are asked for; no lining fits three decades; 0 is none."""
    text = BASE + "lining_pa_s_m2 = 600\n"
    path = tmp_path / "box.toml"
    path.write_text(text, encoding="utf-8")
    assert read_design(path, RULES).ducts[0].lining == pytest.approx([600.0])
    with pytest.raises(
        ConfigError, match=r"lining_pa_s_m2: 600 Pa s/m2 is outside .* 50 to 700 Hz: 700 to 5000"
    ):
        read_design(path, RULES, np.array([50.0, 700.0]))
    with pytest.raises(ConfigError, match="from 10 to 10000 Hz: none; the highest is over 100 times"):
        read_design(path, RULES, np.array([10.0, 10000.0]))
    path.write_text(text.replace("600", "0"), encoding="utf-8")
    assert read_design(path, RULES, np.array([10.0, 10000.0])).ducts[0].lining == pytest.approx([0.0])


def test_diaphragm(tmp_path: Path) -> None:
    """A passive radiator's keys in SI."""
    batch = read(tmp_path, BASE + DIAPHRAGM)
    one = batch.diaphragms[0]
    assert batch.topology.graph_id == "oA/Ao/Ao"
    found = (one.area[0], one.mass[0], one.compliance[0], one.q[0], one.excursion_limit[0])
    assert found == pytest.approx((30e-4, 0.012, 0.9e-3, 6.0, 0.004))
    assert one.name == "diaphragm 1"


@pytest.mark.parametrize(
    ("old", "new", "fault"), CASES, ids=[case[2].split(": ", 1)[-1][:60] for case in CASES]
)
def test_one_fault(tmp_path: Path, old: str, new: str, fault: str) -> None:
    """File, line, key and values; one cause gives one fault."""
    text = BASE + DIAPHRAGM
    assert old in text
    faults = faults_of(tmp_path, text.replace(old, new, 1))
    wanted = [found for found in faults if fault in found]
    assert len(wanted) == 1, faults
    # a misspelt key is also missed where it is needed
    assert [found for found in faults if found not in wanted and "missing" not in found] == []


def test_all_faults_at_once(tmp_path: Path) -> None:
    """In the order of the file."""
    text = BASE.replace('rear = "A"', 'rear = "C"').replace("at_mm = [62.5", "at_mm = [5")
    text = text.replace('"round"', '"round"\nheight_mm = 3')
    keys = [fault.split(": ")[1] for fault in faults_of(tmp_path, text)]
    assert keys == ["drivers[0].rear", "ducts[0].from_patch.at_mm", "ducts[0].height_mm"]


def test_unreadable(tmp_path: Path) -> None:
    """Missing file, directory, broken TOML."""
    with pytest.raises(ConfigError, match=r"none\.toml:1: file: no such file"):
        read_design(tmp_path / "none.toml", RULES)
    with pytest.raises(ConfigError, match="file: is a directory"):
        read_design(tmp_path, RULES)
    assert faults_of(tmp_path, "a = [\n1,\n")[0].startswith("box.toml:2: toml: not TOML")


_WORDS = [
    "",
    "0",
    "-1",
    "nan",
    "'x'",
    "true",
    "[]",
    "[1]",
    "{}",
    "[{}]",
    "1e999",
    '"A"',
    '"outside"',
    "2020-01-01",
]


@settings(max_examples=200, deadline=None)
@given(
    line=st.integers(0, len((BASE + DIAPHRAGM).splitlines()) - 1),
    value=st.sampled_from(_WORDS) | st.text(max_size=8),
    keep_key=st.booleans(),
)
def test_any_damaged_line_gives_faults_or_a_design(
    tmp_path_factory: pytest.TempPathFactory, line: int, value: str, keep_key: bool
) -> None:
    """Whatever stands in a line, the reader answers with a design or with faults that name lines."""
    lines = (BASE + DIAPHRAGM).splitlines()
    key, sign, _ = lines[line].partition("=")
    lines[line] = f"{key}{sign}{value}" if keep_key else value
    text = "\n".join(lines).encode("utf-8", "surrogatepass")
    path = tmp_path_factory.getbasetemp() / "damaged.toml"
    path.write_bytes(text)
    try:
        batch = read_design(path, RULES)
    except ConfigError as error:
        assert error.faults
        assert all(
            1 <= fault.line <= text.count(b"\n") + 2 and "\n" not in str(fault) for fault in error.faults
        )
    else:
        assert np.isfinite(batch.sides).all() and (batch.sides > 0.0).all()
