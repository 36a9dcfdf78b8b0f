"""Plants against what stands outside the project: law, flowering months, poison, size of pots."""

import math

import pytest

from patchnet.knowledge import load_knowledge
from patchnet.plan.plant_names import unlawful

KNOW = load_knowledge()


# law -------------------------------------------------------------------------------------------

# Wildlife and Countryside Act 1981, schedule 9 part II, as amended for England and Wales: genus
# and species of plants of land and fresh water. The schedule was read whole against the plant
# table by a second reader; the names here are from memory.
SCHEDULE_9 = {
    "allium paradoxum", "allium triquetrum", "azolla filiculoides", "cabomba caroliniana",
    "carpobrotus edulis", "cotoneaster bullatus", "cotoneaster horizontalis",
    "cotoneaster integrifolius", "cotoneaster microphyllus", "cotoneaster simonsii",
    "crassula helmsii", "crocosmia x", "disphyma crassifolium", "eichhornia crassipes",
    "elodea canadensis", "elodea nuttallii", "fallopia japonica", "fallopia sachalinensis",
    "gunnera tinctoria", "heracleum mantegazzianum", "hydrocotyle ranunculoides",
    "impatiens glandulifera", "lagarosiphon major", "lamiastrum galeobdolon",
    "ludwigia grandiflora", "ludwigia peploides", "ludwigia uruguayensis",
    "myriophyllum aquaticum", "parthenocissus inserta", "parthenocissus quinquefolia",
    "pistia stratiotes", "rhododendron luteum", "rhododendron ponticum", "robinia pseudoacacia",
    "rosa rugosa", "sagittaria latifolia", "salvinia molesta", "smyrnium perfoliatum",
}  # fmt: skip
# Prohibition of sale in England and Wales, in force 6 April 2014 (Greater Lincolnshire Nature
# Partnership; the five names are second-hand there).
SALE_BAN = {
    "water fern", "parrot's feather", "floating pennywort", "new zealand pigmyweed",
    "water primrose",
}  # fmt: skip


def first_two(latin):
    return " ".join(latin.casefold().split()[:2])


def test_no_plant_of_the_table_is_unlawful():
    """Two routes: our own matching, and genus with species compared as plain text."""
    for plant in KNOW.plants.values():
        assert unlawful(plant, KNOW) is None, plant.key
        assert first_two(plant.latin) not in SCHEDULE_9, plant.key


def test_every_name_of_the_schedule_is_in_the_table_of_unlawful_plants():
    listed = {first_two(latin) for one in KNOW.unlawful_plants.values() for latin in one.latin}
    missing = SCHEDULE_9 - listed - {"elodea canadensis", "elodea nuttallii"}
    assert missing == set()
    assert ("Elodea" in KNOW.unlawful_plants["waterweeds"].latin) is True


def test_five_plants_may_not_be_sold():
    banned = {
        one.name.casefold() for one in KNOW.unlawful_plants.values() if "sale_ban" in one.laws
    }
    assert banned - {"floating water primrose"} == SALE_BAN


def test_every_law_is_sourced():
    laws = {"schedule_9": "wca_1981", "sale_ban": "sale_ban_2014", "ias_order": "ias_order_2019"}
    for one in KNOW.unlawful_plants.values():
        assert [laws[law] for law in one.laws] == list(one.sources)


# flowering months ------------------------------------------------------------------------------

# The Wildlife Trusts, species pages of the national body and county trusts, as read by a second
# reader (months a page gives).
WILDLIFE_TRUSTS = {
    "cuckooflower": (4, 6),  # Norfolk Wildlife Trust
    "garlic_mustard": (4, 6),
    "white_dead_nettle": (3, 12),
    "birds_foot_trefoil": (5, 9),  # Berks, Bucks & Oxon Wildlife Trust
    "white_clover": (5, 10),
    "wild_thyme": (5, 8),  # Somerset Wildlife Trust
    "bell_heather": (7, 9),  # Scottish Wildlife Trust
    "ling_heather": (7, 10),  # Hampshire & Isle of Wight Wildlife Trust
    "bramble": (5, 9),  # Wildlife Trusts Wales
    "teasel": (7, 8),  # Wildlife Watch
}
# Rose, F. 1981. The Wild Flower Key. Warne. Months from memory.
ROSE_1981 = {
    "primrose": (3, 5), "cowslip": (4, 5), "hemp_agrimony": (7, 9), "wild_marjoram": (7, 9),
    "field_scabious": (7, 9), "devils_bit_scabious": (6, 10), "common_knapweed": (6, 9),
    "purple_loosestrife": (6, 8), "lesser_spearwort": (5, 9), "water_mint": (7, 10),
    "ivy": (9, 11), "hawthorn": (5, 6), "blackthorn": (3, 5), "dog_rose": (6, 7),
    "foxglove": (6, 9), "english_bluebell": (4, 6), "self_heal": (6, 9), "hop": (7, 8),
}  # fmt: skip


