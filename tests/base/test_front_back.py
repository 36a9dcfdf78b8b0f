"""Front and back against a street drawn by hand, answers worked on paper (see conftest).

The building line runs along the front wall: a garden of 5 m width before a wall that stands 3 m
behind the plot's edge has 15 m2. What lies beside a house counts as back (common practice, after
the principal elevation of British planning).
"""

import numpy as np
import pytest
import shapely

from patchnet.base.front_back import building_line


def areas(base, parcel):
    """Square metres of front, back and whole of one parcel."""
    own = base.plots[base.plots["parcel"] == parcel]
    return {part: shape.area for part, shape in zip(own["part"], own.geometry, strict=True)}


PAPER = {
    # front, back
    "t1": (5 * 3 - 1.5 * 0.6, 5 * 19),  # the bay stands before the line, which it does not move
    "t2": (5 * 3, 5 * 19),
    "t3": (5 * 3, 5 * 19),
    "s1": (9 * 5, 3 * 8 + 9 * 17),  # side passage and garden behind
    "s2": (9 * 5, 3 * 8 + 9 * 17),
    "a": (7 * 5, 7 * 17),
    "c": (7 * 5, 2 * 8 + 7 * 17),  # Elm Road by the party wall; the side along Side Street is back
    "w": (10 * 5, 10 * 25 - 5 * 8),  # Elm Road by the shorter side
    "f": (20 * 6 + 3 * 33, 20 * 14 - 8 * 8),  # the drive lies before the house
    "g": (17 * 5, 17 * 28 - 8 * 8 - 3 * 3),  # the shed is taken out of the back
    "e": (20 * 5, 20 * 25 - 8 * 8),
}


@pytest.mark.parametrize("parcel", PAPER)
def test_areas_on_paper(row, parcel):
    front, back = PAPER[parcel]
    assert areas(row, parcel) == pytest.approx({"front": front, "back": back}, abs=1e-6)


def test_parcel_without_building_stays_whole(row):
    assert areas(row, "n") == pytest.approx({"whole": 300})
    (plot,) = row.plots[row.plots["parcel"] == "n"].itertuples()
    assert plot.kind == "other"
    assert plot.basis == "whole parcel, no building known on it"


def test_two_houses_on_one_plot_are_not_split(row):
    assert areas(row, "d") == pytest.approx({"whole": 30 * 30 - 2 * 64})
    (plot,) = row.plots[row.plots["parcel"] == "d"].itertuples()
    assert plot.kind == "garden"
    assert plot.front_back_basis == "not split: 2 houses on one plot"


@pytest.mark.parametrize(
    ("parcel", "words"),
    [
        ("t2", "faces Elm Road"),
        ("c", "a corner: Elm Road guessed, by its party wall"),
        ("w", "a corner: Elm Road guessed, the shorter side"),
        ("f", "reached from Elm Road by its drive"),
    ],
)
def test_how_it_was_told_is_said(row, parcel, words):
    own = row.plots[row.plots["parcel"] == parcel]
    assert set(own["front_back_basis"]) == {words}
    assert set(own["street"]) == {"Elm Road"}
    assert set(own["kind"]) == {"garden_front", "garden_back"}


def test_an_address_decides_a_corner(street):
    """West Street is west of w: what lies before its west wall (3 m wide) is the front."""
    base = street.base(
        parcels=street.parcels(),
        buildings=street.buildings(address={"w": "West Street"}),
        roads=street.roads(),
    )
    assert areas(base, "w") == pytest.approx({"front": 3 * 30, "back": 7 * 30 - 40})
    own = base.plots[base.plots["parcel"] == "w"]
    assert set(own["front_back_basis"]) == {"faces West Street (a corner), by its address"}


def test_a_house_on_the_street_has_no_front_garden(street):
    base = street.base(
        parcels=street.parcels(),
        buildings=street.buildings(t2=street.box(5, 7, 10, 18)),
        roads=street.roads(),
    )
    assert areas(base, "t2") == pytest.approx({"back": 95})
    own = base.plots[base.plots["parcel"] == "t2"]
    assert own["front_back_basis"].iloc[0].endswith("no front garden")


def test_front_and_back_and_buildings_are_the_parcel(row, street):
    """No ground is lost and none counted twice."""
    built = shapely.union_all(list(street.houses.values()))
    for parcel, shape in street.plots.items():
        garden = shape.difference(built).area
        assert sum(areas(row, parcel).values()) == pytest.approx(garden, abs=1e-6)


@pytest.mark.parametrize("turn", [0, 17, 45, 90, 203])
def test_building_line_turns_with_the_street(knowledge, turn):
    """A house 10 x 8 m whose front wall is 5 m from the street, turned by any angle."""
    house = shapely.box(-5, 0, 5, 8)
    angle = np.radians(turn)
    turning = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    turned = shapely.transform(house, lambda xy: xy @ turning.T)
    front, offset = building_line(turned, turning @ np.array([1.0, -5.0]), knowledge)
    assert front == pytest.approx(turning @ np.array([0.0, -1.0]), abs=1e-9)
    assert offset == pytest.approx(0.0, abs=1e-9)


def test_a_street_at_an_angle_leaves_the_line_along_the_house(knowledge):
    """The nearest corner sees the road 20 degrees off the front: the wall still gives the line."""
    front, offset = building_line(shapely.box(0, 0, 10, 8), np.array([0.0, -5.0]), knowledge)
    assert front == pytest.approx([0, -1])
    front, offset = building_line(
        shapely.box(0, 0, 10, 8), np.array([-5 * np.sin(0.35), -5 * np.cos(0.35)]), knowledge
    )
    assert front == pytest.approx([0, -1])
    assert offset == pytest.approx(0)


def test_a_wing_that_takes_half_the_front_is_the_front(knowledge):
    """L-shape: a wing of 5 of 10 m stands 3 m forward; a porch of 2 of 10 m does not count."""
    body = shapely.box(0, 0, 10, 8)
    wing = shapely.union(body, shapely.box(0, -3, 5, 0))
    porch = shapely.union(body, shapely.box(4, -2, 6, 0))
    toward = np.array([5.0, -9.0])
    assert building_line(wing, toward, knowledge)[1] == pytest.approx(3)
    assert building_line(porch, toward, knowledge)[1] == pytest.approx(0)
