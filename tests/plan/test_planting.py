"""Plants chosen together: against every subset, on paper, and what must never be offered."""

import dataclasses
from itertools import combinations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from patchnet.core.errors import WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plant_names import match_plant, near_plants, unlawful
from patchnet.plan.planting import choose_planting
from patchnet.plan.planting_fits import REASONS, fitting, side_of, sites, toxic_to

KNOW = load_knowledge()
HUNGRY = {1: 1.0, 2: 1.0, 3: 0.5, 10: 0.75, 11: 1.0}
WANTS = {"nectar-pollen": 1.0, "larval-food": 0.5, "berry": 0.25}
PLANTS = [key for key in KNOW.plants if key != "ivy"]


def with_plants(keys):
    """Few plants, and no tested mixes: what the programme does by itself."""
    return dataclasses.replace(KNOW, plants={key: KNOW.plants[key] for key in keys}, mixes={})


def plant(facts=None, know=KNOW, hungry=HUNGRY, features=None, wants=WANTS, light="sun", **more):
    return choose_planting(
        know, facts or PlotFacts(), hungry=hungry, features=features or {"flower_border": 6},
        wants=wants, light=light, **more,
    )  # fmt: skip


def guided(chosen):
    """How many of the gardener's guides are kept; half of one for one of two tongues."""
    jobs = {job for one in chosen for job in one.jobs}
    tongues = {
        tongue: len(
            {one.plant.key for one in chosen if one.months and one.plant.tongue in (tongue, "any")}
        )
        for tongue in ("long", "short")
    }
    return (
        any(one.plant.evergreen for one in chosen)
        + ("night-scent" in jobs)
        + bool({"seed", "berry"} & jobs)
        + ("larval-food" in jobs)
        + sum(min(count / 2, 1) for count in tongues.values())
    )


# every subset ------------------------------------------------------------------------------


def best_of_all(know, features, *, light):
    """Cover and worth of the best subset, by the stated aim and nothing of the programme."""
    places = sites(know, PlotFacts(), features)
    options, _ = fitting(know, PlotFacts(), places, light=light, exclude=frozenset())
    if len(options) > 12:
        return len(options), (0.0, 0.0)
    value = know.setting
    best = (0.0, 0.0)
    for size in range(len(options) + 1):
        for chosen in combinations(options, size):
            used, kinds = {}, {}
            for one in chosen:
                layer = one.site, one.tier
                used[layer] = used.get(layer, 0) + one.least * one.each
                kinds[one.site] = kinds.get(one.site, 0) + 1
            if any(room > places[site].room + 1e-9 for (site, _), room in used.items()):
                continue
            if any(count > places[site].kinds for site, count in kinds.items()):
                continue
            sides = {(one.site, side_of(one.plant.soil)) for one in chosen}
            if any((site, "dry") in sides and (site, "moist") in sides for site, _ in sides):
                continue
            flowers = {month: set() for month in range(1, 13)}
            owns = {}
            for one in chosen:
                own = value("planting_worth_kind") + value("planting_worth_native") * (
                    one.plant.native
                )
                own += value("planting_worth_job") * (len(one.jobs) - 1)
                owns.setdefault(one.plant.key, []).append(own * one.light)
                for month in one.months:
                    flowers[month].add(one.plant.key)
            repeat = value("planting_repeat")
            worth = sum(repeat * sum(own) + (1 - repeat) * max(own) for own in owns.values())
            worth += value("planting_worth_layer") * len(used)
            worth += sum(
                value("planting_worth_year" if 2 <= month <= 11 else "planting_worth_month")
                for month, keys in flowers.items()
                if month not in HUNGRY and keys
            )
            worth += value("planting_worth_guide") * guided(chosen)
            worth += value("planting_worth_second") * sum(
                HUNGRY[month] for month in HUNGRY if len(flowers[month]) > 1
            )
            jobs = {job for one in chosen for job in one.jobs}
            worth += value("planting_worth_want") * sum(WANTS.get(job, 0) for job in jobs)
            cover = sum(HUNGRY[month] for month in HUNGRY if flowers[month])
            best = max(best, (cover, worth))
    return len(options), best


