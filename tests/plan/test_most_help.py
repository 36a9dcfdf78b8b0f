"""What is short and what would help most: on paper, and against every single addition worked anew.

Streets are invented; their numbers come from the shipped tables and are worked here anew.
"""

import dataclasses
import math

import geopandas as gpd
import numpy as np
import pytest
import shapely
from worlds.garden_rows import TABLES, garden_row
from worlds.story_streets import KNOW, SURE, answered, emptied, halves, row_street

from patchnet.assess import assess
from patchnet.assess.doubt import doubt_of, with_doubt
from patchnet.assess.find_gaps import find_gaps
from patchnet.assess.what_if import Trials
from patchnet.assess.worth import worth_gained
from patchnet.plan.candidates import candidates_for, fitted
from patchnet.plan.facts import PlotFacts
from patchnet.plan.finding import Finding, answering, finding_of
from patchnet.plan.help_search import additions_that_help, best_additions, living_features
from patchnet.plan.joint_worth import amounts_at, common_currency
from patchnet.plan.lacks import _again, _more_room, lacks_of, season_of
from patchnet.plan.most_help import most_help
from patchnet.plan.roles import role
from patchnet.plan.space import space_of
from patchnet.plan.stretches import nearest_stretch, stretches_of
from patchnet.plan.waiting import in_time

FOUR = ["mason_bee", "wren", "frog", "hoverfly"]
LAWNS = [f"lawn_short 60; bird_bath 1; {SURE}"] * 2


@pytest.fixture(scope="module")
def crossed():
    """Green ends, a paved middle."""
    return answered(halves(), ["moth", "robin"])


def test_bush_is_what_two_lawns_lack():
    """Two gardens of 12 x 12 m with lawn and water, no bush.

    As much again, at least one home's worth, is one home expected. All ground within the anchor's
    reach R of both is the part of a circle that would be plots, so it holds
    K = density x part x pi R^2, and of one home expected K (1 - exp(-1 / K)) find room.
    """
    answer = answered(row_street(LAWNS), ["blackbird"])
    [lack] = lacks_of(answer, (), least=0.1)
    assert (lack.resource, lack.season) == ("dense_cover", "")
    [held] = lack.animals
    assert (held.group, held.need) == ("blackbird", "anchor")
    density = KNOW.densities["blackbird"]
    part = KNOW.setting("plots_share")
    per_ha = density.at_most / (part if density.base == "fabric" else 1.0)
    radius = KNOW.groups["blackbird"].anchor_reach.value
    most = per_ha / 10_000 * part * math.pi * radius**2
    assert held.homes == pytest.approx(most * (1 - math.exp(-1 / most)), rel=1e-9)
    first = KNOW.setting("worth_first_homes")
    assert lack.worth == pytest.approx(math.log((held.homes + first) / first), rel=1e-9)


def rows(room, homes, linked, ceiling, scarcest):
    return (
        np.array([room], dtype=float), np.array([homes], dtype=float), np.array([linked]),
        np.array([ceiling]), np.array([scarcest], dtype=object),
    )  # fmt: skip


def test_as_much_again_on_paper():
    """Two plots with room for 2 homes each; the first holds 1, for want of food.

    Food: 1 home is lacking, and as much again feeds 1 more: 1, of which linked homes are 2 in 3.
    Nests: 4 more homes' worth; one in two is not held back by food and lives as all do, 3 in 4;
    so 4 x 1/2 x 3/4 = 1.5, of which again 2 in 3.
    """
    two = rows([2, 2], [1, 2], 2.0, math.inf, ["food", "anchor"])
    assert _again("food", two, 1.0) == pytest.approx([1 * 2 / 3])
    assert _again("anchor", two, 1.0) == pytest.approx([1.5 * 2 / 3])
    assert _again("water", two, 1.0) == pytest.approx([0.0])
    none = rows([0, 0], [0, 0], 0.0, math.inf, ["anchor", "anchor"])
    assert _again("anchor", none, 1.0) == pytest.approx([1.0])


def test_room_levels_off_at_what_the_ground_holds():
    """Room for 3 of 4: 4 (1 - e^-x) = 3 at x = ln 4; as much again makes 4 (1 - 1/16)."""
    assert _more_room(np.array([3.0]), np.array([4.0]), 1.0) == pytest.approx([0.75])
    assert _more_room(np.array([4.0]), np.array([4.0]), 1.0)[0] == pytest.approx(0.0, abs=1e-6)


