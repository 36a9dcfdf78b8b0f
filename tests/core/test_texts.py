"""Texts in the language of the process: looked up in use, never at import; English as it stands."""

import sys
from io import BytesIO

import pytest
from babel.messages import mofile
from babel.messages.catalog import Catalog

from patchnet.core import texts
from patchnet.core.errors import WrongUse
from patchnet.core.faults import Fault
from patchnet.core.texts import (
    N_,
    WordList,
    Words,
    _,
    counted,
    ngettext,
    said_anywhere,
    source_of,
    use_language,
)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty folder of catalogues; English again afterwards."""
    monkeypatch.setattr(texts, "FOLDER", tmp_path)
    monkeypatch.setenv(texts.VARIABLE, "en")
    texts._catalogue.cache_clear()
    yield tmp_path
    use_language(None)
    texts._catalogue.cache_clear()


PO = """\
msgid ""
msgstr ""
"Language: de\\n"
"Plural-Forms: nplurals=2; plural=(n != 1);\\n"
"Content-Type: text/plain; charset=utf-8\\n"

msgid "Wren"
msgstr "Zaunkönig"

msgid "key of the {called}"
msgstr "Schlüssel: {called}"

msgid "feature"
msgstr "Merkmal"

msgid "{n} planter"
msgid_plural "{n} planters"
msgstr[0] "{n} Kübel (einer)"
msgstr[1] "{n} Kübel"

msgid "warning"
msgstr "Warnung"
"""


def test_english_is_the_text_itself(folder):
    use_language(None)
    assert _("Nobody has translated this.") == "Nobody has translated this."
    assert ngettext("{n} box", "{n} boxes", 1) == "{n} box"
    assert [ngettext("one", "more", n) for n in (0, 1, 1.0, 1.5, 2)] == [
        "more", "one", "one", "more", "more",
    ]  # fmt: skip
    assert counted(2, "box", "boxes") == "2 boxes"
    assert counted(1200, "plot", said="1,200") == "1,200 plots"


def test_a_po_file_in_the_folder_is_used(folder):
    (folder / "de.po").write_text(PO, encoding="utf-8")
    assert texts.languages() == ["en", "de"]
    use_language("de")
    assert _("Wren") == "Zaunkönig"
    assert _("Heron") == "Heron", "no translation yet"
    assert [counted(n, "planter") for n in (1, 3)] == ["1 Kübel (einer)", "3 Kübel"]
    assert ngettext("{n} planter", "{n} planters", 0.5).format(n=0.5) == "0,5 Kübel"
    assert str(Fault("warning", "plots", None, None, "x", "y")) == "Warnung: plots: x y"
    assert _("") == "", "not the catalogue's header"
    use_language("en")
    assert _("Wren") == "Wren"


def test_a_compiled_one_is_read_first_and_without_babel(folder, monkeypatch):
    catalogue, held = Catalog(locale="de"), BytesIO()
    catalogue.add("Wren", "Zaunkönig")
    mofile.write_mo(held, catalogue)
    (folder / "de.mo").write_bytes(held.getvalue())
    (folder / "de.po").write_text(PO.replace("Zaunkönig", "of the .po"), encoding="utf-8")
    monkeypatch.setitem(sys.modules, "babel.messages", None)
    use_language("de")
    assert _("Wren") == "Zaunkönig"


def test_a_file_of_ones_own(folder):
    path = folder / "elsewhere" / "mine.po"
    path.parent.mkdir()
    path.write_text(PO, encoding="utf-8")
    use_language(str(path))
    assert _("Wren") == "Zaunkönig"


def test_no_such_language(folder):
    with pytest.raises(WrongUse, match="no catalogue of texts for the language 'xx'"):
        use_language("xx")
    assert _("Wren") == "Wren", "the language stays"


def test_a_text_in_every_language_there_is(folder):
    (folder / "de.po").write_text(PO, encoding="utf-8")
    (folder / "fr.po").write_text(PO.replace("Zaunkönig", "Troglodyte"), encoding="utf-8")
    assert said_anywhere("Wren") == ["Wren", "Zaunkönig", "Troglodyte"]
    assert said_anywhere("Heron") == ["Heron"]
    mine = folder / "elsewhere.of"
    mine.mkdir()
    (mine / "nl.po").write_text(PO.replace("Zaunkönig", "Winterkoning"), encoding="utf-8")
    use_language(str(mine / "nl.po"))
    assert said_anywhere("Wren")[-1] == "Winterkoning", "one that somebody tries out, too"


def test_the_variable_chooses(folder, monkeypatch):
    (folder / "de.po").write_text(PO, encoding="utf-8")
    monkeypatch.setattr(texts._CHOICE, "name", None)
    monkeypatch.setenv(texts.VARIABLE, "de")
    for name in ("LANGUAGE", "LC_ALL", "LANG"):
        monkeypatch.setenv(name, "fr_FR.UTF-8")
    assert _("Wren") == "Zaunkönig"


def test_tables_made_at_import_are_translated_in_use(folder):
    (folder / "de.po").write_text(PO, encoding="utf-8")
    words = Words({"wren": N_("Wren"), "key": "Wren", "all": (N_("Wren"), 1)})
    both = Words(words, {"more": [N_("Wren")]})
    lines = WordList((N_("Wren"), "Wren"))
    filled = N_("key of the {called}", called=N_("feature"))
    assert filled == "key of the feature"
    use_language("de")
    assert dict(words) == {"wren": "Zaunkönig", "key": "Wren", "all": ("Zaunkönig", 1)}
    assert both["more"] == ["Zaunkönig"]
    assert both["wren"] == "Zaunkönig"
    assert list(lines) == ["Zaunkönig", "Wren"], "only what is marked"
    assert lines[:1] == ("Zaunkönig",)
    assert _(filled) == "Schlüssel: Merkmal"
    use_language("en")
    assert dict(words)["wren"] == "Wren"


def test_the_english_of_a_translated_text(folder):
    (folder / "de.po").write_text(PO, encoding="utf-8")
    use_language("de")
    assert source_of(_("Wren")) == "Wren"
    assert source_of("of a user's own") == "of a user's own"
