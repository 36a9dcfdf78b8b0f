"""The map page in a real browser with the network off: what is drawn and what it says."""

import dataclasses
import io
import re

import pytest
from PIL import Image
from playwright.sync_api import expect
from shapely import Point
from worlds.page_texts import written

from patchnet.pages.kit import colours
from patchnet.pages.map.map_page import map_page

pytestmark = pytest.mark.browser


def rgb(colour: str) -> tuple[int, int, int]:
    return tuple(int(colour[at : at + 2], 16) for at in (1, 3, 5))


def picture(opened, selector: str) -> Image.Image:
    return Image.open(io.BytesIO(opened.page.locator(selector).screenshot())).convert("RGB")


def quiet(opened) -> None:
    assert opened.fetched == []
    assert opened.complaints == []


@pytest.fixture(scope="module")
def drawn(assessment):
    return map_page(assessment, title="Alder Row")


@pytest.fixture
def page(drawn, open_page):
    return open_page(drawn)


def test_opens_without_a_request_or_a_complaint(page):
    quiet(page)
    assert page.page.title() == "Alder Row"
    assert page.page.evaluate("document.documentElement.scrollWidth") <= 1280


EVERY_CHOICE = """() => {
  const choose = (id, value) => {
    const select = document.getElementById(id);
    select.value = value;
    select.dispatchEvent(new Event("change"));
  };
  const values = (id) => [...document.querySelectorAll(`#${id} option`)].map((one) => one.value);
  const text = (id) => document.getElementById(id).textContent;
  const seen = [];
  for (const group of values("group")) {
    choose("group", group);
    for (const show of values("show")) {
      choose("show", show);
      const below = { need: "need", feature: "feature", hungry: "month" }[show];
      const field = below && !document.getElementById(`${below}-field`).hidden;
      for (const option of field ? values(below) : [null]) {
        if (field) choose(below, option);
        const items = [...document.querySelectorAll("#legend-list li")].map((one) =>
          [...one.children].map((part) => part.textContent).join(" "));
        const rows = document.querySelectorAll("#plots-body tr").length;
        const note = text("legend-note");
        seen.push({ group, show, option, title: text("legend-title"), items, note, rows });
      }
    }
  }
  return seen;
}"""


def test_every_choice_draws(page):
    """Every group, layer, need, feature and month: the legend's classes add up to all plots."""
    tab = page.page
    for box in ("network", "breaks", "barriers", "labels"):
        tab.locator(f"#{box}").set_checked(False)
        tab.locator(f"#{box}").set_checked(True)
    seen = tab.evaluate(EVERY_CHOICE)
    # Four groups ("all" among them) x (52 features, 13 months, 4 single layers), the needs of
    # three groups with their place to live, and one count over all groups; and the gardens.
    needs = (2 + 1) + (4 + 1) + (4 + 1)
    assert len(seen) == 4 * (52 + 13 + 4) + needs + 1 + 4
    for one in seen:
        assert one["rows"] == 48
        if one["show"] == "gardens":
            continue
        if one["note"].startswith("All plots are alike"):
            assert not [item for item in one["items"] if re.search(r"\d+ plots?$", item)]
            continue
        counted = [item for item in one["items"] if re.search(r"\d+ plots?$", item)]
        classes = [item for item in counted if "nobody has seen" not in item]
        total = sum(int(re.search(r"(\d+) plots?$", item)[1]) for item in classes)
        assert total == 48, one
    assert len({one["title"] for one in seen}) == 52 + 1 + 4 * 13 + 3 * 3 + needs + 4 + 1
    quiet(page)


