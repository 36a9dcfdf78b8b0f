"""Plans and sections: true to scale, in the right place, cut so that nothing is lost."""

import dataclasses
import math
import re
from itertools import pairwise

import numpy as np
import pytest
import shapely

from patchnet.pages.kit.to_scale import A3, A4
from patchnet.pages.scheme import SchemePack, Told
from patchnet.pages.scheme.drawing import across, cut_street
from patchnet.pages.scheme.existing import bays_of, existing_html, existing_sheets
from patchnet.pages.scheme.pack import centimetres
from patchnet.pages.scheme.plans import location_sheet, proposal_sheets
from patchnet.pages.scheme.section import section_html, sections_of

NUMBER = r"(-?[\d.]+)"


@pytest.fixture(scope="module")
def pack(demo_scheme):
    return SchemePack(demo_scheme, Told())


def straight(scheme, angle, length=100.0):
    """The street of a scheme laid anew: straight, so many degrees from east."""
    start = scheme.street.line.coords[0]
    end = (
        start[0] + length * math.cos(math.radians(angle)),
        start[1] + length * math.sin(math.radians(angle)),
    )
    return dataclasses.replace(
        scheme.street, line=shapely.LineString([start, end]), length_m=length
    )


def bounds(path):
    points = np.array(re.findall(rf"{NUMBER} {NUMBER}", path), dtype=float)
    return (*points.min(axis=0), *points.max(axis=0))


@pytest.mark.parametrize("size", [A4, A3])
def test_sheets_cover_the_street_end_to_end(pack, size):
    for scale in (100, 200, 500):
        stretches = cut_street(pack.scheme.street, scale, size)
        assert stretches[0].start_m == 0
        assert stretches[-1].stop_m == pytest.approx(pack.scheme.street.length_m)
        for one, other in pairwise(stretches):
            assert one.stop_m == other.start_m
        for one in stretches:
            for chainage in (one.start_m, (one.start_m + one.stop_m) / 2, one.stop_m):
                x, y = one.paper.place(pack.scheme.street.line.interpolate(chainage))
                assert 0 <= x <= size.wide_mm
                assert 0 <= y <= size.high_mm


@pytest.mark.parametrize("angle", [0, 33, 90, 145, -120])
def test_road_lies_along_the_paper_and_north_points_north(demo_scheme, angle):
    """A road at so many degrees from east is turned back by as many: on paper it runs to the
    right, and 10 m at 1:200 are 50 mm. North on paper stands where the arrow is turned to."""
    street = straight(demo_scheme, angle)
    (paper,) = {one.paper for one in cut_street(street, 500)}
    ends = paper.mm(np.array([street.line.coords[0], street.line.coords[-1]]))
    assert ends[1] - ends[0] == pytest.approx([200, 0], abs=1e-6)
    here = np.array(paper.centre)
    two = paper.mm(np.array([here, here + np.array([0, 10])]))
    right, down = two[1] - two[0]
    turned = math.degrees(math.atan2(right, -down)) % 360
    arrow = float(re.search(rf"rotate\({NUMBER}\)", paper.bar_and_north())[1])
    assert turned == pytest.approx(arrow % 360, abs=0.01)


def test_what_lies_off_the_paper_is_not_drawn(demo_scheme):
    """A path without points would be a fault in the page: nothing is written instead."""
    (stretch,) = cut_street(straight(demo_scheme, 0), 500)
    far = shapely.Point(0, 0).buffer(1)
    for shape in (far, far.boundary, shapely.Polygon(), shapely.MultiPolygon([far])):
        assert stretch.paper.path(shape, css="plot") == ""


def test_offsets_are_to_the_left(demo_scheme):
    """Going east, left is north; going north, left is west."""
    east = straight(demo_scheme, 0)
    start = shapely.Point(east.line.coords[0])
    point = across(east, 50, 3)
    assert (point.x - start.x, point.y - start.y) == pytest.approx((50, 3))
    north = straight(demo_scheme, 90)
    point = across(north, 50, 3)
    assert (point.x - start.x, point.y - start.y) == pytest.approx((-3, 50))


