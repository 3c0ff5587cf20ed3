"""Peers that search all graphs at once: the graph is a variable beside the dimensions and the sites.

A whole generation or batch is asked for before any of it is told, so that designs of one graph are evaluated
together.
"""

from __future__ import annotations

import warnings

import numpy as np
import optuna
from optuna.samplers import BaseSampler, CmaEsSampler, NSGAIISampler, TPESampler
from optuna.trial import Trial

from studies.search_comparison.ledger import Ledger, PeerCell

BATCH = {"tpe": 16, "nsga2": 100, "cma_es": 40}
"""Trials asked for before the first is told; the population where a sampler has one."""

PYMOO_POPULATION = 200

STARTUP = 100
"""Random trials of the Parzen sampler, five a graph."""

Box = tuple[str, list[float], list[int]]
"""Graph, variables between 0 and 1, and sites."""


class Flat:
    """All graphs as one problem: variables and sites are shared by their names, those a graph lacks lie idle.

    Parameters
    ----------
    cells : dict of str to PeerCell
        Evaluator of every graph [record].
    """

    def __init__(self, cells: dict[str, PeerCell]) -> None:
        self.cells = cells
        self.graphs = list(cells)
        self.names = sorted({v.name for cell in cells.values() for v in cell.space.variables})
        self.slots = sorted({slot for cell in cells.values() for slot in cell.space.site_slots})
        self.sites = len(cells[self.graphs[0]].space.sites)

    def box(self, graph: str, shared: dict[str, float], places: dict[tuple, int]) -> Box:
        """What a graph takes of the shared variables and sites."""
        space = self.cells[graph].space
        return graph, [shared[v.name] for v in space.variables], [places[slot] for slot in space.site_slots]

    def values(self, boxes: list[Box]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Value, gains and excess of boxes, as :meth:`PeerCell.values`, one batch a graph."""
        value, found, excess = np.empty(len(boxes)), np.empty((len(boxes), 3)), np.empty(len(boxes))
        for graph in dict.fromkeys(box[0] for box in boxes):
            rows = [i for i, box in enumerate(boxes) if box[0] == graph]
            x = np.array([boxes[i][1] for i in rows])
            site = np.array([boxes[i][2] for i in rows], dtype=int).reshape(len(rows), -1)
            value[rows], found[rows], excess[rows] = self.cells[graph].values(x, site)
        return value, found, excess


def run_optuna(cells: dict[str, PeerCell], ledger: Ledger, seed: int, name: str) -> None:
    """One of Optuna's samplers on the flat problem.

    Parameters
    ----------
    cells : dict of str to PeerCell
        Evaluator of every graph [record].
    ledger : Ledger
        Counts and ends the run [record].
    seed : int
        Seed of the sampler [1].
    name : str
        Key of :data:`BATCH` [text].
    """
    optuna.logging.set_verbosity(optuna.logging.ERROR)
    flat = Flat(cells)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = optuna.create_study(direction="maximize", sampler=_sampler(name, seed))
        while not ledger.over():
            trials = [study.ask() for _ in range(BATCH[name])]
            values = flat.values([_suggest(trial, flat, name) for trial in trials])[0]
            for trial, value in zip(trials, values, strict=True):
                study.tell(trial, float(value))


def _sampler(name: str, seed: int) -> BaseSampler:
    if name == "tpe":
        return TPESampler(seed=seed, n_startup_trials=STARTUP, constant_liar=True)
    if name == "nsga2":
        return NSGAIISampler(seed=seed, population_size=BATCH[name])
    return CmaEsSampler(seed=seed, popsize=BATCH[name], with_margin=True, n_startup_trials=1)


def _suggest(trial: Trial, flat: Flat, name: str) -> Box:
    """A trial as a box.

    The Parzen sampler is asked for what the chosen graph needs. The two others cross or adapt only variables
    that every trial has, so they are asked for all.
    """
    if name == "cma_es":
        graph = flat.graphs[trial.suggest_int("graph", 0, len(flat.graphs) - 1)]
    else:
        graph = trial.suggest_categorical("graph", flat.graphs)
    space = flat.cells[graph].space
    names = [v.name for v in space.variables] if name == "tpe" else flat.names
    slots = list(space.site_slots) if name == "tpe" else flat.slots
    shared = {key: trial.suggest_float(key, 0.0, 1.0) for key in names}
    places = {slot: trial.suggest_int(f"site {slot}", 0, flat.sites - 1) for slot in slots}
    return flat.box(graph, shared, places)


def run_pymoo(cells: dict[str, PeerCell], ledger: Ledger, seed: int) -> None:
    """NSGA-II of pymoo on output, evenness and material, excess as a constraint."""
    from pymoo.algorithms.moo.nsga2 import NSGA2
    from pymoo.core.problem import Problem

    flat = Flat(cells)
    names, slots = len(flat.names), len(flat.slots)

    def box(row: np.ndarray) -> Box:
        graph = flat.graphs[min(int(row[0] * len(flat.graphs)), len(flat.graphs) - 1)]
        site = np.minimum((row[1 + names :] * flat.sites).astype(int), flat.sites - 1)
        shared = dict(zip(flat.names, row[1 : 1 + names], strict=True))
        return flat.box(graph, shared, dict(zip(flat.slots, site, strict=True)))

    class Boxes(Problem):
        """All graphs as a problem of pymoo."""

        def __init__(self) -> None:
            super().__init__(n_var=1 + names + slots, n_obj=3, n_ieq_constr=1, xl=0.0, xu=1.0)

        def _evaluate(self, x: np.ndarray, out: dict, *args: object, **kwargs: object) -> None:
            _, found, excess = flat.values([box(row) for row in x])
            out["F"], out["G"] = -found, excess[:, None]

    problem, algorithm = Boxes(), NSGA2(pop_size=PYMOO_POPULATION)
    algorithm.setup(problem, termination=("n_gen", 10**9), seed=seed, verbose=False)
    while not ledger.over():
        asked = algorithm.ask()
        algorithm.evaluator.eval(problem, asked)
        algorithm.tell(infills=asked)
