"""A zoo of outlines that every stage is run over."""

import numpy as np
import pytest
import shapely
from shapely import LineString, MultiPoint, MultiPolygon, Point, Polygon

from patchnet.core.errors import DataFaults
from patchnet.read import build_neighbourhood
from patchnet.read.repair import polygons_of


def at(street, shape):
    """Move a shape drawn near nought onto the map."""
    with np.errstate(invalid="ignore"):
        return shapely.transform(shape, lambda xy: xy + np.array([street.east, street.north]))


def box(*bounds):
    return shapely.box(*bounds)


def odd(number):
    with np.errstate(invalid="ignore"):
        return Polygon([(0, 0), (10, 0), (number, 10), (0, 10)])


HOLE = Polygon(box(0, 0, 10, 10).exterior, [box(2, 2, 4, 4).exterior])
# A spike of 0.02 x 1 m that crosses the edge: 0.01 m2 of 100 m2, one in ten thousand.
SPIKE = Polygon([(0, 0), (10, 0), (10, 10), (9, 10.01), (10, 10.02), (10, 10), (0, 10)])

GOOD = {
    "plain": (box(0, 0, 10, 10), 100.0),
    "hole": (HOLE, 96.0),
    "multipart": (MultiPolygon([box(0, 0, 10, 10), box(20, 0, 25, 10)]), 150.0),
    "parts that touch": (MultiPolygon([box(0, 0, 10, 10), box(10, 10, 20, 20)]), 200.0),
    "closed the other way": (box(0, 0, 10, 10).reverse(), 100.0),
    "height": (shapely.force_3d(box(0, 0, 10, 10), 3.0), 100.0),
    "collection": (shapely.GeometryCollection([box(0, 0, 10, 10), Point(3, 3)]), 100.0),
    "many corners": (Point(50, 50).buffer(10, quad_segs=2500), np.pi * 100),
    "corner drawn twice": (Polygon([(0, 0), (10, 0), (10, 0), (10, 10), (0, 10)]), 100.0),
    "parts drawn over each other by a hair": (
        MultiPolygon([box(0, 0, 10, 10), box(9.999, 0, 20, 10)]), 200.0,
    ),
    "spike": (SPIKE, 100.01),
}  # fmt: skip

BAD = {
    "null": (None, "no outline"),
    "empty": (Polygon(), "no outline"),
    "point": (Point(1, 1), "is a Point, not an area"),
    "points": (MultiPoint([(0, 0), (1, 1)]), "is a MultiPoint"),
    "line": (LineString([(0, 0), (10, 0), (10, 10), (0, 0)]), "is a LineString"),
    # Two triangles of 25 m2 that cancel out: which of them is meant cannot be told.
    "bow-tie": (Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]), r"bow-tie.* 50.0 m2 instead of 0.0"),
    "flat": (Polygon([(0, 0), (10, 0), (5, 0)]), "encloses no area"),
    "nan": (odd(np.nan), "corner without a place"),
    "infinite": (odd(np.inf), "corner without a place"),
}


@pytest.mark.parametrize("name", GOOD)
def test_good_outlines(street, build, name):
    shape, area = GOOD[name]
    found = build(street.plots(1).set_geometry([at(street, shape)], crs="EPSG:27700"))
    (outline,) = found.plots.geometry
    assert outline.geom_type in {"Polygon", "MultiPolygon"}
    assert outline.is_valid
    assert not outline.has_z
    assert found.plots["area_m2"].tolist() == pytest.approx([area], rel=1e-4)
    assert found.plots["area_m2"].iloc[0] == outline.area


@pytest.mark.parametrize("name", BAD)
def test_bad_outlines(street, knowledge, name):
    shape, words = BAD[name]
    plots = street.plots(2)
    shapes = [None if shape is None else at(street, shape), street.square(500)]
    plots = plots.set_geometry(shapes, crs="EPSG:27700")
    with pytest.raises(DataFaults, match=words) as raised:
        build_neighbourhood(plots, knowledge=knowledge)
    (fault,) = (fault for fault in raised.value.faults if fault.severity == "error")
    assert (fault.row, fault.ident) == (1, "p1")


def test_repair_says_how_much_the_area_changed(street, build):
    found = build(street.plots(1).set_geometry([at(street, SPIKE)], crs="EPSG:27700"))
    (fault,) = (fault for fault in found.faults if "repaired" in fault.what)
    assert fault.severity == "warning"
    assert "its area changed by 0.0" in fault.what


def test_the_whole_zoo_as_other_layers(street, build):
    """What is not a plot is taken or left out with a warning, never a stop."""
    shapes = [None if shape is None else at(street, shape) for shape, _ in (GOOD | BAD).values()]
    everything = street.layer(shapes)
    found = build(street.plots(1), buildings=everything, roads=everything, footways=everything)
    for table in (found.buildings, found.roads, found.footways):
        assert len(table) >= len(GOOD)
        assert table.geometry.is_valid.all()
        assert not table.geometry.is_empty.any()
    assert set(found.buildings.geom_type) <= {"Polygon", "MultiPolygon"}


def test_the_good_zoo_as_mapped_features(street, build):
    """Each is a lawn on a plot of its own size or more; its area is what it measures."""
    for name, (shape, area) in GOOD.items():
        plots = street.plots(1).set_geometry([street.square(-60, -60, 200, 200)], crs="EPSG:27700")
        lawn = street.layer([at(street, shape)], feature=["lawn"])
        found = build(plots, features=lawn)
        amount = found.answers.table().loc["p1", "lawn_short"]
        assert amount == pytest.approx(area, rel=1e-4), name


def test_polygons_of_keeps_areas_only():
    mixed = shapely.GeometryCollection(
        [
            Point(0, 0),
            MultiPolygon([box(0, 0, 1, 1), box(2, 0, 3, 1)]),
            LineString([(0, 0), (1, 1)]),
        ]
    )
    assert polygons_of(mixed).equals(MultiPolygon([box(0, 0, 1, 1), box(2, 0, 3, 1)]))
    assert polygons_of(LineString([(0, 0), (1, 1)])) is None
    assert polygons_of(Polygon()) is None
