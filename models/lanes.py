"""Several designs side by side as one value of compiled code: whole vectors, kept in registers.

``load`` and ``store`` move neighbouring elements of an array, :data:`WIDTH` of them; what lies between is
written as for numbers, but that both sides of a choice are worked out (``choose``). Vectors are LLVM's own,
which makes of them whatever the processor has. To mypy and to readers they are numbers, in docstrings lanes.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable
from typing import Any, cast

from llvmlite import ir
from numba.core import cgutils, types
from numba.core.typeconv.castgraph import Conversion
from numba.core.typing.templates import ConcreteTemplate, infer_global, signature
from numba.extending import intrinsic, lower_builtin, lower_cast, models, register_model

WIDTH = 16
"""Designs side by side: two vectors of 512 bits, so that one is worked on while the other waits."""

_DOUBLES = ir.VectorType(ir.DoubleType(), WIDTH)
_NO_NAME = ir.IntType(32)


class _LanesType(types.Type):
    """Numbers, or truths, side by side."""

    def can_convert_from(self, typingctx: Any, other: Any) -> Any:
        """A number stands for as many of it."""
        return Conversion.promote if self is LANES and isinstance(other, types.Float) else None


LANES = _LanesType("lanes")
MASK = _LanesType("mask")
_DATA = {LANES: _DOUBLES, MASK: ir.VectorType(ir.IntType(1), WIDTH)}


class _Model(models.PrimitiveModel):
    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, _DATA[kind])


register_model(_LanesType)(_Model)


@lower_cast(types.Float, _LanesType)
def _spread(context: Any, builder: Any, kind: Any, target: Any, value: Any) -> Any:
    value = context.cast(builder, value, kind, types.float64)
    one = builder.insert_element(ir.Constant(_DOUBLES, ir.Undefined), value, ir.Constant(_NO_NAME, 0))
    order = ir.Constant(ir.VectorType(_NO_NAME, WIDTH), [0] * WIDTH)
    return builder.shuffle_vector(one, ir.Constant(_DOUBLES, ir.Undefined), order)


def _define(function: Any, result: Any, count: int, make: Callable[..., Any], kind: Any = LANES) -> None:
    """Teach the compiler a function of lanes; ``make`` writes it with a builder."""
    infer_global(function)(
        type("_Template", (ConcreteTemplate,), {"cases": [signature(result, *[kind] * count)]})
    )

    @lower_builtin(function, *[kind] * count)
    def lower(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        return make(builder, *arguments)


def call(name: str, builder: Any, *values: Any) -> Any:
    """Call a function of LLVM that takes numbers or vectors."""
    kind = values[0].type
    element = kind.element if isinstance(kind, ir.VectorType) else kind
    plain = "f32" if isinstance(element, ir.FloatType) else "f64"
    plain = f"v{kind.count}{plain}" if isinstance(kind, ir.VectorType) else plain
    shape = ir.FunctionType(kind, [value.type for value in values])
    function = cgutils.get_or_insert_function(builder.module, shape, f"llvm.{name}.{plain}")
    return builder.call(function, values, fastmath=("arcp", "contract", "nsz"))


def _extreme(sign: str) -> Callable[..., Any]:
    return lambda builder, a, b: builder.select(builder.fcmp_ordered(sign, a, b), a, b)


for _name, _word in (("add", "fadd"), ("sub", "fsub"), ("mul", "fmul"), ("truediv", "fdiv")):
    for _function in (getattr(operator, _name), getattr(operator, f"i{_name}")):
        _define(_function, LANES, 2, lambda builder, a, b, word=_word: getattr(builder, word)(a, b))
for _name, _word in (("lt", "<"), ("gt", ">"), ("ge", ">="), ("eq", "==")):
    _define(
        getattr(operator, _name), MASK, 2, lambda builder, a, b, word=_word: builder.fcmp_ordered(word, a, b)
    )
_define(operator.and_, MASK, 2, lambda builder, a, b: builder.and_(a, b), MASK)
_define(operator.or_, MASK, 2, lambda builder, a, b: builder.or_(a, b), MASK)
_define(operator.invert, MASK, 1, lambda builder, a: builder.not_(a), MASK)
_define(operator.neg, LANES, 1, lambda builder, a: builder.fneg(a))
_define(math.sqrt, LANES, 1, lambda builder, a: call("sqrt", builder, a))
_define(abs, LANES, 1, lambda builder, a: call("fabs", builder, a))
_define(min, LANES, 2, _extreme("<"))
_define(max, LANES, 2, _extreme(">"))


def _address(context: Any, builder: Any, kind: Any, index: Any, values: Any) -> Any:
    """Pointer to the vector that begins at an element; without the last index, rows are a vector each."""
    record, wide = context.make_array(kind)(context, builder, values[0]), context.get_value_type(types.intp)
    kinds = tuple(cast(Any, index)) if isinstance(index, types.BaseTuple) else (index,)
    steps = cgutils.unpack_tuple(builder, values[1]) if isinstance(index, types.BaseTuple) else [values[1]]
    steps = [context.cast(builder, s, k, types.intp) for s, k in zip(steps, kinds, strict=True)]
    shape, place = cgutils.unpack_tuple(builder, record.shape), steps[0]
    for axis in range(1, len(steps)):
        place = builder.add(builder.mul(place, shape[axis]), steps[axis])
    if len(steps) < kind.ndim:
        place = builder.mul(place, ir.Constant(wide, WIDTH))
    return builder.bitcast(builder.gep(record.data, [place]), _DOUBLES.as_pointer())


def _load_code(typing_context: Any, array: Any, index: Any) -> Any:
    """Elements of a contiguous array, from one on."""

    def make(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        return builder.load(_address(context, builder, array, index, arguments), align=8, typ=_DOUBLES)

    return LANES(array, index), make


def _store_code(typing_context: Any, array: Any, index: Any, value: Any) -> Any:
    """Write elements of a contiguous array, from one on."""

    def make(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        builder.store(arguments[2], _address(context, builder, array, index, arguments[:2]), align=8)
        return context.get_dummy_value()

    return types.void(array, index, LANES), make


def _choose_code(typing_context: Any, condition: Any, one: Any, other: Any) -> Any:
    """The first value where a condition holds, else the second."""
    kind = LANES if condition is MASK else types.float64

    def make(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        return builder.select(*arguments)

    return kind(condition, kind, kind), make


def _any_code(typing_context: Any, mask: Any) -> Any:
    """Whether a condition holds, in any lane if there are several."""

    def make(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        if mask is not MASK:
            return arguments[0]
        bits = builder.bitcast(arguments[0], ir.IntType(WIDTH))
        return builder.icmp_unsigned("!=", bits, ir.Constant(ir.IntType(WIDTH), 0))

    return types.boolean(mask), make


load = cast(Callable[..., float], intrinsic(_load_code))
store = cast(Callable[..., None], intrinsic(_store_code))
choose = cast(Callable[[Any, float, float], float], intrinsic(_choose_code))
any_lane = cast(Callable[[Any], bool], intrinsic(_any_code))
