"""The lock of a street's file, who else has it open, and what is written down: each by itself.

What commands do with them together is looked at in `tests/survey/test_street_store.py`.
"""

import fcntl
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from types import SimpleNamespace

import geopandas as gpd
import pytest
import shapely

from patchnet.core import street_store
from patchnet.core.errors import CannotRead, CannotWrite
from patchnet.core.geopackage import OutLayer, changing, write_geopackage
from patchnet.core.open_file import FORM
from patchnet.core.street_store import (
    Entry,
    add_entry,
    ensure_free,
    ensure_generation,
    form_of,
    generation_of,
    holding,
    read_journal,
    replacing,
)


class Clock:
    """A clock on which only sleeping takes time; it does things when their turn comes."""

    def __init__(self):
        self.now, self.turns, self.then = 1000.0, 0, {}

    def monotonic(self):
        return self.now

    def sleep(self, seconds):
        self.now += seconds
        self.turns += 1
        self.then.get(self.turns, lambda: None)()

    @property
    def waited(self):
        return self.now - 1000


@pytest.fixture
def clock(monkeypatch):
    made = Clock()
    told = SimpleNamespace(monotonic=made.monotonic, sleep=made.sleep)
    monkeypatch.setattr(street_store, "time", told)
    monkeypatch.setattr(street_store, "_WAIT_S", 7.0)
    monkeypatch.setattr(street_store, "_FREE_S", 2.0)
    return made


@pytest.fixture
def street(tmp_path):
    path = tmp_path / "street.gpkg"
    plots = gpd.GeoDataFrame({"id": ["1"]}, geometry=[shapely.box(0, 0, 1, 1)], crs="EPSG:27700")
    write_geopackage(path, [OutLayer("plots", plots)])
    return path


# the lock ----------------------------------------------------------------------------------


@pytest.fixture
def locked(street):
    """The lock of the street in other hands; give it back by calling."""
    lock = street.with_name(".street.gpkg.lock")
    handle = os.open(lock, os.O_RDWR | os.O_CREAT)
    fcntl.flock(handle, fcntl.LOCK_EX)
    held = [handle]

    def give_back():
        if held:
            lock.unlink()
            os.close(held.pop())

    yield give_back
    give_back()


def test_a_second_writer_waits_and_then_says_so(street, locked, clock):
    with pytest.raises(CannotWrite, match="being changed by another"), holding(street):
        pass
    assert 7 < clock.waited < 7.2


def test_a_second_writer_gets_its_turn(street, locked, clock):
    clock.then[3] = locked
    with holding(street):
        assert clock.turns == 3
        assert street.with_name(".street.gpkg.lock").exists()
    assert not street.with_name(".street.gpkg.lock").exists()


def test_the_same_writer_may_hold_it_twice(street, clock):
    lock = street.with_name(".street.gpkg.lock")
    with holding(street):
        with holding(street), holding(street.parent / "." / street.name):
            assert lock.exists()
        assert lock.exists(), "the outer one holds it still"
    assert not lock.exists()
    assert clock.turns == 0


def test_no_lock_can_be_made(tmp_path, clock):
    with pytest.raises(CannotWrite, match="cannot be written"), holding(tmp_path / "no" / "a.gpkg"):
        pass
    assert clock.turns == 0


# who has it open -------------------------------------------------------------------------------


def test_a_file_that_sqlite_has_locked_is_waited_for(street, clock):
    with closing(sqlite3.connect(street, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(CannotWrite, match="is open in another program: close it there"):
            ensure_free(street)
        assert 2 < clock.waited < 2.2
        clock.then[clock.turns + 4] = lambda: other.execute("ROLLBACK")
        ensure_free(street)
    assert clock.turns > 4


@pytest.fixture
def opened():
    """Have another program open a file in some mode."""
    running = []

    def call(path, mode):
        code = "import sys; f = open(sys.argv[1], sys.argv[2]); print('open', flush=True); input()"
        one = subprocess.Popen(
            [sys.executable, "-c", code, str(path), mode], stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        running.append(one)
        assert one.stdout.readline() == "open\n"

    yield call
    for one in running:
        one.communicate("\n")


@pytest.mark.parametrize(("mode", "free"), [("rb", True), ("r+b", False), ("ab", False)])
def test_whoever_could_write_at_rest_is_named(street, opened, clock, mode, free):
    """It holds no lock, and might write at any time; one that only reads does not matter.

    Linux alone tells who has a file open; elsewhere one at rest is not noticed.
    """
    opened(street, mode)
    if free or not sys.platform.startswith("linux"):
        ensure_free(street)
        assert clock.turns == 0
    else:
        with pytest.raises(CannotWrite, match=r"open in another program \(python"):
            ensure_free(street)


@pytest.mark.parametrize("end", ["-shm", "-journal"])
def test_a_log_beside_it_means_that_somebody_is_there(street, clock, end):
    street.with_name(street.name + end).write_bytes(b"\0" * 600)
    with pytest.raises(CannotWrite, match="is open in another program"):
        ensure_free(street)
    assert clock.waited > 2


def test_what_is_no_database_is_nobodys(tmp_path, clock):
    path = tmp_path / "street.geojson"
    ensure_free(path)
    path.write_text("{}")
    ensure_free(path)
    assert clock.turns == 0


def test_a_damaged_one_is_told(street, clock):
    whole = street.read_bytes()
    street.write_bytes(whole[:100] + b"\xff" * 4000)
    with pytest.raises(CannotRead, match="damaged"):
        ensure_free(street)


# replaced and written down -----------------------------------------------------------------------


def note(path, what="merge", **kept):
    with changing(path) as there:
        add_entry(there, Entry(what, ("r1", "r2"), ("a1",)), "digest", **kept)


def test_each_change_has_a_number(street):
    assert (generation_of(street), form_of(street)) == (0, 1)
    assert read_journal(street).empty
    note(street)
    note(street, "consent")
    journal = read_journal(street)
    assert journal["generation"].tolist() == [1, 2]
    assert journal["what"].tolist() == ["merge", "consent"]
    assert journal["returns"].tolist() == ["r1; r2"] * 2
    assert journal["answers"].tolist() == ["a1"] * 2
    assert (generation_of(street), form_of(street)) == (2, FORM)


def test_a_file_of_an_earlier_form_begins_with_a_row_that_says_so(street):
    note(street, had_records=True)
    note(street, had_records=True)
    assert read_journal(street)["what"].tolist() == ["earlier form", "merge", "merge"]
    assert read_journal(street)["generation"].tolist() == [1, 2, 3]
    assert generation_of(street) == 3


def test_only_what_builds_on_the_file_that_stands_is_put_in_place(street, tmp_path):
    note(street)
    for stale in (0, 2):
        with pytest.raises(CannotWrite, match="changed by somebody else"):
            ensure_generation(street, stale, street)
    ensure_generation(street, 1, street)
    ensure_generation(street, None, street)
    street.chmod(0o640)
    with replacing(street) as draft:
        draft.write_bytes(b"new")
    assert street.read_bytes() == b"new"
    assert street.stat().st_mode & 0o777 == 0o640
    told = pytest.raises(CannotWrite, match="changed by somebody else")
    with told, replacing(street) as draft:
        draft.write_bytes(b"newer")
        street.write_bytes(b"somebody else's")
    assert street.read_bytes() == b"somebody else's"


def test_a_file_that_was_not_there_builds_on_nothing(tmp_path):
    path = tmp_path / "new.gpkg"
    with replacing(path) as draft:
        draft.write_bytes(b"new")
    assert path.read_bytes() == b"new"
