"""The Optuna study of a run: one trial a task, in a journal file in the run folder."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import optuna
from optuna.distributions import BaseDistribution, CategoricalDistribution, IntDistribution
from optuna.storages import JournalStorage
from optuna.storages.journal import JournalFileBackend

from optimizer.inner import EFFORTS
from optimizer.objectives import OBJECTIVES
from optimizer.tasks import Task

JOURNAL = "study.journal"
"""File of the study in the run folder."""


class Study:
    """The study of one run.

    Parameters
    ----------
    out : Path
        Run folder [path].
    graphs : tuple of str
        Graph ids that are searched [text].
    restarts : int
        Restarts of a graph at most [1].
    """

    def __init__(self, out: Path, graphs: tuple[str, ...], restarts: int) -> None:
        optuna.logging.set_verbosity(optuna.logging.WARNING)
        storage = JournalStorage(JournalFileBackend(str(out / JOURNAL)))
        self.study = optuna.create_study(storage=storage, study_name="season", direction="maximize")
        self.space: dict[str, BaseDistribution] = {
            "graph": CategoricalDistribution(list(graphs)),
            "restart": IntDistribution(0, max(restarts - 1, 0)),
            "objective": CategoricalDistribution(list(OBJECTIVES)),
            "effort": CategoricalDistribution(list(EFFORTS)),
        }

    def record(self, task: Task, outcome: dict[str, Any]) -> None:
        """Write a finished task; a task in which nothing fits counts as failed."""
        self.study.enqueue_trial({name: getattr(task, name) for name in self.space})
        trial = self.study.ask(self.space)
        trial.set_user_attr("floor_db", task.floor_db)
        trial.set_user_attr("outcome", outcome)
        points = outcome["best"] or outcome["archive"]
        if points is None:
            self.study.tell(trial, state=optuna.trial.TrialState.FAIL)
        else:
            self.study.tell(trial, max(points["columns"]["output_db"]))
