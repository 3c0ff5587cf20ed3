"""Types of what operators and numba's own functions return, asked once in a process.

Numba asks all versions of an operator again at every place where it stands, while it finds types and once
more while it writes code: a fifth of all compilation.
"""

from __future__ import annotations

from typing import Any

from numba.core.types.functions import BaseFunction

_KNOWN: dict[Any, dict[Any, Any]] = {}


def signature_of(context: Any, function: BaseFunction, args: tuple[Any, ...]) -> Any:
    """Signature of one of numba's functions for arguments of some types."""
    known = _KNOWN.setdefault(function, {})
    if args not in known:
        known[args] = context.resolve_function_type(function, args, {})
    return known[args]


class Typing:
    """A typing context of numba's that asks so."""

    def __init__(self, context: Any) -> None:
        self._context = context

    def __getattr__(self, name: str) -> Any:
        return getattr(self._context, name)

    def resolve_function_type(self, function: Any, args: Any, kws: Any) -> Any:
        """Signature of a function for arguments of some types."""
        if kws or not isinstance(function, BaseFunction):
            return self._context.resolve_function_type(function, args, kws)
        return signature_of(self._context, function, args)
