"""Taking a CSV apart: its encoding, the separator of its cells, its rows (RFC 4180)."""

import codecs
import csv
import io
import re
from collections.abc import Collection, Sequence
from itertools import islice

from patchnet.core.fault_list import FaultList
from patchnet.core.table_rows import NoTable, Row, heading, tidied
from patchnet.core.texts import _

__all__ = ["csv_rows"]

_SIGNS = ("\t", ";", ",")  # where two fit equally well, the one that is rarer in words
_LOOKED_AT = 50  # rows by which the separator is told
_HEADINGS = 12  # rows among which there is the heading
_LINE = 100_000  # characters of a line that are read where cells cannot be told apart
_ROWS_NAMED = 20


def csv_rows(
    raw: bytes, where: str, named: str, faults: FaultList, known: Collection[str]
) -> tuple[list[Row], str]:
    """Return the rows of a CSV and the sign between its cells.

    Parameters
    ----------
    raw
        The file's bytes.
    where, named
        How an error and how faults name the file.
    faults
        List that faults are added to.
    known
        Words that its headings may be, folded.

    Raises
    ------
    NoTable
        If it is not text.
    """
    text, assumed = _decoded(raw, where)
    if assumed:
        faults.warn(
            named,
            _("The text is not UTF-8; it was read as {assumed}.").format(assumed=assumed),
            _("If letters look wrong, save it again as CSV (UTF-8)."),
        )
    told = re.match(r"sep=(.)(?:\r\n|\r|\n|$)", text)
    if told:
        text = text[told.end() :]
    sign = told[1] if told else _separator(text, known)
    rows = []
    for number, cells in enumerate(_records(text, sign, named, faults), 1):
        if tidy := tidied(cells):
            rows.append(Row(number, tidy))
    return rows, sign


def _decoded(raw: bytes, where: str) -> tuple[str, str | None]:
    """Return the text, and the encoding if one had to be assumed."""
    for mark, coding in ((codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be")):
        # Without its mark it is told by the zero bytes beside letters of English headings.
        bare = raw[1:8:2] if coding == "utf-16-le" else raw[0:8:2]
        other = raw[0:8:2] if coding == "utf-16-le" else raw[1:8:2]
        if raw.startswith(mark) or (len(bare) == 4 and not any(bare) and all(other)):
            try:
                return raw.removeprefix(mark).decode(coding), None
            except UnicodeDecodeError as error:
                what = _("cannot be read: it is damaged or cut off, or not the UTF-16 it says")
                raise NoTable(where, what, _("save the table again as CSV (UTF-8)")) from error
    try:
        return raw.decode("utf-8-sig"), None
    except UnicodeDecodeError:
        pass  # not UTF-8: older spreadsheet programs write Windows-1252
    if b"\0" in raw:
        raise NoTable(where, _("is not a text file"), _("save the table as CSV (UTF-8) or xlsx"))
    try:
        return raw.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError as error:
        what = _("is not text in UTF-8, UTF-16 or Windows-1252")
        raise NoTable(where, what, _("save it as CSV (UTF-8)")) from error


def _separator(text: str, known: Collection[str]) -> str:
    """Return the sign between cells: it makes most known headings, or else the best table."""
    samples = {sign: _sample(text, sign) for sign in _SIGNS}
    heads = {sign: _first_wide(rows) for sign, rows in samples.items()}
    first = min(heads.values())

    def fit(sign: str) -> tuple[int, int]:
        rows, head = samples[sign], heads[sign]
        folded = [{heading(cell) for cell in cells} for cells in rows[:_HEADINGS]]
        words = max((len(cells.intersection(known)) for cells in folded), default=0)
        # Lists inside cells can hold more separators than there are cells: the heading decides.
        if head > first or head == len(rows):
            return words, 0
        wide = len(rows[head])
        return words, (wide - 1) * sum(len(cells) == wide for cells in rows[head:])

    ranks = {sign: fit(sign) for sign in _SIGNS}
    best = max(_SIGNS, key=ranks.__getitem__)
    return best if any(ranks[best]) else ","


def _sample(text: str, sign: str) -> list[list[str]]:
    rows: list[list[str]] = []
    try:
        for cells in islice(csv.reader(io.StringIO(text, newline=""), delimiter=sign), _LOOKED_AT):
            if any(cell.strip() for cell in cells):
                rows.append(cells)  # noqa: PERF401 - what was read before an error counts
    except csv.Error:
        pass  # told when the whole is read
    return rows


def _first_wide(rows: Sequence[Sequence[str]]) -> int:
    return next((at for at, cells in enumerate(rows) if len(cells) > 1), len(rows))


def _records(text: str, sign: str, named: str, faults: FaultList) -> list[list[str]]:
    if text.count('"') % 2 == 0:
        try:
            return list(csv.reader(io.StringIO(text, newline=""), delimiter=sign))
        except csv.Error:
            pass  # a cell without end: read by lines, and told by its length
    return _by_lines(text, sign, named, faults)


def _by_lines(text: str, sign: str, named: str, faults: FaultList) -> list[list[str]]:
    """Read each line as a row where a quotation mark is not closed, so that it swallows none."""
    records, odd = [], []
    for number, whole in enumerate(re.split(r"\r\n|\r|\n", text), 1):
        line = whole
        if line.count('"') % 2:
            odd.append(str(number))
            line = line.replace('"', "")
        line = line[:_LINE]
        records.append(next(csv.reader([line], delimiter=sign), []))
    if odd:
        faults.warn(
            named,
            _(
                "A quotation mark is not closed (row {odd}): each line was read as a row of its "
                "own."
            ).format(odd=", ".join(odd[:_ROWS_NAMED])),
            _("Look at the notes of these rows."),
        )
    return records
