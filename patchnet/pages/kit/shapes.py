"""Shapes as the page carries them: centimetres from an origin, and the way back to degrees."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj.crs.crs import CRS

from patchnet.core.crs_change import change_of
from patchnet.core.errors import PatchnetError
from patchnet.core.texts import _
from patchnet.pages.kit.encode import path_code

__all__ = [
    "TOLERANCE_M",
    "Frame",
    "area_codes",
    "frame_of",
    "line_codes",
    "longest_names",
    "name_places",
    "spot_code",
]

TOLERANCE_M = 0.05
_METRES_PER_DEGREE = 111_320.0
_DEGREES_TRIED = range(1, 7)


@dataclass(frozen=True, eq=False)
class Frame:
    """Origin of the page's centimetres and the polynomial that turns them into degrees.

    With u = x / half_cm and v = y / half_cm (x, y in cm from the origin) the longitude is the
    sum of ``lon[t] * u ** i * v ** j`` over the terms t = (i, j) in the order of `terms`.

    Attributes
    ----------
    origin
        Easting and northing of the origin, m.
    half_cm
        Half the longer side of the neighbourhood, cm.
    degree
        Degree of the polynomial.
    lon, lat
        Coefficients, degrees.
    error_m
        Largest distance between the polynomial and the projection, m.
    """

    origin: tuple[float, float]
    half_cm: int
    degree: int
    lon: tuple[float, ...]
    lat: tuple[float, ...]
    error_m: float

    def centimetres(self, points: NDArray[np.float64]) -> NDArray[np.int64]:
        """Return points (k, 2) in m as whole centimetres from the origin."""
        whole: NDArray[np.int64] = np.rint((points - np.asarray(self.origin)) * 100).astype(
            np.int64
        )
        return whole

    def for_page(self) -> dict[str, object]:
        """Return what the page needs of it."""
        return {"half": self.half_cm, "degree": self.degree, "lon": self.lon, "lat": self.lat}


def _powers(unit: NDArray[np.float64], degree: int) -> NDArray[np.float64]:
    """Terms u^i v^j with i + j <= degree, i ascending inside each total."""
    columns = [
        unit[:, 0] ** i * unit[:, 1] ** (total - i)
        for total in range(degree + 1)
        for i in range(total + 1)
    ]
    return np.column_stack(columns)


def frame_of(layers: Iterable[gpd.GeoDataFrame], crs: CRS) -> Frame:
    """Fit the way from projected metres to degrees over everything that is drawn.

    Parameters
    ----------
    layers
        Tables in `crs`.
    crs
        A projected system in metres.

    Raises
    ------
    PatchnetError
        If no polynomial of degree 6 or less stays within 5 cm (an area of many hundred
        kilometres).
    """
    boxes = np.array([layer.total_bounds for layer in layers if len(layer)], dtype=np.float64)
    boxes = boxes[np.isfinite(boxes).all(axis=1)]
    west, south = boxes[:, 0].min(), boxes[:, 1].min()
    east, north = boxes[:, 2].max(), boxes[:, 3].max()
    origin = (float(np.round((west + east) / 2)), float(np.round((south + north) / 2)))
    half = max(east - west, north - south) / 2 + 1
    half_cm = math.ceil(half * 100)
    side = np.linspace(-1, 1, 15)
    unit = np.array([(u, v) for u in side for v in side])
    metres = unit * half_cm / 100 + np.asarray(origin)
    to_degrees = change_of(crs, "EPSG:4326")
    lon, lat = to_degrees.transform(metres[:, 0], metres[:, 1])
    shrink = np.cos(np.radians(lat))
    for degree in _DEGREES_TRIED:
        matrix = _powers(unit, degree)
        lon_fit = _least_squares(matrix, lon)
        lat_fit = _least_squares(matrix, lat)
        off = np.hypot((matrix @ lon_fit - lon) * shrink, matrix @ lat_fit - lat)
        error = float(off.max() * _METRES_PER_DEGREE)
        # Half of the tolerance is kept for the rounding to centimetres and between grid points.
        if error < TOLERANCE_M / 2:
            return Frame(
                origin,
                half_cm,
                degree,
                tuple(lon_fit.tolist()),
                tuple(lat_fit.tolist()),
                error,
            )
    raise PatchnetError(_("The area is too large for one map page: draw it in parts."))


def _least_squares(matrix: NDArray[np.float64], wanted: NDArray[np.float64]) -> NDArray[np.float64]:
    """Coefficients in degrees, rounded to about a thousandth of a millimetre on the ground."""
    solved = np.linalg.lstsq(matrix, wanted, rcond=None)[0]
    return np.asarray(np.round(solved, 11), dtype=np.float64)


def _ring(frame: Frame, ring: shapely.LinearRing) -> str:
    return path_code(frame.centimetres(shapely.get_coordinates(ring)[:-1]))


def area_codes(frame: Frame, shapes: Iterable[shapely.Geometry]) -> list[str]:
    """Write polygons: ``|`` between the parts of one shape, ``,`` between the rings of a part."""
    written: list[str] = []
    for shape in shapes:
        parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
        written.append(
            "|".join(
                ",".join(_ring(frame, ring) for ring in (part.exterior, *part.interiors))
                for part in parts
                if not part.is_empty
            )
        )
    return written


def line_codes(frame: Frame, shapes: Iterable[shapely.Geometry]) -> list[str]:
    """Write lines: ``|`` between the parts of one shape."""
    return [
        "|".join(
            path_code(frame.centimetres(shapely.get_coordinates(part)))
            for part in shapely.get_parts(shape)
            if part.geom_type in {"LineString", "LinearRing"} and not part.is_empty
        )
        for shape in shapes
    ]


def spot_code(frame: Frame, shapes: Sequence[shapely.Geometry]) -> str:
    """Write one point inside each shape, where its mark or dot is drawn."""
    points = shapely.get_coordinates(shapely.point_on_surface(np.asarray(shapes, dtype=object)))
    return path_code(frame.centimetres(points))


def name_places(frame: Frame, *tables: gpd.GeoDataFrame) -> list[list[object]]:
    """Choose where each street's name is written: [name, x cm, y cm, degrees against east].

    The longest piece of a name carries it, half way along. Of several tables, the first that has
    a name writes it: a road's name does not stand on its footway as well.
    """
    best: dict[str, tuple[str, float, float, float]] = {}
    for table in tables:
        for found in longest_names(table):
            best.setdefault(found[0], found)
    return [
        [name, *frame.centimetres(np.array([[east, north]]))[0].tolist(), angle]
        for name, east, north, angle in best.values()
    ]


def longest_names(table: gpd.GeoDataFrame) -> list[tuple[str, float, float, float]]:
    """Return where each name of a table is written: name, east, north, degrees against east.

    Parameters
    ----------
    table
        Columns ``name`` (text, may be empty) and ``geometry`` (lines or areas), metres.
    """
    best: dict[str, tuple[float, tuple[str, float, float, float]]] = {}
    if not len(table):
        return []
    for shape, name in zip(table.geometry, table["name"], strict=True):
        if not name or shape is None or shape.is_empty:
            continue
        part = max(shapely.get_parts(shape), key=lambda piece: float(piece.length))
        box = shapely.oriented_envelope(part)
        if part.geom_type == "Polygon" and box.geom_type == "Polygon":
            a, b, c = shapely.get_coordinates(box)[:3].tolist()
            start, end = (a, b) if math.dist(a, b) >= math.dist(b, c) else (b, c)
            size = math.dist(start, end)
            middle = shapely.point_on_surface(part)
        else:
            line = part if part.geom_type != "Polygon" else part.exterior
            size = float(line.length)
            ends = shapely.line_interpolate_point(line, [size * 0.45, size * 0.55])
            start, end = shapely.get_coordinates(ends).tolist()
            middle = shapely.line_interpolate_point(line, size / 2)
        east, north = shapely.get_coordinates(middle)[0].tolist()
        # Written the right way up: between -90 and 90 degrees.
        angle = (math.degrees(math.atan2(end[1] - start[1], end[0] - start[0])) + 90) % 180 - 90
        if str(name) not in best or size > best[str(name)][0]:
            best[str(name)] = (size, (str(name), east, north, round(angle, 1)))
    return [found for __, found in best.values()]
