"""The folder that a search writes: new, or empty, and writable."""

from __future__ import annotations

from pathlib import Path

RUNS = Path("runs")
"""Where run folders go that nobody has named."""


class FolderError(ValueError):
    """A folder holds something, or cannot be written."""


def make_run_folder(out: Path | None, name: str) -> Path:
    """Make the run folder of a search.

    Parameters
    ----------
    out : Path or None
        New or empty folder; None for the first free ``runs/NAME-NUMBER`` [path].
    name : str
        Name used there [text].

    Returns
    -------
    Path
        The folder, which exists and is empty [path].

    Raises
    ------
    FolderError
        It holds something, is a file, or cannot be written.
    """
    try:
        if out is None:
            number = 1
            while (folder := RUNS / f"{name}-{number}").exists():
                number += 1
            folder.mkdir(parents=True)
            return folder
        out.mkdir(parents=True, exist_ok=True)
        if any(out.iterdir()):
            raise FolderError(f"{out} is not empty; nothing was written")
        (out / ".writable").touch()
        (out / ".writable").unlink()
        return out
    except FileExistsError:
        raise FolderError(f"{out} is not a folder; nothing was written") from None
    except OSError as error:
        raise FolderError(f"cannot write to {out or RUNS}: {error.strerror}") from None
