"""Who lives and learns beside the planters of a scheme, as far as the map knows."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from patchnet.knowledge.records import Knowledge
from patchnet.plan.street_houses import column_of
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.scheme.planter_scheme import Scheme

__all__ = ["Address", "Block", "Gains", "addresses_of", "people_beside", "who_gains"]

_WALL_M = 1.0  # houses whose ground is nearer than this stand in one block
_NUMBER = re.compile(r"\d+[A-Za-z]?")


@dataclass(frozen=True, slots=True, eq=False)
class Address:
    """One home: its street and door, its plots, and what ground it has.

    Attributes
    ----------
    street, door
        As the map says; the door may be empty.
    plots
        Ids.
    ground_m2
        Ground of its own that is not on a balcony or roof, m2.
    shape
        All its plots together.
    """

    street: str
    door: str
    plots: tuple[str, ...]
    ground_m2: float
    shape: shapely.Geometry


@dataclass(frozen=True, slots=True)
class Block:
    """Homes that stand wall to wall: how many, and how many of them without ground of their own."""

    street: str
    doors: tuple[str, ...]
    addresses: int
    without: int


@dataclass(frozen=True, slots=True)
class Gains:
    """People beside a scheme.

    Attributes
    ----------
    reach_m
        How far from a planter was looked, straight, m.
    addresses, without
        Homes within that, and those without ground of their own.
    ground_m2
        Ground that the middle one of them has, m2.
    blocks
        The same by block, larger ones first; blocks with few homes are in the sums only.
    schools, greens
        Labels of school grounds and public greens within that; `green_m` is how far the nearest
        green is from the nearest planter, m, None where none is mapped.
    """

    reach_m: float
    addresses: int
    without: int
    ground_m2: float
    blocks: tuple[Block, ...]
    schools: tuple[str, ...]
    greens: tuple[str, ...]
    green_m: float | None


def addresses_of(neighbourhood: Neighbourhood, knowledge: Knowledge) -> tuple[Address, ...]:
    """Put plots of homes together by street and door, or by the number in their label.

    Parameters
    ----------
    neighbourhood
        The street.
    knowledge
        For the kinds of plot.

    Returns
    -------
    tuple of Address
        In the order of the file; a plot without a number is a home of its own.
    """
    plots = neighbourhood.plots
    kinds = dict(zip(map(str, plots.index), plots["kind"].astype(str), strict=True))
    shapes = dict(zip(map(str, plots.index), plots.geometry, strict=True))
    street, door, label = (column_of(neighbourhood, one) for one in ("street", "door", "label"))
    homes: dict[tuple[str, ...], list[str]] = {}
    for plot, kind in kinds.items():
        if not knowledge.plot_is(kind, "home"):
            continue
        number = door[plot] or next(iter(_NUMBER.findall(label[plot])), "")
        raised = knowledge.plot_is(kind, "raised")
        key = (street[plot], number, "up" if raised else "") if number else (plot,)
        homes.setdefault(key, []).append(plot)
    return tuple(
        Address(
            street=street[own[0]],
            door=key[1] if len(key) > 1 else "",
            plots=tuple(own),
            ground_m2=float(sum(shapes[one].area for one in own if not _up(kinds[one], knowledge))),
            shape=shapely.union_all([shapes[one] for one in own]),
        )
        for key, own in homes.items()
    )


def _up(kind: str, knowledge: Knowledge) -> bool:
    return knowledge.plot_is(kind, "raised") or knowledge.plot_is(kind, "pots_only")


def who_gains(scheme: Scheme) -> Gains:
    """Count the homes beside a scheme, with and without ground of their own.

    Distances are straight, from the edge of the nearest planter to the edge of the plot.

    Parameters
    ----------
    scheme
        With its planters; its neighbourhood knows plots, not units for the public.
    """
    hood, know = scheme.before.neighbourhood, scheme.before.knowledge
    reach = know.scheme_figure("gain_reach_m")
    boxes = shapely.union_all([one.site.polygon for one in scheme.planters])
    near = _near(addresses_of(hood, know), boxes, reach)
    least = round(know.scheme_figure("gain_least_told"))
    away = {
        kind: _away(hood, know, boxes, kind)
        for kind in ("school", "green")
    }  # fmt: skip
    greens = away["green"]
    return Gains(
        reach_m=reach,
        addresses=len(near),
        without=sum(one.ground_m2 == 0 for one in near),
        ground_m2=float(np.median([one.ground_m2 for one in near])) if near else 0.0,
        blocks=tuple(one for one in _blocks(near) if one.addresses >= least),
        schools=tuple(name for name, metres in away["school"].items() if metres <= reach),
        greens=tuple(name for name, metres in greens.items() if metres <= reach),
        green_m=min(greens.values(), default=None),
    )


def people_beside(scheme: Scheme) -> tuple[int, ...]:
    """Count the homes of people beside each of the schemes that stand side by side.

    Parameters
    ----------
    scheme
        With its choices; its neighbourhood knows plots, not units for the public.
    """
    hood, know = scheme.before.neighbourhood, scheme.before.knowledge
    reach, homes = know.scheme_figure("gain_reach_m"), addresses_of(hood, know)
    shapes = {site.key: site.polygon for site in scheme.sites}
    return tuple(
        len(_near(homes, shapely.union_all([shapes[key] for key, _ in choice.sites]), reach))
        if choice.sites
        else 0
        for choice in scheme.choices
    )


def _near(homes: Sequence[Address], boxes: shapely.Geometry, reach: float) -> list[Address]:
    return [one for one in homes if shapely.distance(one.shape, boxes) <= reach]


def _away(
    hood: Neighbourhood, knowledge: Knowledge, boxes: shapely.Geometry, what: str
) -> Mapping[str, float]:
    """Metres to each public green, or each school ground, by its label."""
    plots = hood.plots
    found: dict[str, float] = {}
    for plot, kind, label, shape in zip(
        plots.index, plots["kind"].astype(str), plots["label"].astype(str), plots.geometry,
        strict=True,
    ):  # fmt: skip
        school = knowledge.plot_is(kind, "asks_keeper") and not knowledge.plot_is(kind, "nobodys")
        public = knowledge.plot_is(kind, "passers_by")
        street = knowledge.plot_is(kind, "in_street") or knowledge.plot_is(kind, "home")
        if public and not street and school == (what == "school"):
            name = label or str(plot)
            found[name] = min(found.get(name, np.inf), float(shapely.distance(shape, boxes)))
    return found


def _blocks(near: Sequence[Address]) -> list[Block]:
    """Homes on one street whose ground touches, or nearly so."""
    if not near:
        return []
    shapes = np.array([one.shape for one in near], dtype=object)
    tree = shapely.STRtree(shapes)
    one, other = tree.query(shapes, predicate="dwithin", distance=_WALL_M)
    streets = np.array([each.street for each in near], dtype=object)
    same = streets[one] == streets[other]
    joined = coo_array(
        (np.ones(int(same.sum())), (one[same], other[same])), shape=(len(near), len(near))
    )
    _, labels = connected_components(joined, directed=False)
    blocks = []
    for label in dict.fromkeys(labels.tolist()):
        own = [near[at] for at in np.flatnonzero(labels == label).tolist()]
        doors = sorted({each.door for each in own if each.door}, key=_counted)
        blocks.append(
            Block(
                own[0].street,
                tuple(doors),
                len(own),
                sum(each.ground_m2 == 0 for each in own),
            )
        )
    return sorted(blocks, key=lambda each: (-each.addresses, each.street, each.doors))


def _counted(door: str) -> tuple[int, str]:
    number = re.match(r"\d+", door)
    return (int(number[0]) if number else 0, door)
