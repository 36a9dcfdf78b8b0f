"""Returns of the survey page: JSON, read as far as it goes where it is cut off or damaged."""

import codecs
import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from patchnet.core.cells import as_text
from patchnet.core.errors import CannotRead
from patchnet.core.fault_list import FaultList
from patchnet.core.open_file import trouble
from patchnet.core.read_limits import read_limit
from patchnet.core.texts import _
from patchnet.survey.one_return import SAID, Return

__all__ = ["read_page_return"]

_VERSION = 1
_ABOUT = ("surveyor", "seen_from", "began", "saved", "made")
_LISTS = ("statements", "drawn", "consent", "missing", "photos")
_DEEPEST = int(read_limit("return_depth"))
_LONGEST = int(read_limit("statement_letters"))
_MOST_BROKEN = int(read_limit("statements_broken"))
_BLANK = " \t\r\n\0"
_DECODER = json.JSONDecoder()
_BEGIN = re.compile(r'\{\s*"(?:plot|feature|when)"')
_OVER = re.compile(r'$|\]\s*(?:,\s*"|\}|$)')
_NEXT_LIST = re.compile(r'\]\s*,\s*"(?:' + "|".join(_LISTS) + r')"')


def read_page_return(path: Path, faults: FaultList) -> Return:
    """Read one return of the survey page.

    Parameters
    ----------
    path
        The file.
    faults
        List that faults are added to: what of it cannot be read.

    Raises
    ------
    CannotRead
        If nothing of it can be read, or it is no return.
    """
    with trouble(path):
        raw = path.read_bytes()
    text = _decode(path, raw)
    whole = _whole(text)
    damaged = whole is None
    content = _sound(_salvaged(text) if whole is None else whole)
    if not any(key in content for key in ("patchnet_return", *_LISTS)):
        raise CannotRead(
            _("{path} is not a return: it holds no statements of a survey.").format(path=path)
        )
    version = content.get("patchnet_return", _VERSION)
    if isinstance(version, int) and version > _VERSION:
        raise CannotRead(
            _(
                "{path} was made by a newer survey page (form {version}): patchnet here reads "
                "form {version_2}. Bring patchnet up to date."
            ).format(path=path, version=version, version_2=_VERSION)
        )
    lists = {key: _rows(path.name, key, content.get(key), faults) for key in _LISTS}
    if damaged:
        faults.error(
            path.name,
            _(
                "The file is damaged or cut off: {n_statements} statements, {n_drawn} shapes and "
                "{n_consent} answers about consent could be read and were taken; what came after "
                "them is lost."
            ).format(
                n_statements=len(lists["statements"]),
                n_drawn=len(lists["drawn"]),
                n_consent=len(lists["consent"]),
            ),
            _("Hand it over again from the device; nothing will be counted twice."),
        )
    street = content.get("street")
    street_words = street.get("id") if isinstance(street, dict) else street
    return Return(
        path.name,
        as_text(content.get("id")),
        "page",
        as_text(street_words),
        {key: as_text(content.get(key)) for key in _ABOUT},
        _said(lists["statements"], lists["consent"]),
        tuple(row for __, row in lists["drawn"]),
        damaged,
        missing=tuple(row for __, row in lists["missing"]),
        photos=tuple(row for __, row in lists["photos"]),
        called=as_text(street.get("name")) if isinstance(street, dict) else "",
    )


def _decode(path: Path, raw: bytes) -> str:
    if not raw.strip(b"\0 \t\r\n"):
        raise CannotRead(_("{path} is empty.").format(path=path))
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return raw.decode("utf-16", "replace")
    if raw[1:2] == b"\0" and raw[:1] == b"{":
        return raw.decode("utf-16-le", "replace")
    if raw[:2] == b"\0{":
        return raw.decode("utf-16-be", "replace")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        # Some bytes are damaged: all the rest is still text.
        return raw.decode("utf-8-sig", "replace")


