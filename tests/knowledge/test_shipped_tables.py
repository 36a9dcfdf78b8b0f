"""The tables that ship: complete, sourced, in plain text, and free of faults."""

import csv
import re
from functools import cache
from importlib import resources

import numpy as np
import pytest

from patchnet.knowledge.columns import MONTHS
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.parts import CLASSES
from patchnet.knowledge.schema import TABLES
from patchnet.knowledge.tables import read_shipped, read_table

FOLDER = resources.files("patchnet.knowledge") / "tables"
KNOW = load_knowledge()


@cache
def raw(table):
    """Rows read by the standard library alone: a second route beside the loader."""
    text = (FOLDER / table).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


FIGURE_TABLES = [name for name, layout in TABLES.items() if "value" in layout.names]


def test_every_row_becomes_a_record():
    """What ships is read as what people bring, whole, and nothing in it is passed over."""
    for name in TABLES:
        faults = []
        rows = read_table(name, (FOLDER / name).read_bytes(), name, faults)
        assert faults == []
        assert rows == read_shipped(name, (FOLDER / name).read_text(encoding="utf-8"))
        assert len(rows) == len(raw(name))
    for table, records in (
        ("groups", KNOW.groups),
        ("features", KNOW.features),
        ("plants", KNOW.plants),
        ("supplies", KNOW.supplies),
        ("osm_tags", KNOW.osm_tags),
        ("sources", KNOW.sources),
        ("needs", [need for group in KNOW.groups.values() for need in group.needs]),
        ("feature_steps", [step for siting in KNOW.sitings.values() for step in siting.steps]),
        ("plant_lists", [key for names in KNOW.plant_lists.values() for key in names]),
    ):
        assert len(records) == len(raw(f"{table}.csv")), table


def test_no_table_is_left_out_and_none_is_unknown():
    assert {path.name for path in FOLDER.iterdir()} == set(TABLES)


@pytest.mark.parametrize("table", sorted(TABLES))
def test_table_is_utf8_with_line_feeds_and_declared_columns(table):
    data = (FOLDER / table).read_bytes()
    assert b"\r" not in data
    assert not data.startswith(b"\xef\xbb\xbf")
    assert data.endswith(b"\n")
    header = data.decode("utf-8").splitlines()[0].split(",")
    assert set(header) == set(TABLES[table].names)


@pytest.mark.parametrize("table", FIGURE_TABLES)
def test_every_number_has_unit_class_source_and_range(table):
    sources = {row["key"] for row in raw("sources.csv")}
    for row in raw(table):
        assert row["unit"]
        assert row["class"] in CLASSES
        assert row["source"]
        assert set(row["source"].split(";")) <= sources
        assert float(row["low"]) <= float(row["value"]) <= float(row["high"])
        assert row["note"]


def test_every_number_of_the_tables_is_a_figure_and_none_is_made_up():
    rows = sum(len(raw(table)) for table in FIGURE_TABLES)
    assert len(KNOW.figures) == rows
    for figure in KNOW.figures.values():
        table, line = re.fullmatch(r"(\w+\.csv) line (\d+)", figure.place).groups()
        row = raw(table)[int(line) - 2]
        assert float(row["value"]) == figure.value
        assert row["unit"] == figure.unit


def test_all_sources_are_used_and_no_citation_is_a_web_copy():
    used = {source for figure in KNOW.figures.values() for source in figure.sources}
    used |= {source for origin in KNOW.origins.values() for source in origin.sources}
    used |= {source for caution in KNOW.cautions.values() for source in caution.sources}
    assert used == set(KNOW.sources)
    for source in KNOW.sources.values():
        assert not re.search(r"https?:|www\.|\.(com|org|net|co\.uk)\b", source.citation)
        assert source.doi == "" or source.doi.startswith("10.")


def test_an_assumption_is_never_passed_off_as_a_finding():
    for figure in KNOW.figures.values():
        if figure.kind == "assumption":
            assert "patchnet" in figure.sources
        if figure.kind in ("published", "second-hand", "derived"):
            assert set(figure.sources) - {"patchnet", "common_practice", "memory"}


