"""Files are written beside the old ones and swapped in whole, so none is ever half written."""

import hashlib
import json
import os
import platform
import shutil
import tempfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from patchnet.core.errors import CannotWrite

__all__ = [
    "MADE_BY",
    "OwnFolder",
    "ensure_may_write",
    "sweep",
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
        sweep(target.parent)
        with tempfile.TemporaryDirectory(
            prefix=f"{_ASIDE}{os.getpid()}-", dir=target.parent, ignore_cleanup_errors=True
        ) as aside:
            draft = Path(aside) / target.name
            yield draft
            draft.replace(target)
    except OSError as error:
        reason = error.strerror or str(error)
        raise CannotWrite(f"{target} cannot be written: {reason}.") from error


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


def write_text(path: Path | str, text: str) -> None:
    """Write `text` as UTF-8 with line feeds, whole or not at all."""
    with write_aside(path) as draft:
        draft.write_text(text, encoding="utf-8", newline="\n")


def write_bytes(path: Path | str, content: bytes) -> None:
    """Write `content`, whole or not at all."""
    with write_aside(path) as draft:
        draft.write_bytes(content)


def ensure_may_write(path: Path | str, *, overwrite: bool) -> None:
    """Make sure, before any long work, that `path` can be written and replaces only our own.

    Parameters
    ----------
    path
        Where a file is to be written.
    overwrite
        Whether what somebody else made may go.

    Raises
    ------
    CannotWrite
        If the folder is missing, `path` is a folder, or a file stands there that is not a page
        of patchnet's own and `overwrite` is False.
    """
    target = Path(path)
    if not target.parent.is_dir():
        raise CannotWrite(f"There is no folder {target.parent}: make it first.")
    if target.is_dir():
        raise CannotWrite(f"{target} is a folder: name a file in it.")
    if overwrite or not target.exists():
        return
    try:
        with target.open("rb") as there:
            head = there.read(_HEAD)
    except OSError as error:
        raise CannotWrite(f"{target} cannot be replaced: {error.strerror}.") from error
    if MADE_BY.encode() not in head:
        raise CannotWrite(
            f"{target} is there already and is not a page patchnet made: "
            "choose another name, or say --overwrite."
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
            raise CannotWrite(f"{self._folder} cannot be made: {error.strerror}.") from error
        listed = self._listed()
        foreign = [
            name
            for name in names
            if (self._folder / name).exists() and listed.get(name) != self._digest(name)
        ]
        if foreign:
            raise CannotWrite(
                f"In {self._folder} these files are not as patchnet made them: "
                f"{', '.join(foreign)}. Name another folder, or move them away."
            )

    def write(self, name: str, content: str | bytes) -> None:
        """Write one file of the folder and note it down as patchnet's own."""
        if isinstance(content, str):
            write_text(self._folder / name, content)
        else:
            write_bytes(self._folder / name, content)
        listed = self._listed() | {name: self._digest(name)}
        write_text(self._folder / self._LIST, json.dumps(listed, indent=1, sort_keys=True) + "\n")

    def _digest(self, name: str) -> str:
        try:
            return hashlib.sha256((self._folder / name).read_bytes()).hexdigest()
        except OSError as error:
            raise CannotWrite(
                f"{self._folder / name} cannot be replaced: {error.strerror}."
            ) from error

    def _listed(self) -> dict[str, str]:
        path = self._folder / self._LIST
        if not path.exists():
            return {}
        try:
            listed = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}  # a damaged list proves nothing, so nothing is replaced
        return (
            {str(key): str(value) for key, value in listed.items()}
            if isinstance(listed, dict)
            else {}
        )
