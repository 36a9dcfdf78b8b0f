"""A cell as text, whatever type it had; and what a spreadsheet would run as a formula."""

import numpy as np
import pandas as pd
import pytest

from patchnet.core.cells import as_text, as_written, harmless, texts, whole_number


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""),
        (pd.NaT, ""),
        (pd.NA, ""),
        (float("nan"), ""),
        (np.float32("nan"), ""),
        ("  a\0b ", "ab"),
        (True, "yes"),
        (np.False_, "no"),
        (7, "7"),
        (np.int64(-7), "-7"),
        (7.0, "7"),
        (-7.25, "-7.25"),
        (np.float64(0.1), "0.1"),
        (999_999_999_999_999.0, "999999999999999"),
        (1e15, "1000000000000000.0"),
        (1e300, "1e+300"),
        (float("inf"), "inf"),
        ([1.0, "b", None], "1; b; "),
        ((True,), "yes"),
        (np.array([1, 2]), "1; 2"),
        (pd.Timestamp("2026-05-02"), "2026-05-02 00:00:00"),
    ],
)
def test_a_cell_as_text(value, text):
    assert as_text(value) == text
    assert texts([value, value]) == [text, text]


@pytest.mark.parametrize("cell", ["=1+1", "+a", "-x", "@sum", "\tx", "\rx", "\nx", "-1-1", "+1 m"])
def test_what_would_be_run_gets_an_apostrophe(cell):
    assert harmless(cell) == f"'{cell}"
    assert as_written(f"'{cell}") == cell


@pytest.mark.parametrize("cell", ["", "a", "1=1", "-2", "+2,5", "-2.5e-3", "1e5", "'a", "''=1"])
def test_all_else_stays(cell):
    assert harmless(cell) == cell
    assert as_written(cell) == cell


@pytest.mark.parametrize(
    ("text", "bare"),
    [("7.0", "7"), ("07.00", "07"), ("7.", "7."), ("7.5", "7.5"), ("7.05", "7.05"), ("a.0", "a.0")],
)
def test_an_id_without_the_noughts_of_a_spreadsheet(text, bare):
    assert whole_number(text) == bare
