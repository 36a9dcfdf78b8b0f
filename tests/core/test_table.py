"""The one reader of tables: how it tells what a file is, and what it says of a poor one."""

import io
import string
import zipfile
from datetime import date, datetime

import openpyxl
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from patchnet.core import workbook as workbook_code
from patchnet.core.errors import CannotRead
from patchnet.core.fault_list import FaultList
from patchnet.core.numbers import parse_number, with_points, writes_decimal_comma
from patchnet.core.table import NoTable, cell_text, heading, read_table, sheets_of, table_of


def read(raw, *, known=(), encoding="utf-8"):
    """Columns, (number, cells) of each row, and faults of a file's bytes."""
    faults = FaultList()
    raw = raw.encode(encoding) if isinstance(raw, str) else raw
    table = table_of(sheets_of(raw, "t.csv", faults, known=known), "t.csv", faults, known=known)
    rows = [(row.number, list(row.cells)) for row in table.rows]
    return list(table.columns), rows, [str(fault) for fault in faults.faults]


def workbook(*sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets:
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


# what is between the cells --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "columns"),
    [
        ("id,what\n1,pond; bog; log; tree\n2,pond; tree; bog; log\n", ["id", "what"]),
        ("id;what, in words; size\n1;pond, small;2,5\n", ["id", "what, in words", "size"]),
        ("id;size\n1;2,5\n2;3,5\n", ["id", "size"]),
        ('"a;b","c;d"\n1,2\n', ["a;b", "c;d"]),
        ("a b\tc, d; e\n1\t2\n", ["a b", "c, d; e"]),
        ("sep=|\na|b,c\n1|2\n", ["a", "b,c"]),
        ("A title, in words\nplot;name\n1;Ann\n", ["plot", "name"]),
        ("one column\nalone\n", ["one column"]),
    ],
)
def test_the_sign_between_cells(text, columns):
    known = ("plot", "name") if "title" in text else ()
    assert read(text, known=known)[0] == columns


def test_rows_have_the_numbers_that_a_spreadsheet_program_gives_them():
    """Row 1 is empty, the cell in row 3 has two lines, row 4 is empty, row 6 has nothing but ;."""
    text = '\r\nid;note\r\n1;"two\r\nlines"\r\n\r\n2;\r\n;\r\n3;x\r\n'
    columns, rows, faults = read(text)
    assert columns == ["id", "note"]
    assert rows == [(3, ["1", "two\r\nlines"]), (5, ["2", ""]), (7, ["3", "x"])]
    assert faults == []


def test_a_quotation_mark_that_is_not_closed_swallows_no_row():
    text = 'id,note\n1,"6 inches\n2,"a, b"\n3,x\n'
    _, rows, faults = read(text)
    assert rows == [(2, ["1", "6 inches"]), (3, ["2", "a, b"]), (4, ["3", "x"])]
    assert "not closed (row 2)" in faults[0]


# what is told ---------------------------------------------------------------------------------


def test_every_fault_of_the_shape_stands_in_one_list():
    text = "plot,note,note,plot\n1,a,b,1,too much\n2,a,b,2,,,far\n"
    columns, _, faults = read(text, known=("plot",))
    assert columns == ["plot", "note", "note", "plot"]
    twice = "stands there more than once. Keep one of them."
    beyond = "There are cells beyond the last column:"
    mend = "Put text that holds the separator in quotation marks, or give the column a name."
    assert faults == [
        f"error: t.csv, row 1: The column 'plot' {twice}",
        f"warning: t.csv, row 1: The column 'note' {twice}",
        f"error: t.csv, row 2: {beyond} 'too much'. {mend}",
        f"error: t.csv, row 3: {beyond} 'far'. {mend}",
    ]


def test_a_thousand_rows_alike_are_not_told_one_by_one():
    _, _, faults = read("a,b\n" + "1,2,3\n" * 1000)
    assert len(faults) == 20
    assert "So it is in 1000 rows" in faults[0]


def test_headings_are_compared_without_signs_and_case():
    odd = ["Plot_ID", "plot-id", " PLOT\N{NO-BREAK SPACE}id", "Plot (ID)", "Pl\N{SOFT HYPHEN}ot.Id"]
    assert {heading(name) for name in odd} == {"plot id"}
    assert heading("Gro\u0308ße") == heading("GRÖßE")


