"""A plan for a whole street: jobs chosen beside each other, and what is told of them."""

import dataclasses
import json
import math
from collections import Counter
from itertools import combinations, pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds.garden_rows import FEATURES, TABLES, changed, garden_row, linked
from worlds.small_streets import few_things, in_one_draw, most_of_all, small_street

from patchnet.assess import assess
from patchnet.core.errors import DataFaults, WrongUse
from patchnet.knowledge.records import Figure
from patchnet.pages.kit.street_words import told_words
from patchnet.pages.sheets.street_sheet import street_sheet
from patchnet.pages.terminal.json_text import json_text
from patchnet.pages.terminal.together_text import together_text
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plan_together import plan_together
from patchnet.plan.plot_plan import Candidate
from patchnet.plan.plot_sets import PlotSet, PlotSets, plan_sets
from patchnet.plan.street_in_draws import StreetInDraws, runs_of
from patchnet.plan.street_plan_file import plan_record, read_street_plan
from patchnet.plan.street_rules import StreetRules
from patchnet.plan.street_search import StreetSearch, _in_doubt
from patchnet.plan.street_variety import JobVariety, effective_jobs
from patchnet.plan.waiting import in_time

GROUPS = ("newt", "wren")


# on paper -------------------------------------------------------------------------------------


def newt_street(street, knowledge, amounts):
    """A home a square metre of pond, two of damp cover for each; a log pile gives two.

    As in tests/assess/test_what_if.py; what is added counts in full at once.
    """
    tables = knowledge(amount=2, step_min=100)
    give = dict(zip(("nest", "food"), ("pond", "log_pile"), strict=True))
    supplies = tuple(
        dataclasses.replace(
            one,
            feature=give[one.feature],
            amount=dataclasses.replace(one.amount, value=2.0 if one.feature == "food" else 1.0),
        )
        for one in tables.supplies
    )
    more = {
        key: Figure(key, 1.0, "", 1.0, 1.0, "assumption", ("patchnet",), "", "here")
        for key in ("years_ahead", "years_pace", "worth_first_homes")
    }
    tables = dataclasses.replace(
        tables,
        features={give[key]: value for key, value in tables.features.items()},
        supplies=supplies,
        settings={**tables.settings, **more},
    )
    place = street(amounts, lefts=[0, 10])
    answers = dataclasses.replace(place.answers, features=("pond", "log_pile"))
    return assess(dataclasses.replace(place, answers=answers), knowledge=tables)


def by_hand(plot, things, *, size=1, cost=10.0, hours=1.0):
    """What a plot can take: everything fits."""
    candidates = tuple(
        Candidate(key, amount, "ground", 0.0, 0.0, hours, cost, (1,), (), ())
        for key, amount in things.items()
    )
    return PlotSets(
        plot, candidates, size, frozenset(),
        lambda chosen: (tuple(chosen), {one.feature: one.amount for one in chosen}),
        lambda _: 0.0,
    )  # fmt: skip


def searched(answer, sets, rules=None, **options):
    with StreetInDraws(answer, None, weight=np.ones(1), first=1.0) as drawn:
        rules = rules or StreetRules(tuple(sets))
        return StreetSearch(drawn, sets, rules, **options).search()


def test_neighbours_do_different_jobs_where_a_second_pond_would_only_share(street, knowledge):
    """Two plots that touch; one log pile there: 2 m2 of cover, enough for one home.

    Alone a pond of 2 m2 wins one home (room for 2, cover for 1): log((1 + 1) / (0 + 1)) = log 2,
    a log pile nothing. So both own sets are ponds, and together they still hold one home: log 2.
    A pond here and a log pile there: room for 2, cover for 2 homes: log 3.
    """
    answer = newt_street(street, knowledge, [(0, 1), (0, 0)])
    sets = {plot: by_hand(plot, {"pond": 2.0, "log_pile": 1.0}) for plot in ("p1", "p2")}
    found = searched(answer, sets)
    assert dict(found.own) == {"p1": (0,), "p2": (0,)}
    assert found.own_worth == pytest.approx([math.log(2)])
    assert sorted(found.chosen.values()) == [(0,), (1,)]
    assert found.worth == pytest.approx([math.log(3)])


