"""Answers hang on what the tables say of things, never on what the things are called."""

import csv
import io
from dataclasses import fields, is_dataclass, replace
from datetime import date
from functools import cache
from importlib import resources

import geopandas as gpd
import numpy as np
import pytest
import shapely

from patchnet.assess import assess
from patchnet.core.errors import DataFaults
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.build import build
from patchnet.knowledge.load import load_rows
from patchnet.knowledge.schema import TABLES
from patchnet.pages.map.additions_payload import _kind
from patchnet.pages.privacy import for_audience, public_features
from patchnet.pages.public_table import table_of
from patchnet.plan.candidates import candidates_for
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plan_plot import Adviser
from patchnet.plan.questions import questions
from patchnet.plan.read_facts import read_facts
from patchnet.plan.space import space_of
from patchnet.read.build import build_neighbourhood
from patchnet.survey.release import Ledger

KNOW = load_knowledge()
FOLDER = resources.files("patchnet.knowledge") / "tables"
# Columns that hold keys of the renamed ones though they are declared as words.
SPELT = {
    "features": (("osm_tags.csv", "becomes"),),
    "plot_kinds": (("osm_tags.csv", "becomes"),),
    "barrier_kinds": (("osm_tags.csv", "becomes"),),
    "resources": (),
    "cautions": (),
    "plant_roles": (("plants.csv", "roles"), ("resources.csv", "plant_roles")),
}
ROLE = {"features": "feature", "plot_kinds": ("plot", "building"), "barrier_kinds": "barrier"}


def other(key):
    return f"zz_{key}"


