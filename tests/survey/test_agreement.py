"""Agreement of surveyors: against published tables, a reference library, and on paper."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.metrics import cohen_kappa_score

from patchnet.survey.agreement import agreement, cohens_kappa


def test_a_published_printout():
    """A 3 x 3 table whose simple kappa SAS PROC FREQ prints as 0.4842.

    Source: the printout quoted in the tests of statsmodels 0.15.0 (stats/tests/
    test_inter_rater.py, TestUnweightedCohens). On paper: 19 pairs, 13 alike; chance
    (5*0 + 8*13 + 6*6) / 19^2 = 140/361; kappa = (13/19 - 140/361) / (1 - 140/361) = 107/221.
    """
    found = cohens_kappa([[0, 4, 1], [0, 8, 0], [0, 1, 5]])
    assert found.pairs == 19
    assert found.kappa == pytest.approx(107 / 221)
    assert round(found.kappa, 4) == 0.4842


def test_a_handbook_table():
    """Two raters, 100 subjects: share 0.89, kappa 0.68.

    Source: Fleiss, Levin & Paik (2003) Statistical Methods for Rates and Proportions, 3rd ed.,
    chapter 18, diagnoses of 100 subjects (from memory). On paper: chance 0.8 x 0.8 + 0.1 x 0.05
    + 0.1 x 0.15 = 0.66; kappa = 0.23 / 0.34 = 0.676.
    """
    found = cohens_kappa([[75, 1, 4], [5, 4, 1], [0, 0, 10]])
    assert found.share == pytest.approx(0.89)
    assert found.kappa == pytest.approx(0.23 / 0.34)


def test_worse_than_chance_as_in_the_first_paper():
    """Kappa can be below nought: shares .25 .13 .12 / .12 .02 .16 / .03 .15 .02.

    Source: Cohen (1960), table of three categories (from memory). On paper: p_o = 0.29; chance
    0.5 x 0.4 + 0.3 x 0.3 + 0.2 x 0.3 = 0.35; kappa = -0.06 / 0.65 = -0.09.
    """
    found = cohens_kappa([[25, 13, 12], [12, 2, 16], [3, 15, 2]])
    assert found.share == pytest.approx(0.29)
    assert round(found.kappa, 2) == -0.09


@given(st.lists(st.tuples(st.booleans(), st.booleans()), min_size=2, max_size=60))
def test_as_a_reference_library_has_it(pairs):
    """scikit-learn's cohen_kappa_score on the same answers."""
    first, second = [a for a, _ in pairs], [b for _, b in pairs]
    table = np.zeros((2, 2), int)
    for a, b in pairs:
        table[int(a), int(b)] += 1
    found = cohens_kappa(table)
    if len({*first, *second}) == 1:
        assert math.isnan(found.kappa)
        assert found.share == 1
    else:
        wanted = cohen_kappa_score(first, second, labels=[False, True])
        assert found.kappa == pytest.approx(wanted)
        assert found.share == pytest.approx(np.mean(np.equal(first, second)))


def test_nothing_in_common():
    found = cohens_kappa(np.zeros((2, 2)))
    assert found.pairs == 0
    assert math.isnan(found.share)


def votes(*rows):
    columns = ["plot", "feature", "year", "person", "answer"]
    return pd.DataFrame(rows, columns=columns)


def test_pairs_of_people():
    """On paper. Pond: plot 1 Ann and Bob both there; plot 2 Ann not, Bob there; plot 3 three
    people say not: 3 pairs; plot 4 one cannot see: none; plot 5 in two years: none. So 5 pairs,
    1 both there, 1 differ, 3 both not: 4 of 5 alike. First raters (by name) say there 1 of 5,
    second ones 2 of 5: chance (1 x 2 + 4 x 3) / 25 = 14/25; kappa = (20 - 14) / (25 - 14) = 6/11.
    """
    table = votes(
        ("1", "pond", 2026, "ann", "there"),
        ("1", "pond", 2026, "bob", "there"),
        ("2", "pond", 2026, "ann", "not there"),
        ("2", "pond", 2026, "bob", "there"),
        ("3", "pond", 2026, "ann", "not there"),
        ("3", "pond", 2026, "bob", "not there"),
        ("3", "pond", 2026, "cy", "not there"),
        ("4", "pond", 2026, "ann", "cannot see"),
        ("4", "pond", 2026, "bob", "there"),
        ("5", "pond", 2025, "ann", "there"),
        ("5", "pond", 2026, "bob", "there"),
        ("1", "bog", 2026, "ann", "there"),
    )
    found = agreement(table)
    assert list(found.index) == ["pond"]
    row = found.loc["pond"]
    assert (row["both_there"], row["one_there"], row["both_not_there"]) == (1, 1, 3)
    assert row["pairs"] == 5
    assert row["share"] == pytest.approx(4 / 5)
    assert row["kappa"] == pytest.approx(6 / 11)


def test_who_contradicts_herself_is_in_no_pair():
    table = votes(
        ("1", "pond", 2026, "ann", "there"),
        ("1", "pond", 2026, "ann", "not there"),
        ("1", "pond", 2026, "bob", "there"),
    )
    assert not len(agreement(table))
