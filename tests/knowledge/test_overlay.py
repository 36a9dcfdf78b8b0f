"""A user's own tables laid over the shipped ones, and every kind of fault in them."""

import csv
import io
import math
from importlib import resources

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from patchnet.core.errors import CannotRead, TableFaults
from patchnet.core.folding import UNSEEN
from patchnet.knowledge import load_knowledge, match_feature
from patchnet.knowledge.schema import TABLES

KNOW = load_knowledge()
FOLDER = resources.files("patchnet.knowledge") / "tables"
FIGURE = "value,unit,low,high,class,source,note"
HOP = "50,m,40,60,assumption,patchnet,seen by us"


def put(folder, table, text, encoding="utf-8"):
    (folder / table).write_bytes(text.encode(encoding))
    return folder


def faults_of(folder):
    with pytest.raises(TableFaults) as caught:
        load_knowledge(folder)
    assert caught.value.exit_status == 1
    return caught.value.faults


def one_fault(folder):
    (fault,) = faults_of(folder)
    return fault


def shipped(table, *keys):
    """Shipped rows with these first cells, as dictionaries of the standard library."""
    text = (FOLDER / table).read_text(encoding="utf-8")
    rows = csv.DictReader(io.StringIO(text))
    return [row for row in rows if tuple(row.values())[: len(keys)] == keys]


def write_rows(folder, table, rows, delimiter=","):
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), delimiter=delimiter, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return put(folder, table, out.getvalue(), "utf-8-sig")


# laying over ------------------------------------------------------------------------------


def test_a_row_replaces_by_key_and_the_rest_stays(tmp_path):
    put(tmp_path, "group_figures.csv", f"group,quantity,resource,{FIGURE}\nnewt,hop,,{HOP}\n")
    know = load_knowledge(tmp_path)
    hop = know.groups["newt"].hop
    assert (hop.value, hop.low, hop.high, hop.note) == (50, 40, 60, "seen by us")
    assert hop.place == f"{tmp_path / 'group_figures.csv'} line 2"
    assert know.groups["newt"].d50 == KNOW.groups["newt"].d50
    assert know.groups["frog"] == KNOW.groups["frog"]
    assert list(know.groups) == list(KNOW.groups)
    assert KNOW.groups["newt"].hop.value == 60, "the shipped tables must stay as they were"


@pytest.mark.parametrize("delimiter", [",", ";"])
@pytest.mark.parametrize("table", sorted(TABLES))
def test_the_shipped_table_laid_over_itself_changes_nothing(table, delimiter, tmp_path):
    """As a spreadsheet saves it: byte order mark, carriage returns, comma or semicolon."""
    text = (FOLDER / table).read_text(encoding="utf-8")
    write_rows(tmp_path, table, list(csv.DictReader(io.StringIO(text))), delimiter)
    know = load_knowledge(tmp_path)
    assert list(know.figures) == list(KNOW.figures)
    for key, figure in know.figures.items():
        before = KNOW.figures[key]
        assert (figure.value, figure.low, figure.high) == (before.value, before.low, before.high)
        assert figure.sources == before.sources
    assert list(know.features) == list(KNOW.features)
    assert know.cautions == KNOW.cautions
    assert know.sources == KNOW.sources
    assert (know.supply_array == KNOW.supply_array).all()


def test_a_new_group_is_added_last(tmp_path):
    """A crested newt as a user would add it: a copy of the newt under a new key."""
    for table, column in (
        ("groups.csv", "key"),
        ("group_figures.csv", "group"),
        ("needs.csv", "group"),
        ("need_figures.csv", "group"),
    ):
        rows = shipped(table, "newt")
        write_rows(tmp_path, table, [{**row, column: "crested_newt"} for row in rows])
    know = load_knowledge(tmp_path)
    assert list(know.groups) == [*KNOW.groups, "crested_newt"]
    assert know.groups["crested_newt"].d50.value == KNOW.groups["newt"].d50.value
    assert len(know.groups["crested_newt"].needs) == len(KNOW.groups["newt"].needs)
    assert know.figures["groups/crested_newt/d50"] is know.groups["crested_newt"].d50


