"""What has not changed of the tables is not read again, and comes out as if it were."""

from dataclasses import fields, replace
from functools import cache

import pytest

from patchnet.knowledge.build import build
from patchnet.knowledge.load import load_rows
from patchnet.knowledge.tables import lay_over

ASKED_MOST = (
    "sources.csv", "features.csv", "resources.csv", "groups.csv", "need_figures.csv",
    "plot_kinds.csv", "street_objects.csv", "planting_places.csv", "plants.csv",
)  # fmt: skip


@cache
def as_shipped():
    """The tables that ship and what is kept of them, which no build from it changes."""
    return build(load_rows(), [])


def everything(tables, before=None):
    """What tables come to, word for word: all records and all faults."""
    faults = []
    knowledge, _ = build(tables, faults, before)
    return [repr(getattr(knowledge, one.name)) for one in fields(knowledge)], faults


@pytest.mark.parametrize("table", ASKED_MOST)
def test_tables_that_did_not_change_are_taken_over_as_if_read_again(table):
    """A row laid over, one with every cell wrong (under a new key), and a key that is gone."""
    shipped_rows = load_rows()
    _, before = as_shipped()
    row = shipped_rows[table][0]
    own = replace(row, where="mine.csv", cells={**row.cells, "note": "seen by us"})
    wrong = replace(own, cells={column: row.cells[column] + "?" for column in row.cells})
    for rows in (
        lay_over(shipped_rows[table], [own]),
        lay_over(shipped_rows[table], [wrong]),
        shipped_rows[table][1:],
    ):
        tables = {**shipped_rows, table: rows}
        assert everything(tables, before) == everything(tables)


def test_only_what_a_change_touches_is_read_again():
    shipped_rows = load_rows()
    knowledge, before = as_shipped()
    own = replace(shipped_rows["features.csv"][0], where="mine.csv")
    rows = lay_over(shipped_rows["features.csv"], [own])
    after, _ = build({**shipped_rows, "features.csv": rows}, [], before)
    assert after.plants["bramble"] is knowledge.plants["bramble"]
    assert after.features[own.ident] is not knowledge.features[own.ident]
