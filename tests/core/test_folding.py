"""One rule for when two spellings are one name, and no second one anywhere."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import patchnet
from patchnet.core.folding import folded, folded_ident


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Plot-ID", "plot id"),
        ("Plot.ID", "plot_id"),
        ("Plot (ID)", " PLOT  ID "),
        ("addr:street", "Addr Street"),
        ("can\N{RIGHT SINGLE QUOTATION MARK}t see", "Cant see"),
        ("Stra\N{LATIN SMALL LETTER SHARP S}e", "STRASSE"),
        ("\N{FULLWIDTH LATIN CAPITAL LETTER A}nn", "ann"),
    ],
)
def test_one_name(one, other):
    assert folded(one) == folded(other)


def test_signs_alone_are_kept():
    assert folded(" ?? ") == "??"
    assert folded("-") == "-"
    assert folded("") == ""


@given(st.text())
def test_folding_again_changes_nothing(text):
    assert folded(folded(text)) == folded(text)
    assert folded(text.upper()) == folded(text.upper().lower().upper())


def test_idents():
    assert folded_ident("007 b") == folded_ident("7B")
    assert folded_ident("IP-4F") == folded_ident("ip-4f")
    assert folded_ident("IP-4F") != folded_ident("IP-4B")


def test_there_is_no_second_rule():
    """Nobody else folds signs away by a pattern of their own."""
    root = Path(patchnet.__file__).parent
    found = [
        str(path.relative_to(root))
        for path in root.rglob("*.py")
        if re.search(r"\[\\W_\]", path.read_text(encoding="utf-8"))
    ]
    assert found == ["core/folding.py"]
