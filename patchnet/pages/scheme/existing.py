"""The street as it is: footway widths bay by bay, and the things that stand in it."""

import math
from dataclasses import dataclass

import numpy as np

from patchnet.core.language_forms import number
from patchnet.core.texts import _, counted
from patchnet.pages.kit.plan_parts import draw_line
from patchnet.pages.kit.table import table
from patchnet.pages.kit.templates import Markup, drawn_by, render, together
from patchnet.pages.scheme.drawing import (
    Stretch,
    across,
    chainage_marks,
    cut_street,
    ground_layers,
    label,
    match_lines,
)
from patchnet.pages.scheme.pack import BASIS_MARKS, SchemePack, centimetres, width_words
from patchnet.pages.scheme.plan_sheets import Sheet
from patchnet.street import Street, StreetObject, StreetSide
from patchnet.street.site import SIDES, Basis

__all__ = ["Bay", "bays_of", "existing_html", "existing_sheets", "numbered_objects", "object_marks"]

_SCALE, _FINER = 500, 250
_ring = drawn_by("scheme/street.svg", "ring")
_key = drawn_by("scheme/plan_sheets.html", "existing_key")


@dataclass(frozen=True, slots=True)
class Bay:
    """A length of kerb and its narrowest footway; `width_m` None: nobody knows, or none there.

    `there` is False where the map has footways on this side but none here.
    """

    side: str
    start_m: float
    stop_m: float
    width_m: float | None
    basis: Basis
    there: bool

    @property
    def words(self) -> str:
        """The width in words."""
        return width_words(self.width_m, self.basis) if self.there else _("no footway on the map")


def bays_of(street: Street, bay_m: float) -> tuple[Bay, ...]:
    """Cut both sides into bays and take the narrowest width of each.

    Parameters
    ----------
    street
        Its two sides.
    bay_m
        Length of a bay, metres; the last may be shorter.
    """
    return tuple(
        _bay(street.side(side), start, min(start + bay_m, street.length_m))
        for side in SIDES
        for start in np.arange(0, street.length_m - 1e-6, bay_m).tolist()
    )


def _bay(side: StreetSide, start: float, stop: float) -> Bay:
    here = (side.chainage >= start - 1e-9) & (side.chainage < stop - 1e-9)
    known = here & ~np.isnan(side.footway)
    if not known.any():
        return Bay(side.side, start, stop, None, "assumed", bool(np.isnan(side.footway).all()))
    at = np.flatnonzero(known)[int(np.argmin(side.footway[known]))]
    basis: Basis = "measured" if side.measured[at] else "from the map"
    return Bay(side.side, start, stop, float(side.footway[at]), basis, there=True)


def numbered_objects(street: Street) -> tuple[StreetObject, ...]:
    """Things in the street by chainage, in the order of their numbers from 1."""
    return tuple(
        sorted(street.objects, key=lambda one: (*one.span, one.kind.key, one.name, one.sides))
    )


def object_marks(stretch: Stretch, street: Street) -> Markup:
    """Things in the street with their numbers in rings."""
    paper = stretch.paper
    parts = []
    for at, one in enumerate(numbered_objects(street), 1):
        drawn = paper.path(one.shape, css="thing", label=one.kind.name)
        if not drawn:
            continue
        x, y = paper.place(one.shape.representative_point())
        parts.append(drawn)
        if 0 <= x <= paper.wide_mm and 0 <= y <= paper.high_mm:
            parts.append(_ring(x, y, at))
    return together(parts)


