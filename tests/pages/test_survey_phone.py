"""The phone page in a real browser: 360 x 740, touch, no network, opened from disk."""

import dataclasses
import json
import re
from datetime import date, datetime
from itertools import pairwise

import numpy as np
import pytest
from playwright.sync_api import expect
from worlds.axe_findings import violations

from patchnet.pages.survey import SurveyRound, survey_phone_page
from patchnet.survey.merge import merge_returns

pytestmark = pytest.mark.browser

NO_DATABASE = "Object.defineProperty(window, 'indexedDB', { value: undefined });"
NO_STORAGE = (
    NO_DATABASE + "Object.defineProperty(window, 'localStorage', "
    "{ get() { throw new DOMException('none', 'SecurityError'); } });"
)
PAYLOADS = (
    "<script>window.hit = 1</script>",
    "<img src=x onerror='window.hit = 2'>",
    "</script><script>window.hit = 3</script>",
    '"><svg onload="window.hit = 4">',
    "\u202eesrever {plot} $& \u2028",
)


OPTIONS = {
    "viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True,
    "offline": True, "accept_downloads": True,
}  # fmt: skip


class Phone:
    """A phone with the page on it.

    Closing puts every tab away and leaves what was kept, as in one browser that stays open. With a
    `profile` folder the browser itself is closed and started anew: what is kept outlives it.
    """

    def __init__(self, browser, folder, html, profile=None, **started_with):
        self.browser, self.profile, self.started_with = browser, profile, started_with
        self.path = folder / "phone.html"
        self.path.write_text(html, encoding="utf-8")
        self.complaints, self.requests = [], []
        self.context = None

    def open(self, script=None):
        if self.context is None:
            if self.profile is None:
                self.context = self.browser.new_context(**OPTIONS)
            else:
                kind = self.browser.browser_type
                self.context = kind.launch_persistent_context(
                    self.profile, **self.started_with, **OPTIONS
                )
            self.context.set_default_timeout(8000)
            if script:
                self.context.add_init_script(script)
        return self.tab()

    def tab(self):
        page = self.context.new_page()
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", lambda request: self.requests.append(request.url))
        page.goto(self.path.as_uri())
        page.wait_for_selector("html.drawn")
        return page

    def close(self):
        # A thumb is no quicker than this: the browser takes over what a page has stored by itself.
        for page in self.context.pages:
            page.wait_for_timeout(400)
        if self.profile is not None:
            self.end()
        else:
            for page in self.context.pages:
                page.close()

    def end(self):
        if self.context:
            self.context.close()
        self.context = None


@pytest.fixture
def phone(browser, tmp_path, survey_street):
    made = Phone(browser, tmp_path, survey_phone_page(survey_street))
    yield made
    made.end()


@pytest.fixture
def own_phone(browser, chromium, browser_args, tmp_path, survey_street):
    """A phone whose browser is shut down and started again."""
    made = Phone(
        browser, tmp_path, survey_phone_page(survey_street), tmp_path / "profile",
        executable_path=chromium, args=browser_args,
    )  # fmt: skip
    yield made
    made.end()


def row(page, feature):
    return page.locator(f"li.question:has(#q-{feature})")


def press(page, feature, answer):
    """Tap an answer; what is not among the first questions stands under More."""
    if (
        not row(page, feature).is_visible()
        and page.locator("#more-part").get_attribute("open") is None
    ):
        page.tap("#more-words")
    row(page, feature).locator(f"[data-answer='{answer}']").tap()


def about(page):
    """Open what is asked of the household and from where it was seen."""
    if page.locator("#household-part").get_attribute("open") is None:
        page.locator("#household-part summary").tap()


def handed_over(page):
    page.evaluate("document.getElementById('to-over').click()")
    with page.expect_download() as waiting:
        page.tap("#save")
    name = waiting.value.suggested_filename
    with open(waiting.value.path(), encoding="utf-8") as file:  # noqa: PTH123 - a path of playwright
        return name, json.load(file)


