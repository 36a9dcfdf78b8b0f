"""Whether a household is gone: a street's file read back, cell by cell and byte by byte."""

from collections import Counter
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from patchnet.core.folding import folded
from patchnet.core.geopackage import connect, quoted
from patchnet.core.open_file import trouble

__all__ = ["Certificate", "cells_of", "search"]

_SHORTEST = 4  # bytes: a shorter text stands in any file by chance
_BESIDE = ("-wal", "-shm", "-journal")


@dataclass(frozen=True)
class Certificate:
    """What was searched after a household was forgotten, and what was found.

    Attributes
    ----------
    files
        Each file that was searched, with its size in bytes.
    tables
        How many tables were read back.
    texts
        How many texts and shapes were in the file before and are in no cell now; each was looked
        for in the bytes.
    short
        How many more were too short to be looked for.
    found
        Those that are still in the bytes.
    speaking
        Table and column -> cells that still hold a word of the household, such as its address in
        a note on another plot.
    made
        Pages and files that were made from the street before: file, for whom, when.
    """

    files: tuple[tuple[str, int], ...]
    tables: int
    texts: int
    short: int
    found: tuple[str, ...]
    speaking: tuple[tuple[str, int], ...]
    made: tuple[tuple[str, str, str], ...] = ()


def cells_of(path: Path) -> dict[str, list[str | bytes]]:
    """Return the text and blob cells of every table and column of a street's file.

    Raises
    ------
    CannotRead
        If it cannot be read.
    """
    found: dict[str, list[str | bytes]] = {}
    with trouble(path), closing(connect(path)) as there:
        names = [
            str(row[0])
            for row in there.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        ]
        for name in names:
            if name.startswith(("rtree_", "sqlite_")):
                continue
            for column in there.execute(f"PRAGMA table_info({quoted(name)})").fetchall():
                cells = there.execute(f"SELECT {quoted(str(column[1]))} FROM {quoted(name)}")  # noqa: S608 - a table's own names
                found[f"{name}.{column[1]}"] = [
                    cell for (cell,) in cells if isinstance(cell, (str, bytes)) and cell
                ]
    return found


def search(
    before: dict[str, list[str | bytes]],
    path: Path,
    words: Sequence[str],
    *,
    made: Sequence[tuple[str, str, str]] = (),
    target: Path | None = None,
) -> Certificate:
    """Search a street's file for what is in none of its cells any more.

    Parameters
    ----------
    before
        Its cells before (`cells_of`).
    path
        The file after; what SQLite keeps beside it is searched too.
    words
        Names and addresses of the household; cells that still hold one are counted.
    made
        Pages and files that were made from it.
    target
        Where the file is going to stand, if not at `path`: what lies beside it is searched too.
    """
    # What lies beside the file is read before SQLite opens it, for that may clear it away.
    beside = {file.parent: file for file in (path, path if target is None else target)}
    files = [
        path,
        *(file.with_name(path.name + end) for file in beside.values() for end in _BESIDE),
    ]
    content = {file: file.read_bytes() for file in files if file.is_file()}
    after = cells_of(path)
    left = {cell for cells in after.values() for cell in cells}
    gone = sorted({_raw(cell) for cells in before.values() for cell in cells if cell not in left})
    long = [raw for raw in gone if len(raw) >= _SHORTEST]
    standing = b"\0".join(sorted(_raw(cell) for cell in left))
    # A text that is part of one that stands, such as a name in a note, is counted as speaking.
    found = [
        raw
        for raw in long
        if any(raw in whole for whole in content.values()) and raw not in standing
    ]
    wanted = {folded(word) for word in words} - {""}
    speaking = Counter[str]()
    for column, cells in after.items():
        for cell in cells:
            text = f" {folded(cell)} " if isinstance(cell, str) else ""
            if any(f" {word} " in text for word in wanted):
                speaking[column] += 1
    return Certificate(
        files=tuple((file.name, len(whole)) for file, whole in content.items()),
        tables=len({column.split(".", maxsplit=1)[0] for column in after}),
        texts=len(long),
        short=len(gone) - len(long),
        found=tuple(raw.decode("utf-8", "replace")[:40] for raw in found),
        speaking=tuple(sorted(speaking.items())),
        made=tuple(made),
    )


def _raw(cell: str | bytes) -> bytes:
    return cell if isinstance(cell, bytes) else cell.encode("utf-8", "surrogatepass")
