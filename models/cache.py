"""Arrays kept on disk between runs, named by a hash of what they depend on."""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np


def cache_folder() -> Path:
    """Folder of the cache: ``BOXWRIGHT_CACHE``, else ``boxwright`` in the user's cache folder.

    Returns
    -------
    Path
        The folder, which need not exist yet [path].
    """
    chosen = os.environ.get("BOXWRIGHT_CACHE")
    if chosen:
        return Path(chosen)
    base = os.environ.get("XDG_CACHE_HOME")
    return (Path(base) if base else Path("~/.cache").expanduser()) / "boxwright"


def cache_key(*parts: object) -> str:
    """Hash of the parts' printed form (floats print with every digit they hold).

    Parameters
    ----------
    *parts : object
        Plain values: texts, numbers, tuples of them [any].

    Returns
    -------
    str
        Hexadecimal digest [text].
    """
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:40]


def cached_arrays(
    kind: str, key: str, names: tuple[str, ...], compute: Callable[[], dict[str, np.ndarray]]
) -> dict[str, np.ndarray]:
    """Read arrays from the cache, or compute and keep them.

    A damaged file is computed anew; a folder that cannot be written only means no cache.

    Parameters
    ----------
    kind : str
        First part of the file's name [text].
    key : str
        Second part: hash of everything the arrays depend on [text].
    names : tuple of str
        Names of the arrays that a sound file holds [text].
    compute : callable
        Called without arguments when there is no sound file; returns the arrays [any].

    Returns
    -------
    dict of str to ndarray
        The arrays by name [any].
    """
    path = cache_folder() / f"{kind}-{key}.npz"
    found = _read(path, names)
    if found is not None:
        return found
    fresh = compute()
    _write(path, fresh)
    return fresh


def _read(path: Path, names: tuple[str, ...]) -> dict[str, np.ndarray] | None:
    """Arrays of a file, or None where it is missing or damaged (the archive carries checksums)."""
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as archive:
            return {name: archive[name] for name in names}
    except (OSError, ValueError, KeyError, EOFError, TypeError, AttributeError, zipfile.BadZipFile):
        return None
    # a damaged header may ask for an unknown packing or a password
    except (NotImplementedError, RuntimeError):
        return None


def _write(path: Path, arrays: dict[str, np.ndarray]) -> None:
    """Write beside the target and move into place, so that readers never see half a file."""
    temporary = ""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, suffix=".part")
        with os.fdopen(handle, "wb") as file:
            np.savez(file, allow_pickle=False, **arrays)
        os.replace(temporary, path)
    except OSError:
        if temporary:
            with contextlib.suppress(OSError):
                os.unlink(temporary)