def test_a_new_feature_with_its_words_supplies_and_source(tmp_path):
    put(tmp_path, "sources.csv", "key,citation,doi\nour_club,Our club's diary,\n")
    row = shipped("features.csv", "bog")[0]
    write_rows(
        tmp_path,
        "features.csv",
        [{**row, "key": "starling_box", "name": "Starling box", "words": "starling house"}],
    )
    rows = shipped("feature_figures.csv", "bog")
    write_rows(
        tmp_path,
        "feature_figures.csv",
        [{**row, "feature": "starling_box", "source": "our_club"} for row in rows],
    )
    for table, keys in (
        ("supplies.csv", ("bog", "bloom")),
        ("feature_siting.csv", ("bog",)),
        ("feature_siting_figures.csv", ("bog",)),
        ("feature_steps.csv", ("bog",)),
    ):
        rows = shipped(table, *keys)
        write_rows(tmp_path, table, [{**row, "feature": "starling_box"} for row in rows])
    know = load_knowledge(tmp_path)
    assert match_feature("Starling houses", know) == "starling_box"
    assert know.features["starling_box"].typical.sources == ("our_club",)
    assert know.supply_array.shape[0] == KNOW.supply_array.shape[0] + 1
    assert know.supply_array[-1].sum() > 0


def test_other_files_and_blank_lines_are_passed_over(tmp_path):
    put(tmp_path, "README.txt", "ours")
    put(tmp_path, "settings.csv", f"\n,,,,,,,\nkey,{FIGURE},,\n\nview_m,{HOP},,\n,,,,,,,,,\n")
    assert load_knowledge(tmp_path).setting("view_m") == 50


def test_column_order_case_and_missing_note_do_not_matter(tmp_path):
    text = "Unit,KEY, value ,low,high,Class,source\nm,view_m,70,60,80,assumption,patchnet\n"
    assert load_knowledge(put(tmp_path, "settings.csv", text)).setting("view_m") == 70


# files ------------------------------------------------------------------------------------


def test_a_missing_folder(tmp_path):
    with pytest.raises(CannotRead, match="is not there") as caught:
        load_knowledge(tmp_path / "no")
    assert caught.value.exit_status == 3


def test_a_file_in_place_of_the_folder(tmp_path):
    put(tmp_path, "settings.csv", "x")
    with pytest.raises(CannotRead, match="not a folder"):
        load_knowledge(str(tmp_path / "settings.csv"))


def test_a_folder_in_place_of_a_table(tmp_path):
    (tmp_path / "settings.csv").mkdir()
    with pytest.raises(CannotRead, match="cannot be read"):
        load_knowledge(tmp_path)


def test_a_folder_without_tables(tmp_path):
    assert "holds no knowledge table" in one_fault(tmp_path).what


def test_a_misspelt_table(tmp_path):
    fault = one_fault(put(tmp_path, "setting.csv", "key\n"))
    assert "Did you mean settings.csv" in fault.what


@pytest.mark.parametrize("encoding", ["cp1252", "utf-16"])
def test_another_encoding_is_read_and_said_where_it_was_assumed(encoding, tmp_path):
    text = f"key,{FIGURE}\nview_m,50,m,40,60,assumption,patchnet,après\n"
    know = load_knowledge(put(tmp_path, "settings.csv", text, encoding))
    assert know.settings["view_m"].note == "après"
    assert ["Windows-1252" in fault.what for fault in know.warnings] == [True] * (
        encoding == "cp1252"
    )


def test_a_workbook_beside_a_csv_of_the_same_table(tmp_path):
    put(tmp_path, "settings.csv", f"key,{FIGURE}\nview_m,{HOP}\n")
    book = openpyxl.Workbook()
    book.save(tmp_path / "our accounts.xlsx")
    book.save(tmp_path / "~$settings.xlsx")
    assert load_knowledge(tmp_path).setting("view_m") == 50
    book.save(tmp_path / "settings.xlsx")
    assert "another file of the table settings" in one_fault(tmp_path).what


def test_a_number_that_could_be_two_is_refused(tmp_path):
    """1,200 with points elsewhere in the table: twelve hundred, or one and a fifth?"""
    row = 'view_m,"1,200",m,0.5,1300,assumption,patchnet,'
    fault = one_fault(put(tmp_path, "settings.csv", f"key,{FIGURE}\n{row}\n"))
    assert "'1,200' in the column 'value' is not a number" in fault.what


@pytest.mark.parametrize("text", ["", "\n\n", ",,,\n"])
def test_an_empty_table(text, tmp_path):
    assert "empty" in one_fault(put(tmp_path, "settings.csv", text)).what


