"""What took long to work out, kept in a folder beside a street's file until anything changes.

An entry is named by a digest of all that it was made from, patchnet itself and its libraries among
it: what stands under a name is never out of date. What takes long is a Python object with arrays,
so entries are pickles, and to read a pickle is to run it. A street's folder goes from hand to hand;
so every entry is sealed with a key that is the user's own and lies elsewhere, and one whose seal is
not right, such as one from another computer, is as good as none.
"""

import gzip
import hmac
import io
import os
import pickle
import re
import secrets
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import IO, Any, TypeVar, cast

import platformdirs

from patchnet.core.digest import digest_of, own_digest
from patchnet.core.errors import CannotWrite
from patchnet.core.files import write_aside, write_text
from patchnet.core.texts import N_, _

__all__ = ["NO_CACHE", "Cache", "cache_folder"]

Thing = TypeVar("Thing")

_LIBRARIES = ("numpy", "scipy", "pandas", "geopandas", "shapely", "networkx", "rasterio")
_NAME = re.compile(r"[0-9a-f]{64}\.kept")
_ABOUT = "about.txt"
_ABOUT_WORDS = N_(
    "What patchnet worked out from {street}, kept so that it need not be done twice. It holds what "
    "the street's file holds, so keep it as private. It can be deleted at any time."
)
_WORTH_S = 1.0  # what takes less is done again before anybody has waited
_ROOM = 512 << 20  # bytes that entries may take; those that were used least lately go first
_LONGEST_S = 30 * 24 * 3600  # entries that nobody used for so long go too
_SEAL = 32  # bytes of HMAC-SHA256 (RFC 2104) in front of an entry
_KEY = 32  # bytes


def cache_folder(street: Path) -> Path:
    """Where what is worked out from a street's file is kept.

    Parameters
    ----------
    street
        The street: a file, or a folder of layers.
    """
    street = Path(os.path.abspath(street))  # noqa: PTH100 - of "." too; links stay as they are
    return street.parent / f"{street.stem}-cache"


class Cache:
    """What was worked out from one street; nothing is kept, nor found, where there is none.

    A folder that cannot be written to is as good as one in which nothing stands: the answer comes
    all the same.

    Parameters
    ----------
    street
        The street's file, or a folder of layers; None: nothing is kept.
    """

    def __init__(self, street: Path | None) -> None:
        self.street = street
        self.folder = None if street is None else cache_folder(street)
        self._found = None if street is None else _stamp(street)

    def name(self, *made_of: object) -> str | None:
        """Name of what is made of some things; None where nothing is kept, or it has no digest.

        Parameters
        ----------
        made_of
            All that decides how it comes out, as `patchnet.core.digest.digest_of` takes it.
        """
        if self.folder is None:
            return None
        try:
            return f"{digest_of(own_digest(), _libraries(), made_of)}.kept"
        except (TypeError, OSError):
            return None

    def kept(
        self, name: str | None, work: Callable[[], Thing], *, around: Sequence[object] = ()
    ) -> Thing:
        """Return what is kept under a name, or what comes of the work; kept if that took long.

        Parameters
        ----------
        name
            From `name`.
        work
            Works it out.
        around
            What it refers to and is there anyway: of these it is only kept which they are.
        """
        found: Thing | None = self.get(name, around)  # its name says of which work it came
        if found is not None:
            return found
        begun = time.perf_counter()
        made = work()
        if time.perf_counter() - begun >= _WORTH_S:
            self.put(name, made, around)
        return made

    def get(self, name: str | None, around: Sequence[object] = ()) -> Any | None:  # noqa: ANN401 - whatever was kept
        """Return what is kept under a name, or None.

        Parameters
        ----------
        name, around
            As in `kept`.
        """
        if name is None or self.folder is None:
            return None
        path = self.folder / name
        try:
            raw = path.read_bytes()
            key, content = _own_key(make=False), memoryview(raw)[_SEAL:]
            if key is None:
                return None
            seal = _seal(key, name)
            seal.update(content)
            if not hmac.compare_digest(raw[:_SEAL], seal.digest()):
                return None
            with gzip.open(io.BytesIO(content)) as entry:
                found = _Reader(cast("IO[bytes]", entry), around).load()  # sealed by this user
        except (OSError, EOFError, pickle.UnpicklingError):
            return None
        with suppress(OSError):
            os.utime(path)  # used just now
        return found

    def put(self, name: str | None, thing: object, around: Sequence[object] = ()) -> None:
        """Keep a thing under a name; not where the file was changed meanwhile.

        Else what a household took out of it would be kept by a command that had begun before.

        Parameters
        ----------
        name, around
            As in `kept`.
        thing
            What can be pickled.
        """
        if name is None or self.folder is None or self.street is None:
            return
        if _stamp(self.street) != self._found:
            return
        with suppress(OSError, CannotWrite, pickle.PicklingError, AttributeError, TypeError):
            key = _own_key(make=True)
            if key is None:
                return
            self.folder.mkdir(exist_ok=True)
            about = self.folder / _ABOUT
            if not about.exists():
                write_text(about, _(_ABOUT_WORDS).format(street=self.street.name) + "\n")
            with write_aside(self.folder / name) as draft:
                _write(draft, key, name, thing, around)
            self._make_room()

    def clear(self) -> int:
        """Delete all that is kept; return how many entries that were.

        Raises
        ------
        CannotWrite
            If one of them cannot be deleted.
        """
        entries = self._entries()
        try:
            for entry in entries:
                entry.unlink(missing_ok=True)
            if self.folder is not None and self.folder.is_dir():
                (self.folder / _ABOUT).unlink(missing_ok=True)
                with suppress(OSError):  # somebody put something of his own there
                    self.folder.rmdir()
        except OSError as error:
            raise CannotWrite(
                _("{folder} cannot be deleted: {reason}. Delete it yourself.").format(
                    folder=self.folder, reason=error.strerror or error
                )
            ) from error
        return len(entries)

    def _entries(self) -> list[Path]:
        if self.folder is None or not self.folder.is_dir():
            return []
        return [one for one in self.folder.iterdir() if _NAME.fullmatch(one.name)]

    def _make_room(self) -> None:
        """Delete those used least lately, never the last; another command may do the same."""
        used = [(one.stat().st_mtime, one.stat().st_size, one) for one in self._entries()]
        taken = 0
        for at, (when, size, entry) in enumerate(sorted(used, reverse=True)):
            taken += size
            if at and (taken > _ROOM or time.time() - when > _LONGEST_S):
                entry.unlink(missing_ok=True)


