"""The plans of a scheme: where it is, and where each planter stands, at true scale."""

import math

import shapely
import shapely.affinity

from patchnet.core.language_forms import number
from patchnet.core.texts import _
from patchnet.pages.kit.plan_parts import draw_circle
from patchnet.pages.kit.templates import Markup, drawn_by, together
from patchnet.pages.kit.to_scale import A4, Paper, SheetSize
from patchnet.pages.scheme.drawing import (
    Stretch,
    chainage_marks,
    cut_street,
    ground_layers,
    label,
    match_lines,
    stretch_of,
)
from patchnet.pages.scheme.existing import object_marks
from patchnet.pages.scheme.pack import BASIS_MARKS, SchemePack, centimetres
from patchnet.pages.scheme.plan_sheets import Sheet
from patchnet.scheme.planter_scheme import PlacedPlanter
from patchnet.street import Site, Street

__all__ = [
    "location_sheet",
    "overview_sheet",
    "planter_shapes",
    "proposal_scale",
    "proposal_sheets",
]

_LOCATION_SCALES = (500, 1250, 2500, 5000, 10000)
_FINE, _PLAIN = 100, 200
_FINE_SHEETS = 3  # sheets at 1:100 at most; longer streets are drawn at 1:200
_OVERVIEW_SCALES = (200, 250, 500, 1000, 1250, 2500)
_BESIDE_M = 8.0  # of street shown beyond the outermost planters
_ROWS = 2  # lines of words on which planters that stand close together take turns
_LINE_MM = 3.2
_AROUND_M = 60.0  # of neighbourhood shown round the street
_LETTER_MM = 1.8  # of paper for a letter of a street name, about
_key = drawn_by("scheme/plan_sheets.html", "proposal_key")


def location_sheet(pack: SchemePack) -> Sheet:
    """The street in its neighbourhood, north up."""
    hood, street, size = pack.scheme.neighbourhood, pack.scheme.street, pack.paper
    west, south, east, north = shapely.bounds(street.line.buffer(_AROUND_M)).tolist()
    need = 1000 * max((east - west) / size.wide_mm, (north - south) / size.high_mm)
    scale = next((one for one in _LOCATION_SCALES if one >= need), math.ceil(need / 5000) * 5000)
    paper = Paper(((west + east) / 2, (south + north) / 2), scale, size.wide_mm, size.high_mm)
    window = paper.window()
    named: dict[str, shapely.Polygon] = {}
    parts = ground_layers(paper, hood, street, sight=False)
    roads = hood.roads.iloc[hood.roads.sindex.query(window)]
    for name, shape in sorted(
        zip(roads["name"].astype(str), roads.geometry, strict=True), key=lambda pair: pair[0]
    ):
        parts.append(paper.path(shape, css="road-line"))
        seen = shapely.intersection(shape, window)
        if name and name != street.name and not seen.is_empty:
            x, y = paper.place(seen.representative_point())
            wide = _LETTER_MM * len(name)
            here = shapely.box(x - wide / 2, y - _LETTER_MM, x + wide / 2, y + _LETTER_MM)
            if name not in named and not any(here.intersects(one) for one in named.values()):
                named[name] = here
                parts.append(label(paper, seen.representative_point(), name, css="street-name"))
    parts.append(paper.path(street.line, css="chosen-road", label=street.name))
    for planter in pack.scheme.planters:
        x, y = paper.place(planter.site.centre)
        parts.append(draw_circle("dot", x, y, 1.1))
    for words, point in (
        (_("start, 0 m"), 0.0),
        (_("end, {length_m:.0f} m").format(length_m=street.length_m), 1.0),
    ):
        where = street.line.interpolate(point, normalized=True)
        parts.append(label(paper, where, words, css="halo end", dy=-1.6))
    middle = street.line.interpolate(0.5, normalized=True)
    parts.append(label(paper, middle, street.name, css="halo street-name", dy=5.0))
    ends = [street.line.interpolate(share, normalized=True) for share in (0.0, 1.0)]
    where = "; ".join(f"{number(one.x, '.1f')} E {number(one.y, '.1f')} N" for one in ends)
    key = _(
        "Heavy line: the street of the scheme, from {where}. Dots: planters. North is up."
    ).format(where=where)
    return Sheet(_("Location plan"), paper, together(parts), key)


def proposal_scale(street: Street, size: SheetSize = A4) -> int:
    """1:100 for short streets, else 1:200: the scales that planting is drawn at."""
    return _FINE if len(cut_street(street, _FINE, size)) <= _FINE_SHEETS else _PLAIN


