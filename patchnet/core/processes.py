"""Work shared out to several processes, with the same result however many there are."""

import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from multiprocessing import (
    active_children,
    get_all_start_methods,
    get_context,
    parent_process,
)
from multiprocessing.connection import wait
from multiprocessing.context import BaseContext
from threading import Thread
from typing import Any, Generic, Self, TypeVar

from patchnet.core.compiled import cores, leave_cores_to, one_thread_for_algebra
from patchnet.core.freed_memory import keep_freed_memory

__all__ = ["Kept", "in_processes"]

Answer = TypeVar("Answer")
Block = TypeVar("Block")
Question = TypeVar("Question")
Result = TypeVar("Result")
Shared = TypeVar("Shared")

_STARTING_S = 2.0  # seconds that processes take to start and to load what they need

_shared: list[Any] = []


def in_processes(
    work: Callable[[Shared, Block], Result],
    shared: Shared,
    blocks: Sequence[Block],
    *,
    processes: int | None = None,
) -> Iterator[Result]:
    """Do `work` on each block, in several processes, and give the results in the blocks' order.

    Parameters
    ----------
    work
        A function of a module, called with what all blocks share and one block.
    shared
        Sent to each process once; it must be possible to pickle it.
    blocks
        Also pickled, and so are the results.
    processes
        How many; None: one a core, where there is more to do than to start them. With 1, and where
        none can be started, all is done here. Scripts that ask for more must have their main part
        under ``if __name__ == "__main__"``.
    """
    if processes is None:
        # Of a small street all is done before a second process would have begun.
        began = time.monotonic()
        done = 0
        while done < len(blocks) and time.monotonic() < began + _STARTING_S:
            yield work(shared, blocks[done])
            done += 1
        blocks = blocks[done:]
    count = min(cores() if processes is None else processes, len(blocks))
    if count <= 1:
        for block in blocks:
            yield work(shared, block)
        return
    others = set(active_children())
    with ProcessPoolExecutor(
        count, mp_context=_afresh(work), initializer=_begin, initargs=(work, shared, count)
    ) as pool:
        try:
            waiting = [pool.submit(_one, block) for block in blocks]
        except OSError:  # no process can be started, as in some sandboxes
            yield from (work(shared, block) for block in blocks)
            return
        try:
            for future in waiting:
                yield future.result()
        finally:
            if not all(future.done() for future in waiting):
                # Nobody waits for the rest: whoever works on it is ended, not waited for. (What is
                # cancelled before that trips the pool's own thread.)
                for child in set(active_children()) - others:
                    child.kill()


def _afresh(work: Callable[..., Any]) -> BaseContext:
    """Processes that start afresh: a fork of one that has threads may hang.

    As many threads for algebra in each of them as there are cores would wait for each other.
    """
    one_thread_for_algebra()
    if "forkserver" not in get_all_start_methods():
        return get_context("spawn")
    context = get_context("forkserver")
    if sys.platform == "linux":  # elsewhere libraries that are loaded may forbid a fork
        # What the work needs is loaded once, by the process that all others are forked from.
        context.set_forkserver_preload(["__main__", work.__module__])
    return context


class Kept(Generic[Block, Shared]):
    """Things made of blocks in several processes, kept there, and asked again and again.

    A context: what is kept is let go at its end.

    Parameters
    ----------
    make
        A function of a module, called with what all share and one block; what it gives stays in
        its process.
    shared, blocks, processes
        As in `in_processes`.
    """

    def __init__(
        self,
        make: Callable[[Shared, Block], Any],
        shared: Shared,
        blocks: Sequence[Block],
        *,
        processes: int | None = None,
    ) -> None:
        self._things: list[Any] = []
        self._pools: list[ProcessPoolExecutor] = []
        self._made: list[Future[None]] = []
        self.count = len(blocks)
        count = min(cores() if processes is None else processes, len(blocks))
        if count > 1:
            try:
                for at in range(count):
                    pool = ProcessPoolExecutor(1, mp_context=_afresh(make))
                    self._pools.append(pool)
                    self._made.append(
                        pool.submit(_keep, make, shared, list(blocks[at::count]), count)
                    )
            except OSError:  # no process can be started, as in some sandboxes
                self._pools = []
        if not self._pools:
            self._things = [make(shared, block) for block in blocks]

    @property
    def width(self) -> int:
        """How many processes work side by side."""
        return max(1, len(self._pools))

    def __enter__(self) -> Self:
        """Begin."""
        return self

    def __exit__(self, *what: object) -> None:
        """Let go of what is kept, and of what was still to be done."""
        for pool in self._pools:
            pool.shutdown(wait=False, cancel_futures=True)
        self._things = []

    def ask(
        self,
        work: Callable[[Any, Question], Answer],
        question: Question,
        places: Sequence[int] | None = None,
    ) -> list[Answer]:
        """Ask the things, each with `work(thing, question)`; the answers in the blocks' order.

        Parameters
        ----------
        work
            A function of a module; it may change the thing.
        question
            Pickled, and so are the answers.
        places
            Which of the blocks, ascending; None: all.
        """
        asked = list(range(self.count)) if places is None else list(places)
        if not self._pools:
            return [work(self._things[at], question) for at in asked]
        for made in self._made:
            made.result()  # where making failed, say so
        count = len(self._pools)
        waiting = [
            pool.submit(_ask, work, question, [at // count for at in asked if at % count == own])
            for own, pool in enumerate(self._pools)
        ]
        answers = [iter(future.result()) for future in waiting]
        return [next(answers[at % count]) for at in asked]


def _keep(make: Callable[..., Any], shared: object, blocks: Sequence[object], workers: int) -> None:
    _settle(workers)
    _shared[:] = [make(shared, block) for block in blocks]


def _ask(work: Callable[..., Any], question: object, places: Sequence[int]) -> list[Any]:
    return [work(_shared[at], question) for at in places]


def _begin(work: Callable[..., Any], shared: object, workers: int) -> None:
    _shared[:] = [work, shared]
    _settle(workers)


def _settle(workers: int) -> None:
    """Begin in a new process, one of so many."""
    keep_freed_memory()
    leave_cores_to(workers)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """Leave when the process that shared the work out was killed: nobody waits for it any more."""
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


def _one(block: object) -> Any:  # noqa: ANN401 - whatever the work gives
    work, shared = _shared
    return work(shared, block)
