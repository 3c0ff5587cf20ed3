"""Options that several commands share: their faults, run folders, and seasons with changed settings."""

from __future__ import annotations

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
