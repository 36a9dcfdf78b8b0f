"""A table of one row a plot, as many groups keep it, made into statements.

Either one column lists what is there, or each feature has a column (see the README). What is not
said is not known, unless the row says that all was seen.
"""

from collections.abc import Iterator
from dataclasses import replace

import pandas as pd

from patchnet.core.fault_list import FaultList
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.columns import Columns, find_columns
from patchnet.read.feature_lists import Problem, Said, parse_cell, parse_list
from patchnet.read.feature_table import seen_all, yes_no_columns
from patchnet.survey.one_return import SAID, PlotTable, Return

__all__ = ["with_statements"]

_ROLES = ("seen", "features", "amount")


def with_statements(one: Return, knowledge: Knowledge, faults: FaultList) -> Return:
    """Return a return whose table of plots, if it has one, is taken apart into statements.

    A cell that cannot be read becomes a row as it is written, so that it is told, and can be
    mended, like any other.

    Parameters
    ----------
    one
        As read.
    knowledge
        For the words of features, answers and units.
    faults
        List that faults are added to: columns not read, words for how much was seen.
    """
    if one.plot_table is None:
        return one
    table = one.plot_table
    columns = find_columns(table.frame, _ROLES, knowledge, said=table.roles, with_features=True)
    _tell_unread(one.where, table, columns, faults)
    yes_no = yes_no_columns(table.frame, columns.feature, knowledge, one.where, faults)
    rows = []
    for at, base in enumerate(one.said.to_dict("records")):
        cells = {str(name): str(cell) for name, cell in table.frame.iloc[at].items()}
        told = list(_told(cells, columns, yes_no, knowledge))
        seen = cells.get(columns.role.get("seen", ""), "")
        everything, readable = seen_all(seen, knowledge)
        everything |= _complete(cells, columns, knowledge)
        if everything and any("unread" in row for row in told):
            # What cannot be read may be any feature: none may be said not to be there.
            everything = False
            faults.warn(
                one.where,
                _("Something in the row cannot be read, so what it does not name is not known."),
                _("Mend it in your table, and merge that anew."),
                row=base["row"],
            )
        if not readable:
            what = _("'{text}' in the column seen was read as part.").format(text=seen[:40])
            faults.warn(one.where, what, _("Write all, part or none."), row=base["row"])
        if everything:
            named = {row["feature"] for row in told}
            told += [
                {"feature": key, "answer": "not there"}
                for key, feature in knowledge.features.items()
                if key not in named and not feature.unseen
            ]
        blank = {"answer": "", "amount": "", "feature": "", "unit": "", "sure": base["sure"]}
        rows += [{**base, **blank, **row, "consent": ""} for row in told]
        if base["consent"]:
            rows.append({**base, **blank})
    said = pd.DataFrame(rows, columns=list(SAID), dtype=object)
    return replace(one, said=said, plot_table=None)


def _told(
    cells: dict[str, str], columns: Columns, yes_no: frozenset[str], knowledge: Knowledge
) -> Iterator[dict[str, str]]:
    """Give what one row says: feature, answer, amount, how sure."""
    for name, key in columns.feature.items():
        one = parse_cell(cells[name], knowledge.features[key], knowledge)
        if isinstance(one, Problem):
            yield {"feature": key, "answer": cells[name], "unread": "y"}
        elif one is not None:
            yield _row(Said(key, one.answer, None, one.sure) if name in yes_no else one)
    found = parse_list(cells.get(columns.role.get("features", ""), ""), knowledge)
    amount = cells.get(columns.role.get("amount", ""), "")
    for said in found.said:
        alone = amount if len(found.said) == 1 and said.amount is None else ""
        yield _row(said) | ({"amount": alone} if alone else {})
    for problem in found.problems:
        yield {"feature": problem.item, "answer": "there", "unread": "y"}


def _row(said: Said) -> dict[str, str]:
    answer = "cannot see" if said.answer == "not known" else said.answer
    row = {"feature": said.feature, "answer": answer}
    if said.amount is not None:
        row["amount"] = repr(said.amount)
    if not said.sure:
        row["sure"] = "not sure"
    return row


def _complete(cells: dict[str, str], columns: Columns, knowledge: Knowledge) -> bool:
    return parse_list(cells.get(columns.role.get("features", ""), ""), knowledge).complete


def _tell_unread(where: str, table: PlotTable, columns: Columns, faults: FaultList) -> None:
    taken = {*columns.role.values(), *columns.feature}
    unread = [name for name in map(str, table.frame.columns) if name not in taken]
    if unread:
        faults.warn(
            where,
            _("These columns were not read: {unread}.").format(unread=", ".join(unread[:12])),
            _("Name a column as the feature is called ('patchnet features' lists the words)."),
        )
