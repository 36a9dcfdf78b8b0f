"""Labels on a sheet's map: none over another, none over the plot, whatever lies where."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, box

from patchnet.pages.kit.inline import asset

pytestmark = pytest.mark.browser

WIDE, HIGH = 360, 330  # what a phone's sheet leaves of the map
LAY = """([wanted, taken, wide, high]) => {
  const free = freeSpace();
  for (const one of taken) free.take(...one);
  return layLabels(wanted, [0, 0, wide, high], free);
}"""


@pytest.fixture(scope="module")
def lay(browser):
    tab = browser.new_page()
    script = asset("map/script/labels.js")
    tab.evaluate(
        f"(0, eval)({json.dumps(script + 'Object.assign(window, {freeSpace, layLabels})')})"
    )
    yield lambda wanted, taken=(): tab.evaluate(LAY, [wanted, list(taken), WIDE, HIGH])
    tab.close()


def around(x, y, wide, high):
    return box(x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)


def sound(wanted, taken, laid):
    """By shapely, not by the page's own grid of boxes."""
    boxes = [around(*at, *one[2:]) for one, at in zip(wanted, laid, strict=True) if at is not None]
    frame = box(0, 0, WIDE, HIGH)
    closed = [around(*one) for one in taken] + [Point(*one[:2]) for one in wanted]
    for at, one in enumerate(boxes):
        assert frame.buffer(1e-6).contains(one)
        for other in (*boxes[:at], *closed):
            assert one.intersection(other).area < 1e-6
            assert not one.buffer(-1e-6).intersects(other)
    return boxes


def test_one_label_stands_above_its_point(lay):
    """A free map: the first way out is straight up, 6 px from the point to the label's edge."""
    assert lay([[180, 160, 120, 23]]) == [[180, pytest.approx(160 - 23 / 2 - 6)]]


def test_five_of_one_point_all_find_room(lay):
    """Five gifts of one neighbour: one point, five labels of 120 x 23 px, the plot beside it."""
    wanted = [[180, 160, 120, 23]] * 5
    plot = [180, 230, 60, 110]
    assert len(sound(wanted, [plot], lay(wanted, [plot]))) == 5


def test_a_label_wider_than_the_map_is_left_out(lay):
    assert lay([[100, 100, WIDE + 1, 23], [100, 200, 90, 23]])[0] is None


spots = st.tuples(
    st.floats(-20, WIDE + 20), st.floats(-20, HIGH + 20), st.floats(30, 260), st.just(23.0)
)
plots = st.tuples(st.floats(0, WIDE), st.floats(0, HIGH), st.floats(5, 200), st.floats(5, 200))


@settings(max_examples=60, deadline=None)
@given(st.lists(spots, max_size=8), st.lists(plots, max_size=3))
def test_nothing_lies_over_anything_however_hostile(lay, wanted, taken):
    sound(wanted, taken, lay([list(one) for one in wanted], [list(one) for one in taken]))


def test_neighbours_along_a_row_are_nearly_all_named(lay):
    """Gardens 6 m broad side by side, 3 px a metre, five of them named: all find room."""
    at = 180 + 18 * np.arange(-2, 3)
    wanted = [[float(x), 150.0, 110.0, 23.0] for x in at]
    plot = [180.0, 215.0, 18.0, 60.0]
    assert len(sound(wanted, [plot], lay(wanted, [plot]))) == 5
