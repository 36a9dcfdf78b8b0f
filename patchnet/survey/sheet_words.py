"""The words that stand in a survey sheet, in every language that a sheet can be made in.

A sheet is made in one language and read in any: `in_english` gives the word that it stands for.
"""

from functools import lru_cache

from patchnet.core.folding import folded
from patchnet.core.texts import N_, language, said_anywhere

__all__ = [
    "ABOUT",
    "ANSWERS",
    "COLUMNS",
    "CONSENT",
    "SEEN_FROM",
    "SURE",
    "UNITS",
    "in_english",
    "words_of_headings",
]

COLUMNS = (
    N_("plot"), N_("called"), N_("feature"), N_("answer"), N_("amount"), N_("unit"),
    N_("how sure"), N_("seen from"), N_("surveyor"), N_("date"), N_("note"), N_("photo"),
    N_("consent"),
)  # fmt: skip
"""Headings of the rows that are filled in."""
ABOUT = (N_("street"), N_("street name"), N_("contact"), N_("privacy"), N_("credit"), N_("About"))
"""What else is a heading, and the name of the sheet about the whole round."""
SURE = (N_("sure"), N_("not sure"))
CONSENT = (N_("yes"), N_("no"))
UNITS = {"m2": N_("m²"), "m": N_("m"), "count": N_("pieces")}
"""In what a feature is measured, by its measure."""
ANSWERS = (N_("there"), N_("not there"), N_("cannot see"))
SEEN_FROM = (N_("street"), N_("own plot"), N_("neighbour's plot"), N_("window"))


def in_english(text: str) -> str:
    """Return the English word that a sheet in any language means; any other text as it is.

    Parameters
    ----------
    text
        A heading or a cell.

    Examples
    --------
    >>> in_english("Not there"), in_english("2 m2")
    ('Not there', '2 m2')
    """
    return _words(language()).get(folded(text), text)


def words_of_headings() -> frozenset[str]:
    """Return what is compared of the headings in every language."""
    return frozenset(folded(said) for word in (*COLUMNS, *ABOUT) for said in said_anywhere(word))


@lru_cache(maxsize=4)
def _words(spoken: str) -> dict[str, str]:
    del spoken  # a file that is only tried out is one language more
    found: dict[str, str] = {}
    for word in (*COLUMNS, *ABOUT, *ANSWERS, *SURE, *CONSENT, *UNITS.values(), *SEEN_FROM):
        for said in said_anywhere(word)[1:]:
            found.setdefault(folded(said), str(word))
    return {said: word for said, word in found.items() if said != folded(word)}
