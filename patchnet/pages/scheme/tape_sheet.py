"""The tape-measure sheet: places to go to, a box for every figure; the same page is a form."""

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from patchnet.core.cells import harmless
from patchnet.core.language_forms import capital_first
from patchnet.core.texts import N_, Words, _
from patchnet.knowledge.country_rules import rules_in
from patchnet.knowledge.records import Knowledge
from patchnet.pages.files.formats import RIGHTS_HOLDER
from patchnet.pages.kit.escape import json_inside_script
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.page import script_of, sheet
from patchnet.pages.kit.plan_parts import draw_circle, draw_words
from patchnet.pages.kit.templates import Markup, together
from patchnet.pages.kit.to_scale import SCALES, SheetSize
from patchnet.pages.scheme.drawing import chainage_marks, cut_street, ground_layers
from patchnet.pages.scheme.pack import centimetres
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.street.findings import things_to_look_for
from patchnet.street.measured import COLUMNS
from patchnet.street.site import Street
from patchnet.street.to_measure import ToMeasure

__all__ = ["TAPE_FILES", "tape_files", "tape_sheet", "tape_table"]

TAPE_FILES = ("measure.html", "measure.csv")
"""The sheet, and the same as a table for a spreadsheet."""
_STRIP = SheetSize("A4", 180.0, 62.0)
_MOST_STRIPS = 3
_POINTS = (N_("east"), N_("north"), N_("west"), N_("south"))
_OF_STREET = "speed"  # asked once, not at every place
_SCRIPTS = ("scheme/script/tape.js",)


@dataclass(frozen=True, slots=True)
class _Box:
    """One box to fill in: its column, what is measured, in what, how, and an example."""

    column: str
    name: str
    unit: str
    how: str
    words: bool = False


_NAMES: Words[str, str] = Words({
    "footway_m": N_("Kerb to the first thing behind"),
    "road_m": N_("Kerb to kerb across the road"),
    "girth_cm": N_("Round the stem of the tree"),
    "side_road_m": N_("Along the kerb to the nearest side road"),
    "speed": N_("Speed limit on the signs"),
    "things": N_("What else is here, and how far from the box"),
})  # fmt: skip
_HOW: Words[str, str] = Words({
    "footway_m": N_("Straight across, where the footway is narrowest beside the box or 1.5 m "
                    "before or after it: to the wall, hedge, post or step that comes first."),
    "road_m": N_("Pace it from the footway, or measure it when no car is coming, two of you."),
    "girth_cm": N_("1.5 m above the ground."),
    "side_road_m": N_("From the end of the box; write none if there is none in sight."),
    "speed": N_("With its unit: 20 mph, 30 km/h."),
    "things": N_("All within 3 m, one after the other: gully 0.8; door 2.1. Nothing: write none."),
})  # fmt: skip
_UNITS: Words[str, str] = Words({"footway_m": N_("m"), "road_m": N_("m"), "girth_cm": N_("cm"),
                                 "side_road_m": N_("m"), "speed": "", "things": ""})  # fmt: skip


def tape_files(
    places: Sequence[ToMeasure],
    street: Street,
    hood: Neighbourhood,
    *,
    knowledge: Knowledge,
    why: str = "",
) -> dict[str, str | bytes]:
    """Return the sheet and its table by the names of their files.

    Parameters
    ----------
    places, street, hood, knowledge, why
        As for `tape_sheet`.
    """
    made = (
        tape_sheet(places, street, hood, knowledge=knowledge, why=why),
        tape_table(places, street, hood),
    )
    return dict(zip(TAPE_FILES, made, strict=True))


def tape_sheet(
    places: Sequence[ToMeasure],
    street: Street,
    hood: Neighbourhood,
    *,
    knowledge: Knowledge,
    why: str = "",
) -> str:
    """Return the sheet as one page: printed it is paper to write on, on a phone a form.

    Parameters
    ----------
    places
        From `patchnet.street.to_measure.places_to_measure`.
    street
        The street they are on.
    hood
        Its neighbourhood, for the plan and for how a place is called.
    knowledge
        For the widths that decide.
    why
        Why there is no scheme yet, and the ways out; empty: there is one.
    """
    knowledge = rules_in(knowledge, hood.country)
    title = _("Tape-measure sheet: {street}").format(street=street.name)
    cards = [
        {
            "number": number,
            "key": one.site.key,
            "where": _where(one, street, hood),
            "boxes": [_box(column) for column in one.asked if column != _OF_STREET],
            "stands": _stands(one),
            "decides": _decides(one, knowledge),
            "spare": ", ".join(one.spare),
        }
        for number, one in enumerate(places, 1)
    ]
    return sheet(
        "scheme/tape_sheet.html",
        title=title,
        style=asset("kit/paper.css") + asset("scheme/tape_sheet.css"),
        scripts=[script_of(_SCRIPTS)],
        payload=json_inside_script(_payload(places, street)),
        heading=title,
        street=street.name,
        why=why,
        cards=cards,
        of_street=[_box(_OF_STREET)] if any(_OF_STREET in one.asked for one in places) else [],
        start=_("The street is counted from its {compass} end.").format(
            compass=_compass(street, 0.0, -1.0)
        ),
        plans=_plans(places, street, hood),
        things=things_to_look_for(knowledge),
        credits=" ".join(hood.credits),
    )