def test_a_street_is_filled_in_closed_opened_handed_over_and_merged(
    own_phone, survey_street, survey_file, tmp_path
):
    """Every answer that was tapped on three plots is in the merged street, and nothing else."""
    page = own_phone.open()
    rng = np.random.default_rng(20261125)
    asked = [
        key for key, one in survey_street.knowledge.survey_questions.items() if one.from_street
    ]
    tapped = {}
    page.fill("#who", "Robin")
    assert page.inner_text("#go") == "Next: 1"
    page.tap("#go")
    for plot in ("1", "3", "5"):
        assert page.inner_text("#plot-name").startswith(f"{plot} ")
        page.wait_for_timeout(500)  # the page goes to the top of the next plot first, as eyes do
        chosen = asked if plot == "1" else rng.choice(asked, 8, replace=False).tolist()
        for feature in chosen:
            answer = str(rng.choice(["there", "not there", "cannot see"]))
            press(page, feature, answer)
            amount, sure = None, True
            if answer == "there" and rng.random() < 0.5:
                row(page, feature).locator(".step").last.tap()
                amount = 1.0
            if answer == "there" and rng.random() < 0.4:
                row(page, feature).get_by_text("Not sure", exact=True).tap()
                sure = False
            tapped[plot, feature] = (answer, amount, sure)
        if plot == "3":
            about(page)
            page.tap("#consent-yes")
        if plot == "5":
            own_phone.close()  # in the middle of a plot, without a word to the page
            page = own_phone.open()
            assert f"{len(tapped)} answers" in page.inner_text("#say")
            page.get_by_role("button", name="5 · 5 Alder Row").tap()
        page.tap("#go")
    name, file = handed_over(page)
    assert re.fullmatch(r"Alder-Row-\d{4}-\d\d-\d\d-[0-9a-f]{8}\.return\.json", name)
    assert set(file) == {
        "patchnet_return", "id", "street", "surveyor", "seen_from", "began", "saved",
        "statements", "drawn", "consent",
    }  # fmt: skip
    assert file["patchnet_return"] == 1
    assert file["street"] == {"id": survey_street.street, "name": "Alder Row"}
    assert (file["surveyor"], file["seen_from"]) == ("Robin", "street")
    assert datetime.fromisoformat(file["began"]) <= datetime.fromisoformat(file["saved"])
    assert datetime.fromisoformat(file["saved"]).tzinfo is not None
    path = tmp_path / name
    path.write_text(json.dumps(file), encoding="utf-8")
    merged = merge_returns(
        survey_file,
        [path],
        knowledge=survey_street.knowledge,
        today=date.today(),  # noqa: DTZ011
    )
    assert merged.faults == ()
    found = {
        (one.plot, one.feature): (
            one.answer,
            one.amount if one.amount > 0 else None,
            bool(one.sure),
        )
        for one in merged.records.statements.itertuples()
    }
    assert found == tapped
    assert dict(merged.consent) == {"3": "yes"}
    assert own_phone.complaints == []
    assert [
        url for url in own_phone.requests if not url.startswith(("file:", "blob:", "data:"))
    ] == []


def test_every_step_can_be_undone_and_put_back(phone):
    """What is on the page before each step is there again after its undo, back to nothing."""
    page = phone.open()
    page.tap("#go")
    state = (
        "() => [...document.querySelectorAll('[aria-pressed=true]')].map((one) => one.id || "
        "one.parentElement.getAttribute('aria-labelledby') + one.dataset.answer + one.textContent)"
        ".concat([...document.querySelectorAll('.much input')].map((one) => "
        "one.closest('[hidden]') ? '' : one.value))"
    )
    steps = [
        lambda: press(page, "pond", "there"),
        row(page, "pond").locator(".step").last.tap,
        lambda: row(page, "pond").get_by_text("Not sure", exact=True).tap(),
        lambda: press(page, "bird_bath", "cannot see"),
        lambda: press(page, "bird_bath", "there"),
        lambda: press(page, "bird_bath", "there"),  # a second tap takes the answer off
        lambda: page.get_by_text("None of the others (Trees)").tap(),
        lambda: [about(page), page.tap("#consent-no")],
    ]
    seen = [page.evaluate(state)]
    for step in steps:
        step()
        seen.append(page.evaluate(state))
    assert len({json.dumps(one) for one in seen}) >= 8
    for before in reversed(seen[:-1]):
        page.tap("#undo")
        assert page.evaluate(state) == before
    assert page.is_disabled("#undo")
    for after in seen[1:]:
        page.tap("#redo")
        assert page.evaluate(state) == after
    assert page.is_disabled("#redo")
    # Undone and then closed: it stays undone.
    page.tap("#undo")
    phone.close()
    page = phone.open()
    page.get_by_role("button", name="1 · 1 Alder Row").tap()
    assert page.evaluate(state) == seen[-2]
    assert phone.complaints == []


def draw_square(page, size):
    """Tap the corners of a square round the middle of the map."""
    box = page.locator("#draw-map").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    for dx, dy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        page.touchscreen.tap(x + dx * size, y + dy * size)