@given(
    keys=st.lists(st.sampled_from(PLANTS), min_size=4, max_size=12, unique=True),
    features=st.sampled_from(
        [
            {"flower_border": 1.2},
            {"flower_border": 3.0, "window_box": 1.0},
            {"shrub": 6.0, "hanging_basket": 1.0},
            {"planter": 0.6, "climber": 5.0},
            {"pond": 2.0, "bog": 1.0},
        ]
    ),
    light=st.sampled_from(["sun", "part", "shade", None]),
)
@settings(max_examples=40, deadline=None, derandomize=True)
def test_the_choice_equals_the_best_of_all_subsets(keys, features, light):
    know = with_plants(sorted(keys, key=PLANTS.index))
    count, (cover, worth) = best_of_all(know, features, light=light)
    assume(0 < count < 13)
    planting = plant(know=know, features=features, light=light)
    assert planting.exact
    assert planting.cover == pytest.approx(cover, abs=1e-3)
    assert planting.worth == pytest.approx(worth, abs=0.02)


@given(
    keys=st.lists(st.sampled_from(PLANTS), min_size=1, max_size=25, unique=True),
    one=st.sampled_from(PLANTS),
    light=st.sampled_from(["sun", "part", "shade"]),
)
@settings(max_examples=40, deadline=None, derandomize=True)
def test_one_more_plant_to_choose_from_never_worsens_the_aim(keys, one, light):
    features = {"flower_border": 2, "shrub": 4, "window_box": 1}
    fewer = plant(know=with_plants(keys), features=features, light=light)
    more = plant(know=with_plants([*keys, one]), features=features, light=light)
    assert more.cover >= fewer.cover - 1e-9
    assert (round(more.cover, 6), more.worth) >= (round(fewer.cover, 6), fewer.worth)


# on paper ------------------------------------------------------------------------------------


def made_up(key, **changes):
    base = dataclasses.replace(
        KNOW.plants["catmint"], key=key, name=key.title(), latin=f"Imaginaria {key}",
        roles=("nectar-pollen",), hazard="none known", note="",
    )  # fmt: skip
    return dataclasses.replace(base, **changes)


def sized(metres):
    return dataclasses.replace(KNOW.plants["catmint"].spread, value=metres)


def know_of(*plants):
    return dataclasses.replace(KNOW, plants={one.key: one for one in plants}, mixes={})


def test_the_hungrier_month_wins_where_only_one_plant_fits():
    """A planter of 0.3 m2; two herbs 0.5 m wide take 0.25 m2 each, so one of them fits.

    March weighs 1, October 0.5: the March plant. Worth: it fits 0.5, the wanted job 3, one layer
    used 4, one of two kinds for long tongues, half of 2; no other month: 8.5.
    """
    early = made_up("early", flower_start=3, flower_end=3, spread=sized(0.5))
    late = made_up("late", flower_start=10, flower_end=10, spread=sized(0.5))
    planting = plant(
        know=know_of(late, early), features={"planter": 0.3}, hungry={3: 1, 10: 0.5},
        wants={"nectar-pollen": 2},
    )  # fmt: skip
    assert [(line.plant, line.number) for line in planting.lines] == [("early", 1)]
    assert (planting.cover, planting.worth) == (1, 8.5)
    assert planting.no_room == (10,)
    assert planting.uncovered == ()
    assert planting.also_fit == ("late",)


def test_cover_comes_before_any_worth():
    """One fits: of two, the plant with four jobs and no hungry month gives way."""
    plain = made_up("plain", flower_start=11, flower_end=11, spread=sized(0.5))
    busy = made_up(
        "busy", flower_start=6, flower_end=8, spread=sized(0.5), native=True,
        roles=("nectar-pollen", "seed", "berry", "larval-food"),
    )  # fmt: skip
    planting = plant(
        know=know_of(busy, plain), features={"planter": 0.3}, hungry={11: 0.01},
        wants={"seed": 1, "berry": 1, "larval-food": 1},
    )  # fmt: skip
    assert [line.plant for line in planting.lines] == ["plain"]


def test_a_plant_with_three_jobs_comes_before_one_with_one():
    single = made_up("single", spread=sized(0.5))
    triple = made_up("triple", spread=sized(0.5), roles=("nectar-pollen", "seed", "larval-food"))
    planting = plant(know=know_of(single, triple), features={"planter": 0.3}, wants={})
    assert [line.plant for line in planting.lines] == ["triple"]