def test_seasons_wrap_over_new_year():
    assert season_of((11, 12, 1, 2)) == "winter"
    assert season_of((3, 4, 5)) == "spring"


def every_change(answer):
    """Every thing that may be planted or opened on every plot: what changes there, in time."""
    hood, found = answer.neighbourhood, {}
    for plot in map(str, hood.plots.index):
        space = space_of(hood, plot, PlotFacts(), TABLES, amounts=amounts_at(answer, plot))
        offered, _ = candidates_for(TABLES, PlotFacts(), space, kind=hood.plots["kind"].loc[plot])
        for one in offered:
            if role(one.feature, TABLES):
                continue
            found[plot, one.feature] = in_time(fitted([one], space, TABLES, PlotFacts())[1], TABLES)
    return found


def every_single(answer):
    """Worth of each of these, all assessed anew."""
    currency, trials = common_currency(answer), Trials(answer)
    return {
        (plot, feature): float(currency.worth(trials.full_linked_homes({plot: change})[None])[0])
        for (plot, feature), change in every_change(answer).items()
    }


@pytest.mark.parametrize("seed", range(3))
def test_no_other_thing_wins_more_than_the_first(seed):
    """Every addition on a street of four, each assessed from the start: to 1 part in 100."""
    hood = garden_row(np.random.default_rng(seed), count=4)
    answer = assess(hood, knowledge=TABLES, groups=FOUR, straight=True)
    first = most_help(answer).things[0]
    every = every_single(answer)
    assert first.worth == pytest.approx(every[first.plots[0], first.feature], rel=1e-6)
    assert first.worth >= 0.99 * max(every.values())


@pytest.mark.parametrize("seed", [7, 1])
def test_a_longer_street_is_searched_at_few_plots_and_loses_little(seed):
    """Sixteen plots, of which two are looked at: the first is worth nine tenths of the best."""
    hood = garden_row(np.random.default_rng(seed), count=16)
    answer = assess(hood, knowledge=TABLES, groups=["wren", "frog"], straight=True)
    assert len(hood.plots) > KNOW.setting("help_all_plots")
    first = most_help(answer).things[0]
    every = every_single(answer)
    assert first.worth == pytest.approx(every[first.plots[0], first.feature], rel=1e-6)
    assert first.worth >= 0.9 * max(every.values())


def gives(feature, lack):
    """Whether the table of supplies gives any of what is short, in one of its months."""
    months = lack.animals[0].months
    return any(
        one.resource == lack.resource
        and any(one.month_weights[month - 1] * one.amount.value > 0 for month in months)
        for one in KNOW.supplies
        if one.feature == feature
    )


@pytest.fixture(scope="module")
def flowerless():
    """Bush, logs and lawn, and no flower: bees starve in spring, and birds would gain too."""
    plots = [f"lawn_short 60; shrub 20; dead_wood_pile 1; {SURE}"] * 3 + [f"paving 140; {SURE}"] * 2
    return answered(row_street(plots, side=14), ["bumblebee", "wren", "hoverfly", "robin"])


def test_one_thing_gives_what_the_finding_says_is_short(flowerless):
    found = most_help(flowerless)
    assert found.finding.kind == "short"
    lack = found.finding.lack
    held = {one.group for one in found.finding.animals}
    answers = [one for one in found.things if one.lack is not None]
    assert answers
    for one in answers:
        assert one.lack is lack
        assert gives(one.feature, lack)
        assert one.animals[0].group in held
    assert not [one for one in found.things if one.lack is None and one.feature in
                {each.feature for each in answers}]  # fmt: skip


@pytest.mark.parametrize("seed", [0, 3])
def test_the_answer_is_the_best_for_those_that_are_held_back(seed):
    """Whatever is short on a street of four: of all that gives it, on every plot, each assessed
    from the start, what is chosen is worth most to the animals held back: to 1 part in 100."""
    hood = garden_row(np.random.default_rng(seed), count=4)
    answer = assess(hood, knowledge=TABLES, groups=FOUR, straight=True)
    trials, changes = Trials(answer), every_change(answer)
    linked = np.array([trials.full_linked_homes({spot[0]: one}) for spot, one in changes.items()])
    gained = worth_gained(linked, trials.now, common_currency(answer).first)
    tried = 0
    stretches = stretches_of(hood, least=KNOW.setting("stretch_plots_least"))
    for lack in lacks_of(answer, stretches, least=0.01):
        wanted = answering(answer, Finding("short", lack, lack.animals))
        if wanted is None:
            continue
        every = gained @ (common_currency(answer).weight * [
            key in wanted.animals for key in answer.groups
        ])  # fmt: skip
        able = [spot[1] in wanted.features for spot in changes]
        plots = set(map(str, hood.plots.index))
        [one] = additions_that_help(answer, plots, most=1, answering=wanted).found
        chosen = list(changes).index((one.plot, one.candidate.feature))
        if able[chosen]:
            tried += 1
            assert every[chosen] >= 0.99 * every[able].max()
        else:
            assert every[able].max(initial=0.0) < 0.01, (
                "something that answers to it wins, and is left out"
            )
    assert tried


