"""The Optuna study of a search: one trial a task, in a journal file or in a database that several share.

A process claims a task by a running trial and keeps signs of life in it. A claim whose process has
died is void, so that the task is done again; a task that two processes claimed at once belongs to the
trial of the lower number. Outcomes depend on the task alone, so nothing is lost by either.
"""

from __future__ import annotations

import os
import platform
import sys
import time
import uuid
from collections.abc import Callable, Sequence
from pathlib import Path
from threading import Event, Thread
from typing import Any

import optuna
from optuna.distributions import BaseDistribution, CategoricalDistribution, IntDistribution
from optuna.samplers import RandomSampler
from optuna.storages import BaseStorage, JournalStorage, RDBStorage
from optuna.storages.journal import JournalFileBackend
from optuna.trial import FrozenTrial, Trial, TrialState

from optimizer.inner import EFFORTS
from optimizer.journal import KernelLock
from optimizer.objectives import OBJECTIVES
from optimizer.outcomes import PLAN, Task, best_score

JOURNAL = "study.journal"
"""File of the study in the run folder."""

NO_JOURNAL = "it holds something else than the journal of a search"

JOURNAL_HEAD = b'{"op_code"'
"""How a journal begins; any other file is left as it is."""

BEAT_SECONDS = 5.0
"""Time between signs of life of a process that works on a task."""

SILENT_SECONDS = 60.0
"""A process on another machine that is silent for so long has died."""

CLAIM_SECONDS = 2.0
"""A claim younger than this may not yet say whose it is."""

OPENING_TRIES, WAIT_SECONDS = 3, 1.0

MOST_RESTARTS = 10_000


class StorageError(Exception):
    """A storage cannot be opened, or holds something else."""


class Study:
    """The study of one season in one storage.

    Parameters
    ----------
    storage : str
        Path of a journal file, or URL of a database [text].
    name : str
        Name of the study in it [text].
    graphs : sequence of str
        Graph ids that are searched [text].
    sole : bool
        Whether the storage is for one study alone: one that is there is opened whatever its name [flag].

    Raises
    ------
    StorageError
        The storage cannot be opened.
    """

    def __init__(self, storage: str, name: str, graphs: Sequence[str], sole: bool = False) -> None:
        optuna.logging.set_verbosity(optuna.logging.ERROR)
        self.study = _open(storage, name, sole)
        self.space: dict[str, BaseDistribution] = {
            "graph": CategoricalDistribution(list(graphs)),
            "restart": IntDistribution(0, MOST_RESTARTS),
            "effort": CategoricalDistribution(list(EFFORTS)),
            "objective": CategoricalDistribution([*OBJECTIVES, PLAN]),
        }
        self._owner = {"host": _host(), "process": os.getpid()}
        self._known: dict[int, tuple[Task, dict[str, Any]]] = {}
        self._beats: dict[int, tuple[Any, float]] = {}

    @property
    def content(self) -> dict[str, Any] | None:
        """What the study was made for, as :meth:`set_content` left it; None in a new study."""
        return self.study.user_attrs.get("content")

    def set_content(self, content: dict[str, Any]) -> None:
        """Note what the study is made for, as plain data."""
        self.study.set_user_attr("content", content)

    def outcomes(self, partial: bool = False) -> dict[Task, dict[str, Any]]:
        """Finished tasks and their outcomes; with ``partial`` those cut short as well."""
        found: dict[Task, dict[str, Any]] = {}
        short: dict[Task, dict[str, Any]] = {}
        for trial in self.study.get_trials(deepcopy=False, states=(TrialState.COMPLETE, TrialState.PRUNED)):
            if trial.number not in self._known:
                self._known[trial.number] = (self._task(trial), trial.user_attrs["outcome"])
            task, outcome = self._known[trial.number]
            (found if trial.state == TrialState.COMPLETE else short)[task] = outcome
        return {**short, **found} if partial else found

    def finished(self) -> list[tuple[float, Task, dict[str, Any]]]:
        """Finished tasks with their outcomes and when they were finished, as seconds of the epoch."""
        trials = self.study.get_trials(deepcopy=False, states=(TrialState.COMPLETE,))
        rows = [
            (t.datetime_complete.timestamp(), self._task(t), t.user_attrs["outcome"])
            for t in trials
            if t.datetime_complete is not None
        ]
        return sorted(rows, key=lambda row: (row[0], row[1]))

    def claim(self, tasks: Sequence[Task]) -> tuple[Trial, Task] | None:
        """Claim the first task that no living process works on.

        None where there is none, or where another process was faster; then the tasks may be out of date.

        Parameters
        ----------
        tasks : sequence of Task
            Unfinished tasks, the first ones first [list].

        Returns
        -------
        tuple of Trial and Task, or None
            The claim [record].
        """
        taken = {self._task(trial) for trial in self._running()}
        free = next((task for task in tasks if task not in taken), None)
        if free is None:
            return None
        token = uuid.uuid4().hex
        params = {name: getattr(free, name) for name in self.space}
        self.study.enqueue_trial(params, user_attrs={"token": token, "owner": self._owner})
        trial = self.study.ask(self.space)
        mine = next(t for t in self.study.get_trials(deepcopy=False) if t.number == trial.number)
        if mine.user_attrs.get("token") != token:  # another process asked at the same moment
            trial.set_user_attr("owner", self._owner)
        if "token" not in mine.user_attrs or not self._is_first(mine):
            self.study.tell(trial, state=TrialState.FAIL)
            return None
        return trial, self._task(mine)

    def alive(self, trial: Trial) -> Callable[[], None]:
        """Give signs of life for a claim until the returned function is called."""
        over = Event()

        def beat() -> None:
            while not over.wait(BEAT_SECONDS):
                trial.set_user_attr("beat", time.time())

        thread = Thread(target=beat, daemon=True)
        thread.start()

        def end() -> None:
            over.set()
            thread.join()

        return end

    def record(self, trial: Trial, outcome: dict[str, Any], *, whole: bool = True) -> None:
        """Write what a task came to; ``whole`` is false where it was cut short."""
        trial.set_user_attr("outcome", outcome)
        if not whole:
            self.study.tell(trial, state=TrialState.PRUNED)
            return
        score = outcome["score_db"] if outcome.get("plan") else best_score(outcome)
        self.study.tell(trial, score if score > -1e300 else -1e300)

    def _task(self, trial: FrozenTrial) -> Task:
        params = _params(trial)
        return Task(**{name: params[name] for name in self.space})

    def _running(self) -> list[FrozenTrial]:
        """Claims of living processes; claims of dead ones are ended on the way."""
        living = []
        for trial in self.study.get_trials(deepcopy=False, states=(TrialState.RUNNING,)):
            if not set(self.space) <= set(_params(trial)):
                continue  # asked for a moment ago, of a queue that another process had just emptied
            if self._lives(trial):
                living.append(trial)
            else:
                self.study.tell(trial.number, state=TrialState.FAIL, skip_if_finished=True)
        return living

    def _lives(self, trial: FrozenTrial) -> bool:
        owner, began = trial.user_attrs.get("owner", {}), trial.datetime_start
        fresh = began is not None and abs(time.time() - began.timestamp()) < CLAIM_SECONDS
        if owner.get("host") == self._owner["host"] and not _runs(int(owner.get("process", 0))):
            return fresh  # a claim left waiting by a dead process may just have been taken over
        sign = trial.user_attrs.get("beat")
        before = self._beats.get(trial.number)
        if before is None or before[0] != sign:
            self._beats[trial.number] = (sign, time.monotonic())
            return True
        return time.monotonic() - before[1] < SILENT_SECONDS

    def _is_first(self, mine: FrozenTrial) -> bool:
        task = self._task(mine)
        rivals = self.study.get_trials(deepcopy=False, states=(TrialState.RUNNING, TrialState.COMPLETE))
        return not any(
            trial.number < mine.number
            and self._task(trial) == task
            and (trial.state == TrialState.COMPLETE or self._lives(trial))
            for trial in rivals
            if set(self.space) <= set(_params(trial))
        )


