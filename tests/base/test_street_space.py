"""Footways and verges of the street of conftest, and mapped ones, worked on paper.

Between carriageway (3 m from the middle line) and the plots (7 m) lie 4 m: a footway as wide as
the settings say (2 m) along the plots, and a verge of 2 m.
"""

import geopandas as gpd
import pytest
import shapely

from patchnet.base.street_space import find_street_space
from patchnet.base.streets import streets_of


def verges(base, name="Elm Road"):
    own = base.plots[(base.plots["kind"] == "verge") & (base.plots["street"] == name)]
    return shapely.union_all(own.geometry.to_numpy())


def footways(base, name="Elm Road"):
    own = base.footways[base.footways["name"] == name]
    return shapely.union_all(own.geometry.to_numpy())


def test_a_verge_along_the_terrace(row, street):
    """Three plots of 5 m side by side: one strip of 15 x 2 m, the footway as much behind it."""
    around = street.box(-1, 0, 16, 8)
    assert verges(row).intersection(around).symmetric_difference(
        street.box(0, 3, 15, 5)
    ).area == pytest.approx(0, abs=1e-6)
    assert footways(row).intersection(around).symmetric_difference(
        street.box(0, 5, 15, 7)
    ).area == pytest.approx(0, abs=1e-6)


def test_both_sides_of_the_street_and_side_streets(row, street):
    assert verges(row).intersection(street.box(0, -9, 20, 0)).area == pytest.approx(40)
    # Side Street's carriageway ends 2.5 m from c's side: a footway, and too little for a verge.
    assert footways(row, "Side Street").area == pytest.approx(2 * 30)
    assert verges(row, "Side Street").is_empty


def test_nothing_lies_on_plots_houses_or_carriageway(row, street):
    space = shapely.union_all([*row.footways.geometry, verges(row)])
    road = shapely.union_all([line.buffer(3) for line in street.lines.values()])
    for other in (*street.plots.values(), road):
        assert space.intersection(other).area == pytest.approx(0, abs=1e-6)


def test_widths_that_nobody_stated_stay_unknown(row):
    assert row.footways["width_m"].isna().all()
    assert set(row.roads["width_m"]) == {6.0}
    assert row.roads["speed_kmh"].to_numpy() == pytest.approx(20 * 1.609344)


def test_no_footway_where_the_map_says_so(knowledge, street):
    """sidewalk=right on a road drawn eastwards: none north of it, so all 4 m there are verge."""
    roads = gpd.GeoDataFrame(
        {"name": ["A"], "kind": ["street"], "width_m": [6.0], "walked": ["right"]},
        geometry=[shapely.LineString([(-5, 0), (15, 0)])], crs=street.crs,
    )  # fmt: skip
    grounds = gpd.GeoSeries([shapely.box(0, 7, 10, 30), shapely.box(0, -30, 10, -7)]).to_numpy()
    none = gpd.GeoDataFrame({"width_m": []}, geometry=[], crs=street.crs)

    def space(table):
        built = none.geometry.to_numpy()
        firm = [True, True]
        return find_street_space(
            grounds, gpd.np.array(firm), built, table, none, streets_of(table), knowledge
        )

    found = space(roads)
    assert found.footways.union_all().equals(shapely.box(0, -7, 10, -5))
    assert found.verges.area.sum() == pytest.approx(10 * 4 + 10 * 2)
    turned = space(roads.set_geometry(roads.geometry.reverse()))
    assert turned.footways.union_all().equals(shapely.box(0, 5, 10, 7))


def test_a_road_through_the_middle_of_a_plot_makes_no_strip(street):
    """An estate of 200 x 200 m with a road of its own: its edges are nowhere near the road."""
    base = street.base(
        parcels=street.parcels(estate=street.box(300, 0, 500, 200)),
        buildings=street.buildings(estate=street.box(350, 50, 380, 70)),
        roads=street.roads(estate=street.line((320, 100), (480, 100))),
    )
    (plot,) = base.plots[base.plots["parcel"] == "estate"].groupby("parcel").groups
    assert plot == "estate"
    assert "estate" not in set(base.footways["name"])
