"""Trials of additions: the same as assessing anew, only quicker; and what they must find."""

import dataclasses
import math
import sys

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import spearmanr
from worlds.garden_rows import (
    FEATURES,
    GIVEN,
    TABLES,
    changed,
    garden_row,
    linked,
    neighbourhood,
)

from patchnet.assess import assess, what_if_homes, what_if_plot
from patchnet.assess import what_if_kernels as trial_kernels
from patchnet.assess.routes_with_one_more import NO_ROUTE, route_lengths
from patchnet.assess.sums_by_likeness import row_sums, stacked
from patchnet.assess.what_if import Trials
from patchnet.core.errors import WrongUse
from patchnet.movement.distance import Pairs

NAN = math.nan


def some_changes(rng, place, plot):
    """One to three additions together, and everything, or some of it, taken away."""
    own = place.answers.amount[plot]
    typical = {key: TABLES.features[key].typical.value for key in GIVEN}
    changes = [{}]
    for size in (1, 2, 3):
        chosen = rng.choice(GIVEN, size, replace=False)
        changes.append({str(key): typical[key] * rng.uniform(0.5, 2) for key in chosen})
    everything = {FEATURES[at]: -own[at] for at in np.flatnonzero(own)}
    changes += [everything, {key: less / 2 for key, less in everything.items()}]
    return changes


