"""The whole plan: against brute force, with and without what the neighbours have, and its doubt."""

import itertools

import geopandas as gpd
import numpy as np
import pytest
import shapely

from patchnet.assess import assess
from patchnet.core.errors import WrongUse
from patchnet.demo.files import read_demo
from patchnet.knowledge import load_knowledge
from patchnet.pages.kit.planting_words import how_to_get
from patchnet.plan import plan_making
from patchnet.plan.candidates import candidates_for, fitted
from patchnet.plan.facts import PlotFacts
from patchnet.plan.joint_worth import amounts_at
from patchnet.plan.plan_plot import Adviser
from patchnet.plan.planting import choose_planting
from patchnet.plan.space import space_of
from patchnet.plan.waiting import in_time
from patchnet.read.build import build_neighbourhood

PONDS = {"pond", "container_pond"}
KNOW = load_knowledge()
GROUPS = ("mason_bee", "newt", "sparrow")


def row(features, *, kinds=None, side=12.0, gap=8.0, seen="all"):
    """Square plots in a row with a few metres between them."""
    step = side + gap
    seen = [seen] * len(features) if isinstance(seen, str) else seen
    plots = gpd.GeoDataFrame(
        {
            "id": [str(at + 1) for at in range(len(features))],
            "kind": kinds or ["garden_back"] * len(features),
            "features": features,
            "seen": seen,
        },
        geometry=[
            shapely.box(400_000 + at * step, 300_000, 400_000 + at * step + side, 300_000 + side)
            for at in range(len(features))
        ],
        crs="EPSG:27700",
    )
    return build_neighbourhood(plots, knowledge=KNOW)


def assessed(features, **options):
    return assess(row(features, **options), knowledge=KNOW, groups=GROUPS, straight=True)


FEATURES = [
    "lawn_short 80; paving 20",
    "shrub 12; lawn_short 50; bee_hotel 2; flower_border 10",
    "pond 4; long_grass 20; shrub 6",
    "paving 60; old_roof_wall 2; climber 5; hedge_evergreen 8",
]


@pytest.fixture(scope="module")
def adviser():
    return Adviser(assessed(FEATURES))


def linked(features, place, change):
    """Linked homes some years after a change, by assessing the changed street from the start."""
    hood = row(features)
    keys = list(KNOW.features)
    amount = hood.answers.amount.copy()
    for key, more in in_time(change, KNOW).items():
        amount[place, keys.index(key)] += more
    words = [
        "; ".join(f"{key} {value:.12f}" for key, value in zip(keys, line, strict=True) if value > 0)
        for line in amount
    ]
    answers = assessed(words).groups
    return np.array([answer.measures.eca for answer in answers.values()])


def test_the_best_set_is_the_best_of_all_by_brute_force(adviser):
    """A tenant with pots only: a dozen candidates, every set judged anew from the start."""
    facts = PlotFacts(pots_only=True, tenure="rent", light="part", wall_m=1, fence_m=0, budget=60)
    plan = adviser.plan("1", facts, month=5)
    space = space_of(
        adviser.assessment.neighbourhood, "1", facts, KNOW,
        amounts=amounts_at(adviser.assessment, "1"),
    )  # fmt: skip
    offered, _ = candidates_for(KNOW, facts, space, kind="garden_back")
    assert 4 <= len(offered) <= 14
    judged = {frozenset(): adviser.currency.now}
    for size in (1, 2, 3):
        for chosen in itertools.combinations(offered, size):
            result = fitted(chosen, space, KNOW, facts)
            if result is None:
                continue
            names = frozenset(one.feature for one in chosen)
            judged[names] = linked(FEATURES, 0, result[1])

    def worth(names):
        return float(adviser.currency.worth(judged[names][None, :])[0])

    best = max(judged, key=worth)
    # What wins no group anything worth naming on top of the rest is left out, the least first.
    while best:
        won = {one: (judged[best] - judged[best - {one}]).max() for one in best}
        least = min(won, key=won.get)
        if won[least] >= KNOW.setting("plan_gain_least"):
            break
        best -= {least}
    assert plan.exact
    assert plan.searched == len(judged) - 1
    assert {one.candidate.feature for one in plan.best.additions} == best
    assert plan.best.score == pytest.approx(worth(best), rel=1e-7)


