"""How many homes of a group can live where: its needs, met from what is within reach."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.lodging import Pool, rooms_of
from patchnet.assess.reach import Reach
from patchnet.assess.sharing import Demand, Form, Shares, share_supplies
from patchnet.assess.supply import resource_months
from patchnet.knowledge.records import Group, Knowledge

__all__ = ["demands_of", "share_group"]

Array = NDArray[np.float64]


def demands_of(
    group: Group, knowledge: Knowledge, supplies: Sequence[Array], reach: Reach
) -> list[Demand]:
    """Return the needs of a group as the sharing sees them, under K readings of supply.

    Parameters
    ----------
    group
        The group.
    knowledge
        For the floors and the months.
    supplies
        K arrays of shape (n, R, 12), units of the resources.
    reach
        Which plots lie within reach of which.
    """
    return [
        Demand(
            reach=reach.within(need.reach.value),
            supply=np.stack(
                [
                    resource_months(supply, knowledge, need.resource, need.months)
                    for supply in supplies
                ],
                axis=2,
            ),
            amount=need.amount.value,
            worst=need.month_rule == "worst",
            floor=need.floor.value,
            weight=need.weight.value,
            net=reach.blocks(need.reach.value),
        )
        for need in group.needs
    ]


def share_group(
    group: Group,
    knowledge: Knowledge,
    supplies: Sequence[Array],
    places: Array,
    reach: Reach,
    pool: Pool | None,
    *,
    form: Form,
    sheets: bool = True,
) -> tuple[Array, Shares]:
    """Room for homes on each plot, and how the needs are shared among them.

    Parameters
    ----------
    supplies
        K arrays of shape (n, R, 12).
    places
        Shape (n, 4, K): see `patchnet.assess.supply.anchor_places`.
    reach
        Which plots lie within reach of which.
    pool
        The ground that homes are spread over (see `patchnet.assess.lodging`).
    sheets
        See `share_supplies`.

    Returns
    -------
    tuple
        Room, shape (n, K), and share met of each need and quality, each (n, K).
    """
    demands = demands_of(group, knowledge, supplies, reach)
    rooms = rooms_of(places, demands, reach.within(group.anchor_reach.value), pool)
    shares = share_supplies(
        rooms.room,
        demands,
        whole=rooms.whole,
        form=form,
        lowest=knowledge.setting("quality_floor"),
        sheets=sheets,
    )
    return rooms.room, shares
