"""Files from strangers are read in a child process, with limits of time, memory and size.

What a file does to its reader (memory without end, a crash in a library, an endless loop) then
ends there, and the next file is read by a new child. Where the system has no limit of memory
(`resource`, POSIX), the limits of time and size hold all the same. Away from Linux a child is
started by the command line alone, for it begins by running the caller's own script again; in
Python there, files are read in the program itself and only the limits of size hold.
"""

import multiprocessing
import os
import pickle
import signal
import sys
import time
import warnings
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from math import ceil
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Self, TypeVar

from patchnet.core.errors import CannotRead, PatchnetError
from patchnet.core.read_limits import read_limit
from patchnet.core.texts import N_, _

__all__ = [
    "MAP_LIMITS",
    "RETURN_LIMITS",
    "Limits",
    "ReaderChild",
    "allow_spawn",
    "read_in_child",
]

Thing = TypeVar("Thing")
_MB = 2**20
_PATIENCE = 3
_TURN_S = 0.2  # between two looks at a child that has to wait
_TIME_IS_OVER = int(getattr(signal, "SIGXCPU", 0))
_GIVEN_UP = N_(
    "{path} was given up after {seconds:.0f} seconds: it is damaged, or not what it seems. Make it "
    "anew."
)
# A child of the same memory starts in an instant; elsewhere threads of libraries forbid it.
_FORKS = sys.platform == "linux"
_may_spawn = False


@dataclass(frozen=True)
class Limits:
    """What one file may take of the computer.

    Attributes
    ----------
    seconds
        Time at work to read it. Three times that may pass while it neither works nor waits for a
        busy processor (where the system does not tell: by the clock).
    seconds_mb
        More time for each megabyte of it.
    memory_mb
        Memory above what the program has already.
    memory_times
        At least so many times the size of the file.
    size_mb
        Size of the file; 0: any.
    """

    seconds: float
    seconds_mb: float
    memory_mb: int
    memory_times: float
    size_mb: int


RETURN_LIMITS = Limits(
    read_limit("return_seconds"), 0, int(read_limit("return_memory_mb")), 0,
    int(read_limit("return_size_mb")),
)  # fmt: skip
"""One person's round."""
MAP_LIMITS = Limits(
    read_limit("map_seconds"), read_limit("map_seconds_mb"), int(read_limit("map_memory_mb")),
    read_limit("map_memory_times"), 0,
)  # fmt: skip
"""A map or table: an extract of a town may be large and take its time."""


def allow_spawn() -> None:
    """Say that running the caller's script again does no harm, as that of the command line."""
    global _may_spawn  # noqa: PLW0603 - once, at the start of the command line
    _may_spawn = True


class ReaderChild:
    """A child process that reads one file after another; a new one after a failure.

    A file that may take more memory than the child was given gets a new one, too.

    Parameters
    ----------
    limits
        For each file.

    Examples
    --------
    >>> with ReaderChild(RETURN_LIMITS) as child:  # doctest: +SKIP
    ...     table = child.read(_sheets_here, Path("street.csv"), ("plot",))
    """

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._process: multiprocessing.process.BaseProcess | None = None
        self._pipe: Connection | None = None
        self._memory_mb = 0

    def __enter__(self) -> Self:
        """Start nothing yet: the first file does."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the child."""
        self._end()

    def read(self, function: Callable[..., Thing], path: Path, *others: Any) -> Thing:  # noqa: ANN401 - whatever the function takes
        """Return ``function(path, *others)``, worked out in the child.

        Raises
        ------
        CannotRead
            If the file is too large, takes too long or too much memory, or makes the reader fail.
        PatchnetError
            Whatever the function raises of it.
        """
        size = path.stat().st_size / _MB if path.is_file() else 0.0
        if self._limits.size_mb and size > self._limits.size_mb:
            raise CannotRead(
                _(
                    "{path} is too large: {size:.0f} MB, and at most {size_mb} MB are read of "
                    "such a file."
                ).format(path=path, size=size, size_mb=self._limits.size_mb)
            )
        seconds = self._limits.seconds + self._limits.seconds_mb * size
        if not (_FORKS or _may_spawn) or multiprocessing.current_process().daemon:
            return _read_here(function, path, others)
        memory = max(self._limits.memory_mb, round(self._limits.memory_times * size))
        pipe = self._started(memory)
        try:
            pipe.send((function, path, others, seconds))
            # The child stops itself by its own time at work; on a busy computer it has to wait.
            if not self._answers(pipe, _PATIENCE * seconds):
                self._end()
                raise CannotRead(_(_GIVEN_UP).format(path=path, seconds=_PATIENCE * seconds))
            answer = pipe.recv_bytes()
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                told, value = pickle.loads(answer)  # noqa: S301 - our own child's answer
        except (EOFError, OSError, pickle.PickleError) as error:
            if self._out_of_time():
                self._end()
                raise CannotRead(_(_GIVEN_UP).format(path=path, seconds=seconds)) from error
            self._end()
            raise CannotRead(
                _(
                    "{path} made its reader fail: it is damaged, or not what it seems. Make it "
                    "anew."
                ).format(path=path)
            ) from error
        if told == "done":
            result: Thing = value
            return result
        if told == "memory":
            self._end()
            raise CannotRead(
                _(
                    "{path} needs more than {memory} MB of memory: it holds far more than it "
                    "seems, or is damaged. Make it anew with what is filled in alone."
                ).format(path=path, memory=memory)
            )
        if isinstance(value, PatchnetError):
            raise value
        raise CannotRead(
            _("{path} cannot be read ({value}): it is damaged. Make it anew.").format(
                path=path, value=value
            )
        )

    def _started(self, memory_mb: int) -> Connection:
        alive = self._process is not None and self._process.is_alive()
        if self._pipe is not None and alive and memory_mb <= self._memory_mb:
            return self._pipe
        self._end()
        context: Any = multiprocessing.get_context("fork" if _FORKS else "spawn")
        here, there = context.Pipe()
        with warnings.catch_warnings():
            # Python warns of forks beside threads: those of the libraries are at rest here.
            warnings.simplefilter("ignore", DeprecationWarning)
            process = context.Process(target=_serve, args=(there, here, memory_mb), daemon=True)
            process.start()
        there.close()
        self._process, self._pipe, self._memory_mb = process, here, memory_mb
        return self._pipe

    def _answers(self, pipe: Connection, patience: float) -> bool:
        """Wait for the child's answer; False where it has been at rest for so long, in seconds."""
        child = 0 if self._process is None else int(self._process.pid or 0)
        began, before = time.monotonic(), _wanted_processor(child)
        at_rest = 0.0
        while not pipe.poll(max(patience - at_rest, _TURN_S)):
            at_rest = time.monotonic() - began - (_wanted_processor(child) - before)
            if at_rest >= patience and not _is_runnable(child):
                return False
        return True

    def _out_of_time(self) -> bool:
        """Whether the system ended the child because its time was over."""
        if self._process is None or not _TIME_IS_OVER:
            return False
        self._process.join(1)
        return self._process.exitcode == -_TIME_IS_OVER

    def _end(self) -> None:
        if self._pipe is not None:
            self._pipe.close()
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._process.close()
        self._process = self._pipe = None


