"""A scheme for a straight road drawn by hand: what is handed over, and what is refused."""

import dataclasses

import numpy as np
import pytest
import shapely

from patchnet.assess import assess
from patchnet.core.errors import WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.read import build_neighbourhood
from patchnet.scheme.bill import bill_of, total_of, whole_cost
from patchnet.scheme.group_fields import group_fields
from patchnet.scheme.plan_scheme import plan_scheme
from patchnet.scheme.planter_scheme import Keeper, SchemeAsk
from patchnet.street import find_street, planter_sites

GROUPS = ("mason_bee", "hoverfly")
EAST, NORTH = 450_000.0, 210_000.0


def drawn(rows, **columns):
    import geopandas as gpd  # noqa: PLC0415

    shapes = [shapely.affinity.translate(shape, EAST, NORTH) for shape in rows]
    return gpd.GeoDataFrame(columns, geometry=shapes, crs="EPSG:27700")


@pytest.fixture(scope="module")
def road():
    """A road of 60 m with wide footways; six gardens on each side, some flowers, one unknown."""
    return long_road()


def long_road(order=range(12)):
    """Return the assessment, the street and some sites; the gardens' rows in any order."""
    knowledge = load_knowledge()
    gardens = [shapely.box(10 * at, y, 10 * at + 8, y + 15) for y in (8, -23) for at in range(6)]
    ids = [f"p{at}" for at in range(12)]
    words = ["bee_hotel 1; flower_border 2", "lawn_short 40", "flower_border 1", ""] * 3
    seen = ["all", "all", "all", "none"] * 3
    plots = drawn(gardens, id=ids, kind=["garden_front"] * 12, features=words, seen=seen)
    plots = plots.iloc[list(order)]
    line = shapely.LineString([(-100, 0), (200, 0)])
    feet = [shapely.box(-100, 3, 200, 7), shapely.box(-100, -7, 200, -3)]
    hood = build_neighbourhood(
        plots,
        roads=drawn([line], name=["Long Road"], width_m=[6.0], speed_mph=["20 mph"]),
        footways=drawn(feet, name=["", ""], width_m=[4.0, 4.0]),
        street_objects=drawn([shapely.Point(0, 400)], kind=["bench"], width_m=[1.0]),
        knowledge=knowledge,
    )
    assessment = assess(hood, knowledge=knowledge, groups=GROUPS, straight=True)
    street = find_street(hood, "Long Road", knowledge=knowledge)
    every = planter_sites(hood, street, knowledge=knowledge)
    usable = [site for site in every if site.verdict != "no" and -20 < site.centre.x - EAST < 80]
    return assessment, street, tuple(usable[:: max(1, len(usable) // 12)])


@pytest.fixture(scope="module")
def scheme(road):
    return plan_scheme(*road, SchemeAsk(planters=3, groups=GROUPS))


def test_there_are_sites_to_choose_from(road):
    assert len(road[2]) >= 6


def test_building_order_adds_up(scheme):
    """What each planter adds when it is built sums to what the whole scheme is worth."""
    assert scheme.planters
    built = sum(planter.when_built for planter in scheme.planters)
    assert built == pytest.approx(scheme.curve[-1].value, rel=1e-9)
    assert [planter.number for planter in scheme.planters] == list(
        range(1, len(scheme.planters) + 1)
    )
    sizes = [planter.site.size for planter in scheme.planters]
    kit = whole_cost(sizes, scheme.after.knowledge) - whole_cost(
        sizes, scheme.after.knowledge, kits=0
    )
    own = sum(planter.cost for planter in scheme.planters)
    assert own + kit == pytest.approx(scheme.curve[-1].cost, abs=0.5)
    for planter in scheme.planters:
        assert 0 <= planter.worth <= scheme.curve[-1].value + 1e-12


def test_the_curve_never_falls_and_is_certified(scheme):
    values = [step.value for step in scheme.curve]
    assert values == sorted(values)
    assert [step.planters for step in scheme.curve] == list(range(len(scheme.curve)))
    for step in scheme.curve:
        assert step.bound >= step.value
        assert step.within >= 0
        assert len(step.sites) <= step.planters
    bounds = [step.bound for step in scheme.curve]
    assert bounds == sorted(bounds)
    assert scheme.curve[0].within == 0


def test_what_is_not_known_stays_so_and_planters_are_plots(road, scheme):
    assessment = road[0]
    before, after = assessment.neighbourhood, scheme.neighbourhood
    ids = [planter.plot for planter in scheme.planters]
    assert list(after.plots.index) == [*before.plots.index, *ids]
    count = len(before.plots)
    assert np.array_equal(after.answers.amount[:count], before.answers.amount, equal_nan=True)
    assert np.isnan(after.answers.amount[:count]).any()
    assert set(ids) <= set(scheme.after.neighbourhood.plots.index)
    assert set(scheme.after.groups) == set(GROUPS) == set(scheme.before.groups)
    for planter, plot in zip(scheme.planters, ids, strict=True):
        assert after.plots.geometry[plot].equals(planter.site.polygon)
        held = after.answers.amount[after.plots.index.get_loc(plot)]
        amounts = {key: each.value for key, each in planter.recipe.amounts.items()}
        assert held.sum() == pytest.approx(sum(amounts.values()) * planter.site.size.plan_m2)


def test_the_measure_is_near_what_assessing_anew_says(road, scheme):
    """Only reach is held: today is the same, and with the planters it is nearly."""
    for group in scheme.comparison.groups:
        assert scheme.curve[0].linked[group.group] == pytest.approx(group.linked_before, rel=1e-6)
        assert scheme.curve[-1].linked[group.group] == pytest.approx(group.linked_after, rel=0.02)


def test_the_field_of_real_gardens_has_the_routes_of_the_network(road):
    """Chances between patches are those that the assessment's own measures are made of."""
    assessment, _, sites = road
    knowledge = assessment.knowledge
    ids = [f"s{at}" for at in range(len(sites))]
    recipes = tuple(knowledge.recipes.values())
    for field in group_fields(assessment, sites, ids, recipes, list(GROUPS)):
        answer = assessment.groups[field.group.key]
        homes = np.asarray(answer.homes)
        part = field.chances[: field.plots, : field.plots]
        patch = np.asarray(answer.patch)
        assert np.sqrt(homes @ (part * patch * patch[:, None]) @ homes) == pytest.approx(
            answer.measures.eca, rel=1e-6
        )


def test_locks_sides_and_money(road):
    sites = road[2]
    locked = sites[0].key
    ask = SchemeAsk(planters=2, groups=GROUPS, locked_in=(locked,), locked_out=(sites[-1].key,))
    made = plan_scheme(*road, ask)
    keys = {planter.site.key for planter in made.planters}
    assert locked in keys
    assert sites[-1].key not in keys
    assert all(locked in [key for key, _ in step.sites] for step in made.curve)
    left = plan_scheme(*road, SchemeAsk(planters=2, groups=GROUPS, sides="left"))
    assert {planter.site.side for planter in left.planters} == {"left"}
    cost = min(step.cost for step in made.curve if step.cost)
    poor = plan_scheme(*road, SchemeAsk(planters=None, groups=GROUPS, budget=1.05 * cost))
    assert poor.curve[-1].cost <= 1.05 * cost


def test_watering(road):
    """One keeper with water for one planter, nobody else allowed: one planter."""
    site = road[2][0]
    litres = road[0].knowledge.setting("visit_litres_m2") * max(
        each.size.plan_m2 for each in road[2]
    )
    keeper = Keeper("Ada", site.centre, 1.5 * litres)
    ask = SchemeAsk(planters=3, groups=GROUPS, keepers=(keeper,), unkept=0)
    made = plan_scheme(*road, ask)
    assert [planter.keeper for planter in made.planters] == ["Ada"]
    assert all(len(step.sites) <= 1 for step in made.curve)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"groups": ("mason_be",)}, "mason_bee"),
        ({"groups": ("hedgehog",)}, "cannot help animals that walk"),
        ({"recipes": ("flower",)}, "flowers"),
        ({"locked_in": ("L9",)}, "no site 'L9'"),
        ({"planters": 0}, "at least one"),
        ({"budget": 1.0}, "less than the cheapest planter"),
        ({"verdicts": ()}, "none has the verdict"),
    ],
)
def test_what_cannot_be_done_is_said(road, change, words):
    with pytest.raises(WrongUse, match=words):
        plan_scheme(*road, SchemeAsk(**{"planters": 2, "groups": GROUPS, **change}))


