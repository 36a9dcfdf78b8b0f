"""Houses that volunteers found missing on an earlier base, drawn so that they get their plots."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.base.addresses import Door
from patchnet.base.carried import BY_HAND
from patchnet.base.earlier import Earlier
from patchnet.base.gathered import Gathered, frame
from patchnet.core.fault_list import FaultList, Place
from patchnet.core.folding import folded
from patchnet.core.texts import N_, _
from patchnet.knowledge.records import Knowledge
from patchnet.read.doors import fold_number

__all__ = ["with_missing_houses"]

TOLD = "told by volunteers"
_LOOK = N_("Its outline is a guess: put it right in a GIS, or map it in OpenStreetMap.")


def with_missing_houses(
    inputs: Gathered,
    missing: gpd.GeoDataFrame,
    earlier: Earlier,
    knowledge: Knowledge,
    faults: FaultList,
) -> Gathered:
    """Return the inputs with a house at each spot where volunteers say that one stands.

    The house is a square (``base_missing_house_m``), and its door is of the street of the nearest
    plot of the earlier base. Where new data have a house there by now, that one is it: it gets the
    number if it has none. Whoever drew the plot by hand needs no house.

    Parameters
    ----------
    inputs
        Everything the base is made from.
    missing
        Houses of the survey's record, with ``door`` and a point.
    earlier
        The earlier base, for the plots that were drawn by hand.
    knowledge
        For ``base_missing_house_m``.
    faults
        List that faults are added to: every house that was put there, or could not be.
    """
    if not len(missing):
        return inputs
    by_hand = earlier.table[earlier.table["basis"].isin(("", BY_HAND))] if earlier.is_base else None
    side = knowledge.setting("base_missing_house_m")
    buildings = inputs.buildings
    told: list[tuple[Place, str]] = []
    found: set[tuple[str, str]] = set()
    for row, house in enumerate(missing.to_crs(inputs.crs).itertuples(index=False), 1):
        spot, number = house.geometry, str(house.door)
        if by_hand is not None and by_hand.intersects(spot).any():
            continue
        street = _street_by(earlier.table, spot)
        road, named = _road_by(inputs.roads, spot, street)
        street = street or named
        door = Door(street, number, basis=TOLD)
        shape = _square(spot, road, side)
        near = np.flatnonzero(buildings.intersects(shape).to_numpy())
        here = [at for at in near.tolist() if buildings.geometry.iloc[at].intersects(spot)]
        whole = buildings.geometry.iloc[near].union_all() if len(near) else shapely.Point()
        free = shapely.difference(shape, whole)
        if not here and free.area >= shape.area / 2:
            made = {
                "name": "", "height_m": np.nan, "use": "house", "sure": True, "row": False,
                "doors": (door,), "osm": "", "geometry": _with_spot(free, spot),
            }  # fmt: skip
            buildings = gpd.GeoDataFrame(
                pd.concat([buildings, frame("buildings", [made], inputs.crs)], ignore_index=True),
                crs=inputs.crs,
            )
            words = _("No. {door} was missing: a house was put where volunteers say it stands.")
        else:
            at = here[0] if here else int(near[np.argmin(buildings.iloc[near].distance(spot))])
            own = buildings["doors"].iloc[at]
            if any(fold_number(one.number) == fold_number(number) for one in own):
                continue
            if any(one.number for one in own):
                words = _("No. {door} was missing: there is a house of another number by now.")
            else:
                cells = buildings["doors"].to_numpy(dtype=object, copy=True)
                cells[at] = (door,)
                buildings = buildings.assign(doors=cells)
                words = _("No. {door} was missing: the house that is there by now got its number.")
        found.add((street, fold_number(number)))
        told.append(((row, number), words.format(door=number)))
    faults.warn_rows(
        earlier.where, told, together=_("{n} houses that volunteers found missing were drawn."),
        mend=_(_LOOK),
    )  # fmt: skip
    left = tuple(
        one for one in inputs.left if (one.door.street, fold_number(one.door.number)) not in found
    )
    return replace(inputs, buildings=buildings, left=left)


def _street_by(plots: gpd.GeoDataFrame, spot: shapely.Point) -> str:
    """The street of the nearest plot that has one: volunteers walked along it."""
    of_street = plots[plots["street"].astype(str).str.strip() != ""]
    if not len(of_street):
        return ""
    return str(of_street["street"].iloc[int(np.argmin(of_street.distance(spot)))]).strip()


def _road_by(
    roads: gpd.GeoDataFrame, spot: shapely.Point, street: str
) -> tuple[shapely.Geometry | None, str]:
    """The nearest road of a street, else the nearest that has a name, and its name."""
    names = roads["name"].astype(str).str.strip()
    of_street = names.map(folded) == folded(street)
    named = roads[of_street if street and of_street.any() else names != ""]
    if not len(named):
        return None, ""
    at = int(np.argmin(named.distance(spot)))
    return named.geometry.iloc[at], str(named["name"].iloc[at]).strip()


def _square(spot: shapely.Point, road: shapely.Geometry | None, side: float) -> shapely.Polygon:
    """A square round a spot, one side of it along the road."""
    way = np.array([1.0, 0.0])
    if road is not None:
        near = shapely.get_coordinates(shapely.shortest_line(spot, road))
        across: NDArray[np.float64] = near[1] - near[0]
        if (length := float(np.hypot(*across))) > 0:
            way = np.array([-across[1], across[0]]) / length
    other = np.array([-way[1], way[0]])
    middle = np.array([spot.x, spot.y])
    corners = [middle + side / 2 * (a * way + b * other) for a, b in
               ((-1, -1), (1, -1), (1, 1), (-1, 1))]  # fmt: skip
    return shapely.Polygon(corners)


def _with_spot(shape: shapely.Geometry, spot: shapely.Point) -> shapely.Geometry:
    """Of the parts that other houses left of a shape the one round the spot."""
    return min(shapely.get_parts(shape).tolist(), key=lambda part: part.distance(spot))
