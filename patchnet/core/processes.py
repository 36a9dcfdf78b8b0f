"""Work shared out to several processes, with the same result however many there are."""

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_all_start_methods, get_context, parent_process
from multiprocessing.connection import wait
from threading import Thread
from typing import Any, TypeVar

from patchnet.core.compiled import cores, leave_cores_to

__all__ = ["in_processes"]

Block = TypeVar("Block")
Result = TypeVar("Result")
Shared = TypeVar("Shared")

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
        How many; None: one a core. With 1, and where none can be started, all is done here.
        Scripts that ask for more must have their main part under
        ``if __name__ == "__main__"``.
    """
    count = min(cores() if processes is None else processes, len(blocks))
    if count <= 1:
        for block in blocks:
            yield work(shared, block)
        return
    # A fork of a process that has threads may hang, so each starts afresh where it can.
    method = "forkserver" if "forkserver" in get_all_start_methods() else "spawn"
    context = get_context(method)
    with ProcessPoolExecutor(
        count, mp_context=context, initializer=_begin, initargs=(work, shared, count)
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
            for future in waiting:
                future.cancel()


def _begin(work: Callable[..., Any], shared: object, workers: int) -> None:
    _shared[:] = [work, shared]
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
