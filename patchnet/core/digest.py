"""A digest of whatever an answer was made from: alike where all of it is alike, else another."""

import hashlib
import struct
from collections.abc import Callable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path
from typing import cast

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from patchnet.core.texts import language

__all__ = ["digest_of", "own_digest"]

_CODE = {".py", ".csv", ".html", ".css", ".js", ".mo"}  # what a page of ours is made by
_PLAIN = {float, str, bytes, int, bool, type(None)}
_Feed = Callable[[bytes], object]


def digest_of(*things: object) -> str:
    """Return the SHA-256 of some things: of what stands in them, not of how they came about.

    Parameters
    ----------
    things
        Numbers, text, arrays, tables, shapes, records (dataclasses) and collections of such; of a
        path the bytes of the file.

    Raises
    ------
    TypeError
        If there is anything else in them: it might look alike and not be alike.

    Examples
    --------
    >>> digest_of({"a": 1.0}) == digest_of({"a": 1.0})
    True
    >>> digest_of("ab", "c") == digest_of("a", "bc")
    False
    """
    spelled = bytearray()
    _put(things, spelled.extend)
    return hashlib.sha256(spelled).hexdigest()


@cache
def own_digest() -> str:
    """Return a digest of patchnet itself, its tables and texts: another version makes other pages.

    The language that is spoken is part of it.
    """
    package = Path(__file__).parents[1]
    own = sorted(path for path in package.rglob("*") if path.suffix in _CODE)
    return digest_of(language(), [(str(one.relative_to(package)), one) for one in own])


def _put(thing: object, feed: _Feed) -> None:
    """Feed a thing with its kind and length, so that no two things run into each other.

    Most of what is fed are numbers and texts in rows: these are told by their type alone.
    """
    kind = type(thing)
    if kind in _PLAIN:
        feed(_plain(thing))
    elif kind is tuple or kind is list:
        _put_row(cast("Sequence[object]", thing), feed)
    else:
        _put_other(thing, feed)


def _put_row(row: Sequence[object], feed: _Feed) -> None:
    feed(b"s%d:" % len(row))
    for one in row:
        _put(one, feed)


def _put_other(thing: object, feed: _Feed) -> None:  # noqa: PLR0911 - one line a kind
    if is_dataclass(thing) and not isinstance(thing, type):
        kept = [(name, getattr(thing, name)) for name in _names_of(type(thing))]
        return _put((type(thing).__qualname__, kept), feed)
    if isinstance(thing, np.ndarray):
        return _put_array(thing, feed)
    if isinstance(thing, pd.DataFrame):
        columns = [(str(name), thing[name]) for name in thing.columns]
        return _put(("table", columns), feed)
    if isinstance(thing, pd.Series | pd.Index):
        index = thing.index if isinstance(thing, pd.Series) else ()
        return _put(("column", index, np.asarray(thing, dtype=object)), feed)
    if isinstance(thing, BaseGeometry):
        return _put(("shape", shapely.to_wkb(thing)), feed)
    if isinstance(thing, Path):
        return _put(("file", thing.read_bytes()), feed)
    if isinstance(thing, Mapping):
        return _put(("mapping", list(thing.items())), feed)
    if isinstance(thing, AbstractSet):
        return _put(("set", sorted(thing, key=repr)), feed)
    if isinstance(thing, Sequence) and not isinstance(thing, str | bytes):
        return _put_row(thing, feed)
    feed(_plain(thing.item() if isinstance(thing, np.generic) else thing))
    return None


@cache
def _names_of(kind: type) -> tuple[str, ...]:
    return tuple(one.name for one in fields(kind))


def _put_array(array: NDArray[np.generic], feed: _Feed) -> None:
    _put(("array", str(array.dtype), array.shape), feed)
    if array.dtype == object:
        _put(array.ravel().tolist(), feed)
    else:
        feed(np.ascontiguousarray(array).tobytes())


def _plain(thing: object) -> bytes:
    if isinstance(thing, float):
        return b"f" + struct.pack("<d", thing)
    if thing is not None and not isinstance(thing, str | bytes | int):
        message = f"No digest of a {type(thing).__name__} is known."
        raise TypeError(message)
    raw = thing if isinstance(thing, bytes) else str(thing).encode("utf-8", "surrogatepass")
    return f"{type(thing).__name__}{len(raw)}:".encode() + raw