def test_what_next_door_does_already_wins_little():
    """A pond where the neighbour has three like it, and where nobody has one."""
    without = ["lawn_short 100", "shrub 15; long_grass 20; dead_wood_pile 2; leaf_pile 3"]
    with_pond = [without[0], without[1] + "; pond 12"]
    won = []
    for features in (without, with_pond):
        assessment = assess(row(features), knowledge=KNOW, groups=["newt"], straight=True)
        plan = Adviser(assessment).plan("1", PlotFacts(small_children=False), month=10)
        pond = [
            one for one in plan.best.additions if one.candidate.feature in PONDS
        ] if plan.best else []  # fmt: skip
        won.append(pond[0].given_the_others if pond else 0.0)
    assert won[0] > 0
    assert won[1] < won[0] / 2


def test_ponds_never_where_small_children_come(adviser):
    plan = adviser.plan("1", PlotFacts(small_children=True), month=10)
    sets = [plan.best, plan.runner_up]
    named = {one.candidate.feature for each in sets if each for one in each.additions}
    named |= {one.feature for stage in plan.stages for one in stage.additions}
    assert not named & PONDS
    assert any(out.feature == "pond" and out.kind == "safety" for out in plan.ruled_out)


def test_a_pond_in_the_answer_comes_with_its_question_and_what_else_it_would_be():
    street = ["lawn_short 100", "shrub 15; long_grass 20; dead_wood_pile 2; leaf_pile 3"]
    assessment = assess(row(street), knowledge=KNOW, groups=["newt"], straight=True)
    plan = Adviser(assessment).plan("1", month=10)
    pond = plan.best.additions[0].candidate
    assert pond.feature == "pond"
    assert pond.asks[0] == "small_children"
    assert "pond_children" in pond.cautions
    other = next(change for change in plan.would_change if change.fact == "small_children")
    assert not set(other.features) & PONDS


def test_runner_up_leaves_out_the_best_thing(adviser):
    plan = adviser.plan("1", month=5)
    first = plan.best.additions[0].candidate.feature
    assert first not in {one.candidate.feature for one in plan.runner_up.additions}
    assert plan.runner_up.score <= plan.best.score


def test_parts_add_up(adviser):
    """What the groups win sums to what the set wins, in linked homes and in the currency."""
    plan = adviser.plan("1", month=5)
    groups = plan.best.groups
    assert sum(g.linked_after - g.linked_before for g in groups) == pytest.approx(
        plan.best.linked_homes
    )
    assert sum(g.share for g in groups) == pytest.approx(plan.best.score)


def test_stages_add_up_to_what_is_there_in_the_end(adviser):
    plan = adviser.plan("1", PlotFacts(tenure="rent"), month=3)
    assert [stage.when for stage in plan.stages] == [
        when for when in ("weekend", "season", "next_year", "when_owned")
        if when in {stage.when for stage in plan.stages}
    ]  # fmt: skip
    everything = [one.feature for stage in plan.stages for one in stage.additions]
    assert len(everything) == len(set(everything))
    weekend = [one for stage in plan.stages if stage.when == "weekend" for one in stage.additions]
    assert all(one.cost == 0 and 3 in one.months for one in weekend)
    rented = [one for stage in plan.stages if stage.when != "when_owned" for one in stage.additions]
    assert all(KNOW.sitings[one.feature].tenancy != "own" for one in rented)


def test_the_best_things_and_the_steps_tell_one_story(adviser):
    """The best set is made by its months: each of its things in the steps, none twice."""
    for month in (3, 10):
        plan = adviser.plan("1", month=month)
        named = {one.candidate.feature for one in plan.best.additions}
        made = [one.feature for stage in plan.stages for one in stage.additions]
        assert named <= set(made)
        ahead = {
            (month - 1 + step) % 12 + 1 for step in range(round(KNOW.setting("season_months")))
        }
        for stage in plan.stages:
            if stage.when == "season":
                assert {one.feature for one in stage.additions} <= named
                assert all(set(one.months) & ahead for one in stage.additions)


