"""What of returns could not be used, as rows that can be mended and handed in again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from patchnet.core.cells import as_text
from patchnet.core.texts import _
from patchnet.read.feature_lists import Problem
from patchnet.survey.one_return import Return
from patchnet.survey.survey_record import listed

__all__ = ["MEND_COLUMNS", "Unread"]

MEND_COLUMNS: Mapping[str, str] = {
    "plot": "plot", "feature": "feature", "answer": "answer", "amount": "amount", "unit": "unit",
    "sure": "how sure", "seen_from": "seen from", "surveyor": "surveyor", "when": "date",
    "note": "note", "photo": "photo", "consent": "consent", "street": "street",
    "wrong": "what is wrong", "file": "from file", "row": "row",
}  # fmt: skip
"""What each column of the table is called: as in the survey sheet, so that it is read again."""


@dataclass(frozen=True)
class Unread:
    """Gathers the rows that could not be used, while they are told.

    Attributes
    ----------
    rows
        One a row: return (its position), row number, cells as they were read, what is wrong.
    """

    rows: list[dict[str, object]] = field(default_factory=list)

    def add(self, table: pd.DataFrame, problems: "pd.Series[Any]") -> None:
        """Add rows of returns with what is wrong with each.

        Parameters
        ----------
        table
            Columns ``at`` (position of the return) and those of `SAID`.
        problems
            A `Problem`, or nothing, for each row.
        """
        keys = [key for key in ("at", *MEND_COLUMNS) if key in table.columns and key != "wrong"]
        cells = zip(*(listed(table[key]) for key in keys), strict=True)
        for row, problem in zip(cells, problems, strict=True):
            if isinstance(problem, Problem):
                wrong = f"{problem.what} {problem.mend}".strip()
                self.rows.append({**dict(zip(keys, row, strict=True)), "wrong": wrong})

    def table(self, returns: Sequence[Return], street: str) -> pd.DataFrame:
        """Return the table to mend, columns `MEND_COLUMNS`: one row for each that was not used.

        Parameters
        ----------
        returns
            What was read, in the order in which ``at`` counts.
        street
            Id of the street, so that the table is taken for it.
        """
        by_row: dict[tuple[object, object, object], dict[str, str]] = {}
        for one in self.rows:
            source = returns[int(str(one["at"]))]
            cells = dict.fromkeys(MEND_COLUMNS, "")
            cells.update((key, as_text(cell)) for key, cell in one.items() if key in cells)
            for key in ("surveyor", "seen_from"):
                cells[key] = cells[key] or as_text(source.about.get(key))
            cells["when"] = cells["when"] or as_text(
                source.about.get("began") or source.about.get("saved")
            )
            cells |= {"street": street, "file": source.where, "row": as_text(one["row"])}
            place = (one["at"], one["row"], one["feature"])
            before = by_row.get(place)
            if before is not None and before["wrong"] != cells["wrong"]:
                cells["wrong"] = _("{one} {other}").format(
                    one=before["wrong"], other=cells["wrong"]
                )
            by_row[place] = cells
        rows = sorted(by_row.values(), key=lambda cells: (cells["file"], int(cells["row"] or 0)))
        frame = pd.DataFrame(rows, columns=list(MEND_COLUMNS), dtype=object)
        return frame.rename(columns=dict(MEND_COLUMNS))
