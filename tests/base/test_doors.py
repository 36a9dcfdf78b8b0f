"""Which door a plot has, on streets drawn by hand with the answers on paper.

Elm Road runs along y = 0 from west to east; its carriageway is 5 m wide and has a footway of 2 m on
each side where nobody says otherwise, so that ground begins at y = 4.5.
"""

from datetime import date

import numpy as np
import pytest
import shapely
from worlds.mapped_streets import box, door, house, line, mapped, of_door, road

from patchnet.base import keep_survey, summary_of, write_base
from patchnet.core.errors import WrongUse
from patchnet.read import read_neighbourhood
from patchnet.read.doors import plots_meant
from patchnet.survey.forget import record_consent
from patchnet.survey.merge import merge_returns, write_merged

ELM = road("Elm Road", (-60, 0), (260, 0))


@pytest.fixture
def town(tmp_path, knowledge):
    def made(*things, **options):
        return mapped(tmp_path, *things, knowledge=knowledge, **options)

    return made


def ids(base):
    return base.plots["id"].tolist()


def told(base):
    """Door -> (street, reason), of every door of the map."""
    rows = base.houses[base.houses["door"] != ""]
    return {
        row["door"]: (row["street"], row["reason"]) for _, row in rows.iterrows()
    }  # fmt: skip


def test_at_a_corner_the_address_decides(town):
    """Both see both streets from 6 m; what their tags say is where they belong."""
    side = road("Side Street", (-10, 0), (-10, 100))
    base = town(
        ELM, side, house(-3, 11, 7, 21, "1", "Elm Road"), house(-3, 40, 7, 50, "2", "Side Street")
    )
    assert {"ER-1F", "ER-1B", "SS-2F", "SS-2B"} == set(ids(base))
    assert set(base.plots["label"]) >= {"Elm Road, No. 1, front", "Side Street, No. 2, back"}
    # The front of No. 1 lies before its southern wall, y = 11; that of No. 2 before x = -3.
    plots = base.plots.set_index("id").geometry
    assert plots["ER-1F"].bounds[3] == pytest.approx(210_011, abs=0.01)
    assert plots["SS-2F"].bounds[2] == pytest.approx(449_997, abs=0.01)


def test_a_corner_house_with_two_addresses_is_found_by_both(town, tmp_path, knowledge):
    """Its number in the other street is said beside its own, and every command takes it."""
    side = road("Side Street", (-10, 0), (-10, 100))
    base = town(ELM, side, house(-3, 11, 7, 21, "1", "Elm Road"), door(-1, 16, "9", "Side Street"),
                door(1, 16, "2", "Back Lane"), door(2, 14, "4", "Top Lane"))  # fmt: skip
    plots = base.plots.set_index("id")
    others = "(also Back Lane 2, Side Street 9 and 1 more)"
    assert plots.loc["ER-1F", "label"] == f"Elm Road, No. 1 {others}, front"
    assert set(plots["also"]) == {"Back Lane 2; Side Street 9; Top Lane 4"}
    write_base(base, tmp_path / "corner.gpkg")
    read = read_neighbourhood(tmp_path / "corner.gpkg", knowledge=knowledge).plots
    for said in ("Side Street 9", "No. 9, side street", "4 Top Lane"):
        assert set(plots_meant(read, said)[0]) == {"ER-1F", "ER-1B"}


def test_a_number_of_another_street_is_not_given_to_the_street_of_the_ground(town):
    """Parcels decide the street here; the shop's number is that of the lane behind."""
    base = town(ELM, road("Mill Lane", (-60, 40), (260, 40)), house(0, 10, 10, 18, "7"),
                house(2, 20, 8, 26, "28", "Mill Lane"))  # fmt: skip
    doors = base.plots.set_index("id")["door"]
    assert not (base.plots["street"].eq("Elm Road") & base.plots["door"].eq("28")).any(), doors


