"""Rules that an engineer asks for, each on both sides of its limit, worked out on paper."""

import math

import pytest
import shapely
from worlds.street_findings import SLIM, of, verdict

from patchnet.knowledge.street import PlanterSize
from patchnet.street.narrowings import narrowing_findings, narrowings_of
from patchnet.street.overturning import standing_of, wind_finding
from patchnet.street.roots import root_radius_m

POINT = shapely.Point
LINE = shapely.LineString


@pytest.fixture
def site_at(wide, sites_of):
    """The one site on the left of the wide street at a place."""

    def made(place):
        (site,) = sites_of(wide, sizes=[SLIM], spacing_m=round(place, 3), sides="left").values()
        return site

    return made


# things all round ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "rule", "limit", "said"),
    [("gully", "gully", 1.0, "no"), ("guidance strip", "guidance_strip", 0.8, "no"),
     ("cellar light", "cellar", 1.5, "ask")],
)  # fmt: skip
def test_round_a_thing(kind, rule, limit, said, wide, sites_of):
    """A thing 0.4 m across in line with the box, whose end is at 50.5."""
    for apart, expected in ((limit - 0.01, said), (limit, "fits")):
        wide.objects = [(kind, POINT(50.5 + apart + 0.2, 3.7), 0.4)]
        site = sites_of(wide, sizes=[SLIM], spacing_m=50.0)["L050.0"]
        assert verdict(site, rule) == expected
        assert site.verdict == expected


@pytest.mark.parametrize(("middle", "said"), [(5.39, "no"), (5.4, "fits")])
def test_cycle_track_behind_the_box(middle, said, wide, sites_of):
    """A track 2 m wide drawn as its middle line: its edge 1 m nearer; the box ends at 3.9.

    At 5.4 the edge is at 4.4, 0.5 m from the box (LTN 1/20, table 5-3).
    """
    wide.objects = [("cycle track", LINE([(0, middle), (100, middle)]), 2.0)]
    site = sites_of(wide, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    assert verdict(site, "cycle_track") == said


# things along the kerb ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "rule", "width", "limit", "said"),
    [("alley mouth", "alley", 1.5, 2.0, "no"), ("tactile paving", "tactile", 2.4, 1.2, "no"),
     ("bins day", "bin_place", 1.2, 1.2, "ask"), ("disabled bay", "disabled_bay", 6.0, 0.5, "no")],
)  # fmt: skip
def test_along_the_kerb(kind, rule, width, limit, said, wide, site_at):
    """Half the thing, the limit and half the box from the middle of one to that of the other."""
    wide.objects = [(kind, POINT(50, 7), width)]
    edge = 50 + width / 2 + limit + 0.5
    assert verdict(site_at(edge - 0.01), rule) == said
    assert site_at(edge - 0.01).verdict == said
    assert verdict(site_at(edge), rule) == "fits"


@pytest.mark.parametrize(
    ("kind", "rule"), [("loading bay", "loading_bay"), ("shop window", "window")]
)
def test_nothing_stands_beside_a_loading_bay_or_before_a_window_unasked(kind, rule, wide, sites_of):
    """Of both the limit is 0 m: beside them it fits, in front of them people are asked."""
    wide.objects = [(kind, POINT(50, 7), 4.0)]
    sites = sites_of(wide, sizes=[SLIM], spacing_m=0.25, sides="left")
    assert verdict(sites["L050.0"], rule) == "ask"
    assert verdict(sites["L052.25"], rule) == "ask"
    assert verdict(sites["L052.75"], rule) == "fits"


def test_a_footway_that_runs_back_is_the_mouth_of_an_alley(wide, site_at, found):
    """A passage 1.6 m wide from 49.2 to 50.8: 2 m each side and half a box, 46.7 to 53.3.

    The footway goes 10 m back there; elsewhere it is 4 m deep.
    """
    wide.footways[0] = (
        "left",
        shapely.box(0, 3, 100, 7).union(shapely.box(49.2, 7, 50.8, 17)),
        None,
    )
    street, _ = found(wide)
    (mouth,) = [thing for thing in street.objects if thing.kind.opening]
    assert mouth.span == pytest.approx((49.2, 50.8), abs=0.03)
    assert verdict(site_at(52.0), "alley") == "no"
    assert verdict(site_at(53.25), "alley") == "no"
    assert verdict(site_at(53.35), "alley") == "fits"
    assert site_at(56.0).verdict == "fits"


