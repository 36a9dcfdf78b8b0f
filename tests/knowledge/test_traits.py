"""What a thing is stands in the tables: a user's own pond is a pond, and code names no key."""

import ast
import csv
import io
import re
from dataclasses import fields
from importlib import resources
from pathlib import Path

import pytest

from patchnet.core.errors import TableFaults
from patchnet.knowledge import load_knowledge, records
from patchnet.knowledge.columns import Choice
from patchnet.knowledge.plants import PLANT_LISTS
from patchnet.knowledge.schema import TABLES

KNOW = load_knowledge()
FOLDER = resources.files("patchnet.knowledge") / "tables"
CODE = Path(str(resources.files("patchnet")))

# Words of everyday English that are also keys, where they are not used as keys.
NOT_KEYS = {
    ("read/columns.py", "garden"): "a heading that people give to the column of ids",
    ("survey/sheet_headings.py", "garden"): "a heading that people give to the column of plots",
    ("base/grounds.py", "verge"): "how a piece of a base map came about",
    ("base/plot_rows.py", "verge"): "the same, and the noun in its label",
    ("base/summary.py", "verge"): "the same, and the noun that is counted",
    ("pages/terminal/compare_text.py", "seed"): "the number that draws are made of",
    ("pages/terminal/gaps_text.py", "seed"): "the same",
    ("plan/street_plan_file.py", "seed"): "the same",
}


def rows_of(table):
    text = (FOLDER / table).read_text(encoding="utf-8")
    return list(csv.DictReader(io.StringIO(text)))


def write(folder, table, rows, *, without=()):
    names = [name for name in rows[0] if name not in without]
    out = io.StringIO()
    writer = csv.DictWriter(out, names, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    (folder / table).write_text(out.getvalue(), encoding="utf-8")
    return folder


def add_feature(folder, like, key, *, leave_out=(), **changes):
    """A user's own feature, copied from a shipped one in all tables but those left out."""
    own = {"key": key, "name": "Paddling pool with plants", "words": "", **changes}
    tables = {
        "features.csv": [{**row, **own} for row in rows_of("features.csv") if row["key"] == like]
    }
    for table, layout in TABLES.items():
        if "feature" in layout.key:
            tables[table] = [
                {**row, "feature": key} for row in rows_of(table) if row["feature"] == like
            ]
    for table, rows in tables.items():
        if rows and table not in leave_out:
            write(folder, table, rows, without=("traits", "gives_way", "made_only", "main_layer"))
    return folder


# water ------------------------------------------------------------------------------------


def test_what_carries_the_caution_about_small_children_is_open_water(tmp_path):
    """A table written before there was a column for it: the caution alone says so."""
    know = load_knowledge(add_feature(tmp_path, "pond", "wild_pool"))
    assert know.features["wild_pool"].open_water
    assert know.features_with("open_water") == ("pond", "container_pond", "wild_pool")


def test_open_water_without_the_caution_is_a_fault(tmp_path):
    row = next(row for row in rows_of("features.csv") if row["key"] == "bog")
    write(tmp_path, "features.csv", [{**row, "traits": "open_water"}])
    with pytest.raises(TableFaults) as caught:
        load_knowledge(tmp_path)
    (fault,) = caught.value.faults
    assert (fault.ident, fault.row) == ("bog", 2)
    assert "no caution about small children" in fault.what
    assert "pond_children" in fault.mend


def test_columns_that_an_older_table_does_not_have_keep_what_ships(tmp_path):
    row = next(row for row in rows_of("features.csv") if row["key"] == "compost_heap")
    write(tmp_path, "features.csv", [{**row, "name": "Heap"}], without=("traits", "gives_way"))
    kinds = [row for row in rows_of("plot_kinds.csv") if row["key"] == "balcony"]
    write(tmp_path, "plot_kinds.csv", kinds, without=("traits",))
    know = load_knowledge(tmp_path)
    assert know.features["compost_heap"].name == "Heap"
    assert know.features["compost_heap"].traits == {"only_one"}
    assert know.plot_kinds["balcony"] == KNOW.plot_kinds["balcony"]


def test_an_unknown_trait_is_a_fault_with_a_hint(tmp_path):
    row = next(row for row in rows_of("features.csv") if row["key"] == "bog")
    write(tmp_path, "features.csv", [{**row, "traits": "open_watr"}])
    with pytest.raises(TableFaults, match="Did you mean open_water"):
        load_knowledge(tmp_path)


# what is missing ----------------------------------------------------------------------------


def test_the_shipped_tables_lack_nothing():
    assert KNOW.warnings == ()


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("feature_siting.csv", "where it can go"),
        ("supplies.csv", "gives nothing"),
    ],
)
def test_a_feature_that_could_never_be_offered_is_a_fault(table, words, tmp_path):
    left = {table}
    if table == "feature_siting.csv":
        left |= {"feature_siting_figures.csv", "feature_steps.csv"}
        left |= {"placing.csv", "placing_figures.csv"}  # placed is what can be sited
    add_feature(tmp_path, "long_grass", "prairie", leave_out=left)
    with pytest.raises(TableFaults) as caught:
        load_knowledge(tmp_path)
    (fault,) = caught.value.faults
    assert fault.where == str(tmp_path / "features.csv")
    assert fault.ident == "prairie"
    assert words in fault.what
    assert table in fault.mend


