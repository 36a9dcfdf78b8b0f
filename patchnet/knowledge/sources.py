"""Where numbers come from: sources, figures with unit, range and class, and the settings."""

import math
from dataclasses import dataclass
from typing import Annotated

from patchnet.core.texts import N_
from patchnet.knowledge.columns import Key, Text
from patchnet.knowledge.parts import Class, Number
from patchnet.knowledge.schema import table

__all__ = ["Figure", "Origin", "Regression", "Setting", "Source"]


@table("sources.csv", N_("A work, a body or a practice that numbers come from."), called="source")
@dataclass(frozen=True, slots=True)
class Source:
    """Where a number comes from: a paper, a handbook, a standard, or our own assumption."""

    key: Annotated[str, Key(N_("key of the source"))]
    citation: Annotated[
        str, Text(N_("the work as it is cited, or what it stands for"), shown=False)
    ]
    doi: Annotated[str, Text(N_("its DOI, without https://"), blank="", shown=False)]


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of the tables.

    Parameters
    ----------
    key
        Its address, ``"groups/mason_bee/hop"``; what ``patchnet source`` takes.
    value, low, high
        The number in use and its range, in `unit`.
    kind
        How well it is founded (see `patchnet.knowledge.schema.CLASSES`).
    sources
        Keys of `Source` records.
    note
        What was done to get it, in words.
    place
        File and line it stands at.
    """

    key: str
    value: float
    unit: str
    low: float
    high: float
    kind: Class
    sources: tuple[str, ...]
    note: str
    place: str


@dataclass(frozen=True, slots=True)
class Origin:
    """Where something that is not one number comes from: a calendar, a hazard, plant traits.

    `key` is its address, ``"groups/mason_bee/active_months"``; `words` say what stands there.
    """

    key: str
    words: str
    kind: Class
    sources: tuple[str, ...]
    note: str
    place: str


@table("settings.csv", N_("A number of the method itself."), called="setting", fixed=True)
@dataclass(frozen=True, slots=True)
class Setting:
    """A number of the method itself: floors, rounds, tolerances."""

    key: Annotated[str, Key(N_("key of the setting"))]
    figure: Annotated[Figure, Number(N_("the setting"))]


@table(
    "regressions.csv",
    N_("A coefficient of a published regression, or a bound of its use."),
    called="coefficient",
    key=("regression", "quantity"),
    fixed=True,
)
@dataclass(frozen=True, slots=True)
class Regression:
    """A coefficient of a published regression."""

    regression: Annotated[str, Key(N_("key of the regression"))]
    quantity: Annotated[str, Key(N_("which of its numbers it is"))]
    figure: Annotated[Figure, Number(N_("the coefficient or bound"), least=-math.inf)]
