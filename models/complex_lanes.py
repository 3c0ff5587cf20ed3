"""Complex numbers side by side as one value of compiled code, beside :mod:`models.lanes`.

Formulas that numpy works out for whole planes are compiled for them as they stand.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from typing import Any, cast

from llvmlite import ir
from numba.core import types
from numba.core.typeconv.castgraph import Conversion
from numba.extending import intrinsic, lower_cast, make_attribute_wrapper, models, register_model

from models.lanes import FEW_LANES, FEW_MASK, address, define, spread

_PART = FEW_LANES.data
_BOTH = ir.LiteralStructType([_PART, _PART])


class _ComplexType(types.Type):
    """Complex numbers."""

    def can_convert_from(self, typingctx: Any, other: Any) -> Any:
        """Real numbers, one or several, and one complex number for several."""
        known = other is FEW_LANES or isinstance(other, (types.Float, types.Complex))
        return Conversion.safe if known else None


COMPLEX = _ComplexType("complex lanes")


@register_model(_ComplexType)
class _Model(models.StructModel):
    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, [("real", FEW_LANES), ("imag", FEW_LANES)])


make_attribute_wrapper(_ComplexType, "real", "real")
make_attribute_wrapper(_ComplexType, "imag", "imag")


def _joined(builder: Any, re: Any, im: Any) -> Any:
    half = builder.insert_value(ir.Constant(_BOTH, ir.Undefined), re, 0)
    return builder.insert_value(half, im, 1)


def _parts(builder: Any, value: Any) -> tuple[Any, Any]:
    """Real and imaginary part of a complex value, or a real value alone."""
    if value.type == _PART:
        return value, None
    return builder.extract_value(value, 0), builder.extract_value(value, 1)


@lower_cast(type(FEW_LANES), _ComplexType)
def _from_real(context: Any, builder: Any, kind: Any, target: Any, value: Any) -> Any:
    return _joined(builder, value, ir.Constant(_PART, [0.0] * _PART.count))


@lower_cast(types.Float, _ComplexType)
def _from_float(context: Any, builder: Any, kind: Any, target: Any, value: Any) -> Any:
    value = spread(context, builder, kind, FEW_LANES, value)
    return _from_real(context, builder, FEW_LANES, target, value)


@lower_cast(types.Complex, _ComplexType)
def _from_complex(context: Any, builder: Any, kind: Any, target: Any, value: Any) -> Any:
    one = types.float64
    re, im = (spread(context, builder, one, FEW_LANES, builder.extract_value(value, i)) for i in (0, 1))
    return _joined(builder, re, im)


def _add(builder: Any, a: Any, b: Any) -> Any:
    (a_re, a_im), (b_re, b_im) = _parts(builder, a), _parts(builder, b)
    im = b_im if a_im is None else a_im if b_im is None else builder.fadd(a_im, b_im)
    return _joined(builder, builder.fadd(a_re, b_re), im)


def _subtract(builder: Any, a: Any, b: Any) -> Any:
    (a_re, a_im), (b_re, b_im) = _parts(builder, a), _parts(builder, b)
    im = builder.fneg(b_im) if a_im is None else a_im if b_im is None else builder.fsub(a_im, b_im)
    return _joined(builder, builder.fsub(a_re, b_re), im)


def _multiply(builder: Any, a: Any, b: Any) -> Any:
    (a_re, a_im), (b_re, b_im) = _parts(builder, a), _parts(builder, b)
    if a_im is None or b_im is None:
        factor, re, im = (a_re, b_re, b_im) if a_im is None else (b_re, a_re, a_im)
        return _joined(builder, builder.fmul(factor, re), builder.fmul(factor, im))
    re = builder.fsub(builder.fmul(a_re, b_re), builder.fmul(a_im, b_im))
    return _joined(builder, re, builder.fadd(builder.fmul(a_re, b_im), builder.fmul(a_im, b_re)))


def _divide(builder: Any, a: Any, b: Any) -> Any:
    re, im = _parts(builder, b)
    if im is None:
        return _multiply(builder, a, builder.fdiv(ir.Constant(_PART, [1.0] * _PART.count), re))
    size = builder.fadd(builder.fmul(re, re), builder.fmul(im, im))
    over = builder.fdiv(ir.Constant(_PART, [1.0] * _PART.count), size)
    inverse = _joined(builder, builder.fmul(re, over), builder.fneg(builder.fmul(im, over)))
    return _multiply(builder, a, inverse)


def _negate(builder: Any, a: Any) -> Any:
    re, im = _parts(builder, a)
    return _joined(builder, builder.fneg(re), builder.fneg(im))


for _name, _make in (("add", _add), ("sub", _subtract), ("mul", _multiply), ("truediv", _divide)):
    for _kinds in ((COMPLEX, COMPLEX), (COMPLEX, FEW_LANES), (FEW_LANES, COMPLEX)):
        define(getattr(operator, _name), COMPLEX, _kinds, _make)
        define(getattr(operator, f"i{_name}"), COMPLEX, _kinds, _make)
define(operator.neg, COMPLEX, (COMPLEX,), _negate)


def _join_code(typing_context: Any, re: Any, im: Any) -> Any:
    """Complex numbers of real and imaginary parts."""

    def make(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        return _joined(builder, *arguments)

    return COMPLEX(FEW_LANES, FEW_LANES), make


def _get_code(typing_context: Any, array: Any, index: Any) -> Any:
    """Complex numbers of two neighbouring rows of an array, the last axes of shape (2, FEW)."""

    def make(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        place = address(context, builder, array, index, arguments, _PART, 2 * _PART.count)
        other = builder.gep(place, [ir.Constant(ir.IntType(64), 1)], source_etype=_PART)
        return _joined(builder, *(builder.load(one, align=8, typ=_PART) for one in (place, other)))

    return COMPLEX(array, index), make


def _put_code(typing_context: Any, array: Any, index: Any, value: Any) -> Any:
    """Write complex numbers into such rows."""

    def make(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        place = address(context, builder, array, index, arguments[:2], _PART, 2 * _PART.count)
        other = builder.gep(place, [ir.Constant(ir.IntType(64), 1)], source_etype=_PART)
        for part, one in zip(_parts(builder, arguments[2]), (place, other), strict=True):
            builder.store(part, one, align=8)
        return context.get_dummy_value()

    return types.void(array, index, COMPLEX), make


def _pick_code(typing_context: Any, condition: Any, one: Any, other: Any) -> Any:
    """The first value where a condition holds, else the second."""
    both = {one, other}
    plain = any(kind is COMPLEX or isinstance(kind, types.Complex) for kind in both)
    lanes = condition is FEW_MASK or FEW_LANES in both
    kind = COMPLEX if plain else FEW_LANES if lanes else types.float64

    def make(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        truth, a, b = arguments
        if kind is not COMPLEX:
            return builder.select(truth, a, b)
        pairs = zip(_parts(builder, a), _parts(builder, b), strict=True)
        return _joined(builder, *(builder.select(truth, x, y) for x, y in pairs))

    return kind(condition, kind, kind), make


join = cast(Callable[[float, float], complex], intrinsic(_join_code))
get = cast(Callable[..., complex], intrinsic(_get_code))
put = cast(Callable[..., None], intrinsic(_put_code))
pick = cast(Callable[..., Any], intrinsic(_pick_code))
