"""Narrow places along one side of a street, one after the other: how long, how far apart.

A width of 1.5 m "over a short length" is no longer short where boxes follow each other. So for
boxes that stand together all stretches that are narrower than the full width, those that are
narrow as they are counted too, are joined where they are close, and what lies between must be
wide and long enough for two wheelchairs to meet.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.street.cross_sections import at_stations
from patchnet.street.findings import finding, metres, source_of
from patchnet.street.site import SIDES, Basis, Finding, Floats, Side, Site, Street, StreetSide

__all__ = ["Narrowing", "narrowing_findings", "narrowings_of"]

_STEP_M = 0.25
_MILLIMETRES = 3
_HAIR_M = 1e-3


class Narrowing(NamedTuple):
    """A stretch of one side on which less than the full width is left, or is not known."""

    start_m: float
    stop_m: float

    @property
    def length_m(self) -> float:
        """How long it is, metres."""
        return self.stop_m - self.start_m


def narrowings_of(
    street: Street, side: Side, sites: Sequence[Site] = (), *, knowledge: Knowledge
) -> tuple[Narrowing, ...]:
    """Return the narrow stretches of one side with boxes at some sites, in the order of chainage.

    Parameters
    ----------
    street
        The street.
    side
        Which side.
    sites
        Where boxes stand; those of the other side are passed over.
    knowledge
        For the full width, and for how far apart two narrowings are.
    """
    stations, clear = _clear_way(street, side, sites)
    narrow = clear < knowledge.street_rule("clear_width_fits_m")
    passing = clear >= knowledge.street_rule("passing_width_m")
    gap = max(knowledge.street_rule("narrow_gap_m"), knowledge.street_rule("passing_length_m"))
    found: list[Narrowing] = []
    for start, stop in _runs(stations, narrow):
        if found:
            between = (stations > found[-1].stop_m) & (stations < start)
            if start - found[-1].stop_m < gap or not passing[between].all():
                found[-1] = Narrowing(found[-1].start_m, stop)
                continue
        found.append(Narrowing(start, stop))
    return tuple(found)


def narrowing_findings(
    street: Street, sites: Sequence[Site], *, knowledge: Knowledge
) -> tuple[Finding, ...]:
    """Return what boxes that stand together do to the way along each side that has some.

    Three rules: no narrowing longer than may be, places to pass close enough, and no more of the
    side narrow than may be.

    Parameters
    ----------
    street
        The street.
    sites
        Where the boxes of a scheme stand.
    knowledge
        For the rules.
    """
    found: list[Finding] = []
    for side in SIDES:
        here = [site for site in sites if site.side == side]
        if here:
            found += _side_findings(street, side, here, knowledge)
    return tuple(found)


def _side_findings(
    street: Street, side: Side, sites: Sequence[Site], knowledge: Knowledge
) -> list[Finding]:
    rule = knowledge.street_rule
    before = narrowings_of(street, side, knowledge=knowledge)
    after = narrowings_of(street, side, sites, knowledge=knowledge)
    unknown = any(site.clear_m is None for site in sites)
    made = [one for one in after if one not in before]
    longest = round(max((one.length_m for one in made), default=0.0), 2)
    whole = _footway_m(street.side(side))
    share = sum(one.length_m for one in after) / whole if whole > 0 else 0.0
    limit, most = rule("narrow_longest_m"), rule("narrow_share")
    basis: Basis = (
        "measured" if all(site.clear_basis == "measured" for site in sites) else "from the map"
    )
    if unknown:
        words = _(
            "How long the narrow stretches on the {side} would be is not known until every width "
            "there is measured."
        ).format(side=_(side))
        return [
            finding("narrowing_length", "measure", None, limit, "assumed", knowledge,
                    "narrow_longest_m", words)
        ]  # fmt: skip
    words = _(
        "On the {side} the longest stretch with less than {full} to walk in would be {longest} "
        "(boxes closer than {gap} count as one); without a place to pass at most {limit} is asked."
    ).format(
        side=_(side), full=metres(rule("clear_width_fits_m")), longest=metres(longest),
        gap=metres(rule("narrow_gap_m")), limit=metres(limit),
    )  # fmt: skip
    found = [
        finding("narrowing_length", "fits" if longest <= limit else "ask", longest, limit, basis,
                knowledge, "narrow_longest_m", words)
    ]  # fmt: skip
    words = _(
        "On the {side} {share:.0%} of the footway would have less than {full} to walk in; at most "
        "{most:.0%} is asked."
    ).format(side=_(side), share=share, full=metres(rule("clear_width_fits_m")), most=most)
    found.append(
        Finding("narrowing_share", "fits" if share <= most else "ask", round(share, 2), most,
                "share", basis, words, source_of("narrow_share", knowledge))
    )  # fmt: skip
    return found


def _clear_way(street: Street, side: Side, sites: Sequence[Site]) -> tuple[Floats, Floats]:
    """Stations along a side and the clear way at each: what is mapped, less the boxes."""
    one = street.side(side)
    half = {site.key: site.size.length_m / 2 + site.size.spread_m for site in sites}
    ends = [site.chainage_m + way * half[site.key] for site in sites for way in (-1, 1)]
    every = np.arange(0.0, street.length_m + _STEP_M / 2, _STEP_M)
    stations = np.unique(np.round(np.append(every, ends), _MILLIMETRES))
    clear = np.where(
        np.isnan(way := at_stations(one, stations, one.footway)), np.inf, way
    )  # where there is no footway, or nobody knows it, no narrowing is made up
    for site in sites:
        if site.side == side and site.clear_m is not None:
            beside = np.abs(stations - site.chainage_m) <= half[site.key] + _HAIR_M
            clear[beside] = np.minimum(clear[beside], site.clear_m)
    return stations, clear


def _footway_m(side: StreetSide) -> float:
    """How much of a side has a footway, metres."""
    steps = np.diff(side.chainage)
    return float(steps[side.open[:-1] & side.open[1:]].sum())


def _runs(
    stations: Floats, marked: "np.ndarray[tuple[int], np.dtype[np.bool_]]"
) -> list[tuple[float, float]]:
    at = np.flatnonzero(marked)
    runs = np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)
    return [(float(stations[run[0]]), float(stations[run[-1]])) for run in runs if len(run)]
