"""Heights of buildings: stated, from storeys, not known, and nonsense."""

import numpy as np
import pytest


@pytest.fixture
def heights(street, build):
    """Heights that come of columns of buildings, and the warnings about buildings."""

    def found(columns=None, **cells):
        count = len(next(iter(cells.values())))
        shapes = [street.square(20.0 * at, wide=8, high=9) for at in range(count)]
        hood = build(street.plots(2), buildings=street.layer(shapes, **cells), columns=columns)
        told = [fault for fault in hood.faults if fault.where == "buildings"]
        return hood.buildings["height_m"].to_numpy(), told

    return found


@pytest.mark.parametrize("column", ["height", "height_m", "Height M"])
def test_stated_heights_in_metres(heights, column):
    found, told = heights(**{column: ["7.5", "8 m", "", "not known", "6,5"]})
    np.testing.assert_array_equal(found, [7.5, 8, np.nan, np.nan, 6.5])
    assert not told


@pytest.mark.parametrize("column", ["storeys", "building:levels", "floors"])
def test_storeys_count_three_metres_each(heights, column):
    """Setting storey_height_m: 3 m; 2 storeys 6 m, 2.5 storeys 7.5 m."""
    found, told = heights(**{column: [2, 2.5, None]})
    np.testing.assert_array_equal(found, [6, 7.5, np.nan])
    assert not told


def test_a_stated_height_stands_over_storeys(heights):
    found, told = heights(height=["9", "", "-3"], storeys=["2", "2", "2"])
    np.testing.assert_array_equal(found, [9, 6, 6])
    assert [fault.row for fault in told] == [3]


def test_nonsense_heights_are_told_and_not_known(heights):
    """Setting building_height_max_m: 200 m; 70 storeys are 210 m."""
    found, told = heights(height=["0", "-4", "850", "tall", "25 ft", "inf", "7"])
    np.testing.assert_array_equal(found, [np.nan] * 6 + [7])
    assert all("impossible" in fault.what for fault in told)
    assert all("1-200" in fault.mend for fault in told)
    named = " ".join(f"{fault.row} {fault.what}" for fault in told)
    assert "6" in named
    found, told = heights(storeys=["70", "0", "two"])
    assert np.isnan(found).all()
    assert [(f.severity, f.row) for f in told] == [("warning", 1), ("warning", 2), ("warning", 3)]
    assert told[0].what == "The number of storeys '70' is impossible and was not used."


def test_the_user_may_name_the_columns(heights):
    found, _ = heights(columns={"storeys": "etages"}, etages=["4"])
    np.testing.assert_array_equal(found, [12])


def test_nothing_said(heights, build, street):
    found, told = heights(name=["x", "y"])
    assert np.isnan(found).all()
    assert not told
    none = build(street.plots(2)).buildings
    assert list(none.columns) == ["geometry", "name", "height_m"]
    assert none["height_m"].dtype == float
    assert "height_m" not in build(street.plots(2)).roads.columns
