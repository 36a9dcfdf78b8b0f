"""Work shared out to processes: in order, the same with one or more, and nothing left behind."""

import os
import subprocess
import sys
from multiprocessing.connection import Listener

import pytest

from patchnet.core import processes
from patchnet.core.compiled import cores
from patchnet.core.processes import in_processes


def times(shared, block):
    return shared * block


def fails(_, block):
    message = f"block {block}"
    raise ValueError(message)


def own_number(_, __):
    return os.getpid()


@pytest.mark.parametrize("count", [1, 2])
def test_results_come_in_order(count):
    assert list(in_processes(times, 3, range(7), processes=count)) == [0, 3, 6, 9, 12, 15, 18]
    assert list(in_processes(times, 3, [], processes=count)) == []


def test_one_process_is_this_one():
    assert set(in_processes(own_number, None, range(3), processes=1)) == {os.getpid()}
    assert os.getpid() not in set(in_processes(own_number, None, range(3), processes=2))


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


def test_where_no_process_can_be_started_it_is_done_here(monkeypatch):
    def refused(*_):
        raise OSError

    monkeypatch.setattr(processes.ProcessPoolExecutor, "submit", refused)
    assert list(in_processes(own_number, None, range(3), processes=2)) == [os.getpid()] * 3


SCRIPT = """
import os, sys, time
from multiprocessing.connection import Client
from patchnet.core.processes import in_processes

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
