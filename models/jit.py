"""Compilation of small numerical functions by numba, and elementary functions that vectorise.

Only the compiled back end imports this file; without numba everything runs on numpy
(:mod:`models.backend`). Compiled code is kept on disk. The elementary functions are free of branches,
so that loops over them become vector instructions; none relies on fused or reordered arithmetic.
Reduction of arguments after W. J. Cody, W. Waite, "Software Manual for the Elementary Functions" (1980,
from memory). Their polynomials agree with the functions at Chebyshev's points (worked out with 40 digits),
and to a few 1e-16 between them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from types import FunctionType, ModuleType
from typing import Any, TypeVar, cast

import numba
from llvmlite import ir
from numba import config
from numba.core import types
from numba.extending import intrinsic

from models.backend import code_folder
from models.lanes import LanesType, call, choose

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
_OUTER: dict[str, Any] = {"cache": True, "no_cfunc_wrapper": True, "nogil": True, "error_model": "numpy"}

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


def _allocates(function: Any) -> bool:
    """Whether a function makes arrays; if not, references to arrays need not be counted."""
    return not {"empty", "zeros", "ones", "whole"}.isdisjoint(function.__code__.co_names)


def _inner(function: Any, flags: set[str], **options: Any) -> Any:
    """Compile a function that only compiled code calls, once for whole numbers, known beforehand or not."""
    made = numba.njit(**_INNER, **options, fastmath=flags)(function)
    template, plain = made.get_call_template, cast(Any, types.unliteral)
    made.get_call_template = lambda args, kws: template(tuple(plain(one) for one in args), kws)
    return made


def compiled(function: Function) -> Function:
    """Compile a function that only compiled code calls; its indices are never negative."""
    return cast(Function, _inner(function, _FLAGS, _nrt=_allocates(function)))


def compiled_sums(function: Function) -> Function:
    """The same, with sums in any order."""
    return cast(Function, _inner(function, _FLAGS | {"reassoc"}, _nrt=_allocates(function)))


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
    return cast(Function, _inner(function, _FLAGS, forceinline=True))


_CODE_FOLDER = code_folder()
_CONFIG: Any = config


def _integers(kind: Any) -> Any:
    """Integers of the shape of doubles, one or lanes."""
    one = ir.IntType(64)
    return ir.VectorType(one, kind.count) if isinstance(kind, ir.VectorType) else one


def _of_bits(make: Callable[..., Any]) -> Callable[[float], float]:
    """A function of a number or of lanes; ``make`` writes it with a builder, the value, and its bits."""

    def code(typing_context: Any, x: Any) -> Any:
        def lower(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
            (value,), kind = arguments, arguments[0].type
            return make(builder, value, builder.bitcast(value, _integers(kind)), kind)

        kind = x if isinstance(x, LanesType) else types.float64
        return kind(kind), lower

    return cast(Callable[[float], float], intrinsic(code))


def _write_power(builder: Any, value: Any, bits: Any, kind: Any) -> Any:
    whole = _integers(kind)
    bits = builder.add(bits, ir.Constant(whole, 1023))
    return builder.bitcast(builder.shl(bits, ir.Constant(whole, 52)), kind)


def _write_exponent(builder: Any, value: Any, bits: Any, kind: Any) -> Any:
    whole = _integers(kind)
    bits = builder.lshr(bits, ir.Constant(whole, 52))
    bits = builder.add(bits, ir.Constant(whole, _MAGIC_BITS - 1023))
    return builder.fsub(builder.bitcast(bits, kind), ir.Constant(kind, _MAGIC))


def _write_mantissa(builder: Any, value: Any, bits: Any, kind: Any) -> Any:
    whole = _integers(kind)
    bits = builder.and_(bits, ir.Constant(whole, 0x000FFFFFFFFFFFFF))
    return builder.bitcast(builder.or_(bits, ir.Constant(whole, 0x3FF0000000000000)), kind)


def _write_rough(root: bool) -> Callable[..., Any]:
    def write(builder: Any, value: Any, bits: Any, kind: Any) -> Any:
        lanes = isinstance(kind, ir.VectorType)
        single = ir.VectorType(ir.FloatType(), kind.count) if lanes else ir.FloatType()
        value = builder.fptrunc(value, single)
        value = call("sqrt", builder, value) if root else value
        return builder.fpext(builder.fdiv(ir.Constant(single, 1.0), value), kind)

    return write


_MAGIC = 6755399441055744.0  # 1.5 * 2**52: adding it leaves an integer in the low bits
_MAGIC_BITS = 0x4338000000000000
_power_of_two = _of_bits(_write_power)
_exponent = _of_bits(_write_exponent)
_mantissa = _of_bits(_write_mantissa)
_rough_root = _of_bits(_write_rough(True))
_rough = _of_bits(_write_rough(False))
round_down = _of_bits(lambda builder, value, bits, kind: call("floor", builder, value))
_LOG2E = math.log2(math.e)
_LN2_HIGH, _LN2_LOW = 6.93147180369123816490e-01, 1.90821492927058770002e-10
_TWO_OVER_PI = 2.0 / math.pi
_HALF_PI = (1.5707962512969970703125, 7.549789415861596353e-08, 5.390302858158119053e-15)
_EXP = (
    1.0, 1.0000000000000067, 0.5000000000000006, 0.16666666666554336, 0.041666666666573086,
    0.00833333338569173, 0.0013888888932508548, 0.00019841170240059446, 2.4801504321690158e-05,
    2.7640193442207173e-06, 2.7626367775723217e-07,
)  # fmt: skip
_LOG = (
    0.3333333333333101, 0.20000000005664184, 0.14285712049833713, 0.11111433241391053, 0.09070005136289223,
    0.08312293589195266,
)  # fmt: skip
_SIN = (
    -0.16666666666666666, 0.008333333333330948, -0.00019841269836756774, 2.7557316101617874e-06,
    -2.505113165023518e-08, 1.5918115263265974e-10,
)  # fmt: skip
SIN_HALF_TURN = (
    -0.1666666666666665, 0.008333333333325928, -0.00019841269836466636, 2.7557318055221206e-06,
    -2.505197288121006e-08, 1.6050970646122487e-10, -7.408031343670488e-13,
)  # fmt: skip
"""(sin x/x - 1)/x^2 by powers of x^2, up to a quarter turn to either side."""

_COS = (
    -0.49999999999999967, 0.04166666666663091, -0.0013888888882125252, 2.4801582621951665e-05,
    -2.7555855220105783e-07, 2.066548384659679e-09,
)  # fmt: skip
_SQRT2, _LN2 = math.sqrt(2.0), math.log(2.0)
_TINY = 1e-290


@inlined
def round_off(x: float) -> float:
    """The nearest whole number."""
    return round_down(x + 0.5)


@inlined
def series(factors: tuple[float, ...], x: float) -> float:
    """Sum of powers of x with given factors."""
    total = factors[-1] * x + factors[-2]
    for k in range(len(factors) - 3, -1, -1):
        total = total * x + factors[k]
    return total


@inlined
def exp(x: float) -> float:
    """E to the power of x, between 1e-307 and 1e307."""
    x = max(x, -707.0)
    shifted = x * _LOG2E + _MAGIC  # the nearest integer lies in its low bits
    n = shifted - _MAGIC
    r = (x - n * _LN2_HIGH) - n * _LN2_LOW
    return series(_EXP, r) * _power_of_two(shifted)


@inlined
def log(x: float) -> float:
    """Natural logarithm of a number not negative; minus infinity of zero; nan and infinity pass."""
    small = x < _TINY
    y = choose(small, x * 1.8014398509481984e16, x)  # 2**54
    n, m = _exponent(y), _mantissa(y)
    big = m > _SQRT2
    m = choose(big, 0.5 * m, m)
    n = choose(big, n + 1.0, n)
    n = choose(small, n - 54.0, n)
    s = (m - 1.0) / (m + 1.0)
    z = s * s
    result = n * _LN2_HIGH + (n * _LN2_LOW + 2.0 * (s + s * z * series(_LOG, z)))
    result = choose(x < math.inf, result, x)
    return choose(x == 0.0, -math.inf, result)


@inlined
def _reduced(x: float) -> tuple[float, float]:
    """X less its nearest multiple of a quarter turn, and that multiple."""
    n = round_off(x * _TWO_OVER_PI)
    return ((x - n * _HALF_PI[0]) - n * _HALF_PI[1]) - n * _HALF_PI[2], n


@inlined
def sin_cos(x: float) -> tuple[float, float]:
    """Sine and cosine of an angle below some 1e6."""
    r, n = _reduced(x)
    z = r * r
    s, c = r + r * z * series(_SIN, z), 1.0 + z * series(_COS, z)
    half = round_down(0.5 * n)
    odd = n - 2.0 * half > 0.5
    sine, cosine = choose(odd, c, s), choose(odd, s, c)
    # signs change with every half turn, of the cosine a quarter earlier
    sine = choose(half - 2.0 * round_down(0.5 * half) > 0.5, -sine, sine)
    half = round_down(0.5 * n + 0.5)
    cosine = choose(half - 2.0 * round_down(0.5 * half) > 0.5, -cosine, cosine)
    return sine, cosine


@inlined
def inverse_root(x: float) -> float:
    """One over the root of a number between 1e-30 and 1e30: single precision and one step of Newton."""
    rough = _rough_root(x)
    return rough * (1.5 - 0.5 * x * rough * rough)


@inlined
def inverse(x: float) -> float:
    """One over a number between 1e-30 and 1e30: single precision and one step of Newton."""
    rough = _rough(x)
    return rough * (2.0 - x * rough)
