"""What was measured with a tape: read, held against the same rules, and never a silent slip."""

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds.street_findings import SLIM, of

from patchnet.core.errors import DataFaults, WrongUse
from patchnet.core.texts import use_language
from patchnet.street import find_street, planter_sites
from patchnet.street.measured import Measured, read_measured
from patchnet.street.to_measure import places_to_measure

EAST, NORTH = 450_000.0, 210_000.0


@pytest.fixture
def bare(straight):
    """A street of which only the line is known: no footway, nobody looked."""
    straight.footways = []
    straight.looked = False
    return straight


def tape(**figures):
    return {"L050.0": Measured("L050.0", **figures)}


# the same rules ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("footway", "said", "left"),
    [
        (3.0, "fits", 2.0),
        (2.99, "ask", 1.99),
        (2.5, "ask", 1.5),
        (2.49, "no", 1.49),
        (0.85, "no", 0.0),
    ],
)
def test_a_taped_width_is_held_against_the_ladder(footway, said, left, bare, sites_of):
    """Kerb 0.5, box 0.4, plants 0.1: what is left is the width less 1.0 m; 2.0 and 1.5 decide."""
    sites = sites_of(
        bare, sizes=[SLIM], spacing_m=50.0, measured=tape(footway_m=footway, things=(), road_m=6.0)
    )
    site = sites["L050.0"]
    assert site.verdict == said
    assert site.clear_m == pytest.approx(left)
    assert site.clear_basis == "measured"
    assert of(site, "clear_width")[0].basis == "measured"
    assert sites["R050.0"].verdict == "measure"


def test_a_taped_width_counts_before_the_map(straight, sites_of):
    """Drawn are 3 m; the tape says 2.4, so 1.4 is left."""
    sites = sites_of(straight, sizes=[SLIM], spacing_m=50.0, measured=tape(footway_m=2.4))
    assert sites["L050.0"].clear_m == pytest.approx(1.4)
    assert sites["L050.0"].verdict == "no"


@pytest.mark.parametrize(("road", "said"), [(3.7, "fits"), (3.69, "ask")])
def test_a_taped_road(road, said, bare, sites_of):
    bare.roads = [("High Street", bare.roads[0][1], None, "20")]
    sites = sites_of(bare, sizes=[SLIM], spacing_m=50.0, measured=tape(road_m=road))
    (finding,) = of(sites["L050.0"], "fire_route")
    assert (finding.verdict, finding.figure, finding.basis) == (said, road, "measured")


@pytest.mark.parametrize(
    ("things", "said"),
    [((), "fits"), ((("gully", 1.0),), "fits"), ((("gully", 0.99),), "no"),
     ((("door", 0.0),), "no"), ((("cellar", 1.4),), "ask"),
     ((("gully", 2.0), ("hydrant", 1.9)), "no")],
)  # fmt: skip
def test_things_found_on_the_spot(things, said, bare, sites_of):
    sites = sites_of(
        bare, sizes=[SLIM], spacing_m=50.0, measured=tape(footway_m=4.0, things=things, road_m=6.0)
    )
    assert sites["L050.0"].verdict == said


@pytest.mark.parametrize(("apart", "said"), [(19.88, "ask"), (19.9, "fits")])
def test_a_drive_found_on_the_spot_is_seen_from(apart, said, bare, sites_of):
    """20 mph, 24.9 m: 8.9408 x 1.5 + 8.9408^2 / (0.9 x 9.80665) + 2.4 = 24.868; the driver's eye
    2 m back, the plants begin 0.4 m from the kerb: 24.868 x 0.8 = 19.89 m."""
    measured = tape(footway_m=4.0, things=(("driveway", apart),), road_m=6.0)
    site = sites_of(bare, sizes=[SLIM], spacing_m=50.0, measured=measured)["L050.0"]
    (finding,) = of(site, "sight_driveway")
    assert finding.limit == pytest.approx(19.89, abs=0.01)
    assert finding.verdict == said


@pytest.mark.parametrize(("apart", "said"), [(math.inf, "fits"), (20.8, "fits"), (20.7, "no")])
def test_a_side_road_that_was_taped(apart, said, bare, sites_of):
    """Eye 2.4 m back: 24.868 x (1 - 0.4 / 2.4) = 20.72 m."""
    bare.far_road = False
    measured = tape(footway_m=4.0, things=(), road_m=6.0, side_road_m=apart)
    site = sites_of(bare, sizes=[SLIM], spacing_m=50.0, measured=measured)["L050.0"]
    assert [one.verdict for one in of(site, "sight_junction")] == [said]