def test_a_drawing_lies_where_and_is_as_large_as_it_was_drawn(
    phone, survey_street, survey_file, tmp_path
):
    """Two ways to the area: what the page says of the drawing, and the shape that comes out of
    the file, brought into the map's own metres by PROJ and measured by GEOS. A hedge drawn with a
    finger along the plot likewise; both lie in the plot."""
    page = phone.open()
    page.tap("#go")
    press(page, "pond", "there")
    row(page, "pond").get_by_text("Draw on the map").tap()
    assert page.is_disabled("#go")
    draw_square(page, 12)
    page.touchscreen.tap(20, 200)
    crossing = page.inner_text("#say")
    page.tap("#undo")
    assert "Drawn" in page.inner_text("#say") != crossing
    page.tap("#go")
    pond = float(re.search(r"Drawing 1: ([\d.]+) m²", row(page, "pond").text_content())[1])
    press(page, "hedge_native", "there")
    row(page, "hedge_native").get_by_text("Draw on the map").tap()
    box = page.locator("#draw-map").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch = page.context.new_cdp_session(page)

    def finger(kind, *points):
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": list(points)})

    finger("touchStart", {"x": x, "y": y - 60})
    for step in range(1, 13):
        finger("touchMove", {"x": x, "y": y - 60 + step * 10})
    finger("touchEnd")
    expect(page.locator("#say")).to_contain_text("Drawn")
    page.locator("#go").press("Enter")
    expect(page.locator("#screen-plot")).to_be_visible()
    hedge = float(re.search(r"Drawing 1: ([\d.]+) m", row(page, "hedge_native").text_content())[1])
    phone.close()
    page = phone.open()
    name, file = handed_over(page)
    path = tmp_path / name
    path.write_text(json.dumps(file), encoding="utf-8")
    merged = merge_returns(
        survey_file,
        [path],
        knowledge=survey_street.knowledge,
        today=date.today(),  # noqa: DTZ011
    )
    assert merged.faults == ()
    drawn = merged.records.drawn.set_index("feature")
    assert float(drawn.loc["pond", "amount"]) == pytest.approx(pond, rel=0.02, abs=0.05)
    assert float(drawn.loc["hedge_native", "amount"]) == pytest.approx(hedge, rel=0.02, abs=0.05)
    plot = survey_street.neighbourhood.plots.geometry["1"]
    assert drawn.geometry.within(plot.buffer(0.1)).all()
    ring = file["drawn"][0]["geometry"]["coordinates"][0]
    assert ring[0] == ring[-1]
    turns = sum((b[0] - a[0]) * (b[1] + a[1]) for a, b in pairwise(ring))
    assert turns < 0  # counter-clockwise, RFC 7946 section 3.1.6
    assert phone.complaints == []


def test_a_drawing_off_the_plot_or_crossing_itself_is_not_kept(phone):
    page = phone.open()
    page.tap("#go")
    press(page, "pond", "there")
    row(page, "pond").get_by_text("Draw on the map").tap()
    box = page.locator("#draw-map").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    for dx, dy in ((-20, -20), (20, 20), (20, -20), (-20, 20)):
        page.touchscreen.tap(x + dx, y + dy)
    assert "crosses itself" in page.inner_text("#say")
    assert page.is_disabled("#go")
    for _ in range(4):
        page.tap("#undo")
    assert page.is_disabled("#undo")
    for dx, dy in ((-150, -100), (-140, -100), (-140, -90)):
        page.touchscreen.tap(x + dx, y + dy)
    assert "does not touch plot 1" in page.inner_text("#say")
    assert page.is_disabled("#go")
    for _ in range(3):
        page.tap("#undo")
    # Without a finger: the map moves under the cross, and each corner is a button.
    for way in ("", "draw-east", "draw-north"):
        if way:
            page.tap("#draw-closer")
            page.tap("#draw-closer")
            page.tap(f"#{way}")
        page.tap("#draw-corner")
    page.tap("#go")
    assert "Drawing 1" in row(page, "pond").text_content()


@pytest.mark.parametrize(
    ("script", "words"),
    [(None, "Kept on this device"), (NO_DATABASE, "small store"), (NO_STORAGE, "Not kept")],
    ids=["database", "local", "none"],
)
def test_the_page_says_truly_whether_answers_are_kept(phone, script, words):
    """Whatever the browser lets it keep: after closing, answers are there exactly if it said so;
    where it cannot keep them they can still be handed over."""
    page = phone.open(script)
    assert words in page.inner_text("#kept")
    kept = words != "Not kept"
    assert page.locator("#not-kept").is_visible() is not kept
    page.tap("#go")
    press(page, "pond", "there")
    _, file = handed_over(page)
    assert [one["feature"] for one in file["statements"]] == ["pond"]
    phone.close()
    page = phone.open(script)
    assert ("1 answer" in page.inner_text("#say")) is kept
    assert phone.complaints == []