def test_all_mistakes_come_in_one_list(road):
    key = road[2][0].key
    ask = SchemeAsk(
        planters=1, groups=("hedgehog", "elf"), recipes=("moss",), locked_in=(key, "L9"),
        locked_out=(key,),
    )  # fmt: skip
    with pytest.raises(WrongUse) as caught:
        plan_scheme(*road, ask)
    for words in (
        "hedgehog",
        "'elf'",
        "'moss'",
        "'L9'",
        "choose one of the two",
        "only 1 planters",
    ):
        assert words in str(caught.value)


def test_locked_sites_too_close_together_are_refused(road):
    site = road[2][0]
    twin = dataclasses.replace(site, key="twin")
    ask = SchemeAsk(planters=2, groups=GROUPS, locked_in=(site.key, "twin"))
    with pytest.raises(WrongUse, match="cannot all be used together"):
        plan_scheme(road[0], road[1], (*road[2], twin), ask)


def test_no_sites_at_all(road):
    with pytest.raises(WrongUse, match="No place for a planter"):
        plan_scheme(road[0], road[1], (), SchemeAsk(planters=1, groups=GROUPS))


def test_coverage_is_solved_exactly_and_told_apart(road):
    """The goal of coverage: a curve that is proved, and planters counted by what they reach."""
    made = plan_scheme(*road, SchemeAsk(planters=3, groups=GROUPS, goal="cover"))
    assert made.exact
    assert all(step.bound == step.value for step in made.curve)
    values = [step.value for step in made.curve]
    assert values == sorted(values)
    assert 0 < values[-1] <= 1
    built = sum(planter.when_built for planter in made.planters)
    assert built == pytest.approx(values[-1])
    assert "share it adds" in made.notes[-1]


