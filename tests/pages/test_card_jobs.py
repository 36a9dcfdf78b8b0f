"""The jobs on a card: when each is done, why, and that no reason is told twice."""

from types import SimpleNamespace

import pytest

from patchnet.knowledge import load_knowledge
from patchnet.pages.sheets.card_jobs import cautions_of_card, heading_of, jobs_of, when_of
from patchnet.plan.plot_plan import Addition, Candidate, Reason, Stage, Suggestion

KNOW = load_knowledge()


def candidate(feature, months=tuple(range(1, 13))):
    return Candidate(feature, 1.0, "ground", 1.0, 0.0, 0.1, 10.0, months, (), ())


def plan(*additions, stage="season", kind="garden_back"):
    things = tuple(one.candidate for one in additions)
    best = Suggestion(additions, {}, 1.0, 1.0, (), ()) if additions else None
    return SimpleNamespace(
        best=best,
        places=None,
        stages=(Stage(stage, things, 1.0, 1.0, 1.0, 1.0),),
        answer=SimpleNamespace(kind=kind),
    )


@pytest.mark.parametrize(
    ("months", "stage", "said"),
    [
        (range(1, 13), "season", "Any weekend"),
        ((11,), "season", "November"),
        ((11, 12, 1, 2, 3), "season", "November to March"),
        ((3, 4, 5, 9, 10), "season", "March to May, September to October"),
        ((3,), "weekend", "This weekend"),
        ((3, 4), "next_year", "Next year, March to April"),
        ((3, 4), "when_owned", "When you own it, March to April"),
    ],
)
def test_when(months, stage, said):
    one = candidate("pond", tuple(months))
    assert when_of(one, plan(Addition(one, 1, 1, 1, (), ()), stage=stage)) == said


def test_a_reason_is_told_once_and_plots_go_by_their_names():
    joins = Reason("joins", group="moth", counts=(43, 31))
    few = Reason("few", metres=100, plots=(("A4", 23.4),))
    some = Reason("some", metres=100, plots=(("A5", 3.0),), counts=(7,))
    additions = (
        Addition(candidate("pond"), 1, 1, 1, (), (), reasons=(few, joins)),
        Addition(candidate("dead_wood_pile"), 1, 1, 1, (), (), reasons=(some, joins)),
        Addition(candidate("hedge_native"), 1, 1, 1, (), (), reasons=(some, joins)),
    )
    whys = [one.why for one in jobs_of(plan(*additions), KNOW, {"A4": "Lime Road 4"})]
    assert whys == [
        "Within 100 m only Lime Road 4 has one (23 m), and one more still helps.",
        "It joins two parts of the neighbourhood for the moth: 43 plots with 31.",
        "7 plots within 100 m have one, and one more still helps; the nearest is A5, 3 m.",
    ]


@pytest.mark.parametrize(
    ("count", "kind", "said"),
    [
        (3, "garden_back", "Three jobs for our garden"),
        (1, "garden_front", "One job for our garden"),
        (2, "balcony", "Two jobs for us"),
        (0, "garden_back", "Nothing new for us to do: keep what is there"),
    ],
)
def test_the_heading_counts_the_jobs(count, kind, said):
    made = [Addition(candidate("pond"), 1, 1, 1, (), ())] * count
    assert heading_of(plan(*made, kind=kind), KNOW) == said


def test_every_card_says_what_to_mind_about_roosts_and_nests():
    """Where a protected roost is goes on no card, so that it might be is said on all."""
    bare = SimpleNamespace(best=None, there=())
    ((words, jobs),) = [(one.words, one.jobs) for one in cautions_of_card(bare, KNOW)]
    assert "bats and nests" in words
    assert "licensed person" in words
    assert jobs == ()
