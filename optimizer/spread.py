"""How far the scores of built boxes spread, whether their order keeps, and which causes matter most.

Every sample draws all causes of :mod:`models.tolerances` together, and the drive is set anew to the largest
that the rules permit. Driver and temperature are drawn once for all boxes of a sample, leakage and sizes for
every box alone. Sobol indices by the estimator of A. Saltelli et al., Computer Physics Communications
181(2) 259-270 (2010), as :func:`scipy.stats.sobol_indices` has it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.stats import qmc, sobol_indices, truncnorm

from models.design import DesignBatch, Mouth
from models.score import Judge
from models.tolerances import CUT, Cause, causes_of, deviated
from optimizer.laid_out import LaidOut
from optimizer.progress import Progress, silent
from optimizer.results import Candidate

SAMPLES = {"normal": 64, "thorough": 256}
"""Base samples at the end of a search, by its effort; none at others."""

MOST_BOXES = 40
"""Boxes that are compared at most, the first ones."""

MATTERS = 2
"""Causes that are named."""

PERCENTILES = (10.0, 50.0, 90.0)

BATCH = 2048
"""Designs that are evaluated at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """What becomes of one box.

    Attributes
    ----------
    scores_db : ndarray, shape (n_draws,)
        Score in every draw; draw by draw the same driver and temperature for all boxes [dB].
    keeps_rank : float
        Share of the draws in which as many boxes of its kind score higher as by design [1].
    best_share : float
        Share of the draws in which no box of its kind scores higher [1].
    causes : tuple of Cause
        What deviates [list].
    first, total : ndarray, shape (n_causes,)
        Sobol indices of first and of total order [1].
    """

    scores_db: np.ndarray
    keeps_rank: float
    best_share: float
    causes: tuple[Cause, ...]
    first: np.ndarray
    total: np.ndarray

    def record(self) -> dict[str, Any]:
        """Plain data for ``candidates.json`` [mixed]."""
        low, middle, high = (float(p) for p in np.percentile(self.scores_db, PERCENTILES))
        order = np.argsort(-self.total, kind="stable")
        share, alone = np.clip(self.total, 0.0, 1.0), np.clip(self.first, 0.0, 1.0)
        causes = [
            {"name": self.causes[i].name, "share": float(share[i]), "alone": float(alone[i])} for i in order
        ]
        return {
            "p10_db": low,
            "p50_db": middle,
            "p90_db": high,
            "keeps_rank": self.keeps_rank,
            "best_share": self.best_share,
            "draws": self.scores_db.size,
            "matters": causes[:MATTERS],
            "causes": causes,
        }


def spread(
    judge: Judge,
    designs: Sequence[DesignBatch],
    samples: int,
    seed: int,
    progress: Progress = silent,
    built: Sequence[bool] = (),
) -> list[Spread]:
    """Spread of the scores of boxes that compete with each other.

    Parameters
    ----------
    judge : Judge
        The season's evaluator [record].
    designs : sequence of DesignBatch
        The boxes, each a batch of one [list].
    samples : int
        Base samples, a power of two; there are twice as many draws [1].
    seed : int
        Seed of the draws [1].
    progress : callable
        Told how many boxes are done [any].
    built : sequence of bool
        Which boxes have a floor plan, as these are ranked before free networks and compete among
        themselves; empty where all are of one kind [flag].

    Returns
    -------
    list of Spread
        In the order of the designs [list].
    """
    tolerances = judge.rules.tolerances
    boxes = _with_common_sites(designs)
    causes = [causes_of(box, tolerances) for box in boxes]
    common = sum(cause.shared for cause in causes[0])
    own = [len(c) - common for c in causes]
    ends = common + np.cumsum([0, *own])
    size = max(int(ends[-1]), 1)
    draws = qmc.Sobol(d=2 * size, seed=np.random.default_rng(seed)).random(samples)
    found = []
    for number, (box, its, start) in enumerate(zip(boxes, causes, ends[:-1], strict=True)):
        progress(number, len(boxes), f"box {number + 1}")
        columns = np.concatenate([np.arange(common), np.arange(start, start + len(its) - common)])
        one, other = draws[:, columns], draws[:, size + columns]
        found.append(indices(lambda u, box=box, its=its: _scores(judge, box, its, u), one, other))  # type: ignore[misc]
    progress(len(boxes), len(boxes), "done")
    nominal = np.array([float(judge.scores(judge.respond(box))[0]) for box in boxes])
    scores = np.stack([values for values, _, _ in found])
    kinds = np.array(built or [True] * len(boxes))
    places, ranks = _places(nominal[:, None], kinds), _places(scores, kinds)
    return [
        Spread(
            scores_db=values,
            keeps_rank=float(np.mean(ranks[i] == places[i])),
            best_share=float(np.mean(ranks[i] == 0)),
            causes=causes[i],
            first=first,
            total=total,
        )
        for i, (values, first, total) in enumerate(found)
    ]


