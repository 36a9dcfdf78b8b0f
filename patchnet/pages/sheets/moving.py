"""What the card's script needs to move things about: shapes round the middle of the paper."""

from typing import Any

import numpy as np
import shapely

from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.numbers import MONTH_NAMES
from patchnet.pages.kit.placing_words import HAND_WORDS, placed_sentence
from patchnet.pages.kit.to_scale import Paper
from patchnet.plan.placed import ByHand, Placed, Places

__all__ = ["movable", "moving_payload"]

_CELLS = 600  # of the page's own grid of sun, about
_SPOT_M = 0.15  # half the side of the mark of something that hangs on a wall


def movable(places: Places | None) -> list[Placed]:
    """The things that can be moved on the card: those that have a place.

    Parameters
    ----------
    places
        Of the plan, or None.
    """
    if places is None or places.by_hand is None:
        return []
    return [one for one in places.placed if one.geometry is not None]


def moving_payload(
    places: Places, outline: shapely.Geometry, paper: Paper, knowledge: Knowledge
) -> dict[str, object]:
    """What the script reads: metres east and north of the middle of the paper, to the centimetre.

    Parameters
    ----------
    places
        Of the plan, with what is needed to move things by hand.
    outline
        The plot.
    paper
        On which the plan is drawn.
    knowledge
        For the names of things.
    """
    by_hand = places.by_hand
    if by_hand is None:
        return {}
    kept = [one.geometry for one in places.kept if one.geometry is not None]
    return {
        "scale": paper.scale,
        "wide": paper.wide_mm,
        "high": paper.high_mm,
        "plot": _rings(outline, paper),
        "houses": [ring for one in by_hand.buildings for ring in _rings(one, paper)],
        "house": [] if by_hand.house is None else _rings(by_hand.house, paper),
        "way": _rings(places.way, paper),
        "kept": [ring for one in kept if one != places.way for ring in _rings(one, paper)],
        "month": MONTH_NAMES[by_hand.month - 1],
        "sun": _sun(by_hand, paper),
        "things": [_thing(one, by_hand, paper, knowledge) for one in movable(places)],
        "words": dict(HAND_WORDS),
    }


def _thing(one: Placed, by_hand: ByHand, paper: Paper, knowledge: Knowledge) -> dict[str, object]:
    shape = one.geometry
    if shape is None:
        return {}
    middle = shape.centroid
    walls = by_hand.walls.get(one.thing)
    if shapely.get_dimensions(shape) == 2:
        ring = shapely.get_coordinates(shape.exterior)[:-1]
    elif shapely.get_dimensions(shape) == 1:
        ring = shapely.get_coordinates(shape)
    else:
        ring = shapely.get_coordinates(shapely.box(*np.array(shape.buffer(_SPOT_M).bounds)))[:-1]
    return {
        "name": knowledge.features[one.thing].name.split(" (")[0],
        "spot": _round(np.array([[middle.x, middle.y]]) - paper.centre)[0],
        "shape": _round(ring - [middle.x, middle.y]),
        "where": placed_sentence(one, knowledge, every=False),
        "walls": None
        if walls is None
        else [
            {"spot": _round(np.array([[x, y]]) - paper.centre)[0], "hours": hours, "name": name}
            for x, y, hours, name in walls
        ],
    }


def _rings(shape: shapely.Geometry, paper: Paper) -> list[Any]:
    """Outer rings of the areas of a shape."""
    return [
        _round(shapely.get_coordinates(part.exterior)[:-1] - paper.centre)
        for part in shapely.get_parts(shape)
        if isinstance(part, shapely.Polygon)
    ]


def _round(points: Any) -> Any:  # noqa: ANN401 - an array of points, as nested lists
    return np.round(points, 2).tolist()


def _sun(by_hand: ByHand, paper: Paper) -> dict[str, object] | None:
    """Hours of sun on a grid that lies level on the paper; -1 off the plot."""
    if by_hand.hours is None:
        return None
    cells = by_hand.cells - np.asarray(paper.centre)
    west, south = cells.min(axis=0)
    east, north = cells.max(axis=0)
    step = max(by_hand.cell_m, float(np.sqrt((east - west) * (north - south) / _CELLS)), 0.5)
    x = np.arange(west, east + step / 2, step)
    y = np.arange(north, south - step / 2, -step)
    spots = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    tree = shapely.STRtree(shapely.points(cells))
    nearest = tree.nearest(shapely.points(spots))
    away = np.hypot(*(cells[nearest] - spots).T)
    hours = np.where(away <= step, np.round(by_hand.hours[nearest], 1), -1.0)
    return {
        "west": round(float(x[0]), 2),
        "north": round(float(y[0]), 2),
        "step": round(step, 3),
        "wide": len(x),
        "hours": hours.tolist(),
    }
