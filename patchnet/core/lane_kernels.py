"""Eight numbers side by side, for compiled kernels: one instruction where a loop would take eight.

The compiler does not see by itself that the lanes of two arrays never overlap, and then takes
number by number. Each of these says so outright. Sums and products are rounded as those of single
numbers are: the result is the same to the last bit. Places are not checked.

All arrays are contiguous, of one dimension, of double precision; `at`, `other` are the places of
the first of the eight numbers.
"""

from collections.abc import Callable
from typing import Any, cast

from llvmlite import ir
from numba.core import types
from numba.core.errors import TypingError
from numba.extending import intrinsic

__all__ = [
    "LANES",
    "add_lanes",
    "any_below",
    "copy_lanes",
    "lower_lanes",
    "most_below",
    "raise_lanes",
    "scaled_lanes",
    "take_lanes",
]

LANES = 8
_NUMBER = ir.DoubleType()
_VECTOR = ir.VectorType(_NUMBER, LANES)
_PLACES = ir.VectorType(ir.IntType(32), LANES)
_BYTES = 8  # where a number may begin: eight of them need not begin where a vector would
Work = Callable[[Any, Any, Any], Any]


def _check(*arrays: Any) -> None:  # noqa: ANN401 - types of a compiler
    """Refuse what is not laid out so: its numbers would be written to any place."""
    for array in arrays:
        if not isinstance(array, types.Array) or (array.ndim, array.layout) != (1, "C"):
            raise TypingError(f"lanes of {array}, not of a contiguous array of one dimension")
        if array.dtype != types.float64:
            raise TypingError(f"lanes of {array}, not of double precision")


def _pointer(context: Any, builder: Any, kind: Any, array: Any, at: Any) -> Any:  # noqa: ANN401
    data = context.make_array(kind)(context, builder, array).data
    return builder.bitcast(builder.gep(data, [at]), _VECTOR.as_pointer())


def _numbers(context: Any, builder: Any, kind: Any, array: Any, at: Any) -> Any:  # noqa: ANN401
    return builder.load(_pointer(context, builder, kind, array, at), align=_BYTES)


def _alike(builder: Any, number: Any) -> Any:  # noqa: ANN401 - types of a compiler
    """One number in all lanes."""
    nothing = ir.Constant(_VECTOR, ir.Undefined)
    first = builder.insert_element(nothing, number, ir.Constant(ir.IntType(32), 0))
    return builder.shuffle_vector(first, nothing, ir.Constant(_PLACES, None))


def _changing(work: Work) -> Any:  # noqa: ANN401 - an intrinsic
    """Make ``f(array, at, terms, other)``, which puts `work` of both into the array."""

    def lanes(_typing: Any, array: Any, at: Any, terms: Any, other: Any) -> Any:  # noqa: ANN401
        _check(array, terms)

        def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:  # noqa: ANN401
            kinds = signature.args
            place = _pointer(context, builder, kinds[0], values[0], values[1])
            term = _pointer(context, builder, kinds[2], values[2], values[3])
            now, more = (builder.load(one, align=_BYTES) for one in (place, term))
            builder.store(work(builder, now, more), place, align=_BYTES)
            return context.get_dummy_value()

        return types.void(array, at, terms, other), generate

    return intrinsic(lanes)


def _scaled(_typing: Any, array: Any, at: Any, factor: Any, terms: Any, other: Any) -> Any:  # noqa: ANN401
    _check(array, terms)

    def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:  # noqa: ANN401
        place = _pointer(context, builder, signature.args[0], *values[:2])
        term = _numbers(context, builder, signature.args[3], *values[3:])
        more = builder.fmul(_alike(builder, values[2]), term)
        builder.store(builder.fadd(builder.load(place, align=_BYTES), more), place, align=_BYTES)
        return context.get_dummy_value()

    return types.void(array, at, factor, terms, other), generate