@pytest.mark.parametrize("quality", ["scarcest", "mean"])
@given(seed=st.integers(0, 2**32 - 1), share=st.sampled_from([0.06, 0.3]))
@settings(max_examples=7, deadline=None, derandomize=True)
def test_a_trial_is_what_assessing_anew_gives(quality, seed, share):
    """Straight lines, both forms of quality, compiled and plain; plots that become a patch too."""
    rng = np.random.default_rng(seed)
    place = garden_row(rng, count=int(rng.integers(5, 14)), share=share)
    plot = int(rng.integers(len(place.plots)))
    options = {"knowledge": TABLES, "quality": quality, "straight": True}
    before = assess(place, **options)
    kept = before.amounts.copy(), before.supply.copy()
    changes = some_changes(rng, place, plot)
    plain = Trials(before, compiled=False).at(f"p{plot}")
    compiled = Trials(before, compiled=True).at(f"p{plot}")
    # Nothing changed is what was assessed already.
    anew = [
        assess(changed(place, plot, change), **options) if change else before for change in changes
    ]
    expected = np.array([linked(one) for one in anew])
    for trials in (plain, compiled):
        np.testing.assert_allclose(trials.linked_homes(changes), expected, rtol=1e-9, atol=1e-12)
    same_outcome(plain.outcome(changes[3]), anew[3])
    # The quick form: the same compiled and plain, and what changes nothing is as it is.
    ranked = compiled.ranked(changes)
    np.testing.assert_allclose(ranked, plain.ranked(changes), rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(ranked[0], expected[0], rtol=1e-9, atol=1e-12)
    assert (before.amounts == kept[0]).all()
    assert (before.supply == kept[1]).all()


def same_outcome(outcome, assessment):
    for key, answer in assessment.groups.items():
        found = outcome[key]
        assert found.linked == pytest.approx(answer.measures.eca, rel=1e-9, abs=1e-12)
        for name in ("room", "quality", "homes"):
            np.testing.assert_allclose(
                getattr(found, name), getattr(answer, name), rtol=1e-9, atol=1e-12
            )
        assert (found.patch == answer.patch.to_numpy()).all()
        for sheet in answer.needs:
            need = sheet.need.key
            months = sheet.by_month[list(sheet.need.months)]
            for mine, theirs in (
                (found.met[need], sheet.met),
                (found.enough[need], sheet.enough),
                (found.room_within[need], sheet.room),
                (found.enough_by_month[need], months),
            ):
                np.testing.assert_allclose(mine, theirs, rtol=1e-9, atol=1e-12)


def test_many_trials_at_once_are_what_one_at_a_time_gives():
    """All pairs of twelve features, so that chunks, lanes and equal effects all come up."""
    place = garden_row(np.random.default_rng(4), count=30)
    trials = Trials(assess(place, knowledge=TABLES, straight=True), compiled=True).at("p7")
    typical = {key: TABLES.features[key].typical.value for key in GIVEN}
    pairs = [
        {one: typical[one], other: typical[other]}
        for at, one in enumerate(GIVEN)
        for other in GIVEN[at + 1 :]
    ]
    together = trials.ranked(pairs)
    for at in (0, 17, 40, 65):
        assert together[at] == pytest.approx(trials.ranked([pairs[at]])[0], rel=1e-9)
    assert (trials.ranked(pairs) == together).all()
    # Exactly they come to nearly the same, in nearly the same order.
    some = list(range(0, len(pairs), 6))
    exact = np.log(trials.linked_homes([pairs[at] for at in some]) + 0.5).sum(axis=1)
    quick = np.log(together[some] + 0.5).sum(axis=1)
    assert quick == pytest.approx(exact, abs=0.05)
    assert spearmanr(quick, exact).statistic > 0.9


def test_what_was_judged_is_not_judged_again(monkeypatch):
    """Asked one by one, and again, whatever comes to the same for a group is worked out once."""
    place = garden_row(np.random.default_rng(4), count=9)
    trials = Trials(assess(place, knowledge=TABLES, straight=True))
    changes = some_changes(np.random.default_rng(5), place, 3)
    expected = trials.at("p3").linked_homes(changes)
    judged = []

    def filled_homes(task, method):
        judged.append(task)
        return what_if_homes.filled_homes(task, method)

    monkeypatch.setattr(what_if_plot, "filled_homes", filled_homes)
    one = trials.at("p3")
    for change, row in zip(changes, expected, strict=True):
        assert one.linked_homes([change])[0] == pytest.approx(row, rel=1e-12)
    assert judged
    judged.clear()
    np.testing.assert_allclose(one.linked_homes(changes[::-1]), expected[::-1], rtol=1e-12)
    assert not judged
    # What one plot comes to is nothing to another.
    trials.at("p4").linked_homes([{"pond": 2.0}])
    assert judged


def test_without_a_change_it_is_as_it_was_also_where_much_is_unknown():
    place = garden_row(np.random.default_rng(8), count=12)
    amount = place.answers.amount.copy()
    amount[3:6] = NAN
    place = dataclasses.replace(place, answers=dataclasses.replace(place.answers, amount=amount))
    trials = Trials(assess(place, knowledge=TABLES, straight=True))
    for plot in ("p0", "p4"):
        assert trials.at(plot).linked_homes([{}])[0] == pytest.approx(trials.now, rel=1e-12)


GROUND = ("hedgehog", "frog", "newt")


def walled_gardens():
    """Six plots in a row, the middle ones bare; a fence and a house between some of them."""
    shapes = [shapely.box(11 * at, 0, 11 * at + 8, 20) for at in range(6)]
    amount = np.zeros((6, len(FEATURES)))
    for plot, feature, much in (
        (0, "pond", 3), (0, "leaf_pile", 6), (1, "long_grass", 30), (2, "bird_bath", 1),
        (4, "pond", 2), (4, "hedgehog_house", 1), (5, "dead_wood_pile", 4),
        (5, "compost_heap", 2), (5, "hedge_native", 12),
    ):  # fmt: skip
        amount[plot, FEATURES.index(feature)] = much
    fence = shapely.LineString([(20.5, -5), (20.5, 16)])
    return neighbourhood(shapes, amount, barriers=[fence], buildings=[shapely.box(30, 12, 33, 30)])


@pytest.mark.parametrize(
    ("plot", "change"),
    [
        (2, {"pond": 2.0, "leaf_pile": 3.0}),
        (3, {"dead_wood_pile": 2.0}),
        (4, {"pond": 1.0, "bee_hotel": 1.0}),
        (1, {"long_grass": -30.0}),
        (0, {"pond": -3.0, "leaf_pile": -6.0}),
    ],
)
def test_over_the_ground_it_is_what_assessing_anew_on_the_same_ground_gives(
    plot, change, monkeypatch
):
    """The ground is painted before the change; the ways over it are found anew."""
    place = walled_gardens()
    options = {"knowledge": TABLES, "groups": GROUND, "cell_m": 1.0}
    before = assess(place, **options)
    painted = {key: answer.ground.surface for key, answer in before.groups.items()}
    monkeypatch.setattr(
        sys.modules["patchnet.assess.assess"],
        "cost_surface",
        lambda _, group, *__, **___: painted[group.key],
    )
    anew = assess(changed(place, plot, change), **options)
    for compiled in (False, True):
        trials = Trials(before, compiled=compiled).at(f"p{plot}")
        assert trials.linked_homes([change])[0] == pytest.approx(linked(anew), rel=1e-9)
        same_outcome(trials.outcome(change), anew)
    allowed = {f"p{plot}": change, "p3": {"pond": 1.0}}
    many = assess(changed(changed(place, plot, change), 3, allowed["p3"]), **options)
    if plot != 3:
        full = Trials(before).full_linked_homes(allowed)
        assert full == pytest.approx(linked(many), rel=1e-12)


@pytest.mark.parametrize("seed", [0, 3])
def test_a_street_in_which_things_were_done_is_judged_as_one_assessed_anew(seed):
    """Three plots change, one after the other; then trials on a fourth, and on one of them."""
    rng = np.random.default_rng(seed)
    place = garden_row(rng, count=9, share=0.1)
    before = assess(place, knowledge=TABLES, straight=True)
    steps = [
        {"p1": {"pond": 4.0, "dead_wood_pile": 1.0}, "p6": {"hedge_native": 8.0}},
        {"p1": {"pond": -2.0, "flower_border": 3.0}, "p8": {"tree_small": 1.0}},
    ]
    done = place
    for step in steps:
        for plot, change in step.items():
            done = changed(done, int(plot[1:]), change)
    anew = assess(done, knowledge=TABLES, straight=True)
    plain, compiled = (Trials(before, compiled=route) for route in (False, True))
    for trials in (plain, compiled):
        for step in steps:
            trials.now  # noqa: B018 - what was asked before must not be told afterwards
            trials = trials.committed(step)  # noqa: PLW2901
        np.testing.assert_allclose(trials.now, linked(anew), rtol=1e-9, atol=1e-12)
        for plot in ("p3", "p1"):
            changes = some_changes(rng, done, int(plot[1:]))
            np.testing.assert_allclose(
                trials.at(plot).linked_homes(changes),
                Trials(anew, compiled=False).at(plot).linked_homes(changes),
                rtol=1e-9,
                atol=1e-12,
            )
    assert Trials(before).committed({}).now == pytest.approx(linked(before))


def test_over_the_ground_too_what_was_done_opens_and_ends_ways():
    """A pond and a hedge behind fences: stops that were not there bend the others' ways."""
    place = walled_gardens()
    before = assess(place, knowledge=TABLES, groups=["frog", "hedgehog"])
    plots = [str(plot) for plot in place.plots.index]
    step = {plots[0]: {"pond": 4.0}, plots[-1]: {"dead_wood_pile": 1.0, "hedge_native": 5.0}}
    trials = Trials(before).committed(step)
    assert trials.now == pytest.approx(Trials(before).full_linked_homes(step), rel=1e-9)
    back = trials.committed(
        {plot: {key: -more for key, more in change.items()} for plot, change in step.items()}
    )
    assert back.now == pytest.approx(linked(before), rel=1e-9)


def newts(street, knowledge, amounts, **options):
    """A newt of the textbook: a home a square metre of pond, and two of damp cover for each.

    A log pile gives 2 m2 of damp cover; without any there is no newt. Half arrive over 50 m.
    """
    tables = knowledge(amount=2, step_min=100, **options)
    give = dict(zip(("nest", "food"), ("pond", "log_pile"), strict=True))
    tables = dataclasses.replace(
        tables,
        features={give[key]: value for key, value in tables.features.items()},
        supplies=tuple(
            dataclasses.replace(
                supply,
                feature=give[supply.feature],
                amount=dataclasses.replace(
                    supply.amount, value=2.0 if supply.feature == "food" else 1.0
                ),
            )
            for supply in tables.supplies
        ),
    )
    return tables, amounts


def newt_trials(street, knowledge, amounts, *, lefts=None, **options):
    tables, amounts = newts(street, knowledge, amounts, **options)
    place = street(amounts, lefts=lefts)
    place = dataclasses.replace(
        place, answers=dataclasses.replace(place.answers, features=("pond", "log_pile"))
    )
    return Trials(assess(place, knowledge=tables))


def test_a_pond_and_a_log_pile_are_worth_nothing_alone_and_much_together(street, knowledge):
    """Plot 1 has both: 1 home. Plot 2, 50 m off, has neither; cover lies within reach of 20 m.

    The pond alone: room for 1, damp cover met 0, so 0 homes. The log pile alone: room for 0.
    Both: 2 m2 of cover for the one home there, so 1. Half arrive over 50 m, so linked homes
    go from 1 to sqrt(1 + 1 + 2 x 0.5) = sqrt(3).
    """
    trials = newt_trials(street, knowledge, [(1, 1), (0, 0)], reach=20)
    pond, logs = {"pond": 1.0}, {"log_pile": 1.0}
    found = trials.at("p2").linked_homes([{}, pond, logs, pond | logs])[:, 0]
    assert found == pytest.approx([1, 1, 1, math.sqrt(3)], rel=1e-12)


def test_with_the_shipped_tables_too_they_are_worth_more_together_than_apart():
    place = garden_row(np.random.default_rng(0), count=2, share=0.0)
    trials = Trials(assess(place, knowledge=TABLES, groups=["newt"], straight=True)).at("p0")
    pond, logs = {"pond": 4.0}, {"dead_wood_pile": 1.0}
    now, with_pond, with_logs, with_both = trials.linked_homes([{}, pond, logs, pond | logs])[:, 0]
    assert now == with_logs == 0
    assert with_both > 1.5 * with_pond


@pytest.mark.parametrize(("next_door", "before", "after"), [(0, 0, 2), (2, 2, 2)])
def test_a_second_pond_next_door_wins_nothing(street, knowledge, next_door, before, after):
    """Two plots that touch, two log piles: 4 m2 of damp cover, enough for 2 homes.

    No pond yet: one of 2 m2 on plot 2 makes room for 2, and both can live: 0 to 2 linked homes.
    A pond of 2 m2 next door already: then 4 homes share the cover, 1 m2 each of the 2 m2 that
    one takes, so 1 + 1 homes are held instead of 2 + 0, and linked homes stay 2.
    """
    trials = newt_trials(street, knowledge, [(next_door, 2), (0, 0)], lefts=[0, 10])
    assert trials.now == pytest.approx([before])
    assert trials.at("p2").linked_homes([{"pond": 2.0}])[0, 0] == pytest.approx(after, rel=1e-12)


def test_a_plot_that_becomes_a_stop_links_its_neighbours(street, knowledge):
    """Homes on plots 1 and 3, 110 m apart; hops of 60 m; plot 2 stands between, 50 m from each.

    Food on plot 2 makes it a stop: the way of 100 m has p = 2^(-2) = 1/4, so linked homes grow
    from sqrt(2) to sqrt(1 + 1 + 2 / 4) = sqrt(2.5); taken away again, they are as they were.
    """
    bare = Trials(assess(street([(1, 4), (0, 0), (1, 4)]), knowledge=knowledge()))
    assert bare.at("p2").linked_homes([{}, {"food": 0.5}, {"food": 1.0}])[:, 0] == pytest.approx(
        [math.sqrt(2), math.sqrt(2), math.sqrt(2.5)], rel=1e-12
    )
    fed = Trials(assess(street([(1, 4), (0, 1), (1, 4)]), knowledge=knowledge()))
    assert fed.at("p2").linked_homes([{}, {"food": -1.0}])[:, 0] == pytest.approx(
        [math.sqrt(2.5), math.sqrt(2)], rel=1e-12
    )


@pytest.mark.parametrize("compiled", [False, True])
def test_a_plot_that_becomes_a_stop_opens_the_way_to_food_beyond(street, knowledge, compiled):
    """A home on plot 1, food for one (4) on plot 3, 110 m off; hops of 60 m, reach of 120 m.

    Nothing to rest on between them: the food is out of reach, and no home is held. One unit of
    food on plot 2 makes it a stop: 1 + 4 units lie within reach, the home has all it takes, and
    linked homes are 1. (The unit alone would be a quarter of a home.)
    """
    row = assess(street([(1, 0), (0, 0), (0, 4)]), knowledge=knowledge(reach=120))
    found = Trials(row, compiled=compiled).at("p2").linked_homes([{}, {"food": 1.0}])[:, 0]
    assert found == pytest.approx([0, 1], abs=1e-12)


def test_everything_at_once_is_what_assessing_it_gives():
    rng = np.random.default_rng(11)
    place = garden_row(rng, count=9, share=0.15)
    allowed = {f"p{plot}": {"pond": 2.0, str(rng.choice(GIVEN)): 1.5} for plot in (1, 4, 8)}
    after = place
    for plot, change in allowed.items():
        after = changed(after, int(plot[1:]), change)
    trials = Trials(assess(place, knowledge=TABLES, straight=True))
    expected = linked(assess(after, knowledge=TABLES, straight=True))
    assert trials.full_linked_homes(allowed) == pytest.approx(expected, rel=1e-12)


@given(seed=st.integers(0, 2**32 - 1), stops=st.integers(0, 8))
@settings(max_examples=40, deadline=None)
def test_routes_rest_on_stops_alone(seed, stops):
    """Against networkx, in which a plot that is no stop can be left but not passed through."""
    rng = np.random.default_rng(seed)
    size = 9
    i, j = np.triu_indices(size, 1)
    keep = rng.random(len(i)) < 0.5
    i, j = i[keep].astype(np.int32), j[keep].astype(np.int32)
    apart = rng.random(len(i)) < rng.choice([0.3, 0.7, 1.0])  # the others touch
    moves = Pairs(i, j, rng.integers(0, 90_000, len(i)) * apart)
    stop = np.zeros(size, dtype=bool)
    stop[rng.permutation(size)[:stops]] = True
    ways = nx.DiGraph()
    ways.add_nodes_from(range(size))
    ways.add_nodes_from(("from", at) for at in range(size))
    for a, b, length in zip(i.tolist(), j.tolist(), moves.length_mm.tolist(), strict=True):
        if length <= 60_000:
            for start, end in ((a, b), (b, a)):
                ways.add_edge(("from", start), end, weight=length)
                if stop[start]:
                    ways.add_edge(start, end, weight=length)
    for compiled in (False, True):
        found = route_lengths(moves, stop, hop_m=60, compiled=compiled)
        lengths = found.whole()
        for at in range(size):
            far = nx.single_source_dijkstra_path_length(ways, ("from", at))
            expected = [0 if to == at else far.get(to, int(NO_ROUTE)) for to in range(size)]
            assert lengths[at].tolist() == expected
    if not stop.all():
        new = int(np.flatnonzero(~stop)[0])
        more = stop.copy()
        more[new] = True
        anew = route_lengths(moves, more, hop_m=60)
        assert (found.with_stop(new).whole() == anew.whole()).all()
        assert (found.of_pairs(i, j) == lengths[i, j]).all()


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_sums_keep_their_digits_also_where_nearly_all_is_taken_away(seed):
    """Terms over sixteen powers of ten, against sums of the rows themselves."""
    rng = np.random.default_rng(seed)
    rows, columns, lanes = 12, 15, trial_kernels.LANES
    two = [(rng.random((rows, columns)) < rng.uniform(0.1, 0.95)).astype("f4") for _ in range(2)]
    sums = stacked([row_sums(matrix) for matrix in two])
    terms = 10 ** rng.uniform(-8, 8, (columns, lanes)) * (rng.random((columns, lanes)) < 0.8)
    for at, matrix in enumerate(two):
        found, peak = np.full(rows * lanes, NAN), np.full(rows * lanes, NAN)
        trial_kernels._add_up(sums, at, terms.ravel(), found, peak)
        found = found.reshape(rows, lanes)
        np.testing.assert_allclose(found, matrix.astype(float) @ terms, rtol=1e-11)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"pnd": 1.0}, "no feature 'pnd'"),
        ({"food": -5.0}, "4 is there"),
        ({"nest": NAN}, "cannot change by nan"),
        ({"nest": math.inf}, "cannot change by inf"),
    ],
)
def test_changes_that_cannot_be(street, knowledge, change, words):
    trials = Trials(assess(street([(1, 4)]), knowledge=knowledge()))
    with pytest.raises(WrongUse, match=words):
        trials.at("p1").linked_homes([change])


def test_plots_and_groups_that_are_not_there(street, knowledge):
    assessment = assess(street([(1, 4)]), knowledge=knowledge())
    with pytest.raises(WrongUse, match="no plot 'p9'"):
        Trials(assessment).at("p9")
    with pytest.raises(WrongUse, match="no animal 'imps'"):
        Trials(assessment, groups=["imps"])


def test_no_changes_no_answers(street, knowledge):
    trials = Trials(assess(street([(1, 4)]), knowledge=knowledge()))
    assert trials.at("p1").linked_homes([]).shape == (0, 1)