def test_plants_alike_are_taken_in_the_order_of_the_table():
    twins = [made_up(key, spread=sized(0.5)) for key in ("zeta", "alpha")]
    for order in (twins, twins[::-1]):
        planting = plant(know=know_of(*order), features={"planter": 0.3})
        assert [line.plant for line in planting.lines] == [order[0].key]


def test_numbers_follow_from_the_spread():
    """2 m2: two herbs of 0.5 m (0.25 m2) and 0.4 m (0.16 m2), at least three of each.

    Fewest: 3 x 0.25 + 3 x 0.16 = 1.23; left 0.77. The one with least area grows: narrow 0.48 ->
    0.64 -> 0.80 (left 0.45), wide 0.75 -> 1.00 (left 0.20), narrow 0.80 -> 0.96 (left 0.04).
    So 4 wide and 6 narrow: 1.00 + 0.96 = 1.96 m2.
    """
    wide = made_up("wide", spread=sized(0.5))
    narrow = made_up("narrow", spread=sized(0.4), flower_start=3, flower_end=4)
    planting = plant(know=know_of(wide, narrow), features={"flower_border": 2})
    assert {line.plant: line.number for line in planting.lines} == {"wide": 4, "narrow": 6}


def test_bulbs_stand_under_herbs_and_herbs_under_shrubs():
    """Layers overlap: each layer of 4 m2 is filled as if the others were not there."""
    planting = plant(features={"shrub": 4, "climber": 6}, light="part")
    assert {line.layer for line in planting.lines} >= {"bulb", "herb", "shrub", "climber"}
    area = sum(
        line.number * KNOW.plants[line.plant].spread.value ** 2
        for line in planting.lines
        if line.place == "shrub" and line.layer == "herb"
    )
    assert 3 < area <= 4


# hungry months -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("features", "light"),
    [({"flower_border": 4}, "sun"), ({"window_box": 1}, "part"), ({"shrub": 5}, "shade")],
)
def test_a_hungry_month_is_covered_wherever_a_plant_that_fits_flowers_then(features, light):
    places = sites(KNOW, PlotFacts(), features)
    options, _ = fitting(KNOW, PlotFacts(), places, light=light, exclude=frozenset())
    for month in range(1, 13):
        planting = plant(hungry={month: 1}, features=features, light=light)
        can = {side_of(option.plant.soil) for option in options if month in option.months}
        assert planting.uncovered == (() if can else (month,))
        if can and not planting.calendar[month - 1].plants:
            # Only what wants other moisture than all the rest flowers then.
            sides = {side_of(KNOW.plants[line.plant].soil) for line in planting.lines} - {""}
            assert planting.no_room == (month,)
            assert "" not in can
            assert not can & sides
        else:
            assert planting.no_room == ()


def test_a_whole_hungry_year_is_covered_in_a_border():
    planting = plant(hungry=dict.fromkeys(range(1, 13), 1), features={"flower_border": 8})
    assert all(bloom.plants and bloom.hungry for bloom in planting.calendar)
    assert planting.cover == 12


def test_the_calendar_is_what_the_lines_say():
    planting = plant(features={"flower_border": 5, "hedge_native": 6, "climber": 6})
    for bloom in planting.calendar:
        assert set(bloom.plants) == {
            line.plant for line in planting.lines if bloom.month in line.months
        }
        assert bloom.hungry == (bloom.month in HUNGRY)


def test_wind_pollinated_flowers_close_no_month():
    planting = plant(features={"nettle_patch": 2}, hungry={6: 1})
    assert [line.plant for line in planting.lines] == ["stinging_nettle"]
    assert planting.uncovered == (6,)


def test_young_ivy_does_not_flower_and_old_ivy_does():
    young = plant(know=with_plants(["ivy"]), features={"climber": 6}, hungry={10: 1})
    old = plant(know=with_plants(["ivy"]), features={"ivy_mature": 6}, hungry={10: 1})
    assert young.uncovered == (10,)
    assert "berry" not in young.lines[0].jobs
    assert old.uncovered == ()
    assert old.lines[0].months == (9, 10, 11)


