"""What the front of the report shows at a glance: the street drawn, and four large figures."""

import shapely

from patchnet.assess.comparison import GroupChange
from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import _
from patchnet.pages.kit.garden_drawing import GardenDrawing
from patchnet.pages.kit.templates import Markup
from patchnet.pages.kit.to_scale import Paper, fitting_paper
from patchnet.pages.public_table import nobodys
from patchnet.pages.public_view import plain_ground
from patchnet.pages.scheme.pack import SchemePack, centimetres
from patchnet.pages.terminal.compare_text import change_words, hardly
from patchnet.scheme.planter_scheme import Scheme

__all__ = ["figures_of", "front_drawing", "hardly_moves", "states_drawn"]

_TOLD = 0.05  # homes within reach: a change of less is not told by itself
_WIDE_MM, _HIGH_MM = 180, 62
_AROUND_M = 25.0  # drawn beyond the outermost planters
_CLOSE_M = 10.0  # the same, before and after


def front_drawing(pack: SchemePack) -> Markup:
    """Draw the street with its planters; private plots are plain ground, whoever it is for.

    Parameters
    ----------
    pack
        The scheme; empty where it has no planter.
    """
    scheme = pack.scheme
    if not scheme.planters:
        return Markup()
    boxes = [one.site.polygon for one in scheme.planters]
    around = shapely.buffer(shapely.union_all(boxes), _AROUND_M)
    paper = fitting_paper(
        around, wide_mm=_WIDE_MM, high_mm=_HIGH_MM, margin_mm=2, step=50, turn_deg=_turn(around)
    )
    return _drawn(pack, paper, _("The street with its planters"), boxes)


def states_drawn(pack: SchemePack) -> list[tuple[str, Markup]]:
    """Draw the street as it is and with its planters, the same piece of ground twice.

    Parameters
    ----------
    pack
        The scheme.
    """
    boxes = [one.site.polygon for one in pack.scheme.planters]
    around = shapely.buffer(shapely.union_all(boxes), _CLOSE_M)
    paper = fitting_paper(
        around, wide_mm=_WIDE_MM / 2, high_mm=_HIGH_MM * 0.7, margin_mm=2, step=50,
        turn_deg=_turn(around),
    )  # fmt: skip
    return [
        (words, _drawn(pack, paper, words, shown))
        for words, shown in ((_("Today"), []), (_("With the planters"), boxes))
    ]


def _turn(ground: shapely.Geometry) -> float:
    """A street that runs north is laid along the paper; others stay north up."""
    west, south, east, north = shapely.bounds(ground)
    return 90.0 if north - south > east - west else 0.0


def _drawn(
    pack: SchemePack, paper: Paper, title: str, boxes: list[shapely.Polygon]
) -> Markup:  # fmt: skip
    """A piece of the street without the scheme's planters as plots, and boxes in the one colour."""
    hood, know = pack.scheme.before.neighbourhood, pack.knowledge
    drawing = GardenDrawing(plain_ground(hood, ~nobodys(hood, know)), know, paper)
    for box in boxes:
        drawing.add(paper.path(box, css="planter-box"))
    return drawing.svg(title=title, to_scale=False)


def figures_of(pack: SchemePack) -> list[tuple[str, str]]:
    """Four figures and what each is: what is won, what it costs, the way left, the rules met.

    Parameters
    ----------
    pack
        The scheme.
    """
    scheme = pack.scheme
    widths = [one.site.clear_m for one in scheme.planters]
    known = [width for width in widths if width is not None]
    fits = sum(one.site.verdict == "fits" for one in scheme.planters)
    least = (centimetres(min(known)) + " m") if known else _("not known")
    way = _("walking width left beside the tightest planter")
    if len(known) < len(widths):
        way = _("least walking width left; some are still to be measured")
    return [
        _gain(scheme),
        (pack.money(pack.total), _("all in; prices are assumed until offers are in")),
        (least, way),
        (
            _("{some} of {all}").format(some=fits, all=len(widths)),
            _("places meet every street rule that was tested"),
        ),
    ]


def hardly_moves(change: GroupChange) -> bool:
    """Whether an animal's homes within reach change by too little to be told.

    Parameters
    ----------
    change
        Of the animal.
    """
    before, after = change.linked_before, change.linked_after
    return abs(after - before) < _TOLD or hardly(before, after)


def _gain(scheme: Scheme) -> tuple[str, str]:
    """Islands joined where any are, else the animal whose homes within reach rise most."""
    know = scheme.after.knowledge
    sure = [one for one in scheme.comparison.groups if one.sure is not False]
    joined = [one for one in sure if one.components_after < one.components_before]
    if joined:
        one = max(joined, key=lambda each: each.components_before - each.components_after)
        return (
            f"{one.components_before} \N{RIGHTWARDS ARROW} {one.components_after}",
            _("islands of the {animal}: joined up").format(
                animal=in_sentence(know.groups[one.group].name)
            ),
        )
    risen = [one for one in sure if one.linked_after > one.linked_before and not hardly_moves(one)]
    if not risen:
        return "0", _("animals for which a gain is sure")
    one = max(risen, key=lambda each: each.linked_after - each.linked_before)
    before, after, _won = change_words(one.linked_before, one.linked_after)
    return (
        f"{before} \N{RIGHTWARDS ARROW} {after}",
        _("homes that the {animal} can reach").format(
            animal=in_sentence(know.groups[one.group].name)
        ),
    )