NO_CACHE = Cache(None)
"""Keeps nothing."""


@cache
def _libraries() -> tuple[str, ...]:
    """Whose objects stand in entries: another version may not be able to read them."""
    return (sys.version, *(f"{one} {version(one)}" for one in _LIBRARIES))


def _stamp(street: Path) -> tuple[int, ...] | None:
    """What tells one state of a file from the next without reading it."""
    try:
        now = street.stat()
    except OSError:
        return None
    return now.st_ino, now.st_size, now.st_mtime_ns


def _seal(key: bytes, name: str) -> hmac.HMAC:
    """Of an entry of that name, which is to be fed its content."""
    return hmac.new(key, name.encode(), "sha256")


class _Writer(pickle.Pickler):
    """Writes of what lies around only which it is."""

    def __init__(self, file: IO[bytes], around: Sequence[object]) -> None:
        super().__init__(file, protocol=pickle.HIGHEST_PROTOCOL)
        self._places = {id(one): at for at, one in enumerate(around)}

    def persistent_id(self, obj: object) -> int | None:
        return self._places.get(id(obj))


class _Reader(pickle.Unpickler):
    """Puts in what lies around."""

    def __init__(self, file: IO[bytes], around: Sequence[object]) -> None:
        super().__init__(file)
        self._around = around

    def persistent_load(self, pid: Any) -> object:  # noqa: ANN401 - as pickle has it
        try:
            return self._around[pid]
        except IndexError as error:
            raise pickle.UnpicklingError from error


def _write(path: Path, key: bytes, name: str, thing: object, around: Sequence[object]) -> None:
    """Write an entry; a town's is not held in memory a second time."""
    path.touch(mode=0o600)
    with path.open("r+b") as file:
        file.write(bytes(_SEAL))
        with gzip.GzipFile(fileobj=file, mode="wb", compresslevel=1, mtime=0, filename="") as entry:
            _Writer(cast("IO[bytes]", entry), around).dump(thing)
        seal = _seal(key, name)
        file.seek(_SEAL)
        while block := file.read(1 << 20):
            seal.update(block)
        file.seek(0)
        file.write(seal.digest())


def _own_key(*, make: bool) -> bytes | None:
    """The user's own key; None where there is none, or none can be made."""
    path = platformdirs.user_state_path("patchnet", appauthor=False) / "cache-key"
    with suppress(OSError):
        key = path.read_bytes()
        if len(key) == _KEY:
            return key
    if not make:
        return None
    path.parent.mkdir(parents=True, exist_ok=True)
    with write_aside(path) as draft:
        draft.touch(mode=0o600)
        draft.write_bytes(secrets.token_bytes(_KEY))
    return path.read_bytes()
