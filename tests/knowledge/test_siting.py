"""Where additions go: every addable feature has a place, figures, steps; faults are listed."""

import re

import pytest

from patchnet.core.errors import TableFaults
from patchnet.knowledge import load_knowledge

KNOW = load_knowledge()


def test_every_addable_feature_can_be_sited_and_made():
    for key, feature in KNOW.features.items():
        assert (key in KNOW.sitings) == feature.addable, key
    for siting in KNOW.sitings.values():
        assert 2 <= len(siting.steps) <= 4
        assert siting.lights


def test_steps_are_short_plain_sentences():
    """At most 22 words to a sentence on average: common practice for plain writing."""
    for siting in KNOW.sitings.values():
        text = " ".join(step.words for step in siting.steps)
        sentences = [part for part in re.split(r"[.!?]\s", text) if part.strip()]
        words = sum(len(part.split()) for part in sentences)
        assert words / len(sentences) <= 22, siting.feature
        assert all(step.words.endswith(".") for step in siting.steps)


def test_open_water_trees_and_hedges_are_not_for_tenants():
    assert {KNOW.sitings[key].tenancy for key in ("pond", "hedge_native", "tree_small")} == {"own"}
    assert KNOW.sitings["leaf_pile"].tenancy == "free"


def test_handbook_places():
    """Published advice: bee hotels in sun; nest boxes on walls; climbers on walls.

    Bee hotel in full sun and boxes 2-4 m up: RSPB and trade pages, second hand; the rest
    common practice.
    """
    assert KNOW.sitings["bee_hotel"].lights == ("sun",)
    assert KNOW.sitings["nest_box_small"].place == "wall"
    assert KNOW.sitings["climber"].place == "wall"
    steps = " ".join(step.words for step in KNOW.sitings["nest_box_small"].steps)
    assert "25-28 mm" in steps
    assert "2-4 m up" in steps
    gap = " ".join(step.words for step in KNOW.sitings["fence_gap"].steps)
    assert "13 x 13 cm" in gap


def faults(tmp_path, name, text):
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(TableFaults) as caught:
        load_knowledge(tmp_path)
    return [fault.what for fault in caught.value.faults]


def test_faults_of_a_users_table_are_all_listed(tmp_path):
    header = (
        "feature,said,place,light,tenancy,made_from,edible,street,siting_class,siting_source,"
        "siting_note\n"
    )
    found = faults(
        tmp_path, "feature_siting.csv",
        header + "pond,a pond,cellar,sun;moonlight,free,lawn_shrt,n,n,assumption,patchnet,\n",
    )  # fmt: skip
    assert len(found) == 3
    assert any("cellar" in what for what in found)
    assert any("moonlight" in what for what in found)
    assert any("lawn_shrt" in what for what in found)


def test_a_users_own_room_for_a_use(tmp_path):
    (tmp_path / "keep_uses.csv").write_text(
        "key,name,words,feature,value,unit,low,high,class,source,note\n"
        "sandpit,sand pit,sandbox,,2,m2,1,4,assumption,patchnet,Ours\n",
        encoding="utf-8",
    )
    know = load_knowledge(tmp_path)
    assert know.keep_uses["sandpit"].ground.value == 2
    assert know.figures["keep_uses/sandpit"].unit == "m2"