def test_things_are_of_different_sorts_and_no_boxes(crossed):
    found = most_help(crossed)
    sorts = [KNOW.features[one.feature].sort for one in found.things]
    assert len(set(sorts)) == len(sorts) == 3
    assert all(role(one.feature, KNOW) == 0 for one in found.things)
    assert {one.feature for one in found.things} <= set(living_features(KNOW))
    assert len({one.plots for one in found.things}) == 3
    assert [one.on_top for one in found.things] == [False, True, True]


def test_later_things_are_counted_with_those_before(crossed):
    one, other, _ = most_help(crossed).things
    changes = {}
    for thing in (one, other):
        space = space_of(
            crossed.neighbourhood, thing.plots[0], PlotFacts(), KNOW,
            amounts=amounts_at(crossed, thing.plots[0]),
        )  # fmt: skip
        offered, _ = candidates_for(KNOW, PlotFacts(), space, kind="garden_back")
        candidate = next(each for each in offered if each.feature == thing.feature)
        fits = fitted([candidate], space, KNOW, PlotFacts())[1]
        changes[thing.plots[0]] = in_time(fits, KNOW)
    both = Trials(crossed).full_linked_homes(changes)
    now = {key: each.measures.eca for key, each in crossed.groups.items()}
    linked = dict(zip(now, both.tolist(), strict=True))
    for helped in other.animals:
        assert helped.after == pytest.approx(linked[helped.group], rel=1e-5)
    for helped in one.animals:
        assert helped.before == pytest.approx(now[helped.group], rel=1e-9)


def test_a_paved_middle_breaks_the_way(crossed):
    finding = most_help(crossed).finding
    assert (finding.kind, finding.stretch.street, finding.stretch.part) == (
        "broken", "Elm Road", "middle",
    )  # fmt: skip
    assert finding.cover == "paving"
    # 130 of 144 m2 on seven or more of the eight or nine plots of the third
    assert 0.6 <= finding.cover_share <= 130 / 144 + 1e-9
    assert [one.group for one in finding.animals] == ["moth", "robin"]
    assert finding.lack.crossing in crossed.groups["moth"].breaks


def test_each_plot_is_in_one_stretch():
    hood = halves()
    parts = stretches_of(hood, least=5)
    assert [one.part for one in parts] == ["west", "middle", "east"]
    assert sorted(np.concatenate([one.rows for one in parts]).tolist()) == list(range(25))
    assert nearest_stretch(parts, 12).part == "middle"
    assert [one.part for one in stretches_of(hood, least=10)] == [""]
    turned = dataclasses.replace(
        hood, plots=hood.plots.set_geometry(hood.plots.geometry.rotate(90, origin=(4e5, 3e5)))
    )
    assert [one.part for one in stretches_of(turned, least=5)] == ["south", "middle", "north"]


def test_nothing_on_the_map_and_nobody_has_looked():
    answer = answered(row_street(LAWNS), ["blackbird"])
    nothing = most_help(emptied(answer))
    assert (nothing.finding.kind, nothing.things, nothing.lacks) == ("nothing", (), ())
    unseen = most_help(answered(row_street([""] * 6, seen=False), ["mason_bee", "frog"]))
    assert (unseen.finding.kind, unseen.finding.unseen) == ("unseen", 6)
    [doors] = unseen.things
    assert (doors.kind, len(doors.plots), doors.worth) == ("doors", 6, None)