def keys_of(made):
    return [(one.site.key, one.recipe.key) for one in made.planters]


def test_order_of_rows_and_the_seed_change_nothing(road):
    """Gardens and sites in another order, keepers too, another seed without draws: the same."""
    site = road[2][0]
    keepers = (Keeper("Ada", site.centre, 20.0), Keeper("Bob", road[2][-1].centre, 20.0))
    ask = SchemeAsk(planters=3, groups=GROUPS, keepers=keepers, unkept=2)
    plain = plan_scheme(*road, ask)
    assessment, street, sites = long_road(np.random.default_rng(4).permutation(12))
    other = dataclasses.replace(ask, keepers=keepers[::-1])
    mixed = plan_scheme(assessment, street, sites[::-1], other, seed=9)
    assert keys_of(mixed) == keys_of(plain)
    assert mixed.curve[-1].value == pytest.approx(plain.curve[-1].value)
    assert [one.sites for one in mixed.choices] == [one.sites for one in plain.choices]


@pytest.mark.parametrize("times", [1.0, 1.9, 3.3])
def test_the_budget_binds_the_whole_bill(road, times):
    """Labels, delivery, kits and contingency too; and money is used while more of it wins."""
    knowledge = road[0].knowledge
    cheapest = min(whole_cost([site.size], knowledge) for site in road[2])
    ask = SchemeAsk(budget=times * cheapest, groups=GROUPS)
    made = plan_scheme(*road, ask)
    assert made.planters
    step = next(one for one in made.curve if one.planters == len(made.planters))
    assert total_of(bill_of(made)) <= step.cost <= ask.budget
    assert step.cost == whole_cost([one.site.size for one in made.planters], knowledge)
    with pytest.raises(WrongUse, match="less than the cheapest"):
        plan_scheme(*road, dataclasses.replace(ask, budget=0.99 * cheapest))


def test_places_that_fit_come_first(road):
    """Three schemes side by side; the first that wins nearly as much as the last is proposed."""
    assessment, street, sites = road
    verdicts = ("measure", "ask", "fits")
    told = [
        dataclasses.replace(site, verdict=verdicts[at % 3]) for at, site in enumerate(sites)
    ]  # fmt: skip
    verdict = {site.key: site.verdict for site in told}
    made = plan_scheme(assessment, street, told, SchemeAsk(planters=2, groups=GROUPS))
    assert [one.verdicts for one in made.choices] == [
        ("fits",), ("fits", "ask"), ("fits", "ask", "measure"),
    ]  # fmt: skip
    values = [one.value for one in made.choices]
    for one in made.choices:
        used = [verdict[key] for key, _ in one.sites]
        assert set(used) <= set(one.verdicts)
        assert (one.ask, one.measure) == (used.count("ask"), used.count("measure"))
        assert one.cost == pytest.approx(
            whole_cost([s.size for s in told if s.key in dict(one.sites)], assessment.knowledge)
        )
    assert values == sorted(values)
    share = assessment.knowledge.setting("scheme_enough_share")
    taken = [one.taken for one in made.choices].index(True)
    assert values[taken] >= share * values[-1]
    assert all(value < share * values[-1] for value in values[:taken])
    assert sorted(keys_of(made)) == sorted(made.choices[taken].sites)


def test_where_nothing_fits_it_is_said_and_places_to_ask_about_are_taken(road):
    assessment, street, sites = road
    told = [dataclasses.replace(site, verdict="ask") for site in sites]
    made = plan_scheme(assessment, street, told, SchemeAsk(planters=1, groups=GROUPS))
    first, second = made.choices
    assert (first.sites, first.value, first.cost, first.taken) == ((), 0.0, 0.0, False)
    assert second.taken
    assert second.ask == 1


def test_no_stage_wins_nothing(scheme):
    assert [n for stage in scheme.stages for n in stage.numbers] == [
        one.number for one in scheme.planters
    ]
    assert all(stage.gain > 0 for stage in scheme.stages)
    assert scheme.stages[-1].stands == pytest.approx(scheme.curve[-1].value)
