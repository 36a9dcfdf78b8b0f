"""Every column of every table, out of its declaration: what is wrong in it is said with its row.

No list of columns stands here: a table that is added is tested with the rest.
"""

import csv
import io
import math
from importlib import resources

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from patchnet.core.errors import TableFaults
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.columns import (
    Amount,
    Choice,
    Column,
    Flag,
    Key,
    Months,
    Ref,
    Refs,
    Tags,
    Unit,
)
from patchnet.knowledge.schema import TABLES
from patchnet.knowledge.tables import read_table

FOLDER = resources.files("patchnet.knowledge") / "tables"
STRANGE = "zz_never_heard_of"


def shipped(table):
    return list(csv.DictReader(io.StringIO((FOLDER / table).read_text(encoding="utf-8"))))


WRONG = {
    Choice: ("wrong word", STRANGE),
    Flag: ("wrong word", STRANGE),
    Ref: ("unknown key", STRANGE),
    Refs: ("unknown key", STRANGE),
    Key: ("no plain word", "Zz Ü"),
    Months: ("no month", "smarch"),
    Tags: ("no tag", STRANGE),
    Unit: ("wrong unit", "furlongs"),
    Amount: ("no number", "about 3"),
}


def wrong_cells(kind, cell):
    """What nobody may write in a column of this kind, and what is wrong with it."""
    if kind.needed:
        yield "blank", ""
    yield from (wrong for of, wrong in WRONG.items() if isinstance(kind, of))
    if isinstance(kind, Amount):
        yield from beyond_bounds(kind, cell)


def beyond_bounds(kind, cell):
    if kind.least > -math.inf:
        yield "too small", str(kind.least - 1)
    if kind.over:
        yield "nought", str(kind.least)
    if kind.most < math.inf:
        yield "too large", str(kind.most + 1)
    if kind.whole and cell:
        yield "no whole number", str(kind.least + 0.5)


def quantity_bounds(table, row):
    """Numbers in a table of figures have the bounds of their quantity."""
    number = TABLES[table].quantities.get(row.get("quantity"))
    return {} if number is None else dict.fromkeys(("value", "low", "high"), number.amount)


def cases(table):
    """Every wrong cell of a table, each in a shipped row."""
    rows = shipped(table)
    found = []
    for name, kind in TABLES[table].columns:
        before = len(found)
        for row in rows[:40]:
            kind_here = quantity_bounds(table, row).get(name, kind)
            told = {what for what, *_ in found[before:]}
            found += [
                (what, name, {**row, name: cell})
                for what, cell in wrong_cells(kind_here, row[name])
                if what not in told
            ]
    return found


def spread(table, wanted):
    """Sort the cases into files in which each has a row of its own, so that few files hold them.

    A wrong cell is put into another row of the table where it is wrong in every row.
    """
    rows, key = shipped(table), TABLES[table].key
    files = []
    for at, (what, name, row) in enumerate(wanted):
        fixed = name in key or name in quantity_bounds(table, row)
        moved = row if fixed else {**rows[at % len(rows)], name: row[name]}
        ident = tuple(moved[column] for column in key)
        file = next((file for file in files if ident not in file), None)
        if file is None:
            files.append(file := {})
        file[ident] = (what, name, moved)
    return [list(file.values()) for file in files]


def write(folder, table, rows):
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    (folder / table).write_text(out.getvalue(), encoding="utf-8")


def told(folder):
    try:
        load_knowledge(folder)
    except TableFaults as error:
        return error.faults
    return ()


@pytest.mark.parametrize("table", sorted(TABLES))
def test_every_wrong_cell_of_every_column_is_told_with_its_row(table, tmp_path):
    wanted = cases(table)
    assert {name for _, name, _ in wanted} >= {
        name for name, kind in TABLES[table].columns if kind.needed and name != "quantity"
    }
    missed = []
    for file in spread(table, wanted):
        write(tmp_path, table, [row for *_, row in file])
        said = {}
        for fault in told(tmp_path):
            assert fault.mend
            assert fault.severity == "error"
            said.setdefault(fault.row, []).append(fault.what)
        for line, (what, name, row) in enumerate(file, 2):
            about = [one for one in said.get(line, []) if name in one or row[name] in one != ""]
            if not about:
                missed.append((what, name, row[name], said.get(line)))
    assert missed == []


@pytest.mark.parametrize("table", sorted(TABLES))
def test_a_cell_that_may_be_empty_and_a_column_that_may_be_left_out(table, tmp_path):
    """Blank is read where the declaration says so, and such a column need not be there."""
    rows = shipped(table)
    free = [name for name, kind in TABLES[table].columns if not kind.needed]
    write(tmp_path, table, [{**rows[0], **dict.fromkeys(set(free) - set(TABLES[table].key), "")}])
    assert not [fault for fault in told(tmp_path) if "is empty" in fault.what]
    kept = [name for name in rows[0] if name in TABLES[table].required]
    write(tmp_path, table, [{name: rows[0][name] for name in kept}])
    assert told(tmp_path) == ()


@pytest.mark.parametrize("table", sorted(TABLES))
def test_a_column_that_is_needed_is_missed(table):
    row = shipped(table)[0]
    for name in TABLES[table].required:
        kept = [column for column in row if column != name]
        text = ",".join(kept) + "\n" + ",".join(f'"{row[column]}"' for column in kept)
        faults = []
        assert read_table(table, text.encode(), table, faults) == []
        assert [fault.what for fault in faults] == [f"Missing column: {name}."]


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_any_text_in_any_cell_is_read_or_told(data, tmp_path):
    table = data.draw(st.sampled_from(sorted(TABLES)), label="table")
    rows = shipped(table)
    row = data.draw(st.sampled_from(rows[:10]), label="row")
    name = data.draw(st.sampled_from(TABLES[table].names), label="column")
    cell = data.draw(
        st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=20)
        | st.sampled_from(["1e999", "-0", "nan", ";", ";;", "y;n", "jan-dec", "&", "=", "{key}"]),
        label="cell",
    )
    for old in tmp_path.glob("*.csv"):
        old.unlink()
    write(tmp_path, table, [{**row, name: cell}])
    assert all(fault.what and fault.mend for fault in told(tmp_path))


def test_every_column_says_what_it_means():
    for table in TABLES.values():
        assert table.meaning.endswith("."), table.file
        assert set(table.key) <= set(table.names)
        for name, kind in table.columns:
            assert isinstance(kind, Column)
            assert kind.meaning, (table.file, name)
            assert not kind.meaning.endswith("."), (table.file, name)
            assert kind.may_stand