def test_a_forecourt_is_no_alley(wide, found):
    """Twelve metres wide: too wide for a mouth."""
    wide.footways[0] = ("left", shapely.box(0, 3, 100, 7).union(shapely.box(44, 7, 56, 17)), None)
    street, _ = found(wide)
    assert not [thing for thing in street.objects if thing.kind.opening]


# roots --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stem", "radius"),
    [(0.6, 7.2), (0.1, 1.2), (1.25, 15.0), (1.5, 15.0)],
)
def test_root_circle(stem, radius, know):
    """Twelve stems, at most 15 m (BS 5837:2012); 600 mm gives 7.2 m in a council's example."""
    assert root_radius_m(stem, knowledge=know) == pytest.approx(radius)


@pytest.mark.parametrize(("apart", "said"), [(3.59, "ask"), (3.6, "fits")])
def test_roots_of_a_tree_whose_stem_is_known(apart, said, wide, sites_of):
    """0.3 m: a circle of 3.6 m round its middle; the end of the box at 50.5."""
    wide.objects = [("tree", POINT(50.5 + apart, 3.7), 0.3)]
    site = sites_of(wide, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    assert verdict(site, "roots") == said
    assert of(site, "roots")[0].limit == pytest.approx(3.6)
    assert verdict(site, "tree") == "fits" if apart < 3.3 else True
    assert site.verdict == said


@pytest.mark.parametrize(("apart", "said"), [(14.39, "measure"), (14.4, "fits")])
def test_roots_of_a_tree_whose_stem_nobody_measured(apart, said, wide, sites_of):
    """A stem of 0.1 to 1.2 m: its roots reach 1.2 to 14.4 m, so between these it is measured."""
    wide.objects = [("tree", POINT(50.5 + apart, 3.7), None)]
    site = sites_of(wide, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    assert verdict(site, "roots") == said


# wind ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "wet_kg", "dry_kg", "wet", "dry"),
    [
        # 1.0 x 0.4 x 0.5 m, 0.4 m of soil, 30 kg: 0.144 m3; wind 720 N/m x (0.125 + 0.24) = 263 Nm,
        # held by 217 kg x 9.81 x 0.2 = 426 Nm wet, 131 kg: 257 Nm dry.
        ("slim_box", 217, 131, 1.6, 1.0),
        # 1.2 x 0.5 x 0.6 m, 0.5 m of soil, 45 kg: 0.27 m3; wind 864 x (0.18 + 0.27) = 389 Nm,
        # held by 396 x 9.81 x 0.25 = 971 Nm wet, 234 kg: 574 Nm dry.
        ("box", 396, 234, 2.5, 1.5),
    ],
)
def test_weight_and_wind_of_two_boxes(size, wet_kg, dry_kg, wet, dry, know):
    standing = standing_of(know.planter_sizes[size], knowledge=know)
    assert standing.wet_kg == pytest.approx(wet_kg, abs=0.6)
    assert standing.dry_kg == pytest.approx(dry_kg, abs=0.6)
    assert round(standing.wet, 1) == wet
    assert round(standing.dry, 1) == dry


def test_stones_make_a_dry_box_stand(know):
    """Slim box: 1.2 x 262.8 Nm / (9.80665 x 0.2) = 160.8 kg are needed, 130.8 are there: 30.01 kg,
    rounded up."""
    size = know.planter_sizes["slim_box"]
    finding = wind_finding(size, knowledge=know)
    assert finding.verdict == "fits"
    assert (
        "at least 31 kg of stones" in finding.words or "at least 30 kg of stones" in finding.words
    )
    assert "stones" not in wind_finding(know.planter_sizes["box"], knowledge=know).words


@pytest.mark.parametrize(("width", "said"), [(0.372, "fits"), (0.369, "no")])
def test_a_high_and_narrow_box_tips(width, said, know):
    """1 m long, 0.5 m high, 0.4 m of soil, no weight of its own: 468 w kg wet, held by
    468 w x 9.80665 x w / 2 = 2294.8 w2; asked are 1.2 x 262.8 = 315.4 Nm: w = 0.3707 m."""
    size = PlanterSize("own", "own", 1.0, width, 0.5, 0.4)
    assert wind_finding(size, knowledge=know).verdict == said


# fast roads ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("speed", "near", "said"),
    [("30", 3.0, None), ("31", 3.0, "no"), ("40", 4.5, "fits"), ("40", 4.49 - 0.5, "no")],
)
def test_beside_a_fast_road(speed, near, said, straight, sites_of):
    """Faster than 30 mph a box stands 1.5 m back: behind a verge of 1.5 m it does."""
    straight.roads = [("High Street", straight.roads[0][1], 6.0, speed)]
    straight.footways = [("left", shapely.box(0, near, 100, near + 5), None)]
    site = sites_of(straight, sizes=[SLIM], spacing_m=50.0, sides="left")["L050.0"]
    assert [one.verdict for one in of(site, "fast_road")] == ([] if said is None else [said])


