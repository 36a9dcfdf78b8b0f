"""Coordinates of the page, against pyproj and shapely."""

import math

import geopandas as gpd
import numpy as np
import pytest
from pyproj import CRS, Geod, Transformer
from shapely import LineString, MultiPolygon, Polygon, box

from patchnet.core.errors import PatchnetError
from patchnet.pages.kit.shapes import area_codes, frame_of, line_codes, name_places


def degrees(sent, centimetres):
    """What the page's script makes of what is sent: a polynomial, term by term."""
    u, v = centimetres.T / sent["half"]
    terms = [
        u**i * v ** (total - i) for total in range(sent["degree"] + 1) for i in range(total + 1)
    ]
    return np.column_stack([np.dot(sent[axis], terms) for axis in ("lon", "lat")])


@pytest.mark.parametrize(
    ("code", "east", "north", "side"),
    [
        ("EPSG:27700", 451_000, 206_000, 300),
        ("EPSG:27700", 300_000, 700_000, 8_000),
        ("EPSG:32633", 460_000, 5_550_000, 20_000),
        ("EPSG:3067", 386_000, 6_672_000, 2_000),
    ],
)
def test_degrees_are_right_to_five_centimetres(code, east, north, side):
    """Random points, also between those of the fit, against pyproj; distance by the geodesic."""
    crs = CRS(code)
    table = gpd.GeoDataFrame(geometry=[box(east, north, east + side, north + side)], crs=crs)
    frame = frame_of([table], crs)
    points = np.random.default_rng(4).uniform(0, side, (500, 2)) + np.array([east, north])
    got = degrees(frame.for_page(), frame.centimetres(points))
    lon, lat = Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(*points.T)
    _, _, off = Geod(ellps="WGS84").inv(got[:, 0], got[:, 1], lon, lat)
    assert np.max(off) < 0.05
    assert frame.error_m < 0.05


def test_half_a_continent_is_refused():
    crs = CRS("EPSG:32633")
    table = gpd.GeoDataFrame(geometry=[box(-3_000_000, 0, 4_000_000, 9_000_000)], crs=crs)
    with pytest.raises(PatchnetError, match="too large"):
        frame_of([table], crs)


def test_shapes_keep_parts_holes_and_lines():
    crs = CRS("EPSG:27700")
    hole = Polygon([(0, 0), (9, 0), (9, 9), (0, 9)], [[(2, 2), (3, 2), (3, 3)]])
    both = MultiPolygon([hole, box(20, 0, 21, 1)])
    frame = frame_of([gpd.GeoDataFrame(geometry=[both], crs=crs)], crs)
    (code,) = area_codes(frame, [both])
    assert [part.count(",") for part in code.split("|")] == [1, 0]
    assert line_codes(frame, [LineString([(0, 0), (1, 1)]), both])[1] == ""


def test_a_street_name_lies_along_its_road():
    """The longer of two pieces carries the name; a road to the north-east slants by 45 degrees."""
    crs = CRS("EPSG:27700")
    lines = [LineString([(0, 0), (10, 0)]), LineString([(0, 0), (100, 100)])]
    table = gpd.GeoDataFrame({"name": ["Mill Lane", "Mill Lane"]}, geometry=lines, crs=crs)
    frame = frame_of([table], crs)
    ((name, x, y, angle),) = name_places(frame, table)
    assert name == "Mill Lane"
    assert angle == pytest.approx(45)
    assert math.hypot(x / 100 + frame.origin[0] - 50, y / 100 + frame.origin[1] - 50) < 0.02
