"""Where no scheme can be made: the cause, the way out, the exit status, a sheet to measure by."""

import geopandas as gpd
import pytest
import shapely
from worlds.alder_row import ALDER, EAST, FAR, WIDE, line, placed, write_alder_row
from worlds.mapped_streets import house, mapped, road

from patchnet.base.write import write_base
from patchnet.commands.main import _run

LOOKED = ("looked", line((0, 0), (60, 0)))


def write(path, roads, footways=(), *, looked=True):
    """Alder Row with whatever roads and footways are given."""
    return write_alder_row(path, roads, footways, things=[LOOKED] if looked else [])


def scheme(street, target, *options, road="Alder Row"):
    return _run(
        ["scheme", str(street), "--road", road, "-o", str(target), "--group", "mason_bee",
         "--planters", "2", "--draws", "0", *map(str, options)]
    )  # fmt: skip


# two roads of one name --------------------------------------------------------------------


@pytest.fixture(scope="module")
def namesakes(tmp_path_factory):
    path = tmp_path_factory.mktemp("two") / "two.gpkg"
    return write(path, [ALDER, ("Alder Row", line((900, 0), (1000, 0))), FAR], [WIDE])


def test_two_roads_of_one_name_are_listed(namesakes, tmp_path, capsys):
    """One 60 m long by the gardens, one 100 m long 840 m away."""
    assert scheme(namesakes, tmp_path / "out") == 2
    said = capsys.readouterr().err
    assert "2 roads are called Alder Row" in said
    assert "60 m long" in said
    assert "100 m long, at 450950,210000" in said
    assert "--at" in said
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("at", ["a1", "450030,210002"])
def test_a_plot_or_a_point_says_which(at, namesakes, tmp_path, capsys):
    assert scheme(namesakes, tmp_path / "out", "--at", at) == 0
    capsys.readouterr()
    planters = gpd.read_file(tmp_path / "out" / "scheme.gpkg", layer="planters")
    assert (planters.geometry.bounds["maxx"] < EAST + 60).all()


def test_a_point_elsewhere_is_refused(namesakes, tmp_path, capsys):
    assert scheme(namesakes, tmp_path / "out", "--at", "1,1") == 2
    assert "lies far from the map" in capsys.readouterr().err


# a road without a name --------------------------------------------------------------------


def test_a_road_without_a_name_is_chosen_by_plots_along_it(tmp_path, capsys):
    """The way out that the refusal names is taken, and leads to a report under a name of one's own.

    Plot a1 lies on the left of the road, a2 on the right; Beck Lane is 500 m away.
    """
    street = write(tmp_path / "bare.gpkg", [("", ALDER[1]), FAR], [WIDE])
    assert scheme(street, tmp_path / "out") == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "no road called 'Alder Row'" in said
    assert "1 road has no name on the map: choose it by a plot on it or a point by it" in said
    assert scheme(street, tmp_path / "out", road="") == 2
    assert "Say which road is meant" in capsys.readouterr().err
    asked = ("--at", "a1", "--at", "a2", "--called", "Back Lane", "--size", "slim_box")
    assert scheme(street, tmp_path / "out", *asked, road="") == 0
    assert "The map gives this road no name" in capsys.readouterr().err
    assert "Back Lane" in (tmp_path / "out" / "report.html").read_text()


# keepers ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def alder(tmp_path_factory):
    return write(tmp_path_factory.mktemp("alder") / "alder.gpkg", [ALDER, FAR], [WIDE])


def taps(folder, text):
    path = folder / "taps.csv"
    path.write_text(text)
    return path


def degrees():
    point = gpd.GeoSeries([placed(shapely.Point(30, 8))], crs="EPSG:27700").to_crs(4326).iloc[0]
    return point.x, point.y


@pytest.mark.parametrize("turned", [False, True])
def test_taps_in_degrees_are_understood_and_said(turned, alder, tmp_path, capsys):
    """Longitude first, or latitude first: only one of the two lies by the map."""
    x, y = degrees()
    x, y = (y, x) if turned else (x, y)
    file = taps(tmp_path, f"name,x,y,litres\nAnn,{x:.6f},{y:.6f},90\n")
    assert scheme(alder, tmp_path / "out", "--keepers", file, "--unkept", 0) == 0
    said = capsys.readouterr()
    assert "was read as degrees" in said.err
    assert "Ann" in said.out


@pytest.mark.parametrize(
    ("text", "words"),
    [
        # The tap is 80 m from the road's line, the middle of a box 3.7 to 3.9 m: 76 m.
        ("name,x,y,litres\nAnn,450030,210080,90\n", "that of Ann, 76 m from the nearest place"),
        # The smallest box has 0.4 m2 and takes 15 l a m2.
        ("name,plot,litres\nAnn,a1,5\n", "takes 6 litres a visit, and Ann, who carries most, 5"),
    ],
)
def test_keepers_who_cannot_water(text, words, alder, tmp_path, capsys):
    """The cause is said; the other side of the road, which nobody measured, is on a sheet."""
    file = taps(tmp_path, text)
    options = ("--keepers", file, "--unkept", 0, "--size", "slim_box")
    assert scheme(alder, tmp_path / "out", *options) == 2
    said = " ".join(capsys.readouterr().err.split())
    assert words in said
    assert "--unkept" in said
    assert (tmp_path / "out" / "measure.html").exists()
    assert not (tmp_path / "out" / "report.html").exists()


