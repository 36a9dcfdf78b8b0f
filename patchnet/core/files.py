"""Files are written beside the old ones and swapped in whole, so none is ever half written."""

import hashlib
import json
import os
import platform
import shutil
import tempfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from patchnet.core.errors import CannotRead, CannotWrite
from patchnet.core.texts import _

__all__ = [
    "MADE_BY",
    "OwnFolder",
    "ensure_may_write",
    "folder_aside",
    "folder_to_read",
    "home_of",
    "no_room",
    "shown_path",
    "sweep",
    "temporaries_in",
    "utf8_text",
    "write_aside",
    "write_bytes",
    "write_text",
]

MADE_BY = '<meta name="generator" content="patchnet">'
"""What a page of patchnet carries in its head, so that a later run may replace it."""

# With the computer's mark: on a shared disk another's command may still be running.
_ASIDE = f".patchnet-{zlib.crc32(platform.node().encode()):08x}-"
_HEAD = 4096  # bytes of a page in which the mark stands


@contextmanager
def write_aside(path: Path | str) -> Iterator[Path]:
    """Give a path to write to beside `path`; move it to `path` if all went well.

    The file that stood at `path` before stays untouched until the new one is complete.

    Parameters
    ----------
    path
        Where the file will stand.

    Raises
    ------
    CannotWrite
        If the folder is missing or cannot be written to, or the disk is full.
    """
    target = Path(path)
    try:
        with folder_aside(target.parent) as aside:
            draft = aside / target.name
            yield draft
            draft.replace(target)
    except OSError as error:
        reason = error.strerror or str(error)
        raise CannotWrite(
            _("{shown_path} cannot be written: {reason}.").format(
                shown_path=shown_path(target), reason=reason
            )
        ) from error


@contextmanager
def folder_aside(beside: Path) -> Iterator[Path]:
    """Give a private folder (mode 0700) in a folder; it goes, at the latest by the next command.

    Raises
    ------
    OSError
        If none can be made there.
    """
    sweep(beside)
    with tempfile.TemporaryDirectory(
        prefix=f"{_ASIDE}{os.getpid()}-", dir=beside, ignore_cleanup_errors=True
    ) as aside:
        yield Path(aside)


@contextmanager
def folder_to_read(path: Path) -> Iterator[Path]:
    """Give a private folder beside a file that is unpacked to be read.

    Where its folder cannot be written to, it stands in the system's folder for such things.

    Raises
    ------
    CannotRead
        If there is no room for one anywhere.
    """
    with ExitStack() as stack:
        try:
            aside = stack.enter_context(folder_aside(path.resolve().parent))
        except OSError:
            try:
                aside = stack.enter_context(folder_aside(Path(tempfile.gettempdir())))
            except OSError as error:
                raise CannotRead(
                    _("{path} cannot be unpacked: {strerror}.").format(
                        path=path, strerror=error.strerror or error
                    )
                ) from error
        yield aside


@contextmanager
def temporaries_in(folder: Path) -> Iterator[None]:
    """Let libraries keep what they write for a moment in a folder, not in the system's."""
    before = tempfile.tempdir
    tempfile.tempdir = str(folder)
    try:
        yield
    finally:
        tempfile.tempdir = before


def no_room(path: object) -> CannotWrite:
    """Return what is said where another library stops in the middle of a file."""
    return CannotWrite(
        _("{path} cannot be written to its end: the disk is likely full.").format(path=path)
    )


def shown_path(path: Path) -> Path:
    """Return the path that a user knows of a file, also while it is written aside."""
    return Path(*(part for part in path.parts if not part.startswith(_ASIDE)))


def home_of(path: Path) -> Path:
    """Return the folder in which a file is going to stand, also while it is written aside."""
    folder = path.resolve().parent
    while folder.name.startswith(_ASIDE):
        folder = folder.parent
    return folder


def sweep(folder: Path) -> None:
    """Take away what commands that were killed left aside in a folder, on this computer.

    The folders are private (mode 0700) and carry the number of the process that made them.

    Parameters
    ----------
    folder
        Where files are written.
    """
    with suppress(OSError):
        for left in folder.glob(f"{_ASIDE}*"):
            number = left.name.removeprefix(_ASIDE).partition("-")[0]
            if number.isdigit() and left.is_dir() and not _is_running(int(number)):
                shutil.rmtree(left, ignore_errors=True)


def _is_running(process: int) -> bool:
    if os.name != "posix":
        return True  # there, asking a process may end it: what is left is left
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        pass  # another user's
    return True