def existing_sheets(pack: SchemePack, *, first: int) -> list[Sheet]:
    """The street as it is, with the narrowest footway width of every bay."""
    street = pack.scheme.street
    short = street.length_m * 1000 / _FINER <= pack.paper.wide_mm
    stretches = cut_street(street, _FINER if short else _SCALE, pack.paper)
    bays = bays_of(street, pack.knowledge.scheme_figure("bay_m"))
    sheets = []
    for at, stretch in enumerate(stretches):
        before = _("drawing {first}").format(first=first + at - 1) if at else ""
        after = _("drawing {first}").format(first=first + at + 1) if at + 1 < len(stretches) else ""
        drawn = together(
            [
                *ground_layers(stretch.paper, pack.scheme.neighbourhood, street),
                chainage_marks(stretch, street),
                match_lines(stretch, street, before=before, after=after),
                object_marks(stretch, street),
                *(_bay_mark(stretch, street, bay) for bay in bays),
            ]
        )
        name = _("Existing street, {start_m:.0f} to {stop_m:.0f} m").format(
            start_m=stretch.start_m, stop_m=stretch.stop_m
        )
        sheets.append(Sheet(name, stretch.paper, drawn, _key()))
    return sheets


def _bay_mark(stretch: Stretch, street: Street, bay: Bay) -> Markup:
    middle = (bay.start_m + bay.stop_m) / 2
    if not stretch.has(middle):
        return Markup()
    side = street.left if bay.side == "left" else street.right
    sign = 1 if bay.side == "left" else -1
    paper_m = stretch.paper.scale / 1000
    widest = _edge(side, bay)
    at = sign * (widest + 4.5 * paper_m)
    mark = "\N{EN DASH}"
    if bay.there:
        mark = (
            "?" if bay.width_m is None else f"{centimetres(bay.width_m)} {BASIS_MARKS[bay.basis]}"
        )
    parts = [label(stretch.paper, across(street, middle, at), mark, css="halo bay-width")]
    for end in (bay.start_m, bay.stop_m):
        foot = across(street, end, sign * (widest + 0.8 * paper_m))
        tip = across(street, end, sign * (widest + 3.2 * paper_m))
        one, two = stretch.paper.place(foot), stretch.paper.place(tip)
        parts.append(draw_line("bay-end", f"M{one[0]:.2f} {one[1]:.2f}L{two[0]:.2f} {two[1]:.2f}"))
    return together(parts)


def _edge(side: StreetSide, bay: Bay) -> float:
    """How far from the road line the footway ends in a bay, as a rule (side alleys are passed)."""
    here = (side.chainage >= bay.start_m) & (side.chainage <= bay.stop_m)
    for edge in (side.back[here], side.back, side.kerb):
        if not np.isnan(edge).all():
            return float(np.nanmedian(edge))
    return 0.0


def existing_html(pack: SchemePack) -> Markup:
    """Tables of the bays and of the things in the street."""
    street = pack.scheme.street
    bays = bays_of(street, pack.knowledge.scheme_figure("bay_m"))
    count = math.ceil(len(bays) / 2)
    unknown = sum(bay.there and bay.width_m is None for bay in bays)
    return render(
        "scheme/existing.html",
        unknown=counted(unknown, "bay") if unknown else "",
        bays=table(
            _("Footway widths"),
            (_("Chainage"), _("Left"), _("Right")),
            [
                (
                    _("{start_m:g} to {stop_m:.0f} m").format(
                        start_m=left.start_m, stop_m=left.stop_m
                    ),
                    left.words,
                    right.words,
                )
                for left, right in zip(bays, bays[count:], strict=False)
            ],
        ),
        things=_objects(street),
        things_known=street.objects_known,
    )


def _objects(street: Street) -> Markup:
    rows = [
        (
            number,
            f"{one.kind.name} ({one.name})" if one.name else one.kind.name,
            _span(one),
            _(" and ").join(map(_, one.sides)) or _("in the road"),
            _("from the map") if one.known_size else _("place from the map, size assumed"),
        )
        for number, one in enumerate(numbered_objects(street), 1)
    ]
    if not rows:
        return Markup()
    return table(
        _("Things in the street"), (_("No."), _("What"), _("Chainage"), _("Side"), _("Basis")), rows
    )


def _span(one: StreetObject) -> str:
    start, stop = one.span
    return (
        f"{number(start, '.1f')} m"
        if stop - start < 1
        else _("{start:.1f} to {stop:.1f} m").format(start=start, stop=stop)
    )
