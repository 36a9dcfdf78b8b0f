"""Soil, weight, water and money of a scheme against a published table and sums done by hand."""

import dataclasses

import pytest

from patchnet.knowledge.street import PlanterSize
from patchnet.pages.scheme import SchemePack, Told
from patchnet.pages.scheme.quantities import (
    bill_of,
    litres_a_visit,
    load_of,
    rotas_of,
    total_of,
    visits_by_month,
    year_litres,
)


def box(length, width, depth, **others):
    return PlanterSize("own", "own box", length, width, depth + 0.1, depth, **others)


@pytest.mark.parametrize(
    ("length", "width", "depth", "litres", "light", "loam"),
    [
        (1.0, 0.4, 0.4, 160, 208, 256),
        (1.2, 0.5, 0.5, 300, 390, 480),
        (1.8, 0.6, 0.6, 648, 842.4, 1036.8),
    ],
)
def test_wet_soil_weighs_volume_times_density(knowledge, length, width, depth, litres, light, loam):
    """Worked by hand: 1.2 x 0.5 x 0.5 m = 0.3 m3 = 300 l; at 1300 kg/m3 390 kg, at 1600 480 kg.

    The densities of wet soil are those of trade and university pages (1000-1300 light mixes,
    1600-1800 topsoil); the table names them.
    """
    load = load_of(box(length, width, depth), knowledge)
    assert load.litres == pytest.approx(litres)
    assert load.light_kg == pytest.approx(light)
    assert load.loam_kg == pytest.approx(loam)


def test_settling_and_the_load_on_the_ground(knowledge):
    """300 l and a tenth for settling: 330 l. 0.3 m3 x 1800 = 540 kg, box 45 kg: 585 kg on 0.6 m2
    is 975 kg/m2."""
    load = load_of(box(1.2, 0.5, 0.5, empty_kg=45), knowledge)
    assert load.to_buy_litres == pytest.approx(330)
    assert load.check_kg == pytest.approx(540)
    assert load.check_kg_m2 == pytest.approx(975)


def test_a_visit_brings_half_the_store_and_lasts_ten_to_twelve_days(knowledge):
    """A store of a fifth of 300 l is 60 l, half of it 30 l: three cans. 0.6 m2 take 4-5 l a m2
    and day, 2.4-3 l: every 10-12.5 days (reference evapotranspiration of 3-4 mm, FAO 56, and
    1.3 for an exposed box, our assumption: 3.9-5.2 mm)."""
    size = box(1.2, 0.5, 0.5)
    assert litres_a_visit(size, knowledge) == pytest.approx(30)
    daily = knowledge.scheme_figures["water_l_m2_day"]
    assert 3 * 1.3 <= daily.value <= 4 * 1.3
    days = [30 / (rate * size.plan_m2) for rate in (daily.low, daily.value, daily.high)]
    assert days == pytest.approx([12.5, 11.11, 10], abs=0.01)


def test_visits_are_most_in_the_warm_months_and_never_none(knowledge):
    visits = visits_by_month(knowledge)
    assert len(visits) == 12
    assert min(visits[4:8]) >= 1 > max(visits[0], visits[11]) > 0


