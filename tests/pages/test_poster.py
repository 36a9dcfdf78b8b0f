"""The poster: one page, for whom it says, with nothing of a single household where it is public."""

import dataclasses
import functools
import html
import re

import numpy as np
import pytest
from worlds.axe_findings import violations

from patchnet.core.errors import CannotWrite, WrongUse
from patchnet.pages.kit.inline import outside_addresses
from patchnet.pages.kit.story_words import story
from patchnet.pages.privacy import assessment_for
from patchnet.pages.public_view import TOGETHER, public_ground
from patchnet.pages.sheets import poster as module
from patchnet.pages.sheets.poster import poster, write_poster
from patchnet.plan.most_help import most_help

PAYLOAD = '<img src=x onerror="alert(1)">\'&'
SIZES = {False: (595, 842), True: (842, 1191)}


@pytest.fixture(scope="module")
def group(walked):
    return assessment_for(walked, "group")


@pytest.fixture(scope="module")
def public(walked, everybody):
    return everybody(walked)


@pytest.fixture(scope="module")
def found_once():
    return functools.cache(most_help)


@pytest.fixture
def helped(found_once, monkeypatch):
    """What would help is found once for each answer, for posters that differ in other things."""
    monkeypatch.setattr(module, "most_help", found_once)
    return found_once


def said(page):
    inside = page[page.index("<main") :]
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", inside)).split())


def test_it_tells_the_story_and_when_people_meet(group, helped):
    page = said(poster(group, meet="Saturday 10 am, the Green"))
    told = story(helped(group), group)
    assert told.headline in page
    assert told.why in page
    for thing in told.things:
        assert thing.title in page
        for words in thing.cautions:
            assert page.count(words) >= 1
    for room in told.rooms:
        assert room.animal in page
    assert "Saturday 10 am, the Green" in page
    assert "Saturday" not in said(poster(group))


def test_numbers_on_the_drawing_are_those_of_the_things(group, helped):
    page = poster(group)
    placed = [one.number for one in story(helped(group), group).things if one.point is not None]
    assert placed
    drawn = [int(one) for one in re.findall(r'<g class="do">.*?>(\d)</text></g>', page)]
    assert drawn == placed


def test_its_head_says_whom_it_is_for(group, public, helped):
    assert "not for the lamp post" in said(poster(group))
    assert "not for the lamp post" not in said(poster(public))
    assert "never one household's" in said(poster(public))


def test_a_public_one_marks_no_place_and_draws_no_garden(public, helped):
    """Units are plain ground; whatever is drawn with a motif lies on land that is nobody's."""
    page = poster(public)
    assert 'class="do"' not in page
    assert 'class="number"' not in page
    drawn = public_ground(public.neighbourhood)
    together = (drawn.plots["kind"] == TOGETHER).to_numpy()
    assert together.any()
    assert not together.all()
    assert (drawn.answers.amount[together] == 0).all()
    assert (drawn.plots["label"][together] == "").all()
    land = public.neighbourhood.answers.amount[~together]
    assert np.array_equal(drawn.answers.amount[~together], land, equal_nan=True)
    # What was handed in is as it was.
    assert (public.neighbourhood.answers.amount[together] > 0).any()


def test_without_a_table_there_is_none_for_the_public(walked, tmp_path):
    with pytest.raises(WrongUse, match="remembers what was handed out"):
        write_poster(walked, tmp_path / "poster.html")
    assert not (tmp_path / "poster.html").exists()


def test_a_file_of_others_stays(group, tmp_path):
    path = tmp_path / "poster.html"
    path.write_text("mine")
    with pytest.raises(CannotWrite):
        write_poster(group, path, audience="group")
    assert path.read_text() == "mine"


def test_a_files_name_is_no_title(group):
    hood = dataclasses.replace(group.neighbourhood, name="my secret file.gpkg")
    page = poster(dataclasses.replace(group, neighbourhood=hood))
    assert "my secret file" not in page
    assert "Our road" in said(poster(group, title="Our road"))


def test_what_is_typed_is_text(group, helped):
    page = poster(group, title=PAYLOAD, meet=PAYLOAD)
    assert "<img" not in page
    assert said(page).count(PAYLOAD) == 2
    assert outside_addresses(page) == []


def test_the_same_answer_gives_the_same_bytes(public):
    assert poster(public) == poster(public)


@pytest.mark.browser
@pytest.mark.parametrize("a3", [False, True])
@pytest.mark.parametrize("whom", ["group", "public"])
def test_it_is_one_page_and_anybody_can_read_it(whom, a3, request, helped, browser, tmp_path):
    path = tmp_path / "poster.html"
    answer = request.getfixturevalue(whom)
    path.write_text(poster(answer, meet="Saturday 10 am, the Green", a3=a3), encoding="utf-8")
    context = browser.new_context(viewport={"width": 360, "height": 740}, offline=True)
    page = context.new_page()
    page.goto(path.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert violations(page) == []
    printed = page.pdf(prefer_css_page_size=True, print_background=True)
    context.close()
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 1
    size = re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", printed).groups()
    assert tuple(map(float, size)) == pytest.approx(SIZES[a3], abs=1.5)
