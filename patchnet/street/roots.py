"""The roots of street trees: protected in a circle whose size follows from the stem."""

import math

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.street.box_place import Place
from patchnet.street.findings import finding, metres
from patchnet.street.site import RANK, Basis, Finding, Street, StreetObject

__all__ = ["root_findings", "root_radius_m"]

_CENTIMETRES = 2
_RULE = "root_stems"


def root_radius_m(stem_m: float, *, knowledge: Knowledge) -> float:
    """Return the radius of the circle round a stem in which roots are protected, metres.

    Parameters
    ----------
    stem_m
        Diameter of the stem 1.5 m above the ground, metres.
    knowledge
        For the factor and the largest circle (BS 5837).
    """
    most = knowledge.street_rule("root_most_m")
    return min(most, knowledge.street_rule(_RULE) * stem_m)


def root_findings(street: Street, place: Place, *, knowledge: Knowledge) -> list[Finding]:
    """Return what the roots of the trees near a box ask: the worst of them, or nothing.

    A box on paving cuts no root, so within the circle the tree officer is asked; where nobody
    said how thick a stem is, that is to be measured if it decides.

    Parameters
    ----------
    street, place
        The box in its street; a girth that was taped there is that of the nearest tree.
    knowledge
        For the circle.
    """
    trees = [thing for thing in street.objects if thing.kind.roots]
    apart = {id(tree): float(place.box.distance(tree.shape.centroid)) for tree in trees}
    most = knowledge.street_rule("root_most_m")
    near = sorted((tree for tree in trees if apart[id(tree)] < most), key=lambda t: apart[id(t)])
    found = []
    for at, tree in enumerate(near):
        girth = place.taped.girth_m if place.taped is not None and at == 0 else None
        one = _finding(tree, round(apart[id(tree)], _CENTIMETRES), girth, knowledge)
        if one is not None:
            found.append(one)
    return sorted(found, key=lambda one: -RANK[one.verdict])[:1]


def _finding(
    tree: StreetObject, apart: float, girth_m: float | None, knowledge: Knowledge
) -> Finding | None:
    basis: Basis
    called = tree.name or _("the {kind_name}").format(kind_name=tree.kind.name)
    if girth_m is not None:
        stem, basis = girth_m / math.pi, "measured"
    elif tree.width_m is not None:
        stem, basis = tree.width_m, "from the map"
    else:
        size = knowledge.street_rules[f"size_{tree.kind.key}_m"]
        least, most = (root_radius_m(each, knowledge=knowledge) for each in (size.low, size.high))
        if least <= apart < most:
            words = _(
                "{apart} from the middle of {called}, whose stem nobody measured: its roots reach "
                "{least} to {most}. Put a tape round the stem 1.5 m up."
            ).format(apart=metres(apart), called=called, least=metres(least), most=metres(most))
            return finding("roots", "measure", apart, most, "assumed", knowledge, _RULE, words)
        stem, basis = (size.low if apart < least else size.high), "assumed"
    radius = round(root_radius_m(stem, knowledge=knowledge), _CENTIMETRES)
    if apart >= radius:
        words = _("{apart} from the middle of {called}: clear of its roots ({radius}).").format(
            apart=metres(apart), called=called, radius=metres(radius)
        )
        return finding("roots", "fits", apart, radius, basis, knowledge, _RULE, words)
    words = _(
        "{apart} from the middle of {called}, over its roots ({radius}): only on paving, without "
        "digging or pins, and not on bare soil. Ask the tree officer."
    ).format(apart=metres(apart), called=called, radius=metres(radius))
    return finding("roots", "ask", apart, radius, basis, knowledge, _RULE, words)