def test_planters_are_drawn_at_their_size(pack):
    """1.2 x 0.5 m at 1:200 is 6 x 2.5 mm, whichever way the box is turned: its diagonal and
    area are measured."""
    drawn = "".join(sheet.drawn for sheet in proposal_sheets(pack, first=1))
    scale = proposal_sheets(pack, first=1)[0].paper.scale
    assert scale == 200
    for one in pack.scheme.planters:
        path = re.search(rf'<path class="proposed [a-z]+" d="([^"]+)"><title>{one.plot}<', drawn)[1]
        points = [(float(x), float(y)) for x, y in re.findall(rf"{NUMBER} {NUMBER}", path)]
        shape = shapely.Polygon(points)
        size = one.site.size
        assert shape.area == pytest.approx(size.plan_m2 * 25, rel=0.01)
        edges = shapely.minimum_rotated_rectangle(shape).length
        assert edges == pytest.approx(2 * (size.length_m + size.width_m) * 5, rel=0.01)


def test_every_planter_has_its_number_and_the_width_left_on_a_sheet(pack):
    drawn = "".join(sheet.drawn for sheet in proposal_sheets(pack, first=1))
    for one in pack.scheme.planters:
        assert f">{one.plot}</text>" in drawn
        assert f">{one.site.clear_m:.2f} " in drawn


def test_unknown_width_is_a_question(pack):
    first = pack.scheme.planters[0]
    blind = dataclasses.replace(
        first, site=dataclasses.replace(first.site, clear_m=None, footway_m=None)
    )
    laid = SchemePack(dataclasses.replace(pack.scheme, planters=(blind,)), Told())
    drawn = "".join(sheet.drawn for sheet in proposal_sheets(laid, first=1))
    assert ">?</text>" in drawn
    section = section_html(laid)
    assert "measure this" in section
    assert "The walking width is not known" in section
    assert " m to walk in" not in section


def test_sheets_name_their_neighbours(pack):
    """At 1:200 the street of 172 m takes four sheets of 43 m: planters at 20, 60 and 150 m stand
    on the first, the second and the fourth; the third has none and is not drawn."""
    moved = tuple(
        dataclasses.replace(one, site=dataclasses.replace(one.site, chainage_m=chainage))
        for one, chainage in zip(pack.scheme.planters, (20.0, 60.0, 150.0), strict=False)
    )
    scheme = dataclasses.replace(pack.scheme, planters=moved)
    sheets = proposal_sheets(SchemePack(scheme, Told()), first=4)
    assert [sheet.name.split(", ")[1] for sheet in sheets] == [
        "0 to 43 m",
        "43 to 86 m",
        "129 to 172 m",
    ]
    named = [re.findall(r"goes on: drawing (\d+)", sheet.drawn) for sheet in sheets]
    assert named == [["5"], ["4"], []]


def test_a_width_whose_end_is_off_the_sheet_stands_by_its_box(pack):
    """40 m at 1:200 are 200 mm, more than the sheet is high: the figure is still on the plan."""
    first = pack.scheme.planters[0]
    wide = dataclasses.replace(first, site=dataclasses.replace(first.site, clear_m=40.0))
    laid = SchemePack(dataclasses.replace(pack.scheme, planters=(wide,)), Told())
    drawn = "".join(sheet.drawn for sheet in proposal_sheets(laid, first=1))
    assert ">40.00 " in drawn