def test_a_house_behind_another_belongs_to_the_street_of_its_address(town):
    """No. 1a stands behind No. 1 and sees only Back Lane, which it does not belong to."""
    lane = line((-60, 70), (260, 70)), {"highway": "service", "name": "Back Lane"}
    base = town(ELM, lane, house(0, 10, 10, 18, "1", "Elm Road"),
                house(0, 40, 10, 48, "1a", "elm road"))  # fmt: skip
    assert set(base.plots["street"]) == {"Elm Road"}
    assert {"ER-1F", "ER-1B", "ER-1-AF", "ER-1-AB"} == set(ids(base))
    behind = base.plots[base.plots["door"] == "1a"]
    assert behind["front_back_basis"].str.contains("by its address, out of sight").all()


@pytest.mark.parametrize("spot", [(5, 14), (5, 9.9), (5, 24)], ids=["inside", "entrance", "garden"])
def test_an_address_drawn_as_a_point_is_that_of_its_house(town, spot):
    base = town(ELM, house(0, 10, 10, 18), house(60, 10, 70, 18), door(*spot, "7"))
    plots = base.plots.set_index("id")
    assert plots.loc["ER-7F", "door"] == "7"
    assert plots.loc["ER-7F"].geometry.bounds[2] < 450_060
    # The other house has no number: it counts by itself, so that nobody takes it for No. 1.
    assert {"ER-N1F", "ER-N1B"} <= set(plots.index)
    assert plots.loc["ER-N1F", "label"] == "Elm Road, plot N1, front"


def test_an_interpolation_line_counts_out_the_houses_between(town):
    """Ends 1 and 9, odd, three houses between: 3, 5 and 7 from west to east."""
    homes = [house(15 * k, 10, 15 * k + 10, 18) for k in range(5)]
    ends = [door(5, 9.9, "1"), door(65, 9.9, "9")]
    between = line((5, 9.9), (65, 9.9)), {"addr:interpolation": "odd"}
    base = town(ELM, *homes, *ends, between)
    front = base.plots[base.plots["part"] == "front"].copy()
    front["x"] = front.geometry.centroid.x
    assert front.sort_values("x")["door"].tolist() == ["1", "3", "5", "7", "9"]
    assert told(base) == dict.fromkeys(("1", "3", "5", "7", "9"), ("Elm Road", ""))


def test_a_terrace_drawn_as_one_is_cut_at_the_party_walls(town):
    """Doors every 5 m from x = 2.5: party walls at 5, 10 and 15."""
    row = house(0, 10, 20, 18, building="terrace")
    doors = [door(2.5 + 5 * k, 10, str(2 + 2 * k)) for k in range(4)]
    base = town(ELM, row, *doors)
    homes = base.buildings.geometry.to_numpy()
    assert shapely.area(homes) == pytest.approx([40, 40, 40, 40])
    west = sorted(shapely.bounds(homes)[:, 0] - 450_000)
    assert west == pytest.approx([0, 5, 10, 15])
    assert set(base.plots["door"]) == {"2", "4", "6", "8"}
    for k in (1, 2):  # the back gardens of the houses in the middle are as wide as they
        back = of_door(base, str(2 + 2 * k)).intersection(box(-50, 18.5, 60, 30))
        assert back.bounds[0] - 450_000 == pytest.approx(5 * k, abs=0.5)
        assert back.bounds[2] - 450_000 == pytest.approx(5 * k + 5, abs=0.5)


def test_a_terrace_without_doors_is_noted(town):
    base = town(ELM, house(0, 10, 40, 18, "2-16", "Elm Road", building="terrace"))
    assert base.plots["note"].str.contains("a row of houses drawn as one").all()
    assert base.plots["label"].str.contains("Nos. 2\N{EN DASH}16").all()
    assert {"ER-2-16F", "ER-2-16B"} == set(ids(base))


def test_a_court_is_shared_by_the_houses_round_it(town):
    """A ring 10 m wide round a court of 20 x 20 m, a door in the middle of each side.

    Each door is nearest to a quarter of the ring (300 m2 of 1,200) and of the court (100 m2).
    """
    ring = box(0, 10, 40, 50).difference(box(10, 20, 30, 40))
    doors = [door(20, 10, "1"), door(40, 30, "3"), door(20, 50, "5"), door(0, 30, "7")]
    base = town(ELM, (ring, {"building": "residential"}), *doors)
    assert shapely.area(base.buildings.geometry.to_numpy()) == pytest.approx([300] * 4)
    court = box(10, 20, 30, 40)
    shares = [of_door(base, number).intersection(court).area for number in "1357"]
    assert shares == pytest.approx([100] * 4, abs=4)


