"""Stretches of streets that have a name of their own: the middle and the ends."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patchnet.core.texts import _
from patchnet.plan.street_houses import column_of
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.survey.release_units import SEVERAL, TOGETHER

__all__ = ["Stretch", "nearest_stretch", "stretches_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Plots along one street that lie together.

    Attributes
    ----------
    street
        Its name; empty where the plots tell none.
    part
        ``"middle"``, the end ``"north"``, ``"east"``, ``"south"`` or ``"west"``, or empty: all of
        the street.
    rows
        Positions of its plots, in the order of the file.
    """

    street: str
    part: str
    rows: NDArray[np.intp]


def stretches_of(neighbourhood: Neighbourhood, *, least: float) -> tuple[Stretch, ...]:
    """Cut each street into its middle and two ends, by thirds of its length.

    Parameters
    ----------
    neighbourhood
        The plots; column ``street`` counts. For the public each unit is a stretch.
    least
        Number of plots that a stretch has at least; a street with fewer in one of its thirds
        stays whole.

    Returns
    -------
    tuple
        Every plot is in one stretch; streets in the order of the file.

    Examples
    --------
    >>> import patchnet
    >>> stretches = stretches_of(patchnet.read_demo(), least=5)
    >>> [one.part for one in stretches if one.street == "Wickthorn Street"]
    ['west', 'middle', 'east']
    """
    plots = neighbourhood.plots
    if not len(plots):
        return ()
    if neighbourhood.audience == "public":
        return _units(neighbourhood)
    streets = column_of(neighbourhood, "street").str.strip().to_numpy(dtype=object)
    middles = plots.geometry.representative_point()
    points = np.column_stack([middles.x.to_numpy(), middles.y.to_numpy()])
    found: list[Stretch] = []
    for street in dict.fromkeys(streets.tolist()):
        rows = np.flatnonzero(streets == street)
        thirds = _thirds(points[rows]) if street else None
        if thirds is None or min(len(part) for _, part in thirds) < least:
            found.append(Stretch(street, "", rows))
        else:
            found += [Stretch(street, name, rows[part]) for name, part in thirds]
    return tuple(found)


def _units(neighbourhood: Neighbourhood) -> tuple[Stretch, ...]:
    """The units that the public is told of, each called what it is called there."""
    plots = neighbourhood.plots
    # Public land is told as it is, plot by plot: that is no street.
    units = (plots["kind"].astype(str) == TOGETHER).to_numpy()
    found = [Stretch("", "", np.flatnonzero(~units))] if (~units).any() else []
    for row in np.flatnonzero(units).tolist():
        name = str(plots["label"].iloc[row])
        street = "" if name.startswith(_(SEVERAL)) else name
        found.append(Stretch(street, "", np.array([row], dtype=np.intp)))
    return tuple(found)


def nearest_stretch(stretches: Sequence[Stretch], row: int) -> Stretch:
    """Return the stretch that a plot is in.

    Parameters
    ----------
    stretches
        Of all plots.
    row
        Position of the plot.
    """
    return next(one for one in stretches if row in one.rows)


def _thirds(points: Array) -> list[tuple[str, NDArray[np.intp]]] | None:
    """Thirds by length along the way in which the points lie; None where they lie on one spot."""
    away = points - points.mean(axis=0)
    _, sizes, ways = np.linalg.svd(away, full_matrices=False)
    if len(points) < len(ways) + 1 or sizes[0] <= 0:
        return None
    way = ways[0]
    # Told from west to east, or from south to north, whichever way the street runs.
    if way[int(abs(way[1]) > abs(way[0]))] < 0:
        way = -way
    along = away @ way
    at = (along - along.min()) / (along.max() - along.min())
    first, last = ("south", "north") if abs(way[1]) > abs(way[0]) else ("west", "east")
    third = np.minimum((at * 3).astype(int), 2)
    return [(name, np.flatnonzero(third == k)) for k, name in enumerate((first, "middle", last))]
