"""What took long is kept until anything changes; what is not this user's own is never opened."""

import os
import pickle
import stat
import threading

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from patchnet.core import cache
from patchnet.core.cache import NO_CACHE, Cache


@pytest.fixture(autouse=True)
def at_home(tmp_path, monkeypatch):
    """A user's own folder, and everything taken to be long work."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(cache, "_WORTH_S", 0.0)


@pytest.fixture
def street(tmp_path):
    folder = tmp_path / "saturday"
    folder.mkdir()
    file = folder / "street.gpkg"
    file.write_bytes(b"a street")
    return file


def never():
    raise AssertionError("worked out again")


def entries(street):
    return sorted(one.name for one in cache.cache_folder(street).glob("*.kept"))


def test_kept_and_found_again(street):
    thing = {"homes": np.arange(5.0), "words": "fünf"}
    first = Cache(street)
    name = first.name("assessment", 1.5, ["wren"])
    assert first.kept(name, lambda: thing) is thing
    assert entries(street) == [name]
    again = Cache(street)
    found = again.kept(again.name("assessment", 1.5, ["wren"]), never)
    assert found["words"] == "fünf"
    np.testing.assert_array_equal(found["homes"], thing["homes"])
    assert "street.gpkg" in (street.parent / "street-cache" / "about.txt").read_text()


def test_what_is_there_anyway_is_not_kept_again(street):
    """A plan refers to the answer that it came from, of hundreds of megabytes."""
    answer = {"large": np.arange(100_000.0)}
    one = Cache(street)
    name = one.name("plan")
    made = one.kept(name, lambda: {"plan": 1, "of": answer, "also": [answer]}, around=(answer,))
    assert made["of"] is answer
    assert (cache.cache_folder(street) / name).stat().st_size < 1_000
    found = Cache(street).kept(name, never, around=(answer,))
    assert found["of"] is answer
    assert found["also"][0] is answer
    assert found["plan"] == 1
    # Whoever has nothing to put there has to work it out.
    assert one.kept(name, lambda: "anew") == "anew"


def test_anything_else_has_another_name(street, monkeypatch):
    one = Cache(street)
    names = {one.name("plan", 1), one.name("plan", 2), one.name("plan", 1.0), one.name(["plan", 1])}
    monkeypatch.setattr(cache, "_libraries", lambda: ("another numpy",))
    names.add(one.name("plan", 1))
    monkeypatch.setattr(cache, "own_digest", lambda: "another patchnet")
    names.add(one.name("plan", 1))
    assert len(names) == 6


def test_what_has_no_digest_is_worked_out_and_not_kept(street):
    one = Cache(street)
    name = one.name(object())
    assert name is None
    assert [one.kept(name, lambda: 7), one.kept(name, lambda: 8)] == [7, 8]
    assert one.name(street.parent / "no such file") is None
    assert entries(street) == []


def test_what_cannot_be_pickled_is_not_kept(street):
    one = Cache(street)
    made = one.kept(one.name("lock"), threading.Lock)
    assert not made.locked()
    assert entries(street) == []
    assert not list(street.parent.glob("**/*draft*"))


def test_what_is_quickly_done_is_not_kept(street, monkeypatch):
    monkeypatch.setattr(cache, "_WORTH_S", 60.0)
    one = Cache(street)
    one.kept(one.name("quick"), lambda: 1)
    assert not cache.cache_folder(street).exists()


def test_nothing_is_kept_without_a_street():
    assert NO_CACHE.name("plan", 1) is None
    assert NO_CACHE.kept(None, lambda: 3) == 3
    assert NO_CACHE.get(None) is None
    assert NO_CACHE.clear() == 0


class Harm:
    """A pickle of somebody else's, which makes a file when it is opened."""

    def __init__(self, path):
        self.path = path

    def __reduce__(self):
        return (os.mkdir, (str(self.path),))


def test_what_another_user_put_there_is_never_opened(street, tmp_path, monkeypatch):
    """A pickle runs when it is read: the seal is looked at before."""
    harm = tmp_path / "harm"
    mine = Cache(street)
    name = mine.name("plan")
    mine.put(name, 1)
    path = cache.cache_folder(street) / name
    with monkeypatch.context() as theirs:
        theirs.setenv("XDG_STATE_HOME", str(tmp_path / "their home"))
        Cache(street).put(name, Harm(harm))
        assert not harm.exists()
    assert mine.get(name) is None
    assert not harm.exists()
    path.write_bytes(pickle.dumps(Harm(harm)))
    assert mine.get(name) is None
    assert mine.kept(name, lambda: 2) == 2  # and in its place comes what is right
    assert mine.get(name) == 2
    assert not harm.exists()
    pickle.loads(pickle.dumps(Harm(harm)))  # noqa: S301 - it would have been harmful
    assert harm.exists()