def test_a_frame_has_a_name_for_every_column():
    faults = FaultList()
    table = table_of(sheets_of(b"a,,a\n1,2,3\n", "t", faults), "t", faults)
    assert list(table.frame().columns) == ["a", "column 2", "a (2)"]


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "t.csv is empty."),
        (b"\xef\xbb\xbf\r\n , ,\r\n", "t.csv is empty."),
        (b"a,b\n\x00\x81\xff", "is not a text file"),
        (b"a,b\n1,\x81", "is not text in UTF-8, UTF-16 or Windows-1252"),
        (b"\xff\xfea\x00b", "damaged or cut off"),
        (b"PK\x03\x04 cut off", "damaged, cut off"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(500), "an old kind, or locked by a password"),
        (workbook(("Empty", [])), "is empty"),
    ],
)
def test_what_is_no_table(raw, words):
    with pytest.raises(NoTable, match=words):
        read(raw)


def packed(**members):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, content in members.items():
            file.writestr(name.replace("__", "/").replace("_xml", ".xml"), content)
    return out.getvalue()


def test_what_is_packed_otherwise_is_named():
    sheet = packed(mimetype="application/vnd.oasis.opendocument.spreadsheet", content_xml="<a/>")
    with pytest.raises(NoTable, match="save it as xlsx or CSV"):
        read(sheet)
    with pytest.raises(NoTable, match="unpack it"):
        read(packed(survey="a,b"))


def test_files_that_are_not_there(tmp_path):
    with pytest.raises(CannotRead, match="There is no file"):
        read_table(tmp_path / "none.csv", FaultList())
    with pytest.raises(CannotRead, match="is a folder"):
        read_table(tmp_path, FaultList())


# workbooks ------------------------------------------------------------------------------------


def test_cells_of_every_type():
    values = [
        None, " text\N{NO-BREAK SPACE}", 3, 3.0, 2.5, True, date(2026, 5, 2),
        datetime(2026, 5, 2, 10, 30),  # noqa: DTZ001 - a spreadsheet knows no zones
    ]  # fmt: skip
    texts = ["", "text", "3", "3", "2.5", "yes", "2026-05-02", "2026-05-02T10:30:00"]
    assert [cell_text(value) for value in values] == texts
    head = [f"c{at}" for at in range(len(values))]
    _, rows, _ = read(workbook(("Sheet", [head, values])))
    assert rows == [(2, texts)]


def test_the_sheet_with_the_heading_counts():
    """The first sheet tells how to fill it in; the second has the words of the table."""
    about = ("About", [["Read", "me"], ["a", "b"]])
    table = ("Round 1", [["Our street"], [], ["Plot", "answer"], [1, "x"]])
    columns, rows, _ = read(workbook(about, table), known=("plot", "answer"))
    assert columns == ["Plot", "answer"]
    assert rows == [(4, ["1", "x"])]
    assert read(workbook(about, table))[0] == ["Read", "me"]


def test_a_cell_merged_over_rows_counts_in_each_and_over_columns_in_the_first():
    book = openpyxl.Workbook()
    sheet = book.active
    for row in (["A title"], ["plot", "what", "note"], [1, "pond", "a"], [None, "bog", None], [2]):
        sheet.append(row)
    sheet.merge_cells("A1:C1")
    sheet.merge_cells("A3:A4")
    sheet.merge_cells("B5:C5")
    out = io.BytesIO()
    book.save(out)
    columns, rows, _ = read(out.getvalue())
    assert columns == ["plot", "what", "note"]
    assert rows == [(3, ["1", "pond", "a"]), (4, ["1", "bog", ""]), (5, ["2", "", ""])]


def test_a_cell_at_the_far_corner_takes_no_memory():
    """A workbook of 5 kB whose last cell is XFD1048576: only rows that hold anything are kept."""
    book = openpyxl.Workbook()
    book.active["A1"], book.active["B1"], book.active["A2"] = "id", "note", 7
    book.active["XFD1048576"] = "far"
    out = io.BytesIO()
    book.save(out)
    faults = FaultList()
    (sheet,) = sheets_of(out.getvalue(), "t", faults)
    assert [row.number for row in sheet.rows] == [1, 2, 1_048_576]


