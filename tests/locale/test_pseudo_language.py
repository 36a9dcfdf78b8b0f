"""In a language that puts every text in brackets, nothing that people read stands outside of them.

What may stand outside: what users wrote (names of streets and plots), Latin names, ids and keys,
numbers and units, names of files, commands and options.
"""

import dataclasses
import json
import re
from pathlib import Path

import pyogrio
import pytest
from babel import Locale
from babel.messages import pofile
from click.testing import CliRunner
from worlds.made_scheme import made_scheme
from worlds.page_texts import PageTexts

from patchnet.assess import assess
from patchnet.assess.compare import compare
from patchnet.assess.plot import plot_answer
from patchnet.commands.main import cli
from patchnet.core import texts
from patchnet.core.faults import Fault
from patchnet.knowledge import load_knowledge
from patchnet.locale.extract import gather
from patchnet.pages.map import map_words
from patchnet.pages.map.map_page import map_page
from patchnet.pages.scheme.pack import SchemePack, Told
from patchnet.pages.scheme.report import scheme_report
from patchnet.pages.sheets.compare_page import compare_page
from patchnet.pages.sheets.plan_card import write_card
from patchnet.pages.sheets.progress_page import write_progress
from patchnet.pages.survey import SurveyRound, phone_words, write_survey
from patchnet.pages.survey.progress import survey_progress
from patchnet.pages.terminal.compare_text import compare_text
from patchnet.pages.terminal.lists import features_text, groups_text
from patchnet.pages.terminal.next_text import next_text
from patchnet.pages.terminal.plan_text import plan_text
from patchnet.pages.terminal.plot_text import plot_text
from patchnet.pages.terminal.tables_text import tables_text
from patchnet.plan.next_doors import next_doors
from patchnet.plan.plan_plot import plan_plot
from patchnet.read import read_neighbourhood
from patchnet.street import find_street, planter_sites
from patchnet.survey.forget import record_consent
from patchnet.survey.undo import undo_return

DEMO = Path(__file__).parents[2] / "data_demo"
OPEN, CLOSE = (
    "\N{MATHEMATICAL LEFT WHITE SQUARE BRACKET}",
    "\N{MATHEMATICAL RIGHT WHITE SQUARE BRACKET}",
)

UNITS = {"m", "m²", "m³", "cm", "mm", "km", "kg", "ha", "mph", "km2", "no"}
# Words of the command line that are typed as they stand, and what click makes of them.
TYPED = {"patchnet"}
# What stands before the last name of a list comes from CLDR; the pseudo-language calls itself "de".
FROM_CLDR = {"und", "oder"}
ALLOWED = UNITS | TYPED | FROM_CLDR
CODE = re.compile(
    r"patchnet(?: [a-z]+)? \[OPTIONS\].*|\[[\w|<>=]+\]"  # the usage of a command, its choices
    r"|--?[a-z][\w-]*|https?://\S+|doi:\S+|\w+_\w+"
    r"|\S+\.(?:csv|html|gpkg|geojson|xlsx|toml|po)\b"
)


@pytest.fixture(scope="module")
def pseudo(tmp_path_factory, street_in):
    """Speak the pseudo-language; English afterwards.

    The street that all tests share is made before, in English.
    """
    assert street_in
    catalogue = gather()
    catalogue.locale = Locale("de")
    for message in catalogue:
        if isinstance(message.id, tuple):
            message.string = tuple(OPEN + text + CLOSE for text in message.id)
        elif message.id:
            message.string = OPEN + message.id + CLOSE
    path = tmp_path_factory.mktemp("pseudo") / "brackets.po"
    with path.open("wb") as lines:
        pofile.write_po(lines, catalogue)
    before = texts.language()
    texts.use_language(str(path))
    yield path
    texts.use_language(before)


class World:
    """The demo, assessed for an animal that flies and one that walks, while brackets are spoken."""

    def __init__(self):
        self.knowledge = load_knowledge()
        self.hood = read_neighbourhood(DEMO, knowledge=self.knowledge)
        self.answer = assess(
            self.hood, knowledge=self.knowledge, groups=["mason_bee", "newt"], straight=True
        )

    @property
    def data(self):
        """What users wrote, and names that are the same in every language; the longest first."""
        plots = self.hood.plots
        told = {self.hood.name, *plots.index, *plots["label"], *plots["street"], *self.hood.credits}
        for table in (self.hood.barriers, self.hood.roads, self.hood.footways):
            for column in ("name", "label", "id"):
                if table is not None and column in table:
                    told |= set(map(str, table[column]))
        know = self.knowledge
        told |= {one.latin for one in know.groups.values()}
        told |= {one.latin for one in know.plants.values()}
        told |= {one.citation for one in know.sources.values()}
        told |= set(know.groups) | set(know.features)
        # the street, its records and the scheme that is made up in worlds/made_scheme.py
        told |= {"Ann of No. 4", "WGS 84 / UTM zone 31N (EPSG:32631)"}
        told.add("The width of the footway on the right was taken from the map.")
        told |= {word for one in know.features.values() for word in one.words}
        return sorted((one for one in told if one), key=len, reverse=True)


@pytest.fixture(scope="module")
def world(pseudo):
    return World()


def outside(text):
    """What stands outside all brackets."""
    depth, left = 0, []
    for char in text:
        depth += (char == OPEN) - (char == CLOSE and depth > 0)
        left.append(char if depth == 0 and char != CLOSE else " ")
    return "".join(left)


def strays(said, world):
    """Pieces of texts with words outside of brackets that nothing allows."""
    found = []
    for one in said:
        left = outside(one)
        if not re.search(r"[^\W\d_]{2}", left):
            continue
        for known in world.data:
            left = left.replace(known, " ")
        left = CODE.sub(" ", left)
        if set(re.findall(r"(?<![\w.])[^\W\d_]{2,}(?!\w)", left)) - ALLOWED:
            found.append(" ".join(left.split()))
    return found