def test_a_lane_between_gardens_is_in_neither(town):
    """Gardens of Elm Road and of Oak Road meet at y = 39, where a lane runs."""
    lane = line((-60, 39), (260, 39)), {"highway": "service"}
    oak = road("Oak Road", (-60, 78), (260, 78))
    base = town(ELM, oak, lane, house(0, 10, 10, 18, "1", "Elm Road"),
                house(0, 60, 10, 68, "2", "Oak Road"))  # fmt: skip
    assert set(base.plots["street"]) == {"Elm Road", "Oak Road"}
    assert not base.plots.intersects(line((-60, 39), (260, 39)).buffer(0.9)).any()
    assert of_door(base, "1").bounds[3] < 210_039
    assert of_door(base, "2", "Oak Road").bounds[1] > 210_039


def test_a_drive_to_one_house_parts_its_garden_and_leaves_it_whole(town):
    """A drive 2.5 m wide along x = 5 up to the house: both sides stay its front garden."""
    drive = line((5, 0), (5, 20)), {"highway": "service", "service": "driveway"}
    base = town(ELM, drive, house(0, 20, 10, 30, "1", "Elm Road"))
    front = base.plots.set_index("id").geometry["ER-1F"]
    assert front.geom_type == "MultiPolygon"
    assert not front.intersects(line((5, 5), (5, 19)).buffer(1.2))
    assert front.intersects(line((2, 10), (3, 10)))
    assert front.intersects(line((7, 10), (8, 10)))


def test_a_drive_of_two_houses_parts_their_gardens(town):
    """It runs up x = 14 and turns to No. 3 at y = 30; the border between the houses is x = 20."""
    drive = line((14, 0), (14, 30), (40, 30)), {"highway": "service", "service": "driveway"}
    base = town(
        ELM,
        drive,
        house(0, 10, 10, 18, "1", "Elm Road"),
        house(30, 10, 40, 18, "3", "Elm Road"),
    )
    between = box(15.5, 8, 20, 28)
    assert of_door(base, "1").intersection(between).area < 1
    assert of_door(base, "3").contains(box(16, 10, 19.5, 28))
    assert not base.plots.intersects(line((14, 6), (14, 30), (40, 30)).buffer(1.2)).any()


@pytest.mark.parametrize(
    ("tags", "cut"),
    [
        ({}, True),
        ({"bridge": "yes", "layer": "1"}, False),
        ({"tunnel": "yes", "layer": "-1"}, False),
    ],
    ids=["on the ground", "bridge", "tunnel"],
)
def test_a_road_on_a_bridge_or_in_a_tunnel_parts_nothing(town, tags, cut):
    high = road("High Road", (20, -60), (20, 100), highway="primary", **tags)
    base = town(ELM, high, house(0, 10, 10, 18, "1", "Elm Road"))
    assert (of_door(base, "1").intersection(box(24, 10, 30, 18)).area < 1) == cut
    assert set(base.plots["street"]) == {"Elm Road"}


def test_two_streets_of_one_name_are_two(town):
    """940 m lie between them; each has a No. 1."""
    other = road("Elm Road", (1200, 0), (1300, 0))
    base = town(ELM, other, house(0, 10, 10, 18, "1", "Elm Road"),
                house(1240, 10, 1250, 18, "1", "Elm Road"))  # fmt: skip
    assert {"ER-1F", "ER-1B", "ER2-1F", "ER2-1B"} == set(ids(base))
    assert set(base.plots["street"]) == {"Elm Road", "Elm Road (2)"}