# what nobody mapped -------------------------------------------------------------------------


def test_nothing_is_sure_to_fit_where_nobody_looked(wide, sites_of):
    wide.looked = False
    site = sites_of(wide, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    assert site.verdict == "measure"
    assert [one.rule for one in site.findings if one.verdict == "measure"] == ["street_objects"]


def test_where_somebody_looked_on_one_side_of_a_stretch(wide, sites_of):
    """Two lines end to end, 20 to 60 m on the left; the plants reach 0.6 m from the middle."""
    wide.looked = False
    wide.objects = [
        ("looked", LINE([(20, 4), (40, 4)]), None),
        ("all mapped", LINE([(40, 4), (60, 4)]), None),
    ]
    sites = sites_of(wide, sizes=[SLIM], spacing_m=0.2)
    for at, said in ((20.4, "measure"), (20.6, "fits"), (40.0, "fits"), (59.4, "fits"),
                     (59.6, "measure")):  # fmt: skip
        assert sites[f"L{at:05.1f}"].verdict == said, at
    assert sites["R040.0"].verdict == "measure"


def guessed(scene):
    """Footways that a base map guessed, too narrow for any box if they were true."""
    scene.footways = [
        ("", shapely.box(0, 3, 100, 4.2), None),
        ("", shapely.box(0, -4.2, 100, -3), None),
    ]
    hood_of = scene.built

    def built(knowledge):
        hood = hood_of(knowledge)
        hood.footways["basis"] = "guessed: strip along the plots"
        return hood

    scene.built = built
    return scene


def test_a_guessed_footway_is_measured_never_refused(straight, found, sites_of):
    street, _ = found(guessed(straight))
    assert any("was guessed" in note for note in street.notes)
    sites = sites_of(straight, spacing_m=5.0)
    assert len(sites) > 30
    assert {site.verdict for site in sites.values()} == {"measure"}
    assert all(site.clear_m is None and site.footway_m is None for site in sites.values())


def test_a_house_behind_a_guessed_footway_refuses_nothing(straight, sites_of):
    """The wall at 4.6 m would leave 0.6 m, if the kerb were where it was guessed."""
    straight.roads = [("High Street", straight.roads[0][1], None, "20")]
    straight.buildings = [("", shapely.box(0, 4.6, 100, 12), None)]
    sites = sites_of(guessed(straight), sizes=[SLIM], spacing_m=50.0)
    assert sites["L050.0"].verdict == "measure"


def test_an_assumed_speed_refuses_only_what_the_least_speed_would(wide, sites_of):
    """Nobody said the speed: 30 mph, at least 20. Side road at 50 on the right, eye 2.4 m back.

    At 0.4 m the triangle reaches 5/6 of the sight distance, and the box 0.6 m more: at 20 mph
    24.9 x 5/6 + 0.6 = 21.35 m are refused, at 30 mph up to 42.9 x 5/6 + 0.6 = 36.3 m measured.
    """
    wide.roads = [
        ("High Street", wide.roads[0][1], 6.0, ""),
        ("Mill Lane", LINE([(50, 0), (50, -80)]), 6.0, "20"),
    ]
    sites = sites_of(wide, sizes=[SLIM], spacing_m=0.5, sides="right")
    for away, said in ((21.0, "no"), (21.5, "measure"), (36.0, "measure"), (36.5, "fits")):
        assert verdict(sites[f"R{50 - away:05.1f}"], "sight_junction") == said, away


# one narrowing after the other --------------------------------------------------------------


@pytest.fixture
def boxes(straight, sites_of, found):
    """Boxes 1.2 m with plants on a footway of 2.7 m: 1.7 m is left beside each."""

    def made(*places):
        straight.footways = [("left", shapely.box(0, 3, 100, 5.7), None)]
        street, _ = found(straight)
        sites = sites_of(straight, sizes=[SLIM], spacing_m=0.5, sides="left")
        return street, [sites[f"L{place:05.1f}"] for place in places]

    return made


@pytest.mark.parametrize(
    ("places", "runs"),
    [
        # A box takes 1.2 m; edge to edge 6 m are enough, 5.75 are not.
        ((20.0, 27.5), [1.2, 1.2]),
        ((20.0, 27.0), [8.2]),
        ((20.0, 25.0, 30.0), [11.2]),
    ],
)
def test_boxes_that_are_close_make_one_narrowing(places, runs, boxes, know):
    """From the near end of the first to the far end of the last."""
    street, sites = boxes(*places)
    found = narrowings_of(street, "left", sites, knowledge=know)
    assert [one.length_m for one in found] == pytest.approx(runs)


@pytest.mark.parametrize(
    ("places", "said"), [((20.0, 25.0, 30.0), "fits"), ((20.0, 25.0, 30.0, 35.0), "ask")]
)
def test_the_longest_narrowing(places, said, boxes, know):
    """Three boxes 5 m apart take 11.2 m, four 16.2; at most 12 m."""
    street, sites = boxes(*places)
    (length, share) = narrowing_findings(street, sites, knowledge=know)
    assert (length.rule, length.verdict, length.limit) == ("narrowing_length", said, 12.0)
    assert (share.rule, share.verdict) == ("narrowing_share", "fits")


def test_the_share_of_a_side(boxes, know):
    """Thirty-two boxes 3 m apart, one narrowing of 94 m, are more than a third of 100 m."""
    street, sites = boxes(*[3.0 * at for at in range(1, 33)])
    share = narrowing_findings(street, sites, knowledge=know)[1]
    assert share.verdict == "ask"
    assert share.figure == pytest.approx(0.94, abs=0.02)


def test_what_is_narrow_today_counts_too(straight, found, sites_of, know):
    """Footway of 1.9 m from 30 to 38 m; a box at 28 m ends 1.4 m before it: one narrowing."""
    straight.footways = [
        ("left", shapely.box(0, 3, 30, 5.7), None),
        ("left", shapely.box(30, 3, 38, 4.9), None),
        ("left", shapely.box(38, 3, 100, 5.7), None),
    ]
    street, _ = found(straight)
    sites = sites_of(straight, sizes=[SLIM], spacing_m=1.0, sides="left")
    (one,) = narrowings_of(street, "left", [sites["L026.0"]], knowledge=know)
    assert one.start_m == pytest.approx(25.5, abs=0.26)
    assert one.stop_m == pytest.approx(38.0, abs=0.26)
    (length, _) = narrowing_findings(street, [sites["L026.0"]], knowledge=know)
    assert length.verdict == "ask"


def test_a_width_that_nobody_knows_is_to_be_measured(straight, found, sites_of, know):
    straight.footways = []
    street, _ = found(straight)
    site = sites_of(straight, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    (finding,) = narrowing_findings(street, [site], knowledge=know)
    assert finding.verdict == "measure"
    assert math.isclose(finding.limit, 12.0)
