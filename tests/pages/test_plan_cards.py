"""The cards of a whole street: who has one, who has none and why, and going on where it stopped.

Five plots of 12 x 20 m in a row. 2 said no; "a/4" has an id that no file can be named after; 5 is
a planter already, and nothing more fits there.
"""

import dataclasses
import json
import re
import shutil
from pathlib import Path

import geopandas as gpd
import pyogrio
import pytest
import shapely

import patchnet
from patchnet.core.errors import CannotWrite, WrongUse
from patchnet.pages.privacy import for_audience
from patchnet.pages.sheets import plan_cards as module
from patchnet.pages.sheets.plan_card import plan_card
from patchnet.pages.sheets.plan_cards import write_cards
from patchnet.plan.plan_plot import Adviser

KNOW = patchnet.load_knowledge()
IDS = ("1", "2", "3", "a/4", "5")
MONTH = 5
REFUSED = "Canary Cottage"  # what a plot is called that said no


def read(path, **changed):
    columns = {
        "id": IDS,
        "label": ["1 Row", REFUSED, "3 Row", "4 Row", "5 Row"],
        "kind": ["garden_back"] * 4 + ["planter"],
        "consent": ["", "no", "yes", "", ""],
        "seen": "all",
        "features": [
            "lawn_short 120; paving 60", "bare_sunny_soil 9; bee_hotel 3; flower_border 40",
            "lawn_short 150", "lawn_short 90; shrub 12", "",
        ],
    } | changed  # fmt: skip
    plots = gpd.GeoDataFrame(
        columns,
        geometry=[shapely.box(400_000 + 12 * at, 300_000, 400_012 + 12 * at, 300_020)
                  for at in range(len(IDS))],
        crs="EPSG:27700",
    )  # fmt: skip
    pyogrio.write_dataframe(plots, path, layer="plots", driver="GPKG")
    return patchnet.read_neighbourhood(path, knowledge=KNOW)


def assessed(hood):
    return patchnet.assess(hood, knowledge=KNOW, groups=["mason_bee"], straight=True)


@pytest.fixture(scope="module")
def street(tmp_path_factory):
    return read(tmp_path_factory.mktemp("cards") / "street.gpkg")


@pytest.fixture(scope="module")
def answer(street):
    return assessed(for_audience(street, "group", knowledge=KNOW))


@pytest.fixture(scope="module")
def written(answer, tmp_path_factory):
    folder = tmp_path_factory.mktemp("written") / "cards"
    return write_cards(answer, folder, month=MONTH)


@pytest.fixture
def folder(written, tmp_path):
    """The cards as they were written."""
    return Path(shutil.copytree(written.folder, tmp_path / "cards"))


