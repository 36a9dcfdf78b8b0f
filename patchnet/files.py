"""Files are written aside and replaced whole, so that nothing is ever half written."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from patchnet.errors import CannotWrite

__all__ = ["write_aside", "write_text"]


@contextmanager
def write_aside(path: Path | str) -> Iterator[Path]:
    """Give a path to write to beside `path`; move it to `path` if all went well.

    The file that stood at `path` before stays untouched until the new one is complete.

    Raises
    ------
    CannotWrite
        If the folder is missing or cannot be written to, or the disk is full.
    """
    target = Path(path)
    try:
        with tempfile.TemporaryDirectory(
            prefix=".patchnet-", dir=target.parent, ignore_cleanup_errors=True
        ) as aside:
            draft = Path(aside) / target.name
            yield draft
            os.replace(draft, target)
    except OSError as error:
        reason = error.strerror or str(error)
        raise CannotWrite(f"{target} cannot be written: {reason}.") from error


def write_text(path: Path | str, text: str) -> None:
    """Write `text` as UTF-8 with line feeds, whole or not at all."""
    with write_aside(path) as draft:
        draft.write_text(text, encoding="utf-8", newline="\n")
