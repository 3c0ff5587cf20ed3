"""Several designs side by side as one value of compiled code: whole vectors, kept in registers.

``load`` and ``store`` move neighbouring elements of an array, :data:`WIDTH` of them, ``load_few`` moves
:data:`models.kernel_records.FEW`; what lies between is written as for numbers, but that both sides of a
choice are worked out (``choose``). Vectors are LLVM's own, which makes of them whatever the processor has.
To mypy and to readers they are numbers, in docstrings lanes.
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

from models.kernel_records import FEW

WIDTH = 16
"""Designs side by side: two vectors of 512 bits, so that one is worked on while the other waits."""

_NO_NAME = ir.IntType(32)


class LanesType(types.Type):
    """Numbers, or truths, side by side."""

    def __init__(self, name: str, kind: Any) -> None:
        super().__init__(name)
        self.data = kind

    def can_convert_from(self, typingctx: Any, other: Any) -> Any:
        """A number stands for as many of it."""
        return Conversion.promote if self not in (MASK, FEW_MASK) and isinstance(other, types.Float) else None


def _pair(name: str, width: int) -> tuple[LanesType, LanesType]:
    numbers, truths = ir.VectorType(ir.DoubleType(), width), ir.VectorType(ir.IntType(1), width)
    return LanesType(name, numbers), LanesType(f"{name} mask", truths)


LANES, MASK = _pair("lanes", WIDTH)
FEW_LANES, FEW_MASK = _pair("few lanes", FEW)
_NUMBERS = {MASK: LANES, FEW_MASK: FEW_LANES}


class _Model(models.PrimitiveModel):
    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, kind.data)


register_model(LanesType)(_Model)


@lower_cast(types.Float, LanesType)
def spread(context: Any, builder: Any, kind: Any, target: Any, value: Any) -> Any:
    """The same number in all lanes."""
    value = context.cast(builder, value, kind, types.float64)
    none = ir.Constant(target.data, ir.Undefined)
    one = builder.insert_element(none, value, ir.Constant(_NO_NAME, 0))
    width = target.data.count
    return builder.shuffle_vector(one, none, ir.Constant(ir.VectorType(_NO_NAME, width), [0] * width))


def define(function: Any, result: Any, arguments: Any, make: Callable[..., Any]) -> None:
    """Teach the compiler a function for arguments of some types; ``make`` writes it with a builder."""
    infer_global(function)(type("_Template", (ConcreteTemplate,), {"cases": [signature(result, *arguments)]}))

    @lower_builtin(function, *arguments)
    def lower(context: Any, builder: Any, sig: Any, values: Any) -> Any:
        return make(builder, *values)


def _define(
    function: Any, count: int, make: Callable[..., Any], asks: bool = False, masks: bool = False
) -> None:
    """The same for lanes of both widths: of numbers or of masks, a number or a mask the result."""
    for mask, lanes in _NUMBERS.items():
        result = mask if asks or masks else lanes
        define(function, result, [mask if masks else lanes] * count, make)


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
        _define(_function, 2, lambda builder, a, b, word=_word: getattr(builder, word)(a, b))
for _name, _word in (("lt", "<"), ("gt", ">"), ("ge", ">="), ("eq", "==")):
    _function = getattr(operator, _name)
    _define(_function, 2, lambda builder, a, b, word=_word: builder.fcmp_ordered(word, a, b), asks=True)
_define(operator.and_, 2, lambda builder, a, b: builder.and_(a, b), masks=True)
_define(operator.or_, 2, lambda builder, a, b: builder.or_(a, b), masks=True)
_define(operator.invert, 1, lambda builder, a: builder.not_(a), masks=True)
_define(operator.neg, 1, lambda builder, a: builder.fneg(a))
_define(math.sqrt, 1, lambda builder, a: call("sqrt", builder, a))
_define(abs, 1, lambda builder, a: call("fabs", builder, a))
_define(min, 2, _extreme("<"))
_define(max, 2, _extreme(">"))


def address(context: Any, builder: Any, kind: Any, index: Any, values: Any, data: Any, span: int) -> Any:
    """Pointer to the vector that begins at an element; where last indices are left out, a row is ``span``."""
    record, wide = context.make_array(kind)(context, builder, values[0]), context.get_value_type(types.intp)
    kinds = tuple(cast(Any, index)) if isinstance(index, types.BaseTuple) else (index,)
    steps = cgutils.unpack_tuple(builder, values[1]) if isinstance(index, types.BaseTuple) else [values[1]]
    steps = [context.cast(builder, s, k, types.intp) for s, k in zip(steps, kinds, strict=True)]
    shape, place = cgutils.unpack_tuple(builder, record.shape), steps[0]
    for axis in range(1, len(steps)):
        place = builder.add(builder.mul(place, shape[axis]), steps[axis])
    if len(steps) < kind.ndim:
        place = builder.mul(place, ir.Constant(wide, span))
    return builder.bitcast(builder.gep(record.data, [place]), data.as_pointer())


def _load_code(kind: LanesType) -> Callable[..., Any]:
    def code(typing_context: Any, array: Any, index: Any) -> Any:
        """Elements of a contiguous array, from one on."""

        def make(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
            place = address(context, builder, array, index, arguments, kind.data, kind.data.count)
            return builder.load(place, align=8, typ=kind.data)

        return kind(array, index), make

    return code


def _store_code(typing_context: Any, array: Any, index: Any, value: Any) -> Any:
    """Write elements of a contiguous array, from one on."""
    kind = value if isinstance(value, LanesType) else LANES

    def make(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        place = address(context, builder, array, index, arguments[:2], kind.data, kind.data.count)
        builder.store(arguments[2], place, align=8)
        return context.get_dummy_value()

    return types.void(array, index, kind), make


def _choose_code(typing_context: Any, condition: Any, one: Any, other: Any) -> Any:
    """The first value where a condition holds, else the second."""
    kind = _NUMBERS.get(condition, types.float64)

    def make(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        return builder.select(*arguments)

    return kind(condition, kind, kind), make


def _any_code(typing_context: Any, mask: Any) -> Any:
    """Whether a condition holds, in any lane if there are several."""

    def make(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        if mask not in _NUMBERS:
            return arguments[0]
        whole = ir.IntType(mask.data.count)
        return builder.icmp_unsigned("!=", builder.bitcast(arguments[0], whole), ir.Constant(whole, 0))

    return types.boolean(mask), make


def _total_code(typing_context: Any, value: Any) -> Any:
    """Sum over all lanes."""

    def make(context: Any, builder: Any, sig: Any, arguments: Any) -> Any:
        one, vector = ir.DoubleType(), value.data
        shape = ir.FunctionType(one, [one, vector])
        name = f"llvm.vector.reduce.fadd.v{vector.count}f64"
        function = cgutils.get_or_insert_function(builder.module, shape, name)
        return builder.call(function, [ir.Constant(one, 0.0), arguments[0]], fastmath=("reassoc", "nsz"))

    return types.float64(value), make


load = cast(Callable[..., float], intrinsic(_load_code(LANES)))
load_few = cast(Callable[..., float], intrinsic(_load_code(FEW_LANES)))
store = cast(Callable[..., None], intrinsic(_store_code))
choose = cast(Callable[[Any, float, float], float], intrinsic(_choose_code))
any_lane = cast(Callable[[Any], bool], intrinsic(_any_code))
total = cast(Callable[[float], float], intrinsic(_total_code))
