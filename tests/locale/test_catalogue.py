"""The catalogue holds every text, as the code has it, and nothing is translated too early."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from babel.messages import pofile
from babel.messages.catalog import Catalog
from click import core, exceptions

from patchnet.commands.help_text import CLICK_SAYS
from patchnet.core.texts import FOLDER
from patchnet.locale import extract

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def catalogue():
    return extract.gather()


def test_the_template_is_up_to_date():
    path = FOLDER / "patchnet.pot"
    assert path.read_bytes() == extract.template(), "run: python -m patchnet.locale.extract"


def test_the_template_is_the_same_on_every_run_and_machine():
    code = (
        "import sys\n"
        "from patchnet.locale.extract import template\n"
        "sys.stdout.buffer.write(template())"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=True,
        env=os.environ | {"PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo"},
    )  # fmt: skip
    text = run.stdout
    assert text == (FOLDER / "patchnet.pot").read_bytes()
    for never in (str(ROOT).encode(), b"POT-Creation-Date", b"Generated-By"):
        assert never not in text


def test_languages_are_up_to_date(tmp_path):
    for path in FOLDER.glob("*.po"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
        extract.bring_up_to_date(path.stem, folder=tmp_path)
        for name in (path.name, f"{path.stem}.mo"):
            assert (tmp_path / name).read_bytes() == (FOLDER / name).read_bytes()


@pytest.mark.parametrize(
    "text",
    [
        "The column '{name}' was not read; did you mean the feature {key}?",  # code
        "Show where in the program an error arose.",  # the help of an option
        "Read a neighbourhood of gardens, verges and planters as one habitat.",  # of a command
        "No such option {name!r}.",  # what click says
        "The household keeps a copy of this page.",  # a template
        "Kept until: %(blank)s",  # with a value
        "Plot {plot}: done",  # for a script
        "Wildlife pond, no fish",  # the name of a feature
        "m2 fish-free water",  # the unit of a resource
        "Thorns: keep it away from paths.",  # a caution
        "name in plain words",  # what a column means
    ],
)
def test_texts_of_every_kind_are_in_it(catalogue, text):
    assert catalogue.get(text) is not None


def test_numbers_with_their_nouns_are_in_it(catalogue):
    assert catalogue.get("{n} planter").id == ("{n} planter", "{n} planters")
    assert catalogue.get("{n} piece of road").id[1] == "{n} pieces of road"


def test_nothing_is_translated_at_import():
    """In a language that there is not, every module can be imported: none asks for a text."""
    code = (
        "import importlib, pkgutil, patchnet\n"
        "for one in pkgutil.walk_packages(patchnet.__path__, 'patchnet.'):\n"
        "    if not one.name.endswith('__main__'):\n"
        "        importlib.import_module(one.name)\n"
    )
    run = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", code], capture_output=True, text=True, check=False,
        env=os.environ | {"PATCHNET_LANGUAGE": "nonsense"},
    )  # fmt: skip
    assert run.returncode == 0, run.stderr[-2000:]


def test_an_unknown_language_is_wrong_use():
    run = subprocess.run(
        [sys.executable, "-m", "patchnet", "groups"], capture_output=True, text=True, check=False,
        env=os.environ | {"PATCHNET_LANGUAGE": "nonsense"},
    )  # fmt: skip
    assert run.returncode == 2
    assert "no catalogue of texts for the language 'nonsense'" in run.stderr


def test_click_still_says_what_we_think_it_says():
    """Its texts are our keys: where click rewords one, it would silently stay English."""
    folder = Path(core.__file__).parent
    source = "".join(path.read_text(encoding="utf-8") for path in folder.glob("*.py"))
    for said in CLICK_SAYS:
        assert said.encode("unicode_escape").decode().split("\\n")[0] in source, said
    assert hasattr(core, "_")
    assert hasattr(exceptions, "_")


def test_a_misspelt_place_is_listed_and_not_compiled(tmp_path):
    catalogue = Catalog(locale="de")
    catalogue.add("There is no file {path}.", "Es gibt keine Datei {pfad}.")
    with (tmp_path / "de.po").open("wb") as lines:
        pofile.write_po(lines, catalogue)
    before = (tmp_path / "de.po").read_bytes()
    with pytest.raises(ValueError, match=r"has the places path, .*'Es gibt .*' has pfad"):
        extract.bring_up_to_date("de", folder=tmp_path)
    assert (tmp_path / "de.po").read_bytes() == before
    assert not (tmp_path / "de.mo").exists()


@pytest.mark.parametrize(
    ("text", "said", "wrong"),
    [
        ("{n} of {all}", "von {all} {n}", 0),
        ("{n} of {all}", "{n}", 1),
        ("{share:.0%} of it", "{share:.1%} davon", 0),
        ("Kept until: %(blank)s", "Bis: %(blank)s", 0),
        ("Kept until: %(blank)s", "Bis: %(leer)s", 1),
        (("{n} plot", "{n} plots"), ("ein Stück", "{n} Stücke"), 0),
        (("{n} plot", "{n} plots"), ("ein {m} Stück", "{n} Stücke"), 1),
        ("Done", "", 0),
    ],
)
def test_places_of_values(text, said, wrong):
    catalogue = Catalog(locale="de")
    catalogue.add(text, said)
    assert len(extract.wrong_places(catalogue)) == wrong


def test_a_language_is_begun_and_brought_up_to_date(tmp_path, catalogue):
    path = extract.bring_up_to_date("pt_BR", folder=tmp_path)
    with path.open("rb") as lines:
        begun = pofile.read_po(lines, locale="pt_BR")
    assert len(begun) == len(catalogue)
    text = path.read_text(encoding="utf-8")
    assert "Plural-Forms: nplurals=3;" in text, "as the language has them"
    path.write_text(text.replace('msgid "Wren"\nmsgstr ""', 'msgid "Wren"\nmsgstr "Carriça"'))
    extract.bring_up_to_date("pt_BR", folder=tmp_path)
    first = path.read_bytes()
    assert "Carriça".encode() in first
    extract.bring_up_to_date("pt_BR", folder=tmp_path)
    assert path.read_bytes() == first, "the same on every run"
