"""The same table as any program saves it is the same to every reader: no command is pickier."""

import csv
import io
from datetime import date

import geopandas as gpd
import openpyxl
import pyogrio
import pytest
import shapely

from patchnet.core.fault_list import FaultList
from patchnet.knowledge import load_knowledge
from patchnet.movement.land_cover import read_class_costs
from patchnet.read import read_neighbourhood
from patchnet.street.keepers import keepers_in
from patchnet.street.measured import read_measured
from patchnet.survey.merge import merge_returns

EAST, NORTH = 450_000.0, 210_000.0
TODAY = date(2026, 6, 1)


# tables as programs save them -----------------------------------------------------------------


def as_text(value, mark):
    if value is None:
        return ""
    return repr(value).replace(".", mark) if isinstance(value, float) else str(value)


def saved_csv(path, rows, *, sign, encoding="utf-8", mark=".", line="\r\n", head="", quote=False):
    out = io.StringIO(newline="")
    writer = csv.writer(
        out,
        delimiter=sign,
        lineterminator=line,
        quoting=csv.QUOTE_ALL if quote else csv.QUOTE_MINIMAL,
    )
    writer.writerows([[as_text(cell, mark) for cell in row] for row in rows])
    path.write_bytes((head + out.getvalue()).encode(encoding))
    return path


def spaced(rows):
    """Headings with odd spaces and capitals, as they come out of a web page or a wrapped cell."""
    odd = [f"\N{NO-BREAK SPACE} {name.upper()}\N{ZERO WIDTH SPACE} " for name in rows[0]]
    odd[1] = odd[1].replace(" ", "\N{NO-BREAK SPACE} ")
    return [odd, *rows[1:]]


def gappy(rows):
    """Empty rows above, between and below, and empty columns at the end of some."""
    blank = [None] * len(rows[0])
    body = [row for each in rows[1:] for row in (each, [*blank, None])]
    return [blank, rows[0], blank, *body, blank, blank]


def saved_xlsx(path, rows, *, text=False, size=None):
    book = openpyxl.Workbook()
    sheet = book.active
    for row in rows:
        sheet.append([as_text(cell, ".") if text else cell for cell in row])
    book.create_sheet("Notes")["A1"] = "What we wrote down on Saturday"
    if size is not None:
        sheet.calculate_dimension = lambda: size  # some programs write a size that is too small
    book.save(path)
    return path