def test_two_plots_change_at_once_where_neither_wins_anything_by_itself(street, knowledge):
    """Nothing there. A pond alone has no cover, a log pile alone no pond: both win 0.

    Together: room for 1, cover for 1: log 2. No single move gets there; a pair does.
    """
    answer = newt_street(street, knowledge, [(0, 0), (0, 0)])
    sets = {plot: by_hand(plot, {"pond": 1.0, "log_pile": 1.0}) for plot in ("p1", "p2")}
    found = searched(answer, sets)
    assert set(found.own.values()) == {()}
    assert found.worth == pytest.approx([math.log(2)])


def test_what_was_accepted_stays_and_the_other_does_what_is_lacking(street, knowledge):
    """Plot 1 has accepted the log pile: then the pond is plot 2's, as worked out above."""
    answer = newt_street(street, knowledge, [(0, 0), (0, 0)])
    sets = {plot: by_hand(plot, {"pond": 1.0, "log_pile": 1.0}) for plot in ("p1", "p2")}
    found = searched(answer, sets, fixed={"p1": (1,)})
    assert dict(found.chosen) == {"p1": (1,), "p2": (0,)}
    assert found.worth == pytest.approx([math.log(2)])


@pytest.mark.parametrize(
    "limits", [{"budget": 10.0}, {"hours": 1.5}, {"jobs": 1}], ids=["money", "hours", "jobs"]
)
def test_limits_of_the_street_hold(street, knowledge, limits):
    """One thing of money 10 and an hour is all there is: a pond where cover is, log 2."""
    answer = newt_street(street, knowledge, [(0, 1), (0, 0)])
    sets = {plot: by_hand(plot, {"pond": 2.0, "log_pile": 1.0}) for plot in ("p1", "p2")}
    found = searched(answer, sets, StreetRules(("p1", "p2"), **limits))
    assert sorted(found.chosen.values()) == [(), (0,)]
    assert found.worth == pytest.approx([math.log(2)])


def test_money_is_shared_out_among_the_parts_of_the_street():
    """60 for six plots, four here and two there: 40 and 20."""
    plots = tuple("abcdef")
    rules = StreetRules(
        plots, budget=60, parts=dict.fromkeys("abcd", "A") | dict.fromkeys("ef", "B")
    )
    one = PlotSet((), {}, 20.0, 0.0)
    assert rules.allows(dict.fromkeys("ab", one) | {"e": one})
    assert not rules.allows(dict.fromkeys("ef", one))
    assert not rules.allows(dict.fromkeys("abc", one))
    assert StreetRules(plots, budget=60).allows(dict.fromkeys("abc", one))


def test_effective_number_of_jobs():
    """Four jobs of four sorts count 4; three ponds and a hedge 4 / 3^(3/4); none 0."""
    assert effective_jobs([1, 1, 1, 1]) == pytest.approx(4)
    assert effective_jobs([3, 1, 0]) == pytest.approx(4 / 3**0.75)
    assert effective_jobs([]) == 0


def test_a_rarer_job_is_held_worth_more():
    """On paper: of two ponds and two hedges one pond becomes a log pile: 2 to e^H, H of 1:2:1.

    H = 2 (1/4) ln 4 + (1/2) ln 2 = (3/2) ln 2 in place of ln 2: half of ln 2 more. Back again it
    is as much less, and without a weight it is nothing.
    """
    jobs = JobVariety({"pond": 2, "hedge": 2}, 0.1)
    assert jobs.more(["pond"], ["logs"]) == pytest.approx(0.05 * math.log(2))
    after = JobVariety({"pond": 1, "hedge": 2, "logs": 1}, 0.1)
    assert after.more(["logs"], ["pond"]) == pytest.approx(-0.05 * math.log(2))
    assert JobVariety(jobs.counts, 0.0).more(["pond"], ["logs"]) == 0
    assert JobVariety({}, 0.1).more([], ["pond"]) == 0


def test_a_race_ends_where_one_surely_leads():
    """Student's t of 3 degrees of freedom, 97.5 %: 3.182 (a table of any handbook of statistics).

    Draws -1, 0, 0, 1 about a mean have a standard error of sqrt(2/3) / 2 = 0.408: what leads by
    1.31 surely leads (3.182 x 0.408 = 1.299), by 1.29 it does not. Three draws are too few.
    """
    about = np.array([-1.0, 0.0, 0.0, 1.0])
    steady = np.full(4, 5.0)
    assert _in_doubt({(0,): steady + 1.31 + about, (1,): steady}) == []
    assert _in_doubt({(0,): steady + 1.29 + about, (1,): steady}) == [(0,), (1,)]
    assert _in_doubt({(0,): steady[:3] + 9, (1,): steady[:3]}) == [(0,), (1,)]
    # What surely loses against things as they are is not asked again, nor is it in the way.
    assert _in_doubt({(0,): 0.3 + about, (1,): about - 9}) == [(0,)]
    assert _in_doubt({}) == []


