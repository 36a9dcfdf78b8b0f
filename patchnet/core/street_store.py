"""The one door through which a street's file is changed: locked, free, whole, and written down.

- One writer at a time: `holding` locks a street's file between processes; the second waits.
- Nobody else has it open: `ensure_free` brings in what a killed program had committed to its log
  and refuses while another connection is alive. A file is never renamed beside a log of another's.
- Replaced whole: `replacing` writes aside, looks whether the file is still the one that was read
  (its generation and its place on the disk), and only then puts the new one in place.
- Written down: `add_entry` adds a row to the journal in the file. A row names no person and no
  file of a return, only the return's own id.
"""

import os
import shutil
import sqlite3
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from patchnet.core.errors import CannotRead, CannotWrite
from patchnet.core.files import shown_path, write_aside
from patchnet.core.geopackage import (
    connect,
    is_database,
    put_table,
    quoted,
    table_names,
)
from patchnet.core.open_file import FORM, JOURNAL_LAYER, STORE_LAYER, ensure_known_form, trouble
from patchnet.core.read_limits import read_limit
from patchnet.core.texts import N_, _

__all__ = [
    "FORM", "JOURNAL", "Entry", "add_entry", "ensure_free", "ensure_generation", "form_of",
    "generation_of", "holding", "put_journal", "read_entries", "read_journal", "replacing",
]  # fmt: skip

JOURNAL = ("generation", "what", "day", "returns", "answers", "digest")
"""One row a change: its number, what it was, the day (UTC), which contents of returns it added or
took back, which answers about consent, and a digest of all records after it."""

_STAMP = "1970-01-01T00:00:00.000Z"
_BESIDE = ("-wal", "-shm", "-journal")
_TURN_S = 0.05  # between two looks whether a file is free
_WAIT_S = read_limit("store_wait_seconds")
_FREE_S = read_limit("store_free_seconds")
_held: dict[tuple[int, Path], int] = {}


@dataclass(frozen=True)
class Entry:
    """One change of a street, as its journal tells it.

    Attributes
    ----------
    what
        Such as ``"merge"``.
    returns
        Contents of returns that it added or took back.
    answers
        Answers about consent that it added or took back.
    """

    what: str
    returns: tuple[str, ...] = ()
    answers: tuple[str, ...] = ()


# one writer at a time ------------------------------------------------------------------------


@contextmanager
def holding(path: Path) -> Iterator[None]:
    """Keep all other writers of a street's file waiting; the same thread may hold it twice.

    Parameters
    ----------
    path
        The street's file; need not be there yet.

    Raises
    ------
    CannotWrite
        If another holds it for too long, or no lock can be made in its folder.
    """
    target = path.resolve()
    key = (threading.get_ident(), target)
    if key in _held:
        _held[key] += 1
        try:
            yield
        finally:
            _held[key] -= 1
        return
    lock = target.with_name(f".{target.name}.lock")
    handle = _locked(lock, target)
    _held[key] = 1
    try:
        yield
    finally:
        del _held[key]
        _unlock(handle, lock)


def _locked(lock: Path, target: Path) -> int:
    until = time.monotonic() + _WAIT_S
    while True:
        try:
            handle = os.open(lock, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError as error:
            raise CannotWrite(
                _("{shown_path} cannot be written: {strerror}.").format(
                    shown_path=shown_path(target), strerror=error.strerror
                )
            ) from error
        # Who waited may have got the lock of a file that was taken away meanwhile.
        if _try_lock(handle) and _is_file(handle, lock):
            return handle
        os.close(handle)
        if time.monotonic() > until:
            raise CannotWrite(
                _(
                    "{target} is being changed by another patchnet command: try again when it is "
                    "done."
                ).format(target=target)
            )
        time.sleep(_TURN_S)


def _is_file(handle: int, lock: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), lock.stat())
    except OSError:
        return False


if sys.platform == "win32":
    import msvcrt

    def _try_lock(handle: int) -> bool:
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def _unlock(handle: int, lock: Path) -> None:
        os.close(handle)
        with suppress(OSError):
            lock.unlink()

