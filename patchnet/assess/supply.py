"""What the features of each plot supply, resource by resource and month by month."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from patchnet.knowledge.records import Group, Knowledge

__all__ = ["anchor_places", "patches", "resource_months", "stops", "supply_of"]

Array = NDArray[np.float64]


def supply_of(amounts: Array, knowledge: Knowledge) -> Array:
    """Shape (n, F) amounts to (n, R, 12) supply, units of the resources table.

    Parameters
    ----------
    amounts
        Shape (n, F), each feature in its own unit (m2, m, count).
    knowledge
        For the supply of a unit of each feature.
    """
    features, resources, months = knowledge.supply_array.shape
    flat = amounts @ knowledge.supply_array.reshape(features, resources * months)
    return flat.reshape(len(amounts), resources, months)


def resource_months(
    supply: Array, knowledge: Knowledge, resource: str, months: Sequence[int]
) -> Array:
    """Shape (n, M): supply of one resource in the given months (1-12).

    Parameters
    ----------
    supply
        Shape (n, R, 12), units of the resources.
    knowledge
        For the order of the resources.
    resource
        Key of one.
    months
        M months, 1-12.
    """
    at = list(knowledge.resources).index(resource)
    return supply[:, at, np.asarray(months) - 1]


def stops(supply: Array, knowledge: Knowledge, group: Group) -> NDArray[np.bool_]:
    """Shape (n,): True where the best active month has enough of the step resource for a stop.

    Parameters
    ----------
    supply
        Shape (n, R, 12), units of the resources.
    knowledge
        For the order of the resources.
    group
        For its step resource, the amount and the months.
    """
    step = resource_months(supply, knowledge, group.step_resource, group.active_months)
    enough: NDArray[np.bool_] = step.max(axis=1) >= group.step_min.value
    return enough


def anchor_places(amounts: Array, supply: Array, knowledge: Knowledge, group: Group) -> Array:
    """Homes that there are places for on each plot, and at low, usual and high use, shape (n, 4).

    The anchor's supply, averaged over the group's active months, over what one home takes;
    where a group has two anchors (grass or nettles for butterflies) their places add up. Where
    the anchor is also what the group stops at (a wren's thicket), a piece too small even for a
    stop is no part of a home. How often such places are in use, ``uses.csv`` says; what it says
    nothing of always is.

    Parameters
    ----------
    amounts
        Shape (n, F), each feature in its own unit.
    supply
        Shape (n, R, 12): what they supply, units of the resources.
    knowledge
        For the order of the resources, and the rates of use.
    group
        For its anchors.
    """
    rates = np.column_stack([np.ones(len(knowledge.features)), knowledge.use_of(group.key)])
    months = np.asarray(group.active_months) - 1
    keys = list(knowledge.resources)
    places = np.zeros((len(amounts), rates.shape[1]))
    always = bool((rates == 1).all())
    for anchor in group.anchors:
        by_month = knowledge.supply_array[:, keys.index(anchor.resource), :][:, months]
        per_unit = by_month.mean(axis=1) / anchor.per_home.value
        counted = amounts @ per_unit
        for column in range(places.shape[1]):
            share = counted if always else amounts @ (per_unit * rates[:, column])
            if anchor.resource == group.step_resource:
                share = np.where(stops(supply, knowledge, group), share, 0.0)
            places[:, column] += share
    return places


def patches(supply: Array, knowledge: Knowledge, group: Group, places: Array) -> NDArray[np.bool_]:
    """Shape (n,): True where a plot is a patch: a place for (part of) a home, or a stop.

    Parameters
    ----------
    supply
        Shape (n, R, 12), units of the resources.
    knowledge
        For the order of the resources.
    group
        The group.
    places
        Shape (n, 4), homes, from `anchor_places`.
    """
    return (places[:, 0] > 0) | stops(supply, knowledge, group)
