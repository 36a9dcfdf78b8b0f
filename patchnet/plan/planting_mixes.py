"""Tested mixes as the start of a planting: which mix, how many of each line, what may stand in."""

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace

from patchnet.knowledge.records import Knowledge, Mix, MixLine, Plant
from patchnet.plan.facts import PlotFacts
from patchnet.plan.planting_fits import LINE, Option, Site, Where, shrub_crown, side_of
from patchnet.plan.variety import plant_shares

__all__ = ["counts_in", "in_mixes", "mixes_for"]

_SLACK = 1e-9
_LOW = ("ground", "filler", "trailing", "mid")


def mixes_for(
    knowledge: Knowledge, facts: PlotFacts, site: Site, light: str | None, where: Where
) -> tuple[Mix, ...]:
    """Return the tested mixes that suit a place, the likeliest first.

    Light first: a mix for this light, and in half shade, where there is none, one for sun, or
    for shade where the ground is moist. Then moisture: in the ground that of the soil.

    Parameters
    ----------
    knowledge
        For the mixes.
    facts
        Soil and damp.
    site
        The bed or box.
    light
        Its light; None is taken as half shade.
    where
        Whether it is a street, and what stands there.
    """
    moist = facts.damp or (facts.damp is None and facts.soil == "clay")
    dry = facts.damp is False or (facts.damp is None and facts.soil in ("sand", "chalk"))
    found = []
    for mix in knowledge.mixes.values():
        side = side_of(mix.soil)
        if site.feature not in mix.features or (mix.street == "only") != (
            where.street and not site.pot
        ):
            continue
        if where.street and mix.street == "no":
            continue
        if mix.beside and not where.has & set(mix.beside):
            continue
        if not site.pot and not site.place.soils and side == ("dry" if moist else "moist" * dry):
            continue
        sizes = _sizes(mix, site)
        # What is known of boxes alone is not stretched to a whole bed.
        if not site.pot and mix.kind(pot=False) == "box" and site.soil_m2 > max(sizes):
            continue
        found.append(mix)
    order = {"sun": ("sun",), "shade": ("shade",)}.get(
        light or "part", ("part", "shade", "sun") if moist else ("part", "sun", "shade")
    )
    for wanted in order:
        here = tuple(mix for mix in found if mix.light == wanted)
        if here:
            return here
    return ()


def _sizes(mix: Mix, site: Site) -> dict[float, list[float]]:
    """Counts of all lines by m2 of soil."""
    kind = mix.kind(pot=site.pot)
    tables = [line.sizes(kind) for line in mix.lines]
    return {
        size: [one.get(size, 0.0) for one in tables]
        for size in sorted({size for one in tables for size in one})
    }


def counts_in(mix: Mix, site: Site, knowledge: Knowledge | None = None) -> tuple[int, ...]:
    """Return how many of each line of a mix a bed or box holds.

    In a box of a size that was tested: those counts; else those of the size next to it (by the
    ratio of the two) in proportion, whole plants by the largest remainders. Where a street box
    would be emptier than it is to be: those of the nearest size that fills it.

    Parameters
    ----------
    mix
        The mix.
    site
        The bed or box.
    knowledge
        For which plants are bulbs, which do not fill a box; None: it is not asked.
    """
    sizes = _sizes(mix, site)
    near = sorted(sizes, key=lambda one: (abs(math.log(one / site.soil_m2)), one))
    found = [_in_proportion(sizes[size], site.soil_m2 / size) for size in near]
    if knowledge is None or site.plants_least is None:
        return found[0]
    bulbs = [knowledge.plants[line.plant].layer == "bulb" for line in mix.lines
             if line.plant in knowledge.plants]  # fmt: skip
    if len(bulbs) < len(mix.lines):
        return found[0]
    least = site.plants_least - _SLACK
    filling = (
        counts for counts in found
        if sum(n for n, bulb in zip(counts, bulbs, strict=True) if not bulb) >= least
    )  # fmt: skip
    return next(filling, found[0])


def _in_proportion(numbers: Sequence[float], share: float) -> tuple[int, ...]:
    """Whole plants in proportion, by the largest remainders."""
    wanted = [number * share for number in numbers]
    counts = [math.floor(number + 1e-9) for number in wanted]
    over = math.floor(sum(wanted) + 0.5) - sum(counts)
    for at in sorted(range(len(wanted)), key=lambda k: (counts[k] - wanted[k], k))[:over]:
        counts[at] += 1
    return tuple(counts)


def in_mixes(
    knowledge: Knowledge,
    facts: PlotFacts,
    places: tuple[Site, ...],
    options: tuple[Option, ...],
    *,
    light: str | None,
    where: Where,
    months: Mapping[int, float],
    without: Collection[int] = (),
) -> tuple[tuple[Site, ...], tuple[Option, ...]]:
    """Start each place from a tested mix where one suits and enough of it can be had.

    Each line of the mix becomes a layer that holds one kind: the plant itself, one that may stand
    in for it, or another of the same stratum that fits. Of neighbours with other shares
    (`Where.share`) each starts from another of the mixes that suit alike. What flowers in a month
    in which nothing of the mix does may stand beside it.

    Parameters
    ----------
    facts
        What the householder said.
    places, options
        What is planted, and every plant in every place it fits.
    light
        Light of the plot; None is taken as half shade.
    where
        What else is known of the place.
    months
        Weight of each month, 1-12, that should have something in flower.
    without
        Numbers of places that are to have no mix.

    Returns
    -------
    places, options
        The same, with mixes; where none suits a place, it and its options stay as they were.
    """
    sites: list[Site] = []
    found: list[Option] = []
    for at, site in enumerate(places):
        here = [option for option in options if option.site == at]
        mixes: tuple[Mix, ...] = ()
        if at not in without and site.place.counted == "m2":
            mixes = _asked(knowledge, where) or mixes_for(knowledge, facts, site, light, where)
        if where.share is not None and mixes:
            first = where.share % len(mixes)
            mixes = (*mixes[first:], *mixes[:first])
        made = (_started(knowledge, mix, site, here, where, months) for mix in mixes)
        started = [one for one in made if one is not None]
        ways = started[: 1 if where.mixes else None] or [(site, here)]
        best = max(
            range(len(ways)), key=lambda k: (_covered(ways[k][1], months, knowledge, where), -k)
        )
        sites.append(ways[best][0])
        found += ways[best][1]
    order = {key: at for at, key in enumerate(knowledge.plants)}
    found.sort(key=lambda one: (order[one.plant.key], one.site))
    return tuple(sites), tuple(found)


