"""Mapped features given to the plots they lie in, worked out on paper.

The plots are 20 x 30 m side by side: p1 from 0 to 20 m, p2 from 20 to 40 m, p3 from 40 to 60 m.
"""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiPoint, Point

from patchnet.knowledge import load_knowledge
from patchnet.read import build_neighbourhood


def line(street, *points):
    return LineString([(street.east + x, street.north + y) for x, y in points])


def amounts(found, feature):
    return found.answers.table()[feature].fillna(-1).tolist()


def test_areas_are_cut_at_the_border(street, build):
    """A lawn from 10 to 30 m, 10 m deep: 100 m2 on p1, 100 m2 on p2."""
    lawn = street.layer([street.square(10, 5, 20, 10)], feature=["lawn"])
    found = build(street.plots(3), features=lawn)
    assert amounts(found, "lawn_short") == pytest.approx([100, 100, -1])
    assert found.features["plot"].tolist() == ["p1", "p2"]
    assert found.features["amount"].tolist() == pytest.approx([100, 100])
    assert found.features.geometry.area.tolist() == pytest.approx([100, 100])
    assert found.features.crs == found.plots.crs
    assert found.answers.sized[0, found.answers.features.index("lawn_short")]


def test_a_tiny_part_stays_with_the_main_plot(street, build):
    """From 1 to 21 m: 19/20 on p1, 1/20 on p2, which is under the share of a tenth."""
    lawn = street.layer([street.square(1, 5, 20, 10)], feature=["lawn"])
    assert amounts(build(street.plots(3), features=lawn), "lawn_short") == pytest.approx(
        [200, -1, -1]
    )


def test_what_hangs_over_the_street_does_not_count(street, build):
    """10 m deep, 5 m of it below the plots' front: half of 100 m2."""
    lawn = street.layer([street.square(0, -5, 10, 10)], feature=["lawn"])
    assert amounts(build(street.plots(3), features=lawn), "lawn_short") == pytest.approx(
        [50, -1, -1]
    )


def test_a_hedge_on_the_border_counts_half_on_either_side(street, build):
    hedge = street.layer([line(street, (20, 0), (20, 30))], feature=["native hedge"])
    assert amounts(build(street.plots(3), features=hedge), "hedge_native") == pytest.approx(
        [15, 15, -1]
    )


def test_a_hedge_across(street, build):
    """Along the back from 10 to 50 m: 10, 20 and 10 m."""
    hedge = street.layer([line(street, (10, 29), (50, 29))], feature=["native hedge"])
    assert amounts(build(street.plots(3), features=hedge), "hedge_native") == pytest.approx(
        [10, 20, 10]
    )


def test_a_hedge_drawn_as_an_area(street, build):
    """2 x 10 m = 20 m2; the tables give a native hedge 1 m2 of ground a metre: 20 m of it."""
    assert load_knowledge().features["hedge_native"].ground.value == 1
    hedge = street.layer([street.square(5, 5, 2, 10)], feature=["native hedge"])
    assert amounts(build(street.plots(3), features=hedge), "hedge_native") == pytest.approx(
        [20, -1, -1]
    )


def test_points_and_counts(street, build):
    """Two single trees on p1, three points in one row on p2, a pond nobody measured on p3."""
    at = [
        (street.east + x, street.north + y)
        for x, y in [(5, 5), (6, 9), (25, 3), (25, 6), (25, 9), (45, 5)]
    ]
    features = street.layer(
        [Point(at[0]), Point(at[1]), MultiPoint(at[2:5]), Point(at[5])],
        feature=["tree", "tree", "tree", "pond"],
    )
    found = build(street.plots(3), features=features)
    assert amounts(found, "tree_small") == [2, 3, -1]
    # Its typical size stands in the tables: 3 m2.
    assert amounts(found, "pond") == [-1, -1, 3]
    assert not found.answers.sized[2, found.answers.features.index("pond")]
    assert np.isnan(found.features["amount"].iloc[3])


def test_a_counted_thing_drawn_as_an_area_goes_to_one_plot(street, build):
    box = street.layer([street.square(18, 5, 3, 1)], feature=["compost heap"])
    assert amounts(build(street.plots(3), features=box), "compost_heap") == [1, -1, -1]