else:
    import fcntl

    def _try_lock(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True

    def _unlock(handle: int, lock: Path) -> None:
        with suppress(OSError):
            lock.unlink()
        # Said outright: a child that reads a file has the same handle.
        fcntl.flock(handle, fcntl.LOCK_UN)
        os.close(handle)


# nobody else has it open ---------------------------------------------------------------------


def ensure_free(path: Path) -> None:
    """Make sure that no other program has a street's file open, and that no log lies beside it.

    What a program that was killed had committed to its log is brought into the file first.

    Parameters
    ----------
    path
        The street's file; what is no database passes.

    Raises
    ------
    CannotWrite
        If another program has it open, or the file is protected.
    CannotRead
        If it is damaged.
    """
    if not is_database(path):
        return
    until = time.monotonic() + _FREE_S
    while True:
        holder = _holder(path)
        if holder is None:
            return
        if time.monotonic() > until:
            raise CannotWrite(
                _(
                    "{path} is open in {holder}: close it there (a GIS, say) and try again; "
                    "nothing was changed."
                ).format(path=path, holder=holder)
            )
        time.sleep(_TURN_S)


def _holder(path: Path) -> str | None:
    """Return who has the file open, in words; None where nobody has."""
    try:
        with closing(sqlite3.connect(path, timeout=0, isolation_level=None)) as there:
            (mode,) = there.execute("PRAGMA journal_mode").fetchone()
            if mode == "wal":
                # Refused while any other connection is alive.
                there.execute("PRAGMA journal_mode = DELETE").fetchone()
            there.execute("BEGIN EXCLUSIVE")
            there.execute("ROLLBACK")
    except sqlite3.OperationalError as error:
        if "locked" in str(error) or "busy" in str(error):
            return _program_with(path) or _("another program")
        raise CannotWrite(
            _("{path} cannot be written: it or its folder is protected.").format(path=path)
        ) from error
    except sqlite3.DatabaseError as error:
        raise CannotRead(_("{path} is damaged or cut off.").format(path=path)) from error
    if any(path.with_name(path.name + end).exists() for end in _BESIDE):
        return _program_with(path) or _("another program")
    return _program_with(path)


def _program_with(path: Path) -> str | None:
    """Return the name of another program that has the file open for writing.

    A connection that is at rest holds no lock that SQLite could tell of; Linux does tell.
    """
    if not sys.platform.startswith("linux"):
        return None
    with suppress(OSError):
        wanted = path.stat()
        for process in Path("/proc").iterdir():
            if not process.name.isdigit() or int(process.name) == os.getpid():
                continue
            with suppress(OSError):  # another user's, or ended meanwhile
                for one in (process / "fd").iterdir():
                    with suppress(OSError):
                        if os.path.samestat(one.stat(), wanted) and _may_write(process, one.name):
                            name = (process / "comm").read_text(encoding="utf-8").strip()
                            return _("another program ({name})").format(name=name)
    return None


def _may_write(process: Path, handle: str) -> bool:
    for line in (process / "fdinfo" / handle).read_text(encoding="ascii").splitlines():
        if line.startswith("flags:"):
            return bool(int(line.split()[1], 8) & (os.O_WRONLY | os.O_RDWR))
    return False


# replaced whole ------------------------------------------------------------------------------


@contextmanager
def replacing(path: Path | str) -> Iterator[Path]:
    """Give a path to write to beside a street's file; put it in place if all went well.

    Parameters
    ----------
    path
        The file; need not be there yet.

    Raises
    ------
    CannotWrite
        If it cannot be written, another has it open, or it was changed since it was read.
    """
    target = Path(path)
    with holding(target):
        ensure_free(target)
        before = _state(target)
        with write_aside(target) as draft:
            yield draft
            ensure_free(target)
            if _state(target) != before:
                raise CannotWrite(_(_CHANGED).format(path=target))
            if target.exists() and draft.exists():
                shutil.copymode(target, draft)


def ensure_generation(copy: Path, generation: int | None, source: Path) -> None:
    """Make sure that a copy of a street's file is of the change that was read before.

    Parameters
    ----------
    copy
        The copy.
    generation
        Number of that change; None: any.
    source
        What it was copied from.

    Raises
    ------
    CannotWrite
        If it was changed since.
    """
    if generation is not None and generation_of(copy) != generation:
        raise CannotWrite(_(_CHANGED).format(path=source))


_CHANGED = N_(
    "{path} was changed by somebody else since it was read: nothing was written. Do the same again."
)


def _state(path: Path) -> tuple[int, ...]:
    """Return the generation, and what tells the file itself from any other."""
    if not path.is_file():
        return (0,)
    found = path.stat()
    return generation_of(path), found.st_ino, found.st_size, found.st_mtime_ns


# written down --------------------------------------------------------------------------------


def generation_of(path: Path) -> int:
    """Return the number of the last change of a street's file; 0 where none was written down."""
    return int(_told(path).get("generation", "0"))


def form_of(path: Path) -> int:
    """Return the form of a street's file: 1 where it says none."""
    return int(_told(path).get("form", "1"))


def _told(path: Path) -> dict[str, str]:
    if not is_database(path):
        return {}
    with trouble(path), closing(connect(path)) as there:
        ensure_known_form(there, path)
        if STORE_LAYER not in table_names(there):
            return {}
        rows = there.execute(f"SELECT name, value FROM {quoted(STORE_LAYER)}")  # noqa: S608 - our own name
        return {str(name): str(value) for name, value in rows}


def read_journal(path: Path | str) -> pd.DataFrame:
    """Read what was changed in a street's file, first change first.

    Parameters
    ----------
    path
        The street, a GeoPackage.

    Returns
    -------
    pandas.DataFrame
        One row a change, columns `JOURNAL`; none where nothing was written down yet.

    Raises
    ------
    CannotRead
        If it is no GeoPackage, or damaged.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> patchnet.write_base(base, "street.gpkg")
    >>> plot = base.plots["id"].iloc[0]
    >>> _ = patchnet.record_consent("street.gpkg", plot, "yes", "street.gpkg")
    >>> patchnet.read_journal("street.gpkg")["what"].tolist()
    ['consent']
    """
    path = Path(path)
    with trouble(path), closing(connect(path)) as there:
        ensure_known_form(there, path)
        return read_entries(there)


def read_entries(there: sqlite3.Connection) -> pd.DataFrame:
    """Read the journal of an open file, see `read_journal`.

    Parameters
    ----------
    there
        Open file.

    Returns
    -------
    DataFrame
        Columns `JOURNAL`, oldest first; no rows where there is no journal.
    """
    if JOURNAL_LAYER not in table_names(there):
        return pd.DataFrame(columns=list(JOURNAL), dtype=object)
    columns = ", ".join(map(quoted, JOURNAL))
    rows = there.execute(f"SELECT {columns} FROM {quoted(JOURNAL_LAYER)} ORDER BY fid").fetchall()  # noqa: S608 - our own names
    return pd.DataFrame(rows, columns=list(JOURNAL), dtype=object)


def add_entry(
    there: sqlite3.Connection, entry: Entry, digest: str, *, had_records: bool = False
) -> None:
    """Write a change down in an open draft, and in it the form of today.

    Parameters
    ----------
    there
        The draft; nothing is committed.
    entry
        What was changed.
    digest
        Of all records after it.
    had_records
        Whether there were records before: a file of an earlier form then begins with a row that
        says so.
    """
    before = read_entries(there)
    rows = before.to_numpy(dtype=object).tolist()
    day = datetime.now(UTC).date().isoformat()
    if not rows and had_records:
        rows.append([1, "earlier form", day, "", "", ""])
    number = int(rows[-1][0]) + 1 if rows else 1
    rows.append([number, entry.what, day, *_joined(entry.returns, entry.answers), digest])
    put_journal(there, pd.DataFrame(rows, columns=list(JOURNAL), dtype=object))


def _joined(*lists: Sequence[str]) -> list[str]:
    return ["; ".join(one) for one in lists]


def put_journal(there: sqlite3.Connection, journal: pd.DataFrame) -> None:
    """Write a journal into an open draft in place of the one that is there.

    Parameters
    ----------
    there
        Open draft.
    journal
        Columns `JOURNAL`, oldest first.
    """
    last = int(journal["generation"].iloc[-1]) if len(journal) else 0
    about = pd.DataFrame(
        [("form", str(FORM)), ("generation", str(last))], columns=["name", "value"], dtype=object
    )
    for name, table, says in (
        (JOURNAL_LAYER, journal, _("What was changed in this file, and when")),
        (STORE_LAYER, about, _("Form of this file, and number of its last change")),
    ):
        put_table(there, name, table, says=says, types={"generation": "INTEGER"}, stamp=_STAMP)
