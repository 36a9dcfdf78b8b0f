"""Streets as OpenStreetMap would map them, drawn by hand: things with tags, in metres."""

import geopandas as gpd
import shapely

from patchnet.base import make_base

EAST, NORTH = 450_000.0, 210_000.0
CRS = "EPSG:27700"


def box(west, south, east, north):
    return shapely.box(EAST + west, NORTH + south, EAST + east, NORTH + north)


def line(*points):
    return shapely.LineString([(EAST + x, NORTH + y) for x, y in points])


def point(x, y):
    return shapely.Point(EAST + x, NORTH + y)


def road(name, *points, **tags):
    return line(*points), {"highway": "residential", "name": name, **tags}


def house(west, south, east, north, number="", street="", **tags):
    own = {"building": "house", "addr:housenumber": number, "addr:street": street, **tags}
    return box(west, south, east, north), {key: word for key, word in own.items() if word}


def door(x, y, number, street="Elm Road", **tags):
    return point(x, y), {"addr:housenumber": number, "addr:street": street, **tags}


def mapped(folder, *things, name="town", **options):
    """Write things with their tags to a file and make a base map of it."""
    table = gpd.GeoDataFrame(
        {
            "@id": [f"way/{at}" for at in range(1, len(things) + 1)],
            "tags": [
                "{" + ", ".join(f'"{key}": "{word}"' for key, word in tags.items()) + "}"
                for _, tags in things
            ],
        },
        geometry=[shape for shape, _ in things],
        crs=CRS,
    )
    path = folder / f"{name}.gpkg"
    table.to_file(path, layer="osm", driver="GPKG")
    return make_base([path], **options)


def of_door(base, number, street="Elm Road"):
    """The plots of one door, joined."""
    own = base.plots[(base.plots["door"] == number) & (base.plots["street"] == street)]
    return shapely.union_all(own.geometry.to_numpy())
