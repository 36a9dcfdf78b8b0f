"""A table of features, in one column or one column a feature, read into a sheet."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from patchnet.core.cells import texts, whole_number
from patchnet.core.fault_list import FaultList, Place
from patchnet.core.faults import nearest
from patchnet.core.folding import folded_ident
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.columns import Columns
from patchnet.read.feature_lists import Problem, Said, parse_cell, parse_list
from patchnet.read.feature_sheet import Sheet

__all__ = ["match_plots", "read_survey", "seen_all", "yes_no_columns"]


def read_survey(
    table: pd.DataFrame,
    columns: Columns,
    plots: Sequence[int | None],
    places: Sequence[Place],
    sheet: Sheet,
    *,
    knowledge: Knowledge,
    faults: FaultList,
) -> Sheet:
    """Read what a table says of the features of plots.

    Parameters
    ----------
    table
        Its rows.
    columns
        Which column is which.
    plots
        Position of the plot that each row is about; None: of no plot.
    places
        Row number and id of each row.
    sheet
        An empty sheet of the source, to be filled.
    knowledge
        For the words and units.
    faults
        List that faults are added to.
    """
    cells = _Cells(table, columns, knowledge, sheet.where, faults)
    sheet.lists = any(cells.lists)
    seen_before: set[int] = set()
    odd_seen: list[tuple[Place, str]] = []
    for row, (plot, place) in enumerate(zip(plots, places, strict=True)):
        if plot is None:
            continue
        odd = _mark_seen(cells.seen[row], plot, sheet, knowledge)
        if odd:
            odd_seen.append((place, odd))
        said = _listed(cells.lists[row], cells.amounts[row], plot, place, sheet, knowledge, faults)
        said += _ticked(cells, row, place, sheet.where, knowledge, faults)
        # A second row of the same plot is a second visit: the larger amount counts. Only in a
        # table of one feature a row do amounts add up.
        earlier = None if cells.long_form or plot not in seen_before else sheet.amount[plot].copy()
        if earlier is not None:
            sheet.amount[plot] = np.nan
        for one in said:
            sheet.add(plot, one, place, add_up=True, faults=faults)
        if earlier is not None:
            sheet.amount[plot] = np.fmax(sheet.amount[plot], earlier)
        seen_before.add(plot)
    faults.warn_rows(
        sheet.where,
        odd_seen,
        together=_("{n} cells of the column seen were read as part."),
        mend=_("Write all, part or none."),
    )
    if not cells.long_form:
        _warn_second_rows(plots, places, sheet.where, faults)
    return sheet


class _Cells:
    """The cells of a table as text; empty where it has no such column."""

    def __init__(
        self,
        table: pd.DataFrame,
        columns: Columns,
        knowledge: Knowledge,
        where: str,
        faults: FaultList,
    ) -> None:
        def column(role: str) -> list[str]:
            name = columns.role.get(role)
            return [""] * len(table) if name is None else texts(table[name])

        self.seen = column("seen")
        self.lists = column("features")
        self.amounts = column("amount") if "features" in columns.role else [""] * len(table)
        self.long_form = "amount" in columns.role and "features" in columns.role
        self.keys = columns.feature
        self.wide = {name: texts(table[name]) for name in columns.feature}
        self.as_yes_no = yes_no_columns(table, columns.feature, knowledge, where, faults)


def seen_all(text: str, knowledge: Knowledge) -> tuple[bool, bool]:
    """Return whether a cell says that all was looked at, and whether it can be read at all.

    Parameters
    ----------
    text
        A cell of the column ``seen``.
    knowledge
        For the words.
    """
    word = text.casefold().strip(" .")
    means = knowledge.table_words.meaning("seen", word)
    readable = not word or means is not None or word.rstrip("% ").replace(".", "").isdigit()
    return means == "all", readable


def _mark_seen(text: str, plot: int, sheet: Sheet, knowledge: Knowledge) -> str | None:
    """Note down how much was seen; return what is odd about the word."""
    everything, readable = seen_all(text, knowledge)
    sheet.everything[plot] |= everything
    sheet.mentioned[plot] |= bool(text.strip(" ."))
    if readable:
        return None
    return _("'{text}' in the column seen was read as part.").format(text=text[:40])


def _ticked(
    cells: _Cells, row: int, place: Place, where: str, knowledge: Knowledge, faults: FaultList
) -> list[Said]:
    """Read the columns of single features in one row."""
    said = []
    for name, key in cells.keys.items():
        one = parse_cell(cells.wide[name][row], knowledge.features[key], knowledge)
        if isinstance(one, Problem):
            _say(where, place, one, faults, column=name)
        elif one is not None:
            said.append(Said(key, one.answer, None, one.sure) if name in cells.as_yes_no else one)
    return said


def match_plots(
    cells: Sequence[str],
    idents: Sequence[str],
    *,
    where: str,
    numbers: Sequence[int],
    faults: FaultList,
) -> tuple[list[int | None], list[Place]]:
    """Match the ids of a table with those of the plots.

    Case does not matter, nor the ``.0`` and the zeros in front that spreadsheet programs add
    and take away, as long as only one plot can be meant.

    Parameters
    ----------
    cells
        Ids in the table.
    idents
        Ids of the plots.
    where
        Name of the table.
    numbers
        Number of each of its rows in the user's program.
    faults
        List that faults are added to: ids that no plot has.
    """
    exact: dict[str, int] = {}
    loose: dict[str, list[int]] = {}
    for at, ident in enumerate(idents):
        exact.setdefault(ident, at)
        loose.setdefault(folded_ident(ident), []).append(at)
    plots: list[int | None] = []
    places: list[Place] = []
    strangers: list[tuple[Place, str]] = []
    for row, cell in zip(numbers, cells, strict=True):
        ident = whole_number(cell)
        near = loose.get(folded_ident(ident), [])
        plot = exact.get(ident, near[0] if len(near) == 1 else None)
        place = (row, ident or None)
        plots.append(plot)
        places.append(place)
        if plot is None and ident:
            close = nearest(ident, idents) if len(strangers) < 50 else []
            hint = _(" Did you mean {close}?").format(close=_(" or ").join(close)) if close else ""
            strangers.append(
                (place, _("There is no plot {ident!r}.{hint}").format(ident=ident[:40], hint=hint))
            )
    if strangers and len(strangers) == sum(1 for cell in cells if cell):
        some = ", ".join(repr(ident) for ident in list(exact)[:3])
        faults.error(
            where,
            _(
                "None of its {n_strangers} rows is of a plot of the map, whose ids are such as "
                "{some}."
            ).format(n_strangers=len(strangers), some=some),
            _(
                "Say which column holds the plot ids: --column id=NAME on the command line, "
                "columns= in Python."
            ),
        )
        return plots, places
    faults.warn_rows(
        where, strangers, together=_("{n} rows are of plots that are not on the map."),
        mend=_("Mend the id, or draw the plot; the row was left out."),
    )  # fmt: skip
    return plots, places


def _listed(
    text: str,
    amount: str,
    plot: int,
    place: Place,
    sheet: Sheet,
    knowledge: Knowledge,
    faults: FaultList,
) -> list[Said]:
    """Read a list; an amount in a column of its own goes with a list of one feature."""
    found = parse_list(text, knowledge)
    for problem in found.problems:
        _say(sheet.where, place, problem, faults)
    if found.complete:
        sheet.everything[plot] = True
        sheet.mentioned[plot] = True
    if not amount or len(found.said) != 1 or found.said[0].amount is not None:
        return list(found.said)
    (said,) = found.said
    sized = parse_cell(amount, knowledge.features[said.feature], knowledge)
    if isinstance(sized, Problem):
        _say(sheet.where, place, sized, faults)
        return [said]
    if sized is None or said.answer != "there":
        return [said]
    return [Said(said.feature, sized.answer, sized.amount, said.sure and sized.sure)]


def yes_no_columns(
    table: pd.DataFrame,
    columns: Mapping[str, str],
    knowledge: Knowledge,
    where: str,
    faults: FaultList,
) -> frozenset[str]:
    """Return columns of 0 and 1 alone whose feature is not counted: 1 is yes there, not one metre.

    Parameters
    ----------
    table
        The whole table.
    columns
        Name of a column -> key of its feature.
    knowledge
        For how features are measured.
    where
        Name of the table.
    faults
        List that a warning is added to where there are any.
    """
    found = []
    for name, key in columns.items():
        cells = {cell for cell in texts(table[name]) if cell}
        if knowledge.features[key].measure != "count" and "1" in cells <= {"0", "1"}:
            found.append(name)
    if found:
        faults.warn(
            where,
            _("There are only 0 and 1 in {found}: 1 was read as there, not as an amount.").format(
                found=", ".join(found)
            ),
            _("Write yes and no, or amounts with their unit (1 m2)."),
        )
    return frozenset(found)


def _say(
    where: str, place: Place, problem: Problem, faults: FaultList, *, column: str | None = None
) -> None:
    what = (
        problem.what
        if column is None
        else _("Column '{column}': {what}").format(column=column, what=problem.what)
    )
    faults.error(where, what, problem.mend, row=place[0], ident=place[1])


def _warn_second_rows(
    plots: Sequence[int | None], places: Sequence[Place], where: str, faults: FaultList
) -> None:
    seen: set[int] = set()
    again: list[tuple[Place, str]] = []
    for plot, place in zip(plots, places, strict=True):
        if plot in seen:
            what = _("The plot has a row already: both count, with the larger of two amounts.")
            again.append((place, what))
        if plot is not None:
            seen.add(plot)
    faults.warn_rows(
        where,
        again,
        together=_("{n} rows are of plots that have a row already: all of them count."),
        mend=_("Keep one row for each plot."),
    )