def off(one, other):
    """Months between two months on the round of the year."""
    return min((one - other) % 12, (other - one) % 12)


@pytest.mark.parametrize("handbook", [WILDLIFE_TRUSTS, ROSE_1981], ids=["trusts", "key"])
def test_flowering_months_are_those_of_the_handbooks_within_a_month(handbook):
    for key, (start, end) in handbook.items():
        plant = KNOW.plants[key]
        assert off(plant.flower_start, start) <= 1, key
        assert off(plant.flower_end, end) <= 1, key
    agree = sum(
        (KNOW.plants[key].flower_start, KNOW.plants[key].flower_end) == months
        for key, months in handbook.items()
    )
    assert agree >= 0.6 * len(handbook)


def test_something_that_feeds_insects_flowers_in_every_month():
    """RHS, Plants for Pollinators: aim for flowers from early spring to late autumn (recalled)."""
    for month in range(1, 13):
        assert any(
            month in plant.flower_months and "nectar-pollen" in plant.roles
            for plant in KNOW.plants.values()
        ), month


# poison ----------------------------------------------------------------------------------------

# Royal Horticultural Society, potentially harmful garden plants, as told second-hand: foxglove,
# bluebell, daffodil, buckthorns, privet, spindle. Holly and ivy berries: common practice.
RHS_HARMFUL = (
    "foxglove", "english_bluebell", "wild_daffodil", "alder_buckthorn", "wild_privet", "spindle",
    "holly", "ivy",
)  # fmt: skip


@pytest.mark.parametrize("key", RHS_HARMFUL)
def test_harmful_garden_plants_count_as_poisonous_to_children(key):
    assert "children" in KNOW.plant_lists["toxic"][key].what
    assert any(word in KNOW.plants[key].hazard for word in ("toxic", "poison"))


@pytest.mark.parametrize("key", ["chives", "round_headed_leek"])
def test_onions_and_their_kin_count_as_poisonous_to_cats_and_dogs(key):
    """Veterinary pages on the genus Allium, second-hand."""
    assert set(KNOW.plant_lists["toxic"][key].what) == {"cat", "dog"}


def test_every_hazard_that_speaks_of_poison_is_judged_and_only_those():
    """So that no plant of the table slips past the question about small children and pets."""
    told = {
        key
        for key, plant in KNOW.plants.items()
        if any(word in plant.hazard for word in ("toxic", "poison", "do not ingest", "upset"))
    }
    # "mild upset" that only some pages tell of; the British lists and the pet list do not.
    harmless = {"fatsia"}
    judged = set(KNOW.plant_lists["toxic"])
    assert told - harmless - judged == set()
    # Whatever is judged says so: nobody finds a plant left out for a harm that is not told.
    for key in judged:
        assert not KNOW.plants[key].hazard.startswith("none"), key
        assert KNOW.plant_lists["toxic"][key].strength, key


def test_thorns_and_stings_stand_on_a_list_of_their_own():
    """Whatever the table calls thorny, spiny or stinging, and nothing else."""
    told = {
        key
        for key, plant in KNOW.plants.items()
        if any(word in plant.hazard for word in ("thorn", "spin", "sting"))
    }
    assert set(KNOW.plant_lists["sharp"]) - {"gorse"} == told - {"gorse"}


