"""Memory that an array gives back is kept for the next one; nothing is looked for in vain."""

import ctypes
import gc
from collections.abc import Iterator
from contextlib import contextmanager, suppress

__all__ = ["give_freed_memory_back", "keep_freed_memory", "nothing_thrown_away"]

# Names of `mallopt` in glibc's malloc.h.
_TRIM_THRESHOLD, _MMAP_THRESHOLD, _ARENA_MAX = -1, -3, -8
_OWN_PAGES_FROM = 32 << 20  # bytes: the most that glibc itself would come to
_SPARE = 128 << 20  # bytes


def keep_freed_memory() -> None:
    """Keep up to 128 MB that arrays give back, instead of asking the system for it every time.

    glibc gives every array of a few megabytes pages of its own, which the system has to clear
    first and takes back after: a tenth of the time of a map. And all threads share one store of
    memory: with one each, what one gives back does not serve another (a tenth of a town's memory).
    Does nothing with another C library.
    """
    with suppress(AttributeError, OSError, TypeError):
        library = ctypes.CDLL(None)
        library.mallopt(_MMAP_THRESHOLD, _OWN_PAGES_FROM)
        library.mallopt(_TRIM_THRESHOLD, _SPARE)
        library.mallopt(_ARENA_MAX, 1)


def give_freed_memory_back() -> None:
    """Give the system back what is kept: after a large piece of work whose arrays are gone.

    In a town each animal leaves holes in which the next one's arrays do not fit: all of them
    together came to twice what is in use. Does nothing with another C library.
    """
    with suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


@contextmanager
def nothing_thrown_away() -> Iterator[None]:
    """Keep the garbage collector from running where a great many small objects are made and kept.

    Its rounds, which look at all of them again and again, take longer than the making.
    """
    running = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if running:
            gc.enable()
