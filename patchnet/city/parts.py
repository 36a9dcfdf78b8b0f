"""What each piece of work leaves behind: arrays in files, and a note that they are whole.

A piece of work writes its files aside and puts them in place whole, then a note with their digests
(SHA-256) and what they were made of. A piece counts as done where its note is there, was made of
the same, and every file has its digest: what a killed run left half done is done again, and what it
finished is not. No two pieces write the same file.
"""

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from hashlib import file_digest
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.errors import PatchnetError
from patchnet.core.files import write_aside, write_text
from patchnet.core.texts import _

__all__ = ["Parts", "digest_of_file", "from_bytes", "shapes_as_bytes"]

Arrays = Mapping[str, NDArray[Any]]
_NOTE = ".done.json"


@dataclass(frozen=True)
class Parts:
    """A folder of what pieces of work left behind.

    Attributes
    ----------
    folder
        Where they lie.
    notes
        Where the notes lie.
    made_of
        Digest of what all of them are made of.
    """

    folder: Path
    notes: Path
    made_of: str

    def is_done(self, name: str) -> bool:
        """Whether a piece of work is done, and all that it left is there as it left it."""
        note = self.note(name)
        return note is not None and all(
            digest_of_file(self.folder / file) == digest for file, digest in note["files"].items()
        )

    def note(self, name: str) -> dict[str, Any] | None:
        """Return what a finished piece of work noted; None where it is not done."""
        with suppress(OSError, ValueError):
            note = json.loads((self.notes / f"{name}{_NOTE}").read_text(encoding="utf-8"))
            if isinstance(note, dict) and note.get("made_of") == self.made_of:
                return note
        return None

    def told(self, name: str) -> dict[str, Any]:
        """Return what a finished piece of work tells.

        Raises
        ------
        PatchnetError
            If it is not done.
        """
        note = self.note(name)
        if note is None:
            raise PatchnetError(_("{name} is missing in {folder}.").format(
                name=name, folder=self.folder
            ))  # fmt: skip
        told: dict[str, Any] = note["told"]
        return told

    def put_arrays(self, file: str, arrays: Arrays) -> None:
        """Write arrays of numbers or text under their names."""
        with write_aside(self.folder / file) as draft, draft.open("wb") as out:
            np.savez(out, allow_pickle=False, **dict(arrays))

    def put_array(self, file: str, array: NDArray[Any]) -> None:
        """Write one array that can be read in pieces."""
        with write_aside(self.folder / file) as draft, draft.open("wb") as out:
            np.save(out, array, allow_pickle=False)

    def arrays(self, file: str) -> dict[str, NDArray[Any]]:
        """Read arrays back."""
        with np.load(self.folder / file, allow_pickle=False) as found:
            return dict(found)

    def array(self, file: str) -> NDArray[Any]:
        """Open one array; of the file only the rows that are looked at are read."""
        found: NDArray[Any] = np.load(self.folder / file, mmap_mode="r", allow_pickle=False)
        return found

    def finish(self, name: str, files: Sequence[str], told: Mapping[str, Any]) -> None:
        """Note that a piece of work is done.

        Parameters
        ----------
        name
            Of the piece.
        files
            What it left behind.
        told
            What else it tells, as it can stand in JSON.
        """
        digests = {file: digest_of_file(self.folder / file) for file in files}
        note = {"made_of": self.made_of, "files": digests, "told": dict(told)}
        write_text(
            self.notes / f"{name}{_NOTE}", json.dumps(note, indent=1, ensure_ascii=False) + "\n"
        )


def digest_of_file(path: Path) -> str:
    """Return the SHA-256 of a file; empty where it cannot be read.

    Parameters
    ----------
    path
        The file.
    """
    try:
        with path.open("rb") as file:
            return file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def shapes_as_bytes(shapes: NDArray[np.object_]) -> dict[str, NDArray[Any]]:
    """Return shapes as arrays of numbers: well-known binary, one behind the other.

    Parameters
    ----------
    shapes
        Shape (n,).
    """
    found = list(shapely.to_wkb(np.asarray(shapes, dtype=object)))
    ends = np.cumsum([0, *map(len, found)]).astype(np.int64)
    return {"wkb": np.frombuffer(b"".join(found), dtype=np.uint8), "wkb_ends": ends}


def from_bytes(arrays: Arrays) -> NDArray[np.object_]:
    """Return the shapes that `shapes_as_bytes` was given.

    Parameters
    ----------
    arrays
        What it returned: ``wkb``, shape (bytes,), and ``wkb_ends``, shape (n + 1,).
    """
    raw, ends = arrays["wkb"].tobytes(), arrays["wkb_ends"].tolist()
    found = [raw[begin:end] for begin, end in pairwise(ends)]
    shapes = np.empty(len(found), dtype=object)
    shapes[:] = shapely.from_wkb(np.array(found, dtype=object)) if found else []
    return shapes
