"""What could be added to each plot: against assessing anew, the space there is, and pairs on paper.

The street is invented; its numbers are worked anew here from the start, by another route.
"""

import dataclasses
import itertools

import geopandas as gpd
import numpy as np
import pytest
import shapely

from patchnet.assess import assess
from patchnet.assess.what_if import Trials
from patchnet.core.errors import WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.plan.additions import needs_soil, possible_additions
from patchnet.plan.candidates import candidates_for, fitted
from patchnet.plan.facts import PlotFacts
from patchnet.plan.joint_worth import amounts_at, common_currency
from patchnet.plan.space import space_of
from patchnet.plan.waiting import in_time
from patchnet.read.build import build_neighbourhood

PONDS = {"pond", "container_pond"}
KNOW = load_knowledge()
GROUPS = ("mason_bee", "newt", "sparrow")
SURE = "no tree_hole; no soil_wood"  # so that nothing is drawn in beside what is planted
FEATURES = [
    f"lawn_short 60; paving 20; shrub 4; {SURE}",
    f"shrub 12; lawn_short 50; bee_hotel 2; flower_border 10; {SURE}",
    "",
]
KINDS = ["garden_back", "garden_front", "balcony"]


def street(features, kinds, sides=(12.0, 12.0, 2.0)):
    lefts = [400_000 + 20 * at for at in range(len(features))]
    plots = gpd.GeoDataFrame(
        {
            "id": [str(at + 1) for at in range(len(features))],
            "kind": kinds,
            "features": features,
            "seen": ["all"] * len(features),
        },
        geometry=[
            shapely.box(left, 300_000, left + side, 300_000 + side)
            for left, side in zip(lefts, sides, strict=False)
        ],
        crs="EPSG:27700",
    )
    return build_neighbourhood(plots, knowledge=KNOW)


def assessed(features=FEATURES, kinds=KINDS, knowledge=KNOW, groups=GROUPS):
    hood = street(features, kinds)
    return assess(hood, knowledge=knowledge, groups=list(groups), straight=True)


@pytest.fixture(scope="module")
def assessment():
    return assessed()


@pytest.fixture(scope="module")
def found(assessment):
    return possible_additions(assessment)


def space_at(assessment, plot, facts):
    return space_of(
        assessment.neighbourhood, plot, facts, KNOW, amounts=amounts_at(assessment, plot)
    )


def test_every_plot_is_answered_in_order(found):
    assert list(found) == ["1", "2", "3"]
    assert found["1"].singles
    assert found["1"].soil
    assert not found["3"].soil
    assert found["3"].ground_m2 == 0


def test_what_a_thing_wins_is_what_assessing_the_changed_street_gives(assessment, found):
    """The best things, in every size: the street with them in, read and assessed from the start.

    In it stands what counts in some years (`in_time`).
    """
    space = space_at(assessment, "1", PlotFacts())
    currency = common_currency(assessment)
    for one in found["1"].singles[:3]:
        for size in one.sizes:
            sized = dataclasses.replace(
                one.candidate,
                amount=size.amount, ground_m2=size.ground_m2, length_m=size.length_m,
            )  # fmt: skip
            change = in_time(fitted([sized], space, KNOW, PlotFacts())[1], KNOW)
            amounts = {key: value for key, value in space.has.items() if value > 0}
            for key, more in change.items():
                amounts[key] = amounts.get(key, 0.0) + more
            words = "; ".join(f"{key} {amount:.12f}" for key, amount in amounts.items() if amount)
            anew = assessed([f"{words}; {SURE}", *FEATURES[1:]]).groups
            linked = np.array([answer.measures.eca for answer in anew.values()])
            assert size.linked_homes == pytest.approx(
                float((linked - currency.now).sum()), rel=1e-6
            )
            assert size.worth == pytest.approx(float(currency.worth(linked[None])[0]), rel=1e-6)


