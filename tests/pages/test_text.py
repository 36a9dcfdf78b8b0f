"""Numbers, months and columns in the words people read."""

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchnet.pages.kit import numbers
from patchnet.pages.kit import text_table as table
from patchnet.pages.kit.numbers import MONTHS, figure, metres, month_spans, span


@pytest.mark.parametrize("module", [numbers, table])
def test_examples(module):
    assert doctest.testmod(module).failed == 0


@given(st.floats(1e-6, 1e9))
def test_figures_are_within_five_percent(value):
    """Two significant digits are at most 0.5 in 10 off."""
    assert float(figure(value).replace(",", "")) == pytest.approx(value, rel=0.05)


@given(st.sets(st.integers(1, 12), min_size=1, max_size=11))
def test_month_spans_name_exactly_the_months(months):
    named = set()
    for part in month_spans(months).split(", "):
        ends = [MONTHS.index(name) for name in part.split("-")]
        at = ends[0]
        named.add(at + 1)
        while at != ends[-1]:
            at = (at + 1) % 12
            named.add(at + 1)
    assert named == months


def test_metres_never_say_nought_for_a_gap():
    assert metres(0.2) == "1 m"
    assert metres(0) == "next door"


def test_span():
    assert span(0, 3, 9) == "3 (0 to 9)"
    assert span(3, 3, 3.01) == "3"
