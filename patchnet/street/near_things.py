"""How far a box is from the things in a street, and how that is said."""

import shapely

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.street.box_place import Place
from patchnet.street.findings import metres, source_of
from patchnet.street.objects import strip
from patchnet.street.site import Basis, Finding, Street, StreetObject, Verdict

__all__ = ["near_findings", "thing_finding"]

_CENTIMETRES = 2


def near_findings(street: Street, place: Place, *, knowledge: Knowledge) -> list[Finding]:
    """Return what the nearest thing of each kind asks, where one is near.

    Parameters
    ----------
    street, place
        The box in its street.
    knowledge
        For how far each kind is to be kept clear of.
    """
    near = knowledge.street_rule("near_object_m")
    nearest: dict[str, tuple[float, StreetObject]] = {}
    for thing in street.objects:
        if thing.kind.test == "kerb":
            continue
        apart = _apart(street, place, thing)
        if apart is not None and (
            thing.kind.key not in nearest or apart < nearest[thing.kind.key][0]
        ):
            nearest[thing.kind.key] = (apart, thing)
    found = []
    for key, (apart, thing) in nearest.items():
        if apart > max(knowledge.street_rule(f"clear_{key}_m"), near):
            continue
        called = thing.name or _("the {kind_name}").format(kind_name=thing.kind.name)
        basis: Basis = "from the map" if thing.known_size else "assumed"
        where = _where(thing, called, apart)
        found.append(thing_finding(thing.kind.key, apart, where, basis, knowledge=knowledge))
    return found


def thing_finding(
    key: str, apart: float, where: str, basis: Basis, *, knowledge: Knowledge
) -> Finding:
    """Return what a thing of a kind asks of a box so far from it.

    Parameters
    ----------
    key
        Kind of thing.
    apart
        Metres from it.
    where
        The same in words.
    basis
        Where the distance comes from.
    knowledge
        For the limit and the verdict.
    """
    kind = knowledge.street_kinds[key]
    rule = f"clear_{key}_m"
    limit = knowledge.street_rule(rule)
    # Where nothing is asked but that it does not stand in the way, 0 m is too near.
    close = apart < limit or apart == 0
    words = _("{where}; {limit} is asked.").format(where=where, limit=metres(limit))
    if close and kind.verdict == "ask":
        words += _(" Ask the people it belongs to.")
    verdict: Verdict = kind.verdict if close else "fits"
    return Finding(key, verdict, apart, limit, "m", basis, words, source_of(rule, knowledge))


def _where(thing: StreetObject, called: str, apart: float) -> str:
    way = thing.kind.test == "way"
    if apart == 0:
        return _("It would stand {words} {of}").format(
            words=_("in the way") if way else _("on or against"), of=_of(called, way=way)
        )
    return _("{apart} from {words}{of}").format(
        apart=metres(apart), words=_("the way ") if way else "", of=_of(called, way=way)
    )


def _of(called: str, *, way: bool) -> str:
    return _("from {called} to the kerb").format(called=called) if way else called


def _apart(street: Street, place: Place, thing: StreetObject) -> float | None:
    """Return how far the box is from what a thing keeps free; None where it is not concerned."""
    if thing.kind.test == "around":
        taken = thing.shape
    elif place.side not in thing.sides:
        return None
    elif thing.kind.test == "way":
        middle = thing.shape.centroid
        kerb = street.line.interpolate(street.line.project(middle))
        half = (thing.span[1] - thing.span[0]) / 2
        taken = shapely.LineString([middle, kerb]).buffer(half, cap_style="flat")
    else:
        side = street.side(place.side)
        # As deep as the box reaches: farther back nothing of it could be in the way.
        depth = place.offset_m + place.size.width_m + place.size.spread_m
        taken = strip(street.line, side, thing.span, depth)
    if taken.is_empty:
        return None
    return round(float(place.box.distance(taken)), _CENTIMETRES)