def test_a_huge_cell(tmp_path):
    text = f'key,{FIGURE}\nview_m,50,m,40,60,assumption,patchnet,"{"x" * 200_000}"\n'
    assert "longer than any spreadsheet" in one_fault(put(tmp_path, "settings.csv", text)).what
    text = f'key,{FIGURE}\nview_m,50,m,40,60,assumption,patchnet,"{"x" * 40_000}"\n'
    assert "longer than any spreadsheet" in one_fault(put(tmp_path, "settings.csv", text)).what


def test_cells_beyond_the_last_column(tmp_path):
    text = f"key,{FIGURE}\nview_m,50,m,40,60,assumption,patchnet,one, two\n"
    assert "beyond the last column: 'two'" in one_fault(put(tmp_path, "settings.csv", text)).what


# columns ----------------------------------------------------------------------------------


def test_a_missing_column(tmp_path):
    text = "key,value,low,high,class,source\nview_m,1,1,1,assumption,patchnet\n"
    fault = one_fault(put(tmp_path, "settings.csv", text))
    assert fault.what == "Missing column: unit."
    assert fault.row == 1


def test_an_unknown_column_is_offered_the_nearest(tmp_path):
    text = f"key,{FIGURE.replace('source', 'sourse')}\n"
    unknown, missing = faults_of(put(tmp_path, "settings.csv", text))
    assert "Did you mean source?" in unknown.what
    assert missing.what == "Missing column: source."


def test_a_column_twice(tmp_path):
    fault = one_fault(put(tmp_path, "settings.csv", f"key,key,{FIGURE}\n"))
    assert "more than once" in fault.what


# cells ------------------------------------------------------------------------------------

HEAD = f"group,quantity,resource,{FIGURE}\n"


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("newt,hop,,about 50,m,40,60,assumption,patchnet,", "'about 50' in the column 'value'"),
        ('newt,hop,,"0,5",m,0.1,1,assumption,patchnet,', "'0,5' in the column 'value' is not a"),
        ("newt,hop,,nan,m,40,60,assumption,patchnet,", "'nan' in the column 'value' is not a"),
        ("newt,hop,,1e999,m,40,60,assumption,patchnet,", "'1e999'"),
        ("newt,hop,,1_0,m,1,60,assumption,patchnet,", "'1_0'"),
        ("newt,hop,,,m,40,60,assumption,patchnet,", "The cell 'value' is empty"),
        ("newt,hop,,50,m,51,60,assumption,patchnet,", "range 51 to 60 does not hold 50"),
        ("newt,hop,,50,m,40,49,assumption,patchnet,", "range 40 to 49 does not hold 50"),
        ("newt,hop,,50,km,40,60,assumption,patchnet,", "The unit is 'km'"),
        ("newt,hop,,50,,40,60,assumption,patchnet,", "'unit' is empty"),
        ("newt,hop,,50,m,-1,60,assumption,patchnet,", "'low' is -1. It cannot be negative"),
        ("newt,hop,,50,m,0,60,assumption,patchnet,", "'low' is 0"),
        ("newt,hop,,50,m,40,60,asumption,patchnet,", "Did you mean assumption?"),
        ("newt,hop,,50,m,40,60,assumption,patchnets,", "Did you mean patchnet?"),
        ("newt,hop,,50,m,40,60,assumption,,", "names no source"),
        ("newt,hop,,50,m,40,60,published,patchnet,", "needs a published work"),
        ("newt,hopp,,50,m,40,60,assumption,patchnet,", "Did you mean hop?"),
        ("newts,hop,,50,m,40,60,assumption,patchnet,", "not a known group. Did you mean newt"),
        ("newt,hop,bloom,50,m,40,60,assumption,patchnet,", "'hop' has a resource"),
        ("newt,anchor,ponds,1,m2,1,1,assumption,patchnet,", "'ponds' in the column 'resource'"),
        ("newt,anchor,drink,1,cups,1,1,assumption,patchnet,", "must be in 'drinking places'"),
    ],
)
def test_a_fault_in_a_number_is_said_with_file_line_and_key(row, said, tmp_path):
    fault = one_fault(put(tmp_path, "group_figures.csv", HEAD + row + "\n"))
    assert said in str(fault)
    assert fault.where == str(tmp_path / "group_figures.csv")
    assert fault.row == 2
    assert fault.ident.startswith("newt")


