"""Streets drawn by hand, in metres from a corner of the British national grid."""

from dataclasses import dataclass, field

import geopandas as gpd
import pytest
import shapely
from shapely import affinity
from worlds.row_of_gardens import build, faults_of, knowledge, street

from patchnet.knowledge import load_knowledge
from patchnet.read import build_neighbourhood
from patchnet.street import find_street, planter_sites

EAST, NORTH = 450_000.0, 210_000.0
FAR_ROAD = ("Far Road", shapely.LineString([(-400, 900), (400, 900)]), 6.0, "30 mph")

__all__ = ["build", "faults_of", "knowledge", "street"]


@dataclass
class Scene:
    """A street and what lies along it: rows of (name, shape, width ...) in metres."""

    roads: list = field(default_factory=list)
    footways: list = field(default_factory=list)
    objects: list | None = field(default_factory=list)
    barriers: list = field(default_factory=list)
    buildings: list = field(default_factory=list)
    planters: list = field(default_factory=list)
    turned: float = 0.0
    shifted: tuple = (0.0, 0.0)
    far_road: bool = True
    looked: bool = True  # whether somebody looked for everything along the road

    def place(self, shape):
        turned = affinity.rotate(shape, self.turned, origin=(0, 0))
        return affinity.translate(turned, EAST + self.shifted[0], NORTH + self.shifted[1])

    def table(self, rows, *columns):
        if not rows:
            return None
        return gpd.GeoDataFrame(
            {name: [row[at] for row in rows] for at, name in columns},
            geometry=[self.place(row[1]) for row in rows],
            crs="EPSG:27700",
        )

    def built(self, knowledge):
        garden = shapely.box(-60, -260, -40, -230)
        plots = [
            ("p0", garden, "garden"),
            *((f"q{i}", s, "planter") for i, s in enumerate(self.planters)),
        ]
        roads = [*self.roads, *([FAR_ROAD] if self.far_road else [])]
        objects = None
        if self.objects is not None:
            rows = self.objects or [("bench", shapely.Point(0, 900), None)]
            if self.looked:
                rows = [*rows, *(("looked", road[1], None) for road in self.roads)]
            objects = self.table(rows, (0, "kind"), (2, "width_m"))
        return build_neighbourhood(
            self.table(plots, (0, "id"), (2, "kind")),
            roads=self.table(roads, (0, "name"), (2, "width_m"), (3, "speed_mph")),
            footways=self.table(self.footways, (0, "name"), (2, "width_m")),
            barriers=self.table(self.barriers, (0, "kind")),
            buildings=self.table(self.buildings, (0, "name")),
            street_objects=objects,
            knowledge=knowledge,
        )


@pytest.fixture(scope="session")
def know():
    return load_knowledge()


@pytest.fixture(scope="session")
def scene():
    """Give the maker of scenes."""
    return Scene


@pytest.fixture(scope="session")
def found(know):
    """Street and neighbourhood of a scene."""

    def made(scene, name="High Street", knowledge=None):
        hood = scene.built(knowledge or know)
        return find_street(hood, name, knowledge=knowledge or know), hood

    return made


@pytest.fixture(scope="session")
def sites_of(know, found):
    """Sites of a scene by key."""

    def made(scene, name="High Street", knowledge=None, **options):
        street, hood = found(scene, name, knowledge)
        sites = planter_sites(hood, street, knowledge=knowledge or know, **options)
        return {site.key: site for site in sites}

    return made


@pytest.fixture
def straight():
    """A straight road of 100 m, 6 m wide, 20 mph; 3 m of footway on the left, 2 on the right."""
    return Scene(
        roads=[("High Street", shapely.LineString([(0, 0), (100, 0)]), 6.0, "20")],
        footways=[
            ("left", shapely.box(0, 3, 100, 6), None),
            ("right", shapely.box(0, -5, 100, -3), None),
        ],
    )


@pytest.fixture
def wide(straight):
    """Four metres of footway on both sides, so that width is no question."""
    straight.footways = [
        ("left", shapely.box(0, 3, 100, 7), None),
        ("right", shapely.box(0, -7, 100, -3), None),
    ]
    return straight