def test_a_step_caught_by_closing_is_not_lost(own_phone):
    """The page is closed before the database has written: the step waits in the second store."""
    page = own_phone.open()
    page.tap("#go")
    page.evaluate(
        "() => { IDBObjectStore.prototype.add = function () { return this.get(['', 0]); };"
        "Object.defineProperty(IDBTransaction.prototype, 'oncomplete', { set() {} }); }"
    )
    press(page, "pond", "there")
    assert "Writing" in page.inner_text("#kept")
    own_phone.close()
    page = own_phone.open()
    assert "1 answer" in page.inner_text("#say")
    _, file = handed_over(page)
    assert [one["feature"] for one in file["statements"]] == ["pond"]


def test_two_open_pages_do_not_lose_each_others_answers(phone):
    first = phone.open()
    second = phone.tab()
    for page, feature in ((first, "pond"), (second, "bird_bath"), (first, "shrub")):
        page.bring_to_front()
        if page.locator("#screen-street").is_visible():
            page.tap("#go")
        press(page, feature, "there")
        expect(page.locator("#kept")).to_have_text("Kept on this device")
    phone.close()
    page = phone.open()
    _, file = handed_over(page)
    assert {one["feature"] for one in file["statements"]} == {"pond", "bird_bath", "shrub"}


def test_a_saved_file_goes_on_another_phone(phone, browser, tmp_path, survey_street):
    page = phone.open()
    page.fill("#who", "Robin")
    page.tap("#go")
    press(page, "pond", "there")
    row(page, "pond").get_by_text("Note, photo").tap()
    row(page, "pond").get_by_label("Note").fill("behind the wall")
    row(page, "pond").get_by_label("Name of a photo").fill("p1.jpg")
    about(page)
    page.select_option("#plot-from", "window")
    press(page, "bird_bath", "not there")
    about(page)
    page.tap("#consent-yes")
    name, file = handed_over(page)
    said = {one["feature"]: one for one in file["statements"]}
    assert said["pond"]["note"] == "behind the wall"
    assert said["pond"]["photo"] == "p1.jpg"
    assert said["bird_bath"]["seen_from"] == "window"
    phone.close()
    path = tmp_path / name
    path.write_text(json.dumps(file), encoding="utf-8")
    (tmp_path / "other").mkdir()
    other = Phone(browser, tmp_path / "other", survey_phone_page(survey_street))
    page = other.open()
    page.tap("#to-over")
    for bad, words in (
        ("{", "cannot be read"),
        ("[]", "not a return"),
        ('{"patchnet_return":1}', "another street"),
    ):
        broken = tmp_path / "bad.json"
        broken.write_text(bad, encoding="utf-8")
        page.set_input_files("#read-in", broken)
        expect(page.locator("#say")).to_contain_text(words)
    page.set_input_files("#read-in", path)
    expect(page.locator("#say")).to_contain_text("2 answers")
    _, again = handed_over(page)
    assert {**again, "saved": ""} == {**file, "saved": ""}
    # A new round keeps the old one on the device until it is deleted for good.
    page.tap("#new-round")
    page.tap("#to-over")
    expect(page.locator("#earlier-list")).to_contain_text("2 answers")
    page.tap("#earlier-list button:last-child")
    page.get_by_text("Delete for good").tap()
    page.wait_for_selector("#earlier", state="hidden")
    assert other.complaints == []
    other.end()


def test_a_phone_that_shares_no_json_shares_text(phone, survey_street, survey_file, tmp_path):
    """Some browsers share only files of well-known kinds; the merged street is the same."""
    page = phone.open(
        "navigator.canShare = ({ files }) => files[0].type === 'text/plain';"
        "navigator.share = async ({ files }) => {"
        "  window.given = [files[0].name, await files[0].text()]; };"
    )
    page.tap("#go")
    press(page, "pond", "there")
    page.evaluate("document.getElementById('to-over').click()")
    page.tap("#share")
    expect(page.locator("#say")).to_contain_text("Shared")
    name, text = page.evaluate("window.given")
    assert name.endswith(".return.json.txt")
    (tmp_path / name).write_text(text, encoding="utf-8")
    merged = merge_returns(
        survey_file,
        [tmp_path / name],
        knowledge=survey_street.knowledge,
        today=date.today(),  # noqa: DTZ011
    )
    assert merged.faults == ()
    assert merged.records.statements["feature"].tolist() == ["pond"]


