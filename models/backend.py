"""Which of the two back ends evaluates batches: compiled code where numba is installed, else numpy."""

from __future__ import annotations

import functools
import hashlib
import importlib.util
import os
from pathlib import Path
from typing import Literal, cast, get_args

from models.cache import cache_folder

Backend = Literal["compiled", "numpy"]

VARIABLE = "BOXWRIGHT_BACKEND"
"""Environment variable that chooses a back end for the whole program."""


@functools.cache
def has_compiler() -> bool:
    """Whether numba is installed."""
    return importlib.util.find_spec("numba") is not None


def choose_backend(wish: str | None = None) -> Backend:
    """Back end to use.

    Parameters
    ----------
    wish : str or None
        ``compiled`` or ``numpy``; None reads :data:`VARIABLE`, and where that is not set takes compiled
        code if numba is installed [text].

    Returns
    -------
    str
        ``compiled`` or ``numpy`` [text].

    Raises
    ------
    ValueError
        The name is not one of these, or compiled code is asked for without numba.
    """
    chosen = wish or os.environ.get(VARIABLE) or ("compiled" if has_compiler() else "numpy")
    if chosen not in get_args(Backend):
        raise ValueError(f"back end {chosen!r} is not one of {', '.join(get_args(Backend))} ({VARIABLE})")
    if chosen == "compiled" and not has_compiler():
        raise ValueError(
            "the compiled back end needs numba, which is not installed: pip install boxwright[fast]"
        )
    return cast(Backend, chosen)


def code_folder() -> Path:
    """Folder of compiled code, named by a hash of all sources it may depend on and of where they lie.

    Numba itself looks at the file of the outermost function alone, and at its place: another
    installation of the same sources compiles its own code.
    """
    here = Path(__file__).parent
    sources = sorted(here.glob("*.py"))
    texts = hashlib.sha256(b"".join([str(here).encode(), *(source.read_bytes() for source in sources)]))
    return cache_folder() / f"compiled-{texts.hexdigest()[:16]}"
