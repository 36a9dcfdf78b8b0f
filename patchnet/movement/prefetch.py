"""Ask the processor for a cell before it is needed, from within a compiled kernel.

A growth jumps about in arrays that are larger than the caches, and it knows some cells ahead
where it will look. Asking changes no result: it is a hint that the processor may leave.
"""

from collections.abc import Callable
from typing import Any, cast

from llvmlite import ir
from numba.core import types
from numba.extending import intrinsic

__all__ = ["fetch"]

_TO_READ, _KEEP, _DATA = 0, 3, 1  # LLVM language reference, llvm.prefetch
_INT = ir.IntType(32)
_POINTER = ir.IntType(8).as_pointer()


def _fetch(_typing: Any, array: Any, at: Any) -> Any:  # noqa: ANN401 - types of a compiler
    def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:  # noqa: ANN401
        kind = signature.args[0]
        data = context.make_array(kind)(context, builder, values[0]).data
        place = builder.bitcast(builder.gep(data, [values[1]]), _POINTER)
        hint = builder.module.declare_intrinsic(
            "llvm.prefetch", [_POINTER], ir.FunctionType(ir.VoidType(), [_POINTER, *[_INT] * 3])
        )
        builder.call(hint, [place, _INT(_TO_READ), _INT(_KEEP), _INT(_DATA)])
        return context.get_dummy_value()

    return types.void(array, at), generate


fetch = cast(Callable[[Any, Any], None], intrinsic(_fetch))
"""``fetch(array, at)`` asks for ``array[at]`` of a contiguous array of one dimension.

The place is not checked; one outside the array is no error, and brings nothing.
"""