FORBIDDEN = re.compile(
    r"evidence\.md|evidence \d|verified|draft|\[\d+\]|plants\.csv|/work|/tmp|TODO|FIXME|XXX|"
    r"\bshared/|\bGPT\b|\bAI\b",
    re.IGNORECASE,
)


@pytest.mark.parametrize("table", sorted(TABLES))
def test_no_table_speaks_of_how_it_was_made(table):
    for line in (FOLDER / table).read_text(encoding="utf-8").splitlines():
        assert not FORBIDDEN.search(line), line


def test_needs_are_keyed_by_their_name_and_unique_in_the_group():
    for group in KNOW.groups.values():
        keys = [need.key for need in group.needs]
        assert len(set(keys)) == len(keys)
        for need in group.needs:
            slug = re.sub(r"[^a-z0-9]+", "_", need.name.lower().replace("'", "")).strip("_")
            assert need.key == slug
            assert KNOW.figures[f"needs/{group.key}/{need.key}/amount"] is need.amount


def test_figures_stand_under_their_addresses():
    bee = KNOW.groups["mason_bee"]
    assert KNOW.figures["groups/mason_bee/hop"] is bee.hop
    assert KNOW.figures["groups/mason_bee/anchor/bee_tubes"] is bee.anchors[0].per_home
    assert KNOW.figures["features/pond/typical"] is KNOW.features["pond"].typical
    assert KNOW.figures["settings/p_cut"] is KNOW.settings["p_cut"]
    assert KNOW.figures["plants/snowdrop/height"] is KNOW.plants["snowdrop"].height
    assert "supplies/pond/breeding_water" in KNOW.figures
    for key, figure in KNOW.figures.items():
        assert figure.key == key


def test_every_group_can_find_what_it_needs_somewhere_in_its_months():
    given = KNOW.supply_array.max(axis=0)
    resource_at = {key: at for at, key in enumerate(KNOW.resources)}
    for group in KNOW.groups.values():
        for anchor in group.anchors:
            assert given[resource_at[anchor.resource]].max() > 0
        assert given[resource_at[group.step_resource]].max() > 0
        for need in group.needs:
            months = np.array(need.months) - 1
            assert (given[resource_at[need.resource], months] > 0).all(), need


def test_supply_array_is_amount_times_month_weight():
    features, resource_keys = list(KNOW.features), list(KNOW.resources)
    total = 0.0
    for row in raw("supplies.csv"):
        expected = [float(row["value"]) * float(row[month]) for month in MONTHS]
        at = features.index(row["feature"]), resource_keys.index(row["resource"])
        np.testing.assert_allclose(KNOW.supply_array[at], expected, rtol=1e-15)
        total += sum(expected)
    assert KNOW.supply_array.sum() == pytest.approx(total, rel=1e-12)


def test_a_planter_plot_is_a_planter():
    assert KNOW.plot_kinds["planter"].implies == "planter"


def test_settings_of_the_method_are_there():
    wanted = {
        "quality_floor": 0.01,
        "p_cut": 1e-4,
        "prior_strength": 2,
        "break_hops": 5,
        "repair_area_change": 0.01,
    }
    assert {key: KNOW.setting(key) for key in wanted} == wanted


def test_plants_of_winter_wrap_over_new_year():
    assert KNOW.plants["winter_heath"].flower_months == (12, 1, 2, 3, 4)
    assert KNOW.plants["hornwort"].flower_months == ()


def test_loading_twice_gives_the_same_object():
    assert load_knowledge() is load_knowledge(None)


@pytest.mark.parametrize("table", ["groups.csv", "needs.csv", "features.csv"])
def test_months_are_written_so_that_no_spreadsheet_takes_them_for_a_date(table):
    column = "active_months" if table == "groups.csv" else "months"
    for row in raw(table):
        assert re.fullmatch(r"[a-z]{3}(-[a-z]{3})?(;[a-z]{3}(-[a-z]{3})?)*", row[column])
