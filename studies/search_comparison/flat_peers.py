"""Peers that search all graphs at once: the graph is a variable beside the dimensions.

Optuna's samplers by ask and tell, with a whole batch asked for before the first is told, so that the designs
of a batch are evaluated together.
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

STARTUP = 100
"""Random trials of the Parzen sampler, five a graph."""


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
    graphs = list(cells)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = optuna.create_study(direction="maximize", sampler=_sampler(name, seed))
        while not ledger.over():
            trials = [study.ask() for _ in range(BATCH[name])]
            chosen: dict[str, list[tuple[Trial, list[float], list[int]]]] = {}
            for trial in trials:
                graph, x, site = _suggest(trial, graphs, cells, name)
                chosen.setdefault(graph, []).append((trial, x, site))
            values = {}
            for graph, items in chosen.items():
                x = np.array([item[1] for item in items])
                site = np.array([item[2] for item in items], dtype=int).reshape(len(items), -1)
                told = cells[graph].values(x, site)[0]
                values |= {item[0].number: value for item, value in zip(items, told, strict=True)}
            for trial in trials:
                study.tell(trial, float(values[trial.number]))


def _sampler(name: str, seed: int) -> BaseSampler:
    if name == "tpe":
        return TPESampler(seed=seed, n_startup_trials=STARTUP, constant_liar=True)
    if name == "nsga2":
        return NSGAIISampler(seed=seed, population_size=BATCH[name])
    return CmaEsSampler(seed=seed, popsize=BATCH[name], with_margin=True, n_startup_trials=1)


def _suggest(
    trial: Trial, graphs: list[str], cells: dict[str, PeerCell], name: str
) -> tuple[str, list[float], list[int]]:
    """Graph, variables and sites of a trial.

    For the Parzen sampler each graph has variables of its own, asked for where the graph is chosen. The two
    others cross or adapt only variables that every trial has: all graphs share them by their names, and those
    a graph has no use for lie idle.
    """
    if name == "tpe":
        graph = trial.suggest_categorical("graph", graphs)
        space = cells[graph].space
        x = [trial.suggest_float(f"{graph} {v.name}", 0.0, 1.0) for v in space.variables]
        sites = range(len(space.sites))
        return graph, x, [trial.suggest_categorical(f"{graph} site {s}", sites) for s in space.site_slots]
    if name == "nsga2":
        graph = trial.suggest_categorical("graph", graphs)
    else:
        graph = graphs[trial.suggest_int("graph", 0, len(graphs) - 1)]
    names = {v.name for cell in cells.values() for v in cell.space.variables}
    slots = {str(s) for cell in cells.values() for s in cell.space.site_slots}
    last = len(cells[graph].space.sites) - 1
    shared = {key: trial.suggest_float(key, 0.0, 1.0) for key in sorted(names)}
    places = {key: trial.suggest_int(f"site {key}", 0, last) for key in sorted(slots)}
    space = cells[graph].space
    return graph, [shared[v.name] for v in space.variables], [places[str(s)] for s in space.site_slots]