def plain(value):
    """Names of before in place of the others, all through an answer."""
    if isinstance(value, str):
        return value.replace("zz_", "")
    if is_dataclass(value):
        return {one.name: plain(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, dict):
        return {plain(key): plain(one) for key, one in value.items()}
    if isinstance(value, (tuple, list)):
        return [plain(one) for one in value]
    if isinstance(value, (set, frozenset)):
        return sorted(plain(one) for one in value)
    return value


def own_pond(folder):
    """A user's tables with a pond of their own, written before there was a column of traits."""
    for table, layout in TABLES.items():
        column = "feature" if "feature" in layout.key else "key" if table == "features.csv" else ""
        text = (FOLDER / table).read_text(encoding="utf-8")
        rows = [row for row in csv.DictReader(io.StringIO(text)) if row.get(column) == "pond"]
        if not rows:
            continue
        new = {
            column: "wild_pool",
            **({"name": "Wild pool", "words": ""} if column == "key" else {}),
        }
        out = io.StringIO()
        names = [name for name in rows[0] if name != "traits"]
        writer = csv.DictWriter(out, names, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows({**row, **new} for row in rows)
        (folder / table).write_text(out.getvalue(), encoding="utf-8")
    return load_knowledge(folder)


def holding(what):
    """Columns that hold keys of a table: its own, those of tables by its keys, those of others."""
    named: set[str] = set()
    more = {f"{what}.csv"}
    while more - named:  # a table by the keys of a table by the keys of this one, too
        named |= more
        more = {name for name, one in TABLES.items() if one.refs.get(one.key[0]) in named}
    places = [(f"{what}.csv", "key"), *SPELT[what]]
    for name, declared in TABLES.items():
        places += [(name, column) for column, of in declared.refs.items() if of in named]
    return [place for place in places if "key" in TABLES[place[0]].key or place[1] != "key"]


@cache
def renamed():
    """The shipped tables with other keys for all these things."""
    tables = load_rows()
    for what in SPELT:
        keys = set(getattr(KNOW, what))
        for table, column in holding(what):
            if table == "osm_tags.csv":
                wanted = ROLE[what]
                tables[table] = [
                    swap(row, column, keys) if row.cells["role"] in wanted else row
                    for row in tables[table]
                ]
            else:
                tables[table] = [swap(row, column, keys) for row in tables[table]]
    faults = []
    knowledge, __ = build(tables, faults)
    assert faults == []
    return knowledge


def swap(row, column, keys):
    parts = row.cells[column].split(";")
    cell = ";".join(other(part) if part in keys else part for part in parts)
    return replace(row, cells={**row.cells, column: cell})


KINDS = ["garden_back", "garden_front", "balcony", "verge", "planter", "park"]
FEATURES = [
    "lawn_short 60; paving 20; compost_heap 1; bird_bath 1",
    "shrub 12; lawn_short 50; flower_border 10",
    "window_box 1; container_pond 1",
    "lawn_short 30",
    "",
    "pond 4; long_grass 20; paving 30; artificial_grass 10",
]


def street(knowledge, name=str, times=1):
    """Return plots of every kind side by side, the same again as many times as is asked."""
    words = [
        "; ".join(
            " ".join([name(part.split()[0]), *part.split()[1:]])
            for part in cell.split("; ")
            if part
        )
        for cell in FEATURES * times
    ]
    plots = gpd.GeoDataFrame(
        {
            "id": [str(at + 1) for at in range(len(KINDS) * times)],
            "kind": [name(kind) for kind in KINDS * times],
            "features": words,
            "seen": "all",
        },
        geometry=[
            shapely.box(400_000 + at * 20, 300_000, 400_000 + at * 20 + 12, 300_012)
            for at in range(len(KINDS) * times)
        ],
        crs="EPSG:27700",
    )
    return build_neighbourhood(plots, knowledge=knowledge)


FACTS = [
    PlotFacts(),
    PlotFacts(small_children=True, tenure="rent", pets=("cat",)),
    PlotFacts(small_children=False, free_m2=60, keep=("play_lawn",), pets=("cat",)),
    PlotFacts(pots_only=True),
]


@pytest.mark.parametrize("facts", FACTS)
def test_what_is_offered_does_not_hang_on_names(facts):
    hoods = ((KNOW, street(KNOW), str), (renamed(), street(renamed(), other), other))
    for at, kind in enumerate(KINDS):
        told = []
        for know, hood, name in hoods:
            has = dict(zip(know.features, np.nan_to_num(hood.answers.amount[at]), strict=True))
            space = space_of(hood, str(at + 1), facts, know, amounts=has)
            told.append(plain([space, candidates_for(know, facts, space, kind=name(kind))]))
        assert told[0] == told[1]


def test_a_whole_plan_does_not_hang_on_names():
    plans = []
    for know, name in ((KNOW, str), (renamed(), other)):
        hood = street(know, name)
        state = assess(hood, knowledge=know, groups=("mason_bee", "newt", "sparrow"), straight=True)
        plan = Adviser(state).plan("1", month=5)
        plans.append(plain([plan.best, plan.runner_up, plan.stages, plan.would_change,
                            plan.planting, plan.ruled_out, plan.warnings]))  # fmt: skip
    assert plans[0] == plans[1]


def test_a_pond_of_a_users_own_is_a_pond(tmp_path):
    """Never where small children come, asked about where nobody said, told so on the map."""
    know = own_pond(tmp_path)
    hood = street(know)
    has = dict(zip(know.features, np.nan_to_num(hood.answers.amount[0]), strict=True))

    def offered(facts):
        space = space_of(hood, "1", facts, know, amounts=has)
        found, ruled = candidates_for(know, facts, space, kind="garden_back")
        return {one.feature: one for one in found}, {one.feature: one.kind for one in ruled}

    found, ruled = offered(PlotFacts(small_children=True))
    assert "wild_pool" not in found
    assert ruled["wild_pool"] == ruled["pond"] == "safety"
    found, _ = offered(PlotFacts())
    assert found["wild_pool"].asks == found["pond"].asks
    assert "small_children" in found["wild_pool"].asks
    assert "pond_children" in found["wild_pool"].cautions
    [allowed] = [ok for fact, _, ok in questions(PlotFacts(), know, "garden_back")
                 if fact == "small_children"]  # fmt: skip
    assert not allowed(found["wild_pool"])
    assert allowed(found["bird_bath"])
    with pytest.raises(DataFaults, match="small children come"):
        read_facts({"small_children": "yes", "wishes": "wild_pool 2"}, know, where="card")
    assert _kind(found["wild_pool"], know)["water"]
    [cover] = [key for key, one in know.ground_covers.items() if "wild_pool" in one.features]
    assert "pond" in know.ground_covers[cover].features, "an animal walks round it"


def test_what_may_be_published_does_not_hang_on_names():
    seen = []
    for know, name in ((KNOW, str), (renamed(), other)):
        hood = street(know, name, times=6)
        _, table = table_of(
            Ledger(), hood, public_features(know), knowledge=know, today=date(2026, 6, 1)
        )
        assert len(table.classes) > 0
        seen.append(for_audience(hood, "public", knowledge=know, released=table))
    np.testing.assert_array_equal(seen[0].answers.amount, seen[1].answers.amount)
    assert plain(list(seen[1].plots["kind"])) == list(seen[0].plots["kind"])
    assert seen[0].withheld == seen[1].withheld
