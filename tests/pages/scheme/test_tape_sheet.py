"""The tape-measure sheet: what it asks, what it looks like, and that its answers come back."""

import csv
import dataclasses
import html
import io
import re
from pathlib import Path

import pytest
from worlds.axe_findings import violations

from patchnet.pages.kit.inline import outside_addresses
from patchnet.pages.scheme.tape_sheet import tape_files, tape_sheet, tape_table
from patchnet.read import read_neighbourhood
from patchnet.street import find_street, planter_sites
from patchnet.street.measured import COLUMNS, read_measured
from patchnet.street.to_measure import places_to_measure

DEMO = Path(__file__).parents[3] / "data_demo"


@pytest.fixture(scope="module")
def hood(knowledge):
    return read_neighbourhood(DEMO, knowledge=knowledge)


@pytest.fixture(scope="module")
def street(hood, knowledge):
    """The demo street as if nobody had looked for anything in it."""
    found = find_street(hood, "Wickthorn Street", knowledge=knowledge)
    return dataclasses.replace(found, looked=())


@pytest.fixture(scope="module")
def sites(hood, street, knowledge):
    return planter_sites(hood, street, knowledge=knowledge, sides="left")


@pytest.fixture(scope="module")
def places(sites, knowledge):
    return places_to_measure(sites, knowledge=knowledge)


@pytest.fixture(scope="module")
def made(places, street, hood, knowledge, tmp_path_factory):
    folder = tmp_path_factory.mktemp("tape")
    for name, content in tape_files(places, street, hood, knowledge=knowledge).items():
        data = content if isinstance(content, bytes) else content.encode()
        (folder / name).write_bytes(data)
    return folder


def said(page):
    inside = page[page.index("<main") : page.index('<script type="application/json"')]
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", inside)).split())


def test_each_place_asks_for_what_is_missing_there(made, places):
    page = (made / "measure.html").read_text()
    asked = re.findall(r'data-place="(\w+)" data-column="(\w+)"', page)
    wanted = [(str(at), name) for at, one in enumerate(places, 1) for name in one.asked]
    assert len(wanted) > 5
    assert asked == wanted
    words = said(page)
    for one in places:
        assert one.site.key in words
    assert "keep it free for others" in words
    assert "Not a permission" in words


def test_a_speed_is_asked_once(places, street, hood, knowledge):
    several = [dataclasses.replace(one, asked=("speed", "things")) for one in places[:3]]
    page = tape_sheet(several, street, hood, knowledge=knowledge)
    asked = re.findall(r'data-place="(\w+)" data-column="speed"', page)
    assert asked == ["all"]


def test_the_width_that_decides_is_never_rounded_down(places, street, hood, knowledge):
    """From 2 m left it fits, from 1.5 m the council is asked: half a metre less."""
    (one,) = [each for each in places if each.footway_m is not None]
    assert f"fits from {one.footway_m:.2f} m on; from {one.footway_m - 0.5:.2f} m" in said(
        tape_sheet([one], street, hood, knowledge=knowledge)
    )


def test_nothing_to_fetch_and_the_same_bytes(made, places, street, hood, knowledge):
    page = (made / "measure.html").read_text()
    assert not outside_addresses(page)
    again = tape_files(places, street, hood, knowledge=knowledge)
    assert again["measure.html"] == page
    assert again["measure.csv"] == (made / "measure.csv").read_bytes()


def test_what_people_wrote_is_escaped(places, street, hood, knowledge):
    plots = hood.plots.copy()
    plots["label"] = '<img src=x onerror="alert(1)">'
    named = dataclasses.replace(hood, plots=plots)
    evil = dataclasses.replace(street, name='</script><b onload="x">')
    page = tape_sheet(places, evil, named, knowledge=knowledge)
    assert "<img src=x" not in page
    assert "</script><b" not in page


def test_a_sheet_for_everybody_names_no_plot(places, street, hood, knowledge):
    open_to_all = dataclasses.replace(hood, audience="public")
    for content in tape_files(places, street, open_to_all, knowledge=knowledge).values():
        text = content.decode() if isinstance(content, bytes) else content
        assert "nearest to" not in text


def test_nothing_left_to_measure_is_said(street, hood, knowledge):
    page = tape_sheet([], street, hood, knowledge=knowledge)
    assert "Nothing is left to measure" in said(page)
    assert len(list(csv.reader(io.StringIO(tape_table([], street, hood).decode("utf-8-sig"))))) == 1


