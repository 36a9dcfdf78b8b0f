"""What merging could not read, as a small table: to be mended, and merged like any return."""

import csv
import io
from pathlib import Path

import pandas as pd

from patchnet.core.cells import harmless
from patchnet.core.errors import CannotWrite, WrongUse
from patchnet.core.files import folder_aside, temporaries_in, write_bytes
from patchnet.core.texts import _
from patchnet.survey.merge import Merged

__all__ = ["write_mend_table"]

_WIDTHS = {"feature": 30, "what is wrong": 90, "from file": 24, "note": 30, "plot": 14}
_WIDTH = 12


def write_mend_table(merged: Merged, path: Path | str) -> Path:
    r"""Write the rows that merging could not use, each with what is wrong, and return the path.

    Columns are those of the survey sheet. Mend the cells and merge the table: it needs nothing
    else, and what is not mended is only told again.

    Parameters
    ----------
    merged
        From `patchnet.merge_survey`.
    path
        An .xlsx, or a .csv.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    WrongUse
        If it ends otherwise.
    CannotWrite
        If it cannot be written.

    Examples
    --------
    >>> import patchnet
    >>> from pathlib import Path
    >>> _ = patchnet.write_demo("demo")
    >>> row = "plot,feature,answer,surveyor,date\nM15B,pnod,there,Ann,2026-05-09\n"
    >>> _ = Path("ann.csv").write_text(row)
    >>> merged = patchnet.merge_survey("demo", "ann.csv", same_street=True)
    >>> merged.to_mend["what is wrong"].str.contains("Did you mean 'pond'").tolist()
    [True]
    >>> patchnet.write_mend_table(merged, "mend.csv").name
    'mend.csv'
    """
    target = Path(path)
    ending = target.suffix.casefold()
    if ending == ".csv":
        write_bytes(target, _csv(merged.to_mend).encode("utf-8"))
    elif ending == ".xlsx":
        try:
            with folder_aside(target.parent) as aside, temporaries_in(aside):
                content = _xlsx(merged.to_mend)
        except OSError as error:
            reason = error.strerror or str(error)
            raise CannotWrite(
                _("{path} cannot be written: {reason}.").format(path=target, reason=reason)
            ) from error
        write_bytes(target, content)
    else:
        raise WrongUse(
            _("{path}: the table to mend is written as .xlsx or .csv.").format(path=target)
        )
    return target


def _csv(table: pd.DataFrame) -> str:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(table.columns)
    for row in table.itertuples(index=False):
        writer.writerow([harmless(str(cell)) for cell in row])
    return "\N{ZERO WIDTH NO-BREAK SPACE}" + out.getvalue()


def _xlsx(table: pd.DataFrame) -> bytes:
    from openpyxl import Workbook

    from patchnet.pages.survey.workbook import (  # noqa: PLC0415 - as above
        put_header,
        put_row,
        same_bytes,
    )

    book = Workbook()
    sheet = book.active
    sheet.title = _("To mend")
    names = [str(name) for name in table.columns]
    put_header(sheet, names, [_WIDTHS.get(name, _WIDTH) for name in names])
    for at, row in enumerate(table.itertuples(index=False), 2):
        put_row(sheet, at, [str(cell) for cell in row])
        for column in ("plot", "date", "amount"):  # as text, or 3-4 becomes the third of April
            sheet.cell(at, names.index(column) + 1).number_format = "@"
    out = io.BytesIO()
    book.save(out)
    return same_bytes(out.getvalue())
