"""Where plants stand and which lists they are on: the shipped tables, and faults in one's own."""

import pytest

from patchnet.core.errors import TableFaults
from patchnet.knowledge import load_knowledge
from patchnet.plan.facts import PlotFacts
from patchnet.plan.planting import choose_planting

KNOW = load_knowledge()


def faults_of(folder, table, text):
    (folder / table).write_text(text, encoding="utf-8")
    with pytest.raises(TableFaults) as caught:
        load_knowledge(folder)
    return [str(fault) for fault in caught.value.faults]


def test_every_planted_feature_holds_some_plant_of_the_table():
    for key, place in KNOW.planting_places.items():
        wanted = KNOW.plant_lists[place.only] if place.only else KNOW.plants
        assert any(KNOW.plants[plant].layer in place.layers for plant in wanted), key


def test_plants_on_the_list_of_a_place_stand_in_its_layers():
    for key, place in KNOW.planting_places.items():
        for plant in KNOW.plant_lists[place.only] if place.only else ():
            assert KNOW.plants[plant].layer in place.layers, (key, plant)


def test_places_in_pots_are_features_that_can_stand_in_pots():
    for key, place in KNOW.planting_places.items():
        assert KNOW.features[key].addable
        assert not place.pot or KNOW.features[key].container


def test_a_mixed_hedge_is_of_native_plants():
    assert all(KNOW.plants[key].native for key in KNOW.plant_lists["hedge_native"])


@pytest.mark.parametrize(
    ("table", "text", "said"),
    [
        (
            "plant_lists.csv",
            "list,plant,what,list_class,list_source\ntoxix,snowdrop,cat,memory,memory_plants\n",
            "Did you mean toxic",
        ),
        (
            "plant_lists.csv",
            "list,plant,what,list_class,list_source\ntoxic,snowdrip,cat,memory,memory_plants\n",
            "Did you mean snowdrop",
        ),
        (
            "planting_places.csv",
            (
                "feature,counted,layers,pot,cover,place_class,place_source\n"
                "windowbox,m2,herb,y,n,assumption,patchnet\n"
            ),
            "Did you mean window_box",
        ),
        (
            "planting_places.csv",
            (
                "feature,counted,layers,pot,cover,place_class,place_source\n"
                "bee_hotel,m2,herb,y,n,assumption,patchnet\n"
            ),
            "no number for 'room'",
        ),
        (
            "planting_places.csv",
            (
                "feature,counted,layers,pot,cover,place_class,place_source\n"
                "window_box,m2,herbs,y,n,assumption,patchnet\n"
            ),
            "'herbs' in the column 'layers'",
        ),
        (
            "planting_figures.csv",
            (
                "feature,quantity,value,unit,low,high,class,source\n"
                "window_box,room,0.2,m,0.1,0.3,assumption,patchnet\n"
            ),
            "must be in 'm2 planted per item'",
        ),
        (
            "unlawful_plants.csv",
            "key,name,latin,laws,law_class,law_source\nx,X,Xia xia,schedule_8,memory,wca_1981\n",
            "Did you mean schedule_9",
        ),
    ],
)
def test_faults_in_a_table_of_ones_own(tmp_path, table, text, said):
    assert any(said in fault for fault in faults_of(tmp_path, table, text))


def test_an_unlawful_plant_of_ones_own_is_refused_with_the_reason(tmp_path):
    (tmp_path / "plants.csv").write_text(
        "key,name,latin,layer,flower_start,flower_end,months_class,months_source,light,soil,"
        "container,roles,native,traits_class,traits_source,hazard,hazard_class,hazard_source\n"
        "poor_orchid,Policeman's helmet,Impatiens glandulifera,herb,7,10,memory,memory_plants,"
        "part,moist,n,nectar-pollen,n,memory,memory_plants,none known,memory,memory_plants\n",
        encoding="utf-8",
    )
    (tmp_path / "plant_figures.csv").write_text(
        "plant,quantity,value,unit,low,high,class,source\n"
        "poor_orchid,height,0.5,m,0.4,0.6,memory,memory_plants\n"
        "poor_orchid,spread,0.3,m,0.2,0.4,memory,memory_plants\n",
        encoding="utf-8",
    )
    know = load_knowledge(tmp_path)
    planting = choose_planting(
        know, PlotFacts(), hungry={9: 1}, features={"flower_border": 5}, wants={}, light="part"
    )
    offered = {line.plant for line in planting.lines} | set(planting.also_fit)
    assert "poor_orchid" not in offered
    ((key, why),) = planting.refused
    assert key == "poor_orchid"
    assert "Himalayan balsam" in why
    assert "offence" in why
