"""Which plots are one household: by the id, by the label, or by lying on either side of a house."""

import geopandas as gpd
import pytest
import shapely

from patchnet.survey.households import households

FRONTS, BACKS = {"garden_front"}, {"garden_back"}


def street(*plots):
    """A plot is (id, kind, label, west): 5 m wide and 5 m deep, its south edge on y = 0."""
    idents, kinds, labels, wests = zip(*plots, strict=True)
    return gpd.GeoDataFrame(
        {"kind": kinds, "label": labels},
        index=list(idents),
        geometry=[shapely.box(west, 0, west + 5, 5) for west in wests],
        crs="EPSG:27700",
    )


def joined(*plots, reach_m=1.0):
    """Households of several plots, the others left out."""
    found = households(street(*plots), fronts=FRONTS, backs=BACKS, reach_m=reach_m)
    sets = {}
    for plot, first in found.items():
        sets.setdefault(first, []).append(plot)
    return [own for own in sets.values() if len(own) > 1]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("IP-4F", "IP-4B"), ("12 front", "12 back"), ("12_front", "12-rear garden"),
        ("7.F", "7 / b"), ("a front", "a BACK"),
    ],
)  # fmt: skip
def test_ids_that_differ_in_front_and_back_alone(one, other):
    plots = ((one, "garden_front", "", 0), (other, "garden_back", "", 100))
    assert joined(*plots) == [[one, other]]


@pytest.mark.parametrize(
    ("one", "other"),
    [("4F", "5B"), ("elf", "elB"), ("front", "back"), ("4FB", "4BF"), ("4A", "4C")],
)
def test_ids_that_differ_otherwise(one, other):
    plots = ((one, "garden_front", "", 0), (other, "garden_back", "", 100))
    assert joined(*plots) == []


def test_labels_with_a_number_tell_a_house():
    plots = (
        ("a", "garden_front", "12 Elm Road, front garden", 0),
        ("b", "garden_back", "Back 12  Elm road", 100),
        ("c", "garden_front", "14 Elm Road front", 200),
        ("d", "garden_front", "Elm Road front", 300),
        ("e", "garden_back", "Elm Road back", 400),
    )
    assert joined(*plots) == [["a", "b"]], "a street's name alone tells no house"


def test_only_halves_of_gardens_are_joined():
    plots = (
        ("12 front", "verge", "12 Elm Road", 0),
        ("12 back", "garden_back", "12 Elm Road", 100),
        ("x", "allotment", "12 Elm Road", 200),
    )
    assert joined(*plots) == []


@pytest.mark.parametrize(("reach_m", "wanted"), [(3.0, [["a", "b"]]), (2.99, [])])
def test_either_side_of_a_house(reach_m, wanted):
    """The front ends at x = 5, the back begins at x = 8: a house of 3 m lies between."""
    plots = (("a", "garden_front", "", 0), ("b", "garden_back", "", 8))
    assert joined(*plots, reach_m=reach_m) == wanted


def test_each_must_be_the_others_nearest():
    """From 5 to 8, from 13 to 15: back b is nearest to front c, so front a is alone."""
    plots = (
        ("a", "garden_front", "", 0), ("b", "garden_back", "", 8), ("c", "garden_front", "", 15),
    )  # fmt: skip
    assert joined(*plots, reach_m=9) == [["b", "c"]]


def test_whoever_has_a_half_already_is_not_joined_to_a_neighbour():
    """Front 4F has its back; the back next to it, of which nobody said whose it is, stays alone."""
    plots = (
        ("4F", "garden_front", "", 0), ("x", "garden_back", "", 6), ("4B", "garden_back", "", 50),
    )  # fmt: skip
    assert joined(*plots, reach_m=9) == [["4F", "4B"]]


def test_a_household_goes_by_its_first_plot_and_grows_over_id_and_label():
    """a and b by their ids, b and c by their labels; c comes before them in the table."""
    plots = (
        ("c", "garden_back", "9 Elm Road", 0),
        ("4F", "garden_front", "", 100),
        ("4B", "garden_back", "9 Elm Road back", 200),
        ("z", "verge", "", 300),
    )
    found = households(street(*plots), fronts=FRONTS, backs=BACKS, reach_m=1)
    assert found.to_dict() == {"c": "c", "4F": "c", "4B": "c", "z": "z"}
