"""Why no place along a road can be used, and the way out."""

import math
from collections import Counter
from collections.abc import Collection, Sequence

from patchnet.core.texts import _
from patchnet.street.clear_width import CLEAR_WIDTH
from patchnet.street.closeness import how_far_off, refusing
from patchnet.street.findings import metres
from patchnet.street.site import Site

__all__ = ["closest_words", "nowhere"]


def nowhere(sites: Sequence[Site], verdicts: Collection[str], sides: str = "both") -> str:
    """Say why none of the places looked at can be used.

    Parameters
    ----------
    sites
        Every place looked at.
    verdicts
        Those that were asked for.
    sides
        ``left``, ``right`` or ``both``.
    """
    beside = [site for site in sites if sides in ("both", site.side)]
    if not beside:
        return _(
            "No place for a planter was found along this road: the map has no footway beside it "
            "that is as long as a box, or the road is shorter. Draw its footways in the layer "
            "footways, or choose a smaller box (--size)."
        )
    waiting = sum(site.verdict == "measure" for site in beside)
    asked = sum(site.verdict == "ask" for site in beside)
    wanted = _(" or ").join(f"'{verdict}'" for verdict in verdicts)
    said = _("Of {n_beside} places looked at none has the verdict {wanted}.").format(
        n_beside=len(beside), wanted=wanted
    )
    counts = Counter(
        rule
        for site in beside
        for rule in {each.rule for each in site.findings if each.verdict == "no"}
    )
    if counts:
        ordered = sorted(counts.items(), key=lambda each: (-each[1], each[0]))
        reasons = ", ".join(f"{_(rule.replace('_', ' '))} ({number})" for rule, number in ordered)
        said += " " + _("Rules that say no, and to how many places: {reasons}.").format(
            reasons=reasons
        )
    if waiting and "measure" not in verdicts:
        said += " " + _(
            "{waiting} wait for a tape: measure them, or leave out --only-fits."
        ).format(waiting=waiting)
    if asked and "ask" not in verdicts:
        said += " " + _("{asked} can be had if the authority says yes.").format(asked=asked)
    if not waiting and not asked:
        said += " " + _nearest(beside, sides)
    return said


def _nearest(refused: Sequence[Site], sides: str) -> str:
    """Say which box came closest, what it lacks, and what would let one stand there."""
    way = (
        _("Else choose another road, or your own authority's rules (--knowledge).")
        if sides == "both"
        else _(
            "Else try the other side (--side), another road, or your own authority's rules "
            "(--knowledge)."
        )
    )
    box = _("Ask for a narrower box with --size.") if _room_left(_closest(refused)) > 0 else ""
    return " ".join(filter(None, [closest_words(refused), box, way]))


def _closest(refused: Sequence[Site]) -> Site:
    return min(refused, key=lambda one: (how_far_off(one.findings), one.key))


def _room_left(site: Site) -> float:
    """How wide a box may be, metres, where it is the width of the way that refuses it; else 0."""
    reason = refusing(site.findings)[0]
    if reason.rule != CLEAR_WIDTH or reason.figure is None or not reason.limit:
        return 0.0
    return math.floor(100 * (site.size.width_m - reason.limit + reason.figure)) / 100


def closest_words(refused: Sequence[Site]) -> str:
    """Say of refused places which came closest, what it lacks, and what to measure there.

    Parameters
    ----------
    refused
        At least one.
    """
    closest = _closest(refused)
    reason = refusing(closest.findings)[0]
    said = [
        _("It came closest at {key}, with the {box}: {words}").format(
            key=closest.key, box=_(closest.size.name), words=reason.words
        )
    ]
    if reason.rule == CLEAR_WIDTH and reason.figure is not None and reason.limit:
        lack = reason.limit - reason.figure
        left = _room_left(closest)
        said.append(
            _("That is {lack} too little: a box there may be {width} wide at most.").format(
                lack=metres(math.ceil(100 * lack) / 100), width=metres(left)
            )
            if left > 0
            else _("That is {lack} too little, more than a box is wide: none fits there.").format(
                lack=metres(math.ceil(100 * lack) / 100)
            )
        )
        if reason.basis != "measured":
            said.append(
                _(
                    "The width of the footway is {basis}: measure it with a tape, and if it is "
                    "more, mend the layer footways (its outline, or width_m)."
                ).format(basis=_(reason.basis))
            )
    return " ".join(said)
