"""A hand-drawn street with the answers on paper, in the British national grid.

Elm Road runs along y = 0 from west to east, its carriageway 6 m wide; West Street crosses it at
x = -20, Side Street leaves it northwards at x = 61.5. All plots north of it begin at y = 7, so that
4 m lie between them and the carriageway. Metres from (450000, 210000).

=========  ==============  ==========================  ==============================
plot       outline         house                       what it is
=========  ==============  ==========================  ==============================
w          -13..-3 x 7..37  -10..-5 x 12..20           corner, detached
t1         0..5 x 7..37     0..5 x 10..18, with a bay  terrace; bay 1.5 wide, 0.6 deep
t2         5..10 x 7..37    5..10 x 10..18             terrace
t3         10..15 x 7..37   10..15 x 10..18            terrace
s1         20..29 x 7..37   23..29 x 12..20            semi-detached
s2         29..38 x 7..37   29..35 x 12..20            semi-detached
a          42..49 x 7..37   42..49 x 12..20            end terrace beside the corner
c          49..56 x 7..37   49..54 x 12..20            corner, leans on a
f          drive 150..153 x 7..40 and 150..170 x 40..60;  156..164 x 46..54: house behind g
g          153..170 x 7..40  156..164 x 12..20         detached, with a shed 3 x 3
n          172..182 x 7..37  none                      no building
d          185..215 x 7..37  188..196 and 204..212     two houses on one plot
e          0..20 x -37..-7   5..13 x -20..-12          detached, south of the road
=========  ==============  ==========================  ==============================
"""

import geopandas as gpd
import pytest
import shapely

from patchnet.base import make_base
from patchnet.knowledge import load_knowledge

EAST, NORTH = 450_000.0, 210_000.0
CRS = "EPSG:27700"


def box(west, south, east, north):
    return shapely.box(EAST + west, NORTH + south, EAST + east, NORTH + north)


def line(*points):
    return shapely.LineString([(EAST + x, NORTH + y) for x, y in points])


PLOTS = {
    "w": box(-13, 7, -3, 37),
    "t1": box(0, 7, 5, 37),
    "t2": box(5, 7, 10, 37),
    "t3": box(10, 7, 15, 37),
    "s1": box(20, 7, 29, 37),
    "s2": box(29, 7, 38, 37),
    "a": box(42, 7, 49, 37),
    "c": box(49, 7, 56, 37),
    "f": shapely.union(box(150, 7, 153, 40), box(150, 40, 170, 60)),
    "g": box(153, 7, 170, 40),
    "n": box(172, 7, 182, 37),
    "d": box(185, 7, 215, 37),
    "e": box(0, -37, 20, -7),
}
HOUSES = {
    "w": box(-10, 12, -5, 20),
    "t1": shapely.union(box(0, 10, 5, 18), box(1, 9.4, 2.5, 10)),
    "t2": box(5, 10, 10, 18),
    "t3": box(10, 10, 15, 18),
    "s1": box(23, 12, 29, 20),
    "s2": box(29, 12, 35, 20),
    "a": box(42, 12, 49, 20),
    "c": box(49, 12, 54, 20),
    "f": box(156, 46, 164, 54),
    "g": box(156, 12, 164, 20),
    "shed": box(165, 30, 168, 33),
    "d1": box(188, 12, 196, 20),
    "d2": box(204, 12, 212, 20),
    "e": box(5, -20, 13, -12),
}
ROADS = {
    "Elm Road": line((-30, 0), (220, 0)),
    "West Street": line((-20, -40), (-20, 40)),
    "Side Street": line((61.5, 0), (61.5, 60)),
}


def _parcels(**changed):
    shapes = {**PLOTS, **changed}
    return gpd.GeoDataFrame({"parcel_id": list(shapes)}, geometry=list(shapes.values()), crs=CRS)


def _buildings(address=None, **changed):
    shapes = {**HOUSES, **changed}
    street = [(address or {}).get(key, "") for key in shapes]
    return gpd.GeoDataFrame(
        {"building": "yes", "street": street}, geometry=list(shapes.values()), crs=CRS
    )


def _roads(width=6.0, **changed):
    shapes = {**ROADS, **changed}
    return gpd.GeoDataFrame(
        {"name": list(shapes), "width": width, "maxspeed": "20 mph"},
        geometry=list(shapes.values()),
        crs=CRS,
    )


class Street:
    """The street on paper: its tables, and a base made of any of them."""

    plots, houses, lines, crs = PLOTS, HOUSES, ROADS, CRS
    box, line = staticmethod(box), staticmethod(line)
    parcels, buildings, roads = map(staticmethod, (_parcels, _buildings, _roads))

    def __init__(self, knowledge, tmp_path_factory):
        self.knowledge = knowledge
        self._folders = tmp_path_factory

    def files(self, **tables):
        """Write tables as GeoPackages, ``parcels=table``; return their paths by name."""
        folder = self._folders.mktemp("street")
        made = {}
        for name, table in tables.items():
            made[name] = folder / f"{name}.gpkg"
            table.to_file(made[name], layer=name, driver="GPKG")
        return made

    def base(self, **tables):
        """Make a base of tables (parcels, buildings, roads) and options."""
        options = {
            key: tables.pop(key) for key in ("street", "earlier", "box", "crs") if key in tables
        }
        paths = self.files(**tables).values()
        return make_base(
            list(paths), knowledge=self.knowledge, credits=["Drawn by hand"], **options
        )


@pytest.fixture(scope="session")
def knowledge():
    return load_knowledge()


@pytest.fixture(scope="session")
def street(knowledge, tmp_path_factory):
    return Street(knowledge, tmp_path_factory)


@pytest.fixture(scope="session")
def row(street):
    """The whole street as a base."""
    return street.base(parcels=_parcels(), buildings=_buildings(), roads=_roads())