@pytest.mark.parametrize(
    ("table", "key", "change", "said"),
    [
        ("groups.csv", ["newt"], {"active_months": "2-13"}, "'2-13' in the column 'active_months'"),
        ("groups.csv", ["newt"], {"active_months": "spring"}, "not a month or span"),
        ("groups.csv", ["newt"], {"active_months": ""}, "'active_months' is empty"),
        ("groups.csv", ["newt"], {"mode": "swim"}, "Write one of: air, ground"),
        ("groups.csv", ["newt"], {"step_resource": "damp"}, "not a known resource"),
        ("groups.csv", ["newt"], {"caution": "frogspawns"}, "Did you mean frogspawn?"),
        ("groups.csv", ["newt"], {"name": ""}, "'name' is empty"),
        ("groups.csv", ["newt"], {"months_source": "nobody"}, "not a known source"),
        ("needs.csv", ["mason_bee", "mud"], {"resource": "blooom"}, "Did you mean bloom?"),
        ("needs.csv", ["mason_bee", "mud"], {"month_rule": "average"}, "mean, worst"),
        ("features.csv", ["pond"], {"cautions": "pond_childs"}, "Did you mean pond_children?"),
        ("features.csv", ["pond"], {"measure": "m3"}, "m2, m, count"),
        ("features.csv", ["pond"], {"addable": "maybe"}, "n, y"),
        ("features.csv", ["pond"], {"words": "log pile"}, "also a word for dead_wood_pile"),
        ("features.csv", ["bog"], {"words": "Fishless-Ponds"}, "also a word for pond"),
        ("supplies.csv", ["pond", "drink"], {"jan": "1.5"}, "'jan' is 1.5"),
        ("supplies.csv", ["pond", "drink"], {"jan": ""}, "'jan' is empty"),
        ("supplies.csv", ["pond", "drink"], {"unit": "litres"}, "drinking places per m2"),
        ("supplies.csv", ["pond", "drink"], {"feature": "ponds"}, "Did you mean pond"),
        ("need_figures.csv", ["newt", "frost_free_hiding", "floor"], {"high": "1.2"}, "0 and 1"),
        ("cautions.csv", ["thorns"], {"source": ""}, "'source' is empty"),
        ("plot_kinds.csv", ["planter"], {"implies": "plantter"}, "Did you mean planter?"),
        ("plants.csv", ["snowdrop"], {"flower_start": "13"}, "'flower_start' is 13"),
        ("plants.csv", ["snowdrop"], {"flower_start": "0"}, "Only one of the flowering months"),
        ("plants.csv", ["snowdrop"], {"layer": "bush"}, "bulb, herb"),
    ],
)
def test_a_fault_in_a_row_of_words(table, key, change, said, tmp_path):
    row = shipped(table, *key)[0]
    write_rows(tmp_path, table, [{**row, **change}])
    fault = one_fault(tmp_path)
    assert said in str(fault)
    assert (fault.where, fault.row) == (str(tmp_path / table), 2)


def test_a_key_twice_names_both_lines(tmp_path):
    fault = one_fault(
        put(
            tmp_path,
            "settings.csv",
            f"key,{FIGURE}\nview_m,{HOP}\ngap_side_m,{HOP}\nview_m,{HOP}\n",
        )
    )
    assert "stands already in line 2" in fault.what
    assert (fault.row, fault.ident) == (4, "view_m")


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("viev_m,50,m,40,60,assumption,patchnet,", "not a known setting. Did you mean view_m?"),
        ("view_m,50,km,40,60,assumption,patchnet,", "must be in 'm'"),
    ],
)
def test_a_setting_that_would_be_passed_over_is_a_fault(row, said, tmp_path):
    assert said in str(one_fault(put(tmp_path, "settings.csv", f"key,{FIGURE}\n{row}\n")))


def test_a_key_that_is_no_plain_word(tmp_path):
    row = shipped("resources.csv", "bloom")[0]
    write_rows(tmp_path, "resources.csv", [{**row, "key": "New Resource"}])
    assert "'New Resource' is not a valid key" in one_fault(tmp_path).what


def test_a_need_of_an_unknown_group(tmp_path):
    for table in ("needs.csv", "need_figures.csv"):
        rows = [{**row, "group": "newtt"} for row in shipped(table, "newt", "frost_free_hiding")]
        write_rows(tmp_path, table, rows)
    assert "not a known group. Did you mean newt?" in one_fault(tmp_path).what


def test_a_new_group_without_its_numbers_names_each(tmp_path):
    row = shipped("groups.csv", "newt")[0]
    write_rows(tmp_path, "groups.csv", [{**row, "key": "eft"}])
    said = [fault.what for fault in faults_of(tmp_path)]
    assert "It has no anchor: nothing that it lives or breeds in." in said
    for quantity in ("hop", "d50", "anchor_reach", "step_min", "weight"):
        assert f"It has no number for '{quantity}'." in said
    assert len(said) == 6


