"""Compilation of small numerical functions by numba, and elementary functions that vectorise.

Only the compiled back end imports this file; without numba everything runs on numpy
(:mod:`models.backend`). Compiled code is kept on disk. The elementary functions are free of branches,
so that loops over them become vector instructions; none relies on fused or reordered arithmetic.
Reduction of arguments after W. J. Cody, W. Waite, "Software Manual for the Elementary Functions" (1980,
from memory); series of Taylor, long enough for a relative error of a few 1e-16.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from types import FunctionType, ModuleType
from typing import Any, TypeVar, cast

import numba
from numba import config
from numba.core import types
from numba.extending import intrinsic

from models.backend import code_folder

Function = TypeVar("Function", bound=Callable[..., Any])

LINKED_VERSION = 0, 68
"""Version of numba whose inside :mod:`models.linking` knows; others compile in their own, slower way."""

_FLAGS = {"contract", "arcp", "nsz"}
_INNER: dict[str, Any] = {
    "nogil": True,
    "error_model": "numpy",
    "no_cpython_wrapper": True,
    "no_cfunc_wrapper": True,
}
_OUTER: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy"}

if numba.version_info[:2] == LINKED_VERSION:
    from models.linking import InnerCompiler, OuterCompiler

    _INNER["pipeline_class"], _OUTER["pipeline_class"] = InnerCompiler, OuterCompiler


def entry_point(function: Function) -> Function:
    """Compile a function that Python calls; its code is kept on disk.

    Indices are not checked and never negative, and division by zero gives infinity as in numpy.
    """
    before = _CONFIG.CACHE_DIR
    _CONFIG.CACHE_DIR = str(_CODE_FOLDER)
    try:
        return cast(Function, numba.njit(**_OUTER, fastmath=_FLAGS)(function))
    finally:
        _CONFIG.CACHE_DIR = before


def compiled(function: Function) -> Function:
    """Compile a function that only compiled code calls; its indices are never negative."""
    return cast(Function, numba.njit(**_INNER, fastmath=_FLAGS)(function))


def compiled_sums(function: Function) -> Function:
    """The same, with sums in any order."""
    return cast(Function, numba.njit(**_INNER, fastmath=_FLAGS | {"reassoc"})(function))


def compiled_family(module: ModuleType, names: Sequence[str], **own: Any) -> list[Any]:
    """Compile functions of a module that call each other and that numpy also calls as they are.

    What compiled code has of its own takes the place of the module's function of that name.
    """
    scope = vars(module) | own
    for name in names:
        scope[name] = compiled(FunctionType(vars(module)[name].__code__, scope, name))
    return [scope[name] for name in names]


def inlined(function: Function) -> Function:
    """Compile a small function that disappears in its callers."""
    return cast(Function, numba.njit(**_INNER, fastmath=_FLAGS, forceinline=True)(function))


_CODE_FOLDER = code_folder()
_CONFIG: Any = config


def _bits_code(typing_context: Any, x: Any) -> Any:
    """The 64 bits of a float as an integer."""

    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.bitcast(arguments[0], context.get_value_type(types.int64))

    return types.int64(types.float64), make


def _from_bits_code(typing_context: Any, i: Any) -> Any:
    """The float of 64 bits."""

    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.bitcast(arguments[0], context.get_value_type(types.float64))

    return types.float64(types.int64), make


_bits: Any = intrinsic(_bits_code)
_from_bits: Any = intrinsic(_from_bits_code)

_MAGIC = 6755399441055744.0  # 1.5 * 2**52: adding it leaves an integer in the low bits
_MAGIC_BITS = 0x4338000000000000
_LOG2E = math.log2(math.e)
_LN2_HIGH, _LN2_LOW = 6.93147180369123816490e-01, 1.90821492927058770002e-10
_TWO_OVER_PI = 2.0 / math.pi
_HALF_PI = (1.5707962512969970703125, 7.549789415861596353e-08, 5.390302858158119053e-15)
_ONE_BITS, _FRACTION = 0x3FF0000000000000, 0x000FFFFFFFFFFFFF
_SQRT2, _LN2 = math.sqrt(2.0), math.log(2.0)
_TINY = 1e-290


@inlined
def exp(x: float) -> float:
    """E to the power of x, between 1e-307 and 1e307."""
    x = min(max(x, -707.0), 707.0)
    n = math.floor(x * _LOG2E + 0.5)
    r = (x - n * _LN2_HIGH) - n * _LN2_LOW
    p = 1.0 / 6227020800.0
    p = p * r + 1.0 / 479001600.0
    p = p * r + 1.0 / 39916800.0
    p = p * r + 1.0 / 3628800.0
    p = p * r + 1.0 / 362880.0
    p = p * r + 1.0 / 40320.0
    p = p * r + 1.0 / 5040.0
    p = p * r + 1.0 / 720.0
    p = p * r + 1.0 / 120.0
    p = p * r + 1.0 / 24.0
    p = p * r + 1.0 / 6.0
    p = p * r + 0.5
    p = p * r + 1.0
    p = p * r + 1.0
    scale: float = _from_bits((_bits(n + _MAGIC) + 1023) << 52)
    return p * scale


@inlined
def log(x: float) -> float:
    """Natural logarithm of a number not negative; minus infinity of zero; nan and infinity pass."""
    small = x < _TINY
    y = x * 1.8014398509481984e16 if small else x  # 2**54
    bits = _bits(y)
    n = _from_bits((bits >> 52) - 1023 + _MAGIC_BITS) - _MAGIC
    m = _from_bits((bits & _FRACTION) | _ONE_BITS)
    big = m > _SQRT2
    m = 0.5 * m if big else m
    n = n + 1.0 if big else n
    n = n - 54.0 if small else n
    s = (m - 1.0) / (m + 1.0)
    z = s * s
    p = 1.0 / 19.0
    p = p * z + 1.0 / 17.0
    p = p * z + 1.0 / 15.0
    p = p * z + 1.0 / 13.0
    p = p * z + 1.0 / 11.0
    p = p * z + 1.0 / 9.0
    p = p * z + 1.0 / 7.0
    p = p * z + 1.0 / 5.0
    p = p * z + 1.0 / 3.0
    result = n * _LN2_HIGH + (n * _LN2_LOW + 2.0 * (s + s * z * p))
    result = result if x < math.inf else x
    return -math.inf if x == 0.0 else result


@inlined
def _reduced(x: float) -> tuple[float, float]:
    """X less its nearest multiple of a quarter turn, and that multiple."""
    n = math.floor(x * _TWO_OVER_PI + 0.5)
    return ((x - n * _HALF_PI[0]) - n * _HALF_PI[1]) - n * _HALF_PI[2], n


@inlined
def _short_sin(r: float) -> float:
    z = r * r
    p = -1.0 / 1307674368000.0
    p = p * z + 1.0 / 6227020800.0
    p = p * z - 1.0 / 39916800.0
    p = p * z + 1.0 / 362880.0
    p = p * z - 1.0 / 5040.0
    p = p * z + 1.0 / 120.0
    p = p * z - 1.0 / 6.0
    return r + r * z * p


@inlined
def _short_cos(r: float) -> float:
    z = r * r
    p = 1.0 / 20922789888000.0
    p = p * z - 1.0 / 87178291200.0
    p = p * z + 1.0 / 479001600.0
    p = p * z - 1.0 / 3628800.0
    p = p * z + 1.0 / 40320.0
    p = p * z - 1.0 / 720.0
    p = p * z + 1.0 / 24.0
    p = p * z - 0.5
    return 1.0 + z * p


@inlined
def sin_cos(x: float) -> tuple[float, float]:
    """Sine and cosine of an angle below some 1e6."""
    r, n = _reduced(x)
    quarter = _bits(n + _MAGIC)
    s, c = _short_sin(r), _short_cos(r)
    odd = (quarter & 1) != 0
    sine, cosine = (c if odd else s), (s if odd else c)
    sine = -sine if (quarter & 2) != 0 else sine
    cosine = -cosine if ((quarter + 1) & 2) != 0 else cosine
    return sine, cosine


@inlined
def inverse_root(x: float) -> float:
    """One over the root of a number between 1e-30 and 1e30: single precision and one step of Newton."""
    rough = numba.float64(numba.float32(1.0) / numba.float32(math.sqrt(numba.float32(x))))
    return rough * (1.5 - 0.5 * x * rough * rough)


@inlined
def inverse(x: float) -> float:
    """One over a number between 1e-30 and 1e30: single precision and one step of Newton."""
    rough = numba.float64(numba.float32(1.0) / numba.float32(x))
    return rough * (2.0 - x * rough)