def _sound(value: Any, depth: int = 0) -> Any:  # noqa: ANN401 - walks any JSON value
    """Replace halves of surrogate pairs, which no file can carry, wherever they stand.

    What is nested deeper than anything the page writes is left out.
    """
    if depth > _DEEPEST:
        return None
    if isinstance(value, str):
        return value.encode("utf-8", "replace").decode("utf-8")
    if isinstance(value, dict):
        return {_sound(key): _sound(item, depth + 1) for key, item in value.items()}
    if isinstance(value, list):
        return [_sound(item, depth + 1) for item in value]
    return value


def _whole(text: str) -> dict[str, Any] | None:
    try:
        content = json.loads(text)
    except (ValueError, RecursionError):  # also a number of thousands of digits
        return None
    return content if isinstance(content, dict) else {}


def _salvaged(text: str) -> dict[str, Any]:
    """Read a damaged object member by member, and its lists element by element."""
    content: dict[str, Any] = {}
    for found in re.finditer(r'"(\w+)"\s*:\s*', text):
        key, at = found[1], found.end()
        if key in _LISTS and key not in content:
            content[key] = list(_elements(text, at))
        elif key in {"patchnet_return", "id", "street", *_ABOUT} and key not in content:
            # The head comes before the lists, so the first member of that name is the head's.
            value = _value(text, at)
            if value is not None and not any(name in content for name in _LISTS):
                content[key] = value
    return content


def _value(text: str, at: int) -> Any:  # noqa: ANN401 - any JSON value
    try:
        return _DECODER.raw_decode(text[at : at + _LONGEST])[0]
    except (ValueError, RecursionError):
        return None


def _elements(text: str, at: int) -> Iterator[dict[str, Any]]:
    """Give the complete objects of the list that begins at `at`, whatever is broken between."""
    if text[at : at + 1] != "[":
        return
    at += 1
    # Where the list is over is looked for once, not again at every damaged object.
    over = _NEXT_LIST.search(text, at)
    end = len(text) if over is None else over.start()
    broken = 0
    while at < len(text) and broken < _MOST_BROKEN:
        while at < len(text) and text[at] in _BLANK + ",":
            at += 1
        if _OVER.match(text, at):
            return
        if text[at] != "{":
            at = _next_object(text, at, end)
            continue
        try:
            value, length = _DECODER.raw_decode(text[at : at + _LONGEST])
        except (ValueError, RecursionError):
            broken += 1
            at = _next_object(text, at + 1, end)
            continue
        at += length
        if at > end:
            over = _NEXT_LIST.search(text, at)
            end = len(text) if over is None else over.start()
        if isinstance(value, dict):
            yield value


def _next_object(text: str, at: int, end: int) -> int:
    """Where the next object of a list may begin; the end of the text where the list is over."""
    begin = _BEGIN.search(text, at)
    return len(text) if begin is None or end < begin.start() else begin.start()


def _rows(
    where: str, key: str, value: object, faults: FaultList
) -> list[tuple[int, Mapping[str, object]]]:
    """Number the objects of a list; name whatever is none."""
    if value is None:
        return []
    if not isinstance(value, list):
        faults.error(
            where,
            _("Its {key} are no list.").format(key=key),
            _("Hand it over again from the device."),
        )
        return []
    good: list[tuple[int, Mapping[str, object]]] = [
        (at, row) for at, row in enumerate(value, 1) if isinstance(row, dict)
    ]
    if len(good) < len(value):
        faults.error(
            where,
            _("{n_value} of its {key} are no such thing and were left out.").format(
                n_value=len(value) - len(good), key=key
            ),
            _("Hand it over again from the device."),
        )
    return good


def _said(
    statements: list[tuple[int, Mapping[str, object]]],
    consent: list[tuple[int, Mapping[str, object]]],
) -> pd.DataFrame:
    keys = ("plot", "feature", "answer", "amount", "unit", "sure", "seen_from", "surveyor", "when",
            "note", "photo")  # fmt: skip
    rows = [(*[row.get(key) for key in keys], None, at) for at, row in statements]
    rows += [
        (row.get("plot"), *[None] * 7, row.get("when"), None, None, row.get("consent"), at)
        for at, row in consent
    ]
    return pd.DataFrame(rows, columns=list(SAID), dtype=object)