def test_the_first_stage_is_the_best_of_its_kind(adviser):
    """By judging one or two free things from the start, all slabs left where they are."""
    plan = adviser.plan("1", month=10)
    stage = plan.stages[0]
    assert stage.when == "weekend"
    space = space_of(
        adviser.assessment.neighbourhood, "1", PlotFacts(), KNOW,
        amounts=amounts_at(adviser.assessment, "1"),
    ).keeping(KNOW.taking_up)  # fmt: skip
    offered, _ = candidates_for(KNOW, PlotFacts(), space, kind="garden_back")
    free = [
        one for one in offered
        if KNOW.features[one.feature].free and one.cost == 0 and 10 in one.months
        and KNOW.sitings[one.feature].making_hours.value <= KNOW.setting("weekend_hours")
        and KNOW.features[one.feature].years_to_work.value <= KNOW.setting("weekend_years")
    ]  # fmt: skip
    after = {}
    for size in (1, 2):
        for chosen in itertools.combinations(free, size):
            result = fitted(chosen, space, KNOW, PlotFacts())
            if result is not None:
                names = frozenset(one.feature for one in chosen)
                after[names] = linked(FEATURES, 0, result[1])
    # A second thing that wins no hundredth of a home for any group is not worth the work.
    least = KNOW.setting("plan_gain_least")
    worths = [
        float(adviser.currency.worth(homes[None, :])[0])
        for names, homes in after.items()
        if all(
            np.abs(homes - after[alone]).max() >= least
            for alone in (frozenset({name}) for name in names)
            if len(names) > 1 and alone in after
        )
    ]
    assert stage.score == pytest.approx(max(worths), rel=1e-7)


def test_nobody_knows_the_neighbours():
    assessment = assessed([FEATURES[0], "", "", ""], seen=["all", "none", "none", "none"])
    plan = Adviser(assessment).plan("1", month=5)
    assert "Nothing is known about any neighbour" in plan.warnings[0]


def test_a_plot_without_free_ground():
    assessment = assessed(["decking 144", *FEATURES[1:]])
    plan = Adviser(assessment).plan("1", month=5)
    assert any("no free ground" in words for words in plan.warnings)
    assert all(one.candidate.place != "ground" for one in plan.best.additions)


def test_what_is_plentiful_need_not_be_repeated():
    many = ["lawn_short 80", *["bee_hotel 6; lawn_short 60"] * 6]
    assessment = assess(row(many), knowledge=KNOW, groups=["mason_bee"], straight=True)
    plan = Adviser(assessment).plan("1", month=5)
    named = {feature: count for feature, _, count in plan.plentiful}
    assert named.get("bee_hotel") in (5, 6)
    assert "bee_hotel" not in {one.candidate.feature for one in plan.best.additions}


def test_the_same_answer_each_time(adviser):
    assert adviser.plan("1", month=5) == Adviser(assessed(FEATURES)).plan("1", month=5)


def test_a_wish_is_judged_at_its_own_amount(adviser):
    """Each by assessing the changed street from the start: alone, and on top of the best set."""
    facts = PlotFacts(wishes=(("shrub", 3.0), ("window_box", None)), tenure="own", sill_m=0)
    plan = adviser.plan("1", facts, month=5)
    shrub, box = plan.wished
    assert (shrub.feature, shrub.asked, shrub.amount) == ("shrub", 3.0, 3.0)
    now = linked(FEATURES, 0, {})
    space = space_of(
        adviser.assessment.neighbourhood, "1", facts, KNOW,
        amounts=amounts_at(adviser.assessment, "1"),
    )  # fmt: skip
    offered = {
        one.feature: one for one in candidates_for(KNOW, facts, space, kind="garden_back")[0]
    }
    _, change = fitted([offered["shrub"]], space, KNOW, facts)
    assert shrub.alone == pytest.approx((linked(FEATURES, 0, change) - now).sum(), rel=1e-7)
    rest = [
        offered[one.candidate.feature]
        for one in plan.best.additions
        if one.candidate.feature != "shrub"
    ]
    assert shrub.in_best == (len(rest) < len(plan.best.additions))
    both, without = (
        fitted(some, space, KNOW, facts)[1] for some in ([*rest, offered["shrub"]], rest)
    )
    won = (linked(FEATURES, 0, both) - linked(FEATURES, 0, without)).sum()
    assert shrub.with_best == pytest.approx(won, rel=1e-6, abs=1e-9)
    assert "0.0 m of sill" in box.why_not


def test_nothing_that_wins_next_to_nothing_is_among_the_best(adviser):
    least = KNOW.setting("plan_gain_least")
    for facts in (PlotFacts(pots_only=True, tenure="rent"), PlotFacts(budget=0)):
        plan = adviser.plan("1", facts, month=5)
        for addition in () if plan.best is None else plan.best.additions:
            assert addition.groups
            assert max(won for _, won in addition.groups) >= least


