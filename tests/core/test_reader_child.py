"""A file is read in a child: what it answers, what stops it, and what is said then."""

import os
import signal
import time

import pytest

from patchnet.core import reader_child
from patchnet.core.errors import CannotRead, WrongUse
from patchnet.core.reader_child import Limits, ReaderChild, read_in_child


def whole(path, *others):
    return path.read_text(encoding="utf-8"), others, os.getpid()


def wrong(path):
    raise WrongUse(f"{path.name} is not for this.")


def broken(path):
    raise ZeroDivisionError


def nested(path):
    return nested(path)


def asleep(path):
    time.sleep(60)


def hungry(path):
    return len(bytearray(2**30))


def behind(path):
    raise CannotRead("too much") from MemoryError()


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "a.txt"
    path.write_bytes(b"x" * 2**21)
    return path


def test_one_child_reads_file_after_file(file):
    with ReaderChild(Limits(20, 0, 500, 0, 0)) as child:
        first, second = child.read(whole, file), child.read(whole, file, "b", 3)
    assert first[0] == "x" * 2**21
    assert second[1] == ("b", 3)
    assert first[2] == second[2] != os.getpid()


def test_a_file_that_may_take_more_memory_gets_a_child_with_more(file, tmp_path):
    """A hundred times its size: of 2 MB 200 MB, of 4 MB 400 MB; those are enough for the small
    file that comes again."""
    large = tmp_path / "large.txt"
    large.write_bytes(b"x" * 2**22)
    with ReaderChild(Limits(20, 0, 100, 100, 0)) as child:
        first, second, third = (child.read(whole, one)[2] for one in (file, large, file))
    assert first != second == third


def test_what_the_function_says_of_the_file_is_kept_and_the_child_goes_on(file):
    with ReaderChild(Limits(20, 0, 500, 0, 0)) as child:
        before = child.read(whole, file)[2]
        with pytest.raises(WrongUse, match=r"^a\.txt is not for this\.$"):
            child.read(wrong, file)
        with pytest.raises(CannotRead, match=r"cannot be read \(ZeroDivisionError\)"):
            child.read(broken, file)
        with pytest.raises(CannotRead, match="nested without end"):
            child.read(nested, file)
        assert child.read(whole, file)[2] == before


def test_who_sleeps_is_given_up_after_three_times_the_seconds(file):
    """0.2 s and 0.25 s a megabyte: 0.7 s for 2 MB, and 2.1 s by the clock."""
    with ReaderChild(Limits(0.2, 0.25, 500, 0, 0)) as child:
        with pytest.raises(CannotRead, match=r"given up after 2 seconds"):
            child.read(asleep, file)
        assert child.read(whole, file)[0] == "x" * 2**21


def starved(path):
    """Work 0.01 s, as the last in the queue of a processor on which another works all the time."""
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    os.nice(19)
    until = time.process_time() + 0.01
    while time.process_time() < until:
        pass
    return "done"


def test_who_waits_for_a_busy_processor_is_not_given_up(file):
    """0.01 s of work at a seventieth of a processor take 0.7 s: more than three times 0.05."""
    other = os.fork()
    if not other:
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
        while True:
            pass
    try:
        with ReaderChild(Limits(0.05, 0, 500, 0, 0)) as child:
            begin = time.monotonic()
            assert child.read(starved, file) == "done"
            assert time.monotonic() - begin > 0.15
    finally:
        os.kill(other, signal.SIGKILL)
        os.waitpid(other, 0)


def busy_for_a_while(path):
    until = time.process_time() + 0.7
    while time.process_time() < until:
        pass
    return "done"


class Slow:
    """Takes a while to be sent and to be taken: that is no file's fault."""

    def __reduce__(self):
        return busy_for_a_while, (None,)


def test_what_comes_between_two_files_counts_for_neither(file):
    """0.7 s for each of two files, of 1 s; and 0.7 s to unpack what is asked, before each."""
    with ReaderChild(Limits(1, 0, 500, 0, 0)) as child:
        for _ in range(2):
            assert child.read(takes, file, Slow()) == "done"


def takes(path, other):
    return busy_for_a_while(path)


@pytest.mark.parametrize(
    ("least", "times", "most"), [(300, 0, 300), (300, 150, 300), (100, 160, 320)]
)
def test_memory_is_so_much_or_so_many_times_the_size(file, least, times, most):
    with (
        ReaderChild(Limits(20, 0, least, times, 0)) as child,
        pytest.raises(CannotRead, match=f"needs more than {most} MB of memory"),
    ):
        child.read(hungry, file)


def test_memory_that_a_library_ran_out_of_counts_too(file):
    with (
        ReaderChild(Limits(20, 0, 300, 0, 0)) as child,
        pytest.raises(CannotRead, match="needs more than 300 MB"),
    ):
        child.read(behind, file)


def test_a_file_just_within_the_size_is_read(file):
    with ReaderChild(Limits(20, 0, 500, 0, 2)) as child:
        assert child.read(whole, file)[0] == "x" * 2**21
        file.write_bytes(b"x" * (2**21 + 1))
        with pytest.raises(CannotRead, match="is too large: 2 MB, and at most 2 MB are read"):
            child.read(whole, file)


def test_where_no_child_can_be_had_it_is_read_here(file, monkeypatch):
    monkeypatch.setattr(reader_child, "_FORKS", False)
    assert read_in_child(whole, file)[2] == os.getpid()
    with pytest.raises(WrongUse):
        read_in_child(wrong, file)
    with pytest.raises(CannotRead, match="ZeroDivisionError"):
        read_in_child(broken, file)
