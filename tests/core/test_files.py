"""Files are written whole or not at all, and nothing foreign is replaced."""

import subprocess
import sys
import tempfile

import pytest

from patchnet.core import files
from patchnet.core.errors import CannotRead, CannotWrite
from patchnet.core.files import (
    MADE_BY,
    OwnFolder,
    ensure_may_write,
    folder_to_read,
    write_aside,
    write_text,
)

LEFT = """
import os, sys
from pathlib import Path
from patchnet.core.files import folder_to_read
with folder_to_read(Path(sys.argv[1])) as aside:
    (aside / "plots.geojson").write_text("a household")
    os._exit(9)
"""


def test_a_failure_half_way_leaves_the_old_file(tmp_path):
    target = tmp_path / "a.txt"
    target.write_text("old")

    def half():
        with write_aside(target) as draft:
            draft.write_text("half")
            raise ValueError("stopped half way")

    with pytest.raises(ValueError, match="half way"):
        half()
    assert target.read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]


def test_what_is_unpacked_stands_beside_the_file_in_private(tmp_path):
    dead = subprocess.run([sys.executable, "-c", LEFT, str(tmp_path / "a.zip")], check=False)
    assert dead.returncode == 9
    (found,) = tmp_path.glob(".patchnet-*")  # what a command left that was killed
    assert found.stat().st_mode & 0o077 == 0
    with folder_to_read(tmp_path / "a.zip") as aside:
        assert aside.parent == tmp_path
        assert list(tmp_path.glob(".patchnet-*")) == [aside]
    assert not list(tmp_path.glob(".patchnet-*"))


def test_what_is_unpacked_where_nothing_may_be_written(tmp_path, monkeypatch):
    """It stands in the system's folder for such things, and is swept there as well."""
    system = tmp_path / "tmp"
    system.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(system))
    with folder_to_read(tmp_path / "no such folder" / "a.zip") as aside:
        assert aside.parent == system
    assert not list(system.iterdir())
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "none"))

    def nowhere():
        with folder_to_read(tmp_path / "no such folder" / "a.zip"):
            pass

    with pytest.raises(CannotRead, match="cannot be unpacked"):
        nowhere()


def test_written_with_line_feeds_on_every_system(tmp_path):
    write_text(tmp_path / "a.txt", "a\nb\n")
    assert (tmp_path / "a.txt").read_bytes() == b"a\nb\n"


def test_missing_folder(tmp_path):
    with pytest.raises(CannotWrite, match="cannot be written"):
        write_text(tmp_path / "none" / "a.txt", "x")
    with pytest.raises(CannotWrite, match="no folder"):
        ensure_may_write(tmp_path / "none" / "a.txt", overwrite=True)


def test_foreign_file(tmp_path):
    target = tmp_path / "a.html"
    target.write_text("mine")
    with pytest.raises(CannotWrite, match="--overwrite"):
        ensure_may_write(target, overwrite=False)
    ensure_may_write(target, overwrite=True)
    target.write_text(f"<head>{MADE_BY}")
    ensure_may_write(target, overwrite=False)


def test_mark_deep_inside_is_no_mark(tmp_path):
    """A file that merely quotes the mark far down was not made by patchnet."""
    target = tmp_path / "a.html"
    target.write_text("x" * 5000 + MADE_BY)
    with pytest.raises(CannotWrite):
        ensure_may_write(target, overwrite=False)


def test_own_folder_replaces_its_own(tmp_path):
    folder = OwnFolder(tmp_path / "here")
    folder.ensure_may_write(["a"])
    folder.write("a", "1")
    folder.ensure_may_write(["a"])
    folder.write("a", "2")
    assert (tmp_path / "here" / "a").read_text() == "2"


@pytest.mark.parametrize("record", ["not json", "[]", "{}"])
def test_damaged_record_vouches_for_nothing(tmp_path, record):
    folder = OwnFolder(tmp_path)
    folder.write("a", "1")
    (tmp_path / ".patchnet-files.json").write_text(record)
    with pytest.raises(CannotWrite, match="a"):
        folder.ensure_may_write(["a"])


def test_folder_that_is_a_file(tmp_path):
    (tmp_path / "here").write_text("x")
    with pytest.raises(CannotWrite):
        OwnFolder(tmp_path / "here").ensure_may_write(["a"])


@pytest.mark.parametrize("when", ["before", "after"])
@pytest.mark.parametrize("earlier", [True, False])
def test_whoever_is_ended_while_a_file_is_put_in_place_can_go_on(
    tmp_path, monkeypatch, when, earlier
):
    """Just before it stands there, or just after: what is there is known to be ours."""
    if earlier:
        OwnFolder(tmp_path).write("page", "of last year")
    put = files.write_bytes

    def ended(path, content):
        if when == "after":
            put(path, content)
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(files, "write_bytes", ended)
        with pytest.raises(KeyboardInterrupt):
            OwnFolder(tmp_path).write("page", "of this year")
    OwnFolder(tmp_path).ensure_may_write(["page"])
    OwnFolder(tmp_path).write("page", "of this year")
    assert (tmp_path / "page").read_text() == "of this year"
    (tmp_path / "page").write_text("of last year")  # somebody's own copy of what was there once
    with pytest.raises(CannotWrite):
        OwnFolder(tmp_path).ensure_may_write(["page"])
