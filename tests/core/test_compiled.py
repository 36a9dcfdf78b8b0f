"""When to compile, and that both cores change no result."""

import os
import subprocess
import sys
import threading
import time

import pytest

from patchnet.core import compiled
from patchnet.core.compiled import can_compile, in_threads, use_compiled
from patchnet.core.errors import WrongUse


@pytest.mark.parametrize("asked", [True, False, None])
@pytest.mark.parametrize("worthwhile", [True, False])
def test_what_is_asked_for_counts_before_the_size(asked, worthwhile):
    assert can_compile()
    assert use_compiled(compiled=asked, worthwhile=worthwhile) is (
        worthwhile if asked is None else asked
    )


def test_without_a_compiler(monkeypatch):
    monkeypatch.setattr(compiled, "can_compile", lambda: False)
    assert not use_compiled(compiled=None, worthwhile=True)
    assert not use_compiled(compiled=False, worthwhile=True)
    with pytest.raises(WrongUse, match="needs numba"):
        use_compiled(compiled=True, worthwhile=False)


def test_on_a_full_disk_what_was_compiled_is_used_and_not_kept(tmp_path):
    """No file may grow beyond a hundred bytes: numba can keep nothing of it."""
    (tmp_path / "adding.py").write_text(
        "from patchnet.core.compiled import kernel\n\n"
        "def add(a, b):\n    return a + b\n\nadd = kernel(add)\n",
        encoding="utf-8",
    )
    code = (
        "import resource, signal\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "from adding import add\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))\n"
        "assert add(2, 3) == 5\n"
    )
    kept = tmp_path / "kept"
    run = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False,
        env=os.environ | {"NUMBA_CACHE_DIR": str(kept)},
    )  # fmt: skip
    assert (run.returncode, run.stderr) == (0, "")
    assert not [one for one in kept.rglob("*") if one.is_file()]


@pytest.mark.parametrize("threads", [1, 2, 3, None])
def test_results_come_in_the_order_of_the_blocks(threads):
    """The first take longest."""

    def work(block):
        time.sleep((9 - block) / 1000)
        return block * block

    assert list(in_threads(work, range(9), threads=threads)) == [k * k for k in range(9)]


def test_one_thread_works_here_and_only_when_asked():
    done = []
    running = in_threads(lambda one: done.append(threading.get_ident()), range(3), threads=1)
    assert done == []
    next(running)
    assert done == [threading.get_ident()]


def test_at_most_two_blocks_a_thread_are_held():
    """With 2 threads, 4: a fifth block is begun when the first result has been taken."""
    begun = []

    def blocks():
        for k in range(20):
            begun.append(k)
            yield k

    running = in_threads(lambda one: one, blocks(), threads=2)
    assert begun == []
    for taken in range(1, 5):
        assert next(running) == taken - 1
        assert len(begun) == taken + 3
