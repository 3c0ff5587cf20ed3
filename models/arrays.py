"""New arrays in compiled code: no more than memory, sizes and steps.

Numba's own functions for it bring messages for sizes too large, put together letter by letter, and more
functions for every number of axes, which took a third of a second and more to compile.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

import numpy as np
from llvmlite import ir
from numba.core import cgutils, types
from numba.extending import intrinsic
from numba.np import arrayobj

_ALIGNMENT = 64


def _maker(dtype: Any, clear: bool) -> Callable[[tuple[int, ...]], np.ndarray]:
    """A function of the sizes along all axes."""
    width = dtype.bitwidth // 8

    def code(typing_context: Any, shape: Any) -> Any:
        kind = types.Array(dtype, len(shape), "C")

        def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
            wide = context.get_value_type(types.intp)
            sizes = [
                context.cast(builder, size, one, types.intp)
                for size, one in zip(cgutils.unpack_tuple(builder, arguments[0]), shape, strict=True)
            ]
            steps = [ir.Constant(wide, width)]
            for size in reversed(sizes):
                steps.insert(0, builder.mul(steps[0], size))
            owner = context.nrt.meminfo_alloc_aligned(builder, steps[0], _ALIGNMENT)
            memory = context.nrt.meminfo_data(builder, owner)
            if clear:
                cgutils.memset(builder, memory, steps[0], 0)
            record = arrayobj.make_array(kind)(context, builder)
            arrayobj.populate_array(
                record, data=builder.bitcast(memory, context.get_data_type(dtype).as_pointer()),
                shape=cgutils.pack_array(builder, sizes, ty=wide),
                strides=cgutils.pack_array(builder, steps[1:], ty=wide),
                itemsize=steps[-1], meminfo=owner,
            )  # fmt: skip
            return record._getvalue()

        return kind(shape), make

    return cast(Callable[[tuple[int, ...]], np.ndarray], intrinsic(code))


empty = _maker(types.float64, False)
"""Doubles of any value; takes the sizes along all axes, a tuple."""

zeros = _maker(types.float64, True)
"""Doubles that are zero."""

whole = _maker(types.int64, True)
"""Integers that are zero."""