def test_draws_come_in_runs_of_one_ground():
    assert runs_of(range(3, 11)) == [[3, 4], [5, 6, 7, 8, 9], [10]]


def test_a_run_alone_is_work_for_two():
    assert runs_of(range(5)) == [[0, 1, 2], [3, 4]]
    assert runs_of([7]) == [[7]]


# small streets --------------------------------------------------------------------------------


@pytest.mark.parametrize(("seed", "size", "things"), [(1, 2, 2), (4, 1, 4)])
def test_all_plans_tried_find_none_better_and_none_passes_the_bound(seed, size, things):
    """Three gardens, four things, two at most on each: the search finds the best of 1,331 plans."""
    answer = small_street(seed, plots=3, groups=GROUPS)
    sets = few_things(
        answer, things=("pond", "dead_wood_pile", "hedge_native", "leaf_pile"), size=2
    )
    best = most_of_all(answer, sets)
    with in_one_draw(answer) as drawn:
        search = StreetSearch(drawn, sets, StreetRules(tuple(sets)))
        found = search.search()
        singles = {plot: [each.of(one) for one in each.singles] for plot, each in sets.items()}
        takes = np.array([(one.cost, one.hours, 1) for each in singles.values() for one in each])
        [bound] = drawn.ceiling(
            {plot: [one.change for one in each] for plot, each in singles.items()},
            takes, (None, None, None), dict.fromkeys(sets, size),
        )  # fmt: skip
    assert found.worth == pytest.approx([best], rel=1e-9)
    assert float(found.worth[0]) >= float(found.own_worth[0]) - 1e-12
    assert best <= bound + 1e-9


@given(seed=st.integers(0, 2**16))
@settings(max_examples=2, deadline=None, derandomize=True)
def test_the_order_of_the_plots_does_not_matter(seed):
    answer = small_street(seed, plots=3, groups=("newt",))
    place = answer.neighbourhood
    order = np.random.default_rng(seed).permutation(3)
    index, answers = place.plots.index[order], place.answers
    turned = dataclasses.replace(
        place,
        plots=place.plots.iloc[order],
        answers=dataclasses.replace(
            answers, plots=index, amount=answers.amount[order], sized=answers.sized[order],
            sure=answers.sure[order],
        ),
    )  # fmt: skip
    other = assess(turned, knowledge=TABLES, groups=["newt"], straight=True)
    chosen = []
    for one in (answer, other):
        sets = few_things(one, things=("pond", "dead_wood_pile"), size=2)
        with in_one_draw(one) as drawn:
            chosen.append(dict(StreetSearch(drawn, sets, StreetRules(tuple(sets))).search().chosen))
    assert chosen[0] == chosen[1]


# a street with the shipped tables -------------------------------------------------------------


@pytest.fixture(scope="module")
def answer():
    place = garden_row(np.random.default_rng(2), count=4, share=0.1, gaps=(0.0, 0.4))
    return assess(place, knowledge=TABLES, groups=list(GROUPS), straight=True)


@pytest.fixture(scope="module")
def plan(answer):
    return plan_together(answer, plots=["p0", "p1", "p3"])


def share(key):
    """Votes of an animal over those of all."""
    return TABLES.groups[key].weight.value / sum(TABLES.groups[k].weight.value for k in GROUPS)


def test_totals_are_those_of_the_street_assessed_from_the_start(answer, plan):
    """What is added as it counts in some years, entered by hand."""
    done = answer.neighbourhood
    for plot, change in plan.changes.items():
        done = changed(done, int(plot[1:]), in_time(change, TABLES))
    anew = assess(done, knowledge=TABLES, groups=list(GROUPS), straight=True)
    assert [*plan.linked.values()] == pytest.approx(linked(anew), rel=1e-9)
    assert [*plan.now.values()] == pytest.approx(linked(answer), rel=1e-12)
    won = sum(
        share(key) * math.log((plan.linked[key] + 0.5) / (plan.now[key] + 0.5)) for key in GROUPS
    )
    assert plan.worth == pytest.approx(won, rel=1e-9)


