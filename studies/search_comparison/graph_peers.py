"""Peers that search every graph for itself, with evaluations shared equally over the graphs.

Graphs take turns: the next few generations always go to the graph that has had the fewest evaluations, so
that the shares are equal whenever the run ends.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator

import numpy as np
from scipy.optimize import differential_evolution

from studies.search_comparison.ledger import Ledger, PeerCell

LEG = 10
"""Generations of a turn."""

DE_TOLERANCE = 1e-5
"""Spread of a population, as a share of its mean, at which differential evolution starts anew."""

CMA_STARTS = 4
"""Strategies of CMA-ES that run on a graph side by side."""

CMA_POPULATION = 32
"""First population of a strategy; every restart doubles it, up to eight times this."""

CMA_STEP = 0.25
"""First standard deviation, as a share of each variable's range."""

CMA_TOLERANCE_DB = 1e-4
"""Spread of a population's scores at which a strategy is started anew."""

Legs = Iterator[None]


def take_turns(cells: dict[str, PeerCell], ledger: Ledger, legs: Callable[[PeerCell, int], Legs]) -> None:
    """Let every graph run leg after leg until the budget is used up.

    Parameters
    ----------
    cells : dict of str to PeerCell
        Evaluator of every graph [record].
    ledger : Ledger
        Counts and ends the run [record].
    legs : callable
        Cell and its number to an iterator that runs one leg a step [record].
    """
    runs = {graph: legs(cell, number) for number, (graph, cell) in enumerate(cells.items())}
    spent = dict.fromkeys(cells, 0)
    while not ledger.over():
        graph = min(spent, key=lambda name: spent[name])
        before = ledger.submitted
        next(runs[graph])
        spent[graph] += ledger.submitted - before


def objective(cell: PeerCell, y: np.ndarray) -> np.ndarray:
    """Score with its sign turned, of rows of variables followed by sites, shape (n,)."""
    n = cell.space.dimensions
    site = np.clip(np.floor(y[:, n:]), 0, len(cell.space.sites) - 1).astype(int)
    return -cell.values(y[:, :n], site)[0]


def run_de(cells: dict[str, PeerCell], ledger: Ledger, seed: int) -> None:
    """Differential evolution of scipy, vectorized, with its default strategy and population."""

    def legs(cell: PeerCell, number: int) -> Legs:
        n, slots, sites = cell.space.dimensions, len(cell.space.site_slots), len(cell.space.sites)
        bounds = [(0.0, 1.0)] * n + [(0.0, sites - 1.0)] * slots
        rng = np.random.default_rng([seed, number])
        population: str | np.ndarray = "latinhypercube"
        while True:
            found = differential_evolution(
                lambda y: objective(cell, y.T),
                bounds,
                init=population,
                maxiter=LEG,
                tol=DE_TOLERANCE,
                rng=rng,
                integrality=[False] * n + [True] * slots,
                vectorized=True,
                updating="deferred",
                polish=False,
            )
            population = "latinhypercube" if found.success else found.population
            yield

    take_turns(cells, ledger, legs)


def run_cma(cells: dict[str, PeerCell], ledger: Ledger, seed: int) -> None:
    """CMA-ES of pycma with restarts and growing populations, sites as integer variables.

    Several strategies run on a graph side by side, so that their populations are evaluated in one batch.
    """
    import cma

    def legs(cell: PeerCell, number: int) -> Legs:
        n, slots, sites = cell.space.dimensions, len(cell.space.site_slots), len(cell.space.sites)
        rng = np.random.default_rng([seed, number])
        restarts = [0] * CMA_STARTS

        def begin(place: int) -> cma.CMAEvolutionStrategy:
            options = {
                "bounds": [[0.0] * (n + slots), [1.0] * n + [sites - 1e-6] * slots],
                "CMA_stds": [1.0] * n + [float(sites)] * slots,
                "integer_variables": list(range(n, n + slots)),
                "popsize": CMA_POPULATION * 2 ** min(restarts[place], 3),
                "seed": int(rng.integers(1, 2**31)),
                "tolfun": CMA_TOLERANCE_DB,
                "verbose": -9,
            }
            restarts[place] += 1
            start = np.concatenate([rng.random(n), rng.random(slots) * sites])
            return cma.CMAEvolutionStrategy(start, CMA_STEP, options)

        strategies = [begin(place) for place in range(CMA_STARTS)]
        while True:
            for _ in range(LEG):
                asked = [strategy.ask() for strategy in strategies]
                told = objective(cell, np.array([y for part in asked for y in part]))
                for place, part in enumerate(asked):
                    mine, told = told[: len(part)], told[len(part) :]
                    strategies[place].tell(part, mine.tolist())
                    if strategies[place].stop():
                        strategies[place] = begin(place)
            yield

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        take_turns(cells, ledger, legs)
