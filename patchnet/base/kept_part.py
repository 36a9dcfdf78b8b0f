"""The part of a large OpenStreetMap extract round one street, cut out once and kept beside it.

The name of the kept file tells nobody which street was looked for: it is made of the large file's
name and a digest. The digest holds size and time of the large file, so that a newer one is cut
anew. A kept file is used only if it is a plain file of the same user; whatever is wrong with it, it
is made again.
"""

import hashlib
import json
import os
import stat
from collections.abc import Callable, Sequence
from dataclasses import asdict
from pathlib import Path

import numpy as np
import osmium

from patchnet.base.find_street import Box, Found, find_street, places_of, scan_seconds
from patchnet.base.gather import grown
from patchnet.base.roles import Role
from patchnet.core.errors import CannotRead, CannotWrite, WrongUse
from patchnet.core.files import write_aside
from patchnet.core.folding import folded
from patchnet.core.reader_child import read_in_child
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.from_file import local_path

__all__ = ["Part", "around", "part_of", "parts_of"]

Tell = Callable[[str], None]
_TOLD = "generator"  # a free text in the head of the format: what was cut out stands there
_PRIVATE = 0o600
_MB = 1e6


class Part:
    """Where one street is to be read from.

    Attributes
    ----------
    path
        The kept part, or the extract itself where it is small.
    found
        The street.
    """

    def __init__(self, path: Path, found: Found) -> None:
        self.path, self.found = path, found


def part_of(path: Path, asked: str, knowledge: Knowledge, tell: Tell) -> Part:
    """Find a street in an extract, and cut out the part round it where the extract is large.

    Parameters
    ----------
    path
        ``.osm.pbf`` or ``.osm``.
    asked
        Name of the street, also with its place (see `find_street`).
    knowledge
        For ``base_part_from_mb`` and ``base_part_margin_m``.
    tell
        Called with what happens and how long it will take.

    Raises
    ------
    CannotRead, WrongUse
        See `find_street`.
    """
    size = path.stat().st_size / _MB
    if size < knowledge.setting("base_part_from_mb"):
        return Part(path, find_street(path, asked, knowledge))
    kept = _kept_path(path, asked)
    found = read_in_child(_kept, kept)
    if found is not None:
        return Part(kept, found)
    tell(
        _("Looking for {asked} in {path_name} ({size:,.0f} MB): about {long}, this once.").format(
            asked=asked, path_name=path.name, size=size, long=_long(scan_seconds(path))
        )
    )
    found = find_street(path, asked, knowledge)
    try:
        with write_aside(kept) as draft:
            margin = knowledge.setting("base_part_margin_m")
            read_in_child(_cut_out, path, found, draft, margin)
            draft.chmod(_PRIVATE)
    except CannotWrite:
        tell(
            _(
                "The part round {found_name} could not be kept beside {path_name}: the folder "
                "cannot be written to, so the next run takes as long."
            ).format(found_name=found.name, path_name=path.name)
        )
        return Part(path, found)
    tell(
        _(
            "{found_name}{bool}{place} is in {kept_name} from now on, beside the large file; "
            "delete it whenever you like."
        ).format(
            found_name=found.name,
            bool=", " * bool(found.place),
            place=found.place,
            kept_name=kept.name,
        )
    )
    return Part(kept, found)


def parts_of(
    inputs: Sequence[tuple[Path | str, Role | None]],
    streets: Sequence[str],
    knowledge: Knowledge,
    tell: Tell,
) -> tuple[list[tuple[Path | str, Role | None]], list[Found]]:
    """Return the inputs, large extracts replaced by their parts, and the streets found in them.

    Where no input is an extract, or other inputs may have the street, nothing is found and all
    inputs stay as they are.
    """
    extracts = [path for path, __ in inputs if str(path).casefold().endswith((".pbf", ".osm"))]
    found: list[Found] = []
    parts: dict[str, list[Path]] = {}
    for asked in streets:
        faults: list[WrongUse] = []
        for path in extracts:
            try:
                part = part_of(local_path(path), asked, knowledge, tell)
            except WrongUse as error:
                faults.append(error)
                continue
            except OSError as error:
                raise CannotRead(
                    _("{path} cannot be read: {strerror}.").format(
                        path=path, strerror=error.strerror or error
                    )
                ) from error
            parts.setdefault(str(path), []).append(part.path)
            found.append(part.found)
            break
        else:
            if len(extracts) < len(inputs) or not faults:
                return list(inputs), []
            raise faults[0]
    out: list[tuple[Path | str, Role | None]] = []
    for path, role in inputs:
        out += [(one, role) for one in dict.fromkeys(parts.get(str(path), [Path(path)]))]
    return out, found