def merged_xlsx(path, rows):
    """A title over all columns, and cells alike one below the other merged, by their first."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["A title of our own, spring 2026"])
    sheet.merge_cells(start_row=1, end_row=1, start_column=1, end_column=len(rows[0]))
    for row in rows:
        sheet.append(row)
    for column in range(1, len(rows[0]) + 1):
        for number in range(3, len(rows) + 1):
            here, below = sheet.cell(number, column), sheet.cell(number + 1, column)
            if here.value is not None and here.value == below.value:
                sheet.merge_cells(
                    start_row=number, end_row=number + 1, start_column=column, end_column=column
                )
                break
    book.save(path)
    return path


DIALECTS = {
    "comma": lambda path, rows: saved_csv(path, rows, sign=","),
    "comma, all quoted": lambda path, rows: saved_csv(path, rows, sign=",", quote=True),
    "comma, decimal comma": lambda path, rows: saved_csv(path, rows, sign=",", mark=","),
    "semicolon, mark": lambda path, rows: saved_csv(path, rows, sign=";", encoding="utf-8-sig"),
    "semicolon, decimal comma, cp1252": lambda path, rows: saved_csv(
        path, rows, sign=";", mark=",", encoding="cp1252"
    ),
    "tab, UTF-16": lambda path, rows: saved_csv(path, rows, sign="\t", encoding="utf-16"),
    "tab, UTF-16, decimal comma, no mark": lambda path, rows: saved_csv(
        path, rows, sign="\t", mark=",", encoding="utf-16-le"
    ),
    "tab, UTF-16 from the big end": lambda path, rows: saved_csv(
        path, rows, sign="\t", encoding="utf-16-be", head="\ufeff"
    ),
    "tab, cp1252": lambda path, rows: saved_csv(path, rows, sign="\t", encoding="cp1252"),
    "line feeds": lambda path, rows: saved_csv(path, rows, sign=";", line="\n"),
    "carriage returns": lambda path, rows: saved_csv(path, rows, sign=",", line="\r"),
    "sep=": lambda path, rows: saved_csv(path, rows, sign=";", head="sep=;\r\n"),
    "odd headings": lambda path, rows: saved_csv(path, spaced(rows), sign=","),
    "empty rows": lambda path, rows: saved_csv(path, gappy(rows), sign=";", mark=","),
    "xlsx": saved_xlsx,
    "xlsx, all text": lambda path, rows: saved_xlsx(path, rows, text=True),
    "xlsx, odd headings, empty rows": lambda path, rows: saved_xlsx(path, gappy(spaced(rows))),
    "xlsx, size said wrong": lambda path, rows: saved_xlsx(path, rows, size="A1"),
    "xlsx, merged": merged_xlsx,
}


# what reads them ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def street(tmp_path_factory):
    path = tmp_path_factory.mktemp("map") / "street.gpkg"
    table = gpd.GeoDataFrame(
        {"id": ["1", "2", "3"], "kind": "garden"},
        geometry=[
            shapely.box(EAST + x, NORTH, EAST + x + 20, NORTH + 30) for x in (0.0, 20.0, 40.0)
        ],
        crs="EPSG:27700",
    )
    pyogrio.write_dataframe(table, path, layer="plots", driver="GPKG")
    return path


def overlay(save, folder, _street):
    """Own numbers of the newt: 1.125 with three decimals, as 1,125 it is no thousand."""
    row = ["newt", "hop", None, 1.5, "m", 1.125, 60, "assumption", "patchnet", "Größe; 2, 3"]
    other = ["newt", "d50", None, 70, "m", 40.25, 90, "assumption", "patchnet", None]
    head = ["group", "quantity", "resource", "value", "unit", "low", "high", "class", "source"]
    save(folder, "group_figures", [[*head, "note"], row, other])
    newt = load_knowledge(folder).groups["newt"]
    return [(one.value, one.low, one.high, one.note) for one in (newt.hop, newt.d50)]


def features(save, folder, street):
    rows = [
        ["Plot ID", "pond", "tree", "features", "Who said so"],
        [1, 2.5, 2, "bulbs; log pile 3", "Zoë; Größe, 2"],
        [2, 1.125, "no", "12,5 m2 lawn; no shrub", None],
        [3, None, 2, None, None],
    ]
    path = save(folder, "what is there", rows)
    answers = read_neighbourhood(street, features=path, knowledge=load_knowledge()).answers
    return answers.table().fillna(-1).to_numpy().tolist()


def costs(save, folder, _street):
    rows = [["Class", "cost", "name"], [1, 1.5, "Größe"], [2, "closed", None], [3, 1.125, "a,b;c"]]
    return read_class_costs(save(folder, "costs", rows))


def keepers(save, folder, street):
    rows = [
        ["Name", "plot", "x", "y", "litres"],
        ["Zoë, at 3", 3, None, None, 32.5],
        ["Ann; Bob", None, 450_010.5, 210_020.25, 1.125],
    ]
    faults = FaultList()
    hood = read_neighbourhood(street, knowledge=load_knowledge())
    found = keepers_in(save(folder, "taps", rows), hood, faults)
    assert not faults.errors, faults.faults
    return [(one.name, one.litres, one.place.x, one.place.y) for one in found]


def returns(save, folder, street):
    rows = [
        ["Plot", "feature", "answer", "amount", "unit", "surveyor", "date", "note"],
        [1, "pond", "there", 2.5, "m2", "Zoë", "2026-05-02", "Größe, said\ntwice; so"],
        [1, "tree", "there", 2, None, "Zoë", "2026-05-02", None],
        [2, "lawn", "there", 1.125, "m2", "Zoë", "2026-05-02", None],
        [3, "pond", "not there", None, None, "Zoë", "2026-05-02", "-"],
    ]
    path = save(folder, "filled in", rows)
    merged = merge_returns(
        street, [path], knowledge=load_knowledge(), today=TODAY, same_street=True
    )
    assert not [fault for fault in merged.faults if fault.severity == "error"], merged.faults
    table = merged.records.statements.drop(columns="statement")
    return table.fillna(-1).sort_values(["plot", "feature"]).to_numpy().tolist()


def taped(save, folder, _street):
    rows = [
        ["place", "x", "y", "footway_m", "girth_cm", "things", "by", "date"],
        ["L012.0", 450_010.5, 210_020.25, 3.45, 94, "gully 0.8; door 2", "Zoë; Größe, 2", None],
        ["R004.0", None, None, None, 62.5, "none", None, None],
    ]
    found = read_measured(save(folder, "tape", rows), knowledge=load_knowledge())
    return [
        (one.place, one.x, one.y, one.footway_m, one.girth_m, one.things, one.by)
        for one in found.values()
    ]


READERS = {one.__name__: one for one in (overlay, features, costs, keepers, returns, taped)}


@pytest.mark.parametrize("dialect", DIALECTS)
@pytest.mark.parametrize("reader", READERS)
def test_the_same_table_reads_the_same_everywhere(reader, dialect, street, tmp_path):
    def save(folder, stem, rows, kind=dialect):
        folder.mkdir(exist_ok=True)
        path = folder / f"{stem}.{'xlsx' if kind.startswith('xlsx') else 'csv'}"
        return DIALECTS[kind](path, rows)

    def plain(folder, stem, rows):
        return save(folder, stem, rows, "comma")

    found = READERS[reader](save, tmp_path / "as saved", street)
    assert found == READERS[reader](plain, tmp_path / "plain", street)


def test_what_the_plain_table_says(street, tmp_path):
    """The values themselves, so that all readers cannot be wrong alike."""

    def plain(folder, stem, rows):
        return saved_csv(folder / f"{stem}.csv", rows, sign=",")

    assert overlay(plain, tmp_path, street) == [
        (1.5, 1.125, 60.0, "Größe; 2, 3"),
        (70.0, 40.25, 90.0, ""),
    ]
    assert costs(plain, tmp_path, street) == {1: 1.5, 2: float("inf"), 3: 1.125}
    assert taped(plain, tmp_path, street) == [
        ("L012.0", 450_010.5, 210_020.25, 3.45, 0.94, (("gully", 0.8), ("door", 2.0)),
         "Zoë; Größe, 2"),
        ("R004.0", None, None, None, 0.625, (), ""),
    ]  # fmt: skip
    assert keepers(plain, tmp_path, street) == [
        ("Zoë, at 3", 32.5, EAST + 50, NORTH + 15),
        ("Ann; Bob", 1.125, 450_010.5, 210_020.25),
    ]
    table = features(plain, tmp_path, street)
    assert {0, 1.125, 2, 2.5, 3, 12.5} <= {cell for row in table for cell in row}
    said = returns(plain, tmp_path, street)
    assert [[cell for cell in row if cell in {2.5, 2, 1.125}] for row in said] == [
        [2.5], [2], [1.125], [],
    ]  # fmt: skip
