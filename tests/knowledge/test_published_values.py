"""Numbers of the tables against the works they come from (source beside each)."""

import math

import pytest

from patchnet.knowledge.load import load_knowledge

KNOW = load_knowledge()

# (address, value, the work that gives it)
PUBLISHED = [
    # Hofmann, Fleischmann & Renner 2020, J. Hymenopt. Res. 77:105-117: nests and flowers at
    # most 150 m apart
    ("groups/mason_bee/hop", 150),
    ("needs/mason_bee/spring_flowers/reach", 150),
    # Osborne et al. 1999, J. Appl. Ecol. 36:519-533: mean outward track 275.3 m
    ("groups/bumblebee/hop", 275.3),
    ("needs/bumblebee/colonys_flowers/reach", 275.3),
    # Semlitsch & Bodie 2003, Conserv. Biol. 17: core land habitat 159-290 m
    ("needs/frog/damp_cover_on_land/reach", 159),
    # Semlitsch 1998, Conserv. Biol. 12: adults 125.3 m from the pond on average
    ("needs/newt/damp_cover_on_land/reach", 125.3),
    # Thomaes et al. 2018, Insect Conserv. Divers. 11:523-533: dead wood every 100 m
    ("groups/stag_beetle/hop", 100),
    # Cowie & Hinsley 1987, Ardea 75:81-90: blue tits nearer than 40-50 m hinder each other
    ("groups/tits/anchor_reach", 45),
    # Hofmann et al. 2020, as above; Gathmann & Tscharntke 2002, J. Anim. Ecol. 71:757-764: < 300 m
    ("needs/summer_cavity_bee/summer_flowers/reach", 150),
    ("groups/summer_cavity_bee/hop", 150),
    # Verkade et al. 2015, Limosa 88:164-172: a pair of swifts an entrance
    ("groups/swift/anchor/eaves_hole", 1),
]


@pytest.mark.parametrize(("address", "value"), PUBLISHED)
def test_published_value(address, value):
    assert KNOW.figures[address].value == value
    assert KNOW.figures[address].kind == "published"


def test_bumblebee_range_is_the_range_of_the_radar_tracks():
    """Osborne et al. 1999: tracks of 70 to 631 m."""
    hop = KNOW.groups["bumblebee"].hop
    assert (hop.low, hop.high) == (70, 631)


def test_amphibian_half_distances_follow_from_the_95_percent_distances():
    """Rittenhouse & Semlitsch 2007, Wetlands 27:153-161: 95 % within 245 m and 703 m.

    p(d) = 2^(-d/d50) = 0.05 at d = d50 * log2(20) = 4.3219 d50, so
    d50 = 245 / 4.3219 = 56.7 m for newts and 703 / 4.3219 = 162.7 m for frogs.
    Low of the newt: 164.3 / 4.3219 = 38.0 m (Semlitsch 1998).
    High of the frog: 950 / 4.3219 = 219.8 m (Baker & Halliday 1999).
    """
    factor = math.log2(20)
    newt, frog = KNOW.groups["newt"].d50, KNOW.groups["frog"].d50
    assert newt.value == round(245 / factor) == 57
    assert frog.value == round(703 / factor) == 163
    assert newt.low == round(164.3 / factor)
    assert frog.high == round(950 / factor)
    assert newt.kind == frog.kind == "derived"


def test_ground_of_a_pair_of_robins_as_a_circle():
    """RSPB text, told second-hand: a pair holds 0.55 ha (0.33 to 1 ha); radius sqrt(A / pi)."""
    reach = KNOW.groups["robin"].anchor_reach
    radius = [round(math.sqrt(ha * 1e4 / math.pi), 1) for ha in (0.33, 0.55, 1.0)]
    assert [reach.low, reach.value, reach.high] == radius == [32.4, 41.8, 56.4]
    food = KNOW.figures["needs/robin/soil_and_litter_animals/amount"]
    assert food.value == 0.55e4 / 5


def test_toads_come_back_to_their_own_pond():
    """Reading, Loman & Madsen 1991, J. Zool. 225:201-211: 0.79 to 0.96 do; so it is no need.

    Without any pond that we know of a place is still worth half (our assumption): ponds outside
    the map count, and what nobody has told us of is not absent.
    """
    [pond] = [need for need in KNOW.groups["toad"].needs if need.resource == "toad_pond"]
    assert not pond.vital
    assert pond.floor.value == 0.5
    assert "0.79-0.96" in KNOW.figures["needs/toad/a_large_pond_to_breed_in/amount"].note


def test_what_is_taken_up_costs_what_pages_on_it_say():
    """Removal of plastic grass: 8-20 a m2 and 5-10 more for the base (a firm's price page)."""
    assert (KNOW.taking_up["artificial_grass"].cost.low,
            KNOW.taking_up["artificial_grass"].cost.high) == (8, 35)  # fmt: skip
    words = KNOW.cautions["lifting_slabs"].words
    # A slab of 0.6 x 0.6 x 0.05 m of concrete at 2,400 kg a m3 weighs 43 kg.
    assert "43 kg" in words
    assert round(0.6 * 0.6 * 0.05 * 2400) == 43


def test_quality_floor_is_the_least_index_of_the_newt_pond_score():
    """Oldham et al. 2000, Herpetol. J. 10:143-155: ten indices of 0.01 to 1."""
    assert KNOW.setting("quality_floor") == 0.01


def test_mason_bee_flower_need_worked_from_the_counts():
    """Müller et al. 2006, Biol. Conserv. 130:604-615: 7-1,100 flowers a larva, 40 % to be had.

    Middle on a log scale: sqrt(7 * 1100) = 87.7. Sixteen cells (Osmia females, Journal of
    Apicultural Science 60) / 0.4 = 3,510 flowers in 2.5 months; one m2 of full bloom opens 750 a
    month = 1,875 in that time; 1.87 m2, times 4 for other visitors (our assumption) = 7.49, in
    the table as 7.5.
    """
    flowers = 16 * math.sqrt(7 * 1100) / 0.4
    amount = KNOW.figures["needs/mason_bee/spring_flowers/amount"]
    assert amount.value == round(4 * flowers / (750 * 2.5), 1)
    assert amount.kind == "derived"


def test_water_plants_banned_from_sale_are_named_with_the_date():
    """Ban in England and Wales in force on 6 April 2014; five plants."""
    words = KNOW.cautions["invasive_water_plants"].words
    for name in ("water fern", "parrot's feather", "floating pennywort", "pigmyweed", "primrose"):
        assert name in words
    assert "6 April 2014" in words
    for feature in ("pond", "container_pond"):
        assert "invasive_water_plants" in KNOW.features[feature].cautions


def test_a_pond_never_comes_without_its_warning():
    """RoSPA: small children drown in garden ponds."""
    for feature in ("pond", "container_pond"):
        assert "pond_children" in KNOW.features[feature].cautions
