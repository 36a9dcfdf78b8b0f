"""Which places are worth going to with a tape, and what has to be measured there."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from patchnet.knowledge.records import Knowledge
from patchnet.street.measured import COLUMNS
from patchnet.street.site import Finding, Site

__all__ = ["ToMeasure", "places_to_measure"]

_ASKED = {
    "on_footway": "footway_m",
    "clear_width": "footway_m",
    "fire_route": "road_m",
    "roots": "girth_cm",
    "street_objects": "things",
    "fast_road": "speed",
}
"""Column of the sheet that answers what a rule wants measured."""


@dataclass(frozen=True, eq=False, slots=True)
class ToMeasure:
    """One place of a tape-measure sheet.

    Attributes
    ----------
    site
        The place.
    asked
        Columns of the sheet that are to be filled in there, in their order.
    footway_m
        Width of the footway from which this box fits, metres; None: it is not asked.
    spare
        Keys of places nearby to measure if this one fails.
    """

    site: Site
    asked: tuple[str, ...]
    footway_m: float | None
    spare: tuple[str, ...]


def places_to_measure(
    sites: Sequence[Site],
    chosen: Collection[str] | None = None,
    *,
    knowledge: Knowledge,
    most: int | None = None,
) -> tuple[ToMeasure, ...]:
    """Return the places whose measuring could change what is chosen, in the order of the sites.

    Of a scheme these are its places that something is still to be measured at: at every other
    place the choice is made, or the figure would be of one that was not wanted anyway. Without a
    scheme they are the places with least to measure, no two of which stand too close together,
    spread along the street.

    Parameters
    ----------
    sites
        Every site of the street, with what its rules say.
    chosen
        Keys of the places of a scheme; None: there is none.
    knowledge
        For how far apart boxes stand, and how many spare places are named.
    most
        How many places without a scheme; None: all.

    Returns
    -------
    tuple of ToMeasure
        None where nothing is left to measure.

    Examples
    --------
    >>> import patchnet
    >>> knowledge = patchnet.load_knowledge()
    >>> hood = patchnet.read_demo()
    >>> street = patchnet.find_street(hood, "Wickthorn Street")
    >>> sites = patchnet.planter_sites(hood, street)
    >>> [one.site.key for one in patchnet.places_to_measure(sites, knowledge=knowledge)]
    ['L094.0']
    """
    open_sites = [site for site in sites if site.verdict == "measure"]
    if chosen is None:
        picked = _apart(open_sites, knowledge.setting("scheme_spacing_m"))
        if most is not None and len(picked) > most:
            picked = [picked[round(at)] for at in np.linspace(0, len(picked) - 1, most)]
    else:
        picked = [site for site in open_sites if site.key in chosen]
    spares = round(knowledge.street_rule("tape_spare"))
    taken = {site.key for site in picked}
    left = [site for site in open_sites if site.key not in taken]
    found = []
    for site in picked:
        near = sorted(
            (other for other in left if other.side == site.side),
            key=lambda other: (abs(other.chainage_m - site.chainage_m), other.key),
        )
        spare = tuple(other.key for other in near[:spares])
        found.append(ToMeasure(site, _asked(site.findings), _needed_m(site, knowledge), spare))
    return tuple(found)


def _asked(findings: Sequence[Finding]) -> tuple[str, ...]:
    """Return what is to be measured, by the rules that say so, in the order of the sheet."""
    asked = set()
    for one in findings:
        if one.verdict == "measure":
            if one.rule.startswith("sight_"):
                # With a reach the area is known, and only the speed is not.
                asked.add("side_road_m" if one.limit is None else "speed")
            else:
                asked.add(_ASKED[one.rule])
    return tuple(name for name in COLUMNS if name in asked)


def _needed_m(site: Site, knowledge: Knowledge) -> float | None:
    if "footway_m" not in _asked(site.findings):
        return None
    taken = site.offset_m + site.size.width_m + site.size.spread_m
    limit = max(
        (one.limit or 0.0 for one in site.findings if one.rule == "clear_width"),
        default=knowledge.street_rule("clear_width_fits_m"),
    )
    return round(taken + limit, 2)


def _apart(sites: Sequence[Site], spacing_m: float) -> list[Site]:
    """Return sites that can stand together, those with least to measure first, as they lie."""
    picked: list[Site] = []
    for site in sorted(sites, key=lambda one: (len(_asked(one.findings)), one.key)):
        if all(site.polygon.distance(other.polygon) >= spacing_m for other in picked):
            picked.append(site)
    return [site for site in sites if site in picked]