def test_an_entry_under_another_name_is_as_good_as_none(street):
    one = Cache(street)
    first, second = one.name("a"), one.name("b")
    one.put(first, "a")
    folder = cache.cache_folder(street)
    (folder / second).write_bytes((folder / first).read_bytes())
    assert one.get(first) == "a"
    assert one.get(second) is None


@settings(
    max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)
@given(st.data())
def test_a_damaged_entry_is_as_good_as_none(street, data):
    one = Cache(street)
    name = one.name("long")
    one.put(name, list(range(50)))
    path = cache.cache_folder(street) / name
    raw = bytearray(path.read_bytes())
    if data.draw(st.booleans(), label="cut off"):
        raw = raw[: data.draw(st.integers(0, len(raw) - 1), label="after")]
    else:
        raw[data.draw(st.integers(0, len(raw) - 1), label="at")] ^= data.draw(st.integers(1, 255))
    path.write_bytes(raw)
    assert one.get(name) is None
    assert one.kept(name, lambda: "anew") == "anew"
    assert one.get(name) == "anew"


def test_a_key_is_the_users_own(street, tmp_path):
    one = Cache(street)
    name = one.name("plan")
    one.put(name, 1)
    [key] = (tmp_path / "home").rglob("cache-key")
    assert len(key.read_bytes()) == 32
    if os.name == "posix":
        assert stat.S_IMODE(key.stat().st_mode) == 0o600
        assert stat.S_IMODE((cache.cache_folder(street) / name).stat().st_mode) == 0o600
    key.write_bytes(b"cut off")
    assert one.get(name) is None
    one.put(name, 2)
    assert one.get(name) == 2
    assert len(key.read_bytes()) == 32


@pytest.mark.parametrize("where", ["street", "home"])
def test_where_nothing_can_be_written_the_answer_comes_all_the_same(street, tmp_path, where):
    blocked = cache.cache_folder(street) if where == "street" else tmp_path / "home"
    blocked.write_text("a file where a folder would have to be")
    one = Cache(street)
    assert one.kept(one.name("plan"), lambda: 5) == 5
    assert one.get(one.name("plan")) is None
    assert blocked.read_text() == "a file where a folder would have to be"


def test_room_is_made_and_the_last_stays(street, monkeypatch):
    one = Cache(street)
    names = [one.name(at) for at in range(4)]
    for at, name in enumerate(names[:3]):
        one.put(name, bytes(10_000))
        os.utime(cache.cache_folder(street) / name, (1e9 + at, 1e9 + at))
    assert entries(street) == [names[2]]  # the others were used too long ago
    for name in names[:3]:
        one.put(name, os.urandom(10_000))
    now = (cache.cache_folder(street) / names[0]).stat().st_mtime
    for at, name in enumerate(names[:3]):
        os.utime(cache.cache_folder(street) / name, (now - 300 + at, now - 300 + at))
    assert one.get(names[0]) is not None  # used just now
    monkeypatch.setattr(cache, "_ROOM", 25_000)
    one.put(names[3], os.urandom(10_000))
    assert entries(street) == sorted([names[0], names[3]])
    monkeypatch.setattr(cache, "_ROOM", 100)
    one.put(names[1], os.urandom(10_000))
    assert entries(street) == [names[1]]


def test_of_a_file_that_changed_meanwhile_nothing_is_kept(street):
    """A household was forgotten while a command that had read the file before was at work."""
    one = Cache(street)
    name = one.name("plan")

    def long_work():
        street.write_bytes(b"a street without them")
        return "with them"

    assert one.kept(name, long_work) == "with them"
    assert entries(street) == []
    assert Cache(street).kept(name, lambda: "now") == "now"
    assert entries(street) == [name]


def test_cleared_but_for_what_is_not_ours(street):
    one = Cache(street)
    one.put(one.name("a"), 1)
    one.put(one.name("b"), 2)
    assert one.clear() == 2
    assert not cache.cache_folder(street).exists()
    one.put(one.name("a"), 1)
    own = cache.cache_folder(street) / "my notes.txt"
    own.write_text("keep")
    assert one.clear() == 1
    assert [each.name for each in cache.cache_folder(street).iterdir()] == ["my notes.txt"]


def test_a_folder_is_named_after_the_street(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert cache.cache_folder(tmp_path / "a" / "street.gpkg") == tmp_path / "a" / "street-cache"
    assert cache.cache_folder(tmp_path / "layers") == tmp_path / "layers-cache"
    root = type(tmp_path)(tmp_path.anchor)
    assert cache.cache_folder(root) == root / "-cache"
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    assert cache.cache_folder(type(tmp_path)(".")) == tmp_path / "here-cache"
