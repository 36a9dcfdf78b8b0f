"""Photographs of returns: in a folder beside the street's file, named after plot and feature.

A photograph is a JPEG (ISO/IEC 10918-1). What cameras write beside the picture (Exif, XMP: place,
time, device) stands in application segments; they are left out here too, whatever made the file.
"""

import base64
import binascii
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path
from urllib.parse import quote

from patchnet.core.cells import as_text
from patchnet.core.errors import CannotWrite
from patchnet.core.fault_list import FaultList
from patchnet.core.files import write_bytes
from patchnet.core.texts import _
from patchnet.survey.one_return import Return
from patchnet.survey.survey_record import Records

__all__ = [
    "check_photos",
    "drop_photos",
    "forget_photos",
    "photo_folder",
    "without_notes",
    "write_photos",
]

_NAME = re.compile(r"(?P<plot>[A-Za-z0-9%_-]+)~[a-z0-9_]+~[0-9a-f]{8}\.jpg")
_BEGIN, _SCAN, _END = b"\xff\xd8", 0xDA, 0xD9
_KEPT = {0xE0, 0xEE}  # JFIF, and how the colours are to be read
_ALONE = {0x01, *range(0xD0, 0xD8)}  # markers without a length


def photo_folder(street: Path) -> Path:
    """Return the folder of a street's photographs.

    Parameters
    ----------
    street
        The street's file.
    """
    return street.with_name(f"{street.stem}-photos")


def check_photos(
    returns: Sequence[Return], plots: Collection[str], faults: FaultList
) -> dict[str, bytes]:
    """Return the photographs of returns by the name of their file; what is none is told.

    Parameters
    ----------
    returns
        Of this street.
    plots
        Ids of its plots on which a photograph may be.
    faults
        List that faults are added to.
    """
    found: dict[str, bytes] = {}
    for one in returns:
        for number, row in enumerate(one.photos, 1):
            name, plot = as_text(row.get("name")), as_text(row.get("plot"))
            named = _NAME.fullmatch(name)
            picture = without_notes(_decoded(as_text(row.get("data"))))
            if not (named and named["plot"] == _slug(plot) and picture):
                faults.error(
                    one.where,
                    _("It is no photograph, or not one of the plot that it says; it was left out."),
                    _("Take it anew on the device."),
                    row=number,
                )
            elif plot in plots:
                found.setdefault(name, picture)
    return found


def write_photos(photos: Mapping[str, bytes], street: Path) -> int:
    """Write photographs beside a street's file, and return how many are new; none is replaced.

    Parameters
    ----------
    photos
        By the name of their file.
    street
        The street's file.

    Raises
    ------
    CannotWrite
        If the folder cannot be written.
    """
    folder = photo_folder(street)
    new = [name for name in photos if not (folder / name).exists()]
    if new:
        try:
            folder.mkdir(exist_ok=True)
        except OSError as error:
            raise CannotWrite(
                _("{folder} cannot be made: {strerror}.").format(
                    folder=folder, strerror=error.strerror
                )
            ) from error
    for name in new:
        write_bytes(folder / name, photos[name])
    return len(new)


def forget_photos(street: Path, plots: Collection[str]) -> int:
    """Delete the photographs of some plots, and return how many there were.

    Parameters
    ----------
    street
        The street's file.
    plots
        Ids.

    Raises
    ------
    CannotWrite
        If one cannot be deleted.
    """
    heads = tuple(f"{_slug(plot)}~" for plot in plots)
    return _delete(one for one in _all(street) if one.name.startswith(heads))


def drop_photos(street: Path, before: Records, after: Records) -> int:
    """Delete the photographs that no statement names any longer, and return how many there were.

    Parameters
    ----------
    street
        The street's file.
    before, after
        Its records before and after something was taken back.

    Raises
    ------
    CannotWrite
        If one cannot be deleted.
    """
    gone = _named(before) - _named(after)
    return _delete(one for one in _all(street) if one.name in gone)


def _named(records: Records) -> set[str]:
    """Names of the photographs that statements name."""
    cells = set(records.statements["photo"].astype(str))
    return {name.strip() for cell in cells for name in cell.split(";")} - {""}


def _all(street: Path) -> list[Path]:
    return sorted(photo_folder(street).glob("*.jpg"))


def _delete(photos: Iterable[Path]) -> int:
    gone = list(photos)
    for one in gone:
        try:
            one.unlink()
        except OSError as error:
            raise CannotWrite(
                _("{path} cannot be deleted: {strerror}.").format(path=one, strerror=error.strerror)
            ) from error
    return len(gone)


def without_notes(picture: bytes) -> bytes:
    """Return a JPEG without its application segments and comments; nothing where it is none.

    Parameters
    ----------
    picture
        Bytes of a file.
    """
    if not picture.startswith(_BEGIN):
        return b""
    kept, at = [_BEGIN], 2
    while at + 4 <= len(picture) and picture[at] == 0xFF:
        marker = picture[at + 1]
        if marker in _ALONE:
            kept.append(picture[at : at + 2])
            at += 2
            continue
        if marker == _SCAN:
            end = picture.rfind(bytes((0xFF, _END)))
            # What stands behind the end of the picture is none of it.
            return b"".join([*kept, picture[at : end + 2]]) if end > at else b""
        end = at + 2 + int.from_bytes(picture[at + 2 : at + 4])
        is_note = 0xE0 <= marker <= 0xEF or marker == 0xFE
        if not is_note or marker in _KEPT:
            kept.append(picture[at:end])
        at = end
    return b""


def _decoded(text: str) -> bytes:
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        return b""


def _slug(plot: str) -> str:
    """Return a plot's id as it stands in names of files, as the page writes it: one to one."""
    return quote(plot, safe="-_").replace(".", "%2E").replace("~", "%7E")
