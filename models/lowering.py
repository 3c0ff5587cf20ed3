"""Access to array elements in compiled code: what numba writes for it, less what no function here needs.

Numba allows negative indices and reads sizes and strides again at every access, some 75 instructions for
an element of three indices, which the compiler then has to see through. Here indices are never negative.
"""

from __future__ import annotations

import operator
from typing import Any, cast

from numba.core import types
from numba.core.compiler_machinery import register_pass
from numba.core.lowering import Lower
from numba.core.typed_passes import NativeLowering

from models.signatures import signature_of


def _whole(kind: Any) -> tuple[Any, ...]:
    """Types of indices, one for each axis; empty where one is not a whole number of 64 bits."""
    kinds = tuple(cast(Any, kind)) if isinstance(kind, types.BaseTuple) else (kind,)
    plain = all(isinstance(one, (types.Integer, types.IntegerLiteral)) for one in kinds)
    return kinds if plain and all(types.unliteral(one).bitwidth == 64 for one in kinds) else ()


class PlainLower(Lower):
    """Numba's own step from typed code to LLVM, but for elements of contiguous arrays."""

    def _element(self, array: Any, index: Any) -> Any:
        """Address of an element; None where numba's own way is taken."""
        kind, kinds = self.typeof(array.name), _whole(self.typeof(index.name))
        if not isinstance(kind, types.Array) or kind.layout != "C" or len(kinds) != kind.ndim:
            return None
        if not kind.aligned or isinstance(kind.dtype, types.Record):
            return None
        builder, record = self.builder, self.context.data_model_manager[kind]
        base, at = self.loadvar(array.name), self.loadvar(index.name)
        steps = [at] if kind.ndim == 1 and not isinstance(self.typeof(index.name), types.BaseTuple) else None
        steps = steps or [builder.extract_value(at, axis) for axis in range(kind.ndim)]
        wide = self.context.get_value_type(types.intp)
        steps = [
            wide(one.literal_value) if isinstance(one, types.IntegerLiteral) else step
            for one, step in zip(kinds, steps, strict=True)
        ]
        shape, place = record.get_field_position("shape"), steps[0]
        for axis in range(1, kind.ndim):
            size = builder.extract_value(base, (shape, axis))
            place = builder.add(builder.mul(place, size), steps[axis])
        return builder.gep(builder.extract_value(base, record.get_field_position("data")), [place])

    def lower_binop(self, resty: Any, expr: Any, op: Any) -> Any:
        """Combine two values; only powers have versions of their own for constants."""
        if op is operator.pow:
            return super().lower_binop(resty, expr, op)
        typing, kinds = self.context.typing_context, self.fndesc.calltypes[expr].args
        function = typing.resolve_value_type(op)
        signature = signature_of(typing, function, kinds)
        values = [
            self.context.cast(self.builder, self.loadvar(one.name), self.typeof(one.name), kind)
            for one, kind in zip((expr.lhs, expr.rhs), signature.args, strict=True)
        ]
        found = self.context.get_function(function, signature)(self.builder, values)
        return self.context.cast(self.builder, found, signature.return_type, resty)

    def incref(self, typ: Any, val: Any) -> None:
        """Count a reference to an array by its owner's record alone."""
        super().incref(*self._owner(typ, val))

    def decref(self, typ: Any, val: Any) -> None:
        """Take a reference off."""
        super().decref(*self._owner(typ, val))

    def _owner(self, kind: Any, value: Any) -> tuple[Any, Any]:
        if not isinstance(kind, types.Array):
            return kind, value
        position = self.context.data_model_manager[kind].get_field_position("meminfo")
        return types.MemInfoPointer(types.voidptr), self.builder.extract_value(value, position)

    def lower_getitem(self, resty: Any, expr: Any, value: Any, index: Any, signature: Any) -> Any:
        """Read an element, or what else stands in brackets."""
        address = self._element(value, index)
        if address is None:
            return super().lower_getitem(resty, expr, value, index, signature)
        dtype = self.typeof(value.name).dtype
        return self.context.cast(
            self.builder, self.context.unpack_value(self.builder, dtype, address), dtype, resty
        )

    def lower_setitem(self, target_var: Any, index_var: Any, value_var: Any, signature: Any) -> Any:
        """Write an element, or what else stands in brackets."""
        address = self._element(target_var, index_var)
        if address is None:
            return super().lower_setitem(target_var, index_var, value_var, signature)
        dtype, kind = self.typeof(target_var.name).dtype, self.typeof(value_var.name)
        value = self.context.cast(self.builder, self.loadvar(value_var.name), kind, dtype)
        return self.context.pack_value(self.builder, dtype, value, address)


@register_pass(mutates_CFG=True, analysis_only=False)
class PlainLowering(NativeLowering):
    """The pass of the compiler that does so."""

    _name = "plain_lowering"

    @property
    def lowering_class(self) -> Any:
        """What it works with."""
        return PlainLower
