"""Series of public tables under attack; the long run is tests/benchmarks/release_attack.py."""

from datetime import date

import numpy as np
import pytest
from worlds.release_series import FEATURES, Series, given_away

from patchnet.core.errors import WrongUse
from patchnet.survey.release import release


@pytest.mark.parametrize("seed", [0, 1])
def test_two_hundred_releases_give_nothing_away(survey_knowledge, seed):
    series = Series(seed)
    series.run(survey_knowledge)
    lost, answers = given_away(series, insiders=2)
    assert series.handed_out == 200
    assert len(series.tables) >= 3
    assert answers > 400
    assert lost == 0


def test_without_the_ledger_answers_are_given_away(survey_knowledge):
    """The attack can succeed: the same events, each table made as if it were the first."""
    series = Series(0)
    series.run(survey_knowledge, releases=60, remember=False)
    assert len(series.tables) > 40
    assert given_away(series, insiders=1)[0] > 0


def test_forgetting_makes_no_new_table(survey_knowledge):
    """One household of twenty goes: the old table goes on, and says what it waits for."""
    series = Series(3, units=1)
    ledger = series.ledger()
    names = [name for name, one in series.people.items() if one.consent]
    said = np.array([[float(bool(series.people[n].answers[k])) for k in FEATURES] for n in names])

    def ask(ledger, gone=0, day=1):
        return release(
            ledger, names[gone:], said[gone:], FEATURES, knowledge=survey_knowledge,
            today=date(2026, 1, day),
        )  # fmt: skip

    ledger, first = ask(ledger)
    same, again = ask(ledger, day=2)
    assert same is ledger
    assert (again.classes, again.day, again.waits) == (first.classes, "2026-01-01", {})
    for gone in range(1, 5):
        kept, found = ask(ledger, gone=gone, day=3)
        assert kept is ledger
        assert (found.classes, found.day) == (first.classes, first.day)
        assert found.waits == {"u1": 5 - gone}
    new, fifth = ask(ledger, gone=5, day=4)
    assert new.number == 2
    assert fifth.day == "2026-01-04"


def test_what_happens_inside_a_batch_does_not_show(survey_knowledge):
    """Whoever came and went between two tables, only how things stand at the second counts."""
    series = Series(5, units=1)
    ledger = series.ledger()
    names = list(series.people)
    said = np.array([[float(bool(series.people[n].answers[k])) for k in FEATURES] for n in names])

    def ask(ledger, mine, day):
        return release(
            ledger, [names[at] for at in mine], said[mine], FEATURES,
            knowledge=survey_knowledge, today=date(2026, 1, day),
        )  # fmt: skip

    start, _ = ask(ledger, list(range(14)), 1)
    straight, one = ask(start, list(range(20)), 9)
    kept, _ = ask(start, [*range(14), 19], 2)
    kept, _ = ask(kept, list(range(16)), 3)
    turned, other = ask(kept, list(range(19, -1, -1)), 9)
    assert one.classes == other.classes
    assert straight.cells.equals(turned.cells)


def test_too_few_households(survey_knowledge):
    series = Series(1, units=1)
    with pytest.raises(WrongUse, match="10 households"):
        release(
            series.ledger(), list(series.people)[:9], np.ones((9, len(FEATURES))), FEATURES,
            knowledge=survey_knowledge, today=date(2026, 1, 1),
        )  # fmt: skip