def test_axe_finds_nothing_and_targets_are_large(phone):
    page = phone.open()

    def check():
        assert violations(page, targets=True) == []
        small = (
            "() => [...document.querySelectorAll('button, select, input, summary, textarea')]"
            ".filter((one) => one.checkVisibility()).map((one) => [one.id || one.textContent, "
            "one.getBoundingClientRect()]).filter(([, box]) => box.height < 44 || box.width < 44)"
            ".map(([name]) => name)"
        )
        assert page.evaluate(small) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 360

    check()
    page.tap("#to-rules")
    check()
    page.tap("#go")
    page.tap("#go")
    about(page)
    page.tap("#household")
    press(page, "pond", "there")
    row(page, "pond").get_by_text("Note, photo").tap()
    check()
    row(page, "pond").get_by_text("Draw on the map").tap()
    check()
    page.tap("#draw-leave")
    page.tap("#plot-back")
    page.tap("#to-over")
    page.locator("#as-text summary").tap()
    check()
    view = page.get_attribute("meta[name=viewport]", "content")
    assert "user-scalable" not in view
    assert "maximum-scale" not in view


def test_a_tap_on_the_map_opens_the_plot_under_it(phone):
    page = phone.open()
    box = page.locator("#street-map").bounding_box()
    # North side 1, 3, 5, 7 from the left, south side 2, 4, 6, 8 under it.
    page.touchscreen.tap(box["x"] + box["width"] * 0.5 + 12, box["y"] + box["height"] * 0.25)
    assert page.inner_text("#plot-name").startswith("5 ")
    assert page.evaluate("document.activeElement.id") == "plot-name"


def test_text_of_the_file_is_text(browser, tmp_path, survey_street):
    hood = survey_street.neighbourhood
    ids = {old: f"{PAYLOADS[at % 5]} {at}" for at, old in enumerate(hood.plots.index)}
    plots = hood.plots.rename(index=ids).assign(
        label=[PAYLOADS[at % 5] for at in range(8)], kind=PAYLOADS[1], street=PAYLOADS[2]
    )
    know = survey_street.knowledge
    features = {
        key: dataclasses.replace(one, name=f"{PAYLOADS[at % 5]} {at}")
        for at, (key, one) in enumerate(know.features.items())
    }
    laced = SurveyRound(
        dataclasses.replace(
            hood, plots=plots, credits=PAYLOADS, roads=hood.roads.assign(name=PAYLOADS[0])
        ),
        dataclasses.replace(know, features=features),
        title=" ".join(PAYLOADS),
        contact=PAYLOADS[0],
        keep_until=PAYLOADS[1],
    )
    phone = Phone(browser, tmp_path, survey_phone_page(laced))
    page = phone.open()
    page.fill("#who", PAYLOADS[1])
    page.tap("#go")
    for feature in ("pond", "bird_bath"):
        press(page, feature, "there")
    row(page, "pond").locator("button", has_text="Note, photo").tap()
    row(page, "pond").locator(".extra input").first.fill(PAYLOADS[0])
    page.tap("#undo")
    page.tap("#plot-back")
    page.tap("#to-rules")
    _, file = handed_over(page)
    assert file["surveyor"] == PAYLOADS[1]
    page.locator("#as-text summary").tap()
    assert page.evaluate("window.hit") is None
    assert page.locator("img, svg, script:not([id])").count() == 1  # the page's own script
    assert "<script>window.hit = 1</script>" in page.inner_text("h1") or not page.is_visible("h1")
    assert phone.complaints == []
    phone.end()


def test_three_hundred_plots_make_a_small_page(make, knowledge):
    """At most 1.5 MB, the size that a phone gets by message without trouble; and the same text
    each time."""
    survey = SurveyRound(make(300, a_row=30).neighbourhood, knowledge)
    page = survey_phone_page(survey)
    assert len(page.encode("utf-8")) <= 1_500_000
    assert survey_phone_page(SurveyRound(survey.neighbourhood, knowledge)) == page


def test_what_is_known_already_is_not_on_the_page(make, knowledge):
    """Nobody sees the answers of others before looking: another state of knowledge, same page."""
    known = SurveyRound(make(24).neighbourhood, knowledge)
    blank = SurveyRound(make(24, bare=True).neighbourhood, knowledge)
    assert survey_phone_page(known) == survey_phone_page(blank)
