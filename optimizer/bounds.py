"""Certified bounds: any enclosure from driver and space, closed and vented boxes by branch and bound.

Boxes that could hold a better design than the best one known are halved until none is left, or until
a number of boxes is used up; then the bound is that of the boxes that remain.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from models.certified import Boxes, Family, lossless
from models.driver_bound import driver_bound_db
from models.fit import SLACK
from models.places import SLOT_ASPECT
from models.score import mean_level
from models.site_groups import group_sites
from optimizer.cell import Cell, Goal, Points
from optimizer.evolution import best_rows
from optimizer.inner import EFFORTS, seek
from optimizer.polish import polish
from optimizer.season import Season
from optimizer.tasks import TaskRunner

CLOSED, VENTED = "oA", "oA/Ao"
"""Graphs that have a certified bound."""

TOLERANCE_DB = 0.02
"""Gap at which a bound counts as closed [dB]."""

AT_ONCE = 512
"""Boxes that are bounded at once, and the least that are halved in one step."""

SHARE = 4
"""Of more boxes, one in so many is halved in one step, those with the highest bounds."""

TRIED = 24
"""Middles of the most promising boxes that are evaluated in one step."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """A certified bound of one graph in the lumped lossless model.

    Attributes
    ----------
    graph : str
        Graph id [text].
    upper_db : float
        Averaged output that no design exceeds [dB].
    lower_db : float or None
        Best design found in the same model; None where none fits [dB].
    boxes : int
        Boxes of sizes that were bounded [1].
    closed : bool
        Whether the gap is within the tolerance [flag].
    """

    graph: str
    upper_db: float
    lower_db: float | None
    boxes: int
    closed: bool

    @property
    def gap_db(self) -> float:
        """What lies between bound and best design [dB]."""
        return float(np.inf) if self.lower_db is None else self.upper_db - self.lower_db


def any_enclosure_db(runner: TaskRunner) -> float | None:
    """Averaged output that no enclosure exceeds, from driver and space; None where none is finite [dB]."""
    rules = runner.season.rules
    levels = driver_bound_db(rules, runner.judge.outside(runner.sites), runner.judge.omega)
    if levels is None:
        return None
    by_space = levels.reshape(len(rules.spaces), -1)
    weights = np.array([space.weight for space in rules.spaces])
    means = mean_level(by_space, rules.tone_weights, rules.mean)
    return float((means * weights).sum() / weights.sum())


def lossless_season(season: Season) -> Season:
    """The same season in the model that the bounds hold in, with ducts of one section."""
    search = replace(season.search, duct_profile="uniform")
    return replace(season, rules=replace(season.rules, physics=lossless(season.rules.physics)), search=search)


def certify(
    season: Season,
    graph: str,
    *,
    most_boxes: int,
    near: Points | None = None,
    tolerance_db: float = TOLERANCE_DB,
    effort: str = "quick",
    stop: Callable[[], bool] = lambda: False,
) -> Certificate:
    """Bound the averaged output of closed or vented boxes.

    Parameters
    ----------
    season : Season
        The season; its chambers and losses are replaced by lumped, lossless ones [record].
    graph : str
        :data:`CLOSED` or :data:`VENTED` [text].
    most_boxes : int
        Boxes after which the search ends with the gap it has [1].
    near : Points or None
        A point of the graph whose sites are kept; None for any sites of the search [record].
    tolerance_db : float
        Gap at which it ends [dB].
    effort : str
        Effort of the search for the best design in the same model [text].
    stop : callable
        True ends it early [flag].

    Returns
    -------
    Certificate
        The bound [record].

    Raises
    ------
    ValueError
        There is no such bound for the graph or for more than one driver.
    """
    if graph not in (CLOSED, VENTED):
        raise ValueError(f"there is no certified bound for graph {graph!r}")
    plain = lossless_season(season)
    runner = TaskRunner(plain)
    search = _Search(plain, runner, graph, None if near is None else near.site)
    if near is None:
        best = seek(search.cell, np.random.default_rng(season.search.seed), EFFORTS[effort], stop)
    else:
        kept = [
            i for i, v in enumerate(TaskRunner(season).space(graph).variables) if v in search.space.variables
        ]
        best = polish(search.cell, search.cell.evaluate(near.x[:, kept], near.site))
    lower = -np.inf if best is None or best.excess[0] > 0.0 else float(best.columns["output_db"][0])
    boxes = search.root()
    upper = np.full(boxes.low.shape[0], np.inf)
    used, dropped = 0, -np.inf
    while upper.size:
        lower = max(lower, search.try_middles(boxes.rows(np.argsort(-upper, kind="stable")[:TRIED])))
        alive = upper > lower + tolerance_db
        dropped = max(dropped, float(upper[~alive].max(initial=-np.inf)))
        boxes, upper = boxes.rows(alive), upper[alive]
        if upper.size == 0 or used >= most_boxes or stop():
            break
        count = min(max(AT_ONCE, upper.size // SHARE), most_boxes - used)
        order = np.argsort(-upper, kind="stable")
        first, rest = order[:count], order[count:]
        halves, parents = search.halves(boxes.rows(first))
        found = search.bound(halves)
        used += found.size
        boxes = _joined(boxes.rows(rest), halves)
        upper = np.concatenate([upper[rest], np.minimum(found, upper[first][parents])])
    top = max(dropped, float(upper.max(initial=-np.inf)), lower)
    known = None if not np.isfinite(lower) else lower
    return Certificate(
        graph=graph, upper_db=top, lower_db=known, boxes=used, closed=top - lower <= tolerance_db * (1 + 1e-9)
    )


class _Search:
    """Boxes of one graph: where they begin, how they are halved, and designs in their middles."""

    def __init__(
        self, season: Season, runner: TaskRunner, graph: str, sites: np.ndarray | None = None
    ) -> None:
        self.season = season
        self.fixed = sites
        self.space = runner.space(graph)
        self.cell = Cell(runner.judge, self.space, ("output",))
        self.vented = graph == VENTED
        self.slots = season.search.duct_shape == "slot"
        self.wavenumber = float(season.rules.omega.max()) / season.rules.air.sound_speed
        self.ranges = {v.name: (v.low, v.high) for v in self.space.variables}
        outside = runner.judge.outside(runner.sites)
        self.groups = group_sites(outside, runner.judge.omega, *self._choices())
        self.family = Family(season.rules, self.groups, self.vented, self.slots)

    def _choices(self) -> tuple[np.ndarray, np.ndarray]:
        """Choices of sites that have any design, and the largest duct area of each."""
        if self.fixed is not None:
            widest = self._widest(self.fixed[:, 0], self.fixed[:, -1]) if self.vented else np.zeros(1)
            return self.fixed, widest
        faces = np.arange(len(self.space.sites))
        drivers = faces[self.space.edges >= 0.5 * self.season.rules.driver.frame * (1.0 - 2.0 * SLACK)]
        if not self.vented:
            return drivers[:, None], np.zeros(drivers.size)
        pairs = np.stack(np.meshgrid(drivers, faces, indexing="ij"), axis=-1).reshape(-1, 2)
        widest = self._widest(pairs[:, 0], pairs[:, 1])
        some = widest >= self.ranges["area 0"][0]
        return pairs[some], widest[some]

    def root(self) -> Boxes:
        """The box of all designs with any sites."""
        ranges = [self.ranges["volume 0"]]
        if self.vented:
            ranges += [self.ranges["area 0"], self.ranges["length 0"]]
        low, high = np.array(ranges).T[:, None]
        return Boxes(group=np.zeros(1, dtype=int), low=low * (1.0 - 1e-9), high=high * (1.0 + 4e-9))

    def _widest(self, driver: np.ndarray, mouth: np.ndarray) -> np.ndarray:
        """Largest area of a duct whose mouth stays on its face and clear of the driver."""
        rules, sites = self.season.rules, self.space.sites
        walls = np.array([site.wall for site in sites])
        at = np.array([site.at for site in sites])
        apart = np.abs(at[driver] - at[mouth]).max(axis=1)
        clear = apart - 0.5 * rules.driver.frame - rules.envelope.wall
        half = np.where(walls[driver] == walls[mouth], clear, np.inf)
        half = np.minimum(half, self.space.edges[mouth]) + 2.0 * SLACK * apart.max()
        per_half = np.sqrt(SLOT_ASPECT) / 2.0 if self.slots else 1.0 / np.sqrt(np.pi)  # half width over root
        return np.asarray((np.maximum(half, 0.0) / per_half) ** 2)

    def bound(self, boxes: Boxes) -> np.ndarray:
        """Bounds of boxes, in chunks that stay in the cache."""
        starts = range(0, boxes.group.size, AT_ONCE)
        parts = [self.family.bound(boxes.rows(np.arange(boxes.group.size)[i : i + AT_ONCE])) for i in starts]
        return np.concatenate(parts) if parts else np.empty(0)

    def halves(self, boxes: Boxes) -> tuple[Boxes, np.ndarray]:
        """Both halves of each box: of its sites, or of the size that is least known.

        A length counts also in wavelengths. Ranges are cut to ducts that the sites have room for and to
        the volume that the shortest, narrowest duct leaves; boxes without any design are left out.
        The second result is the row that each half is of.
        """
        spread = (boxes.high - boxes.low) / (boxes.high + boxes.low)
        if self.vented:
            phase = self.wavenumber * (boxes.high[:, 2] - boxes.low[:, 2])
            spread[:, 2] = np.maximum(spread[:, 2], phase)
        spread = np.column_stack([spread, self.groups.spread[boxes.group]])
        axis = spread.argmax(axis=1)
        parts = []
        for side in (0, 1):
            group, low, high = boxes.group.copy(), boxes.low.copy(), boxes.high.copy()
            sites = axis == boxes.low.shape[1]
            group[sites] = self.groups.children[group[sites], side]
            rows, columns = np.nonzero(~sites)[0], axis[~sites]
            middle = np.sqrt(boxes.low[rows, columns] * boxes.high[rows, columns])
            (high, low)[side][rows, columns] = middle
            if self.vented:
                high[:, 1] = np.minimum(high[:, 1], self.groups.widest[group])
                high[:, 0] = np.minimum(high[:, 0], self.family.free_volume(low[:, 1], low[:, 2]))
            part = Boxes(group=group, low=low, high=high)
            parts.append((part, np.all(high >= low, axis=1)))
        return _joined(*(part.rows(fits) for part, fits in parts)), np.concatenate(
            [np.nonzero(fits)[0] for _, fits in parts]
        )

    def try_middles(self, boxes: Boxes) -> float:
        """Score of the best design in the middles of some boxes; minus infinity where none fits."""
        middle = np.sqrt(boxes.low * boxes.high)
        x = np.full((middle.shape[0], self.space.dimensions), 0.5)
        columns = {v.name: i for i, v in enumerate(self.space.variables)}
        natural = {"volume 0": middle[:, 0]}
        if self.vented:
            natural |= {"area 0": middle[:, 1], "length 0": middle[:, 2]}
        for name, value in natural.items():
            variable = self.space.variables[columns[name]]
            x[:, columns[name]] = np.clip(variable.unit(value), 0.0, 1.0)
        points = self.cell.evaluate(x, self.groups.example[boxes.group])
        best = points.take(best_rows(points, Goal(), 1))
        return float(best.columns["output_db"][0]) if best.excess[0] <= 0.0 else -np.inf


def _joined(one: Boxes, two: Boxes) -> Boxes:
    return Boxes(
        group=np.concatenate([one.group, two.group]),
        low=np.concatenate([one.low, two.low]),
        high=np.concatenate([one.high, two.high]),
    )