def around(found: Sequence[Found], knowledge: Knowledge) -> Box | None:
    """Return the box in degrees round streets and the houses along them.

    Parameters
    ----------
    found
        Streets that were found, each with its box in degrees.
    knowledge
        For ``base_margin_m``.

    Returns
    -------
    tuple or None
        West, south, east, north in degrees; None where nothing was found.
    """
    if not found:
        return None
    west, south, east, north = np.array([one.box for one in found]).T
    box = (float(west.min()), float(south.min()), float(east.max()), float(north.max()))
    return grown(box, knowledge.setting("base_margin_m"))


def _kept_path(path: Path, asked: str) -> Path:
    about = path.stat()
    words = "\n".join((path.name, str(about.st_size), str(about.st_mtime_ns), folded(asked)))
    digest = hashlib.sha256(words.encode()).hexdigest()[:16]
    return path.with_name(f"{path.name.split('.')[0]}.part-{digest}.osm.pbf")


def _kept(path: Path) -> Found | None:
    """Return what a kept part holds; None where there is none that can be trusted."""
    try:
        about = path.lstat()
        if not stat.S_ISREG(about.st_mode) or about.st_uid != os.getuid():
            return None
        with osmium.io.Reader(str(path), osmium.osm.NOTHING) as reader:
            told = json.loads(reader.header().get(_TOLD, ""))
        west, south, east, north = (float(edge) for edge in told["box"])
        box = (west, south, east, north)
        return Found(str(told["name"]), str(told["place"]), box, int(told["houses"]))
    except (OSError, RuntimeError, ValueError, KeyError, TypeError):
        return None


def _cut_out(path: Path, found: Found, draft: Path, margin: float) -> None:
    """Write everything that has a node in the box round the street, each thing whole."""
    west, south, east, north = grown(found.box, margin)
    tracker = osmium.IdTracker()
    low, high = osmium.osm.Location(west, south), osmium.osm.Location(east, north)
    left, right, bottom, top = low.x, high.x, low.y, high.y
    try:
        for node, spot in places_of(path):
            if left <= spot.x <= right and bottom <= spot.y <= top:
                tracker.add_node(node)
        inside = tracker.contains_filter()
        ways = osmium.FileProcessor(path, osmium.osm.WAY).with_filter(inside)
        for way in [way.id for way in ways]:
            tracker.add_way(way)
        inside = tracker.contains_filter()
        areas = osmium.FileProcessor(path, osmium.osm.RELATION).with_filter(inside)
        for relation in areas:
            if relation.tags.get("type") == "multipolygon":
                tracker.add_relation(relation.id)
        tracker.complete_backward_references(path, relation_depth=1)
        header = osmium.io.Header()
        header.set(_TOLD, json.dumps(asdict(found)))
        with osmium.SimpleWriter(str(draft), header=header) as writer:
            for thing in osmium.FileProcessor(path).with_filter(tracker.id_filter()):
                writer.add(thing)
    except RuntimeError as error:
        raise CannotRead(
            _("{path_name} is damaged, or no OpenStreetMap extract.").format(path_name=path.name)
        ) from error


def _long(seconds: float) -> str:
    if seconds < 90:
        return _("{seconds:.0f} seconds").format(seconds=max(round(seconds, -1), 10))
    return _("{seconds:.0f} minutes").format(seconds=seconds / 60)
