"""Why no place along a road can be used, and the way out."""

from collections import Counter
from collections.abc import Collection, Sequence

from patchnet.core.texts import _
from patchnet.street.site import Site

__all__ = ["nowhere"]


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
        said += " " + _(
            "Try the other side, another road, a smaller box (--size), or your own authority's "
            "rules (--knowledge)."
        )
    return said
