"""When to compile, and how to use both cores without changing a result.

Compiled kernels pay only on large neighbourhoods: the first call waits some seconds for the
compiler. So each calculation has a plain route with the same result, and numba is imported
only when a kernel is wanted.
"""

import importlib.util
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from itertools import chain, islice
from typing import Any, TypeVar

from patchnet.core.errors import WrongUse

__all__ = [
    "can_compile", "cores", "in_threads", "inlined_part", "kernel", "kernel_part", "leave_cores_to",
    "one_thread_for_algebra", "use_compiled",
]  # fmt: skip

F = TypeVar("F", bound=Callable[..., object])
Block = TypeVar("Block")
Result = TypeVar("Result")


def can_compile() -> bool:
    """Whether numba is installed."""
    return importlib.util.find_spec("numba") is not None


def use_compiled(*, compiled: bool | None, worthwhile: bool) -> bool:
    """Decide between the compiled and the plain route.

    Parameters
    ----------
    compiled
        What the caller asked for; None leaves it to the size of the work.
    worthwhile
        Whether the work is large enough to wait for a compiler.

    Raises
    ------
    WrongUse
        If kernels were asked for and numba is not installed.
    """
    if compiled is None:
        return worthwhile and can_compile()
    if compiled and not can_compile():
        raise WrongUse("compiled=True needs numba, which is not installed.")
    return compiled


def kernel(function: F) -> F:
    """Compile a function of arrays on first use; it runs without holding Python's lock.

    Kept on disk between runs where a folder for it can be written to. No fast-math: the
    compiled sums are those that the source says.
    """
    return _compiled(function)


def kernel_part(function: F) -> F:
    """Compile a function that other kernels call, and Python never.

    A way in from Python, which nobody goes, would be compiled for every array in its arguments.
    """
    return _compiled(function, no_cpython_wrapper=True, no_cfunc_wrapper=True)


def inlined_part(function: F) -> F:
    """Compile a `kernel_part` into each kernel that calls it: for what innermost loops call."""
    return _compiled(function, no_cpython_wrapper=True, no_cfunc_wrapper=True, forceinline=True)


def _compiled(function: F, **ways_in: Any) -> F:  # noqa: ANN401 - options of a compiler
    import numba  # slow to import, and small neighbourhoods never need it

    try:
        compiled: F = numba.njit(function, cache=True, nogil=True, error_model="numpy", **ways_in)
    except RuntimeError:  # nowhere to keep it: compile in each run
        return numba.njit(function, nogil=True, error_model="numpy", **ways_in)  # type: ignore[no-any-return]
    # Where the disk is full what was compiled is used all the same, and lost afterwards.
    kept: Any = getattr(compiled, "_cache", None)
    if kept is not None:
        kept.save_overload = _tried(kept.save_overload)
    return compiled


def _tried(save: Callable[..., None]) -> Callable[..., None]:
    def tried(*what: object) -> None:
        with suppress(OSError):
            save(*what)

    return tried


def in_threads(
    work: Callable[[Block], Result], blocks: Iterable[Block], *, threads: int | None = None
) -> Iterator[Result]:
    """Do `work` on each block, some at a time, and give the results in the order of the blocks.

    Because the order is fixed, sums over the results do not depend on the number of threads.
    At most two blocks a thread are held at once.

    Parameters
    ----------
    work
        Called with each block, in any thread.
    blocks
        Taken as they are needed.
    threads
        How many; None: one a core.
    """
    count = threads or cores()
    coming = iter(blocks)
    first = list(islice(coming, 2))
    if count == 1 or len(first) < 2:
        yield from map(work, chain(first, coming))
        return
    with ThreadPoolExecutor(count) as pool:
        waiting = []
        for block in chain(first, coming):
            waiting.append(pool.submit(work, block))
            if len(waiting) >= 2 * count:
                yield waiting.pop(0).result()
        for future in waiting:
            yield future.result()


def cores() -> int:
    """How many processors this process may use."""
    here = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return max(1, (here or 1) // _sharers[0])


def leave_cores_to(sharers: int) -> None:
    """Take no more than this process's part of the processors from now on.

    Parameters
    ----------
    sharers
        How many processes work side by side, this one among them: more threads than processors
        only stand in each other's way.
    """
    _sharers[0] = max(1, sharers)


def one_thread_for_algebra() -> None:
    """Have linear algebra use one thread, unless the user said how many: before numpy is imported.

    Its matrices are small here: its own threads would mostly wait for each other, which took a
    tenth of a map's processor time. What is large is shared out by `in_threads`.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


_sharers = [1]