def test_a_plan_keeps_to_its_words(answer, plan):
    assert [house.plots for house in plan.houses] == [("p0",), ("p1",), ("p3",)]
    assert "p2" not in plan.changes
    assert plan.worth >= plan.own_worth - 1e-12 > 0
    assert plan.bound_of <= plan.bound
    assert 0 < plan.share_of_bound <= 1
    for house in plan.houses:
        assert len(house.jobs) <= 3
        sorts = {TABLES.features[job.candidate.feature].sort for job in house.jobs}
        assert not sorts or sorts & {"flowers", "grass", "woody", "water", "decay", "soil"}
        assert "feeding" not in sorts
    busy = [house for house in plan.houses if house.jobs]
    assert sorted(house.order for house in busy) == list(range(1, len(busy) + 1))
    worths = [worth for _, worth in plan.curve]
    assert plan.curve[-1] == (len(busy), pytest.approx(plan.worth))
    assert all(later >= earlier - 1e-9 for earlier, later in pairwise(worths))
    assert sum(part.jobs for part in plan.parts) == len(plan.jobs)
    kinds = Counter(job.candidate.feature for job in plan.jobs)
    assert plan.effective == pytest.approx(effective_jobs(kinds.values()))


def test_a_house_said_to_be_its_part_is_what_the_street_loses_without_it(answer, plan):
    """W(all) - W(all without it), by assessing both; in portions, so to some parts in a hundred."""
    house = max(plan.houses, key=lambda one: one.share)
    [plot] = house.plots
    done = answer.neighbourhood
    for other, change in plan.changes.items():
        if other != plot:
            done = changed(done, int(other[1:]), in_time(change, TABLES))
    without = linked(assess(done, knowledge=TABLES, groups=list(GROUPS), straight=True))
    now, after = np.array([*plan.now.values()]), np.array([*plan.linked.values()])
    worth = sum(
        share(key) * np.log((after[k] + 0.5) / (without[k] + 0.5)) for k, key in enumerate(GROUPS)
    )
    assert house.share == pytest.approx(worth / plan.worth, rel=0.1)
    assert house.part == pytest.approx(float((after - without).sum()), rel=0.1)
    assert (now <= after + 1e-9).any()


def test_yes_stays_no_goes_and_a_house_less_never_wins_more(answer, plan):
    busy = [house.plots[0] for house in plan.houses if house.jobs]
    kept, gone = busy[0], busy[-1]
    later = plan_together(answer, plots=["p0", "p1", "p3"], earlier=plan, yes=[kept], no=[gone])
    house = later.house_of(kept)
    assert house.answer == "yes"
    assert {job.candidate.feature for job in house.jobs} == {
        job.candidate.feature for job in plan.house_of(kept).jobs
    }
    assert later.house_of(gone) is None
    assert later.refused == (gone,)
    assert later.worth <= plan.worth + 1e-9


def test_money_and_hours_of_a_plot_hold_too(answer):
    said = {plot: PlotFacts(budget=30, hours_month=0.5) for plot in ("p0", "p1")}
    small = plan_together(answer, plots=["p0", "p1"], facts=said, jobs=3)
    assert all(house.cost <= 30 and house.hours <= 0.5 for house in small.houses)
    assert len(small.jobs) <= 3


def test_in_draws_it_is_judged_in_others_and_is_the_same_on_two_cores(answer):
    one, two = (
        plan_together(answer, plots=["p0", "p1"], jobs=2, draws=6, processes=count)
        for count in (1, 2)
    )
    assert (one.draws, one.doubt.draws) == (6, 6)
    assert one.doubt.worth.low <= one.doubt.worth.mean <= one.doubt.worth.high
    assert json_text(plan_record(one)) == json_text(plan_record(two))


def test_words_and_sheet_name_every_house_and_job(plan):
    text, page = " ".join(together_text(plan, TABLES).split()), street_sheet(plan, TABLES)
    for job in plan.jobs:
        name = TABLES.features[job.candidate.feature].name
        assert name in text
        assert name in page
    for words in (text, page):
        assert "not for publishing" in words
        assert all(house.name in words for house in plan.houses)


