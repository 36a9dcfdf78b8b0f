"""Memory that an array gives back is kept for the next one."""

import ctypes
from contextlib import suppress

__all__ = ["keep_freed_memory"]

# Names of `mallopt` in glibc's malloc.h.
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
_OWN_PAGES_FROM = 32 << 20  # bytes: the most that glibc itself would come to
_SPARE = 128 << 20  # bytes


def keep_freed_memory() -> None:
    """Keep up to 128 MB that arrays give back, instead of asking the system for it every time.

    glibc gives every array of a few megabytes pages of its own, which the system has to clear
    first and takes back after: a tenth of the time of a map. Does nothing with another C library.
    """
    with suppress(AttributeError, OSError, TypeError):
        library = ctypes.CDLL(None)
        library.mallopt(_MMAP_THRESHOLD, _OWN_PAGES_FROM)
        library.mallopt(_TRIM_THRESHOLD, _SPARE)