@pytest.mark.parametrize(("girth", "said"), [(0.942, "ask"), (0.62, "fits")])
def test_a_girth(girth, said, straight, sites_of):
    """0.942 m round is 0.3 m through, a circle of 3.6 m; 0.62 m is 0.197 m, 2.37 m. The tree is
    2.6 m from the end of the box."""
    straight.objects = [("tree", shapely.Point(53.1, 3.7), None)]
    sites = sites_of(straight, sizes=[SLIM], spacing_m=50.0)
    assert of(sites["L050.0"], "roots")[0].verdict == "measure"
    sites = sites_of(straight, sizes=[SLIM], spacing_m=50.0, measured=tape(girth_m=girth))
    (finding,) = of(sites["L050.0"], "roots")
    assert (finding.verdict, finding.basis) == (said, "measured")


def test_a_speed_that_was_read_counts_for_the_whole_street(straight, found, know):
    straight.roads = [("High Street", straight.roads[0][1], 6.0, "")]
    hood = straight.built(know)
    assert find_street(hood, "High Street", knowledge=know).speed_basis == "assumed"
    street = find_street(hood, "High Street", knowledge=know, measured=tape(speed_mph=20.0))
    assert (street.speed_mph, street.speed_basis) == (20.0, "measured")


@settings(max_examples=20, deadline=None)
@given(turned=st.floats(-180, 180), footway=st.floats(0.5, 6.0))
def test_turning_the_street_changes_no_verdict_of_the_tape(turned, footway, scene, sites_of):
    drawn = [
        sites_of(
            scene(
                roads=[("High Street", shapely.LineString([(0, 0), (100, 0)]), 6.0, "20")],
                looked=False, turned=way,
            ),
            sizes=[SLIM], spacing_m=50.0, measured=tape(footway_m=footway, things=()),
        )["L050.0"]
        for way in (0.0, turned)
    ]  # fmt: skip
    assert [(f.rule, f.verdict) for f in drawn[0].findings] == [
        (f.rule, f.verdict) for f in drawn[1].findings
    ]


# read -------------------------------------------------------------------------------------


