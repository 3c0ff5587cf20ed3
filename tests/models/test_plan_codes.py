"""Plans of many arrangements in one batch against the same plans laid alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.catalogue import named_topology
from models.plan import lay, lay_coded
from models.plan_checks import faults, shortfall, shorts
from models.plan_codes import codes_of
from models.plan_reading import acoustic_lengths, centre_line
from models.rules import Rules
from optimizer.layout import random_arrangement, turned
from optimizer.season import load_season
from studies.plans.study import SEASON

WALLS = frozenset(f"{axis}{side}" for axis in "xyz" for side in "+-")
EACH = 5


@pytest.fixture(scope="module")
def rules() -> Rules:
    return load_season(SEASON).rules


@pytest.mark.parametrize("graph", ["oA/Ao", "AB/AB.Ao.BC.Co", "oA.oA/Ao", "oA.BA/Bo"])
def test_many_arrangements_in_one_batch_are_as_laid_alone(rules: Rules, graph: str) -> None:
    """With blanks and without: sizes are the same numbers, requirements and lengths of ducts too."""
    topology, rng = turned(named_topology(graph)), np.random.default_rng(8)
    rules = replace(rules, driver_count=len(topology.drivers))
    drawn = [random_arrangement(topology, WALLS, rng) for _ in range(60)]
    arrangements = [one for one in drawn if not isinstance(one, str)]
    assert len({len(one.leaves) for one in arrangements}) == 2
    codes = codes_of(arrangements)
    cuts, areas = codes.cut_node.shape[1], (0.004,) * len(topology.diaphragms)
    x = rng.random((EACH * len(arrangements), cuts + 2 * codes.mount_leaf.shape[1]))
    together = lay_coded(codes.take(np.repeat(np.arange(len(arrangements)), EACH)), rules, x, areas)
    short, lengths = shortfall(together), acoustic_lengths(together)
    for i, arrangement in enumerate(arrangements):
        rows = np.arange(i * EACH, (i + 1) * EACH)
        own = np.concatenate([x[rows, : arrangement.cuts], x[rows, cuts:]], axis=1)
        alone, part = lay(arrangement, rules, own, areas), together.of(arrangement, rows)
        assert np.array_equal(part.rects[:, : len(arrangement.leaves)], alone.rects)
        for key in ("lane_widths", "runs", "end_centre", "end_at", "mounts", "spare"):
            assert np.array_equal(getattr(part, key), getattr(alone, key)), key
        assert short[rows] == pytest.approx(shortfall(alone), rel=1e-12)
        for k in range(EACH):
            assert len(faults(alone, k)) == np.count_nonzero(shorts(alone)[k] > 1e-9)
        for duct in range(len(arrangement.blocks)):
            wide = np.nonzero(alone.lane_widths[:, duct] > 1e-3)[0]
            length, bends = centre_line(alone.rows(wide), duct)
            straight = length + sum(correction for _, correction in bends)
            assert lengths[rows[wide], duct] == pytest.approx(straight, rel=1e-12)
