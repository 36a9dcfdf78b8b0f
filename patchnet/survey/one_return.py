"""A return: what one person saw on one round, as it was handed in, not yet checked.

Three kinds of file hold one: the survey page's own (JSON), and the sheet as CSV or as xlsx, which
is also what paper sheets are typed into. Whatever can be read of a damaged file is read; the rest
is named.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd
import shapely

from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["SAID", "PlotTable", "Return", "street_id"]

SAID = (
    "plot", "feature", "answer", "amount", "unit", "sure", "seen_from", "surveyor", "when", "note",
    "photo", "consent", "row",
)  # fmt: skip
"""Columns of what was said, all text but `row`, the number by which faults name it."""


@dataclass(frozen=True, eq=False)
class PlotTable:
    """A table of one row a plot, not yet taken apart.

    Attributes
    ----------
    frame
        Its cells but for plot, who, when and where; a row for each of the return's rows.
    roles
        ``features``, ``seen``, ``amount`` or key of a feature -> name of its column.
    """

    frame: pd.DataFrame
    roles: Mapping[str, str]


@dataclass(frozen=True, eq=False)
class Return:
    """One return as read.

    Attributes
    ----------
    where
        How faults name it: the file's name.
    ident
        Its own id; empty where it has none (a sheet).
    form
        ``"page"`` or ``"sheet"``.
    street
        Id of the street it is of; empty where it does not say.
    about
        What else its head says: surveyor, seen_from, began, saved, made (text).
    said
        One row a statement, columns `SAID`.
    drawn
        Shapes as they stand in the file: plot, feature, when, geometry (GeoJSON, WGS 84).
    missing, photos
        Houses that the map lacks, and photographs, as they stand in the file.
    damaged
        Whether something of it could not be read.
    plot_table
        What it says, where it has one row a plot: `plot_table.with_statements` makes rows of it.
    named
        Which of the columns that the user named it has.
    called
        What it calls its street, in words; empty where it does not say.
    """

    where: str
    ident: str
    form: str
    street: str
    about: Mapping[str, str]
    said: pd.DataFrame
    drawn: tuple[Mapping[str, object], ...] = ()
    damaged: bool = False
    missing: tuple[Mapping[str, object], ...] = ()
    photos: tuple[Mapping[str, object], ...] = ()
    plot_table: PlotTable | None = None
    named: frozenset[str] = frozenset()
    called: str = ""


def street_id(neighbourhood: Neighbourhood) -> str:
    """Return the id by which a return says which street it is of: 16 hexadecimal digits.

    It is the head of the SHA-256 over the plots' ids, sorted, each with its centroid in whole
    metres; so it stays the same however often the map is written, and changes when plots are
    added, numbered anew or moved.

    Parameters
    ----------
    neighbourhood
        Its plots, in metres.
    """
    centres = shapely.get_coordinates(shapely.centroid(neighbourhood.plots.geometry.to_numpy()))
    lines = sorted(
        f"{ident}\t{round(x)}\t{round(y)}\n"
        for ident, (x, y) in zip(neighbourhood.plots.index, centres.tolist(), strict=True)
    )
    return hashlib.sha256("".join(lines).encode()).hexdigest()[:16]
