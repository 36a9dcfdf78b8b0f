"""What somebody found on the spot near a box, held against the same limits as the map."""

import math

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.stopping_sight import stopping_sight_m
from patchnet.street.box_place import Place
from patchnet.street.findings import finding, metres
from patchnet.street.near_things import thing_finding
from patchnet.street.site import Finding, Street

__all__ = ["side_road_finding", "taped_findings"]

_ALONG = {"driveway": "driveway_x_m", "crossing": "crossing_wait_m"}


def taped_findings(street: Street, place: Place, *, knowledge: Knowledge) -> list[Finding]:
    """Return what the things found on the spot ask; that there are none fits.

    Parameters
    ----------
    street, place
        The box in its street; `place.taped.things` is what was found.
    knowledge
        For the limits.
    """
    taped = place.taped
    if taped is None or taped.things is None:
        return []
    if not taped.things:
        words = _("Somebody looked on the spot: nothing else is near.")
        return [Finding("street_objects", "fits", None, None, "", "measured", words, "")]
    found = []
    for key, apart in taped.things:
        kind = knowledge.street_kinds[key]
        if kind.test in ("kerb", "looked"):
            continue
        where = _("{apart} from the {kind_name}, found on the spot").format(
            apart=metres(apart), kind_name=kind.name
        )
        found.append(thing_finding(key, apart, where, "measured", knowledge=knowledge))
        if kind.test in _ALONG:
            rule = f"sight_{kind.test}"
            found.append(_seen(street, place, rule, apart, kind.name, knowledge))
    return found


def side_road_finding(street: Street, place: Place, *, knowledge: Knowledge) -> Finding:
    """Return whether a box stands clear of the nearest side road, whose distance was taped.

    Parameters
    ----------
    street, place
        The box in its street.
    knowledge
        For the sight distance.
    """
    taped = place.taped
    apart = math.inf if taped is None or taped.side_road_m is None else taped.side_road_m
    if math.isinf(apart):
        words = _("Somebody looked on the spot: no side road is in sight.")
        return finding(
            "sight_junction", "fits", None, None, "measured", knowledge, "junction_x_m", words
        )
    return _seen(street, place, "sight_junction", apart, _("side road"), knowledge)


def _seen(
    street: Street, place: Place, rule: str, apart: float, called: str, knowledge: Knowledge
) -> Finding:
    """Hold a distance along the kerb against the sight triangle of what is there.

    The triangle runs from the eye, so far behind the kerb, to the kerb one stopping distance
    away; at the depth of the plants it is that much shorter.
    """
    sight = knowledge.sight_rules[rule]
    back = knowledge.street_rule(sight.set_back)
    depth = place.offset_m - place.size.spread_m
    reach = stopping_sight_m(street.speed_mph, knowledge=knowledge)
    limit = round(max(0.0, reach * (1 - depth / back)), 2)
    if apart >= limit:
        words = _("{apart} along the kerb from the {called}: clear of what must be seen.").format(
            apart=metres(apart), called=called
        )
        return finding(rule, "fits", apart, limit, "measured", knowledge, sight.set_back, words)
    words = _(
        "{apart} along the kerb from the {called}: {watcher} must see {limit} past the plants."
    ).format(apart=metres(apart), called=called, watcher=sight.watcher, limit=metres(limit))
    return finding(rule, sight.verdict, apart, limit, "measured", knowledge, sight.set_back, words)