def write(folder, text, name="tape.csv"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_sheet_as_people_fill_it_in(tmp_path):
    path = write(
        tmp_path,
        "Place;Footway m;road m;girth cm;side road m;speed;things;by;date\n"
        'l050.0;"3,45 m";;94;none;30 km/h;Drain 1,2; lamp post 0.9;Ann;2026-06-01\n'.replace(
            "Drain 1,2; lamp post 0.9", '"Drain 1,2; lamp post 0.9"'
        )
        + "R010.0;;;;;;;;\n"
        "L012.0;;;;;;None;;\n",
    )
    found = read_measured(path)
    assert list(found) == ["L050.0", "L012.0"]
    one = found["L050.0"]
    assert (one.footway_m, one.road_m, one.girth_m) == (3.45, None, 0.94)
    assert one.side_road_m == math.inf
    assert one.speed_mph == pytest.approx(18.641, abs=0.001)  # 30 / 1.609344
    assert one.things == (("gully", 1.2), ("lamp_column", 0.9))
    assert found["L012.0"].things == ()


def test_two_who_measured_one_place(tmp_path):
    """The figure that is less kind to a planter counts, whoever came first."""
    one = write(tmp_path, "place,footway_m,things,by\nL050.0,3.1,gully 1.2,Ann\n", "a.csv")
    two = write(tmp_path, "place,footway_m,things,by\nL050.0,2.9,gully 0.8; door 2,Bob\n", "b.csv")
    for order in ([one, two], [two, one]):
        found = read_measured(order)["L050.0"]
        assert found.footway_m == 2.9
        assert dict(found.things) == {"gully": 0.8, "door": 2.0}


def test_every_slip_is_in_one_list(tmp_path):
    path = write(
        tmp_path,
        "place,footway_m,road_m,girth_cm,speed,things\n"
        "L001.0,345,,,,\n"
        ",2.4,,,,\n"
        "L003.0,wide,,,fast,\n"
        "L004.0,,,,,gulley 1\n"
        "L005.0,,,,,gully\n"
        "L006.0,-1,,,,\n",
    )
    with pytest.raises(DataFaults) as caught:
        read_measured(path)
    said = "\n".join(map(str, caught.value.faults))
    for words in (
        "row 2: footway_m '345' cannot be", "row 3: It does not say which place",
        "row 4: footway_m 'wide' cannot be", "row 4: The speed 'fast' was not read",
        "row 5: 'gulley' is not a kind of thing in a street. Did you mean gully",
        "row 6: 'gully' does not say how far away it is", "row 7: footway_m '-1' cannot be",
    ):  # fmt: skip
        assert words in said, words


def test_another_table_is_not_taken_for_a_sheet(tmp_path):
    with pytest.raises(DataFaults, match="Missing column: place"):
        read_measured(write(tmp_path, "name,litres\nAnn,12\n"))


def test_places_that_are_not_there_or_lie_elsewhere(straight, found, know):
    street, hood = found(straight)
    measured = {
        "L051.0": Measured("L051.0", footway_m=3.0),
        "R050.0": Measured("R050.0", x=EAST + 50, y=NORTH - 9.0, footway_m=3.0),
    }
    with pytest.raises(WrongUse) as caught:
        planter_sites(hood, street, knowledge=know, sizes=[SLIM], spacing_m=50.0, measured=measured)
    assert "L051.0 was measured, but is no place on High Street" in str(caught.value)
    # Its middle lies at 3.7 m from the line: 5.3 m from there.
    assert "R050.0 was measured 5 m from where it lies now" in str(caught.value)
    left = planter_sites(
        hood, street, knowledge=know, sizes=[SLIM], spacing_m=50.0, sides="left",
        measured={"R050.0": measured["R050.0"]},
    )  # fmt: skip
    assert len(left) == 1


# what is worth measuring ------------------------------------------------------------------


def test_only_what_a_scheme_turns_on(bare, sites_of, know):
    sites = list(sites_of(bare, sizes=[SLIM], spacing_m=5.0).values())
    assert {site.verdict for site in sites} == {"measure"}
    (one,) = places_to_measure(sites, {"L050.0"}, knowledge=know)
    assert one.site.key == "L050.0"
    assert one.asked == ("footway_m", "things")
    assert one.footway_m == pytest.approx(0.5 + 0.4 + 0.1 + 2.0)
    assert one.spare == ("L045.0", "L055.0")
    assert places_to_measure(sites, set(), knowledge=know) == ()


def test_a_place_that_fits_or_is_refused_is_not_measured(straight, sites_of, know):
    sites = list(sites_of(straight, sizes=[SLIM], spacing_m=10.0).values())
    assert {site.verdict for site in sites} == {"fits", "no"}
    assert places_to_measure(sites, {site.key for site in sites}, knowledge=know) == ()


def test_without_a_scheme_places_that_can_stand_together(bare, sites_of, know):
    """Boxes of 1 m need 2 m between them: of places 2 m apart every second is named, or so many
    as are asked for, spread along the street."""
    sites = list(sites_of(bare, sizes=[SLIM], spacing_m=2.0, sides="left").values())
    keys = [one.site.key for one in places_to_measure(sites, knowledge=know)]
    assert keys[:3] == ["L002.0", "L006.0", "L010.0"]
    few = [one.site.key for one in places_to_measure(sites, knowledge=know, most=3)]
    assert len(few) == 3
    assert (few[0], few[-1]) == (keys[0], keys[-1])


def test_measuring_what_is_asked_leaves_nothing_to_measure(bare, found, know):
    """Whatever is asked at a place, once it is filled in the place fits, is asked about or not."""
    bare.far_road = False
    bare.roads = [("High Street", bare.roads[0][1], None, "")]
    bare.objects = [("tree", shapely.Point(56.0, 3.7), None)]
    street, hood = found(bare)
    sites = planter_sites(hood, street, knowledge=know, sizes=[SLIM], spacing_m=50.0, sides="left")
    (one,) = places_to_measure(sites, knowledge=know)
    assert one.asked == ("footway_m", "road_m", "girth_cm", "side_road_m", "things")
    measured = tape(footway_m=3.2, road_m=6.1, girth_m=0.5, side_road_m=math.inf, things=())
    (after,) = planter_sites(
        hood, street, knowledge=know, sizes=[SLIM], spacing_m=50.0, sides="left", measured=measured
    )
    assert after.verdict == "fits"
    assert places_to_measure([after], knowledge=know) == ()


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_width_that_the_map_states_counts_in_every_language(language, straight, sites_of):
    """Four metres are drawn, and the map says 3.5: half a metre less is left beside the box."""
    drawn = shapely.box(0, 3, 100, 7)
    use_language(language)
    try:
        straight.footways = [("left", drawn, None)]
        before = sites_of(straight, sizes=[SLIM], spacing_m=50.0)["L050.0"]
        straight.footways = [("left", drawn, 3.5)]
        site = sites_of(straight, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    finally:
        use_language(None)
    assert site.clear_basis == "measured"
    assert site.clear_m == pytest.approx(before.clear_m - 0.5, abs=1e-6)