def test_nothing_is_hidden_because_nothing_was_said(assessment, found):
    """Whatever a plan offers for any light, tenure and answer about children is among them."""
    names = {one.candidate.feature for one in found["1"].singles}
    assert names & PONDS
    for light, tenure, children in itertools.product(
        ("sun", "part", "shade"), ("own", "rent"), (True, False)
    ):
        facts = PlotFacts(light=light, tenure=tenure, small_children=children)
        space = space_at(assessment, "1", facts)
        offered, _ = candidates_for(KNOW, facts, space, kind="garden_back")
        currency = common_currency(assessment)
        here = Trials(assessment).at("1")
        changes = [in_time(fitted([one], space, KNOW, facts)[1], KNOW) for one in offered]
        won = (here.linked_homes(changes) - currency.now).sum(axis=1)
        least = KNOW.setting("plan_gain_least")
        winning = {one.feature for one, more in zip(offered, won, strict=True) if more >= least}
        assert winning <= names


def test_sizes_run_from_the_usual_to_the_smallest(found):
    for plot in found.values():
        for one in plot.singles:
            feature = KNOW.features[one.candidate.feature]
            amounts = [size.amount for size in one.sizes]
            assert amounts[0] == one.candidate.amount
            assert amounts == sorted(amounts, reverse=True)
            assert len(set(amounts)) == len(amounts) <= 3
            assert amounts[-1] >= feature.smallest.value
            for size in one.sizes:
                assert size.ground_m2 == pytest.approx(feature.ground.value * size.amount)
            if one.candidate.place not in ("ground", "under"):
                assert len(amounts) == 1


def test_the_one_worth_most_comes_first_and_names_whom_it_serves(assessment, found):
    for plot in found.values():
        worth = [one.sizes[0].worth for one in plot.singles]
        assert worth == sorted(worth, reverse=True)
        for one in plot.singles:
            assert len(one.groups) <= 3
            assert set(one.groups) <= set(assessment.groups)


def test_what_needs_soil_is_what_a_plan_rules_out_where_all_stands_in_pots(assessment):
    facts = PlotFacts(pots_only=True)
    space = space_at(assessment, "1", facts)
    _, ruled = candidates_for(KNOW, facts, space, kind="garden_back")
    for out in ruled:
        soil = needs_soil(KNOW.features[out.feature], KNOW.sitings[out.feature])
        assert soil == (out.kind == "pots") or out.kind in ("room", "slow", "there")


NEWTS = ["lawn_short 100", "lawn_short 100"]


def test_two_things_worth_more_together_are_found():
    """Newts live where there is water and, near it, something to winter in: a pond and a pile of
    logs do each little alone. Worked anew: both, each, and nothing."""
    hood_of = lambda first: assessed([first, NEWTS[1]], ["garden_back"] * 2, groups=["newt"])  # noqa: E731
    now = hood_of(NEWTS[0])
    pairs = possible_additions(now, ["1"])["1"]
    assert pairs.pairs
    for pair in pairs.pairs:
        one, other = (pairs.singles[at] for at in pair.members)
        apart = one.sizes[0].linked_homes + other.sizes[0].linked_homes
        assert pair.linked_homes > apart * 1.25
    best = pairs.pairs[0]
    things = [pairs.singles[at].candidate for at in best.members]
    space = space_of(now.neighbourhood, "1", PlotFacts(), KNOW, amounts=amounts_at(now, "1"))
    chosen, change = fitted(things, space, KNOW, PlotFacts())
    change = in_time(change, KNOW)
    amounts = {"lawn_short": 100.0, **{key: more for key, more in change.items() if more > 0}}
    amounts["lawn_short"] += change.get("lawn_short", 0.0)
    words = "; ".join(f"{key} {amount:.12f}" for key, amount in amounts.items())
    after = hood_of(words).groups["newt"].measures.eca
    assert best.linked_homes == pytest.approx(after - now.groups["newt"].measures.eca, rel=1e-6)
    assert best.worth == max(pair.worth for pair in pairs.pairs)
    in_ground = sum(one.ground_m2 for one in chosen if one.place == "ground")
    assert best.ground_m2 == pytest.approx(in_ground)


def test_the_same_again_gives_the_same(assessment, found):
    again = possible_additions(assessment, ["2"], progress=iter)
    assert list(again) == ["2"]
    assert again["2"] == found["2"]


def test_an_unknown_plot_is_named(assessment):
    with pytest.raises(WrongUse, match="There is no plot '9'"):
        possible_additions(assessment, ["9"])