def with_spread(
    judge: Judge, candidates: tuple[Candidate, ...], samples: int, seed: int
) -> tuple[Candidate, ...]:
    """The same candidates, the first of them with their spread; see :func:`spread`."""
    first = candidates[:MOST_BOXES]
    designs, built = [c.design for c in first], [isinstance(c.laid_out, LaidOut) for c in first]
    found = spread(judge, designs, samples, seed, built=built) if first else []
    told = [replace(c, tolerance=s.record()) for c, s in zip(first, found, strict=True)]
    return (*told, *candidates[MOST_BOXES:])


def indices(
    function: Callable[[np.ndarray], np.ndarray], one: np.ndarray, other: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Values and Sobol indices of a function on the unit cube.

    Parameters
    ----------
    function : callable
        Values, shape (n,), of points, shape (n, d) [any].
    one, other : ndarray, shape (n, d)
        Two independent samples of the cube, n a power of two [1].

    Returns
    -------
    tuple of three ndarrays
        Values on both samples, shape (2 n,) [mixed]; indices of first and of total order, each
        shape (d,), 0 where the function is constant [1].
    """
    n, d = one.shape
    mixed = np.repeat(one[None], d, axis=0)
    for i in range(d):
        mixed[i, :, i] = other[:, i]
    values = function(np.concatenate([one, other, mixed.reshape(d * n, d)]))
    both, rest = values[: 2 * n], values[2 * n :]
    if d == 0 or np.ptp(both) == 0.0:
        return both, np.zeros(d), np.zeros(d)
    if d == 1:  # there is nothing else that the values could come from
        return both, np.ones(1), np.ones(1)
    parts = {"f_A": both[None, :n], "f_B": both[None, n:], "f_AB": rest.reshape(d, 1, n)}
    found = sobol_indices(func=parts, n=n)
    return both, found.first_order.reshape(d), found.total_order.reshape(d)


def _places(scores: np.ndarray, kinds: np.ndarray) -> np.ndarray:
    """How many boxes of its kind score higher than each one, in every column."""
    rivals = (kinds[:, None] == kinds)[..., None]
    return np.asarray((rivals & (scores[:, None] < scores[None])).sum(axis=1))


def _scores(judge: Judge, box: DesignBatch, causes: tuple[Cause, ...], draws: np.ndarray) -> np.ndarray:
    """Scores of one box at places in the unit cube of its causes, shape (n,) [dB]."""
    rules = judge.rules
    by = np.empty_like(draws)
    day = np.zeros(draws.shape[0], dtype=int)
    for i, cause in enumerate(causes):
        if cause.kind == "air":
            count = len(rules.tolerances.airs)
            day = np.minimum((draws[:, i] * count).astype(int), count - 1)
        share = 0.5 + 0.5 * draws[:, i] if cause.kind == "leak" else draws[:, i]
        by[:, i] = truncnorm.ppf(share, -CUT, CUT)
    scores = np.empty(draws.shape[0])
    for k in np.unique(day):
        here = judge.in_air(rules.tolerances.airs[k][1]) if rules.tolerances.airs else judge
        rows = np.nonzero(day == k)[0]
        for some in np.array_split(rows, -(-rows.size // BATCH)):
            copies = deviated(box.rows(np.zeros(some.size, dtype=int)), rules, causes, by[some])
            scores[some] = here.scores(here.respond(_in_air(copies, judge, here)))
    return scores


def _in_air(batch: DesignBatch, season: Judge, here: Judge) -> DesignBatch:
    """The same specimens in another air, whose load on them differs."""
    if batch.specimens is None:
        return batch
    heavier = here.rules.driver.mass - season.rules.driver.mass
    specimens = replace(batch.specimens, mass=batch.specimens.mass + heavier)
    return replace(batch, specimens=specimens)


def _with_common_sites(designs: Sequence[DesignBatch]) -> list[DesignBatch]:
    """The same designs with one list of sites for all, so that one table of the outside serves them."""
    used = [
        design.sites[int(end.site[0])]
        for design in designs
        for end in _ends(design)
        if isinstance(end, Mouth)
    ]
    sites = tuple(dict.fromkeys(used))

    def moved(ends: Any, design: DesignBatch) -> Any:
        return tuple(
            Mouth(site=np.array([sites.index(design.sites[int(end.site[0])])]))
            if isinstance(end, Mouth)
            else end
            for end in ends
        )

    return [
        replace(
            design,
            sites=sites,
            driver_ends=tuple(moved(pair, design) for pair in design.driver_ends),
            ducts=tuple(replace(duct, ends=moved(duct.ends, design)) for duct in design.ducts),
            diaphragms=tuple(replace(one, ends=moved(one.ends, design)) for one in design.diaphragms),
        )
        for design in designs
    ]


def _ends(design: DesignBatch) -> list[Any]:
    """All ends of all parts."""
    parts = [*design.driver_ends, *(d.ends for d in design.ducts), *(d.ends for d in design.diaphragms)]
    return [end for pair in parts for end in pair]
