"""The notice for residents: for everybody, one page, three facts and one wish."""

import html
import re

import pytest
from worlds.axe_findings import violations

from patchnet.assess import assess
from patchnet.commands import main as command_line
from patchnet.core.errors import WrongUse
from patchnet.pages.kit.story_words import Room, Story, story
from patchnet.pages.privacy import assessment_for
from patchnet.pages.sheets.residents_notice import facts_of, residents_notice, write_notice
from patchnet.plan.most_help import most_help

PAYLOAD = '<img src=x onerror="alert(1)">\'&'


@pytest.fixture(scope="module")
def public(walked, everybody):
    return everybody(walked)


@pytest.fixture(scope="module")
def short(walked, everybody, knowledge):
    """For the public, of animals for which something is short in the demo."""
    groups = ["mining_bee", "bumblebee", "hoverfly"]
    hood = walked.neighbourhood
    return everybody(assess(hood, knowledge=knowledge, groups=groups, straight=True))


def said(page):
    inside = page[page.index("<main") :]
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", inside)).split())


def test_three_facts_and_one_wish(short):
    page = residents_notice(short, meet="Saturday 10 am")
    told = story(most_help(short), short)
    assert told.headline in said(page)
    assert said(page).count("Our one wish") == 1
    assert told.things[0].title in said(page)
    assert not [one for one in told.things[1:] if one.title in said(page)]
    assert len(facts_of(told)) == 3
    for fact in facts_of(told):
        assert fact in said(page)
    assert "Saturday 10 am" in said(page)


def test_where_no_thing_stands_out_people_are_asked_to_tell(public):
    told = story(most_help(public), public)
    assert told.things == ()
    assert "Tell us what is in your garden." in said(residents_notice(public))


def test_facts_are_grammar():
    rooms = (
        Room("Wren", 0, 1, more=False, about="not even one yet"),
        Room("Robin", 1, 2, more=False, about="about 1"),
        Room("Moth", 10, 0, more=True, about="about 440"),
    )
    assert facts_of(Story("h", "Because.", (), rooms)) == [
        "Because.",
        "Least room: Wren, not even one home yet.",
        "Most room: Moth, about 440 homes.",
    ]
    assert facts_of(Story("h", "", (), rooms[1:2])) == ["Least room: Robin, about 1 home."]
    assert facts_of(Story("h", "", (), ())) == []


def test_it_is_made_of_nothing_but_what_is_public(walked, tmp_path):
    with pytest.raises(WrongUse, match="remembers what was handed out"):
        write_notice(walked, tmp_path / "notice.html")
    with pytest.raises(WrongUse, match="what may be told in public"):
        residents_notice(assessment_for(walked, "group"))


def test_what_is_typed_is_text(public):
    page = residents_notice(public, title=PAYLOAD, meet=PAYLOAD)
    assert "<img" not in page
    assert said(page).count(PAYLOAD) == 2


@pytest.mark.parametrize("more", [["--for", "group"], ["--a3"]])
def test_a_notice_for_a_few_is_refused(more, tmp_path, capsys):
    order = ["poster", "street.gpkg", "--notice", *more, "-o", str(tmp_path / "n.html")]
    assert command_line._run(order) == 2
    assert "leave out --for group and --a3" in capsys.readouterr().err


@pytest.mark.browser
def test_it_is_one_page_and_anybody_can_read_it(public, browser, tmp_path):
    path = tmp_path / "notice.html"
    path.write_text(residents_notice(public, meet="Saturday 10 am"), encoding="utf-8")
    context = browser.new_context(viewport={"width": 360, "height": 740}, offline=True)
    page = context.new_page()
    page.goto(path.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert violations(page) == []
    printed = page.pdf(prefer_css_page_size=True, print_background=True)
    context.close()
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
