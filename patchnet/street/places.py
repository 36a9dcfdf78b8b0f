"""Places along both sides of a street where a planter could stand, each tested and explained."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
import shapely

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.knowledge.country_rules import rules_in
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.street import PlanterSize
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.street.box_place import Place, place_at
from patchnet.street.closeness import how_far_off
from patchnet.street.measured import Measured, ensure_measured_here
from patchnet.street.rules import findings_of
from patchnet.street.site import RANK, SIDES, Finding, Side, Site, Street
from patchnet.street.width_rules import Width

__all__ = ["planter_sites", "site_key"]

_HAIR_M = 0.01  # a road of this neighbourhood lies on the line of its street
_SPARE_M = 10.0  # from the middle of the road to behind the footway
_FEWEST_M = 0.1  # sites nearer together than this are no longer told apart by their key


def planter_sites(
    neighbourhood: Neighbourhood,
    street: Street,
    *,
    knowledge: Knowledge | None = None,
    sizes: Iterable[PlanterSize] | None = None,
    spacing_m: float | None = None,
    sides: Literal["both", "left", "right"] = "both",
    measured: Mapping[str, Measured] | None = None,
) -> tuple[Site, ...]:
    """Test a place for a planter every metre or two along a street.

    Parameters
    ----------
    neighbourhood
        The one that `street` was found in.
    street
        From `find_street`.
    knowledge
        Street rules and planter sizes.
    sizes
        Planters to try; those of the table if None. At each place the one with the best verdict
        is kept, and of equal ones that which holds most soil; of refused ones that which came
        closest.
    spacing_m
        Metres between places; the table's ``site_spacing_m`` if None.
    sides
        Both, or one looking the way chainage runs.
    measured
        What was measured on the spot, by key of the site (`read_measured`).

    Returns
    -------
    tuple of Site
        Left side first, by chainage. Places where the map has no footway are left out, unless
        the map has none at all on that side.

    Raises
    ------
    WrongUse
        If a size or the spacing is not above 0, there is no size or no such side, or something
        was measured at a place that is not there, or not where it was.

    Examples
    --------
    >>> import patchnet
    >>> hood = patchnet.read_demo()
    >>> street = patchnet.find_street(hood, "Mallowby Road")
    >>> {site.side for site in patchnet.planter_sites(hood, street, sides="left")}
    {'left'}
    """
    knowledge = rules_in(knowledge or load_knowledge(), neighbourhood.country)
    if sides not in ("both", *SIDES):
        raise WrongUse(
            _("There is no side {sides!r}: write left, right or both.").format(sides=sides)
        )
    if not shapely.dwithin(neighbourhood.roads.geometry.to_numpy(), street.line, _HAIR_M).any():
        raise WrongUse(
            _("{street_name} is not a road of {neighbourhood_name}.").format(
                street_name=street.name, neighbourhood_name=neighbourhood.name
            )
        )
    tried = _checked(knowledge.planter_sizes.values() if sizes is None else sizes)
    spacing = knowledge.street_rule("site_spacing_m") if spacing_m is None else spacing_m
    if not _FEWEST_M <= spacing < np.inf:
        raise WrongUse(
            _("Sites must be at least {fewest_m:g} m apart, not {spacing:g} m.").format(
                fewest_m=_FEWEST_M, spacing=spacing
            )
        )
    reach = _SPARE_M + max(size.length_m for size in tried) + _farthest(knowledge)
    found: list[Site] = []
    for side in SIDES if sides == "both" else (sides,):
        for chainage in np.arange(spacing, street.length_m, spacing):
            here = _around(street, float(chainage), reach)
            at = round(float(chainage), 3)
            taped = (measured or {}).get(site_key(side, at))
            site = _best(here, side, at, tried, knowledge, taped)
            if site is not None:
                found.append(site)
    ensure_measured_here(measured or {}, found, knowledge, street=street.name, sides=sides)
    return tuple(found)


def _checked(sizes: Iterable[PlanterSize]) -> list[PlanterSize]:
    """Return the sizes, that with most soil first."""
    tried = sorted(sizes, key=lambda size: -size.litres)
    if not tried:
        raise WrongUse(_("There is no size of planter to try."))
    for size in tried:
        numbers = (size.length_m, size.width_m, size.height_m, size.soil_depth_m)
        if not all(0 < number < np.inf for number in numbers) or not 0 <= size.spread_m < np.inf:
            raise WrongUse(
                _(
                    "The planter {size_name!r} has an impossible size: length, width, height and "
                    "soil depth must be above 0, and the spread 0 or more."
                ).format(size_name=size.name)
            )
    return tried


def _farthest(knowledge: Knowledge) -> float:
    """Return the farthest that any rule on things in the street looks."""
    looked = ("near_object_m", "bus_stop_zone_m", "root_most_m")
    return max(
        figure.value
        for key, figure in knowledge.street_rules.items()
        if key.startswith("clear_") or key in looked
    )


def _around(street: Street, chainage: float, reach: float) -> Street:
    """Return the street with only those things that can matter at one station."""
    if not street.objects:
        return street
    spot = street.line.interpolate(chainage)
    spread = [reach + thing.span[1] - thing.span[0] for thing in street.objects]
    near = shapely.dwithin([thing.shape for thing in street.objects], spot, spread)
    return replace(
        street,
        objects=tuple(
            thing for thing, is_near in zip(street.objects, near, strict=True) if is_near
        ),
    )


def _best(
    street: Street,
    side: Side,
    chainage: float,
    sizes: Sequence[PlanterSize],
    knowledge: Knowledge,
    taped: Measured | None,
) -> Site | None:
    best: Site | None = None
    for size in sizes:
        place = place_at(street, side, chainage, size, knowledge=knowledge, taped=taped)
        if place is None:
            continue
        site = _site(place, *findings_of(street, place, knowledge=knowledge))
        if best is None or RANK[site.verdict] < RANK[best.verdict] or _nearer(site, best):
            best = site
        if best.verdict == "fits":
            break
    return best


def _nearer(site: Site, best: Site) -> bool:
    """Whether of two refused boxes this one came closer to being allowed."""
    refused = site.verdict == best.verdict == "no"
    return refused and how_far_off(site.findings) < how_far_off(best.findings)


def _site(place: Place, findings: tuple[Finding, ...], width: Width) -> Site:
    verdict = max((finding.verdict for finding in findings), key=RANK.__getitem__)
    return Site(
        key=site_key(place.side, place.chainage_m),
        side=place.side,
        chainage_m=place.chainage_m,
        offset_m=round(place.offset_m, 3),
        polygon=place.box,
        centre=shapely.Point(place.centre),
        bearing_deg=round(float(np.degrees(np.arctan2(place.along[0], place.along[1]))) % 360, 2),
        size=place.size,
        clear_m=width.clear_m,
        clear_basis=width.basis,
        footway_m=None if np.isnan(place.footway_m) else round(place.footway_m, 3),
        verdict=verdict,
        findings=findings,
    )


def site_key(side: Side, chainage: float) -> str:
    """Return ``L012.0`` for 12 m on the left, ``L007.25``: keys sort as the places lie.

    Parameters
    ----------
    side
        Left or right.
    chainage
        Metres along the road line.
    """
    text = f"{chainage:.3f}".rstrip("0")
    whole, part = text.split(".")
    return f"{side[0].upper()}{whole:0>3}.{part or '0'}"