def test_nobody_who_said_no_or_was_not_seen_is_told_to_plant():
    features = [f"lawn_short 60; shrub 4; {SURE}"] * 3 + ["", ""]
    hood = row_street(features)
    seen = np.array([True, True, True, False, False])
    amount = hood.answers.amount.copy()
    amount[~seen] = np.nan
    hood = dataclasses.replace(
        hood,
        answers=dataclasses.replace(hood.answers, amount=amount),
        plots=hood.plots.assign(consent=["yes", "no", "", "", "no"]),
    )
    found = most_help(answered(hood, ["mason_bee", "hoverfly"]), spared=["3"])
    planted = {plot for one in found.things if one.kind == "add" for plot in one.plots}
    assert planted == {"1"}
    assert [one.plots for one in found.things if one.kind == "doors"] == [("4",)]


def test_what_lacks_nothing_is_left_alone():
    much = f"shrub 100; long_grass 300; pond 20; dead_wood_pile 5; leaf_pile 30; {SURE}"
    found = most_help(answered(row_street([much] * 6, side=30), ["frog"]))
    assert (found.finding.kind, found.finding.lack) == ("enough", None)


def test_a_street_too_large_to_judge_is_estimated(crossed):
    figures = dict(crossed.knowledge.settings)
    figures["help_most_plots"] = dataclasses.replace(figures["help_most_plots"], value=20.0)
    few = dataclasses.replace(
        crossed, knowledge=dataclasses.replace(crossed.knowledge, settings=figures)
    )
    found = most_help(few)
    assert not found.judged
    assert found.things
    assert all(one.worth is None and one.animals == () for one in found.things)
    assert best_additions(crossed, {"1"}, most=0) == ()


def with_shares(lacks, shares):
    """The same lacks, with how often they hold."""
    return tuple(
        dataclasses.replace(
            one, animals=tuple(dataclasses.replace(each, often=often) for each in one.animals)
        )
        for one, often in zip(lacks, shares, strict=True)
    )


def test_what_does_not_hold_in_most_draws_is_not_said_to_be_sure(crossed):
    parts = stretches_of(crossed.neighbourhood, least=5)
    lacks = lacks_of(crossed, parts, least=0.1)[:2]
    close = (lacks[0], dataclasses.replace(lacks[1], worth=lacks[0].worth))
    close = (close[0], dataclasses.replace(
        close[1], animals=tuple(dataclasses.replace(one, worth=lacks[0].worth)
                                for one in close[1].animals)))  # fmt: skip
    for shares, sure, first in (
        ((0.9, 0.9), True, 0),
        ((0.89, 0.89), False, 0),
        ((0.89, 0.95), True, 1),
    ):
        finding = finding_of(crossed, with_shares(close, shares), parts)
        assert finding.sure == sure
        assert finding.lack.worth == pytest.approx(close[first].worth)
        assert finding.lack.resource == close[first].resource


def test_over_draws_what_is_found_says_how_often():
    answer = answered(row_street(LAWNS * 2), ["blackbird", "wren"])
    told = with_doubt(answer, doubt_of(answer, draws=8))
    ceiling = told.groups["wren"].drawn.ceiling
    assert ceiling.shape == (8,)
    assert (ceiling >= told.groups["wren"].drawn.room.sum(axis=1) - 1e-9).all()
    shares = [each.often for one in most_help(told).lacks for each in one.animals]
    assert shares
    assert all(0.0 <= one <= 1.0 for one in shares)


def test_a_gap_is_between_doors_and_wins_what_it_says():
    """Two gardens of logs and lawn with a wall between: won as `find_gaps` says of each animal."""
    logs = f"pond 6; dead_wood_pile 3; long_grass 40; {SURE}"
    hood = row_street([logs, logs], side=12)
    wall = shapely.LineString([(400_012, 299_990), (400_012, 300_022)])
    fences = gpd.GeoDataFrame(
        {"kind": ["wall"], "gap": ["no"], "height_m": [2.0]}, geometry=[wall], crs="EPSG:27700"
    )
    hood = dataclasses.replace(hood, barriers=fences)
    answer = assess(hood, knowledge=KNOW, groups=["frog", "newt"])
    gaps = [one for one in most_help(answer).things if one.kind == "gap"]
    assert [one.plots for one in gaps] == [("1", "2")]
    [gap] = gaps
    assert gap.barriers == ("wall",)
    for helped in gap.animals:
        [alone] = find_gaps(answer, helped.group, most=1).gaps
        assert helped.before == pytest.approx(answer.groups[helped.group].measures.eca)
        assert helped.won == pytest.approx(alone.homes_won, rel=1e-9)
        assert gap.point.distance(alone.place) < 1