def test_jobs_lie_on_their_own_plot_and_clear_of_one_another(answer, plan):
    shapes = answer.neighbourhood.plots.geometry
    for house in plan.houses:
        put = [job.placed.geometry for job in house.jobs if job.placed.geometry is not None]
        assert put
        assert all(shapes[house.plots[0]].buffer(1e-6).covers(shape) for shape in put)
        for first, second in combinations(put, 2):
            assert first.intersection(second).area == pytest.approx(0, abs=1e-6)


def test_where_a_job_goes_is_told_and_kept(plan):
    """By the facts of the place: its wall or part of the plot stand in every text."""
    text, page = " ".join(together_text(plan, TABLES).split()), street_sheet(plan, TABLES)
    record = json.loads(json_text(plan_record(plan)))
    for house, kept in zip(plan.houses, record["houses"], strict=True):
        told = told_words(kept, house.plots[0], TABLES)[0]
        for job, one in zip(house.jobs, kept["jobs"], strict=True):
            there = job.placed.at_wall or job.placed.part
            assert all(there.casefold() in words.casefold() for words in (text, page, told))
            shape = one["where"]["geometry"]
            assert shapely.geometry.shape(shape).equals_exact(job.placed.geometry, 1e-9)
        damaged = [job | {"where": {"geometry": {}, "part": 3}} for job in kept["jobs"]]
        without = [job | {"where": None} for job in kept["jobs"]]
        lines = [
            told_words(kept | {"jobs": jobs}, house.plots[0], TABLES) for jobs in (damaged, without)
        ]
        assert lines[0] == lines[1]


def test_a_plan_that_was_kept_is_read_back(plan, tmp_path):
    path = tmp_path / "plan.json"
    record = plan_record(plan)
    record["houses"][0]["answer"] = "Yes"
    record["houses"][1]["answer"] = "no"
    path.write_text(json_text(record), encoding="utf-8")
    kept = read_street_plan(path)
    assert (kept.yes, kept.no) == (("p0",), ("p1",))
    for plot, features in kept.things.items():
        assert [*features] == [job.candidate.feature for job in plan.jobs if job.plot == plot]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "not JSON"),
        ("[1]", "no plan for a street"),
        ('{"kind": "patchnet street plan"}', "no list of houses"),
        ('{"kind": "patchnet street plan", "houses": [{"plots": []}]}', "no list of plots"),
        (
            (
                '{"kind": "patchnet street plan", "houses": [{"plots": ["a"], "answer": "perhaps", '
                '"jobs": [{"plot": "b"}, {"plot": "a"}]}, {"plots": ["a"]}]}'
            ),
            "open, yes or no",
        ),
    ],
)
def test_a_file_that_is_no_plan_is_told(tmp_path, text, words):
    path = tmp_path / "plan.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DataFaults, match=words):
        read_street_plan(path)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"plots": ["p9"]}, "no plot 'p9'"),
        ({"plots": ["p0"], "no": ["p0"]}, "Nobody takes part"),
        ({"plots": ["p0"], "yes": ["p1"]}, "take no part"),
        ({"plots": ["p0"], "yes": ["p0"]}, "earlier plan"),
        ({"plots": ["p0"], "yes": ["p0"], "earlier": {"p0": ("pondd",)}}, "cannot have 'pondd'"),
        ({"plots": ["p0"], "budget": -1.0}, "0 or more"),
    ],
)
def test_what_cannot_be_asked(answer, asked, words):
    with pytest.raises(WrongUse, match=words):
        plan_together(answer, **asked)


def test_a_household_that_said_no_takes_no_part(answer):
    place = answer.neighbourhood
    said = place.plots.assign(consent=["yes", "no", "", "yes"])
    asked = dataclasses.replace(answer, neighbourhood=dataclasses.replace(place, plots=said))
    with pytest.raises(WrongUse, match="said no"):
        plan_together(asked, plots=["p1"])
    plan = plan_together(asked, jobs=1)
    assert [house.plots for house in plan.houses] == [("p0",), ("p3",)]


def test_sets_of_a_plot_without_a_plan_around_them(answer):
    sets = plan_sets(answer, "p1")
    first, second = sets.singles[:2]
    both = tuple(sorted((*first, *second)))
    made = sets.of(both)
    if made is not None:
        assert both in sets.beside(first)
        assert {one.feature for one in made.things} <= set(FEATURES)
    assert sets.of(()).things == ()
    assert sets.meant([sets.candidates[first[0]].feature]) == first
    assert sets.meant(["nothing"]) is None