def test_the_table_filled_in_by_a_spreadsheet_comes_back(
    made, places, hood, street, knowledge, tmp_path
):
    rows = list(
        csv.DictReader(io.StringIO((made / "measure.csv").read_bytes().decode("utf-8-sig")))
    )
    assert list(rows[0])[: len(COLUMNS)] == list(COLUMNS)
    for row in rows:
        wanted = row["wanted"].split()
        row |= {"things": "none", "by": "Ann", "footway_m": "3,6" if "footway_m" in wanted else ""}
    path = tmp_path / "filled.csv"
    with path.open("w", newline="", encoding="cp1252") as file:  # as a spreadsheet saves it
        writer = csv.DictWriter(file, list(rows[0]), delimiter=";")
        writer.writeheader()
        writer.writerows(rows)
    check_back(path, places, hood, street, knowledge)


def check_back(path, places, hood, street, knowledge):
    """Every place that was measured is no longer to be measured, and says by what it is judged."""
    measured = read_measured(path, knowledge=knowledge)
    assert set(measured) == {one.site.key for one in places}
    after = {
        site.key: site
        for site in planter_sites(
            hood, street, knowledge=knowledge, sides="left", measured=measured
        )
    }
    for one in places:
        site = after[one.site.key]
        assert site.verdict in {"fits", "ask"}, (site.key, site.findings)
        assert any(found.basis == "measured" for found in site.findings)
        if "footway_m" in one.asked:
            assert site.clear_basis == "measured"
            taken = site.offset_m + site.size.width_m + site.size.spread_m
            assert site.clear_m == pytest.approx(3.6 - taken, abs=1e-3)


@pytest.fixture
def page(browser, made):
    context = browser.new_context(
        viewport={"width": 360, "height": 740}, offline=True, accept_downloads=True
    )
    tab = context.new_page()
    wrong = []
    tab.on("pageerror", lambda error: wrong.append(str(error)))
    tab.on("console", lambda one: wrong.append(one.text) if one.type == "error" else None)
    tab.goto((made / "measure.html").as_uri())
    yield tab
    context.close()
    assert wrong == []


def test_on_a_phone_it_is_filled_in_and_comes_back(page, places, hood, street, knowledge, tmp_path):
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.fill("#by", 'Ann "O", and Bob')
    page.fill("#date", "2026-06-30")
    for at, one in enumerate(places, 1):
        for column in one.asked:
            page.fill(f"#f-{at}-{column}", {"things": "none"}.get(column, "3.6"))
    page.reload()  # what was filled in is kept
    assert page.input_value("#by") == 'Ann "O", and Bob'
    with page.expect_download() as download:
        page.click("#save")
    path = tmp_path / download.value.suggested_filename
    download.value.save_as(path)
    assert path.name == "Wickthorn-Street-measured.csv"
    assert "Saved as Wickthorn-Street-measured.csv" in page.inner_text("#say")
    check_back(path, places, hood, street, knowledge)
    assert {one.by for one in read_measured(path).values()} == {'Ann "O", and Bob'}
    page.click("#as-text summary")
    page.wait_for_function("document.getElementById('file-text').value")  # told after it opens
    assert page.input_value("#file-text").split() == path.read_text(encoding="utf-8").split()


def heights(page, which):
    found = f"[...document.querySelectorAll('{which}')]"
    return page.evaluate(f"{found}.map((one) => one.getBoundingClientRect().height)")


def test_it_can_be_used_by_everybody(page):
    assert violations(page) == []
    low = heights(page, "input, button")
    assert min(low) >= 24  # least size of a target, WCAG 2.2, 2.5.8


def test_printed_it_has_big_boxes_and_no_buttons(page, places):
    page.emulate_media(media="print")
    assert not page.is_visible("#save")
    assert min(heights(page, ".cell input")) >= 12 * 96 / 25.4 - 1  # 12 mm to write in
    printed = page.pdf(prefer_css_page_size=True, print_background=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) <= 3
    sizes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", printed)
    assert {(round(float(x)), round(float(y))) for x, y in sizes} <= {(595, 842), (594, 842)}
    for one in places:
        assert page.is_visible(f"text={one.site.key}")