def test_the_map_is_drawn_where_the_plots_are(page, assessment):
    """Each plot lies where pyproj puts its corners, and has the tint of its class."""
    tab = page.page
    tab.select_option("#show", "connected")
    for box in ("labels", "barriers", "network"):
        tab.locator(f"#{box}").set_checked(False)
    colours_seen = picture(page, "#map_street").getcolors(1_000_000)
    assert len(colours_seen) > 60
    boxes = tab.eval_on_selector_all(
        "path[role=button]",
        "all => all.map(p => p.getBoundingClientRect()).map(b => [b.x, b.y, b.width, b.height])",
    )
    plots = assessment.neighbourhood.plots
    assert len(boxes) == len(plots)
    corner = tab.locator("#map_street").bounding_box()
    for drawn, (west, south, east, north) in zip(
        boxes, plots.to_crs("EPSG:4326").bounds.to_numpy().tolist(), strict=True
    ):
        top, bottom = (
            tab.evaluate("([lat, lon]) => map_street.latLngToContainerPoint([lat, lon])", at)
            for at in ([north, west], [south, east])
        )
        assert drawn[0] - corner["x"] == pytest.approx(top["x"], abs=2.5)
        assert drawn[1] - corner["y"] == pytest.approx(top["y"], abs=2.5)
        assert drawn[2] == pytest.approx(bottom["x"] - top["x"], abs=4)
        assert drawn[3] == pytest.approx(bottom["y"] - top["y"], abs=4)
    shot = Image.open(io.BytesIO(tab.screenshot())).convert("RGB")
    answer = next(iter(assessment.groups.values()))
    near = 0
    for (x, y, wide, high), plot in zip(boxes, answer.component.index, strict=True):
        number = answer.component[plot]
        tint = colours.ABSENT if number < 0 else colours.CATEGORIES[number]
        around = {
            shot.getpixel((int(x + wide * 0.35) + dx, int(y + high * 0.85) + dy))
            for dx in range(4)
            for dy in range(4)
        }
        near += rgb(tint.base) in around
    assert near >= 44  # a few squares may hit an outline or a sign


def test_many_plots_are_painted_and_can_be_clicked(make, open_page):
    """A canvas of 25 x 27 plots: the plot in the middle of the map opens its own card."""
    made = make(675, groups=("mason_bee",), a_row=25)
    opened = open_page(map_page(made))
    tab = opened.page
    assert tab.locator("path[role=button]").count() == 0
    assert tab.locator("#map_street canvas").count() > 0
    assert len(picture(opened, "#map_street").getcolors(1_000_000)) > 60
    box = tab.locator("#map_street").bounding_box()
    scale = tab.evaluate(
        "() => { const b = map_street.getBounds(), s = map_street.getSize();"
        " return b.getNorthWest().distanceTo(b.getNorthEast()) / s.x; }"
    )
    # A little off the middle, which lies on a fence.
    x, y = box["x"] + box["width"] / 2 + 1, box["y"] + box["height"] / 2 + 3
    tab.mouse.click(x, y)
    plots = made.neighbourhood.plots
    west, south, east, north = plots.total_bounds
    middle = Point((west + east) / 2 + scale, (south + north) / 2 - 3 * scale)
    hit = plots[plots.distance(middle) < 2 * scale]
    assert clean(tab.inner_text("#card-kicker")).split(" · ")[0] in set(hit["label"])
    tab.keyboard.press("Escape")
    assert "table" in tab.locator("#map-how").text_content()
    assert tab.inner_text("#plots-count") == "Plots 1 to 100 of 675"
    tab.click("#page-on")
    assert tab.inner_text("#plots-count") == "Plots 101 to 200 of 675"
    quiet(opened)


def clean(words: str) -> str:
    return words.replace("\u2068", "").replace("\u2069", "")


