"""When two spellings are one name: the one rule for headings, layers, people and streets."""

import re
import unicodedata

__all__ = ["UNSEEN", "folded", "folded_ident", "heading", "visible"]

_APOSTROPHES = re.compile("['`\N{RIGHT SINGLE QUOTATION MARK}\N{LEFT SINGLE QUOTATION MARK}"
                          "\N{MODIFIER LETTER APOSTROPHE}]")  # fmt: skip
UNSEEN = "\N{ZERO WIDTH SPACE}\N{ZERO WIDTH NO-BREAK SPACE}\N{SOFT HYPHEN}"
_DELETED = dict.fromkeys(map(ord, UNSEEN))
_BETWEEN = re.compile(r"[\W_]+")


def folded(name: object) -> str:
    """Return what is compared of a name: no case, no signs, one blank between words.

    What consists of signs alone stays as it is.

    >>> folded("Plot (ID)") == folded("plot-id") == folded(" PLOT_ID ") == "plot id"
    True
    >>> folded("St. John's Rd"), folded("??")
    ('st johns rd', '??')
    """
    text = str(name)
    return heading(text) or unicodedata.normalize("NFKC", visible(text)).strip().casefold()


def heading(name: str) -> str:
    """Return what is compared of a heading: as `folded`, but nothing where it is signs alone.

    >>> heading("Plot_ID"), heading("-")
    ('plot id', '')
    """
    plain = name.isascii()
    if plain and name.isalnum():  # most words of a table: there is nothing to take away
        return name.casefold()
    text = name if plain else unicodedata.normalize("NFKC", visible(name))
    return _BETWEEN.sub(" ", _APOSTROPHES.sub("", text)).strip().casefold()


def visible(text: str) -> str:
    """Return text without the signs that nobody sees."""
    return text.translate(_DELETED)


def folded_ident(ident: str) -> str:
    """Return what is compared of a plot's id where no plot has it letter by letter.

    >>> folded_ident("007 b") == folded_ident("7B")
    True
    """
    text = unicodedata.normalize("NFKC", ident)
    return re.sub(r"\s+", "", text).casefold().lstrip("0")