def read_in_child(function: Callable[..., Thing], path: Path, *others: Any) -> Thing:  # noqa: ANN401 - see ReaderChild.read
    """Read one map or table in a child of its own, within `MAP_LIMITS`.

    Parameters
    ----------
    function
        Takes the path and what follows; must be known by its module and name.
    path
        The file.

    Raises
    ------
    CannotRead
        As `ReaderChild.read`.
    """
    with ReaderChild(MAP_LIMITS) as child:
        return child.read(function, path, *others)


def _read_here(function: Callable[..., Thing], path: Path, others: tuple[Any, ...]) -> Thing:
    """Read where no child can be had, or in a child already."""
    try:
        return function(path, *others)
    except PatchnetError:
        raise
    except Exception as error:  # as `_answer`
        raise CannotRead(
            _("{path} cannot be read ({name}): it is damaged.").format(
                path=path, name=type(error).__name__
            )
        ) from error


def _serve(pipe: Connection, parents: Connection, memory_mb: int) -> None:
    """Answer until the parent is gone."""
    parents.close()
    _limit_memory(memory_mb)
    # Whatever a library has to say belongs to nobody's screen.
    with suppress(OSError):
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 2)
    while True:
        try:
            function, path, others, seconds = pipe.recv()
        except (EOFError, OSError):
            return
        _limit_time(seconds)
        answer = _answer(function, path, others)
        _limit_time(None)  # what is left counts for no file: to send it, and to take the next
        pipe.send_bytes(answer)


def _answer(function: Callable[..., Any], path: Path, others: tuple[Any, ...]) -> bytes:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return pickle.dumps(("done", function(path, *others)), protocol=5)
    except MemoryError:
        return pickle.dumps(("memory", None))
    except PatchnetError as error:
        cause = error.__cause__
        if isinstance(cause, MemoryError):
            return pickle.dumps(("memory", None))
        # What led to it stays here: a library's own errors cannot always be sent.
        error.__cause__ = error.__context__ = None
        return pickle.dumps(("wrong", error))
    except RecursionError:
        return pickle.dumps(("wrong", "it is nested without end"))
    except Exception as error:  # noqa: BLE001 - any library, any error: the file is to blame
        return pickle.dumps(("wrong", type(error).__name__))


def _limit_time(seconds: float | None) -> None:
    """Let the system end this process after so many more seconds at work; None: never."""
    try:
        import resource  # noqa: PLC0415 - POSIX alone has it
    except ImportError:
        return
    used = resource.getrusage(resource.RUSAGE_SELF)
    _, hard = resource.getrlimit(resource.RLIMIT_CPU)
    with suppress(OSError, ValueError):
        at_work = hard if seconds is None else ceil(used.ru_utime + used.ru_stime + seconds)
        resource.setrlimit(resource.RLIMIT_CPU, (at_work, hard))


def _wanted_processor(process: int) -> float:
    """Return the seconds that a process was at work or waited for a processor; 0 if not told.

    Linux tells both of each thread, in nanoseconds (proc_pid_schedstat).
    """
    found = 0
    for told in Path(f"/proc/{process}/task").glob("*/schedstat"):
        with suppress(OSError, ValueError):
            work, wait, _ = told.read_text(encoding="ascii").split()
            found += int(work) + int(wait)
    return found / 1e9


def _is_runnable(process: int) -> bool:
    """Whether a thread of a process works, or would if a processor were free; False if not told."""
    for told in Path(f"/proc/{process}/task").glob("*/stat"):
        with suppress(OSError):
            # After the name, which may hold anything and ends with a bracket: R is runnable.
            if told.read_text(encoding="utf-8", errors="replace").rpartition(")")[2][:2] == " R":
                return True
    return False


def _limit_memory(memory_mb: int) -> None:
    try:
        import resource  # noqa: PLC0415 - POSIX alone has it
    except ImportError:
        return
    had = 0
    with suppress(OSError, ValueError):
        # First field: size of the whole address space, in pages.
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
        had = pages * resource.getpagesize()
    if not had:
        return  # without knowing what the program has already no limit would be fair
    with suppress(OSError, ValueError):
        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        resource.setrlimit(resource.RLIMIT_AS, (had + memory_mb * _MB, hard))
