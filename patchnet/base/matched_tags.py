"""Tags of OpenStreetMap matched to the open table of what they stand for."""

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache

import numpy as np

from patchnet.core.numbers import parse_number
from patchnet.knowledge.records import Knowledge, OsmTag

__all__ = ["ROAD_SIDES", "match_tags", "metres_of", "speed_of", "walked_sides"]

_KM_PER_MILE = 1.609344  # by the definition of the international mile
_UNIT = re.compile(r"\s*(?:m|metres?|meters?)$")
_SPEED = re.compile(r"(\d+(?:\.\d+)?)\s*(mph|km/h|kmh|kph)?")
ROAD_SIDES = ("left", "right")


@lru_cache(maxsize=64)
def _rows(knowledge: Knowledge, role: str, drawn: str) -> dict[str, tuple[OsmTag, ...]]:
    """Rows of one role and way of drawing, by the key of their first tag, in their order."""
    found: dict[str, list[OsmTag]] = {}
    for tag in knowledge.osm_tags:
        if tag.role == role and drawn in tag.drawn:
            found.setdefault(tag.tags[0][0], []).append(tag)
    return {key: tuple(rows) for key, rows in found.items()}


def match_tags(
    tags: Mapping[str, str], role: str, drawn: str, knowledge: Knowledge
) -> OsmTag | None:
    """Return the first row of the table that fits, or None.

    Parameters
    ----------
    tags
        Tags of one thing.
    role
        feature, barrier, plot, building or road.
    drawn
        point, line or area.
    knowledge
        For the table.
    """
    rows = _rows(knowledge, role, drawn)
    fits: Iterable[OsmTag] = (
        row
        for key in rows
        if key in tags
        for row in rows[key]
        if all(tags.get(k) == v or (v == "*" and k in tags) for k, v in row.tags)
    )
    return next(iter(fits), None)


def metres_of(text: str) -> float:
    """Return a length in metres; NaN where none is stated that can be read."""
    number = parse_number(_UNIT.sub("", text.strip().casefold()))
    return np.nan if number is None or not np.isfinite(number) else number


def speed_of(text: str) -> float:
    """Return a speed limit in km/h (``30``, ``20 mph``); NaN where there is none to read."""
    found = _SPEED.fullmatch(text.strip().casefold())
    if found is None:
        return np.nan
    return float(found[1]) * (_KM_PER_MILE if found[2] == "mph" else 1.0)


def walked_sides(tags: Mapping[str, str]) -> str:
    """Return which sides of a road have a footway: both, left, right, no, or empty: not said."""
    own = tags.get("sidewalk:both", "")
    if own in {"yes", "separate", "no"}:
        return "no" if own == "no" else "both"
    stated = {side: tags.get(f"sidewalk:{side}", "") for side in ROAD_SIDES}
    if any(stated.values()):
        there = [side for side in ROAD_SIDES if stated[side] in {"yes", "separate"}]
        return "both" if len(there) == 2 else there[0] if there else "no"
    word = tags.get("sidewalk", "")
    return {"both": "both", "yes": "both", "separate": "both", "left": "left", "right": "right",
            "no": "no", "none": "no"}.get(word, "")  # fmt: skip
