"""The groups of households that the public reads of: where they are cut, called and drawn."""

import pandas as pd
import pytest
import shapely

from patchnet.survey.release_units import _names, _stretches, unit_shapes


def homes(*rows):
    """A row is (household, street, side, whether it takes part)."""
    table = pd.DataFrame(rows, columns=["household", "street", "side", "part"])
    table = table.set_index("household")
    return table[["street", "side"]], table["part"].astype(bool)


def cut(rows, least, usual):
    return ["".join(names) for names in _stretches(*homes(*rows), least, usual)]


def test_a_side_is_cut_into_pieces_of_at_least_the_usual_size():
    """Ten in pieces of four: two of five, as three would have three each."""
    rows = [(name, "Elm", "north", True) for name in "abcdefghij"]
    assert cut(rows, 3, 4) == ["abcde", "fghij"]
    assert cut(rows[:9], 3, 4) == ["abcde", "fghi"]
    assert cut(rows[:7], 3, 4) == ["abcdefg"]
    assert cut(rows[:3], 3, 4) == ["abc"], "no fewer than must be, though fewer than usual"


def test_who_takes_no_part_goes_with_the_one_before():
    """Of a and d nobody knows anything: a goes with b, as none stands before it; d with c."""
    rows = [(name, "Elm", "north", name not in "ad") for name in "abcdef"]
    assert cut(rows, 2, 2) == ["abcd", "ef"]


def test_too_few_go_to_a_unit_of_their_street_or_together():
    elm = [(name, "Elm", "north", True) for name in "abc"]
    south = [("d", "Elm", "south", True), ("e", "Elm", "south", False)]
    oak, pine = [("o", "Oak", "east", True)], [(name, "Pine", "", True) for name in "pq"]
    assert cut([*elm, *south], 3, 3) == ["abcde"]
    assert cut([*elm, *oak, *pine], 3, 3) == ["abc", "opq"]
    assert cut([*elm, *oak], 3, 3) == ["abco"], "too few together: to the last unit"
    assert cut([*oak, *pine], 4, 4) == []


def test_units_are_called_by_street_and_side_as_far_as_that_is_one():
    table, _ = homes(
        ("a", "Elm", "north", True), ("b", "Elm", "north", True), ("c", "Elm", "south", True),
        ("d", "Elm", "north", True), ("e", "Oak", "", True), ("f", "", "", True),
    )  # fmt: skip
    assert _names(table, ["ab", "d", "ac", "e", "ae", "f"]) == {
        "u1": "Elm, north (1)", "u2": "Elm, north (2)", "u3": "Elm", "u4": "Oak",
        "u5": "Several streets (1)", "u6": "Several streets (2)",
    }  # fmt: skip


PLOTS = pd.Series(
    {
        "a": shapely.box(0, 0, 10, 10),
        "b": shapely.box(11, 0, 21, 10),
        "c": shapely.box(10, 0, 11, 5),
        "d": shapely.box(50, 0, 60, 10),
    }
)


def drawn(units, join_m):
    table = pd.DataFrame({"plot": list(units), "unit": list(units.values())})
    return unit_shapes(table, PLOTS, join_m=join_m)


@pytest.mark.parametrize(("join_m", "area"), [(0.51, 210), (0.49, 200)])
def test_a_seam_of_a_metre_is_closed(join_m, area):
    """Two plots of 10 x 10 m, 1 m apart: 200 m2, and 10 m2 between them."""
    found = drawn({"a": "u1", "b": "u1", "d": "u2"}, join_m)
    assert found["u1"].area == pytest.approx(area)
    assert found["u1"].geom_type == ("Polygon" if area == 210 else "MultiPolygon")
    assert shapely.symmetric_difference(found["u2"], PLOTS["d"]).area == pytest.approx(0)


def test_no_seam_runs_over_another_unit():
    """Plot c fills half of the seam: 5 m2 are left of it."""
    found = drawn({"a": "u1", "b": "u1", "c": "u2"}, 0.51)
    assert found["u1"].area == pytest.approx(205)
    assert found["u2"].area == pytest.approx(5)
    assert shapely.intersection(found["u1"], found["u2"]).area == pytest.approx(0)
