"""Files are written whole or not at all, and nothing foreign is replaced."""

import pytest

from patchnet.core.errors import CannotWrite
from patchnet.core.files import MADE_BY, OwnFolder, ensure_may_write, write_aside, write_text


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