def test_a_tap_far_from_the_map_is_a_slip(alder, tmp_path, capsys):
    file = taps(tmp_path, "name,x,y,litres\nAnn,0,51,90\n")
    assert scheme(alder, tmp_path / "out", "--keepers", file) == 2
    assert "lies far from the map, which goes from" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_keepers_who_cannot_water_are_only_mentioned_where_none_is_needed(alder, tmp_path, capsys):
    file = taps(tmp_path, "name,plot,litres\nAnn,a1,5\n")
    assert scheme(alder, tmp_path / "out", "--keepers", file) == 0
    assert "Too little water" in " ".join(capsys.readouterr().err.split())


# no footway, nobody looked ----------------------------------------------------------------


def test_only_what_fits_where_nobody_measured(tmp_path, capsys):
    street = write(tmp_path / "bare.gpkg", [ALDER, FAR], looked=False)
    assert scheme(street, tmp_path / "out", "--only-fits") == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "none has the verdict 'fits'" in said
    assert "wait for a tape" in said
    assert "--measured" in said
    kept = {path.name for path in (tmp_path / "out").iterdir() if not path.name.startswith(".")}
    assert kept == {"measure.html", "measure.csv"}
    # Who holds the sheet reads why, and the ways out.
    sheet = " ".join((tmp_path / "out" / "measure.html").read_text().split())
    assert "Why there is no plan yet" in sheet
    assert "wait for a tape" in sheet


def test_every_place_refused_leaves_no_sheet(tmp_path, capsys):
    thin = [placed(shapely.box(0, 3, 60, 4.2)), placed(shapely.box(0, -4.2, 60, -3))]
    street = write(tmp_path / "thin.gpkg", [ALDER, FAR], thin)
    assert scheme(street, tmp_path / "out") == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "clear width" in said
    # 1.2 m of footway, 0.5 m from the kerb to the box and 0.4 m of box: none is narrow enough.
    assert "It came closest at" in said
    assert "more than a box is wide: none fits there" in said
    assert "The width of the footway is from the map: measure it with a tape" in said
    assert "choose another road" in said
    assert not (tmp_path / "out").exists()


def test_from_a_base_map_to_a_sheet_and_back(tmp_path, capsys):
    """A base guesses its footways: places to measure, not a dead end; measured, places that fit."""
    things = [road("Elm Road", (0, 0), (120, 0)), road("Oak Lane", (-300, 300), (300, 300))]
    for at in range(11):
        west = 3 + at * 10.5
        things.append(house(west, 10, west + 8, 18, str(2 * at + 1), "Elm Road"))
        things.append(house(west, -18, west + 8, -10, str(2 * at + 2), "Elm Road"))
    street = tmp_path / "elm.gpkg"
    write_base(mapped(tmp_path, *things), street)
    out = tmp_path / "out"
    assert scheme(street, out, "--only-fits", road="Elm Road") == 2
    capsys.readouterr()
    rows = (out / "measure.csv").read_bytes().decode("utf-8-sig").splitlines()
    heading = rows[0].split(",")
    filled = [rows[0]]
    for row in rows[1:]:
        cells = row.split(",")
        told = {"footway_m": "3.6", "road_m": "5.8", "things": "none", "speed": "20 mph",
                "side_road_m": "none"}  # fmt: skip
        for name, word in told.items():
            cells[heading.index(name)] = word
        filled.append(",".join(cells))
    tape = tmp_path / "filled.csv"
    tape.write_text("\n".join(filled))
    options = ("--only-fits", "--measured", tape, "--overwrite")
    status = scheme(street, out, *options, road="Elm Road")
    said = capsys.readouterr()
    # Nobody surveyed what grows there, so it may be that nothing is won: then it says so.
    if status == 2:
        assert "would help the red mason bee" in said.err
        assert "wait for a tape" not in said.err
    else:
        assert (out / "report.html").exists()
        assert "(measured)" in said.out


def test_a_sheet_of_another_street_is_refused(alder, tmp_path, capsys):
    tape = tmp_path / "tape.csv"
    tape.write_text("place,x,y,footway_m\nL010.0,450010,210900,3.4\nL999.0,,,3.4\n")
    assert scheme(alder, tmp_path / "out", "--measured", tape) == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "L010.0 was measured 896 m from where it lies now" in said
    assert "L999.0 was measured, but is no place on Alder Row" in said
    tape.write_text("place,footway_m\nL010.0,wide\n")
    assert scheme(alder, tmp_path / "out", "--measured", tape) == 2
    assert "footway_m 'wide' cannot be" in capsys.readouterr().err
    assert scheme(alder, tmp_path / "out", "--measured", tmp_path / "no.csv") == 3
    assert "There is no file" in capsys.readouterr().err
