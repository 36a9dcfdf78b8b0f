"""What to look for in a year of watching, before anything is made that costs something."""

from dataclasses import dataclass
from typing import Annotated

from patchnet.core.texts import N_
from patchnet.knowledge.columns import Key, Months, Refs, Text
from patchnet.knowledge.parts import Basis
from patchnet.knowledge.schema import table

__all__ = ["Watching"]


@table(
    "watching.csv",
    N_("Something to look for in a year of watching first."),
    called=N_("thing to look for"),
    bases=(Basis("watching", N_("words, months"), at="watching"),),
)
@dataclass(frozen=True, slots=True)
class Watching:
    """Something to look for, when, and what it helps to decide.

    Parameters
    ----------
    key, words
        Key in the table, and what to look for, in sentences.
    months
        When.
    features, groups
        What it helps to place, and animals that it tells of; both empty: it is always of use.
    """

    key: Annotated[str, Key(N_("key of what is looked for"))]
    words: Annotated[str, Text(N_("what to look for, in sentences"))]
    months: Annotated[tuple[int, ...], Months(N_("when to look"))]
    features: Annotated[
        tuple[str, ...], Refs(N_("features that it helps to place"), table="features.csv")
    ]
    groups: Annotated[tuple[str, ...], Refs(N_("animals that it tells of"), table="groups.csv")]