def _params(trial: FrozenTrial) -> dict[str, Any]:
    """What a trial is about, known from its queueing on, before it is asked for."""
    return {**trial.system_attrs.get("fixed_params", {}), **trial.params}


def _open(storage: str, name: str, sole: bool) -> optuna.Study:
    for tries_left in reversed(range(OPENING_TRIES)):
        try:
            place = _place(storage)
            there = optuna.get_all_study_names(place) if sole else []
            if there and name not in there:
                name = there[0]
            return optuna.create_study(
                storage=place,
                study_name=name,
                direction="maximize",
                load_if_exists=True,
                sampler=RandomSampler(),
            )
        except Exception as error:  # whatever a driver raises: the storage cannot be used
            if tries_left and _by_database(error):
                time.sleep(WAIT_SECONDS)  # another process may just be making the same tables
                continue
            raise StorageError(f"cannot open {storage!r}: {_in_words(error)}") from error
    raise AssertionError("a last try returns or raises")


def _by_database(error: Exception) -> bool:
    """Whether an error comes from a database; its library takes long to load, and journals need none."""
    loaded = sys.modules.get("sqlalchemy.exc")
    return loaded is not None and isinstance(error, loaded.SQLAlchemyError)


def _place(storage: str) -> BaseStorage:
    if "://" in storage:
        return RDBStorage(storage, engine_kwargs={"pool_pre_ping": True})
    path = Path(storage)
    if not path.parent.is_dir():  # as where a shared disk is missing: a search there would be alone
        raise StorageError(f"there is no folder {path.parent}")
    if path.exists():
        with path.open("rb") as file:
            if file.read(len(JOURNAL_HEAD)) not in (b"", JOURNAL_HEAD):
                raise StorageError(f"{NO_JOURNAL}; it was left as it is")  # mending would cut it
    return JournalStorage(JournalFileBackend(str(path), lock_obj=KernelLock(path)))


def _host() -> str:
    return f"{platform.node()}-{uuid.getnode():x}"


def _runs(process: int) -> bool:
    """Whether a process of this machine is alive."""
    if process <= 0:
        return False
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _in_words(error: Exception) -> str:
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    if isinstance(error, ValueError):
        return NO_JOURNAL
    return (str(error).strip().splitlines() or [type(error).__name__])[0]
