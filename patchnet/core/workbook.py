"""The sheets of an xlsx workbook (ISO/IEC 29500) as rows of text."""

import io
import re
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.utils.cell import range_boundaries

from patchnet.core.errors import CannotRead
from patchnet.core.open_file import trouble
from patchnet.core.read_limits import read_limit
from patchnet.core.table_rows import NoTable, Row, Sheet, cell_text, tidied
from patchnet.core.texts import _

__all__ = ["workbook_sheets"]

_LONGEST = int(read_limit("sheet_rows"))
_UNPACKED_MOST = read_limit("sheet_unpacked_mb") * 2**20
_MERGED_MOST = 2_000_000  # cells
_CELLS_MOST = 50_000_000  # of a sheet with merged cells, empty ones too
_MERGED = re.compile(rb"mergeCell\s[^>]*?ref=[\"']([A-Z]+[0-9]+:[A-Z]+[0-9]+)[\"']")


def workbook_sheets(raw: bytes, where: str) -> list[Sheet]:
    """Return the sheets of a workbook.

    Parameters
    ----------
    raw
        The file's bytes.
    where
        How an error names the file.

    Raises
    ------
    NoTable
        If it is damaged, locked, too large, or packed but no workbook.
    """
    try:
        with trouble(Path(where)):
            merged = _unpacks(raw, where)
            # Read row by row where that will do: it takes a tenth of the memory.
            book = openpyxl.load_workbook(
                io.BytesIO(raw), read_only=not merged, data_only=True, keep_links=False
            )
            sheets = [
                Sheet(str(one.title), _sheet_rows(one, where, merged)) for one in book.worksheets
            ]
            book.close()
    except NoTable:
        raise
    except CannotRead as error:
        what = _(
            "cannot be read: it is damaged, cut off, locked by a password, or not an xlsx workbook"
        )
        mend = _("open it in your spreadsheet program and save it again")
        raise NoTable(where, what, mend) from error
    return sheets


def _unpacks(raw: bytes, where: str) -> bool:
    """Look at a workbook before it is unpacked; return whether cells of it are merged."""
    with zipfile.ZipFile(io.BytesIO(raw)) as packed:
        members = packed.infolist()
        names = {member.filename for member in members}
        if "xl/workbook.xml" not in names:
            kind = packed.read("mimetype") if "mimetype" in names else b""
            what = _("is packed, but is not an xlsx workbook")
            mend = (
                _("save it as xlsx or CSV (UTF-8)") if b"opendocument" in kind else _("unpack it")
            )
            raise NoTable(where, what, mend)
        if sum(member.file_size for member in members) > _UNPACKED_MOST:
            what = _("unpacks to more than {unpacked_most:.0f} MB").format(
                unpacked_most=_UNPACKED_MOST / 2**20
            )
            raise NoTable(where, what, _("copy its table into a new workbook"))
        areas = [
            area
            for member in members
            if member.filename.startswith("xl/worksheets/")
            for area in _merged_areas(packed, member.filename)
        ]
    if sum((right - left + 1) * (low - top + 1) for left, top, right, low in areas) > _MERGED_MOST:
        raise NoTable(where, _("has millions of merged cells"), _("take the merging back"))
    return bool(areas)


def _merged_areas(packed: zipfile.ZipFile, name: str) -> list[tuple[int, int, int, int]]:
    """Return left, top, right and bottom of each merged area, which stand behind the cells."""
    before = b""
    with packed.open(name) as content:
        while chunk := content.read(1 << 20):
            text = before + chunk
            if b"mergeCells" in text:
                found = _MERGED.findall(text[text.index(b"mergeCells") :] + content.read())
                return [range_boundaries(area.decode()) for area in found]
            before = chunk[-len(b"mergeCells") :]
    return []


def _sheet_rows(sheet: Any, where: str, merged: bool) -> list[Row]:  # noqa: ANN401, FBT001 - either kind of sheet
    down = _cells_below(sheet) if merged else {}
    if not merged:
        sheet.reset_dimensions()  # some programs write a size that is too small
    rows = []
    blank: object = None
    for number, values in enumerate(sheet.iter_rows(values_only=True), 1):
        if values is blank and number not in down:
            continue  # of a million rows between two, all are this one
        if not any(cell is not None for cell in values):
            blank = values
        found = list(values)
        for at, text in down.get(number, {}).items():
            found[at] = text
        if cells := tidied(found):
            rows.append(Row(number, cells))
        if len(rows) > _LONGEST:
            what = _("has more than {longest:,} rows in the sheet {title!r}").format(
                longest=_LONGEST, title=str(sheet.title)[:40]
            )
            raise NoTable(where, what, _("hand it in in parts"))
    return rows


def _cells_below(sheet: Any) -> dict[int, dict[int, str]]:  # noqa: ANN401 - openpyxl has no types
    """Return row -> column -> text: a cell merged over rows counts in each, over columns once."""
    if sheet.max_row * sheet.max_column > _CELLS_MOST:
        raise CannotRead(_("The sheet {title} is too large.").format(title=sheet.title))
    down: dict[int, dict[int, str]] = {}
    for area in sheet.merged_cells.ranges:
        text = cell_text(sheet.cell(area.min_row, area.min_col).value)
        for number in range(area.min_row + 1, area.max_row + 1) if text else ():
            down.setdefault(number, {})[area.min_col - 1] = text
    return down