def bytes_in(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.fixture
def made(monkeypatch):
    """Plots whose cards are worked out, as they are."""
    asked = []

    class Watched(Adviser):
        def whole(self, plot, *args, **named):
            asked.append(plot)
            return super().whole(plot, *args, **named)

    monkeypatch.setattr(module, "Adviser", Watched)
    return asked


def test_who_has_a_card_and_who_has_none_and_why(written):
    assert list(written.files) == ["1", "3", "a/4"]
    assert written.files["1"] == "card-1.html"
    assert re.fullmatch(r"card-a-4-[0-9a-f]{8}\.html", written.files["a/4"])
    assert list(written.without) == ["2", "5"]
    assert "said no" in written.without["2"]
    assert "Nothing that fits" in written.without["5"]
    assert (written.kept, written.stacks, written.left) == (0, ("print-1.html",), ())
    index = (written.folder / "index.html").read_text(encoding="utf-8")
    for file in (*written.files.values(), *written.stacks):
        assert f'href="{file}"' in index
    assert ">3 cards<" in index
    assert "5 Row" in index.partition("Plots without a card")[2]


def test_a_card_made_for_the_group_says_where_things_go(written):
    """Outlines are as they are for the group; only those for the public are coarser."""
    card = (written.folder / "card-1.html").read_text(encoding="utf-8")
    assert "coarser" not in card
    assert "In the south-west corner." in card


def test_each_card_says_what_it_says_when_asked_alone(written, answer):
    for plot, file in written.files.items():
        plan = Adviser(answer).whole(plot, month=MONTH)
        alone = plan_card(plan, answer, sun=plan.sun)
        assert (written.folder / file).read_text(encoding="utf-8") == alone


def test_nothing_of_a_household_that_said_no_is_on_a_card(written, street):
    """It alone has bare soil, a bee hotel and a border, which the card for all eyes tells."""
    own = Adviser(assessed(street)).whole("1", month=MONTH)
    assert REFUSED in plan_card(own, assessed(street), sun=own.sun)
    for name in (*written.files.values(), *written.stacks):
        text = (written.folder / name).read_text(encoding="utf-8")
        assert REFUSED not in text


def test_an_answer_for_all_eyes_is_cut_to_the_groups(written, street, tmp_path):
    again = write_cards(assessed(street), tmp_path / "cards", month=MONTH)
    assert bytes_in(again.folder) == bytes_in(written.folder)


def test_more_processes_write_the_same(written, answer, tmp_path):
    again = write_cards(answer, tmp_path / "cards", month=MONTH, processes=2)
    assert bytes_in(again.folder) == bytes_in(written.folder)


def test_stopped_it_goes_on_where_it_was(written, answer, tmp_path, made):
    def stops(plots):
        for at, plot in enumerate(plots):
            if at == 2:
                raise KeyboardInterrupt
            yield plot

    folder = tmp_path / "cards"
    with pytest.raises(KeyboardInterrupt):
        write_cards(answer, folder, month=MONTH, progress=stops)
    assert not (folder / "index.html").exists()
    made.clear()
    again = write_cards(answer, folder, month=MONTH)
    assert made == ["a/4", "5"]
    assert again.kept == 2
    assert bytes_in(folder) == bytes_in(written.folder)
    made.clear()
    assert write_cards(answer, folder, month=MONTH).kept == 3
    assert made == []
    assert bytes_in(folder) == bytes_in(written.folder)


@pytest.mark.parametrize("harm", [
    lambda folder: (folder / "card-3.html").unlink(),
    lambda folder: (folder / ".patchnet-cards.json").write_text("{", encoding="utf-8"),
    lambda folder: (folder / ".patchnet-cards.json").write_text("[1]", encoding="utf-8"),
    lambda folder: (folder / ".patchnet-cards.json").write_bytes(b"\xff\x00"),
    lambda folder: (folder / ".patchnet-cards.json").unlink(),
])  # fmt: skip
def test_what_is_lost_or_damaged_is_made_again(harm, written, answer, folder):
    harm(folder)
    write_cards(answer, folder, month=MONTH)
    assert bytes_in(folder) == bytes_in(written.folder)


@pytest.mark.parametrize("state", ["", "cut off", "somebody's own"])
def test_a_card_that_is_not_as_it_was_written_is_neither_believed_nor_replaced(
    state, answer, folder
):
    (folder / "card-1.html").write_text(state, encoding="utf-8")
    with pytest.raises(CannotWrite, match=r"card-1\.html"):
        write_cards(answer, folder, month=MONTH)
    assert (folder / "card-1.html").read_text(encoding="utf-8") == state


def test_another_street_or_month_makes_all_anew(answer, folder, made):
    write_cards(answer, folder, month=MONTH + 1)
    assert len(made) == 4
    made.clear()
    other = dataclasses.replace(answer, asked=dataclasses.replace(answer.asked, quality="mean"))
    write_cards(other, folder, month=MONTH + 1)
    assert len(made) == 4


def test_who_says_no_later_has_no_card_left(answer, folder):
    later = write_cards(answer, folder, month=MONTH, refused=["3"])
    assert "3" not in later.files
    assert "asked to be forgotten" in later.without["3"]
    assert not (folder / "card-3.html").exists()
    told = json.loads((folder / ".patchnet-files.json").read_text(encoding="utf-8"))
    assert "card-3.html" not in told
    for path in folder.iterdir():
        assert "card-3.html" not in path.read_text(encoding="utf-8")


def test_an_old_card_that_somebody_wrote_on_stays_and_is_told(answer, folder):
    (folder / "card-3.html").write_text("my notes", encoding="utf-8")
    later = write_cards(answer, folder, month=MONTH, refused=["3"])
    assert later.left == ("card-3.html",)
    assert (folder / "card-3.html").read_text(encoding="utf-8") == "my notes"


def test_ids_that_differ_in_capitals_have_files_of_their_own():
    names = module._file_names(["a1", "A1", "b", "x" * 300, "x" * 301, "a/b", "a:b", "ä"])
    assert len({name.lower() for name in names.values()}) == len(names)
    assert names["b"] == "card-b.html"
    assert all(re.fullmatch(r"card-[A-Za-z0-9_-]{1,70}\.html", name) for name in names.values())


def test_no_such_month_and_no_caution_without_draws(answer, tmp_path):
    with pytest.raises(WrongUse, match="13"):
        write_cards(answer, tmp_path / "cards", month=13)
    with pytest.raises(WrongUse, match="draws"):
        write_cards(answer, tmp_path / "cards", cautious=True)
    assert not (tmp_path / "cards").exists()


def test_a_stack_has_every_card_and_no_id_twice(written):
    stack = (written.folder / "print-1.html").read_text(encoding="utf-8")
    ids = re.findall(r'\bid="([^"]*)"', stack)
    assert len(ids) == len(set(ids))
    assert stack.count('<section class="leaf front">') == 3
    for file in written.files.values():
        card = (written.folder / file).read_text(encoding="utf-8")
        assert re.search(r"<h1>.*?</h1>", card)[0] in stack
    assert "<script" not in stack


@pytest.mark.browser
def test_printed_a_card_is_one_sheet_of_two_sides(written, browser):
    page = browser.new_context(offline=True).new_page()
    page.goto((written.folder / "print-1.html").as_uri())
    printed = page.pdf(prefer_css_page_size=True)
    page.context.close()
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 2 * len(written.files)


@pytest.mark.browser
def test_the_list_fits_a_phone_and_leads_to_the_cards(written, browser):
    context = browser.new_context(viewport={"width": 360, "height": 740}, offline=True)
    page = context.new_page()
    page.goto((written.folder / "index.html").as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.get_by_role("link", name="3 Row").click()
    assert page.url.endswith("card-3.html")
    context.close()