def overview_sheet(pack: SchemePack) -> Sheet:
    """All planters on one sheet, at the finest usual scale at which they fit on it."""
    scheme, street = pack.scheme, pack.scheme.street
    along = [one.site.chainage_m for one in scheme.planters]
    start = max(min(along) - _BESIDE_M, 0.0)
    stop = min(max(along) + _BESIDE_M, street.length_m)
    need = 1000 * (stop - start) / pack.paper.used_mm
    scale = next((one for one in _OVERVIEW_SCALES if one >= need), math.ceil(need / 500) * 500)
    stretch = stretch_of(street, start, stop, scale, pack.paper)
    order = sorted(scheme.planters, key=lambda one: (one.site.side, one.site.chainage_m))
    drawn = together(
        [
            *ground_layers(stretch.paper, scheme.neighbourhood, street),
            chainage_marks(stretch, street),
            object_marks(stretch, street),
            *(
                planter_shapes(stretch, one, row=at % _ROWS if scale > _PLAIN else 0)
                for at, one in enumerate(order)
            ),
        ]
    )
    return Sheet(_("The proposal"), stretch.paper, drawn, _key())


def proposal_sheets(pack: SchemePack, *, first: int) -> list[Sheet]:
    """One sheet for each stretch that has planters; `first` is the number of the first sheet."""
    scheme = pack.scheme
    stretches = cut_street(scheme.street, proposal_scale(scheme.street, pack.paper), pack.paper)
    used = [
        at
        for at, stretch in enumerate(stretches)
        if any(stretch.has(one.site.chainage_m) for one in scheme.planters)
    ]
    number = {at: first + place for place, at in enumerate(used)}
    sheets = []
    for at in used:
        stretch = stretches[at]
        before, after = (
            _("drawing {number}").format(number=number[other]) if other in number else ""
            for other in (at - 1, at + 1)
        )
        drawn = together(
            [
                *ground_layers(stretch.paper, scheme.neighbourhood, scheme.street),
                chainage_marks(stretch, scheme.street),
                match_lines(stretch, scheme.street, before=before, after=after),
                object_marks(stretch, scheme.street),
                *(planter_shapes(stretch, one) for one in _drawn_on(stretch, pack)),
            ]
        )
        name = _("Proposal plan, {start_m:.0f} to {stop_m:.0f} m").format(
            start_m=stretch.start_m, stop_m=stretch.stop_m
        )
        sheets.append(Sheet(name, stretch.paper, drawn, _key()))
    return sheets


def _drawn_on(stretch: Stretch, pack: SchemePack) -> list[PlacedPlanter]:
    """Planters to draw: also those of the next sheet where the two overlap."""
    window = stretch.paper.window()
    return [one for one in pack.scheme.planters if window.intersects(one.site.polygon)]


def planter_shapes(stretch: Stretch, planter: PlacedPlanter, *, row: int = 0) -> Markup:
    """A planter with its plants, its number on the road side and the width left on the other.

    Parameters
    ----------
    stretch
        Of the street, on its paper.
    planter
        What is drawn.
    row
        By so many lines words stand farther out, where planters are close together on the paper.
    """
    paper, site = stretch.paper, planter.site
    grown = shapely.buffer(site.polygon, site.size.spread_m, join_style="mitre", cap_style="square")
    east, north = _outward(site)
    half = site.size.width_m / 2

    def out(metres: float) -> shapely.Point:
        return shapely.Point(site.centre.x + east * metres, site.centre.y + north * metres)

    parts = [
        paper.path(grown, css="spread"),
        paper.path(site.polygon, css=f"proposed {site.verdict}", label=planter.plot),
    ]
    edge = half + site.size.spread_m
    mark = "?"
    if site.clear_m is not None:
        line = shapely.LineString([out(edge), out(edge + site.clear_m)])
        parts.append(paper.path(line, css="dimension"))
        tick = 0.9 * paper.scale / 1000
        for end in (edge, edge + site.clear_m):
            foot = out(end)
            ends = [(foot.x - s * north * tick, foot.y + s * east * tick) for s in (1, -1)]
            parts.append(paper.path(shapely.LineString(ends), css="dimension"))
        mark = f"{centimetres(site.clear_m)} {BASIS_MARKS[site.clear_basis]}"
    line_m = paper.scale / 1000 * (4.2 + row * _LINE_MM)
    behind = edge + (site.clear_m or 0.0) + line_m
    if not paper.window().buffer(-2.0 * paper.scale / 1000).covers(out(behind)):
        # So wide that its end is off the sheet: the figure stands by the box.
        behind = edge + line_m
    parts.append(label(paper, out(behind), mark, css="halo clear-width"))
    front = -(half + site.offset_m + (2.4 + row * _LINE_MM) * paper.scale / 1000)
    parts.append(label(paper, out(front), planter.plot, css="halo planter-name"))
    return together(parts)


def _outward(site: Site) -> tuple[float, float]:
    """Unit vector from the road to the back of the footway."""
    bearing = math.radians(site.bearing_deg)
    east, north = math.sin(bearing), math.cos(bearing)
    return (-north, east) if site.side == "left" else (north, -east)