def test_no_money_and_hardly_any_time_still_get_an_answer(adviser):
    plan = adviser.plan("1", PlotFacts(budget=0, hours_month=0.2), month=10)
    assert plan.best is not None
    chosen = [one.candidate for one in plan.best.additions]
    assert sum(one.cost for one in chosen) == 0
    assert sum(one.hours_month for one in chosen) <= 0.2
    nothing = adviser.plan("1", PlotFacts(budget=0, hours_month=0.0, light="shade"), month=10)
    assert nothing.best is None
    assert nothing.runner_up is None


def test_what_a_person_says_of_light_goes_before_the_map(adviser):
    both = adviser.plan("1", PlotFacts(light="shade", budget=0), month=5, light="sun")
    assert both.facts.light == "shade"
    assert any("You said shade" in words and "full sun" in words for words in both.warnings)
    mapped = adviser.plan("1", PlotFacts(budget=0), month=5, light="part")
    assert mapped.facts.light == "part"
    assert any("worked out" in words and "half shade" in words for words in mapped.warnings)
    agreed = adviser.plan("1", PlotFacts(light="sun", budget=0), month=5, light="sun")
    assert not any("heights" in words for words in agreed.warnings)


def test_who_wants_to_eat_gets_a_set_to_eat_from(adviser):
    plan = adviser.plan("1", PlotFacts(edible=True, light="sun", tenure="own"), month=5)
    sets = [one for one in (plan.best, plan.to_eat) if one is not None]
    assert any(
        KNOW.sitings[addition.candidate.feature].edible
        for one in sets
        for addition in one.additions
    )
    assert plan.to_eat is None or plan.to_eat.score <= plan.best.score


def test_cared_for_groups_that_little_or_nothing_helps_are_told_so():
    """Pots on a balcony give next to nothing to sparrows, without a hole or a bush far and wide:
    they get what there is. Newts get nothing at all without water, and moths were not worked out,
    so all animals count."""
    lone = Adviser(
        assessed(
            ["", "paving 60; flower_border 80; bee_hotel 2"],
            kinds=["balcony", "garden_back"],
            gap=60.0,
        )
    )
    plan = lone.plan("1", PlotFacts(groups=("sparrow",)), month=5)
    assert any("only a little: house sparrow" in words for words in plan.warnings)
    sparrow = next(one for one in plan.best.groups if one.group == "sparrow")
    assert 0 < sparrow.linked_after - sparrow.linked_before < KNOW.setting("plan_gain_least")
    for key, name in (("newt", "smooth newt"), ("moth", "moth")):
        plan = lone.plan("1", PlotFacts(groups=(key,), small_children=True), month=5)
        assert any(name in words and "all animals" in words for words in plan.warnings)
        assert plan.best is not None


def test_a_verge_is_not_asked_whether_it_is_rented():
    street = Adviser(assessed(["lawn_short 100", *FEATURES[1:]], kinds=["verge", *["yard"] * 3]))
    plan = street.plan("1", month=5)
    assert not {"tenure", "pots_only"} & {change.fact for change in plan.would_change}
    for addition in plan.best.additions:
        assert "keeper" in addition.candidate.asks
        assert "street_consent" in addition.candidate.cautions
        assert KNOW.sitings[addition.candidate.feature].street


def test_a_plot_that_is_not_there(adviser):
    with pytest.raises(WrongUse):
        adviser.plan("17", month=5)


def test_cared_for_groups_alone_have_a_vote(adviser):
    plan = adviser.plan("1", PlotFacts(groups=GROUPS[:1]), month=5)
    assert plan.best.score == pytest.approx(
        next(g.share for g in plan.best.groups if g.group == GROUPS[0])
    )


def test_beds_that_are_there_are_planted_in_their_gaps_alone(monkeypatch):
    """M15B has 33 m2 of border and 4 of herbs (data_demo/features.csv): a fifth of either."""
    asked = []

    def watched(*given, features, **others):
        asked.append(features)
        return choose_planting(*given, features=features, **others)

    monkeypatch.setattr(plan_making, "choose_planting", watched)
    answer = assess(read_demo(), groups=["mason_bee"], straight=True)
    plan = Adviser(answer).plan("M15B", PlotFacts(tenure="rent"), month=10)
    assert not {one.candidate.feature for one in plan.best.additions} & set(KNOW.planting_places)
    assert asked[0] == pytest.approx({"flower_border": 33 / 5, "herb_bed": 4 / 5})
    assert plan.planting.gap_share == 0.2
    [said, *_] = how_to_get(plan.planting, KNOW)
    assert said == "For gaps between what grows there, 20 in 100 of each bed."