def test_everything_missing_stands_in_one_list(tmp_path):
    """A feature with nothing but its own row and numbers, beside a plant of no use."""
    others = {name for name in TABLES if name not in {"features.csv", "feature_figures.csv"}}
    add_feature(tmp_path, "long_grass", "prairie", leave_out=others)
    plants = [row for row in rows_of("plants.csv") if row["key"] == "snowdrop"]
    write(tmp_path, "plants.csv", [{**row, "key": "moss", "name": "Moss"} for row in plants])
    with pytest.raises(TableFaults) as caught:
        load_knowledge(tmp_path)
    told = [(fault.ident, fault.what.split(" ")[0]) for fault in caught.value.faults]
    assert [ident for ident, _ in told].count("moss") == 2, "height and spread"
    assert [ident for ident, _ in told].count("prairie") == 2, "siting and supplies"
    assert all(fault.mend for fault in caught.value.faults)


def test_what_works_with_less_is_a_warning(tmp_path):
    """Without a question of its own it is still asked; without a cover it is still placed."""
    add_feature(tmp_path, "long_grass", "prairie", leave_out={"survey_questions.csv"})
    kinds = [row for row in rows_of("plot_kinds.csv") if row["key"] == "allotment"]
    write(tmp_path, "plot_kinds.csv", [{**kinds[0], "traits": ""}])
    know = load_knowledge(tmp_path)
    told = [(fault.severity, fault.ident, fault.mend) for fault in know.warnings]
    assert [(severity, ident) for severity, ident, _ in told] == [
        ("warning", "prairie"),
        ("warning", "prairie"),
        ("warning", "allotment"),
    ]
    assert "survey_questions.csv" in told[0][2]
    assert "ground_covers.csv" in told[1][2]
    assert "traits" in told[2][2]


def test_a_kind_of_barrier_that_says_no_line_is_drawn_plainly(tmp_path):
    row = next(row for row in rows_of("barrier_kinds.csv") if row["key"] == "railing")
    own = {**row, "key": "gabion", "name": "gabion", "words": "", "line": ""}
    write(tmp_path, "barrier_kinds.csv", [own])
    costs = [row for row in rows_of("barrier_crossings.csv") if row["barrier"] == "railing"]
    write(tmp_path, "barrier_crossings.csv", [{**row, "barrier": "gabion"} for row in costs])
    (fault,) = load_knowledge(tmp_path).warnings
    assert (fault.severity, fault.ident) == ("warning", "gabion")
    assert "short dashes" in fault.what
    assert "dash_dot" in fault.mend


def test_a_walking_group_without_costs_is_a_warning(tmp_path):
    for table, column in (("groups.csv", "key"), ("group_figures.csv", "group")):
        rows = [{**row, column: "palmate"} for row in rows_of(table) if row[column] == "newt"]
        write(tmp_path, table, rows)
    told = [fault.mend for fault in load_knowledge(tmp_path).warnings]
    assert any("needs.csv" in mend for mend in told)
    assert any("movement_costs.csv" in mend for mend in told)


def test_a_plant_whose_role_serves_nothing_is_a_warning(tmp_path):
    row = next(row for row in rows_of("plants.csv") if row["key"] == "snowdrop")
    write(tmp_path, "plants.csv", [{**row, "roles": "nectar-pollen;dye"}])
    (fault,) = load_knowledge(tmp_path).warnings
    assert "'dye'" in fault.what
    assert "plant_roles.csv" in fault.mend


def test_a_part_of_a_base_map_needs_a_kind_of_plot(tmp_path):
    row = next(row for row in rows_of("plot_kinds.csv") if row["key"] == "tree_pit")
    write(tmp_path, "plot_kinds.csv", [{**row, "traits": "in_street"}])
    with pytest.raises(TableFaults, match="trait 'pit'"):
        load_knowledge(tmp_path)


# keys in code -------------------------------------------------------------------------------


def own_words():
    """Words of the code's own vocabularies: columns, fields and choices of the tables."""
    words = set(PLANT_LISTS)
    for table in TABLES.values():
        words.update(table.names)
        words.update(name for name, _ in table.parts)
        for _, kind in table.columns:
            if isinstance(kind, Choice) and not callable(kind.of):
                words.update(kind.of)
    words.update(one.name for one in fields(records.Knowledge))
    words.update(one.name for one in fields(records.GroundCosts))
    return words


def named_keys():
    tables = ("features", "plot_kinds", "plants", "groups", "cautions", "resources")
    keys = {key for table in tables for key in getattr(KNOW, table)}
    return (keys | set(KNOW.barrier_kinds)) - own_words()


def docstrings(tree):
    kinds = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    first = (node.body[0] for node in ast.walk(tree) if isinstance(node, kinds) and node.body)
    return {id(one.value) for one in first if isinstance(one, ast.Expr)}


def in_python(path, keys):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    left_out = docstrings(tree)
    return {
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and id(node) not in left_out
        and isinstance(node.value, str) and node.value in keys
    }  # fmt: skip


def in_script(path, keys):
    text = path.read_text(encoding="utf-8")
    return {word for _, word in re.findall(r"""(["'`])([\w-]+)\1""", text) if word in keys}


def test_code_names_no_key_of_the_tables():
    """Only the demo, which is a scenario, may know that there is such a thing as a bog."""
    keys = named_keys()
    assert {"pond", "fence_gap", "garden_front", "bloom", "pond_children", "mason_bee"} <= keys
    found = set()
    for path in sorted(CODE.rglob("*")):
        name = path.relative_to(CODE).as_posix()
        if "demo" in name or path.suffix not in {".py", ".js", ".html"}:
            continue
        look = in_python if path.suffix == ".py" else in_script
        found |= {(name, word) for word in look(path, keys)}
    assert found - set(NOT_KEYS) == set(), "ask the table for a trait instead"
    assert set(NOT_KEYS) - found == set(), "no longer needed"