def test_a_house_far_from_the_road_of_its_name_is_not_of_that_road(town):
    """1,140 m lie between them; it faces Oak Lane, and Elm Road asked for is the road."""
    oak = road("Oak Lane", (1200, 0), (1300, 0))
    things = (ELM, oak, house(0, 10, 10, 18, "1", "Elm Road"),
              house(1240, 10, 1250, 18, "1", "Elm Road"))  # fmt: skip
    base = town(*things)
    assert {"ER-1F", "ER-1B", "ER2-1F", "ER2-1B"} == set(ids(base))
    assert of_door(base, "1", "Elm Road (2)").bounds[0] - 450_000 > 1100
    assert set(ids(town(*things, street=["Elm Road"]))) == {"ER-1F", "ER-1B"}


def test_of_two_streets_of_one_name_either_can_be_asked_for(town):
    things = (ELM, road("Elm Road", (1200, 0), (1300, 0)), house(0, 10, 10, 18, "1", "Elm Road"),
              house(1240, 10, 1250, 18, "3", "Elm Road"))  # fmt: skip
    with pytest.raises(WrongUse, match=r"'Elm Road \(1\)', 'Elm Road \(2\)'. Say which"):
        town(*things, street=["Elm Road"])
    assert set(town(*things, street=["Elm Road (1)"]).plots["door"]) == {"1"}
    assert set(town(*things, street=["Elm Road (2)"]).plots["door"]) == {"3"}


def test_a_street_that_only_addresses_tell_of(town):
    base = town(
        ELM, house(0, 10, 10, 18, "1", "Rose Court"), house(30, 10, 40, 18, "2", "Rose Court")
    )
    assert set(base.plots["street"]) == {"Rose Court"}
    assert {"RC-1F", "RC-1B", "RC-2F", "RC-2B"} == set(ids(base))
    assert base.plots["front_back_basis"].str.contains("faces Elm Road").all()


def test_every_address_is_mapped_or_named_with_the_reason(town):
    """Five doors: one on a plot, four not, each for a reason of its own."""
    base = town(
        ELM,
        house(0, 10, 10, 18, "1", "Elm Road"),
        house(40, 10, 46, 16, "3", "Elm Road", building="garage"),
        door(200, 12, "5"),
        (box(100, 10, 120, 30), {"landuse": "construction", "addr:housenumber": "7",
                                 "addr:street": "Elm Road"}),
    )  # fmt: skip
    assert told(base) == {
        "1": ("Elm Road", ""),
        "3": ("Elm Road", "a garage, shed or the like by its tags"),
        "5": ("Elm Road", "no house is drawn there"),
        "7": ("Elm Road", "no house is drawn there"),
    }
    words = " ".join(summary_of(base))
    assert "Door numbers on the map: 4; on a plot: 1; left out: 3." in words
    assert "Left out, no house is drawn there: Elm Road 5, Elm Road 7." in words


@pytest.mark.parametrize(
    ("number", "ident", "label"),
    [
        ("30", "ER-30F", "No. 30"), ("30 A", "ER-30-AF", "No. 30 A"),
        ("12-14", "ER-12-14F", "Nos. 12\N{EN DASH}14"), ("12;14", "ER-12-14F", "Nos. 12, 14"),
        ("30/2", "ER-30-2F", "No. 30/2"), ("30b", "ER-30-BF", "No. 30b"),
    ],
)  # fmt: skip
def test_ids_of_letters_ranges_and_flats(town, number, ident, label):
    base = town(ELM, house(0, 10, 10, 18, number, "Elm Road"))
    assert ident in ids(base)
    assert f"Elm Road, {label}, front" in set(base.plots["label"])


def test_two_houses_of_one_number_have_two_ids(town):
    base = town(ELM, *(house(30 * k, 10, 30 * k + 10, 18, "5", "Elm Road") for k in range(2)))
    assert {"ER-5F", "ER-5B", "ER-5X2F", "ER-5X2B"} == set(ids(base))
    assert set(base.plots["door"]) == {"5"}


def test_a_small_building_with_a_door_is_a_house(town):
    """A house of 30 m2 beside one of 80 m2 would be taken for its shed."""
    base = town(
        ELM, house(0, 10, 10, 18, "1", "Elm Road", building="yes"),
        house(12, 10, 18, 15, "3", "Elm Road", building="yes"),
    )  # fmt: skip
    assert set(base.plots["door"]) == {"1", "3"}


