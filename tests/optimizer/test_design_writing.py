"""Designs written to files read back to the same numbers."""

from __future__ import annotations

import dataclasses
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.design import DesignBatch, Diaphragms, Ducts, Mouth, Patch
from models.envelope import Site
from models.topology import parse_graph_id
from optimizer.design_file import read_design, write_design
from optimizer.season import load_season

RULES = load_season(Path(__file__).parents[2] / "configs" / "demo.toml").rules

BASE = """topology = "my own label"
[chambers.front]
sides_mm = [200.0, 125.0, 80.0]
[[drivers]]
front = "outside"
rear = "front"
rear_patch = { wall = "y+", at_mm = [60.0, 40.0], diameter_mm = 52.0 }
[[ducts]]
from = "front"
to = "outside"
area_cm2 = 12.0
length_mm = 150.0
"""


def _assert_equal(one: object, other: object, path: str = "") -> None:
    """Equal dataclasses, arrays and values, numbers within 1e-15."""
    if dataclasses.is_dataclass(one):
        assert type(one) is type(other)
        for field in dataclasses.fields(one):
            _assert_equal(getattr(one, field.name), getattr(other, field.name), f"{path}.{field.name}")
    elif isinstance(one, tuple) and isinstance(other, tuple):
        assert len(one) == len(other), path
        for i, pair in enumerate(zip(one, other, strict=True)):
            _assert_equal(*pair, f"{path}[{i}]")
    elif isinstance(one, np.ndarray):
        assert isinstance(other, np.ndarray), path
        np.testing.assert_allclose(other, one, rtol=1e-15, atol=0.0, err_msg=path)
    elif isinstance(one, float):
        assert other == pytest.approx(one, rel=1e-15), path
    else:
        assert one == other, path


def random_batch(seed: int) -> DesignBatch:
    """Batch of three designs of a two-chamber graph with every kind of connection."""
    rng = np.random.default_rng(seed)
    n = 3

    def column(low: float, high: float) -> np.ndarray:
        return rng.uniform(low, high, n)

    sides = np.stack(
        [np.stack([column(0.15, 0.2), column(0.1, 0.14), column(0.05, 0.09)], axis=1)] * 2, axis=1
    )
    square = np.sqrt(column(1e-4, 9e-4))
    slot = Patch(
        wall="z+",
        centre=np.stack([column(0.05, 0.1), column(0.04, 0.06)], axis=1),
        half=np.stack([column(0.01, 0.04), column(0.002, 0.01)], axis=1),
    )
    disc = Patch(
        wall="x-",
        centre=np.stack([column(0.03, 0.06), column(0.02, 0.03)], axis=1),
        half=np.stack([square, square], axis=1) / 2.0,
    )
    sites = (
        Site("x-", (0.1, 0.07)),
        Site("y+", (float(rng.uniform(0.02, 0.14)), float(rng.uniform(0.02, 0.16)))),
    )
    first, second = Mouth(site=np.zeros(n, dtype=int)), Mouth(site=np.ones(n, dtype=int))
    ducts = (
        Ducts(name='slot "1" äß', ends=(slot, disc), area=column(1e-4, 2e-3), length=column(0.01, 0.5),
              shape="slot", slot_height=column(0.002, 0.007), count=2, end_lengths=(column(0.0, 0.02), None),
              loss_factor=column(0.0, 2.0), area_end=column(1e-4, 2e-3), profile="exponential"),
        Ducts(name="tube", ends=(disc, second), area=column(1e-4, 2e-3), length=column(0.01, 0.5),
              loss_factor=column(0.0, 2.0), lining=column(300.0, 9000.0)),
    )  # fmt: skip
    diaphragms = (
        Diaphragms(name="passive", ends=(slot, second), area=column(1e-3, 5e-3), mass=column(1e-3, 0.1),
                   compliance=column(1e-4, 1e-3), q=column(2.0, 9.0), excursion_limit=column(1e-3, 8e-3)),
    )  # fmt: skip
    topology = parse_graph_id("oA/AB.Bo/Bo")
    return DesignBatch(
        topology=topology,
        sides=sides,
        driver_ends=((first, disc),),
        ducts=ducts,
        diaphragms=diaphragms,
        sites=sites,
        lining=(None, column(300.0, 9000.0)),
    )


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_written_design_reads_back(tmp_path_factory: pytest.TempPathFactory, seed: int) -> None:
    """All numbers of any design survive the file within 1e-15."""
    batch = random_batch(seed)
    text = write_design(batch, 1, label="any label", comments=["rank 1", "line\nbreak"])
    path = tmp_path_factory.mktemp("round") / "box.toml"
    path.write_text(text, encoding="utf-8")
    again = read_design(path, RULES)
    index = [1]

    def row(value: object) -> object:
        if isinstance(value, np.ndarray):
            return value[index]
        if isinstance(value, tuple) and not isinstance(value, str):
            return tuple(row(one) for one in value)
        if dataclasses.is_dataclass(value) and type(value).__name__ in (
            "Patch",
            "Mouth",
            "Ducts",
            "Diaphragms",
        ):
            fields = {f.name: row(getattr(value, f.name)) for f in dataclasses.fields(value)}
            return type(value)(**fields)  # type: ignore[call-arg]
        return value

    assert again.topology == batch.topology
    for name in ("sites", "sides", "driver_ends", "ducts", "diaphragms", "lining"):
        _assert_equal(row(getattr(batch, name)), getattr(again, name), name)
    assert text.startswith("# rank 1\n# line break\n")


def test_written_text_is_plain(tmp_path: Path) -> None:
    """Round numbers stay round, and the graph's name is the label."""
    (tmp_path / "box.toml").write_text(BASE)
    data = tomllib.loads(write_design(read_design(tmp_path / "box.toml", RULES), 0))
    assert data["topology"] == "vented box"
    assert data["chambers"]["A"]["sides_mm"] == [200.0, 125.0, 80.0]
    assert data["drivers"][0]["rear_patch"] == {"wall": "y+", "at_mm": [60.0, 40.0], "diameter_mm": 52.0}
    assert data["ducts"][0]["area_cm2"] == 12.0


def test_design_that_cannot_exist_is_not_written() -> None:
    """A row of not-a-number is a wrong call."""
    batch = random_batch(0)
    batch.sides[0, 0, 0] = np.nan
    with pytest.raises(ValueError, match="value nan cannot be written"):
        write_design(batch, 0, label="x")
