"""Work shared out to processes: in order, the same with one or more, and nothing left behind."""

import os
import subprocess
import sys
import time
from multiprocessing.connection import Listener

import pytest

from patchnet.core import processes
from patchnet.core.compiled import cores
from patchnet.core.processes import Kept, in_processes


def times(shared, block):
    return shared * block


def fails(_, block):
    message = f"block {block}"
    raise ValueError(message)


def own_number(_, __):
    return os.getpid()


def number_later(_, __):
    time.sleep(0.02)
    return os.getpid()


@pytest.mark.parametrize("count", [1, 2])
def test_results_come_in_order(count):
    assert list(in_processes(times, 3, range(7), processes=count)) == [0, 3, 6, 9, 12, 15, 18]
    assert list(in_processes(times, 3, [], processes=count)) == []


def test_one_process_is_this_one():
    assert set(in_processes(own_number, None, range(3), processes=1)) == {os.getpid()}
    assert os.getpid() not in set(in_processes(own_number, None, range(3), processes=2))


def test_what_takes_less_than_a_start_is_done_here_and_only_the_rest_is_shared_out(monkeypatch):
    monkeypatch.setattr(processes, "cores", lambda: 2)
    assert set(in_processes(own_number, None, range(9))) == {os.getpid()}
    monkeypatch.setattr(processes, "_STARTING_S", 0.01)
    first, *rest = in_processes(number_later, None, range(3))
    assert first == os.getpid()
    assert os.getpid() not in rest


def own_cores(_, __):
    return cores()


def test_workers_share_the_processors():
    assert set(in_processes(own_cores, None, range(4), processes=2)) == {max(1, cores() // 2)}
    before = cores()
    list(in_processes(own_cores, None, range(4), processes=1))
    assert cores() == before


@pytest.mark.parametrize("count", [1, 2])
def test_a_failure_is_told(count):
    with pytest.raises(ValueError, match="block 0"):
        list(in_processes(fails, None, range(3), processes=count))


def test_not_all_need_be_waited_for():
    rows = in_processes(times, 2, range(50), processes=2)
    assert next(rows) == 0
    rows.close()


def slowly(folder, block):
    """The first is done at once; the others take a minute and leave a file."""
    if block:
        (folder / f"begun {os.getpid()}").touch()
        for _ in range(600):
            time.sleep(0.1)
        (folder / f"late {block}").touch()
    else:
        while not list(folder.glob("begun *")):
            time.sleep(0.01)
    return block


def test_what_nobody_waits_for_is_ended_at_once(tmp_path):
    rows = in_processes(slowly, tmp_path, range(4), processes=2)
    assert next(rows) == 0
    rows.close()
    begun = [int(path.name.split()[1]) for path in tmp_path.glob("begun *")]
    assert begun
    for process in begun:
        with pytest.raises(ProcessLookupError):
            os.kill(process, 0)
    assert not list(tmp_path.glob("late *"))
    assert list(in_processes(times, 3, range(3), processes=2)) == [0, 3, 6]


def test_where_no_process_can_be_started_it_is_done_here(monkeypatch):
    def refused(*_):
        raise OSError

    monkeypatch.setattr(processes.ProcessPoolExecutor, "submit", refused)
    assert list(in_processes(own_number, None, range(3), processes=2)) == [os.getpid()] * 3


def begun(shared, block):
    return [shared + block, os.getpid()]


def fails_to_begin(_, block):
    message = f"nothing to keep of {block}"
    raise ValueError(message)


def add(kept, more):
    kept[0] += more
    return kept[0]


def whose(kept, _):
    return kept[1]


@pytest.mark.parametrize("count", [1, 2])
def test_what_is_kept_is_asked_again_and_answers_in_order(count):
    """10 + 0, 1, 2; 5 more each; then 1 more for the first and the last; each stays with one."""
    with Kept(begun, 10, [0, 1, 2], processes=count) as kept:
        assert kept.ask(add, 5) == [15, 16, 17]
        assert kept.ask(add, 1, [0, 2]) == [16, 18]
        assert kept.ask(add, 0) == [16, 16, 18]
        owners = kept.ask(whose, None)
        assert (os.getpid() in owners) == (count == 1)
        assert owners[0] == owners[2] == kept.ask(whose, None)[0]


@pytest.mark.parametrize("count", [1, 2])
def test_what_cannot_be_kept_is_told(count):
    with (
        pytest.raises(ValueError, match="nothing to keep of"),
        Kept(fails_to_begin, None, [7, 8], processes=count) as kept,
    ):
        kept.ask(add, 1)


def test_where_no_process_can_be_started_it_is_kept_here(monkeypatch):
    def refused(*_):
        raise OSError

    monkeypatch.setattr(processes.ProcessPoolExecutor, "submit", refused)
    with Kept(begun, 0, [1, 2], processes=2) as kept:
        assert kept.ask(whose, None) == [os.getpid()] * 2


SCRIPT = """
import os, sys, time
from multiprocessing.connection import Client
from patchnet.core.processes import Kept, in_processes

def work(address, block):
    here = Client(address)  # held until this process ends
    here.send(block)
    time.sleep(600)

if __name__ == "__main__":
    list(in_processes(work, ("localhost", int(sys.argv[1])), range(2), processes=2))
"""


def test_nothing_stays_behind_where_the_command_is_killed(tmp_path):
    """Each worker keeps a connection open; it is told closed when the worker is gone."""
    script = tmp_path / "script.py"
    script.write_text(SCRIPT, encoding="utf-8")
    with Listener(("localhost", 0)) as listener:
        running = subprocess.Popen([sys.executable, script, str(listener.address[1])])
        workers = [listener.accept() for _ in range(2)]
        assert sorted(one.recv() for one in workers) == [0, 1]
        running.kill()
        running.wait()
        for one in workers:
            assert one.poll(30)
            with pytest.raises((EOFError, ConnectionResetError)):
                one.recv()
            one.close()
