"""What the features of each plot supply, resource by resource and month by month."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from patchnet.knowledge.records import Group, Knowledge

__all__ = ["anchor_room", "patches", "resource_months", "stops", "supply_of"]

Array = NDArray[np.float64]


def supply_of(amounts: Array, knowledge: Knowledge) -> Array:
    """Shape (n, F) amounts to (n, R, 12) supply, units of the resources table."""
    features, resources, months = knowledge.supply_array.shape
    flat = amounts @ knowledge.supply_array.reshape(features, resources * months)
    return flat.reshape(len(amounts), resources, months)


def resource_months(
    supply: Array, knowledge: Knowledge, resource: str, months: Sequence[int]
) -> Array:
    """Shape (n, M): supply of one resource in the given months (1-12)."""
    at = list(knowledge.resources).index(resource)
    return supply[:, at, np.asarray(months) - 1]


def stops(supply: Array, knowledge: Knowledge, group: Group) -> NDArray[np.bool_]:
    """Shape (n,): True where the best active month has enough of the step resource for a stop."""
    step = resource_months(supply, knowledge, group.step_resource, group.active_months)
    enough: NDArray[np.bool_] = step.max(axis=1) >= group.step_min.value
    return enough


def anchor_room(supply: Array, knowledge: Knowledge, group: Group) -> Array:
    """Homes there is room for on each plot, N, shape (n,).

    The anchor's supply, averaged over the group's active months, over what one home takes;
    where a group has two anchors (grass or nettles for butterflies) their rooms add up. Where
    the anchor is also what the group stops at (a wren's thicket), a piece too small even for a
    stop is no part of a home.
    """
    room = np.zeros(len(supply))
    for anchor in group.anchors:
        amount = resource_months(supply, knowledge, anchor.resource, group.active_months)
        share = amount.mean(axis=1) / anchor.per_home.value
        if anchor.resource == group.step_resource:
            share = np.where(stops(supply, knowledge, group), share, 0.0)
        room += share
    return room


def patches(supply: Array, knowledge: Knowledge, group: Group, room: Array) -> NDArray[np.bool_]:
    """Shape (n,): True where a plot is a patch: room for (part of) a home, or a stop."""
    return (room > 0) | stops(supply, knowledge, group)
