"""The folder that a city's answer lies in: whose it is, what is under way, and its manifest."""

import json
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from patchnet.city.asked import TILES, WORK, CityAsked
from patchnet.city.importance_work import IMPORTANCE
from patchnet.city.parts import digest_of_file
from patchnet.city.read_tile import INDEX, told_of_city
from patchnet.city.results import BREAKS, result_ending
from patchnet.city.tile_work import learnt
from patchnet.city.tiles import Tiles
from patchnet.core.errors import CannotWrite
from patchnet.core.faults import Fault
from patchnet.core.files import sweep, write_text
from patchnet.core.texts import _

__all__ = ["MANIFEST", "begin", "finish", "is_finished", "make_ready", "told_in"]

MANIFEST, _ASKED = "manifest.json", "asked.json"
"""The note that says what is in the folder; the one that says what is under way."""
_OURS = (".npz", ".npy", ".json", ".parquet", ".gpkg", ".html")


def make_ready(home: Path, made_of: str, *, overwrite: bool) -> None:
    """Make the folder, or see that what stands in it is the same answer under way or done.

    Parameters
    ----------
    home
        The folder.
    made_of
        Digest of all that the answer depends on.
    overwrite
        Whether the answer to another question may be thrown away.

    Raises
    ------
    CannotWrite
        If it cannot be written to, or holds something else.
    """
    try:
        home.mkdir(parents=True, exist_ok=True)
        before = told_in(home / MANIFEST) or told_in(home / WORK / _ASKED)
        if before is None and any(not one.name.startswith(".") for one in home.iterdir()):
            raise CannotWrite(
                _("{folder} holds something else: name another folder.").format(folder=home)
            )
        if before is not None and before.get("made_of") != made_of:
            if not overwrite:
                raise CannotWrite(
                    _(
                        "{folder} holds the answer to another question (another map, tables, "
                        "options or version): name another folder, or say --overwrite to begin "
                        "anew."
                    ).format(folder=home)
                )
            _remove_ours(home / WORK)
            _remove_ours(home / TILES)
            for name in ("index.html", MANIFEST):
                (home / name).unlink(missing_ok=True)
    except OSError as error:
        raise CannotWrite(
            _("{folder} cannot be written: {reason}.").format(
                folder=home, reason=error.strerror or error
            )
        ) from error


def begin(home: Path, made_of: str) -> None:
    """Note what is under way, before anything else is written.

    Parameters
    ----------
    home, made_of
        As in `make_ready`.

    Raises
    ------
    CannotWrite
        If the folder cannot be written to.
    """
    try:
        for part in (WORK, TILES):
            (home / part).mkdir(exist_ok=True)
            sweep(home / part)
    except OSError as error:
        raise CannotWrite(
            _("{folder} cannot be written: {reason}.").format(
                folder=home, reason=error.strerror or error
            )
        ) from error
    if told_in(home / WORK / _ASKED) is None:
        _put(home / WORK / _ASKED, {"patchnet": "city", "made_of": made_of})


def _remove_ours(folder: Path) -> None:
    """Throw away what an answer left in a folder, and nothing else."""
    if not folder.is_dir():
        return
    sweep(folder)
    # What says whose it is goes last: who is ended in between can begin again.
    for one in sorted(folder.iterdir(), key=lambda path: path.name == _ASKED):
        if one.is_file() and one.suffix in _OURS:
            one.unlink()
    with suppress(OSError):  # somebody put something of their own there
        folder.rmdir()


def told_in(path: Path) -> dict[str, Any] | None:
    """Return what a note of ours about a city tells; None where it is none.

    Parameters
    ----------
    path
        The file.
    """
    with suppress(OSError, ValueError):
        found = json.loads(path.read_text(encoding="utf-8"))
        if isinstance(found, dict) and found.get("patchnet") == "city":
            return found
    return None


def _put(path: Path, told: Mapping[str, Any]) -> None:
    write_text(path, json.dumps(told, indent=1, ensure_ascii=False) + "\n")


def is_finished(home: Path) -> bool:
    """Whether the answer stands there whole; where a file is not as it was, all is made again.

    Parameters
    ----------
    home
        The folder.
    """
    told = told_in(home / MANIFEST)
    if told is None:
        return False
    if any(digest_of_file(home / name) != digest for name, digest in told["files"].items()):
        return False
    _remove_ours(home / WORK)
    return True


def finish(asked: CityAsked) -> None:
    """Write the manifest of the whole, and throw away what was under way.

    Parameters
    ----------
    asked
        What the city is asked; all of it was worked out.
    """
    names = [tile.name for tile in asked.tiles.tiles]
    known = learnt(asked)
    ending = result_ending()
    tiles = {name: asked.results.told(f"{name}.result") for name in names}
    told = [[Fault(*one) for one in asked.work.told(f"{name}.read")["faults"]] for name in names]
    unread = [Fault("warning", *one) for one in asked.work.told(INDEX)["warnings"]]
    faults = [*told_of_city(told), *unread]
    files = [f"{TILES}/{name}{ending}" for name in [*names, BREAKS]]
    _put(
        asked.folder / MANIFEST,
        {
            "patchnet": "city",
            "made_of": asked.made_of,
            "tile_m": asked.tiles.side_m,
            "halo_m": asked.halo_m,
            "cell_m": known.cell_m,
            "region": known.region,
            "crs": _crs_told(asked.tiles),
            "animals": {one.key: _told_of(asked, one.key) for one in asked.groups(known.region)},
            "tiles": tiles,
            "worst": asked.results.told(BREAKS)["worst"],
            "credits": list(
                dict.fromkeys(line for one in tiles.values() for line in one["credits"])
            ),
            "warnings": [[one.where, one.row, one.ident, one.what, one.mend] for one in faults],
            "files": {name: digest_of_file(asked.folder / name) for name in files},
        },
    )  # fmt: skip
    _remove_ours(asked.work.folder)


def _told_of(asked: CityAsked, key: str) -> dict[str, Any]:
    """All that is told of an animal on the whole city."""
    pieces = [key, f"{key}{IMPORTANCE}"] if asked.importance else [key]
    return {name: one for piece in pieces for name, one in asked.work.told(piece).items()}


def _crs_told(tiles: Tiles) -> str:
    code = tiles.metres.to_authority(min_confidence=70)
    return ":".join(code) if code else str(tiles.metres.to_wkt())
