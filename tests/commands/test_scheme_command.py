"""patchnet scheme: from a file and a road to a folder, or one list of what is wrong."""

import dataclasses
import re
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from worlds.alder_row import ALDER, FAR, NARROW, WIDE, placed, write_alder_row

from patchnet.commands.main import _run
from patchnet.core.fault_list import FaultList
from patchnet.knowledge import load_knowledge
from patchnet.read import read_neighbourhood
from patchnet.scheme.plan_scheme import plan_scheme
from patchnet.street.keepers import keepers_in


@pytest.fixture(scope="module")
def street(tmp_path_factory):
    """Alder Row with 4 m of footway on its left and 1.2 m on its right, and a bench far away."""
    return write_alder_row(
        tmp_path_factory.mktemp("map") / "alder.gpkg", [ALDER, FAR], [WIDE, NARROW],
        widths=[6.0, 4.0], things=[("bench", placed(shapely.Point(30, 490)))],
    )  # fmt: skip


def scheme(street, target, *options):
    return _run(["scheme", str(street), "--road", "Alder Row", "-o", str(target), *options])


def test_a_scheme_is_made_and_read_back(street, tmp_path, capsys):
    taps = tmp_path / "taps.csv"
    taps.write_text("name,plot,x,y,litres\nAnn,a1,,,60\n\n", encoding="utf-8")
    target = tmp_path / "scheme"
    options = ("--planters", "2", "--group", "mason_bee", "--size", "1.2x0.5x0.6x0.5",
               "--keepers", str(taps), "--by", "Alder Row Group")  # fmt: skip
    assert scheme(street, target, *options) == 0
    said = capsys.readouterr()
    assert "S01" in said.out
    assert "begin with report.html" in said.err
    assert "keep them in the group" in said.err
    report = (target / "report.html").read_text(encoding="utf-8")
    assert "Alder Row Group" in report
    assert "own box 1.2x0.5x0.6x0.5 m" in report
    planters = gpd.read_file(target / "scheme.gpkg", layer="planters")
    assert 1 <= len(planters) <= 2
    assert set(planters["side"]) == {"left"}
    assert (planters.geometry.area - 0.6).abs().max() < 1e-6
    # 0.5 m of kerb, 0.5 m of box and plants beside it are gone of 4 m: more than 2 m are left.
    assert (planters["clear_width_m"] >= 2).all()
    assert _run(["compare", str(street), str(target), "--group", "mason_bee", "--straight"]) == 0
    assert "Only in the second: S01" in capsys.readouterr().out
    again = tmp_path / "again"
    assert scheme(street, again, *options) == 0
    for path in sorted(target.iterdir()):
        assert (again / path.name).read_bytes() == path.read_bytes(), path.name
    assert _run(["compare", str(target), str(again), "--group", "mason_bee", "--straight"]) == 0
    said = capsys.readouterr()
    assert "From scheme to again" in said.out
    assert "no change" in said.out
    assert "wholly seen" not in said.err
    # Two schemes number their planters anew: the same number at another place is another planter.
    first = planters["place"].iloc[0]
    table = (again / "planters.csv").read_text(encoding="utf-8-sig")
    (again / "planters.csv").write_text(table.replace(first, "R077.0"), encoding="utf-8-sig")
    assert _run(["compare", str(target), str(again), "--group", "mason_bee", "--straight"]) == 0
    said = capsys.readouterr()
    assert f"Only in the first: {first}." in said.out
    assert "Only in the second: R077.0." in said.out


