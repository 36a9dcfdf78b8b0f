"""The body-size regression of Greenleaf et al. 2007, worked on paper."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchnet.core.errors import WrongUse
from patchnet.knowledge import homing_distance_m, is_ceiling, load_knowledge

KNOW = load_knowledge()

# Worked on paper: log10 km = a + b log10 mm, Greenleaf et al. 2007, Oecologia 153:589-596.
# 1 mm: log10 is 0, so 10^-1.643 km = 22.751 m and 10^-1.363 km = 43.351 m.
# 2.5 mm: log10 = 0.397940; -1.643 + 3.242 * 0.397940 = -0.352879 -> 443.73 m;
#         -1.363 + 3.366 * 0.397940 = -0.023534 -> 947.25 m.
# 5 mm: log10 = 0.698970; -1.643 + 2.266061 = 0.623061 -> 4,198.2 m;
#       -1.363 + 2.352733 = 0.989733 -> 9,766.4 m.
WORKED = [
    (1.0, 22.751, 43.351),
    (1.5, 84.701, 169.716),
    (2.0, 215.248, 446.958),
    (2.5, 443.733, 947.253),
    (3.0, 801.359, 1749.807),
    (3.5, 1320.896, 2939.903),
    (4.5, 2983.424, 6850.359),
    (5.0, 4198.177, 9766.366),
]


@pytest.mark.parametrize(("span", "typical", "maximum"), WORKED)
def test_worked_values(span, typical, maximum):
    assert homing_distance_m(span, knowledge=KNOW) == pytest.approx(typical, abs=0.01)
    found = homing_distance_m(span, knowledge=KNOW, which="maximum")
    assert found == pytest.approx(maximum, abs=0.01)


def test_natural_logs_would_be_told_apart():
    """e^(-1.643 + 3.242 ln 2.5) km = 3,772 m: the wrong reading is 8 times too far."""
    wrong = 1000 * math.exp(-1.643 + 3.242 * math.log(2.5))
    assert wrong == pytest.approx(3772.03, abs=0.01)
    assert homing_distance_m(2.5, knowledge=KNOW) < wrong / 8


@given(st.floats(1, 6), st.floats(1.01, 2))
def test_doubling_of_logs_is_a_power_law(span, factor):
    bigger = min(6.0, span * factor)
    ratio = homing_distance_m(bigger, knowledge=KNOW) / homing_distance_m(span, knowledge=KNOW)
    assert ratio == pytest.approx((bigger / span) ** 3.242, rel=1e-9)


@given(st.floats(1, 6))
def test_the_maximum_lies_above_the_typical(span):
    typical = homing_distance_m(span, knowledge=KNOW)
    assert homing_distance_m(span, knowledge=KNOW, which="maximum") > typical


def test_small_bees_have_no_ceiling():
    """Wright, Roberts & Collins 2015: bees under 1.5 mm at 250-370 m; maximum says 170 m."""
    assert homing_distance_m(1.5, knowledge=KNOW, which="maximum") < 250
    assert not is_ceiling(1.5, knowledge=KNOW)
    assert is_ceiling(2.0, knowledge=KNOW)


@pytest.mark.parametrize("span", [0, -1, 0.99, 6.01, math.nan, math.inf])
def test_spans_outside_the_range_are_refused(span):
    with pytest.raises(WrongUse, match="lies outside 1 to 6 mm"):
        homing_distance_m(span, knowledge=KNOW)


def test_unknown_line_is_refused():
    with pytest.raises(WrongUse, match="typical or maximum"):
        homing_distance_m(2, knowledge=KNOW, which="mean")
