"""Options that several commands share: their faults, run folders, and seasons with changed settings."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from optimizer.season import Season

INTERRUPTED = 130
"""Exit status after an interrupt from the keyboard."""


class BadOption(click.UsageError):
    """An option's value that cannot be used."""

    def __init__(self, option: str, message: str) -> None:
        super().__init__(message)
        self.option = option


def unwritable(option: str, folder: Path, error: OSError) -> BadOption:
    """Fault of an option whose folder, or a file in it, cannot be written."""
    place = error.filename2 or error.filename or folder
    return BadOption(option, f"cannot write to {place}: {error.strerror}")


class Bounded(click.ParamType):
    """A number within bounds; what is wrong is told with the bounds and the value.

    Parameters
    ----------
    low, high : float
        Smallest and largest value; whole numbers where only whole numbers will do [1].
    unit : str
        Unit behind the bounds, for people [text].
    """

    def __init__(self, low: float, high: float, unit: str = "") -> None:
        self.low, self.high, self.unit = low, high, unit
        self.whole = isinstance(low, int)
        self.name = "whole number" if self.whole else "number"

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """Placeholder in a command's help."""
        return "N" if self.whole else self.unit or "X"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number."""
        try:
            number: float = int(value) if self.whole else float(value)
        except ValueError:
            self.fail(f"must be a {self.name}, is {value!r}", param, ctx)
        if not self.low <= number <= self.high:
            low, high, is_ = (_written(n) for n in (self.low, self.high, number))
            self.fail(f"must be {low} to {high}{self.unit and f' {self.unit}'}, is {is_}", param, ctx)
        return number


def _written(number: float) -> str:
    if number == 2**63 - 1:
        return "2**63 - 1"
    return str(number) if isinstance(number, int) else f"{number:g}"


SEED = Bounded(0, 2**63 - 1)
RANK = Bounded(1, 10**6)

workers_option = click.option(
    "--workers",
    type=Bounded(1, 1000),
    default=os.cpu_count() or 1,
    show_default="all cores",
    help="Processes.",
)


def examples(*lines: str) -> str:
    """Epilog of a command's help: examples that keep their lines.

    Parameters
    ----------
    *lines : str
        Whole command lines, at best less than 78 characters [text].

    Returns
    -------
    str
        For ``click.command(epilog=...)`` [text].
    """
    return "\n".join(["\b", "Examples:", *(f"  {line}" for line in lines)])


def talk_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add ``--quiet`` and ``--verbose``; the command gets ``talk`` for :mod:`optimizer.progress`."""
    quiet = click.option("-q", "--quiet", "talk", flag_value="quiet", help="Faults only on standard error.")
    verbose = click.option(
        "-v", "--verbose", "talk", flag_value="verbose", help="A line for every step instead of a bar."
    )
    return quiet(verbose(command))


def season_with(config: Path, effort: str | None, seed: int | None) -> Season:
    """Season with some search settings from the command line; its hash is that of the changed season."""
    from optimizer.season import load_season, with_settings

    return with_settings(load_season(config), effort, seed)


def new_folder(out: Path | None, config: Path) -> Path:
    """Make the run folder; refuse one that holds anything."""
    from optimizer.folders import FolderError, make_run_folder

    try:
        return make_run_folder(out, config.stem)
    except FolderError as error:
        raise BadOption("--out", str(error)) from None


def old_folder(out: Path | None, config: Path, elsewhere: bool) -> Path:
    """The run folder of a search that was stopped."""
    from optimizer.study import JOURNAL

    if out is None:
        numbers = [p.name.removeprefix(f"{config.stem}-") for p in Path("runs").glob(f"{config.stem}-*")]
        if not (known := sorted(int(number) for number in numbers if number.isdecimal())):
            raise BadOption("--resume", f"there is no folder runs/{config.stem}-NUMBER to go on with")
        out = Path("runs") / f"{config.stem}-{known[-1]}"
    if not elsewhere and not (out / JOURNAL).is_file():
        raise BadOption("--resume", f"{out} holds no {JOURNAL}, so there is nothing to go on with")
    out.mkdir(parents=True, exist_ok=True)
    return out