# what fits -----------------------------------------------------------------------------------


def test_a_window_box_takes_low_plants_that_live_in_pots():
    planting = plant(features={"window_box": 2})
    assert planting.lines
    for line in planting.lines:
        one = KNOW.plants[line.plant]
        assert one.container
        assert one.height.value <= 0.4
        assert line.depth_m > 0
        # Common practice: a box is 20 cm deep.
        assert line.depth_m <= 0.2
    # Two boxes of 60 x 20 cm by the mix for a sunny balcony: five kinds of plant in each.
    assert sum(line.number for line in planting.lines) <= 20


def test_lime_haters_grow_only_in_potting_soil():
    for soil in ("clay", "loam", "sand", "chalk", None):
        ground = plant(PlotFacts(soil=soil), know=with_plants(["bell_heather"]))
        assert ground.lines == ()
    pot = plant(know=with_plants(["bell_heather"]), features={"planter": 1})
    assert [line.plant for line in pot.lines] == ["bell_heather"]


@pytest.mark.parametrize(
    ("facts", "fits"),
    [
        (PlotFacts(damp=True), {"cowslip", "white_clover"}),
        (PlotFacts(damp=False), {"wild_thyme", "yarrow", "white_clover"}),
        (PlotFacts(soil="chalk"), {"wild_thyme", "yarrow", "white_clover"}),
        (PlotFacts(soil="clay"), {"cowslip", "white_clover"}),
        (PlotFacts(soil="loam"), {"wild_thyme", "yarrow", "white_clover"}),
        (PlotFacts(), {"cowslip", "white_clover"}),
    ],
)
def test_soil_decides(facts, fits):
    """Common practice: thyme wants drained, cowslip moist soil; clover takes any.

    Clay takes moist and any. Loam, or soil of which nothing is known, takes both sorts, but not
    in one bed: thyme and yarrow are two kinds more against cowslip; against yarrow alone cowslip
    wins, because nothing else flowers in April.
    """
    know = with_plants(["cowslip", "wild_thyme", "yarrow", "white_clover"])
    lists = {**KNOW.plant_lists, "elsewhere": {}}
    know = dataclasses.replace(know, plant_lists=lists)
    planting = plant(facts, know=know, features={"flower_border": 20})
    assert {line.plant for line in planting.lines} == fits


@pytest.mark.parametrize(
    ("light", "fits"),
    [
        ("sun", {"cowslip", "primrose"}),
        ("part", {"cowslip", "primrose", "lungwort"}),
        (None, {"cowslip", "primrose", "lungwort"}),
        ("shade", {"primrose", "lungwort"}),
    ],
)
def test_light_decides_one_step_off_is_borne(light, fits):
    know = with_plants(["cowslip", "primrose", "lungwort"])
    assert {line.plant for line in plant(know=know, light=light).lines} == fits


def test_light_not_given_is_what_the_facts_say():
    know = with_plants(["cowslip", "lungwort"])
    planting = plant(PlotFacts(light="sun"), know=know, light=None)
    assert {line.plant for line in planting.lines} == {"cowslip"}


def test_fewest_and_kinds_are_kept():
    alone = dataclasses.replace(KNOW, mixes={})
    planting = plant(know=alone, features={"flower_border": 6, "window_box": 1, "hedge_native": 8})
    for line in planting.lines:
        if line.place == "flower_border":
            assert line.number >= (10 if line.layer == "bulb" else 3)
    count = {
        place: sum(line.place == place for line in planting.lines)
        for place in ("flower_border", "window_box", "hedge_native")
    }
    assert count["flower_border"] <= 8
    assert count["window_box"] <= 3
    assert count["hedge_native"] == 5
    assert sum(line.number for line in planting.lines if line.place == "hedge_native") == 40


def test_everything_in_pots():
    planting = plant(PlotFacts(pots_only=True), features={"planter": 1, "tree_small": 1})
    assert all(KNOW.plants[line.plant].container for line in planting.lines)
    (tree,) = (line for line in planting.lines if line.place == "tree_small")
    assert tree.layer == "tree"
    # Common practice: 45 cm or more for a small tree.
    assert tree.depth_m >= 0.45
    apple = plant(
        PlotFacts(pots_only=True), know=with_plants(["dwarf_apple"]), features={"tree_small": 1}
    )
    assert apple.lines[0].depth_m == 0.6