def test_every_mistake_stands_in_one_list(street, tmp_path, capsys):
    taps = tmp_path / "taps.csv"
    taps.write_text(
        "name;plot;x;y;litres\nAnn;a9;;;40\n;a1;;;40\nBob;;;;40\nCid;;450010;one;many\n"
        "Dan;a1;;;0\nEve;a1;;;5\nEve;a2;;;5\n"
    )
    target = tmp_path / "scheme"
    status = _run(
        ["scheme", str(street), "--road", "Alder Rwo", "-o", str(target), "--size", "boxx",
         "--size", "1x1x0.3x0.5", "--planters", "0", "--budget", "-1", "--unkept", "-2",
         "--spacing", "nan", "--keepers", str(taps)]
    )  # fmt: skip
    said = capsys.readouterr().err
    assert status == 2
    for words in (
        "Did you mean Alder Row?", "no box 'boxx'", "1x1x0.3x0.5 is impossible",
        "--planters must be 1 or more, not 0", "--budget must be 0 or more, not -1",
        "--unkept must be 0 or more, not -2", "--spacing must be 0 or more, not nan",
        "row 2: There is no plot 'a9'", "row 3: The keeper has no name",
        "row 4: It does not say where the tap is", "row 5: y 'one'", "row 5: litres 'many'",
        "row 6: Litres a visit must be above 0, not 0.", "'Eve' comes twice",
    ):  # fmt: skip
        assert words in said, words
    assert not target.exists()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--group", "hedgehog"], "cannot help animals that walk"),
        (["--budget", "20"], "less than the cheapest planter"),
        (["--lock-in", "L030.0", "--lock-out", "L030.0"], "locked in and locked out"),
        (["--lock-in", "Q001.0"], "no site 'Q001.0'"),
        (["--side", "right"], "clear width"),
        (["--recipe", "flowerz"], "no planter recipe 'flowerz'"),
        (["--size", "long_box", "--size", "9x4x1x1", "--side", "right"], "none has the verdict"),
    ],
)
def test_what_cannot_be_is_refused_with_words(street, tmp_path, capsys, options, words):
    target = tmp_path / "scheme"
    assert scheme(street, target, *options) == 2
    assert words in capsys.readouterr().err
    assert not target.exists()


def test_another_authority_is_an_overlay(street, tmp_path, capsys):
    """Where 4.5 m must be left, no place of a 4 m footway will do."""
    rules = tmp_path / "rules"
    rules.mkdir()
    (rules / "street_rules.csv").write_text(
        "key,value,unit,low,high,class,source,note\n"
        "clear_width_fits_m,4.5,m,4.5,4.5,assumption,patchnet,Our authority\n"
        "clear_width_ask_m,4.5,m,4.5,4.5,assumption,patchnet,Our authority\n"
    )
    assert scheme(street, tmp_path / "scheme", "--knowledge", str(rules)) == 2
    assert re.search(r"clear width \(\d+\)", capsys.readouterr().err)


def test_nothing_is_written_where_nothing_is_won(street, tmp_path, capsys, monkeypatch):
    def barren(*given, **options):
        return dataclasses.replace(plan_scheme(*given, **options), planters=())

    monkeypatch.setattr("patchnet.commands.scheme.plan_scheme", barren)
    assert scheme(street, tmp_path / "scheme", "--group", "mason_bee", "--planters", "1") == 2
    assert "would help the red mason bee" in capsys.readouterr().err
    assert not (tmp_path / "scheme").exists()


def test_files_of_others_and_missing_tables_are_said_before_any_work(street, tmp_path, capsys):
    target = tmp_path / "scheme"
    target.mkdir()
    (target / "report.html").write_text("mine")
    assert scheme(street, target) == 3
    assert "report.html" in capsys.readouterr().err
    assert (target / "report.html").read_text() == "mine"
    assert scheme(street, tmp_path / "other", "--keepers", str(tmp_path / "no.csv")) == 3
    assert "There is no file" in capsys.readouterr().err


def test_taps_are_read_from_plots_and_from_metres(street, tmp_path):
    know = load_knowledge()
    hood = read_neighbourhood(street, knowledge=know)
    path = Path(tmp_path / "taps.csv")
    path.write_bytes('\ufeffName,x,y,Litres\nZoë,450010,210020,"32,5"\n'.encode())
    wrong = FaultList()
    (zoe,) = keepers_in(path, hood, wrong)
    assert not wrong.faults
    assert (zoe.name, zoe.litres, zoe.place.x, zoe.place.y) == ("Zoë", 32.5, 450010, 210020)
    path.write_text("who,where\n")
    assert keepers_in(path, hood, wrong) == ()
    assert "must name the columns" in wrong.faults[0].mend


def test_the_goal_of_coverage(street, tmp_path, capsys):
    words = ["scheme", str(street), "--road", "Alder Row", "--group", "mason_bee", "--planters"]
    status = _run([*words, "1", "--goal", "cover", "-o", str(tmp_path / "out")])
    told = capsys.readouterr()
    assert status == 0, told.err
    assert "It is proved that no scheme of this size is better" in " ".join(told.out.split())
    assert "of what homes lack" in (tmp_path / "out" / "report.html").read_text()