def test_large_plots_are_noted_and_narrow_ones_left_out(town):
    """A lonely house has a garden of some 80 x 40 m; 1 m between walls is no garden."""
    base = town(
        ELM,
        house(0, 10, 10, 18, "1", "Elm Road"),
        house(100, 10, 110, 18, "3", "Elm Road"),
        house(111, 10, 121, 18, "5", "Elm Road"),
    )
    areas = base.plots.area.to_numpy()
    large = areas > 1500
    assert large.any()
    assert (base.plots["note"].str.contains("large").to_numpy() == large).all()
    parts = shapely.get_parts(base.plots.geometry.to_numpy())
    assert not shapely.is_empty(shapely.buffer(parts, -0.74)).any()
    assert np.all(areas > 0)


def test_made_again_with_door_numbers_ids_and_survey_stay(tmp_path, knowledge):
    """Plots 1, 3 and 5 of the walk are doors 5, 7 and 9, mapped a year later; No. 11 is new."""
    west = [house(30 * k, 10, 30 * k + 10, 18) for k in range(3)]
    old = mapped(tmp_path, ELM, *west, name="old", knowledge=knowledge)
    assert sorted(ids(old)) == ["ER-1B", "ER-1F", "ER-3B", "ER-3F", "ER-5B", "ER-5F"]
    first, second = tmp_path / "first.gpkg", tmp_path / "second.gpkg"
    write_base(old, first)
    hood = read_neighbourhood(first, knowledge=knowledge)
    said = tmp_path / "ann.csv"
    said.write_text(
        "plot,feature,answer,surveyor,when\nER-1F,pond,there,Ann,2026-05-02\n"
        "ER-5B,long grass,there,Ann,2026-05-02\n",
        encoding="utf-8",
    )
    day = {"knowledge": knowledge, "today": date(2026, 6, 1)}
    write_merged(merge_returns(first, [said], same_street=True, **day), first)

    doors = [house(30 * k, 10, 30 * k + 10, 18, str(5 + 2 * k), "Elm Road") for k in range(4)]
    new = mapped(tmp_path, ELM, *doors, name="new", earlier=first, knowledge=knowledge)
    write_base(new, second)
    assert keep_survey(first, second, knowledge=knowledge) == 2
    plots = new.plots.set_index("id")
    assert set(ids(old)) <= set(plots.index)
    assert set(plots.index) - set(ids(old)) == {"ER-11F", "ER-11B"}
    assert plots.loc["ER-1F", "label"] == "Elm Road, No. 5, front"
    assert plots.loc["ER-5B", "label"] == "Elm Road, No. 9, back"
    again = read_neighbourhood(second, knowledge=knowledge)
    assert again.answers.answer("ER-1F", "pond") == "there"
    assert list(again.plots.loc[["ER-1F", "ER-11F"], "door"]) == ["5", "11"]
    # Somebody who types 5 means the door, and the id ER-5F is still that of No. 9.
    assert plots_meant(again.plots, "5") == (("ER-1F", "ER-1B"), "by its door number")
    assert plots_meant(again.plots, "ER-5F") == (("ER-5F",), "")
    assert len(hood.plots) + 2 == len(again.plots)


def test_a_household_agrees_for_front_and_back(tmp_path, knowledge):
    """Who says yes at No. 30 is told which plots it was written down for; No. 32 said nothing."""
    path = tmp_path / "street.gpkg"
    write_base(
        mapped(
            tmp_path, ELM, house(0, 10, 10, 18, "30", "Elm Road"),
            house(30, 10, 40, 18, "32", "Elm Road"), knowledge=knowledge,
        ),
        path,
    )  # fmt: skip
    said = record_consent(path, "No. 30", "yes", path, knowledge=knowledge)
    assert set(said.plots) == {"ER-30F", "ER-30B"}
    assert dict(said.consent) == {"ER-30F": "yes", "ER-30B": "yes"}
    assert record_consent(path, "ER-30B", "no", path, knowledge=knowledge).plots == ("ER-30B",)
