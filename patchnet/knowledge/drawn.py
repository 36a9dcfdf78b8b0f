"""Figures that have a range, and the tables with other values in them.

A range is read so: ``settings/range_share`` of all values lie in it (0.9: one in twenty below its
low end, one in twenty above its high end), and half of them below the value in use; in between on a
log scale, for most figures are as likely twice as half (two-piece log-normal). Where the low end
is nought the scale is plain.
"""

import math
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patchnet.knowledge.families import What
from patchnet.knowledge.groups import Group
from patchnet.knowledge.knowledge import Knowledge
from patchnet.knowledge.sources import Figure

__all__ = ["Uncertain", "drawn_values", "uncertain_figures", "with_values"]

_LEAST = 1e-3  # part of the value in use: amounts, reaches and costs of nothing mean nothing
_HELD_IN = ("groups", "densities", "uses", "supplies", "unseen", "features", "ground_costs")


@dataclass(frozen=True, slots=True)
class Uncertain:
    """A figure that has a range, and with what it is drawn.

    Attributes
    ----------
    figure
        The figure.
    what
        What it says, see `patchnet.knowledge.families.Family`.
    with_others
        Name of what leans the same way for all figures that share it; nothing: it is drawn alone.
    together
        Correlation with those, 0-1.
    most
        Greatest value that it can have.
    of
        What it is a figure of: keys by ``group``, ``need``, ``resource``, ``feature``, ``cover``,
        ``barrier``, as far as it has them.
    """

    figure: Figure
    what: What
    with_others: str
    together: float
    most: float
    of: Mapping[str, str] = field(default_factory=dict)


def uncertain_figures(
    knowledge: Knowledge, groups: Collection[str] | None = None
) -> tuple[Uncertain, ...]:
    """Return the figures that have a range and on which homes depend, in the tables' order.

    What is left out: votes of animals (what we value, not what is), weights of needs, the need
    without which there is no home (how the answer is made), and the method's own settings.

    Parameters
    ----------
    knowledge
        The tables.
    groups
        Keys of animals; figures of others are left out. None: all.
    """
    wanted = set(knowledge.groups if groups is None else groups)
    found = []
    for figure, what, shares, group in _figures(knowledge):
        family = knowledge.families.get(what)
        if family is None or figure.low == figure.high or (group and group not in wanted):
            continue
        shared = shares.get(family.shared, "")
        found.append(
            Uncertain(
                figure=figure,
                what=what,
                with_others=f"{family.family}/{shared}" if shared else "",
                together=family.together.value if shared else 0.0,
                most=1.0 if figure.unit == "share" else math.inf,
                of=shares,
            )
        )
    return tuple(found)


_Found = tuple[Figure, What, Mapping[str, str], str]


def _figures(knowledge: Knowledge) -> Iterator[_Found]:
    """Every figure that can be drawn, what it says, what it shares with others, and whose it is."""
    for key, group in knowledge.groups.items():
        yield from _of_group(key, group)
    for key, density in knowledge.densities.items():
        yield density.homes, "density", {"group": key}, key
    for use in knowledge.uses:
        yield use.share, "use", {"group": use.group, "feature": use.feature}, use.group
    for supply in knowledge.supplies:
        of = {"feature": supply.feature, "resource": supply.resource}
        yield supply.amount, "supply", of, ""
    for one in knowledge.unseen:
        yield one.amount, "unseen", {"feature": one.feature}, ""
    for key, feature in knowledge.features.items():
        yield feature.typical, "usual", {"feature": key}, ""
        yield feature.years_to_work, "years", {"feature": key}, ""
    for key, costs in knowledge.ground_costs.items():
        for cover, figure in costs.covers.items():
            yield figure, "cost", {"group": key, "cover": cover}, key
        for (barrier, _), figure in costs.crossings.items():
            yield figure, "crossing", {"group": key, "barrier": barrier}, key


