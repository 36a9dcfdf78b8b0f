"""Alder Row: 60 m from west to east with a garden of 20 x 17 m at either end of either side.

Metres from (450000, 210000) in the British national grid; the road runs along y = 0 and is 6 m
wide. Beck Lane lies 500 m to the north.
"""

import geopandas as gpd
import shapely

EAST, NORTH = 450_000.0, 210_000.0
CRS = "EPSG:27700"
_CORNERS = [(0, 7.5), (40, 7.5), (0, -25), (40, -25)]


def placed(shape):
    return shapely.affinity.translate(shape, EAST, NORTH)


def line(*points):
    return placed(shapely.LineString(points))


ALDER = ("Alder Row", line((0, 0), (60, 0)))
FAR = ("Beck Lane", line((-400, 500), (400, 500)))
WIDE = placed(shapely.box(0, 3, 60, 7))  # 4 m of footway on the left
NARROW = placed(shapely.box(0, -4.2, 60, -3))  # 1.2 m on the right


def write_alder_row(path, roads, footways=(), *, widths=6.0, things=()):
    """Write the gardens, and whatever roads (name, line), footways and things (kind, shape)."""
    layers = {
        "plots": (
            {
                "id": ["a1", "a2", "b1", "b2"],
                "kind": "garden_front",
                "features": ["bee_hotel 2; flower_border 4", "bee_hotel 2; flower_border 6",
                             "lawn_short 60", "bee_hotel 1; lawn_short 80"],
                "seen": "all",
            },
            [placed(shapely.box(x, y, x + 20, y + 17)) for x, y in _CORNERS],
        ),
        "roads": (
            {"name": [name for name, _ in roads], "width_m": widths, "speed_mph": "20"},
            [shape for _, shape in roads],
        ),
        "footways": ({"name": [""] * len(footways)}, list(footways)),
        "street_objects": ({"kind": [kind for kind, _ in things]}, [at for _, at in things]),
    }  # fmt: skip
    for name, (columns, shapes) in layers.items():
        if shapes:
            table = gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS)
            table.to_file(path, layer=name, driver="GPKG")
    return path
