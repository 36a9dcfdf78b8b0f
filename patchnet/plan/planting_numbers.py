"""How many of each plant: those of a mix by its counts, the rest by the room there is."""

import math
from collections.abc import Sequence

from patchnet.knowledge.records import Knowledge
from patchnet.plan.planting_fits import Option, Site

__all__ = ["cost_of", "numbers_of", "too_few"]

_LOW = ("ground", "trailing", "filler", "mid")  # what closes up a box, lowest first


def too_few(
    knowledge: Knowledge, places: tuple[Site, ...], chosen: list[Option], numbers: list[int]
) -> set[int]:
    """Return places whose mix came out with less than half of its plants, bulbs apart.

    Parameters
    ----------
    knowledge
        For how many are the least.
    places, chosen, numbers
        What is planted, the n options chosen, and how many of each.
    """
    least = knowledge.setting("planting_mix_least")
    planted = dict.fromkeys(range(len(places)), 0)
    for option, number in zip(chosen, numbers, strict=True):
        planted[option.site] += number * (option.plant.layer != "bulb")
    return {
        at
        for at, site in enumerate(places)
        if site.mix is not None
        and planted[at]
        < least
        * sum(
            count
            for count, line in zip(site.counts, site.mix.lines, strict=True)
            if line.plant not in knowledge.plants or knowledge.plants[line.plant].layer != "bulb"
        )
    }


def numbers_of(places: tuple[Site, ...], chosen: list[Option], money: float | None) -> list[int]:
    """How many of each: the fewest first, then one by one to the kind with least room so far.

    In a mix every number is that of its line; a street box is then closed up with low plants.

    Parameters
    ----------
    places, chosen
        What is planted, and the n options chosen.
    money
        What all may cost, in the currency of the ``cost`` settings; None: anything.
    """
    numbers = [option.least for option in chosen]
    purse = math.inf
    if money is not None:
        purse = money - sum(option.least * option.price for option in chosen)
    layers: dict[tuple[int, str], list[int]] = {}
    for at, option in enumerate(chosen):
        if not option.fixed:
            layers.setdefault((option.site, option.tier), []).append(at)
    for (site, tier), members in layers.items():
        share = _share_out if tier == "plants" else _fill_up
        purse = share(places[site].room, members, chosen, numbers, purse)
    for at, place in enumerate(places):
        if place.mix is not None and place.plants_least is not None:
            _close_up(at, place.plants_least, chosen, numbers)
    return numbers


def _share_out(
    room: float, members: list[int], chosen: list[Option], numbers: list[int], purse: float
) -> float:
    """Plants that are counted: as many of each kind; returns the money left."""
    each, over = divmod(int(room), len(members))
    for place, at in enumerate(members):
        more = max(each + (place < over) - numbers[at], 0)
        price = chosen[at].price
        if price > 0 and purse < math.inf:
            more = min(more, int(max(purse, 0.0) / price))
        numbers[at] += more
        purse -= more * price
    return purse


def _fill_up(
    room: float, members: list[int], chosen: list[Option], numbers: list[int], purse: float
) -> float:
    """Plants that take room: one more of the kind with least of it; returns the money left."""
    left = room - sum(numbers[at] * chosen[at].each for at in members)
    while True:
        growing = [
            at
            for at in members
            if numbers[at] < chosen[at].most
            and chosen[at].each <= left + 1e-9
            and chosen[at].price <= purse
        ]
        if not growing:
            return purse
        # Rounded: areas alike on paper are alike here, and the earlier plant comes first.
        at = min(growing, key=lambda one: (round(numbers[one] * chosen[one].each, 6), one))
        numbers[at] += 1
        left -= chosen[at].each
        purse -= chosen[at].price


def _close_up(site: int, least: float, chosen: Sequence[Option], numbers: list[int]) -> None:
    """Add low plants to a box until there are so many besides bulbs, one of each kind in turn."""
    plants = [at for at, one in enumerate(chosen) if one.site == site and one.plant.layer != "bulb"]
    low = [at for at in plants if chosen[at].plant.tier in _LOW]
    while low and sum(numbers[at] for at in plants) < least:
        at = min(
            low,
            key=lambda k: (
                numbers[k], _LOW.index(chosen[k].plant.tier), chosen[k].plant.width_m, k
            ),
        )  # fmt: skip
        numbers[at] += 1


def cost_of(
    knowledge: Knowledge, chosen: list[Option], numbers: list[int], places: tuple[Site, ...]
) -> tuple[float, float, float]:
    """Money for all the plants: least, usual and most, in the currency of the settings.

    Parameters
    ----------
    knowledge
        For the prices.
    chosen, numbers
        The n options chosen, and how many of each.
    places
        What is planted.
    """
    total = [0.0, 0.0, 0.0]
    for option, number in zip(chosen, numbers, strict=True):
        form = knowledge.plant_forms.get(places[option.site].place.form or "")
        price = option.plant.price if form is None or form.price is None else form.price
        if price is not None:
            for at, one in enumerate((price.low, price.value, price.high)):
                total[at] += number * one
    return (round(total[0], 2), round(total[1], 2), round(total[2], 2))