def test_millions_of_merged_cells_are_refused():
    raw = workbook(("Sheet", [["id", "note"], [1, "x"]]))
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            merged = b'</sheetData><mergeCells count="1"><mergeCell ref="A1:XFD1048576"/>'
            content = old.read(name).replace(b"</sheetData>", merged + b"</mergeCells>")
            new.writestr(name, content)
    with pytest.raises(NoTable, match="millions of merged cells"):
        read(out.getvalue())


def test_a_sheet_with_merged_cells_is_refused_from_fifty_million_cells_on(monkeypatch):
    """It must be held whole: 5 rows of 3 columns are 15 cells."""
    book = openpyxl.Workbook()
    book.active.append(["plot", "what", "note"])
    book.active["A5"] = "x"
    book.active.merge_cells("A2:A3")
    out = io.BytesIO()
    book.save(out)
    assert workbook_code._CELLS_MOST == 50_000_000
    monkeypatch.setattr(workbook_code, "_CELLS_MOST", 15)
    assert read(out.getvalue())[0] == ["plot", "what", "note"]
    monkeypatch.setattr(workbook_code, "_CELLS_MOST", 14)
    with pytest.raises(NoTable, match="cannot be read"):
        read(out.getvalue())


@pytest.mark.parametrize(("most", "refused"), [(8, False), (7, True)])
def test_two_merged_areas_together_have_so_many_cells(monkeypatch, most, refused):
    """2 x 3 cells and 1 x 2 are 8."""
    book = openpyxl.Workbook()
    book.active.append(["plot", "what", "note"])
    book.active.merge_cells("A2:C3")
    book.active.merge_cells("B5:B6")
    out = io.BytesIO()
    book.save(out)
    monkeypatch.setattr(workbook_code, "_MERGED_MOST", most)
    if refused:
        with pytest.raises(NoTable, match="millions of merged cells"):
            read(out.getvalue())
    else:
        assert read(out.getvalue())[0] == ["plot", "what", "note"]


def test_what_unpacks_to_too_much_is_refused(monkeypatch):
    """4 MB of noughts, where 3 are allowed."""
    out = io.BytesIO(workbook(("Sheet", [["id", "note"], [1, "x"]])))
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/media/image1.png", b"\0" * 2**22)
    monkeypatch.setattr(workbook_code, "_UNPACKED_MOST", 3 * 2**20)
    with pytest.raises(NoTable, match="unpacks to more than 3 MB: copy its table"):
        read(out.getvalue())
    monkeypatch.undo()
    assert workbook_code._UNPACKED_MOST == 200 * 2**20
    assert read(out.getvalue())[0] == ["id", "note"]


def test_a_sheet_of_too_many_rows_is_refused(monkeypatch):
    raw = workbook(("Sheet", [["id", "note"], [1, "x"], [], [2, "y"]]))
    monkeypatch.setattr(workbook_code, "_LONGEST", 3)
    assert [number for number, _ in read(raw)[1]] == [2, 4]
    monkeypatch.setattr(workbook_code, "_LONGEST", 2)
    with pytest.raises(NoTable, match="has more than 2 rows in the sheet 'Sheet'"):
        read(raw)


@pytest.mark.parametrize(("lines", "columns"), [(49, ["id", "size"]), (50, ["note 0"])])
def test_the_sign_is_told_by_the_first_fifty_rows(lines, columns):
    """Rows of one cell, then a table with semicolons: its heading is row 50, or too late."""
    text = "".join(f"note {k}\n" for k in range(lines)) + "id;size\n1;2\n"
    faults = FaultList()
    (sheet,) = sheets_of(text.encode(), "t.csv", faults)
    assert len(sheet.rows[-1].cells) == len(columns)