def test_every_plant_fits_or_is_left_out_once():
    planting = plant(features={"flower_border": 6, "climber": 6})
    inside = {line.plant for line in planting.lines} | set(planting.also_fit)
    assert len(inside) + sum(count for _, count in planting.left_out) == len(KNOW.plants)
    assert {reason for reason, _ in planting.left_out} <= set(REASONS.values())


@pytest.mark.parametrize(
    "features", [{}, {"flower_border": 0.0}, {"bee_hotel": 2}, {"tree_small": 0.4}]
)
def test_no_space(features):
    planting = choose_planting(
        KNOW, PlotFacts(), hungry={3: 1}, features=features, wants={}, light=None
    )
    assert planting.lines == ()
    assert planting.exact
    assert planting.uncovered == (3,)
    # All but butterfly bush, which is asked for nowhere.
    assert ("no place here for plants of its kind", len(KNOW.plants) - 1) in planting.left_out


def test_too_small_a_bed_for_three_of_anything_large():
    planting = plant(features={"flower_border": 0.1})
    assert all(
        line.number * KNOW.plants[line.plant].spread.value ** 2 <= 0.1 + 1e-9
        for line in planting.lines
    )


def test_wishes_for_edible_and_evergreen():
    """A planter of 0.3 m2, room for one (0.25 + 0.09 m2): catmint flowers five months, chives two.

    Catmint fits 0.5, one of two for long tongues 1, five months of the year 15: 16.5. Chives fit
    0.5, native 0.3, one of two for long and for short tongues 2, two months 6: 8.8; and 10 more
    where plants to eat are wished: 18.8. The layer counts for both.
    """
    features = {"planter": 0.3}
    know = with_plants(["catmint", "chives"])
    for edible, first in ((None, "catmint"), (False, "catmint"), (True, "chives")):
        planting = plant(
            PlotFacts(edible=edible), know=know, features=features, hungry={}, wants={}
        )
        assert {line.plant for line in planting.lines} == {first}
    know = with_plants(["catmint", "winter_heath"])
    green = plant(know=know, features=features, hungry={}, wants={"evergreen-shelter": 1})
    assert "winter_heath" in {line.plant for line in green.lines}


# what could do harm --------------------------------------------------------------------------


def test_every_hazard_is_named():
    planting = plant(features={"flower_border": 8, "shrub": 8, "climber": 6, "pond": 3})
    with_hazard = {
        line.plant
        for line in planting.lines
        if not KNOW.plants[line.plant].hazard.startswith("none")
    }
    assert with_hazard
    assert {one.plant for one in planting.hazards} == with_hazard
    for one in planting.hazards:
        assert one.words == KNOW.plants[one.plant].hazard
        assert one.source == KNOW.plants[one.plant].hazard_source
    for line in planting.lines:
        assert bool(line.hazard) == (line.plant in with_hazard)


@pytest.mark.parametrize(
    ("facts", "whom"),
    [
        (PlotFacts(small_children=True), {"children"}),
        (PlotFacts(pets=("cat",)), {"cat"}),
        (PlotFacts(small_children=True, pets=("dog",)), {"children", "dog"}),
        (PlotFacts(pets=("rabbit",)), {"children", "cat", "dog", "livestock"}),
    ],
)
def test_poisonous_plants_are_left_out_and_it_is_said(facts, whom):
    features = {"flower_border": 8, "shrub": 8, "climber": 6, "pond": 3, "hedge_native": 10}
    planting = plant(facts, features=features, light="part")
    offered = {line.plant for line in planting.lines} | set(planting.also_fit)
    assert offered
    assert not any(toxic_to(KNOW.plants[key], KNOW) & whom for key in offered)
    said = dict(planting.left_out)
    assert said.get(REASONS["children"], 0) + said.get(REASONS["pets"], 0) > 3
    free = plant(features=features, light="part")
    assert any(toxic_to(KNOW.plants[line.plant], KNOW) for line in free.lines)