def _below(_typing: Any, array: Any, at: Any, factor: Any, limits: Any, other: Any) -> Any:  # noqa: ANN401
    _check(array, limits)

    def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:  # noqa: ANN401
        one = _numbers(context, builder, signature.args[0], *values[:2])
        limit = _numbers(context, builder, signature.args[3], *values[3:])
        less = builder.fcmp_ordered("<", one, builder.fmul(_alike(builder, values[2]), limit))
        bits = builder.bitcast(less, ir.IntType(LANES))
        return builder.icmp_unsigned("!=", bits, ir.Constant(ir.IntType(LANES), 0))

    return types.boolean(array, at, factor, limits, other), generate


def _lower(_typing: Any, array: Any, at: Any, terms: Any, other: Any, more: Any, most: Any) -> Any:  # noqa: ANN401
    _check(array, terms)

    def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:  # noqa: ANN401
        place = _pointer(context, builder, signature.args[0], *values[:2])
        now = builder.load(place, align=_BYTES)
        term = _numbers(context, builder, signature.args[2], *values[2:4])
        come = builder.fadd(term, _alike(builder, values[4]))
        less = builder.and_(
            builder.fcmp_ordered("<", come, now),
            builder.fcmp_ordered("<=", come, _alike(builder, values[5])),
        )
        builder.store(builder.select(less, come, now), place, align=_BYTES)
        bits = builder.bitcast(less, ir.IntType(LANES))
        return builder.icmp_unsigned("!=", bits, ir.Constant(ir.IntType(LANES), 0))

    return types.boolean(array, at, terms, other, more, most), generate


def _most_below(_typing: Any, array: Any, at: Any, limit: Any) -> Any:  # noqa: ANN401
    _check(array)

    def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:  # noqa: ANN401
        one = _numbers(context, builder, signature.args[0], *values[:2])
        nothing = ir.Constant(_VECTOR, [0.0] * LANES)
        below = builder.fcmp_ordered("<", one, _alike(builder, values[2]))
        left = builder.select(below, one, nothing)
        width = LANES // 2
        while width:  # each half against the other
            turned = [(lane + width) % LANES for lane in range(LANES)]
            other = builder.shuffle_vector(left, nothing, ir.Constant(_PLACES, turned))
            left = _larger(builder, left, other)
            width //= 2
        return builder.extract_element(left, ir.Constant(ir.IntType(32), 0))

    return types.float64(array, at, limit), generate


def _larger(builder: Any, now: Any, more: Any) -> Any:  # noqa: ANN401 - types of a compiler
    return builder.select(builder.fcmp_ordered(">", more, now), more, now)


Lanes = Callable[[Any, Any, Any, Any], None]

add_lanes = cast(Lanes, _changing(lambda builder, now, more: builder.fadd(now, more)))
"""``add_lanes(array, at, terms, other)`` adds terms."""
take_lanes = cast(Lanes, _changing(lambda builder, now, more: builder.fsub(now, more)))
"""``take_lanes(array, at, terms, other)`` takes terms away."""
copy_lanes = cast(Lanes, _changing(lambda _builder, _now, more: more))
"""``copy_lanes(array, at, terms, other)`` puts terms in the place of what is there."""
raise_lanes = cast(Lanes, _changing(_larger))
"""``raise_lanes(array, at, terms, other)`` puts terms in the place of what is less."""
scaled_lanes = cast(Callable[[Any, Any, float, Any, Any], None], intrinsic(_scaled))
"""``scaled_lanes(array, at, factor, terms, other)`` adds a factor times the terms."""
any_below = cast(Callable[[Any, Any, float, Any, Any], bool], intrinsic(_below))
"""``any_below(array, at, factor, limits, other)``: is any less than the factor times its limit?"""
lower_lanes = cast(Callable[[Any, Any, Any, Any, float, float], bool], intrinsic(_lower))
"""``lower_lanes(array, at, terms, other, more, most)`` puts terms + `more` in the place of what is
larger, where that is no more than `most`: is any put there?"""
most_below = cast(Callable[[Any, Any, float], float], intrinsic(_most_below))
"""``most_below(array, at, limit)``: the most of those below the limit; 0 where none is above 0."""
