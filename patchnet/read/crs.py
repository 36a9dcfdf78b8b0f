"""Coordinate systems: one in metres for everything, with the usual mix-ups reported.

The plots' own system is kept if it is projected, in metres, and true to length on the spot;
otherwise the UTM zone of the plots is taken. Everything is projected once, here.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import geopandas as gpd
import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from pyproj.exceptions import CRSError, ProjError

from patchnet.core.crs_change import change_of
from patchnet.core.errors import WrongUse
from patchnet.core.fault_list import FaultList
from patchnet.core.texts import N_, _
from patchnet.knowledge.records import Knowledge
from patchnet.read.axes import look_swapped
from patchnet.read.layers import SourceLayer

__all__ = ["Projected", "check_crs", "metres_for", "parse_crs", "to_metres", "two_dimensional"]

_WEB_MERCATOR = (3857, 3785, 900913, 102100, 102113)
_LON, _LAT = 180.0, 90.0
_UTM = (-80.0, 84.0)  # latitudes that have zones (NGA.STND.0037, section 7)
_BUILT = ("plots", "buildings")  # layers in which most corners are square
_SAY = N_("Say which it is: crs= in Python, --crs on the command line (such as --crs EPSG:27700).")


@dataclass(frozen=True, eq=False)
class Projected:
    """Layers in one projected CRS in metres, the same rows in the same order.

    Attributes
    ----------
    geometry
        Layer -> array of geometries, shape (rows,); None where a row has none.
    crs
        The CRS of all of them.
    source_crs
        Name of the CRS that the plots came in.
    """

    geometry: Mapping[str, NDArray[np.object_]]
    crs: pyproj.CRS
    source_crs: str


def parse_crs(crs: str | pyproj.CRS | None) -> pyproj.CRS | None:
    """Return a CRS from the user's words.

    Raises
    ------
    WrongUse
        If there is no such CRS.
    """
    if crs is None:
        return None
    try:
        return pyproj.CRS.from_user_input(crs)
    except CRSError as error:
        raise WrongUse(
            _("There is no coordinate system {crs!r}: write a code such as EPSG:27700.").format(
                crs=str(crs)[:60]
            )
        ) from error


def check_crs(
    layers: Mapping[str, SourceLayer],
    said: pyproj.CRS | None,
    knowledge: Knowledge,
    faults: FaultList,
) -> dict[str, pyproj.CRS]:
    """Return the CRS of each layer, with the usual mix-ups as faults.

    Parameters
    ----------
    layers
        Layers with geometry, by name; ``plots`` among them.
    said
        The CRS the user named, for layers that name none.
    knowledge
        For what counts as a square corner.
    faults
        List that faults are added to; a layer whose CRS cannot be right is left out of what
        is returned.
    """
    found: dict[str, pyproj.CRS] = {}
    for name, layer in layers.items():
        bounds = _bounds(layer.table.geometry.to_numpy())
        own = layer.table.crs
        # A GeoJSON is in degrees without saying so: the user's word counts if it cannot be.
        in_doubt = not _usable(own) or (not layer.says_crs and _beyond_degrees(bounds))
        crs = (said or own) if in_doubt else own
        if not in_doubt and said is not None and not own.equals(said) and name == "plots":
            faults.warn(
                layer.where,
                _("The file says its coordinate system is {crs}; {said} was not used.").format(
                    crs=crs_name(crs), said=crs_name(said)
                ),
                _("If the file is wrong, mend it there."),
            )
        if not _usable(crs):
            faults.error(
                layer.where, _("The file does not say in which coordinate system it is."), _(_SAY)
            )
            continue
        flat = two_dimensional(crs)
        if bounds is None or _plausible(layer.where, flat, bounds, layer.says_crs, faults):
            found[name] = flat
            if name in _BUILT and flat.is_geographic:
                _askew(layer, knowledge, faults)
    _swapped_against_others(layers, found, faults)
    return found


def _askew(layer: SourceLayer, knowledge: Knowledge, faults: FaultList) -> None:
    if look_swapped(layer.table.geometry.to_numpy(), knowledge):
        faults.error(
            layer.where,
            _(
                "What was built square comes out askew, and square only with latitude and "
                "longitude exchanged: they are likely swapped."
            ),
            _("Export it again with longitude (x) first, latitude (y) second."),
        )


def to_metres(
    layers: Mapping[str, SourceLayer],
    crs: Mapping[str, pyproj.CRS],
    knowledge: Knowledge,
    faults: FaultList,
    *,
    metres: pyproj.CRS | None = None,
) -> Projected:
    """Project every layer that has a CRS to one in metres, chosen by the plots.

    Parameters
    ----------
    layers, crs
        Layers and what `check_crs` returned; ``plots`` must be in both.
    knowledge
        For ``crs_scale_error`` and ``neighbourhood_extent_max_m``.
    faults
        List that faults are added to.
    metres
        The one to take; None: chosen.
    """
    bounds = _bounds(layers["plots"].table.geometry.to_numpy())
    target = metres or metres_for(bounds, crs["plots"], knowledge)
    geometry = {}
    for name, own in crs.items():
        shapes = shapely.force_2d(layers[name].table.geometry.to_numpy())
        geometry[name] = shapes if own.equals(target) else _project(shapes, own, target)
        if not own.equals(crs["plots"]):
            faults.warn(
                layers[name].where,
                _(
                    "This layer is in {own}, the plots are in {plots}; it was projected to fit."
                ).format(own=crs_name(own), plots=crs_name(crs["plots"])),
                _("Make sure that it lies where it should."),
            )
    _check_extent(layers, geometry, knowledge, faults)
    return Projected(geometry, target, crs_name(crs["plots"]))


def _usable(crs: pyproj.CRS | None) -> bool:
    """Whether there is a CRS that says where on Earth it is (a drawing's own grid does not)."""
    return crs is not None and (crs.is_geographic or crs.is_projected)


def crs_name(crs: pyproj.CRS) -> str:
    """Return the code of a CRS, or its name where it has none."""
    authority = crs.to_authority(min_confidence=70)
    return ":".join(authority) if authority else str(crs.name)


def two_dimensional(crs: pyproj.CRS) -> pyproj.CRS:
    """Return a CRS without its heights.

    Parameters
    ----------
    crs
        Any.
    """
    parts = crs.sub_crs_list
    return (parts[0] if crs.is_compound and parts else crs).to_2d()


def _bounds(shapes: NDArray[np.object_]) -> tuple[float, float, float, float] | None:
    """Return west, south, east, north of all finite coordinates, or None if there are none."""
    xy = shapely.get_coordinates(shapes)
    xy = xy[np.isfinite(xy).all(axis=1)]
    if not len(xy):
        return None
    west, south = xy.min(axis=0)
    east, north = xy.max(axis=0)
    return float(west), float(south), float(east), float(north)


def _beyond_degrees(bounds: tuple[float, float, float, float] | None) -> bool:
    if bounds is None:
        return False
    west, south, east, north = bounds
    return max(abs(west), abs(east)) > _LON or max(abs(south), abs(north)) > _LAT


def _plausible(
    where: str,
    crs: pyproj.CRS,
    bounds: tuple[float, float, float, float],
    says_crs: bool,  # noqa: FBT001 - passed on from the layer
    faults: FaultList,
) -> bool:
    """Tell degrees from metres and x from y; False (with an error) if they are mixed up."""
    west, south, east, north = bounds
    if crs.is_geographic:
        if not _beyond_degrees(bounds):
            return _inside_area_of_use(where, crs, bounds, faults)
        swapped = (south, west, north, east)
        if not _beyond_degrees(swapped):
            faults.error(
                where,
                _("The latitudes reach {largest:g}: latitude and longitude are swapped.").format(
                    largest=_largest(south, north)
                ),
                _("Export it again with longitude (x) first, latitude (y) second."),
            )
            return False
        kind = (
            _("The file says it is in degrees")
            if says_crs
            else _("A GeoJSON is in degrees (RFC 7946)")
        )
        faults.error(
            where,
            _("{kind}, but the coordinates reach {told}: they are likely metres.").format(
                kind=kind, told=_told(_largest(*bounds))
            ),
            _(
                "Export it again in WGS 84 (EPSG:4326), or say what it is in: crs= in Python, "
                "--crs on the command line."
            )
            if not says_crs
            else _("Set the layer's coordinate system to what it was drawn in."),
        )
        return False
    if not _beyond_degrees(bounds) and east - west <= 1 and north - south <= 1:
        # A whole street less than a metre across: these are degrees under a wrong name.
        faults.error(
            where,
            _(
                "The file says it is in metres ({crs}), but all of it lies within one metre: the "
                "coordinates are likely degrees."
            ).format(crs=crs_name(crs)),
            _(
                "Set the layer's coordinate system to WGS 84 (EPSG:4326) if they are longitude and "
                "latitude."
            ),
        )
        return False
    return _inside_area_of_use(where, crs, bounds, faults)


def _on_earth(crs: pyproj.CRS, bounds: tuple[float, float, float, float]) -> bool:
    """Whether the middle of bounds, at least, is a place that has a zone."""
    x, y = bounds[0] / 2 + bounds[2] / 2, bounds[1] / 2 + bounds[3] / 2
    try:
        lon, lat = change_of(crs, "OGC:CRS84").transform(x, y)
    except ProjError:
        return False
    return bool(np.isfinite(lon) and _UTM[0] <= lat <= _UTM[1])


def _say_nowhere(
    where: str,
    crs: pyproj.CRS,
    bounds: tuple[float, float, float, float],
    faults: FaultList,
) -> None:
    faults.error(
        where,
        _(
            "The coordinates reach {told} in {crs}: no place on Earth lies there that has a grid "
            "in metres."
        ).format(told=_told(_largest(*bounds)), crs=crs_name(crs)),
        _("Look whether a coordinate was mistyped, or the coordinate system is another one."),
    )


def _told(number: float) -> str:
    """Write a coordinate, however many digits it has."""
    return f"{number:.0f}" if abs(number) < 1e9 else f"{number:.2g}"


def _largest(*values: float) -> float:
    return max(values, key=abs)


def _inside_area_of_use(
    where: str, crs: pyproj.CRS, bounds: tuple[float, float, float, float], faults: FaultList
) -> bool:
    """Look whether the middle lies where the CRS is for; an error if it does so when swapped."""
    if not _on_earth(crs, bounds):
        _say_nowhere(where, crs, bounds, faults)
        return False
    x, y = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2
    area = crs.area_of_use
    if area is None or _in_area(crs, area.bounds, x, y):
        return True
    place = area.name.rstrip(".")[:80]
    if _in_area(crs, area.bounds, y, x):
        faults.error(
            where,
            _(
                "The coordinates lie outside {place}, where {crs} is used, but inside it with x "
                "and y swapped."
            ).format(place=place, crs=crs_name(crs)),
            _("Export it again with easting (or longitude) first, northing (or latitude) second."),
        )
        return False
    faults.warn(
        where,
        _("The coordinates lie outside {place}, where {crs} is used.").format(
            place=place, crs=crs_name(crs)
        ),
        _("Make sure that the coordinate system is the right one."),
    )
    return True


def _in_area(crs: pyproj.CRS, area: tuple[float, float, float, float], x: float, y: float) -> bool:
    lon, lat = x, y
    if crs.is_projected:
        try:
            lon, lat = pyproj.Proj(crs)(x, y, inverse=True)
        except ProjError:
            return False
    if not (np.isfinite(lon) and np.isfinite(lat)) or abs(lat) > _LAT:
        return False
    west, south, east, north = area
    across = west > east  # the area crosses the date line
    inside = lon >= west or lon <= east if across else west <= lon <= east
    return bool(inside and south <= lat <= north)


def _swapped_against_others(
    layers: Mapping[str, SourceLayer], crs: dict[str, pyproj.CRS], faults: FaultList
) -> None:
    """Tell latitude and longitude swapped in the plots alone: swapped, they meet the rest."""
    if "plots" not in crs or not crs["plots"].is_geographic:
        return
    boxes = {
        name: shapely.box(*bounds)
        for name in crs
        if crs[name].equals(crs["plots"])
        and (bounds := _bounds(layers[name].table.geometry.to_numpy())) is not None
    }
    plots = boxes.pop("plots", None)
    if plots is None or not boxes:
        return
    west, south, east, north = plots.bounds
    swapped = shapely.box(south, west, north, east)
    others = list(boxes.values())
    if any(plots.intersects(b) for b in others) or not all(swapped.intersects(b) for b in others):
        return
    faults.error(
        layers["plots"].where,
        _(
            "The plots lie far from every other layer, but among them with latitude and longitude "
            "swapped."
        ),
        _("Export the layer that is wrong again with longitude (x) first, latitude (y) second."),
    )
    del crs["plots"]


def metres_for(
    bounds: tuple[float, float, float, float] | None, crs: pyproj.CRS, knowledge: Knowledge
) -> pyproj.CRS:
    """Return the CRS in metres that plots are projected to.

    Parameters
    ----------
    bounds
        West, south, east and north of all plots, in degrees or metres as their own CRS has them;
        None: there are none.
    crs
        That CRS.
    knowledge
        For ``crs_scale_error``.
    """
    if bounds is None:
        return crs
    x, y = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2
    if crs.is_projected and _true_to_length(crs, x, y, knowledge.setting("crs_scale_error")):
        return crs
    return _zone(crs, x, y)


@lru_cache(maxsize=64)
def _zone(crs: pyproj.CRS, x: float, y: float) -> pyproj.CRS:
    """UTM zone of a place: looked up in the whole register of systems, which takes a while."""
    zone: pyproj.CRS = gpd.GeoSeries([shapely.Point(x, y)], crs=crs).estimate_utm_crs(
        datum_name="WGS 84"
    )
    return zone


def _true_to_length(crs: pyproj.CRS, x: float, y: float, most: float) -> bool:
    """Whether a metre of the CRS is a metre of ground at (x, y), in every direction.

    Web Mercator never counts as such: near the equator it is nearly true, and elsewhere not.
    """
    if crs.to_epsg() in _WEB_MERCATOR or "Pseudo-Mercator" in crs.name:
        return False
    if any(axis.unit_conversion_factor != 1 for axis in crs.axis_info):
        return False
    try:
        lon, lat = pyproj.Proj(crs)(x, y, inverse=True)
        factors = pyproj.Proj(crs).get_factors(lon, lat)
    except (ProjError, CRSError):
        return False
    scales = (factors.meridional_scale, factors.parallel_scale)
    return all(bool(np.isfinite(s)) and abs(s - 1) <= most for s in scales)


def _project(
    shapes: NDArray[np.object_], own: pyproj.CRS, target: pyproj.CRS
) -> NDArray[np.object_]:
    change = change_of(own, target).transform
    with np.errstate(invalid="ignore"):  # a corner that is nowhere stays so and is told later
        projected: NDArray[np.object_] = shapely.transform(shapes, change, interleaved=False)
    return projected


def _check_extent(
    layers: Mapping[str, SourceLayer],
    geometry: Mapping[str, NDArray[np.object_]],
    knowledge: Knowledge,
    faults: FaultList,
) -> None:
    bounds = _bounds(geometry["plots"])
    if bounds is None:
        return
    most = knowledge.setting("neighbourhood_extent_max_m")
    wide = max(bounds[2] - bounds[0], bounds[3] - bounds[1])
    if wide > most:
        faults.warn(
            layers["plots"].where,
            _(
                "The plots spread over {wide:,.0f} km, which is far more than a neighbourhood: a "
                "plot or the coordinate system may be wrong."
            ).format(wide=wide / 1000),
            _("Look for a plot that lies far from the others."),
        )
    around = shapely.box(*bounds)
    for name, shapes in geometry.items():
        other = _bounds(shapes)
        if name == "plots" or other is None:
            continue
        apart = around.distance(shapely.box(*other))
        if apart > 0:
            faults.warn(
                layers[name].where,
                _("All of this layer lies away from the plots, by {apart:,.2f} km.").format(
                    apart=apart / 1000
                ),
                _("Make sure that its coordinate system is the right one."),
            )