def utf8_text(path: Path) -> str:
    """Return the text of a file in UTF-8, without the mark of its encoding.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    CannotRead
        If it cannot be read, or is no UTF-8.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise CannotRead(
            _("{path} cannot be read: {strerror}.").format(
                path=path, strerror=error.strerror or error
            )
        ) from error
    except UnicodeDecodeError as error:
        raise CannotRead(_("{path} is not UTF-8 text.").format(path=path)) from error


def write_text(path: Path | str, text: str) -> None:
    """Write `text` as UTF-8 with line feeds, whole or not at all."""
    with write_aside(path) as draft:
        draft.write_text(text, encoding="utf-8", newline="\n")


def write_bytes(path: Path | str, content: bytes) -> None:
    """Write `content`, whole or not at all."""
    with write_aside(path) as draft:
        draft.write_bytes(content)


def ensure_may_write(
    path: Path | str, *, overwrite: bool, reads: Iterable[Path | None] = ()
) -> None:
    """Make sure, before any long work, that `path` can be written and replaces only our own.

    Parameters
    ----------
    path
        Where something is to be written.
    overwrite
        Whether it may replace a file that is not a page of patchnet's own.
    reads
        What is read for it: a map is never replaced by what is made of it.

    Raises
    ------
    CannotWrite
        If the folder is missing or protected, `path` is a folder or one of `reads`, or a file
        stands there that may not be replaced.
    """
    target = Path(path)
    if not target.parent.is_dir():
        raise CannotWrite(
            _("There is no folder {parent}: make it first.").format(parent=target.parent)
        )
    if target.is_dir():
        raise CannotWrite(_("{target} is a folder: name a file in it.").format(target=target))
    if not os.access(target.parent, os.W_OK):
        raise CannotWrite(
            _("{target} cannot be written: its folder is protected.").format(target=target)
        )
    if any(
        one is not None and one.exists() and target.samefile(one)
        for one in reads
        if target.exists()
    ):
        raise CannotWrite(_("{target} is what is read: name another file.").format(target=target))
    if overwrite or not target.exists():
        return
    try:
        with target.open("rb") as there:
            head = there.read(_HEAD)
    except OSError as error:
        raise CannotWrite(
            _("{target} cannot be replaced: {strerror}.").format(
                target=target, strerror=error.strerror
            )
        ) from error
    if MADE_BY.encode() not in head:
        raise CannotWrite(
            _(
                "{target} is there already and is not a page patchnet made: choose another name, "
                "or say --overwrite."
            ).format(target=target)
        )


class OwnFolder:
    """A folder in which patchnet replaces only files that it made and nobody changed since.

    Parameters
    ----------
    folder
        Made if missing. A list of the files written, with their SHA-256, is kept in it.
    """

    _LIST = ".patchnet-files.json"

    def __init__(self, folder: Path | str) -> None:
        self._folder = Path(folder)

    def ensure_may_write(self, names: Iterable[str]) -> None:
        """Make sure that none of `names` is somebody else's file.

        Raises
        ------
        CannotWrite
            If one is, or the folder cannot be made.
        """
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CannotWrite(
                _("{folder} cannot be made: {strerror}.").format(
                    folder=self._folder, strerror=error.strerror
                )
            ) from error
        listed = self._listed()
        foreign = [
            name
            for name in names
            if (self._folder / name).exists() and self._digest(name) not in listed.get(name, ())
        ]
        if foreign:
            raise CannotWrite(
                _(
                    "In {folder} these files are not as patchnet made them: {foreign}. Name "
                    "another folder, or move them away."
                ).format(folder=self._folder, foreign=", ".join(foreign))
            )

    def write(self, name: str, content: str | bytes) -> None:
        """Write one file of the folder and note it down as patchnet's own.

        What it will be is noted before it stands there: who is ended in between leaves a file that
        is known, the one of before or the new one.
        """
        raw = content.encode() if isinstance(content, str) else content
        new = hashlib.sha256(raw).hexdigest()
        listed = self._listed()
        self._note({**listed, name: (*listed.get(name, ()), new)})
        write_bytes(self._folder / name, raw)
        self._note({**listed, name: (new,)})

    def names(self) -> tuple[str, ...]:
        """Return the names of the files that patchnet wrote in it, whether they still stand."""
        return tuple(self._listed())

    def holds(self, name: str) -> bool:
        """Whether a file stands in it as patchnet wrote it, whole and unchanged."""
        there = (self._folder / name).is_file()
        return there and self._digest(name) in self._listed().get(name, ())

    def remove(self, name: str) -> bool:
        """Take a file of patchnet's own away; what somebody changed stays.

        Returns
        -------
        bool
            Whether nothing of that name stands there now.
        """
        path = self._folder / name
        if path.exists():
            if not self.holds(name):
                return False
            try:
                path.unlink()
            except OSError as error:
                raise CannotWrite(
                    _("{folder} cannot be replaced: {strerror}.").format(
                        folder=path, strerror=error.strerror
                    )
                ) from error
        self._note({key: told for key, told in self._listed().items() if key != name})
        return True

    def _note(self, listed: Mapping[str, tuple[str, ...]]) -> None:
        """Write the list: a digest a file, or several while one of them is being put in place."""
        told = {name: one[0] if len(one) == 1 else list(one) for name, one in listed.items()}
        write_text(self._folder / self._LIST, json.dumps(told, indent=1, sort_keys=True) + "\n")

    def _digest(self, name: str) -> str:
        try:
            return hashlib.sha256((self._folder / name).read_bytes()).hexdigest()
        except OSError as error:
            raise CannotWrite(
                _("{folder} cannot be replaced: {strerror}.").format(
                    folder=self._folder / name, strerror=error.strerror
                )
            ) from error

    def _listed(self) -> dict[str, tuple[str, ...]]:
        path = self._folder / self._LIST
        if not path.exists():
            return {}
        try:
            listed = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}  # a damaged list proves nothing, so nothing is replaced
        if not isinstance(listed, dict):
            return {}
        return {
            str(name): tuple(map(str, told)) if isinstance(told, list) else (str(told),)
            for name, told in listed.items()
        }
