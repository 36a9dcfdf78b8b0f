"""The typical section across the footway: kerb, offset, box, walking width, back."""

import math

from patchnet.core.language_forms import number
from patchnet.core.texts import _
from patchnet.pages.kit.plan_parts import draw_line, draw_rect, draw_words
from patchnet.pages.kit.templates import Markup, drawn_by, render, together
from patchnet.pages.kit.to_scale import Paper
from patchnet.pages.scheme.pack import SchemePack, centimetres
from patchnet.scheme.planter_scheme import PlacedPlanter
from patchnet.street.clear_width import CLEAR_WIDTH
from patchnet.street.site import SIDES, Site

__all__ = ["section_html", "sections_of"]

_SCALES = (20, 25, 50, 100)
_WIDE, _HALF = 176.0, 86.0  # mm: one section, or two beside each other
_ROAD_M, _BEHIND_M = 0.5, 0.3  # of carriageway and of ground behind the footway
_HEADROOM_M = 1.6  # of air drawn above the footway
_UNKNOWN_M = 2.0  # of walking width drawn, broken, where nobody knows it
_FOOT_MM = 30.0  # mm below the footway: bed and dimensions
_LEFT_MM, _BED_MM, _STONE_MM, _WALL_MM = 2.0, 3.5, 4.0, 0.8  # mm of paper, for the eye only
_bar_scale = drawn_by("scheme/section.svg", "bar_scale")
_GROWN = 0.75  # metres of bow over the box that stand for the plants


def sections_of(pack: SchemePack) -> tuple[PlacedPlanter, ...]:
    """The planter with least walking width on each side; one not known where none is."""
    chosen = []
    for side in SIDES:
        own = [one for one in pack.scheme.planters if one.site.side == side]
        if own:
            chosen.append(min(own, key=_tightness))
    return tuple(chosen)


def _tightness(planter: PlacedPlanter) -> tuple[float, float]:
    clear = planter.site.clear_m
    return (math.inf if clear is None else clear, planter.site.chainage_m)


def section_html(pack: SchemePack) -> Markup:
    """A section for each side, through the planter that leaves least to walk in."""
    through = sections_of(pack)
    return render(
        "scheme/section.html",
        sections=[
            _section(one, pack, wide=_WIDE if len(through) == 1 else _HALF) for one in through
        ],
    )


def _section(planter: PlacedPlanter, pack: SchemePack, *, wide: float) -> dict[str, object]:
    site, size = planter.site, planter.site.size
    clear = _UNKNOWN_M if site.clear_m is None else site.clear_m
    least = site.offset_m + size.width_m + size.spread_m + clear
    footway = max(site.footway_m or 0.0, least)
    total = _ROAD_M + footway + _BEHIND_M
    scale = next((one for one in _SCALES if total * 1000 / one <= wide), _SCALES[-1])
    mm = 1000 / scale
    high = _HEADROOM_M * mm + _FOOT_MM
    paper = Paper((0.0, 0.0), scale, round(total * mm + 4, 2), round(high, 2))
    drawn = _drawing(planter, pack, clear, footway, mm)
    bar = paper.bar_m(40)
    scale_bar = _bar_scale(bar * mm, f"{number(bar, 'g')} m")
    title = _("Section through {plot}, 1 to {scale}").format(plot=planter.plot, scale=scale)
    unknown = (
        _(" The walking width is not known and is drawn broken: measure it.")
        if site.clear_m is None
        else ""
    )
    kerb = pack.scheme.street.side(site.side).kerb_basis
    upstand = pack.knowledge.scheme_figure("kerb_upstand_m") * 1000
    basis = (
        _("Walking width {basis}: {words}").format(
            basis=_(site.clear_basis), words=_clear_words(site)
        )
        if site.clear_m is not None
        else _("Not measured")
    )
    return {
        "title": title,
        "drawn": paper.svg(drawn + scale_bar, title=title),
        "plot": planter.plot,
        "chainage": number(site.chainage_m, ".1f"),
        "side": _(site.side),
        "scale": scale,
        "basis": basis,
        "kerb": _(kerb),
        "upstand": number(upstand, "g"),
        "unknown": unknown,
    }