def test_an_anchor_that_nothing_gives(tmp_path):
    put(tmp_path, "resources.csv", "key,name,unit\ncaves,caves,m2 cave\n")
    row = "newt,anchor,caves,1,m2 cave,1,1,assumption,patchnet,"
    put(tmp_path, "group_figures.csv", f"{HEAD}{row}\n")
    assert "No feature gives 'caves'" in one_fault(tmp_path).what


def test_all_faults_come_at_once(tmp_path):
    put(tmp_path, "group_figures.csv", HEAD + "newt,hop,,x,km,1,0,guess,me,\n")
    put(tmp_path, "settings.csv", f"key,{FIGURE}\nview_m,-1,m,-2,-3,assumption,patchnet,\n")
    put(tmp_path, "plot_kind.csv", "key,name\n")
    faults = faults_of(tmp_path)
    assert {fault.where.rsplit("/")[-1] for fault in faults} == {
        "group_figures.csv",
        "settings.csv",
        "plot_kind.csv",
    }
    assert len(faults) >= 8
    assert all(fault.mend for fault in faults)


def test_a_line_break_in_a_cell_does_not_shift_the_rows(tmp_path):
    """A spreadsheet program shows the cell of two lines in row 2, and what follows in row 3."""
    text = f'key,{FIGURE}\nview_m,50,m,40,60,assumption,patchnet,"two\nlines"\nx,?,m,1,1,,,\n'
    assert {fault.row for fault in faults_of(put(tmp_path, "settings.csv", text))} == {3}


@pytest.mark.parametrize(
    ("text", "months"),
    [
        ("mar-jun", (3, 4, 5, 6)),
        ("3-6", (3, 4, 5, 6)),
        ("Nov \u2013 february", (11, 12, 1, 2)),
        ("mar-may; sept", (3, 4, 5, 9)),
        ("mar-may;apr-jun", (3, 4, 5, 6)),
        ("dec", (12,)),
        ("jan-dec", tuple(range(1, 13))),
    ],
)
def test_months_as_people_write_them(text, months, tmp_path):
    row = shipped("groups.csv", "newt")[0]
    write_rows(tmp_path, "groups.csv", [{**row, "active_months": text}])
    assert load_knowledge(tmp_path).groups["newt"].active_months == months


@pytest.mark.parametrize("text", ["06-Mar", "0-3", "ma", "mar-", "mar-apr-may", "marchy", "3.5"])
def test_what_is_no_month(text, tmp_path):
    """06-Mar is what a spreadsheet makes of 3-6: a fault, as 6 is June, not a day."""
    row = shipped("groups.csv", "newt")[0]
    write_rows(tmp_path, "groups.csv", [{**row, "active_months": text}])
    assert "is not a month or span" in one_fault(tmp_path).what


# properties -------------------------------------------------------------------------------


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.binary(max_size=400))
def test_any_bytes_give_knowledge_or_faults(data, tmp_path):
    (tmp_path / "settings.csv").write_bytes(data)
    with pytest.raises(TableFaults) as caught:
        load_knowledge(tmp_path)
    assert all(fault.where.endswith("settings.csv") for fault in caught.value.faults)


@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    numbers=st.lists(st.floats(0.001, 1e6), min_size=3, max_size=3).map(sorted),
    note=st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=30),
    delimiter=st.sampled_from(",;"),
)
def test_a_number_laid_over_is_read_as_written(numbers, note, delimiter, tmp_path):
    low, value, high = numbers
    row = {
        "group": "newt",
        "quantity": "hop",
        "resource": "",
        "value": repr(value),
        "unit": "m",
        "low": repr(low),
        "high": repr(high),
        "class": "assumption",
        "source": "patchnet",
        "note": note,
    }
    write_rows(tmp_path, "group_figures.csv", [row], delimiter)
    hop = load_knowledge(tmp_path).groups["newt"].hop
    assert (hop.low, hop.value, hop.high) == (low, value, high)
    told = note.strip(UNSEEN).strip()  # signs that nobody sees are none at the ends of a cell
    if told[:1] == "'" and told[1:2] in {"=", "+", "-", "@"}:
        told = told[1:]  # as a cell that must not become a formula is written
    assert hop.note == told
    assert math.isfinite(hop.value)