def test_every_line_of_the_bill_by_hand(demo_scheme, knowledge):
    """Two boxes of 1.2 x 0.5 x 0.6 m with 0.5 m of soil at 220, ten herbs in each.

    Soil 2 x 330 l = 0.66 m3; drainage 2 x 0.6 m2 x 0.05 = 0.06 m3; mulch 2 x 0.6 x 0.03 = 0.036;
    band 2 x 2 x 1.7 = 6.8 m; plants 20, a tenth of their price again; contingency a tenth.
    """
    size = knowledge.planter_sizes["box"]
    assert (size.length_m, size.width_m, size.soil_depth_m) == (1.2, 0.5, 0.5)
    planters = tuple(
        dataclasses.replace(one, site=dataclasses.replace(one.site, size=size), keeper="Ann")
        for one in demo_scheme.planters[:2]
    )
    scheme = dataclasses.replace(demo_scheme, planters=planters)
    group = dataclasses.replace(
        SchemePack(scheme, Told()).groups[0], planters=planters, numbers={"primrose": 10}
    )
    lines = {line.item.split(",")[0]: line for line in bill_of(scheme, [group])}
    rate = {key: figure.value for key, figure in knowledge.scheme_figures.items()}
    soil_rate = knowledge.setting("soil_cost_litre")
    expected = {
        "Box": 2 * size.cost,
        "Soil": 660 * soil_rate,
        "Drainage layer": 0.06 * rate["cost_drainage_m3"],
        "Mulch": 0.036 * rate["cost_mulch_m3"],
        "Herbs and perennials": 20 * rate["cost_plant_herb"],
        "Plants bought again in the first year": 2 * rate["cost_plant_herb"],
        "Label with number": 2 * rate["cost_label"],
        "Contrast band": 6.8 * rate["cost_band_m"],
        "Delivery and placing": 2 * rate["cost_delivery"],
        "Watering kit": rate["cost_kit"],
    }
    assert list(lines) == [*expected, "Contingency"]
    for item, amount in expected.items():
        assert lines[item].amount == pytest.approx(amount), item
    whole = sum(expected.values())
    assert lines["Contingency"].amount == pytest.approx(0.1 * whole)
    assert total_of(bill_of(scheme, [group])) == pytest.approx(1.1 * whole)


def test_water_of_the_year_is_visits_times_litres(demo_scheme, knowledge):
    litres = sum(one.site.size.plan_m2 * 50 for one in demo_scheme.planters)
    weeks = 52 / 12
    visits = weeks * (0.25 * 4 + 0.5 * 2 + 1 * 2 + 2 * 4)
    assert knowledge.setting("visit_litres_m2") == 50
    assert year_litres(demo_scheme.planters, knowledge) == pytest.approx(litres * visits)


def test_nobody_is_left_out_of_the_rota(demo_scheme):
    rotas = rotas_of(demo_scheme)
    assert [rota.name for rota in rotas] == ["Ann of No. 4", None]
    named = [one.plot for rota in rotas for one in rota.planters]
    assert sorted(named) == sorted(one.plot for one in demo_scheme.planters)
    assert rotas[0].promised == 45
    assert rotas[1].promised is None


def test_plants_are_safe_small_and_for_every_planter(demo_scheme, knowledge):
    pack = SchemePack(demo_scheme, Told())
    covered = [one.plot for group in pack.groups for one in group.planters]
    assert sorted(covered) == sorted(one.plot for one in demo_scheme.planters)
    for group in pack.groups:
        assert group.numbers
        for key, number in group.numbers.items():
            plant = knowledge.plants[key]
            assert number >= 1
            assert plant.container
            assert plant.layer != "tree"
            assert plant.height.value <= 1.2
            assert "escape" not in plant.hazard
            listed = knowledge.plant_lists["toxic"].get(key)
            assert listed is None or not {"children", "dog"} & set(listed.what)


def test_shrubs_get_shrubs_and_say_what_is_missing(demo_scheme, knowledge):
    """A group's own recipe with bulbs: no bulb of the plant table suits a street planter."""
    shrubs = knowledge.recipes["shrubs"]
    recipe = dataclasses.replace(
        shrubs, amounts={**shrubs.amounts, "bulbs": shrubs.amounts["planter"]}
    )
    planters = tuple(dataclasses.replace(one, recipe=recipe) for one in demo_scheme.planters)
    pack = SchemePack(dataclasses.replace(demo_scheme, planters=planters), Told())
    for group in pack.groups:
        layers = {knowledge.plants[key].layer for key in group.numbers}
        assert "shrub" in layers
        assert ("bulb" in layers) != ("bulbs" in group.missing)
