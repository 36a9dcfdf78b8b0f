"""How a record shows itself: at most 20 lines, and of each value how large it is."""

from dataclasses import make_dataclass

import numpy as np
import pandas as pd
import pytest

from patchnet.core.shown import Shown, in_short


def record(parts):
    """A record with so many parts, part k holding k."""
    made = make_dataclass("Record", [f"part{k}" for k in range(parts)], bases=(Shown,), repr=False)
    return made(*range(parts))


@pytest.mark.parametrize(("parts", "left"), [(3, 0), (19, 0), (20, 2), (25, 7)])
def test_what_does_not_fit_is_counted(parts, left):
    """With its title 20 lines: 19 parts, or 18 and a line that counts the others."""
    title, *lines = repr(record(parts)).splitlines()
    shown = parts - left
    assert title == "Record"
    assert lines[:shown] == [f"  part{k}: {k}" for k in range(shown)]
    assert lines[shown:] == ([f"  ...: {left} more"] if left else [])


def test_in_a_notebook_it_is_the_same_table():
    page = record(25)._repr_html_()
    assert page.startswith("<table><caption>Record</caption><tr>")
    assert page.count("<tr>") == 19
    assert "7 more" in page


class Street(Shown):
    name = "Alder Row"


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.5, "0.5"),
        (1_234_567.0, "1.23457e+06"),
        (7, "7"),
        (1_234_567, "1234567"),
        (False, "False"),
        ("two  words", "two  words"),
        (np.zeros((1200, 3)), "ndarray, 1,200 x 3"),
        (np.zeros(4), "ndarray, 4"),
        (pd.DataFrame({"a": [1, 2]}), "DataFrame, 2 x 1 rows and columns"),
        (pd.Series([1, 2, 3]), "Series, 3"),
        ({}, "none"),
        ([], "none"),
        (list("abcdef"), "6: a, b, c, d, e, f"),
        (list("abcdefg"), "7: a, b, c, d, e, f, ..."),
        (dict.fromkeys("abcdefg"), "7: a, b, c, d, e, f, ..."),
        ([None, None], "2"),
        (Street(), "Street Alder Row"),
        ("x" * 76, "x" * 76),
        ("x" * 77, "x" * 72 + " ..."),
        (complex(1, 2), "(1+2j)"),
    ],
)
def test_a_value_in_one_line(value, words):
    assert in_short(value) == words
