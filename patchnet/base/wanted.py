"""What of everything around was asked for: which streets, and which plots of the place."""

import re
from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.base.find_street import Found
from patchnet.base.gathered import Gathered
from patchnet.base.plot_rows import Piece
from patchnet.base.streets import Streets
from patchnet.core.crs_change import change_of
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.folding import folded
from patchnet.core.texts import _

__all__ = ["addressed_streets", "of_streets", "stands_in", "wanted_streets"]


def wanted_streets(
    names: Sequence[str], streets: Streets, spots: Sequence[Found], inputs: Gathered
) -> set[int] | None:
    """Return the positions of the streets that were asked for; None where all are wanted.

    Parameters
    ----------
    names
        As they were asked for.
    streets
        Those that there are.
    spots
        Where each was found in an extract: of several streets of the name, that one is meant.
    inputs
        For the coordinate system.

    Raises
    ------
    WrongUse
        If there is no such street, or several and it is not known which.
    """
    if not names:
        return None
    if spots:
        change = change_of("OGC:CRS84", inputs.crs).transform
        middles = [
            shapely.Point(change(*shapely.box(*one.box).centroid.coords[0])) for one in spots
        ]
        return {
            streets.nearest_called(folded(one.name), middle)
            for one, middle in zip(spots, middles, strict=True)
        }
    there = [at for at, named in enumerate(streets.named) if named]
    exact = {folded(streets.names[at]): at for at in there}
    found: set[int] = set()
    for name in names:
        wanted = folded(name)
        called = streets.called(wanted)
        # Houses far from the road of their name are meant only where it is said: Elm Road (2).
        called = [at for at in called if (streets.street == at).any()] or called
        first, *others = called or [-1]
        if others:
            told = [f"{streets.names[first]} (1)", *(streets.names[at] for at in others)]
            raise WrongUse(
                _("Several streets here are called {name!r}: {listed}. Say which.").format(
                    name=name, listed=", ".join(map(repr, told))
                )
            )
        bare = re.sub(r" *\(1\)$", "", name)
        if first < 0:
            first = exact.get(wanted, -1 if bare == name else exact.get(folded(bare), -1))
        if first < 0:
            hint = nearest_hint(name, [streets.names[at] for at in there])
            raise WrongUse(
                _("There is no street called {name!r} here.{hint}").format(name=name, hint=hint)
            )
        found.add(first)
    return found


def addressed_streets(buildings: gpd.GeoDataFrame) -> dict[str, NDArray[np.float64]]:
    """Streets that addresses name, with the places of their houses.

    Parameters
    ----------
    buildings
        With ``doors`` and outlines.

    Returns
    -------
    dict
        Name of a street -> shape (houses, 2): x and y of the middles of its houses, metres.
    """
    places: dict[str, list[tuple[float, float]]] = {}
    middles = shapely.get_coordinates(shapely.centroid(buildings.geometry.to_numpy()))
    for doors, (x, y) in zip(buildings["doors"], middles.tolist(), strict=True):
        for street in {door.street for door in doors if door.street and door.number}:
            places.setdefault(street, []).append((x, y))
    return {name: np.array(xy) for name, xy in places.items()}


def stands_in(piece: Piece, inputs: Gathered, wanted: set[int] | None) -> bool:
    """Whether a plot is asked for: its house stands in the place, else its middle lies there."""
    if wanted is not None and piece.unit.street not in wanted:
        return False
    if inputs.place is None:
        return True
    if piece.homes:
        shapes = inputs.buildings.geometry.iloc[list(piece.homes)]
        return bool(shapes.representative_point().intersects(inputs.place).any())
    return any(
        shapely.point_on_surface(shape).intersects(inputs.place)
        for shape in piece.unit.parts.values()
    )


def of_streets(names: pd.Series, wanted: set[int] | None, streets: Streets) -> pd.Series:
    """Whether each name is that of one of the streets that are wanted (None: all).

    Parameters
    ----------
    names
        Name of a street in each row.
    wanted
        Positions in `streets`; None: all.
    streets
        Roads by their street.

    Returns
    -------
    Series
        True or False, index of `names`.
    """
    if wanted is None:
        return names.notna()
    there = {streets.folded[at] for at in wanted}
    return names.map(folded).isin(there)
