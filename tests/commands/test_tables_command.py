"""patchnet tables: what may stand in one's own tables, and files to start them from."""

import re

import pytest

from patchnet.knowledge import load_knowledge
from patchnet.knowledge.load import load_rows
from patchnet.knowledge.schema import TABLES
from patchnet.knowledge.templates import blank_tables, tables_like


def flat(text):
    return re.sub(r"\s+", " ", re.sub(r"-\n\s+", "-", text))


def test_every_table_is_listed_with_what_a_row_is(run):
    status, out, _ = run("tables")
    assert status == 0
    for name, table in TABLES.items():
        assert re.search(
            rf"^{name.removesuffix('.csv')} +{re.escape(table.meaning)}$", out, re.MULTILINE
        )


@pytest.mark.parametrize("name", sorted(TABLES))
def test_every_column_is_told_as_it_is_declared(name, run):
    table = TABLES[name]
    status, out, _ = run("tables", name.removesuffix(".csv"))
    said = flat(out)
    assert status == 0
    assert table.meaning in said
    for column, kind in table.columns:
        assert flat(f"{column}: {kind.meaning}") in said
        assert kind.may_stand == "text" or flat(kind.may_stand) in said
    for quantity, number in table.quantities.items():
        assert flat(f"{quantity}: {number.meaning}; in {number.unit_in_words}") in said


def test_units_and_bounds_of_numbers(run):
    said = flat(run("tables", "group_figures")[1])
    assert "hop: farthest gap that it crosses; in m, above 0" in said
    said = flat(run("tables", "need_figures")[1])
    assert "floor: quality that is left without any; 0: no home at all; in share, 0 to 1" in said
    said = flat(run("tables", "street_rules")[1])
    assert "size_bench_m: in m, above 0" in said


def test_an_empty_table_to_fill_in_is_a_heading_that_is_read(run, tmp_path):
    """Filled with nothing it is a fault, said as such; with a shipped row it loads."""
    status, out, _ = run("tables", "features", "-o", "ours")
    assert status == 0
    assert out.split() == ["ours/features.csv", "ours/feature_figures.csv"]
    for name in ("features.csv", "feature_figures.csv"):
        head = (tmp_path / "ours" / name).read_text().splitlines()
        assert head == [",".join(TABLES[name].names)]
    assert set(blank_tables(TABLES["settings.csv"])) == {"settings.csv"}


def test_something_new_is_made_of_a_like_thing(run, tmp_path):
    """A duck pond like the pond: every table that tells of a feature, and it loads at once."""
    status, out, _ = run("tables", "features", "--like", "pond", "--as", "duck_pond", "-o", "ours")
    assert status == 0
    assert {"ours/features.csv", "ours/supplies.csv", "ours/feature_steps.csv"} <= set(out.split())
    assert "planter_recipe" not in out, "what a planter's recipe holds stays as it is"
    know, shipped = load_knowledge(tmp_path / "ours"), load_knowledge()
    assert list(know.features) == [*shipped.features, "duck_pond"]
    assert know.features["duck_pond"].open_water
    assert know.sitings["duck_pond"].steps == shipped.sitings["pond"].steps
    assert know.figures["supplies/duck_pond/drink"].value == (
        shipped.figures["supplies/pond/drink"].value
    )


@pytest.mark.parametrize(
    ("table", "like", "new"),
    [("groups", "newt", "eft"), ("plants", "snowdrop", "snowflake"), ("street_rules", None, None)],
)
def test_what_is_written_loads(table, like, new, run, tmp_path):
    words = ["--like", like, "--as", new] if like else []
    assert run("tables", table, *words, "-o", "ours")[0] == 0
    if like:
        know = load_knowledge(tmp_path / "ours")
        assert list(getattr(know, table))[-1] == new


def test_a_thing_to_change_keeps_its_key():
    files = tables_like(TABLES["groups.csv"], "newt", load_rows())
    assert set(files) == {
        "groups.csv", "group_figures.csv", "needs.csv", "need_figures.csv", "movement_costs.csv",
        "barrier_crossings.csv", "densities.csv",
    }  # fmt: skip
    assert all("newt" in text for text in files.values())


def test_files_that_somebody_filled_in_are_not_written_over(run, tmp_path):
    run("tables", "settings", "-o", "ours")
    path = tmp_path / "ours" / "settings.csv"
    path.write_text(path.read_text() + "view_m,50,m,40,60,assumption,patchnet,ours\n")
    status, _, err = run("tables", "settings", "-o", "ours")
    assert status == 3
    assert "not as patchnet made them" in err
    assert "view_m" in path.read_text()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("featuers",), "Did you mean features"),
        (("features", "--like", "pond"), "add -o DIR"),
        (("features", "--as", "pool", "-o", "ours"), "--as needs --like"),
        (("features", "--like", "pont", "-o", "ours"), "Did you mean pond"),
        (("-o", "ours"), "Say which table"),
    ],
)
def test_wrong_use_is_said(words, said, run):
    status, _, err = run("tables", *words)
    assert status == 2
    assert said in err