def test_the_card_tells_what_stands_there_and_next_door(make, open_page):
    """Plot 1 has a pond (size not stated, not sure); the next is on plot 4, three plots of 6 m
    along: 18 m from fence to fence of plot 1 less its own 6 m, so 12 m. Mud (pond rims) counts
    within 50 m (knowledge tables)."""
    made = make(bare=True, groups=("mason_bee",))
    opened = open_page(map_page(made))
    tab = opened.page
    tab.click('[data-plot="0"]')
    assert tab.evaluate("document.activeElement.id") == "card-title"
    tab.click("#card-whole > summary")
    words = clean(tab.inner_text("#card"))
    assert "Wildlife pond, no fish: 3 m², size assumed, not sure" in words
    assert "Here: wildlife pond, no fish" in words
    assert "Wildlife pond, no fish: Street 1 4 back, 12 m" in words
    assert "Small children drown" in words
    answer = made.groups["mason_bee"]
    for sheet in answer.needs:
        met = f"{float(f'{sheet.met.iloc[0] * 100:.2g}'):g} %"
        row = tab.locator(".balance tr", has_text=sheet.need.name).first.inner_text()
        assert met in row
        assert f"for {float(f'{sheet.enough.iloc[0]:.2g}'):g} home" in row
    scarcest = tab.locator(".balance tr.scarcest").inner_text()
    assert "scarcest" in scarcest
    assert "Place to live" in scarcest
    hungry = answer.needs[0].hungry.iloc[0]
    assert tab.locator(".months .hungry").count() == int(hungry.sum())
    tab.keyboard.press("Escape")
    assert not tab.locator("#card").is_visible()
    assert tab.evaluate("document.activeElement.dataset.plot") == "0"
    quiet(opened)


def test_what_is_not_known_is_told(page):
    """Every seventh plot is wholly unknown in the made-up data; plot 8 is one."""
    page.page.click('[data-plot="7"]')
    page.page.click("#card-whole > summary")
    words = clean(page.page.inner_text("#card"))
    assert "Nobody has told us yet what is here." in words
    assert "48 of 48 features are not known here" in words
    assert "This plot: 48 features not known" in words
    assert "Not known at" in words


def test_the_neighbourhood_in_words(page, assessment):
    words = clean(page.page.inner_text("#street-words"))
    assert "an index of room, not a count of animals" in words
    answer = assessment.groups["mason_bee"]
    for total in (answer.homes, answer.homes_low, answer.homes_high):
        assert f"{float(f'{total.sum():.2g}'):g}" in words
    assert "3 linked parts" in words
    assert "wins 3.4 linked homes" in words
    page.page.click("text=Show 1")
    assert page.page.locator("#breaks").is_checked()
    assert page.page.locator(".break-number").count() >= 1
    page.page.select_option("#group", "-1")
    written(page.page)
    assert page.page.locator("#street-words tbody tr").count() == 3
    quiet(page)


def test_the_table_sorts_and_finds(page, assessment):
    tab = page.page
    homes = assessment.groups["mason_bee"].homes
    tab.click("#plots-head button >> nth=1")
    assert tab.get_attribute("#plots-head th >> nth=1", "aria-sort") == "descending"
    assert tab.get_attribute("#plots-head th >> nth=0", "aria-sort") == "none"
    # The page has two digits of each: where several are most in these, any of them may be first.
    shown = homes.map(lambda value: float(f"{value:.2g}"))
    best = assessment.neighbourhood.plots["label"][shown == shown.max()]
    assert clean(tab.inner_text("#plots-body th >> nth=0")) in set(best)
    tab.click("#plots-head button >> nth=1")
    assert tab.get_attribute("#plots-head th >> nth=1", "aria-sort") == "ascending"
    tab.fill("#find", "street 2 4")
    labels = assessment.neighbourhood.plots["label"].str.lower()
    assert tab.locator("#plots-body tr").count() == labels.str.contains("street 2 4").sum()
    assert "found" in tab.inner_text("#say")
    tab.fill("#find", "no such place")
    assert tab.inner_text("#plots-count") == "No plot of that name."


def test_the_legend_follows_the_choice(page, assessment):
    tab = page.page
    tab.select_option("#show", "feature")
    at = assessment.neighbourhood.answers.features.index("pond")
    tab.select_option("#feature", str(at))
    amount = assessment.neighbourhood.answers.amount[:, at]
    for words, count in (
        ("Not there", (amount == 0).sum()),
        ("Not known", (amount != amount).sum()),  # noqa: PLR0124 - NaN alone differs from itself
    ):
        row = tab.locator("#legend-list li", has_text=re.compile(words, re.IGNORECASE)).first
        assert row.locator(".count").inner_text() == f"{count} plots"
        assert row.locator("svg").count() == 1
    assert tab.evaluate("document.getElementById('legend-list').tagName") == "UL"


