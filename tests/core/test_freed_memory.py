"""Memory that is given back is used again, without asking the system for it."""

import platform
import subprocess
import sys

COUNT_FAULTS = """
import resource, sys
import numpy as np
from patchnet.core.freed_memory import keep_freed_memory

if sys.argv[1] == "kept":
    keep_freed_memory()
for _ in range(3):
    arrays = [np.ones(2_000_000) for _ in range(2)]
    del arrays
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
for _ in range(10):
    arrays = [np.ones(2_000_000) for _ in range(2)]
    del arrays
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


def faults(how):
    """Pages that the system had to clear for ten times 32 MB."""
    done = subprocess.run(
        [sys.executable, "-c", COUNT_FAULTS, how], capture_output=True, text=True, check=True
    )
    return int(done.stdout)


def test_pages_are_cleared_once_and_not_for_every_array():
    """With glibc; another C library has no `mallopt`, and there nothing may break."""
    kept, not_kept = faults("kept"), faults("not")
    if platform.libc_ver()[0] == "glibc":
        assert kept < 200
        assert not_kept > 5 * max(kept, 1)


GIVE_BACK = """
import sys
import numpy as np
from patchnet.core.freed_memory import give_freed_memory_back, keep_freed_memory

def held():
    with open("/proc/self/statm") as told:
        return int(told.read().split()[1])

keep_freed_memory()
first = [np.ones(1_000_000) for _ in range(40)]
last = np.ones(1_000_000)  # above them, in no hole: what lies below is not given back by itself
del first
before = held()
give_freed_memory_back()
print((before - held()) * 4096)
"""


def test_a_town_gives_back_what_it_no_longer_holds():
    """320 MB in pieces too small for pages of their own, with something that stays above them."""
    done = subprocess.run(
        [sys.executable, "-c", GIVE_BACK], capture_output=True, text=True, check=True
    )
    if platform.libc_ver()[0] == "glibc":
        assert int(done.stdout) > 150_000_000