def _asked(knowledge: Knowledge, where: Where) -> tuple[Mix, ...]:
    return tuple(knowledge.mixes[key] for key in where.mixes if key in knowledge.mixes)


def _covered(
    options: Iterable[Option], months: Mapping[int, float], knowledge: Knowledge, where: Where
) -> float:
    """Weight of the months in which some of the options flower."""
    ours = _ours(knowledge, {one.plant.key for one in options}, where)
    flowering = {month for one in options if one.plant.key in ours for month in one.months}
    return round(sum(weight for month, weight in months.items() if month in flowering), 9)


def _ours(knowledge: Knowledge, keys: Collection[str], where: Where) -> set[str]:
    if where.share is None:
        return set(keys)
    dealt = plant_shares(knowledge)
    return {key for key in keys if dealt.get(key) in (where.share, None)}


def _started(
    knowledge: Knowledge,
    mix: Mix,
    site: Site,
    here: Sequence[Option],
    where: Where,
    months: Mapping[int, float],
) -> tuple[Site, list[Option]] | None:
    """A place with a mix, and its options; None where too little of the mix can be had."""
    side = side_of(mix.soil)
    fit = {one.plant.key: one for one in here if side_of(one.plant.soil) in ("", side)}
    ours = _ours(knowledge, fit, where)
    counts = counts_in(mix, site, knowledge)
    planted = [(at, line) for at, line in enumerate(mix.lines) if counts[at]]
    to_be_had = [line for _, line in planted if {line.plant, *line.swaps} & set(fit)]
    if len(to_be_had) < knowledge.setting("planting_mix_least") * len(planted) or not planted:
        return None
    options: list[Option] = []
    stands_in = knowledge.setting("planting_stands_in")
    for at, line in planted:
        number, own = counts[at], knowledge.plants.get(line.plant)
        for key in _choices(line, planted, fit, ours, knowledge):
            tested = 1.0 if key == line.plant else stands_in * (key in line.swaps)
            plant = fit[key].plant
            least = number if own is None else _as_wide(number, own, plant)
            if site.shrub_most is not None and shrub_crown(plant) > 0:
                least = min(least, max(1, int(site.shrub_most / shrub_crown(plant) + 1e-9)))
            options.append(_on_line(fit[key], str(at), least, tested))
    lacking = {
        month
        for month, weight in months.items()
        if weight > 0 and not any(month in one.months for one in options if one.plant.key in ours)
    }
    # What flowers when nothing of the mix does stands beside it, in its fewest.
    options += [
        _on_line(one, "more", one.least, 0.0)
        for key, one in fit.items()
        if key in ours and lacking & set(one.months)
    ]  # fmt: skip
    return replace(site, mix=mix, counts=counts, kinds=len(planted) + 1), options


def _on_line(one: Option, line: str, number: int, tested: float) -> Option:
    return replace(
        one, tier=f"{LINE}{line}", least=number, most=number, tested=tested,
        each=one.plant.width_m**2,
    )  # fmt: skip


def _choices(
    line: MixLine,
    planted: Sequence[tuple[int, MixLine]],
    fit: Collection[str],
    ours: Collection[str],
    knowledge: Knowledge,
) -> list[str]:
    """Plants for a line: its own, those that may stand in, and its part of the rest.

    The rest of a stratum is dealt out among the lines of that stratum, so that no plant stands
    for two lines without need. Where none of them is of the plot's share, any low plant of it.
    """
    named = {key for _, each in planted for key in (each.plant, *each.swaps)}
    own = knowledge.plants.get(line.plant)
    first = [key for key in dict.fromkeys((line.plant, *line.swaps)) if key in fit]
    if own is None:
        return first
    alike = [each.key for _, each in planted if _tier(each, knowledge) == own.tier]
    rest = [
        key for key in fit if key not in named and knowledge.plants[key].tier == own.tier
    ]  # fmt: skip
    found = [*first, *rest[alike.index(line.key) :: len(alike)]]
    if own.tier == "bulb" or set(found) & set(ours):
        return found
    return [*found, *(key for key in ours if knowledge.plants[key].tier in _LOW)]


def _tier(line: MixLine, knowledge: Knowledge) -> str:
    plant = knowledge.plants.get(line.plant)
    return "" if plant is None else plant.tier


def _as_wide(number: int, own: Plant, other: Plant) -> int:
    """As many of another plant, or fewer where it grows wider: their crowns cover no more."""
    share = min(1.0, (own.width_m / other.width_m) ** 2)
    return max(1, math.floor(number * share + 0.5))
