"""What plots of a city are worth, worked out tile by tile, is what they are worth in one piece."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from worlds.small_city import write_city

from patchnet.assess import assess
from patchnet.assess.tables import plot_table
from patchnet.city import memory
from patchnet.city import whole as lines
from patchnet.city.assess_city import assess_city
from patchnet.city.city_answer import read_city
from patchnet.city.parts import Parts
from patchnet.city.workers import Crew
from patchnet.commands.main import cli
from patchnet.core.errors import CannotWrite, WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.read import read_neighbourhood

ANIMALS = ("mason_bee", "goldfinch", "wren", "slow_worm")
CELL = 1.0
PARTS = ("loss", "own", "flow", "connector")


@pytest.fixture(scope="module")
def knowledge():
    """Routes count down to one in five: 93 m for a slow-worm, so that tiles are out of reach."""
    plain = load_knowledge()
    cut = replace(plain.settings["p_cut"], value=0.2)
    return replace(plain, settings={**plain.settings, "p_cut": cut})


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    path = tmp_path_factory.mktemp("city") / "city.gpkg"
    write_city(path)
    return path


def in_tiles(file, folder, knowledge, side, groups=ANIMALS, **others):
    options = {"importance": True, "workers": 1, "cell_m": CELL} | others
    return assess_city(file, folder, tile_m=side, groups=groups, knowledge=knowledge, **options)


def plots_in(city):
    tables = [gpd.read_parquet(city.folder / name) for name in city.tiles["file"]]
    return pd.concat(tables).set_index("id")


def content(folder):
    return {one.name: one.read_bytes() for one in folder.rglob("*") if one.is_file()}


@pytest.fixture(scope="module")
def whole(file, knowledge):
    hood = read_neighbourhood(file, knowledge=knowledge)
    return assess(hood, knowledge=knowledge, groups=ANIMALS, cell_m=CELL)


@pytest.mark.parametrize(("side", "tiles"), [(60, 8), (110, 5), (5000, 1)])
def test_tiles_equal_the_whole(file, whole, knowledge, tmp_path, monkeypatch, side, tiles):
    """Patches and fences on seams, gardens that touch, and plots that nobody looked at.

    A goldfinch's hop is longer than what tiles keep: its links are measured, a few plots at a time.
    """
    monkeypatch.setattr(lines, "SOURCES", 7)
    expected = plot_table(whole, importance=True)
    city = in_tiles(file, tmp_path / "answer", knowledge, side)
    assert len(city.tiles) >= tiles
    found = plots_in(city).loc[expected.index]
    for key in ANIMALS:
        names = [f"{part}_{key}" for part in PARTS]
        at = list(found).index(names[0])
        assert list(found)[at : at + 4] == names
        assert (expected[names[3]] > 1e-3).any(), key  # some carry what cannot go another way
        np.testing.assert_allclose(found[names], expected[names], rtol=1e-7, atol=1e-9)
        assert found[names[0]].notna().tolist() == whole.groups[key].patch.tolist()
        most = expected[names[3]].idxmax()
        told, linked = city.animals.loc[key], whole.groups[key].measures.eca
        assert told["links_most"] == most
        assert most in gpd.read_parquet(
            city.folder / "tiles" / f"{told['links_most_tile']}.parquet"
        )["id"].tolist()  # fmt: skip
        left = linked * np.sqrt(1 - expected.loc[most, names[3]] / 100)
        assert told["links_most_homes"] == pytest.approx(linked - left, rel=1e-6)
    assert not any(name.startswith("traffic_") for name in found)


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    path = tmp_path_factory.mktemp("small") / "small.gpkg"
    write_city(path, plots=30)
    return path


def quick(small, folder, knowledge, **others):
    options = {"straight": True} | others
    return in_tiles(small, folder, knowledge, 60, ("wren", "sparrow"), **options)


@pytest.fixture(scope="module")
def quietly_done(small, knowledge, tmp_path_factory):
    folder = tmp_path_factory.mktemp("quick") / "answer"
    quick(small, folder, knowledge)
    return content(folder)


def test_in_another_order_the_bytes_are_the_same(
    small, knowledge, quietly_done, tmp_path, monkeypatch
):
    do = Crew.do
    monkeypatch.setattr(
        Crew, "do", lambda self, work, asked, names, **others: do(
            self, work, asked, names[::-1], **others
        )
    )  # fmt: skip
    quick(small, tmp_path / "answer", knowledge)
    assert content(tmp_path / "answer") == quietly_done


def test_killed_half_way_and_resumed_gives_the_same_bytes(
    small, knowledge, quietly_done, tmp_path, monkeypatch
):
    """Killed as some pieces of each kind are about to be noted, once; nothing is done twice."""
    finish, noted, killed = Parts.finish, [], set()

    def watched(self, name, files, told):
        kind = name.rpartition(".")[2]
        if kind in {"links", "losses", "importance"} and len(noted) % 3 == 0 and name not in killed:
            killed.add(name)
            raise KeyboardInterrupt
        noted.append(name)
        finish(self, name, files, told)

    monkeypatch.setattr(Parts, "finish", watched)
    folder = tmp_path / "answer"
    for _ in range(30):
        try:
            quick(small, folder, knowledge)
            break
        except KeyboardInterrupt:
            assert not (folder / "manifest.json").exists()
    assert len(noted) == len(set(noted))
    assert {name.rpartition(".")[2] for name in killed} >= {"links", "losses"}
    assert content(folder) == quietly_done


def test_it_is_asked_for(small, tmp_path):
    """By the command, in words; without it there are no such columns: another question."""
    words = ["city", small, "-o", tmp_path / "a", "--straight", "--group", "wren", "--workers", 1]
    asked = list(map(str, words))
    done = CliRunner().invoke(cli, asked)
    assert done.exit_code == 0, done.output
    (path,) = (tmp_path / "a" / "tiles").glob("E*.parquet")
    assert not {f"{part}_wren" for part in PARTS} & set(gpd.read_parquet(path))
    page = tmp_path / "a" / "index.html"
    assert "Plot that links most" not in page.read_text(encoding="utf-8")
    assert isinstance(CliRunner().invoke(cli, [*asked, "--importance"]).exception, CannotWrite)
    done = CliRunner().invoke(cli, [*asked, "--importance", "--overwrite"])
    assert done.exit_code == 0, done.output
    assert {f"{part}_wren" for part in PARTS} <= set(gpd.read_parquet(path))
    most = read_city(tmp_path / "a").animals.loc["wren"]
    assert most["links_most_homes"] > 0
    told = f"{most['links_most']} in {most['links_most_tile']}: without it others lose"
    assert told in page.read_text(encoding="utf-8")


def test_what_does_not_fit_is_refused_before_the_animals_are_answered(
    small, knowledge, tmp_path, monkeypatch
):
    monkeypatch.setattr(memory, "_A_LINK", 1e9)
    quick(small, tmp_path / "without", knowledge, importance=False)
    with pytest.raises(WrongUse, match=r"links round a tile.*wren \d+\.\d GB.*smaller --tile"):
        quick(small, tmp_path / "answer", knowledge)
    assert not list((tmp_path / "answer" / ".work").glob("*.ground.*"))
