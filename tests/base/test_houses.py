"""Which building is a house, which a shed, and which parcel belongs to which house."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely import affinity

from patchnet.base import make_base
from patchnet.base.houses import houses_on, with_sheds
from patchnet.base.overlay import cut_away
from patchnet.core.errors import DataFaults


def buildings(*rows):
    """Give outline and whether its tags say that it is a house."""
    return gpd.GeoDataFrame(
        {"use": "house", "sure": [sure for _, sure in rows], "doors": [()] * len(rows)},
        geometry=[shape for shape, _ in rows], crs=27700,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("rows", "uses"),
    [
        # A garage of 36 m2, 6 m from a house of 80 m2 (2.2 times as large): an outbuilding.
        ([(shapely.box(0, 0, 10, 8), True), (shapely.box(16, 0, 22, 6), False)], ["house", "shed"]),
        # The same, but its tags say that it is a house.
        ([(shapely.box(0, 0, 10, 8), True), (shapely.box(16, 0, 22, 6), True)], ["house"] * 2),
        # 90 m2 is more than any shed, though the other is twice as large.
        ([(shapely.box(0, 0, 20, 10), True), (shapely.box(25, 0, 34, 10), False)], ["house"] * 2),
        # 30 m away it belongs to nobody.
        ([(shapely.box(0, 0, 10, 8), True), (shapely.box(40, 0, 46, 6), False)], ["house"] * 2),
        # A terrace of 45 m2 each beside a pub of 150 m2: houses, for they lean on their like.
        (
            [(shapely.box(5 * k, 0, 5 * k + 5, 9), False) for k in range(4)]
            + [(shapely.box(22, 0, 37, 10), False)],
            ["house"] * 5,
        ),
    ],
)
def test_sheds(knowledge, rows, uses):
    found = with_sheds(buildings(*rows), knowledge)["use"].tolist()
    assert found == [{"shed": "outbuilding"}.get(word, word) for word in uses]


def test_one_building_over_two_parcels_is_a_house_on_each(knowledge):
    """A pair drawn as one building: each parcel has its half, and they share a party wall."""
    grounds = np.array([shapely.box(0, 0, 9, 30), shapely.box(9, 0, 18, 30)])
    pair = buildings((shapely.box(3, 5, 15, 13), True))
    found = houses_on(grounds, pair, knowledge)
    assert [house.area for house in found.house] == [48, 48]
    assert found.count.tolist() == [1, 1]
    assert np.abs(found.party) == pytest.approx(np.array([[0, 1], [0, 1]]))


def test_a_house_that_leans_on_nobody_has_no_party_wall(knowledge):
    grounds = np.array([shapely.box(0, 0, 20, 30)])
    one = buildings((shapely.box(5, 5, 13, 13), True), (shapely.box(15, 20, 18, 23), False))
    found = houses_on(grounds, one, knowledge)
    assert np.isnan(found.party).all()
    assert found.built[0].area == 64 + 9


def test_a_house_with_a_parcel_of_its_own_is_joined_with_its_garden(street):
    """As in Czechia: parcel of the house 8 x 8 m, its garden round it another parcel."""
    house = street.box(105, 12, 113, 20)
    garden = street.box(100, 7, 118, 40).difference(house)
    base = street.base(
        parcels=street.parcels(house=house, garden=garden),
        buildings=street.buildings(house=house),
        roads=street.roads(),
    )
    (front, back) = base.plots[base.plots["parcel"] == "house + garden"].itertuples()
    assert "joined with the open parcel beside it (guessed)" in front.basis
    assert (front.geometry.area, back.geometry.area) == pytest.approx((18 * 5, 18 * 28 - 64))


def test_parcels_that_are_the_street_itself_are_no_plots(street):
    base = street.base(
        parcels=street.parcels(road=street.box(-14, -5, 130, 5)),
        buildings=street.buildings(), roads=street.roads(),
    )  # fmt: skip
    assert "road" not in set(base.plots["parcel"])
    assert len(base.plots[base.plots["kind"] == "verge"])


def test_ground_cut_away_piece_by_piece_is_ground_less_the_union():
    """A second route: difference with the union at once, on rings that overlap."""
    rng = np.random.default_rng(7)
    shapes = shapely.box(*(rng.uniform(0, 50, (12, 2)).T), *(rng.uniform(50, 99, (12, 2)).T))
    others = shapely.buffer(shapely.points(rng.uniform(0, 99, (30, 2))), rng.uniform(2, 15, 30))
    cut = cut_away(shapes, others)
    want = shapely.difference(shapes, shapely.union_all(others))
    assert shapely.area(cut) == pytest.approx(shapely.area(want))
    assert shapely.area(shapely.symmetric_difference(cut, want)).max() < 1e-6


def random_town(rng):
    """Houses at any angle over one another, roads that wander, parcels drawn anyhow."""
    houses = []
    for _ in range(rng.integers(1, 30)):
        (wide, deep), (x, y) = rng.uniform(3, 15, 2), rng.uniform(0, 120, 2)
        angle = rng.choice([0, 0, 30, 77.3, rng.uniform(0, 90)])
        houses.append(affinity.rotate(shapely.box(x, y, x + wide, y + deep), angle))
    roads = [
        shapely.LineString(np.cumsum(rng.normal(0, 40, (4, 2)), axis=0) + rng.uniform(0, 120, 2))
        for _ in range(rng.integers(0, 5))
    ]
    parcels = []
    for _ in range(rng.integers(0, 30)):
        (wide, deep), (x, y) = rng.uniform(2, 40, 2), np.round(rng.uniform(0, 120, 2))
        shape = shapely.box(x, y, x + wide, y + deep)
        parcels.append(affinity.rotate(shape, rng.choice([0, rng.uniform(0, 90)])))
    return {"buildings": houses, "roads": roads, "parcels": parcels}


@pytest.mark.parametrize("seed", range(12))
def test_any_town_gives_plots_that_share_no_ground_or_says_why_not(street, seed):
    rng = np.random.default_rng(seed)
    names = {"buildings": "building", "roads": "name", "parcels": "parcel_id"}
    tables = {
        key: gpd.GeoDataFrame(
            {names[key]: [f"{key[0]}{k % 7}" for k in range(len(shapes))]},
            geometry=[affinity.translate(s, 450_000, 210_000) for s in shapes], crs=27700,
        )
        for key, shapes in random_town(rng).items() if shapes
    }  # fmt: skip
    paths = {key: [path] for key, path in street.files(**tables).items()}
    try:
        base = make_base([], **paths, credits=["x"], knowledge=street.knowledge)
    except DataFaults as error:
        assert any("No plot came out" in fault.what for fault in error.faults)  # noqa: PT017
        return
    shapes = base.plots.geometry.to_numpy()
    assert shapely.is_valid(shapes).all()
    i, j = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    assert shapely.area(shapely.intersection(shapes[i], shapes[j]))[i < j].max(initial=0) < 0.01
    houses = base.buildings.geometry.to_numpy()
    i, j = shapely.STRtree(houses).query(shapes, predicate="intersects")
    assert shapely.area(shapely.intersection(shapes[i], houses[j])).max(initial=0) < 0.01
    assert base.plots["id"].is_unique
