"""The notice for residents as a picture: PNG, for messengers."""

import json
import re
import struct
import zlib
from collections.abc import Mapping
from pathlib import Path

from patchnet.core.files import MADE_BY
from patchnet.core.texts import language
from patchnet.pages.kit.colours import DO_THIS, INK, MUTED, PAPER
from patchnet.pages.kit.escape import inside_style
from patchnet.pages.kit.garden_drawing import GARDEN_STYLE
from patchnet.pages.kit.templates import drawn_by

__all__ = ["WIDE", "notice_picture"]

_styled = drawn_by("sheets/notice_picture.svg", "styled")

WIDE = 1080  # pixels: what messengers show without shrinking it (common practice)
_POINTS = 540  # width of the page of the template
# Latin, Greek and Cyrillic, punctuation and money are in the letters that come with it.
_OTHER_SCRIPT = re.compile(r"[^\u0000-\u052f\u1e00-\u214f]")
_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_HEADER_ENDS = len(_SIGNATURE) + 25  # the first chunk of a PNG, IHDR, takes 25 bytes


def notice_picture(told: Mapping[str, object], drawing: str) -> bytes:
    """Draw the notice for residents.

    Parameters
    ----------
    told
        What it says, by the names of the template; texts are plain.
    drawing
        The plan of the street, an ``<svg>``.

    Returns
    -------
    bytes
        A PNG, `WIDE` pixels wide: the same bytes on every machine, for its letters come with it.
        Only a script that they do not have is drawn with the machine's own.
    """
    import font_lato  # noqa: PLC0415 - only a picture needs them
    import typst  # noqa: PLC0415

    values = {
        **told, "language": language(), "paper": PAPER, "ink": INK, "muted": MUTED,
        "strong": DO_THIS,
    }  # fmt: skip
    words = json.dumps(values, ensure_ascii=False)
    made = typst.compile(
        str(Path(__file__).with_suffix(".typ")),
        font_paths=[str(Path(font_lato.__file__).parent / "files")],
        ignore_system_fonts=_OTHER_SCRIPT.search(words + drawing) is None,
        format="png",
        ppi=72 * WIDE / _POINTS,
        sys_inputs={"told": words, "drawing": _alone(drawing)},
    )
    return _marked(made)


def _alone(drawing: str) -> str:
    """A drawing that stands by itself: with its style, which on a page is the page's."""
    style = GARDEN_STYLE.replace("var(--do)", DO_THIS)
    style += '.gardens text { font-family: "Lato"; }'
    head = re.match(r"<svg[^>]*>", drawing)
    assert head is not None  # noqa: S101 - a drawing begins with it
    return f"{head[0]}{_styled(inside_style(style))}{drawing[head.end() :]}"


def _marked(picture: bytes) -> bytes:
    """Say in the picture who made it, so that the next one may replace it."""
    body = b"tEXt" + b"Software\x00" + MADE_BY.encode()
    chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
    return picture[:_HEADER_ENDS] + chunk + picture[_HEADER_ENDS:]
