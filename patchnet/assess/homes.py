"""How many homes of a group can live where: its needs, met from what is within reach."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.filling import Stop
from patchnet.assess.lodging import Pool, rooms_of
from patchnet.assess.portions import Portioned, Stock, shared_in_portions
from patchnet.assess.reach import Reach
from patchnet.assess.sharing import Demand, Form, Limits, Shares, share_supplies
from patchnet.assess.supply import resource_months
from patchnet.knowledge.records import Group, Knowledge

__all__ = ["demands_of", "share_group", "share_group_in_portions"]

Array = NDArray[np.float64]


def demands_of(
    group: Group,
    knowledge: Knowledge,
    supplies: Sequence[Array],
    reach: Reach,
    *,
    flows: bool = True,
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
    flows
        Whether flows will be asked for: else the reach is not cut into blocks.
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
            net=reach.blocks(need.reach.value) if flows else None,
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


def share_group_in_portions(
    group: Group,
    knowledge: Knowledge,
    supplies: Sequence[Array],
    places: Array,
    reach: Reach,
    pool: Pool | None,
    *,
    form: Form,
) -> tuple[Array, Shares]:
    """Do the same in portions, which asks for products alone (see `patchnet.assess.portions`).

    Parameters
    ----------
    group
        The group.
    knowledge
        For the floors and the months.
    supplies
        K arrays of shape (n, R, 12), units of the resources.
    places
        Shape (n, 4, K): see `patchnet.assess.supply.anchor_places`.
    reach
        Which plots lie within reach of which; any that multiplies will do.
    pool
        The ground that homes are spread over.
    form
        See `patchnet.assess.sharing.quality_of`.

    Returns
    -------
    tuple
        As `share_group`: room, shape (n, K), homes; and shares, 0-1. Of a vital need `met` is what
        is taken of it, and a limit names the need that was short and nobody who shares it.
    """
    demands = demands_of(group, knowledge, supplies, reach, flows=False)
    rooms = rooms_of(places, demands, reach.within(group.anchor_reach.value), pool)
    stocks = [
        Stock(
            demand.quick,
            _that_differ(demand.supply / demand.amount, worst=demand.worst),
            demand.worst,
            demand.floor,
            demand.weight,
        )
        for demand in demands
    ]
    found = shared_in_portions(
        rooms.room, stocks, whole=rooms.whole, form=form, lowest=knowledge.setting("quality_floor")
    )
    there = rooms.room > 0
    met = tuple(np.where(there, one, 0.0) for one in found.met)
    quality = np.where(there, found.quality, 0.0)
    limits = _short(there[:, 0], stocks, found, rooms.whole[:, 0], together=form == "scarcest")
    return rooms.room, Shares(met, quality, limits)


def _that_differ(supply: Array, *, worst: bool) -> Array:
    """Months that differ, shape (n, M, K): of like months one stands for all."""
    months = supply.shape[1]
    like = np.array(
        [any(np.array_equal(supply[:, m], supply[:, k]) for k in range(m)) for m in range(months)]
    )
    # A mean of months that are not all alike must have each as often as it comes.
    keep = ~like if worst or like.sum() == months - 1 else np.ones(months, dtype=bool)
    return supply[:, keep]


def _short(
    there: NDArray[np.bool_],
    stocks: Sequence[Stock],
    found: Portioned,
    whole: Array,
    *,
    together: bool,
) -> Limits:
    """Which need takes most off a home under the first reading, and was short when it stopped."""
    nobody = np.empty(0, dtype=np.intp)
    of = [Stop(at, (), float("nan"), nobody.copy(), nobody) for at in range(len(stocks))]
    need = np.full(len(there), -1, dtype=np.intp)
    if stocks:
        worth = np.column_stack(
            [
                stock.floor + (1 - stock.floor) * met[:, 0]
                for stock, met in zip(stocks, found.met, strict=True)
            ]
        )
        ceilings = np.column_stack([stock.ceiling[:, 0] for stock in stocks])
        held = np.column_stack([one[:, 0] for one in found.held])
        least = worth.argmin(axis=1)
        at = np.arange(len(there))
        # Vital needs rise together: where none was short, the least of what one finds alone is.
        vital = np.array([stock.floor == 0 for stock in stocks])
        alone = np.where(vital, ceilings, np.inf).argmin(axis=1)
        by_need = held[at, least]
        by_need = np.where(by_need >= 0, by_need, np.where(vital[least] & together, alone, least))
        short = there & (worth[at, least] < 1) & (found.quality[:, 0] < whole)
        need[short] = by_need[short]
    return Limits(need, tuple(None if one < 0 else of[one] for one in need.tolist()))
