"""A street found by its name in an extract made on paper, and the part of it that is kept."""

import os
import stat

import osmium
import pytest
from osmium.osm.mutable import Node, Way

from patchnet.base import make_base
from patchnet.base.find_street import find_street, scan_seconds
from patchnet.base.kept_part import part_of
from patchnet.core.errors import CannotRead, WrongUse

STEP = 0.0001  # degrees: about 11 m of latitude


class Town:
    """Writes streets of houses into one extract."""

    def __init__(self, path):
        self.path, self.nodes, self.ways, self.last = path, [], [], 0

    def node(self, x, y, **tags):
        self.last += 1
        self.nodes.append(Node(id=self.last, location=(x, y), tags=tags, version=1))
        return self.last

    def way(self, refs, tags):
        self.ways.append(Way(id=len(self.ways) + 1, nodes=refs, tags=tags, version=1))

    def street(self, name, x, y, houses=5, place=""):
        """A road from west to east with houses 11 m north of it, each 11 m square."""
        ends = [self.node(x - STEP, y), self.node(x + 2 * STEP * houses, y)]
        self.way(ends, {"highway": "residential", "name": name})
        for k in range(houses):
            left, low = x + 2 * STEP * k, y + STEP
            ring = [self.node(left + a * STEP, low + b * STEP)
                    for a, b in ((0, 0), (1, 0), (1, 1), (0, 1))]  # fmt: skip
            tags = {"building": "house", "addr:street": name, "addr:housenumber": str(2 * k + 1)}
            self.way([*ring, ring[0]], tags)
        if place:
            self.node(x, y - STEP, place="village", name=place)
        return self

    def write(self):
        with osmium.SimpleWriter(str(self.path), overwrite=True) as out:
            for node in self.nodes:
                out.add_node(node)
            for way in self.ways:
                out.add_way(way)
        return self.path


@pytest.fixture
def country(tmp_path):
    """Elm Road twice, 7 km apart; Oak Lane once."""
    town = Town(tmp_path / "country.osm.pbf")
    town.street("Elm Road", -1.0, 52.0, place="Overton").street("Elm Road", -0.9, 52.0,
                houses=3, place="Netherby").street("Oak Lane", -1.0, 52.01)  # fmt: skip
    return town.write()


@pytest.fixture
def small_is_large(knowledge):
    """The tables, by which every extract is large enough to keep a part of."""
    from dataclasses import replace  # noqa: PLC0415

    own = replace(knowledge.settings["base_part_from_mb"], value=0.0)
    return replace(knowledge, settings={**knowledge.settings, "base_part_from_mb": own})


def test_one_street_is_found_whatever_the_case(country, knowledge):
    found = find_street(country, "oak LANE", knowledge)
    assert (found.name, found.houses) == ("Oak Lane", 5)
    assert found.box == pytest.approx(
        (-1.0 - STEP, 52.01, -1.0 + 10 * STEP, 52.01 + STEP), abs=1e-6
    )


def test_several_are_listed_with_their_places(country, knowledge):
    with pytest.raises(WrongUse) as caught:
        find_street(country, "Elm Road", knowledge)
    words = str(caught.value)
    assert "There are 2 streets called 'Elm Road'" in words
    assert "Elm Road, Overton: 5 addressed houses" in words
    assert "Elm Road, Netherby: 3 addressed houses" in words


def test_the_place_tells_which(country, knowledge):
    assert find_street(country, "Elm Road, Netherby", knowledge).houses == 3
    with pytest.raises(WrongUse, match="One of that name lies in: Netherby, Overton"):
        find_street(country, "Elm Road, Paris", knowledge)


def test_a_slip_of_the_pen_gets_a_hint(country, knowledge):
    with pytest.raises(WrongUse, match="Did you mean Oak Lane"):
        find_street(country, "Oke Lane", knowledge)


def test_a_base_map_of_one_street_needs_no_degrees(country, knowledge):
    base = make_base([country], street=["Elm Road, Netherby"], knowledge=knowledge)
    assert set(base.plots["door"]) == {"1", "3", "5"}
    assert set(base.plots["street"]) == {"Elm Road"}


def test_the_part_round_a_street_is_kept_and_used(country, small_is_large):
    told = []
    first = part_of(country, "Oak Lane", small_is_large, told.append)
    assert [text.split()[0] for text in told] == ["Looking", "Oak"]
    assert first.path.parent == country.parent
    assert "oak" not in first.path.name.casefold()  # the name of the file gives nobody away
    assert stat.S_IMODE(first.path.stat().st_mode) == 0o600
    again = part_of(country, "oak lane", small_is_large, told.append)
    assert len(told) == 2
    assert (again.path, again.found) == (first.path, first.found)
    whole = {way.id for way in osmium.FileProcessor(str(country), osmium.osm.WAY)}
    part = {way.id for way in osmium.FileProcessor(str(first.path), osmium.osm.WAY)}
    assert part < whole
    assert len(part) == 6  # the road and its five houses, each with all its corners
    corners = {node.id for node in osmium.FileProcessor(str(first.path), osmium.osm.NODE)}
    for way in osmium.FileProcessor(str(first.path), osmium.osm.WAY):
        assert {node.ref for node in way.nodes} <= corners


def test_a_newer_extract_is_cut_anew(country, small_is_large):
    first = part_of(country, "Oak Lane", small_is_large, lambda _: None)
    os.utime(country, (1_000_000_000, 1_000_000_000))
    second = part_of(country, "Oak Lane", small_is_large, lambda _: None)
    assert first.path != second.path


@pytest.mark.parametrize("harm", ["cut off", "link", "foreign"])
def test_a_kept_part_that_cannot_be_trusted_is_made_again(country, small_is_large, tmp_path, harm):
    first = part_of(country, "Oak Lane", small_is_large, lambda _: None)
    good = first.path.read_bytes()
    if harm == "cut off":
        first.path.write_bytes(good[:40])
    elif harm == "link":
        aside = tmp_path / "aside.osm.pbf"
        first.path.rename(aside)
        first.path.symlink_to(aside)
    else:
        first.path.write_bytes(country.read_bytes())  # without the word of what was cut out
    told = []
    part_of(country, "Oak Lane", small_is_large, told.append)
    assert told
    assert not first.path.is_symlink()
    assert first.path.read_bytes() == good


def test_damage_is_said(tmp_path, knowledge):
    path = tmp_path / "bad.osm.pbf"
    path.write_bytes(b"\x00\x00\x00\x0d" + b"rubbish" * 40)
    with pytest.raises(CannotRead, match="damaged"):
        find_street(path, "Elm Road", knowledge)
    with pytest.raises(CannotRead):
        make_base([tmp_path / "nowhere.osm.pbf"], street=["Elm Road"], knowledge=knowledge)


def test_small_files_take_no_time_worth_saying(country):
    assert scan_seconds(country) == 0.0