@pytest.mark.parametrize(("before", "found"), [(11, True), (12, False)])
def test_the_heading_is_among_the_first_twelve_rows(before, found):
    text = "".join(f"note {k}\n" for k in range(before)) + "id,size\n1,2\n"
    columns, rows, faults = read(text)
    if found:
        assert (columns, rows, faults) == (["id", "size"], [(13, ["1", "2"])], [])
    else:
        assert columns == ["note 0"]
        assert any("beyond the last column: 'size'" in fault for fault in faults)


def test_the_longest_cell_that_is_taken():
    """As many letters as a cell of a spreadsheet may hold (ECMA-376: 32,767) are no fault."""
    assert read("id,note\n1," + "x" * 32_767 + "\n")[2] == []
    (fault,) = read("id,note\n1," + "x" * 32_768 + "\n")[2]
    assert "row 2: The cell 'note' is longer than any spreadsheet allows" in fault


def test_alike_headings_get_a_number_in_a_frame():
    faults = FaultList()
    raw = b"a,b,a,,a\n1,2,3,4,5\n"
    table = table_of(sheets_of(raw, "t.csv", faults), "t.csv", faults)
    assert list(table.frame().columns) == ["a", "b", "a (2)", "column 4", "a (3)"]
    ((number, record),) = table.records()
    assert (number, record) == (2, {"a": "1", "b": "2", "": "4"})
    assert table.column_of({"a"}) == 0
    assert table.column_of({"z"}) is None


# numbers --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cells", "comma"),
    [
        (["2,5", "x"], True), (["0,125"], True), (["1.200,5"], True), (["1,200"], None),
        (["1,200", "2.5"], False), (["2,5", "2.5"], False), (["1,200", "-0,5"], True), ([], None),
    ],
)  # fmt: skip
def test_which_decimals_a_table_writes(cells, comma):
    assert writes_decimal_comma(cells) is comma


def test_numbers_with_a_comma_get_a_point_and_nothing_else_does():
    cells = ["2,5", "1.200,5", "-0,5", ",5", "1,200", "a 2,5", "2,5,1", "2.5", "pond, 2"]
    assert [with_points(cell) for cell in cells] == [
        "2.5", "1200.5", "-0.5", ".5", "1.200", "a 2,5", "2,5,1", "2.5", "pond, 2",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "value"),
    [("a;b\n1;1,200\n", "1.200"), ('a,b\n1,"1,200"\n', "1,200"), ("a\tb\n0,5\t1,200\n", "1.200")],
)
def test_a_thousand_or_one_and_a_bit(text, value):
    """With semicolons between cells the comma is the decimal's; alone it can mean either."""
    assert read(text)[1][0][1][1] == value


# properties -----------------------------------------------------------------------------------

PLAIN = st.text(string.ascii_letters + "äöß,;\t\"' ", max_size=12).map(str.strip)
ROWS = st.lists(st.lists(PLAIN, min_size=3, max_size=3), max_size=6)


@settings(max_examples=80, deadline=None)
@example(rows=[["", "", "'\t;"]], sign=",", coding="utf-8-sig")
@given(rows=ROWS, sign=st.sampled_from(",;\t"), coding=st.sampled_from(["utf-8-sig", "utf-16"]))
def test_what_is_written_is_read(rows, sign, coding):
    head = ["plot", "what", "note"]
    lines = [
        sign.join('"' + cell.replace('"', '""') + '"' for cell in row) for row in [head, *rows]
    ]
    columns, found, faults = read("\r\n".join(lines), known=("plot",), encoding=coding)
    assert columns == head
    assert [row for _, row in found] == [row for row in rows if any(row)]
    assert faults == []


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(raw=st.one_of(st.binary(max_size=200), st.text(max_size=100).map(str.encode)))
def test_any_bytes_give_a_table_or_one_sentence(raw):
    try:
        columns, rows, _ = read(raw)
    except NoTable as error:
        assert str(error).startswith("t.csv ")  # noqa: PT017 - either is right
        return
    assert all(len(cells) == len(columns) for _, cells in rows)


@given(number=st.floats(0, 1e9).filter(lambda value: value == 0 or value > 1e-3))
def test_a_number_is_read_as_it_was_written_with_either_mark(number):
    text = f"{number:.4f}"
    assert parse_number(text) == float(text)
    assert float(with_points(text.replace(".", ","))) == float(text)
