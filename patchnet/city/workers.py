"""Work shared out: to processes on this computer, or to a Dask cluster that stands already.

Each piece of work reads and writes files in the city's folder, so nothing but its name travels. On
a cluster every worker must see the map and the folder under the same path, and have the same
patchnet. A worker that is lost is no harm: the cluster gives its pieces to another, and that one
writes the same files.
"""

import os
import platform
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from patchnet.city.asked import CityAsked
from patchnet.core.errors import WrongUse
from patchnet.core.freed_memory import keep_freed_memory
from patchnet.core.processes import in_processes
from patchnet.core.texts import _

__all__ = ["Crew", "Work", "peak_bytes", "this_process"]

Work = Callable[[CityAsked, str], None]


@dataclass
class Crew:
    """Who does the work.

    Attributes
    ----------
    scheduler
        Address of a Dask scheduler; None: processes on this computer.
    peak
        Most memory that all processes took together at most while they worked side by side, this
        one too, in bytes.
    """

    scheduler: str | None = None
    peak: float = 0.0

    def do(
        self, work: Work, asked: CityAsked, names: Sequence[str], *, workers: int
    ) -> Iterator[str]:
        """Do all pieces of work; give the name of each when it is done.

        Parameters
        ----------
        work
            A function of a module.
        asked
            What the city is asked.
        names
            Of the pieces, the largest first.
        workers
            How many go on side by side, on this computer.

        Raises
        ------
        WrongUse
            If a process ends in the middle, which most often is for want of memory; or there is no
            scheduler at that address.
        """
        mine: dict[str, float] = {}
        done = (
            self._in_processes(work, asked, names, workers)
            if self.scheduler is None
            else self._on_cluster(work, asked, names)
        )
        for name, process, peak in done:
            mine[process] = max(peak, mine.get(process, 0.0))
            yield name
        mine[this_process()] = peak_bytes()
        self.peak = max(self.peak, sum(mine.values()))

    def _in_processes(
        self, work: Work, asked: CityAsked, names: Sequence[str], workers: int
    ) -> Iterator[tuple[str, str, float]]:
        try:
            yield from in_processes(_one, (work, asked), names, processes=workers)
        except BrokenProcessPool as error:
            raise WrongUse(
                _(
                    "A process ended in the middle of its work, most likely for want of memory. "
                    "What is done stays: run the same again with fewer --workers or a smaller "
                    "--tile."
                )
            ) from error

    def _on_cluster(
        self, work: Work, asked: CityAsked, names: Sequence[str]
    ) -> Iterator[tuple[str, str, float]]:
        if find_spec("distributed") is None:
            raise WrongUse(
                _("--scheduler needs one more library: pip install 'patchnet[cluster]'.")
            )
        from distributed import Client, as_completed  # noqa: PLC0415 - an extra, and slow

        try:
            client = Client(self.scheduler, timeout=20, set_as_default=False)
        except (OSError, TimeoutError, ValueError) as error:
            raise WrongUse(
                _("There is no Dask scheduler at {address}.").format(address=self.scheduler)
            ) from error
        with client:
            shared: Any = client.scatter((work, asked), broadcast=True)
            names_of = {client.submit(_at_worker, shared, name, pure=False): name for name in names}
            going = as_completed(list(names_of), loop=client.loop)
            for future in going:
                name = names_of.pop(future, None)
                if future.cancelled() and name is not None:
                    # What was shared went with the only worker that had it: send it along, once.
                    going.add(client.submit(_at_worker, (work, asked), name, pure=False))
                    continue
                yield future.result()


def _one(shared: tuple[Work, CityAsked], name: str) -> tuple[str, str, float]:
    """Do one piece of work; say which process it was, and the most memory it has taken."""
    work, asked = shared
    work(asked, name)
    return name, this_process(), peak_bytes()


def _at_worker(shared: tuple[Work, CityAsked], name: str) -> tuple[str, str, float]:
    """Do one piece of work in a cluster's worker, which did not begin here."""
    keep_freed_memory()
    return _one(shared, name)


def this_process() -> str:
    """Return a name of this process that no other has."""
    return f"{platform.node()}:{os.getpid()}"


def peak_bytes() -> float:
    """Return the most memory that this process has taken, by the kernel's account.

    Returns
    -------
    float
        Number of bytes; 0 where the system does not tell.
    """
    with suppress(OSError, ValueError):
        for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
            if line.startswith("VmHWM:"):
                return 1024.0 * int(line.split()[1])
    with suppress(ImportError):
        import resource  # noqa: PLC0415 - not on every system

        return 1024.0 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return 0.0
