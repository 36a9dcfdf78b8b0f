"""What somebody hears who cannot see the map: each task by roles, names and what is announced."""

import re

import pytest
from worlds.page_texts import written
from worlds.story_streets import SURE, answered, row_street

from patchnet.pages.map.map_page import map_page

pytestmark = pytest.mark.browser
PLAIN = f"lawn_short 60; paving 40; {SURE}"
POND = f"pond 4; shrub 20; long_grass 30; {SURE}"


@pytest.fixture
def heard(open_page):
    """A street of six; only what has a role and a name is used of the page."""
    labels = [f"{at + 1} back" for at in range(6)]
    hood = row_street([POND, *[PLAIN] * 5], streets=["Elm Road"] * 6, labels=labels)
    opened = open_page(map_page(answered(hood, ["frog", "bumblebee", "wren"])), at="")
    yield opened.page
    assert opened.complaints == []


def words(text):
    return re.sub(r"[\u2066-\u2069]", "", text)


def announced(tab):
    return words(" ".join(tab.get_by_role("status").all_inner_texts()))


def test_what_is_wrong_and_what_would_help(heard):
    first = heard.get_by_role("heading", level=1)
    assert first.inner_text().endswith(".")
    region = heard.get_by_role("region", name=re.compile("that would help most"))
    things = region.get_by_role("listitem")
    assert things.count() >= 1
    for at in range(things.count()):
        name = things.nth(at).get_by_role("button").get_attribute("aria-label")
        assert name == f"Show {at + 1} on the map"


def test_my_house(heard):
    """Several fit: it says so and waits. One fits: its sheet opens, focus on the first sentence.
    Closed: focus is back in the field."""
    field = heard.get_by_role("combobox", name="Find your house")
    field.fill("Elm Road")
    heard.get_by_role("button", name="Show", exact=True).click()
    assert "6 fit" in announced(heard)
    field.fill("Elm Road 2")
    field.press("Enter")
    title = heard.locator(":focus")
    assert title.evaluate("(one) => one.tagName") == "H2"
    sheet = heard.get_by_role("region", name=title.inner_text(), exact=True)
    assert "Elm Road 2 back" in words(sheet.inner_text())
    lines = sheet.get_by_role("list").first.get_by_role("listitem")
    assert "Wildlife pond at Elm Road 1 back" in words(lines.first.inner_text())
    heads = sheet.get_by_role("heading", level=3).all_inner_texts()
    assert heads[0] == "What is already there near you"
    sheet.get_by_role("button", name="Close").click()
    assert heard.locator(":focus").get_attribute("id") == "find-house"


def test_the_months(heard):
    months = heard.get_by_role("region", name="When flowers run short")
    months.scroll_into_view_if_needed()
    months.get_by_role("button").first.wait_for()
    names = [one.get_attribute("aria-label") or one.inner_text()
             for one in months.get_by_role("button").all()]  # fmt: skip
    assert len(names) == 12
    assert [one[:3] for one in names[:3]] == ["Jan", "Feb", "Mar"]
    assert len(set(names)) == 12


QUICKLY = """() => new Promise((done) => {
  const say = document.getElementById("say");
  const heard = [];
  new MutationObserver(() => {
    const caption = document.getElementById("plots-caption").textContent;
    heard.push([say.textContent, caption]);
    setTimeout(() => done(heard), 300);
  }).observe(say, { childList: true, characterData: true, subtree: true });
  const field = document.getElementById("group");
  for (const at of ["0", "1", "2"]) {
    field.value = at;
    field.dispatchEvent(new Event("change", { bubbles: true }));
  }
  if (!document.querySelector("[aria-busy=true]")) done("written too early");
})"""


def test_three_animals_quickly_are_told_once_when_the_words_stand(heard):
    """The last one alone is announced, and then the table already says the same."""
    heard.get_by_text("Look closer").click()
    heard.get_by_role("combobox", name="Show").select_option(index=1)
    written(heard)
    [[said, caption]] = heard.evaluate(QUICKLY)
    assert caption.startswith("Wren")
    assert caption in said


def test_one_animal_and_the_table(heard):
    heard.get_by_text("Look closer").click()
    heard.get_by_role("combobox", name="Animal").select_option(label="Common frog")
    heard.get_by_role("combobox", name="Show").select_option(index=1)
    written(heard)
    assert "Common frog" in announced(heard)
    table = heard.get_by_role("table").filter(
        has=heard.get_by_role("button", name="Elm Road 1 back")
    )
    assert table.get_by_role("row").count() == 7
    assert table.get_by_role("columnheader").count() >= 2
    table.get_by_role("button", name="Elm Road 3 back").press("Enter")
    assert heard.locator(":focus").evaluate("(one) => one.id") == "card-title"