def _of_group(key: str, group: Group) -> Iterator[_Found]:
    own = {"group": key}
    yield group.hop, "hop", own, key
    yield group.d50, "d50", own, key
    yield group.anchor_reach, "anchor_reach", own, key
    yield group.step_min, "step", own, key
    for anchor in group.anchors:
        yield anchor.per_home, "anchor", {**own, "resource": anchor.resource}, key
    for need in group.needs:
        of = {**own, "need": need.key, "resource": need.resource}
        yield need.reach, "reach", of, key
        yield need.amount, "amount", of, key
        if not need.vital:
            yield need.floor, "floor", of, key


def drawn_values(one: Uncertain, place: NDArray[np.float64]) -> NDArray[np.float64]:
    """Values of a figure at places of its range: -1 is its low end, 0 the value in use, 1 the high.

    Parameters
    ----------
    one
        The figure.
    place
        Any shape; a number without unit, beyond -1 and 1 too.

    Returns
    -------
    array
        The same shape, unit of the figure; between nothing and `one.most`, never nothing where
        the value in use is something.

    Examples
    --------
    >>> import patchnet
    >>> figure = patchnet.load_knowledge().groups["moth"].hop
    >>> one = Uncertain(figure, "hop", "", 0.0, math.inf)
    >>> ends = drawn_values(one, np.array([-1.0, 0.0, 1.0]))
    >>> ends.round(6).tolist() == [figure.low, figure.value, figure.high]
    True
    """
    figure = one.figure
    up = np.maximum(place, 0.0)
    down = np.maximum(-place, 0.0)
    if figure.value <= 0:  # nothing to go up from on a log scale
        return np.minimum(up * figure.high, one.most)
    above = figure.value * (figure.high / figure.value) ** up
    if figure.low > 0:
        below = (figure.low / figure.value) ** down
    else:
        below = np.maximum(1.0 - down, _LEAST)
    return np.minimum(above * below, one.most)


def with_values(knowledge: Knowledge, values: Mapping[str, float]) -> Knowledge:
    """Return the tables with other values of some figures; ranges and all else stay.

    Parameters
    ----------
    knowledge
        The tables.
    values
        Value by key of the figure, in its unit. Keys of figures that are not drawn have no effect.
    """
    wanted = frozenset(values)
    changed = {
        name: _changed(getattr(knowledge, name), values)
        for name, keys in _keys_held(knowledge).items()
        if keys & wanted
    }
    return replace(knowledge, **changed)


@lru_cache(maxsize=4)
def _keys_held(knowledge: Knowledge) -> Mapping[str, frozenset[str]]:
    """Keys of the figures in each part of the tables: most changes touch one."""
    return {name: frozenset(_keys(getattr(knowledge, name))) for name in _HELD_IN}


def _keys(thing: Any) -> Iterator[str]:  # noqa: ANN401 - any part of a record
    if isinstance(thing, Figure):
        yield thing.key
        return
    parts: Iterable[Any] = ()
    if isinstance(thing, Mapping):
        parts = thing.values()
    elif isinstance(thing, tuple):
        parts = thing
    elif is_dataclass(thing) and not isinstance(thing, type):
        parts = [getattr(thing, one.name) for one in fields(thing)]
    for part in parts:
        yield from _keys(part)


def _changed(thing: Any, values: Mapping[str, float]) -> Any:  # noqa: ANN401 - any part of a record
    """Return the thing with other figures in it; the thing itself where it has none of them."""
    if isinstance(thing, Figure):
        value = values.get(thing.key)
        return thing if value is None else replace(thing, value=value)
    if isinstance(thing, Mapping):
        return {key: _changed(one, values) for key, one in thing.items()}
    if isinstance(thing, tuple):
        new = tuple(_changed(one, values) for one in thing)
        return new if _any_new(new, thing) else thing
    if is_dataclass(thing) and not isinstance(thing, type):
        parts = {one.name: getattr(thing, one.name) for one in fields(thing)}
        new_parts = {name: _changed(part, values) for name, part in parts.items()}
        if _any_new(new_parts.values(), parts.values()):
            return type(thing)(**new_parts)
    return thing


def _any_new(new: Iterable[object], old: Iterable[object]) -> bool:
    return any(one is not other for one, other in zip(new, old, strict=True))