def test_a_plant_of_ones_own_whose_hazard_speaks_of_poison_counts_for_everyone():
    own = made_up("own", hazard="All parts are POISONOUS")
    assert toxic_to(own, KNOW) == {"children", "cat", "dog", "livestock"}
    planting = plant(PlotFacts(small_children=True), know=know_of(own))
    assert planting.lines == ()


@pytest.mark.parametrize(
    "latin",
    [
        "Impatiens glandulifera", "Reynoutria japonica 'Compacta'", "Rosa rugosa 'Alba'",
        "Crocosmia \N{MULTIPLICATION SIGN} crocosmiiflora", "Azolla mexicana",
        "Lamiastrum galeobdolon subsp. argentatum", "FALLOPIA  JAPONICA",
    ],
)  # fmt: skip
def test_an_unlawful_plant_is_refused_with_the_reason(latin):
    own = made_up("own", latin=latin)
    planting = plant(know=know_of(own, KNOW.plants["catmint"]))
    assert [line.plant for line in planting.lines] == ["catmint"]
    assert [key for key, _ in planting.refused] == ["own"]
    assert "offence" in planting.refused[0][1]
    assert (REASONS["unlawful"], 1) in planting.left_out


@pytest.mark.parametrize(
    ("country", "ask"), [("", ""), ("gb", ""), ("fi", "; for the law here: kysy kunnalta")]
)
def test_what_british_law_keeps_out_is_asked_about_elsewhere(country, ask):
    own = made_up("own", latin="Azolla mexicana")
    planting = plant(know=know_of(own, KNOW.plants["catmint"]), country=country)
    ((_, why),) = planting.refused
    assert ("for the law here" in why) == bool(ask)
    assert ask in why
    assert "{" not in why


@pytest.mark.parametrize(
    "latin",
    ["Lamiastrum galeobdolon", "Rosa canina", "Cotoneaster lacteus", "Impatiens walleriana",
     "Allium sphaerocephalon", "Rhododendron"],
)  # fmt: skip
def test_its_lawful_kin_is_not_refused(latin):
    assert unlawful(made_up("own", latin=latin), KNOW) is None


def test_an_unlawful_plant_is_known_by_its_english_name_too():
    assert unlawful(made_up("own", name="Himalayan Balsam"), KNOW).key == "himalayan_balsam"


def test_a_plant_that_spreads_into_the_wild_is_never_offered():
    planting = plant(features={"shrub": 12}, light="sun")
    assert "butterfly_bush" not in planting.also_fit
    assert (REASONS["invasive"], 1) in planting.left_out


def test_plants_not_wanted_stay_out():
    planting = plant(exclude=["Snowdrop", "Erica carnea", "common_knapweed"])
    offered = {line.plant for line in planting.lines} | set(planting.also_fit)
    assert not offered & {"snowdrop", "winter_heath", "common_knapweed"}
    assert (REASONS["asked"], 3) in planting.left_out


# names, order, bad input ---------------------------------------------------------------------


def test_names_of_plants():
    assert match_plant("BIRDS-FOOT trefoil", KNOW) == "birds_foot_trefoil"
    assert match_plant("galanthus nivalis", KNOW) == "snowdrop"
    assert match_plant("snowdrip", KNOW) is None
    assert near_plants("snowdrip", KNOW)[0] == "Snowdrop"


def test_the_order_of_what_is_said_does_not_matter():
    features = {"flower_border": 5.0, "window_box": 1.0, "shrub": 4.0}
    one = plant(features=features)
    other = plant(
        features=dict(reversed(features.items())), hungry=dict(reversed(HUNGRY.items())),
        wants=dict(reversed(WANTS.items())),
    )  # fmt: skip
    assert one == other


def test_everything_wrong_is_said_at_once():
    with pytest.raises(WrongUse) as caught:
        plant(
            PlotFacts(pots_only=True),
            hungry={13: 1, 4: -1},
            features={"flower_border": 3, "windowbox": 1, "planter": float("nan")},
            wants={"nectar": 1},
            exclude=["snowdrip"],
        )
    lines = str(caught.value).splitlines()
    assert len(lines) == 7
    assert "Flower border needs open ground" in str(caught.value)
    assert "Did you mean Snowdrop?" in str(caught.value)
    assert "Did you mean window_box" in str(caught.value)
    assert caught.value.exit_status == 2
