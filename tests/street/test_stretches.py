"""Walking order and sides of streets, by hand and by what must not matter."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely import affinity

from patchnet.street.stretches import walking_order

EAST, NORTH = 450_000.0, 210_000.0


def line(*points):
    return shapely.LineString([(EAST + x, NORTH + y) for x, y in points])


def box(x, y, wide=10.0):
    return shapely.box(EAST + x, NORTH + y, EAST + x + wide, NORTH + y + 10)


def hood_of(build, shapes, road=None, streets="", turned=0.0):
    plots = gpd.GeoDataFrame(
        {"id": [f"p{at}" for at in range(len(shapes))], "kind": "garden", "street": streets},
        geometry=[affinity.rotate(one, turned, origin=(EAST, NORTH)) for one in shapes],
        crs="EPSG:27700",
    )
    roads = None
    if road is not None:
        turned_road = affinity.rotate(road, turned, origin=(EAST, NORTH))
        roads = gpd.GeoDataFrame({"name": ["Elm Row"]}, geometry=[turned_road], crs="EPSG:27700")
    return build(plots, roads=roads)


NORTH_SIDE = [box(0, 10), box(10, 10), box(20, 10)]
SOUTH_SIDE = [box(20, -20), box(0, -20)]


def test_two_sides_of_a_street(build):
    """On paper: north side p0, p1, p2 at 5, 15, 25 m; south side p4 at 5, p3 at 25 m."""
    order = walking_order(hood_of(build, NORTH_SIDE + SOUTH_SIDE, line((0, 0), (30, 0))))
    assert order["street"].tolist() == ["Elm Row"] * 5
    assert order["side"].tolist() == ["north side"] * 3 + ["south side"] * 2
    assert order["along"].tolist() == pytest.approx([5, 15, 25, 25, 5])
    assert order.sort_values("order").index.tolist() == ["p0", "p1", "p2", "p4", "p3"]


@pytest.mark.parametrize("turned", [0.0, 30.0, 89.0])
def test_how_the_road_was_drawn_does_not_matter(build, turned):
    """Backwards, in two pieces, as an area: the same order and sides."""
    shapes = NORTH_SIDE + SOUTH_SIDE
    straight = line((0, 0), (30, 0))
    others = [
        shapely.reverse(straight),
        shapely.MultiLineString([line((30, 0), (14, 0)), line((0, 0), (14, 0))]),
        line((-2, 0), (32, 0)).buffer(2, cap_style="flat"),
    ]
    wanted = walking_order(hood_of(build, shapes, straight, turned=turned))
    for road in others:
        found = walking_order(hood_of(build, shapes, road, turned=turned))
        assert found["order"].tolist() == wanted["order"].tolist()
        assert found["side"].tolist() == wanted["side"].tolist()
    assert len(set(wanted["side"])) == 2


def test_round_a_bend(build):
    """A road that turns by a right angle: plots outside the bend stay on one side, in order."""
    shapes = [box(5, 5), box(25, 5), box(45, 5), box(45, -25), box(45, -45), box(10, -25)]
    road = line((0, 0), (40, 0), (40, -40))
    order = walking_order(hood_of(build, shapes, road))
    outside = order.iloc[:5]
    assert outside["along"].is_monotonic_increasing
    assert outside["side"].nunique() == 1
    assert order["side"].iloc[5] != order["side"].iloc[0]


def test_without_roads_along_the_plots(build):
    """No road: along the row itself, whichever way it runs; no sides."""
    shapes = [box(40, 0), box(0, 0), box(20, 0)]
    order = walking_order(hood_of(build, shapes))
    assert order.sort_values("order").index.tolist() == ["p1", "p2", "p0"]
    assert set(order["side"]) == {""}


def test_a_plot_belongs_to_the_street_that_it_names(build):
    shapes = [box(0, 10), box(10, 10)]
    order = walking_order(hood_of(build, shapes, line((0, 0), (30, 0)), streets=["Mews", ""]))
    assert order["street"].tolist() == ["Mews", "Elm Row"]
    assert sorted(order["order"]) == [0, 1]


def test_one_plot_alone(build):
    order = walking_order(hood_of(build, [box(0, 10)]))
    assert order["order"].tolist() == [0]
    assert np.isfinite(order["along"]).all()
