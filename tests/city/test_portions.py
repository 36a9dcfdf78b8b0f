"""A city shared in portions over its tiles is the city shared in portions whole."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from worlds.small_city import write_city

from patchnet.assess.assess import Street, answer_group
from patchnet.assess.assessment import Asked
from patchnet.assess.homes import share_group_in_portions
from patchnet.assess.provision import Readings
from patchnet.assess.supply import supply_of
from patchnet.assess.tables import group_columns
from patchnet.assess.unknown import draw_in_unknown, learn_prior
from patchnet.city import bunched, memory
from patchnet.city.assess_city import assess_city
from patchnet.city.city_answer import read_city
from patchnet.city.parts import Parts
from patchnet.core.errors import CannotRead, WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.read import read_neighbourhood

ANIMALS = ("mason_bee", "goldfinch", "sparrow", "pipistrelle", "slow_worm")
CELL = 1.0


@pytest.fixture(scope="module")
def knowledge():
    """Each home takes forty times as much: so all is short, and sharing decides."""
    plain = load_knowledge()

    def hungry(group):
        needs = [
            replace(need, amount=replace(need.amount, value=40 * need.amount.value))
            for need in group.needs
        ]
        return replace(group, needs=tuple(needs))

    return replace(plain, groups={key: hungry(one) for key, one in plain.groups.items()})


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    path = tmp_path_factory.mktemp("city") / "city.gpkg"
    write_city(path)
    return path


@pytest.fixture
def no_flow_fits(monkeypatch):
    monkeypatch.setattr(memory, "_AN_EDGE", 1e30)


class _InPortions(Street):
    """The second route: one street, its reaches as matrices of pairs, shared in portions."""

    def shared(self, group, knowledge, supplies, places, reach, pool, *, sheets):
        return share_group_in_portions(
            group, knowledge, supplies, places, reach, pool, form=self.asked.quality
        )


@pytest.fixture(scope="module")
def answers(file, knowledge):
    """By the way of sharing: the answers on the whole map."""
    hood = read_neighbourhood(file, knowledge=knowledge)
    amounts = draw_in_unknown(hood, knowledge, learn_prior(hood))
    drawn = Readings(amounts.expected, amounts.low, amounts.high)
    supplies = Readings(*(supply_of(one, knowledge) for one in drawn.distinct))
    return {
        kind: {
            key: answer_group(
                knowledge.groups[key], kind(hood, Asked(cell_m=CELL), 2500.0), knowledge, drawn,
                supplies,
            )
            for key in ANIMALS
        }
        for kind in (_InPortions, Street)
    }  # fmt: skip


def in_tiles(file, folder, knowledge, side, groups=ANIMALS, **others):
    return assess_city(
        file, folder, tile_m=side, groups=groups, knowledge=knowledge, cell_m=CELL, workers=1,
        memory_gb=32, **others,
    )  # fmt: skip


def test_cut_in_tiles(file, knowledge, answers, tmp_path, no_flow_fits, monkeypatch):
    flyers = ANIMALS[:-1]
    laid, lay = [], bunched.Bunches
    monkeypatch.setattr(
        bunched, "Bunches", lambda shapes: (laid.append(len(shapes)), lay(shapes))[1]
    )
    city = in_tiles(file, tmp_path / "answer", knowledge, 130, flyers)
    assert len(city.tiles) > 3
    # The whole city is laid in bunches once for all tiles, and once for each animal; then let go.
    assert laid.count(city.tiles["plots"].sum()) == 1 + len(flyers)
    assert bunched._all_bunches.cache_info().currsize == 0
    assert (city.animals["shared"] == "portions").all()
    ensure_same(city, {key: answers[_InPortions][key] for key in flyers})


def test_exactly_over_bunches(file, knowledge, answers, tmp_path):
    city = in_tiles(file, tmp_path / "answer", knowledge, 400)
    assert (city.animals["shared"] == "whole").all()
    ensure_same(city, answers[Street])


def ensure_same(city, answers):
    tables = [gpd.read_parquet(city.folder / name) for name in city.tiles["file"]]
    found = pd.concat(tables).set_index("id")
    for key, answer in answers.items():
        assert (answer.quality[answer.room > 0] < 0.9).any(), key  # something is short
        for name, expected in group_columns(key, answer).items():
            got = found[name].loc[expected.index]
            if name == f"component_{key}":
                assert (pd.crosstab(expected, got) > 0).to_numpy().sum() == expected.nunique()
            elif name == f"scarcest_{key}":
                assert got.tolist() == expected.tolist()
            else:
                np.testing.assert_allclose(got, expected, rtol=1e-8, atol=1e-9, err_msg=name)
        row = city.animals.loc[key]
        assert row["pc_numerator"] == pytest.approx(answer.measures.pc_numerator, rel=1e-8)
        assert row["breaks"] == len(answer.breaks)


def test_how_far_off_is_told(file, knowledge, answers, tmp_path, no_flow_fits):
    """Another cut; with one tile the part that is worked out both ways is the whole city."""
    city = in_tiles(file, tmp_path / "answer", knowledge, 1000)
    ensure_same(city, answers[_InPortions])
    off = []
    for key in ANIMALS:
        exact, found = (answers[kind][key].homes for kind in (Street, _InPortions))
        told = city.animals.loc[key]
        assert (told["shared"], told["tried_on"]) == ("portions", len(exact))
        assert told["homes_off"] == pytest.approx(found.sum() / exact.sum() - 1, abs=1e-7)
        each = (found - exact).abs().sum() / exact.sum()
        assert told["plots_off"] == pytest.approx(each, abs=1e-7)
        off.append(each)
    assert max(off) > 1e-3


def test_what_fits_is_shared_exactly(file, knowledge, tmp_path, monkeypatch):
    plain = bunched.flow_edges
    monkeypatch.setattr(
        memory, "flow_edges",
        lambda asked, group: 1e30 if group.key == "pipistrelle" else plain(asked, group),
    )  # fmt: skip
    city = in_tiles(file, tmp_path / "answer", knowledge, 400, ("wren", "pipistrelle"))
    assert city.animals["shared"].to_dict() == {"wren": "whole", "pipistrelle": "portions"}


def test_killed_half_way_and_resumed_gives_the_same_bytes(
    file, knowledge, tmp_path, monkeypatch, no_flow_fits
):
    """Killed as each piece of work is about to be noted, once; nothing is done twice."""

    def run(folder):
        return in_tiles(file, folder, knowledge, 150, ("wren", "mason_bee"), straight=True)

    whole = run(tmp_path / "whole")
    expected = {one.name: one.read_bytes() for one in whole.folder.rglob("*") if one.is_file()}
    finish, noted, killed = Parts.finish, [], set()

    def watched(self, name, files, told):
        if name.endswith((".stops", ".reach", ".form", "wren", "mason_bee")) and name not in killed:
            killed.add(name)
            raise KeyboardInterrupt
        noted.append(name)
        finish(self, name, files, told)

    monkeypatch.setattr(Parts, "finish", watched)
    folder = tmp_path / "answer"
    for _ in range(30):
        try:
            run(folder)
            break
        except KeyboardInterrupt:
            with pytest.raises(CannotRead):
                read_city(folder)
    assert len(noted) == len(set(noted))
    assert {"wren.stops", "mason_bee"} < killed
    assert any(name.endswith(".reach") for name in killed)
    assert {one.name: one.read_bytes() for one in folder.rglob("*") if one.is_file()} == expected


def test_rows_that_were_changed_are_not_believed(file, knowledge, tmp_path, monkeypatch):
    finish = Parts.finish

    def killed(self, name, files, told):
        if name == "wren":
            raise KeyboardInterrupt
        finish(self, name, files, told)

    with monkeypatch.context() as patched:
        patched.setattr(Parts, "finish", killed)
        with pytest.raises(KeyboardInterrupt):
            in_tiles(file, tmp_path / "answer", knowledge, 5000, ("wren",))
    (rows,) = (tmp_path / "answer" / ".work").glob("*.wren.reach.50000.npz")
    right = rows.read_bytes()
    rows.write_bytes(right[:-200] + bytes(200))
    seen = []

    def watching(self, name, files, told):
        seen.append(rows.read_bytes() == right if name.endswith(".reach") else None)
        finish(self, name, files, told)

    monkeypatch.setattr(Parts, "finish", watching)
    in_tiles(file, tmp_path / "answer", knowledge, 5000, ("wren",))
    assert True in seen


def test_what_fits_neither_way_is_refused(file, knowledge, tmp_path, monkeypatch):
    monkeypatch.setattr(memory, "_A_PLOT", 1e9)
    with pytest.raises(WrongUse, match=r"not even in portions: wren 48\.\d GB.*leave them out"):
        in_tiles(file, tmp_path / "answer", knowledge, 5000, ("wren",))