def of_page(html):
    return PageTexts(html).texts


# What stands first in a line of help: a command, or an option with what it takes.
NAME = re.compile(
    r"^  (-\S+(?:,? (?:/ )?--?\S+)*(?: [A-Z=|]+| [a-z]+(?:\|[a-z]+)+)?|[a-z]+)(?=\s|$)"
)


# terminal -----------------------------------------------------------------------------------


def test_help(pseudo, world):
    runner = CliRunner()
    for arguments in ([], ["plot"], ["merge"], ["progress"], ["gaps"]):
        said = runner.invoke(cli, [*arguments, "--help"], prog_name="patchnet")
        assert said.exit_code == 0
        lines = outside(said.output).splitlines()
        names = [NAME.sub("", line) for line in lines]
        assert strays(names, world) == [], arguments


def test_complaints_of_the_command_line(pseudo, world):
    runner = CliRunner()
    for arguments in (
        ["nothing"],
        ["plot"],
        ["plot", "--nothing"],
        ["advise", "a", "b", "--month", "13"],
    ):
        said = runner.invoke(cli, arguments, prog_name="patchnet")
        assert said.exit_code == 2
        assert OPEN in said.output
        assert strays([re.sub(r"'[^']*'", "", outside(said.output))], world) in (
            [], ["patchnet [OPTIONS] COMMAND [ARGS]..."],
        ), arguments  # fmt: skip


@pytest.mark.parametrize(
    "said",
    [
        lambda it: plot_text(plot_answer(it.answer, "M15B"), it.knowledge),
        lambda it: plan_text(plan_plot(it.answer, "M15B", month=5), it.knowledge),
        lambda it: compare_text(compare(it.answer, it.answer), it.knowledge),
        lambda it: next_text(next_doors(it.answer), 3),
        lambda it: groups_text(it.knowledge),
        lambda _: str(Fault("warning", "M15B", 3, "M15B", "", "")),
    ],
    ids=["plot", "advise", "compare", "next", "groups", "fault"],
)
def test_terminal(world, said):
    assert strays(outside(said(world)).splitlines(), world) == []


def test_lists(world):
    said = outside(features_text(world.knowledge)).splitlines()
    assert strays([line[:62].partition(" ")[2] for line in said], world) == []
    meanings = [line.partition(" ")[2] for line in outside(tables_text()).splitlines()]
    assert strays(meanings, world) == []


# pages --------------------------------------------------------------------------------------


def test_map(world):
    html = map_page(world.answer)
    assert strays(of_page(html), world) == []


def test_words_of_scripts(world):
    """What the scripts of the map and of the phone page put together."""
    for table in (
        map_words.SCRIPT,
        map_words.PAGE,
        map_words.SHOWS,
        phone_words.SCRIPT,
        phone_words.PAGE,
    ):
        said = dict(table)
        json.dumps(said)
        bare = [
            value
            for value in _leaves(said)
            if not re.fullmatch(r"[^a-z]*(\{\w+\}[^a-z]*)*( m[²³]?)?", value)
        ]
        assert strays(bare, world) == []


def _leaves(value):
    if isinstance(value, dict):
        return [leaf for one in value.values() for leaf in _leaves(one)]
    if isinstance(value, list | tuple):
        return [leaf for one in value for leaf in _leaves(one)]
    return [re.sub(r"\{\w+\}", "", value)] if isinstance(value, str) else []


def test_card(world, tmp_path):
    path = write_card(plan_plot(world.answer, "M15B", month=5), tmp_path / "card.html")
    assert strays(of_page(path.read_text(encoding="utf-8")), world) == []


def test_survey(world, tmp_path):
    survey = SurveyRound(world.hood, world.knowledge)
    write_survey(survey, tmp_path)
    for name in ("sheets.html", "phone.html"):
        found = strays(of_page((tmp_path / name).read_text(encoding="utf-8")), world)
        assert [one for one in found if not re.fullmatch(r"\W*[0-9a-f]{16}\W*", one)] == [], name


def test_progress(world, tmp_path):
    progress = survey_progress(world.hood, knowledge=world.knowledge)
    path = write_progress(progress, tmp_path / "page.html", knowledge=world.knowledge)
    assert strays(of_page(path.read_text(encoding="utf-8")), world) == []


def test_compare(world):
    assert strays(of_page(compare_page(compare(world.answer, world.answer))), world) == []


def test_report(world):
    hood = dataclasses.replace(world.hood, country="gb")
    street = find_street(hood, "Wickthorn Street", knowledge=world.knowledge)
    sites = planter_sites(hood, street, knowledge=world.knowledge)
    scheme = made_scheme(hood, street, sites, world.knowledge)
    assert strays(of_page(scheme_report(SchemePack(scheme, Told()))), world) == []


def test_what_one_language_stores_another_reads(pseudo, surveyed):
    """An answer about consent is written in brackets, and taken back in English."""
    plots = pyogrio.read_dataframe(surveyed.path, layer="plots").assign(consent="")
    plots.loc[plots["id"] == "1", "consent"] = "no"
    pyogrio.write_dataframe(plots, surveyed.path, layer="plots", driver="GPKG")
    record_consent(surveyed.path, "1", "yes", surveyed.path)
    texts.use_language(texts.ENGLISH)
    try:
        undo_return(surveyed.path)
    finally:
        texts.use_language(str(pseudo))
    said = pyogrio.read_dataframe(surveyed.path, layer="plots").set_index("id")["consent"]
    assert said["1"] == "no"