def _clear_words(site: Site) -> str:
    """What the width to walk in lies between."""
    said = (one.words for one in site.findings if one.rule == CLEAR_WIDTH)
    return next(said, "").rstrip(".")


def _drawing(
    planter: PlacedPlanter, pack: SchemePack, clear: float, footway: float, mm: float
) -> Markup:
    site, size, know = planter.site, planter.site.size, pack.knowledge
    kerb = _LEFT_MM + _ROAD_M * mm
    ground = _HEADROOM_M * mm
    low = ground + know.scheme_figure("kerb_upstand_m") * mm
    box = kerb + site.offset_m * mm
    wide, tall = size.width_m * mm, size.height_m * mm
    back = kerb + footway * mm
    soil = size.soil_depth_m * mm
    drain = min(know.scheme_figure("drainage_m") * mm, tall - soil)
    band = min(know.scheme_figure("contrast_band_m") * mm, tall)
    spread = size.spread_m * mm
    rim, paved = ground - tall, back - kerb - _STONE_MM
    broken = " unknown" if site.clear_m is None else ""
    grown = f"M{box - spread:.2f} {rim:.2f}q{spread + wide / 2:.2f} {-_GROWN * mm:.2f}"
    first, second = low + _BED_MM + 6, low + _BED_MM + 14
    walk = box + wide + spread
    walk_words = (
        _("{clear} m to walk in").format(clear=centimetres(clear))
        if site.clear_m is not None
        else _("measure this")
    )
    upright = box - spread - 2
    feet = f"M{upright - 1:.2f} {ground:.2f}h2M{upright - 1:.2f} {rim:.2f}h2"
    parts = [
        _rect("carriageway", _LEFT_MM, low, kerb - _LEFT_MM, _BED_MM),
        _rect("kerb-stone", kerb, ground, _STONE_MM, low - ground + _BED_MM),
        _rect("footway", kerb + _STONE_MM, ground, paved, _BED_MM),
        draw_line(f"back-edge{broken}", f"M{back:.2f} {ground + _BED_MM:.2f}V{rim:.2f}"),
        draw_line("plants", f"{grown} {2 * spread + wide:.2f} 0Z"),
        _rect("box-side", box, rim, wide, tall),
        _rect("soil", box + _WALL_MM, ground - drain - soil, wide - 2 * _WALL_MM, soil),
        _rect("drainage", box + _WALL_MM, ground - drain, wide - 2 * _WALL_MM, drain),
        _rect("band", box, rim, wide, band),
        _dimension(kerb, box, first, number(site.offset_m, ".2f"), ground),
        _dimension(box, box + wide, first, number(size.width_m, ".2f"), ground),
        _dimension(walk, walk + clear * mm, first, walk_words, ground),
        _words(_LEFT_MM, low - 1, _("road")),
        _words(back + _BEHIND_M * mm, rim - 1.5, _("back of footway"), anchor="end"),
        draw_line("dimension", f"M{upright:.2f} {ground:.2f}V{rim:.2f}{feet}"),
        _words(upright - 1.2, ground - tall / 2, number(size.height_m, ".2f"), anchor="end"),
    ]
    if site.footway_m is not None:
        parts.append(
            _dimension(
                kerb,
                back,
                second,
                _("footway {footway_m:.2f} m").format(footway_m=site.footway_m),
                ground,
            )
        )
    return together(parts)


def _rect(css: str, x: float, y: float, wide: float, high: float) -> Markup:
    return draw_rect(css, x, y, max(wide, 0), max(high, 0))


def _words(x: float, y: float, words: str, *, anchor: str = "start") -> Markup:
    return draw_words("halo", x, y, words, anchor=anchor)


def _dimension(start: float, stop: float, y: float, words: str, ground: float) -> Markup:
    """A dimension line with ticks at both ends and its figure above."""
    ends = f"M{start:.2f} {y - 1:.2f}v2M{stop:.2f} {y - 1:.2f}v2"
    leads = f"M{start:.2f} {ground:.2f}V{y:.2f}M{stop:.2f} {ground:.2f}V{y:.2f}"
    return together(
        (
            draw_line("lead", leads),
            draw_line("dimension", f"M{start:.2f} {y:.2f}H{stop:.2f}{ends}"),
            _words((start + stop) / 2, y - 1.2, words, anchor="middle"),
        )
    )