NAMES = (
    "all => all.map((one) => [one.dataset.before || '', getComputedStyle(one).color,"
    " getComputedStyle(one).backgroundColor])"
)


def test_names_stay_as_they_are_when_another_animal_is_chosen(page):
    """A name is made anew by no shade, and stands on paper of its own: text, so 4.5 to 1 at least
    (WCAG 2.2, success criterion 1.4.3)."""
    tab = page.page
    tab.select_option("#show", "homes")
    tab.eval_on_selector_all(".plot-label", "all => all.forEach((one) => (one.dataset.before = 1))")
    for group in ("0", "1", "2"):
        tab.select_option("#group", group)
        found = tab.eval_on_selector_all(".plot-label", NAMES)
        assert len(found) >= 24
        assert sum(before == "1" for before, _, _ in found) >= 0.9 * len(found)
        for _, *pair in found:
            ink, ground = (
                "#" + "".join(f"{int(part):02x}" for part in re.findall(r"\d+", colour)[:3])
                for colour in pair
            )
            assert colours.contrast(ink, ground) >= 4.5


def test_paper_has_the_map_and_every_row(make, open_page):
    """700 plots: on paper the table has all its rows, the map is drawn, the controls are gone;
    afterwards the screen is as it was."""
    opened = open_page(map_page(make(640, groups=("mason_bee",), a_row=32)))
    tab = opened.page
    tab.evaluate(
        "window.addEventListener('beforeprint', () => { window.rows ="
        " document.querySelectorAll('#plots-body tr').length; window.drawn ="
        " document.querySelectorAll('#map_street path.leaflet-interactive').length; })"
    )
    pdf = tab.pdf(format="A4", print_background=True)
    assert pdf.startswith(b"%PDF")
    assert len(re.findall(rb"/Type\s*/Page[^s]", pdf)) >= 6
    assert tab.evaluate("[window.rows, window.drawn]") == [640, 640]
    # The page hears that printing is over some time after the paper is there.
    expect(tab.locator("#plots-body tr")).to_have_count(100)
    expect(tab.locator("#map_street path.leaflet-interactive")).to_have_count(0)
    tab.emulate_media(media="print")
    for gone in ("#group", ".tools", "#find"):
        assert not tab.locator(gone).is_visible()
    for kept in ("h1", "#map_street", "#legend-list", "#plots-body", "footer"):
        assert tab.locator(kept).is_visible()
    quiet(opened)


def test_tiles_are_asked_for_only_where_wished_and_credited(assessment, open_page):
    """With tiles the page asks their server and no other; the credit stays in sight."""
    opened = open_page(map_page(assessment, tiles="openstreetmap"))
    if not opened.fetched:
        opened.page.wait_for_event("request")
    assert all(url.startswith("https://tile.openstreetmap.org/") for url in opened.fetched)
    assert not [one for one in opened.complaints if "Content Security Policy" in one]
    credit = opened.page.locator(".leaflet-control-attribution")
    assert credit.is_visible()
    assert "OpenStreetMap" in credit.inner_text()
    assert "asks the network" in opened.page.inner_text("header")


def test_repeated_labels_and_bare_numbers_carry_their_street(make, open_page):
    made = make(24, groups=("mason_bee",))
    plots = made.neighbourhood.plots.copy()
    plots["label"] = (
        [f"{at + 1}" for at in range(12)]
        + ["Corner", "Corner", "Pond end"]
        + [f"Plot {at}" for at in range(9)]
    )
    hood = dataclasses.replace(made.neighbourhood, plots=plots)
    opened = open_page(map_page(dataclasses.replace(made, neighbourhood=hood)))
    names = [clean(one) for one in opened.page.locator(".plot-name").all_inner_texts()]
    assert "Street 1 7" in names
    assert names.count("Street 1 Corner") == 2
    assert "Pond end" in names