def test_stated_amounts_and_doubt(street, build):
    """A stated amount counts, shared as the areas are; 2? is there but not sure."""
    features = street.layer(
        [street.square(10, 5, 20, 10), street.square(45, 5, 1, 1)],
        feature=["lawn", "pond"],
        amount=["150", "2?"],
    )
    found = build(street.plots(3), features=features)
    assert amounts(found, "lawn_short") == pytest.approx([75, 75, -1])
    assert amounts(found, "pond") == [-1, -1, 2]
    assert not found.answers.sure[2, found.answers.features.index("pond")]


def test_just_outside_goes_to_the_nearest_and_further_is_told(street, build):
    trees = street.layer(
        [
            Point(street.east + 65, street.north - 0.5),
            Point(street.east + 5, street.north - 0.5),
            Point(street.east + 5, street.north - 5),
        ],
        feature=["tree"] * 3,
    )
    found = build(street.plots(3), features=trees)
    assert amounts(found, "tree_small") == [1, -1, -1]
    told = [fault for fault in found.faults if "outside any plot" in fault.what]
    assert [(fault.where, fault.row) for fault in told] == [("features", 1), ("features", 3)]
    assert all(fault.severity == "warning" for fault in told)


def test_a_named_plot_takes_it_whole(street, build):
    """It names p1 and touches it: whole. It names p3 and lies on p1: on p1, with a warning."""
    shapes = [street.square(10, 5, 20, 10), street.square(2, 20, 2, 2)]
    features = street.layer(shapes, feature=["lawn", "pond"], plot=["p1", "p3"])
    found = build(street.plots(3), features=features)
    assert amounts(found, "lawn_short") == pytest.approx([200, -1, -1])
    assert amounts(found, "pond") == pytest.approx([4, -1, -1])
    (fault,) = (fault for fault in found.faults if "which it names" in fault.what)
    assert fault.row == 2


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"feature": ["pnod"]}, "'pnod' is not a feature"),
        ({"feature": [""]}, "does not say what it is"),
        ({"feature": ["pond; tree"]}, "has two features"),
        ({"feature": ["pond"], "amount": ["lots"]}, "'lots' says nothing"),
        ({"remark": ["pond"]}, "No column says what each mapped feature is"),
    ],
)
def test_faults(street, faults_of, columns, words):
    features = street.layer([street.square(2, 2, 2, 2)], **columns)
    (fault,) = (f for f in faults_of(street.plots(3), features=features) if f.severity == "error")
    assert words in fault.what
    assert fault.where == "features"


@pytest.mark.parametrize(
    ("shape", "words"),
    [(None, "not drawn"), ("nan", "corner without a place"), (shapely.Polygon(), "not drawn")],
)
def test_shapes_of_no_use(street, faults_of, shape, words):
    if shape == "nan":
        with np.errstate(invalid="ignore"):
            shape = shapely.linestrings([[np.nan, 210_000], [450_000, 210_000]])
    features = street.layer([shape], feature=["hedge"])
    (fault,) = (f for f in faults_of(street.plots(3), features=features) if f.severity == "error")
    assert words in fault.what


KNOWLEDGE = load_knowledge()


@settings(deadline=None, max_examples=30)
@given(
    st.lists(
        st.tuples(st.floats(0, 50), st.floats(0, 25), st.floats(0.5, 10), st.floats(0.5, 5)),
        min_size=1,
        max_size=6,
    )
)
def test_nothing_is_lost_inside_the_plots(boxes):
    """Lawns drawn wholly inside three plots: what the plots get is what was drawn."""
    left = shapely.box(0, 0, 20, 30)
    shapes = [shapely.affinity.translate(left, 450_000 + 20 * at, 210_000) for at in range(3)]

    plots = gpd.GeoDataFrame(
        {"id": ["a", "b", "c"], "kind": ["garden"] * 3}, geometry=shapes, crs=27700
    )
    drawn = gpd.GeoDataFrame(
        {"feature": ["paving"] * len(boxes)},
        geometry=[
            shapely.box(450_000 + x, 210_000 + y, 450_000 + x + w, 210_000 + y + h)
            for x, y, w, h in boxes
        ],
        crs=27700,
    )
    found = build_neighbourhood(plots, features=drawn, knowledge=KNOWLEDGE)
    assert np.nansum(found.answers.table()["paving"]) == pytest.approx(
        sum(w * h for _, _, w, h in boxes), rel=1e-6
    )
    assert found.features["amount"].sum() == pytest.approx(sum(w * h for _, _, w, h in boxes))
