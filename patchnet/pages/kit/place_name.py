"""What pages call a neighbourhood, and the numbers of its houses."""

import re

import numpy as np
import pandas as pd
import shapely

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["house_numbers", "place_name"]

_NUMBER = re.compile(r"\d+\w?(?=\b|_)")


def place_name(neighbourhood: Neighbourhood) -> str:
    """Name a neighbourhood by the streets with most plots, or its longest; never by its file.

    Parameters
    ----------
    neighbourhood
        With the street of each plot.

    Examples
    --------
    >>> import patchnet
    >>> place_name(patchnet.read_demo())
    'Wickthorn Street and Mallowby Road'
    """
    streets = neighbourhood.plots["street"].astype(str)
    counts = streets[streets.str.strip() != ""].value_counts()
    roads = neighbourhood.roads
    if neighbourhood.audience == "public" and len(roads):
        # Units of many households have names of their own: the map's roads say where it is.
        named = roads[roads["name"].astype(str).str.strip() != ""]
        counts = named.geometry.length.groupby(named["name"].astype(str)).sum()
    # The first in the alphabet of those with as many plots, so that order changes nothing.
    names = counts.sort_index().sort_values(ascending=False, kind="stable").index
    if not len(names):
        return _("Our neighbourhood")
    if len(names) == 1:
        return str(names[0])
    return _("{one} and {other}").format(one=names[0], other=names[1])


def house_numbers(
    neighbourhood: Neighbourhood, knowledge: Knowledge
) -> list[tuple[str, float, float]]:
    """List the numbers that stand on houses: words, east and north.

    A house has the number of each home's plot at its wall, from what its door or its label says.
    Where no building is near, the plot itself carries it.

    Parameters
    ----------
    neighbourhood
        With plots and buildings.
    knowledge
        For which kinds of plot are homes, and how near a wall belongs to a plot.
    """
    plots = neighbourhood.plots
    said = [_number(plots.loc[ident]) for ident in plots.index]
    homes = [knowledge.plot_is(str(kind), "home") for kind in plots["kind"]]
    rows = [
        at for at, (number, home) in enumerate(zip(said, homes, strict=True)) if number and home
    ]
    if not rows:
        return []
    shapes = plots.geometry.to_numpy()[rows]
    buildings = [
        one for one in neighbourhood.buildings.geometry if one is not None and not one.is_empty
    ]
    found: dict[tuple[str, int], list[str]] = {}
    if buildings:
        tree = shapely.STRtree(buildings)
        near_m = knowledge.setting("wall_near_m")
        for at, number in enumerate(said[row] for row in rows):
            close = tree.query(shapely.buffer(shapes[at], near_m), predicate="intersects")
            if len(close):
                walls = shapely.length(
                    shapely.intersection(
                        shapely.boundary(tree.geometries[close]), shapely.buffer(shapes[at], near_m)
                    )
                )
                found.setdefault(("house", int(close[int(np.argmax(walls))])), []).append(number)
            else:
                found.setdefault(("plot", at), []).append(number)
    else:
        found = {("plot", at): [said[row]] for at, row in enumerate(rows)}
    written = []
    for (what, at), numbers in found.items():
        shape = buildings[at] if what == "house" else shapes[at]
        east, north = shapely.get_coordinates(shapely.point_on_surface(shape))[0]
        written.append((_together(numbers), float(east), float(north)))
    return written


def _number(plot: pd.Series) -> str:
    door = str(plot.get("door", "")).strip()
    if door:
        return door
    found = _NUMBER.match(str(plot["label"]).strip())
    return found[0] if found else ""


def _together(numbers: list[str]) -> str:
    """``12``; or ``12, 14``; or the first and last of more."""
    each = sorted(set(numbers), key=lambda one: (len(one), one))
    if len(each) <= 2:
        return ", ".join(each)
    return f"{each[0]}\N{EN DASH}{each[-1]}"