def test_street_names_do_not_lie_over_each_other(pack):
    """A road mapped in three pieces is named once, and of two at one place one is named."""
    hood = pack.scheme.neighbourhood
    middle = pack.scheme.street.line.interpolate(0.5, normalized=True)
    beside = [
        shapely.LineString([(middle.x + dx, middle.y + dy), (middle.x + dx + 9, middle.y + dy)])
        for dx, dy in ((-60, 40), (0, 40), (60, 40), (-60, 41))
    ]
    roads = hood.roads.iloc[[0, 0, 0, 0]].set_geometry(beside, crs=hood.roads.crs)
    roads["name"] = ["Beck Lane", "Beck Lane", "Beck Lane", "Dyke Lane"]
    laid = dataclasses.replace(
        pack.scheme, neighbourhood=dataclasses.replace(hood, roads=roads.reset_index(drop=True))
    )
    drawn = location_sheet(SchemePack(laid, Told())).drawn
    assert drawn.count(">Beck Lane</text>") == 1
    assert ">Dyke Lane</text>" not in drawn


def test_location_is_north_up_at_a_usual_scale(pack):
    sheet = location_sheet(pack)
    assert sheet.paper.turn_deg == 0
    assert sheet.paper.scale in (500, 1250, 2500, 5000, 10000)
    for one in pack.scheme.planters:
        assert sheet.paper.window().contains(one.site.centre)


def test_bays_tell_the_narrowest_and_where_it_is_from(demo_scheme):
    """Widths 2.0, 1.8, 2.2 (stated) | 3.0 (drawn) | nobody knows: bays of 10 m by hand."""
    side = dataclasses.replace(
        demo_scheme.street.left,
        chainage=np.array([0.0, 4, 8, 12, 22]),
        footway=np.array([2.0, 1.8, 2.2, 3.0, np.nan]),
        measured=np.array([True, True, True, False, False]),
        kerb=np.full(5, 3.0),
        near=np.full(5, 3.0),
        back=np.full(5, 5.5),
    )
    street = dataclasses.replace(
        straight(demo_scheme, 0, 30.0), left=side, right=dataclasses.replace(side, side="right")
    )
    bays = [one for one in bays_of(street, 10.0) if one.side == "left"]
    assert [one.words for one in bays] == [
        "1.80 m (measured)",
        "3.00 m (from the map)",
        "no footway on the map",
    ]
    nobody = dataclasses.replace(side, footway=np.full(5, np.nan))
    street = dataclasses.replace(
        street, left=nobody, right=dataclasses.replace(nobody, side="right")
    )
    assert {one.words for one in bays_of(street, 10.0)} == {"not known: measure this"}
    laid = SchemePack(dataclasses.replace(demo_scheme, street=street), Told())
    assert "6 bays without a known width" in existing_html(laid)
    assert ">?</text>" in existing_sheets(laid, first=1)[0].drawn


def test_section_is_to_scale(pack):
    """Box, kerb offset and walking width in millimetres are metres x 1000 / scale, and together
    with the plants they make up the footway."""
    html = section_html(pack)
    (one,) = sections_of(pack)
    site = one.site
    mm = 1000 / int(re.search(r"1:(\d+) printed", html)[1])
    rect = re.search(
        rf'class="box-side" x="{NUMBER}" y="{NUMBER}" width="{NUMBER}" height="{NUMBER}"', html
    )
    kerb = float(re.search(rf'class="kerb-stone" x="{NUMBER}"', html)[1])
    assert float(rect[3]) == pytest.approx(site.size.width_m * mm, abs=0.01)
    assert float(rect[4]) == pytest.approx(site.size.height_m * mm, abs=0.01)
    assert float(rect[1]) - kerb == pytest.approx(site.offset_m * mm, abs=0.01)
    back = float(re.search(rf'class="back-edge" d="M{NUMBER}', html)[1])
    assert back - kerb == pytest.approx(site.footway_m * mm, abs=0.02)
    assert f"{site.clear_m:.2f} m to walk in" in html
    assert site.clear_m == min(each.site.clear_m for each in pack.scheme.planters)


@pytest.mark.parametrize(
    ("metres", "said"), [(1.996, "1.99"), (2.0, "2.00"), (1.9995, "2.00"), (1.4949, "1.49")]
)
def test_a_width_is_never_rounded_up_to_the_limit(metres, said):
    """1.996 m is not the 2 m that the rule asks for, whatever rounding would say."""
    assert centimetres(metres) == said