def tape_table(places: Sequence[ToMeasure], street: Street, hood: Neighbourhood) -> bytes:
    """Return the sheet as a CSV to fill in: a row for each place, x's where a figure is wanted.

    Parameters
    ----------
    places, street, hood
        As for `tape_sheet`.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    rights = [RIGHTS_HOLDER] if hood.credits else []
    writer.writerow([*COLUMNS, "where", "wanted", *rights])
    for one in places:
        cells = dict.fromkeys(COLUMNS, "")
        cells |= {name: str(value) for name, value in _known(one).items()}
        wanted = " ".join(one.asked)
        writer.writerow([harmless(each) for each in cells.values()]
                        + [harmless(_where(one, street, hood)), wanted]
                        + ["; ".join(hood.credits) for _ in rights])  # fmt: skip
    return out.getvalue().encode("utf-8-sig")


def _known(one: ToMeasure) -> dict[str, object]:
    """Cells of a place that are filled in beforehand."""
    centre = one.site.centre
    return {"place": one.site.key, "x": round(centre.x, 2), "y": round(centre.y, 2)}


def _payload(places: Sequence[ToMeasure], street: Street) -> dict[str, object]:
    return {
        "columns": COLUMNS,
        "street": street.name,
        "places": [_known(one) for one in places],
        "words": {
            "kept": _("What you fill in is kept on this device until you save it."),
            "not_kept": _("This device keeps nothing: save before you close the page."),
            "saved": _("Saved as {name}. Send it to whoever makes the plan."),
        },
        "plots": [],
    }


def _box(column: str) -> _Box:
    return _Box(column, _NAMES[column], _UNITS[column], _HOW[column], words=column == "things")


def _where(one: ToMeasure, street: Street, hood: Neighbourhood) -> str:
    """Say where a place is so that it is found on foot."""
    site = one.site
    sign = 1.0 if site.side == "left" else -1.0
    said = _("{compass} side ({side}), {chainage:.0f} m from the start").format(
        compass=_compass(street, sign, 0.0, at=site.chainage_m),
        side=_(site.side), chainage=site.chainage_m,
    )  # fmt: skip
    if hood.audience != "public" and len(hood.plots):
        apart = hood.plots.geometry.distance(site.centre)
        plot = hood.plots.loc[apart.idxmin()]
        called = str(plot["label"]).strip() or str(plot.name)
        said = _("{said}, nearest to {called}").format(said=said, called=called)
    elif street.length_m > 0:
        share = site.chainage_m / street.length_m
        said = _("{said} ({share:.0%} of the way)").format(said=said, share=share)
    return said


def _stands(one: ToMeasure) -> str:
    size, site = one.site.size, one.site
    return _(
        "The box would be {length:g} m long and {width:g} m deep, {offset} m from the kerb."
    ).format(length=size.length_m, width=size.width_m, offset=centimetres(site.offset_m))


def _compass(street: Street, aside: float, ahead: float, *, at: float = 0.0) -> str:
    """Name the point of the compass that lies to the left or right, or ahead, at a chainage."""
    (start, stop) = shapely.get_coordinates(
        shapely.line_interpolate_point(street.line, [at - 1.0 if at > 1.0 else 0.0, at + 1.0])
    )
    if ahead:
        start, stop = shapely.get_coordinates(street.line)[[0, -1]]
    east, north = stop - start
    way = np.array([ahead * east - aside * north, ahead * north + aside * east])
    quarter = round(math.degrees(math.atan2(way[1], way[0])) / 90) % 4
    return _(_POINTS[quarter])


def _decides(one: ToMeasure, knowledge: Knowledge) -> str:
    """Say from which width on this box fits, and from which the council is asked."""
    if one.footway_m is None:
        return ""
    fits, ask = (knowledge.street_rule(key) for key in ("clear_width_fits_m", "clear_width_ask_m"))
    return _(
        "{size} fits from {fits} m on; from {ask} m the council is asked. Write what there is in "
        "any case: a smaller box may do."
    ).format(
        size=capital_first(_(one.site.size.name)),
        fits=centimetres(one.footway_m),
        ask=centimetres(one.footway_m - (fits - ask)),
    )


def _plans(places: Sequence[ToMeasure], street: Street, hood: Neighbourhood) -> list[Markup]:
    """Return strips of the street with the places numbered, those without one left out."""
    scale = next(
        (one for one in SCALES if one >= SCALES[3]
         and len(cut_street(street, one, _STRIP)) <= _MOST_STRIPS),
        SCALES[-1],
    )  # fmt: skip
    drawn = []
    for stretch in cut_street(street, scale, _STRIP):
        here = [
            (number, one)
            for number, one in enumerate(places, 1)
            if stretch.has(one.site.chainage_m)
        ]
        if not here:
            continue
        paper = stretch.paper
        parts = [*ground_layers(paper, hood, street, sight=False), chainage_marks(stretch, street)]
        for number, one in here:
            parts.append(paper.path(one.site.polygon, css="proposed"))
            x, y = paper.place(shapely.Point(one.site.centre))
            parts.append(draw_circle("disc", x, y, 3.0))
            parts.append(draw_words("disc-number", x, y + 1.1, number))
        title = _("{street} from {start:.0f} to {stop:.0f} m, 1 to {scale:,}").format(
            street=street.name, start=stretch.start_m, stop=stretch.stop_m, scale=scale
        )
        drawn.append(paper.svg(together(parts) + paper.bar_and_north(longest_mm=40), title=title))
    return drawn