# American Society for the Prevention of Cruelty to Animals, list for cats and dogs, read through
# copies of it (second-hand): who is harmed, and how badly.
PET_LIST = {
    "hop": ({"dog"}, "grave"),
    "chives": ({"cat", "dog"}, "serious"),
    "primrose": ({"cat", "dog"}, "mild"),
    "wild_marjoram": ({"cat", "dog"}, "mild"),
    "lavender": ({"cat", "dog"}, "mild"),
    "catmint": ({"cat"}, "mild"),
    "yarrow": ({"cat", "dog"}, "mild"),
    "borage": ({"cat", "dog"}, "mild"),
    "water_mint": ({"cat", "dog"}, "mild"),
    "dwarf_apple": ({"cat", "dog"}, "low"),
}


@pytest.mark.parametrize("key", PET_LIST)
def test_what_the_pet_list_says(key):
    listed = KNOW.plant_lists["toxic"][key]
    assert (set(listed.what), listed.strength) == PET_LIST[key]


@pytest.mark.parametrize(
    "key", ["rosemary", "wild_thyme", "cornflower", "grape_hyacinth", "common_sage", "sunflower"]
)
def test_what_the_pet_list_calls_harmless_is_not_left_out_for_a_cat(key):
    """The same list, second-hand; of sage, thyme and sunflower a near relative is named."""
    listed = KNOW.plant_lists["toxic"].get(key)
    assert listed is None or "cat" not in listed.what


def test_no_plant_both_eaten_and_poisonous_to_children():
    eaten = set(KNOW.plant_lists["edible"])
    poison = {key for key, listed in KNOW.plant_lists["toxic"].items() if "children" in listed.what}
    assert eaten & poison == set()


# size of pots ----------------------------------------------------------------------------------


def test_a_window_box():
    """A guide to window boxes, second-hand: soil at least 15 cm deep and wide.

    60 x 20 cm is 0.12 m2 of soil, 60 x 15 cm 0.09 m2: what is planted may hang over, so the room
    lies between the soil and twice as much. Low herbs and bulbs ask for no less than the 15 cm.
    """
    room = KNOW.figures["planting/window_box/room"]
    assert 0.6 * 0.15 <= room.low <= 0.6 * 0.2 <= room.value <= 2 * 0.6 * 0.2
    assert KNOW.setting("planting_depth_herb_m") >= 0.15


def test_depths_of_soil_in_pots_lie_within_the_handbooks():
    """Two sources, the shallower a least for pots, the deeper for roofs that dry out.

    Makers' guides (second-hand): small shrub 30-45 cm least, 45-60 better.
    New South Wales, draft Apartment Design Guide 2014: turf 20 cm, ground cover 30-45,
    shrubs 50-60, small tree 80.
    """
    depth = {
        kind: KNOW.settings[f"planting_depth_{kind}_m"]
        for kind in ("low", "herb", "perennial", "shrub", "tree")
    }
    values = [figure.value for figure in depth.values()]
    assert values == sorted(values)
    assert 0.3 <= depth["shrub"].low <= 0.45 <= depth["shrub"].value <= 0.6
    assert 0.3 <= depth["perennial"].value <= 0.45
    assert depth["tree"].low <= 0.8 <= depth["tree"].high


def test_trees_in_pots_need_deep_soil():
    """Common practice: only small trees, or on dwarfing stock, in pots of 45 cm or more."""
    trees = [plant for plant in KNOW.plants.values() if plant.layer == "tree" and plant.container]
    assert "dwarf_apple" in [tree.key for tree in trees]
    assert "45 cm" in KNOW.plants["dwarf_apple"].note
    for tree in trees:
        assert tree.pot_depth is None or tree.pot_depth.value >= 0.45, tree.key


def test_a_native_hedge_has_five_plants_a_metre():
    """Common practice: a double row, 40 cm apart, five plants a metre."""
    assert KNOW.figures["planting/hedge_native/room"].value == 5


def test_a_hanging_basket_of_35_cm():
    """Common practice: baskets are 30-40 cm across: 0.10 m2 of soil at 35 cm."""
    soil = math.pi / 4 * 0.35**2
    room = KNOW.figures["planting/hanging_basket/room"]
    assert room.low == pytest.approx(soil, abs=0.01)
    assert soil <= room.value <= 2.5 * soil
