"""Commands that write, killed at a moment of their work or hindered: what stands there is whole."""

import ctypes
import faulthandler
import fcntl
import os
import random
import re
import resource
import shlex
import shutil
import signal
import sqlite3
import sys
import time
from contextlib import closing, suppress
from datetime import date
from functools import cache
from pathlib import Path

import click
import folium  # noqa: F401 - these are loaded once here, and not anew in every child
import geopandas as gpd
import numba  # noqa: F401
import openpyxl  # noqa: F401
import pyogrio
import rasterio.features
import rasterio.warp  # noqa: F401
import scipy.optimize  # noqa: F401
import shapely
from worlds.alder_row import ALDER, FAR, NARROW, WIDE, write_alder_row
from worlds.surveyed_street import EAST, NORTH

from patchnet.commands.main import _run, cli
from patchnet.knowledge import load_knowledge
from patchnet.pages.kit.templates import environment
from patchnet.survey.merge import merge_returns, write_merged
from patchnet.survey.survey_layers import read_records
from patchnet.survey.verify import verify_street

__all__ = ["HINDRANCES", "WRITING", "Killed", "run_aside"]

HANGS_S = 900
DAY = date(2026, 6, 1)
WRITING = {
    "merge": "merge street.gpkg new.return.json -o street.gpkg",
    "merge elsewhere": "merge street.gpkg new.return.json -o out.gpkg --overwrite",
    "merge a map": "merge map.geojson new.return.json --same-street -o out.gpkg --overwrite",
    "merge mend": "merge street.gpkg sizes.csv --same-street -o street.gpkg --mend mend.csv "
    "--overwrite",
    "consent": "consent street.gpkg 1 yes",
    "forget": "forget street.gpkg 2",
    "undo": "undo street.gpkg",
    "base": "base map.geojson roads.geojson -o out.gpkg --overwrite",
    "base earlier": "base map.geojson roads.geojson --earlier street.gpkg -o street.gpkg "
    "--overwrite",
    "export gpkg": "export street.gpkg --straight --group wren -o out.gpkg --overwrite",
    "export csv": "export street.gpkg --straight --group wren -o out.csv --overwrite",
    "export geojson": "export street.gpkg --straight --group wren -o out.geojson --overwrite",
    "export graphml": "export street.gpkg --straight --group wren -o out.graphml --overwrite",
    "export public": "export street.gpkg --straight --group wren --for public -o out.gpkg "
    "--overwrite",
    "poster": "poster street.gpkg --straight --group wren --for group -o out.html --overwrite",
    "map": "map street.gpkg --straight --group wren --no-additions -o out.html --overwrite",
    "progress": "progress street.gpkg -o out.html --overwrite",
    "survey": "survey street.gpkg -o pack",
    "project": "project ours --add street.gpkg",
    "compare": "compare street.gpkg map.geojson --straight --group wren --page out.html "
    "--overwrite",
    "advise": "advise street.gpkg 1 --straight --group wren --card out.html --overwrite",
    "advise all": "advise street.gpkg --straight --group wren --cards pack",
    "together": "together street.gpkg --straight --group wren --plots 1 --jobs 1 --draws 0 "
    "-o plan.json --page out.html --overwrite",
    "routes": "routes street.gpkg --group hedgehog --from 1 --to 16 -o out.gpkg "
    "--ground out.tif --current flow.tif --overwrite",
    "scheme": "scheme made --road 'Alder Row' --planters 1 --group mason_bee --side left "
    "-o pack --overwrite",
    "city": "city street.gpkg --straight --group wren --workers 1 -o pack",
    "tables": "tables features -o pack",
    "demo": "demo -o pack",
}  # fmt: skip
"""Every command that writes, as it is typed in the folder of a street."""


class Killed:
    """A folder with a street, and what each command makes of it when it is let alone.

    Parameters
    ----------
    folder
        Where everything stands.
    street
        A fresh `SurveyStreet` in a folder of its own.
    knowledge
        The tables.
    """

    def __init__(self, folder, street, knowledge):
        self.folder, self.knowledge = folder, knowledge
        self.start = street.folder
        said = [(str(at), "pond", "there", at) for at in range(1, 13)]
        street.hand_in("first", said)
        found = merge_returns(street.path, street.files, knowledge=knowledge, today=DAY)
        write_merged(found, street.path)
        street.hand_in("new", [(str(at), "shrub", "there", at) for at in range(1, 9)], who="Bob")
        (self.start / "sizes.csv").write_text(
            "plot,feature,answer,amount,date\n3,pond,there,2 x 3,2026-05-02\n", encoding="utf-8"
        )
        plots = pyogrio.read_dataframe(street.path, layer="plots")[["id", "kind", "geometry"]]
        pyogrio.write_dataframe(plots.to_crs(4326), self.start / "map.geojson")
        roads = gpd.GeoDataFrame(
            {"name": ["Alder Row"]},
            geometry=[shapely.LineString([(EAST, NORTH + 37.5), (EAST + 160, NORTH + 37.5)])],
            crs="EPSG:27700",
        )
        pyogrio.write_dataframe(roads.to_crs(4326), self.start / "roads.geojson")
        for name in ("out.gpkg", "out.csv", "out.html", "out.geojson", "out.graphml", "out.tif",
                     "flow.tif"):  # fmt: skip
            (self.start / name).write_bytes(b"what stood there before")
        (self.start / "made").mkdir()
        write_alder_row(self.start / "made" / "alder.gpkg", [ALDER, FAR], [WIDE, NARROW])
        self.whole = {}

    def let_alone(self, command):
        """Run a command to its end once: return the folder that it leaves, and its seconds."""
        if command not in self.whole:
            folder = self._fresh(f"whole {command}")
            began = time.monotonic()
            status, said = run_aside(shlex.split(WRITING[command]), folder)
            assert status == 0, (command, status, said)
            self.whole[command] = (folder, time.monotonic() - began)
        return self.whole[command]

    def kill_one(self, command, seed):
        """Kill a command at a moment; return whether it was still at work, and what is wrong."""
        whole, seconds = self.let_alone(command)
        rng = random.Random(f"{command} {seed}")  # noqa: S311 - no secret
        folder = self._fresh("killed")
        moment = seconds * rng.uniform(0.05, 1.0)
        status, said = run_aside(shlex.split(WRITING[command]), folder, kill_after=moment)
        wrong = self._wrong(folder, whole)
        if status is not None and status != 0:
            wrong.append(f"exit {status}: {said}")
        if status is None and self._changed(folder) is not True:
            again, said = run_aside(shlex.split(WRITING[command]), folder)
            if again != 0:
                wrong.append(f"again: exit {again}: {said}")
            wrong += [f"again: {one}" for one in self._wrong(folder, whole, only_after=True)]
            left = [one.name for one in folder.iterdir() if one.name.startswith(".")]
            if left:
                wrong.append(f"left behind: {left}")
        return status is None, [f"{command}: {one}" for one in wrong]

    def hinder(self, command, hindrance):
        """Run a command where it cannot write; return what is wrong with how it ends.

        It must say so in one sentence and leave every file as it was. Where it could write all
        the same (what it writes is small), the new file must be whole.
        """
        folder = self._fresh("hindered")
        words = shlex.split(WRITING[command])
        before, after = HINDRANCES[hindrance](folder, words)
        held = content(folder)
        status, said = run_aside(words, folder, first=before)
        after()
        wrong = []
        if status in {None, 4, 70} or re.search(r"Internal error|Traceback|Warning", said):
            wrong.append(f"exit {status}: {said}")
        elif status:
            told = [line for line in said.splitlines() if line.startswith("Error: ")]
            if len(told) != 1 or not told[0].endswith("."):
                wrong.append(f"not one sentence: {said}")
            now = content(folder)
            wrong += [f"{name} has changed" for name in now if now[name] != held.get(name)]
            wrong += [f"{name} is gone" for name in held.keys() - now.keys()]
        else:
            made = folder / "nowhere" / "at" / "all"  # a command that writes a folder makes it
            for path in made.iterdir() if made.is_dir() else ():
                path.rename(folder / path.name)
            wrong += self._wrong(folder, self.let_alone(command)[0])
        return status, [f"{command}, {hindrance}: {one}" for one in wrong]

    def _fresh(self, name):
        folder = self.folder / name
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(self.start, folder)
        return folder

    def _changed(self, folder):
        """Whether the street itself has got its change already."""
        return state(folder / "street.gpkg") != state(self.start / "street.gpkg")

    def _wrong(self, folder, whole, *, only_after=False):
        """Compare each file with what it was before and with what it ought to become."""
        wrong = []
        for path in sorted(one for one in folder.rglob("*") if one.is_file()):
            name = path.relative_to(folder)
            if not only_after and any(part.startswith(".") for part in name.parts):
                continue  # what was begun, and the list of what is done of a folder
            if not (whole / name).is_file():
                wrong.append(f"{name} is no file of this command")
                continue
            fits = [whole / name] if only_after else [whole / name, self.start / name]
            if name.name == "street.gpkg":
                found = state(path)
                if found not in [state(one) for one in fits]:
                    wrong.append(f"{name} is neither what it was nor what it ought to be")
                if faults := verify_street(path, knowledge=self.knowledge):
                    wrong.append(f"{name}: {faults[0]}")
            elif path.read_bytes() not in [one.read_bytes() for one in fits if one.is_file()]:
                wrong.append(f"{name} is not whole")
        return wrong


def content(folder):
    """Return the bytes of every file."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def _nothing():
    pass


def _outputs(words):
    return [words[at + 1] for at, word in enumerate(words)
            if word in {"-o", "--page", "--card", "--cards", "--ground", "--current"}]  # fmt: skip


def a_protected_folder(folder, words):
    """Nobody may write in the folder: without its privileges root is held to that too."""
    folder.chmod(0o555)

    def without_privileges():
        head = (ctypes.c_uint32 * 2)(0x20080522, 0)  # capset(2), version 3, this process
        ctypes.CDLL(None, use_errno=True).capset(head, (ctypes.c_uint32 * 6)())

    return without_privileges, lambda: folder.chmod(0o755)


def a_full_disk(folder, words):
    """No file may grow beyond a kilobyte; what is larger fails as on a full disk."""
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000)), _nothing


def a_folder_there(folder, words):
    """Where the file is to stand, there is a folder with something in it."""
    for name in _outputs(words):
        place = folder / name
        if name not in {"pack", "street.gpkg"}:
            place.unlink()
            place.mkdir()
            (place / "mine.txt").write_text("mine")
        elif name == "pack":
            place.write_text("a file where a folder is to be")
    return _nothing, _nothing


def no_folder(folder, words):
    """The folder that it is to stand in is missing."""
    for at, word in enumerate(words):
        if at and words[at - 1] in {"-o", "--page", "--card", "--cards", "--ground", "--current"}:
            words[at] = f"nowhere/at/all/{word}"
    return _nothing, _nothing


def a_locked_file(folder, words):
    """Another program is in the middle of a change of each GeoPackage."""
    holders = []
    for name in {"street.gpkg", *_outputs(words)}:
        path = folder / name
        if path.suffix == ".gpkg":
            if name != "street.gpkg":
                shutil.copy(folder / "street.gpkg", path)
            holders.append(sqlite3.connect(path, isolation_level=None))
            holders[-1].execute("BEGIN EXCLUSIVE")

    def let_go():
        for one in holders:
            one.close()

    return _nothing, let_go


def the_input_itself(folder, words):
    """What is to be written is what is read."""
    reads = next((word for word in words[1:] if (folder / word).is_file()), None)
    if reads is None or words[0] == "merge":  # which reads no file, or is there to change it
        return _nothing, _nothing
    for at, word in enumerate(words):
        if at and words[at - 1] in {"-o", "--page", "--card"} and word != "pack":
            path = Path(reads).with_suffix(Path(word).suffix)
            if path.name != reads:
                (folder / reads).rename(folder / path)
                words[words.index(reads)] = str(path)
            words[at] = str(path)
            break
    return _nothing, _nothing


HINDRANCES = {
    one.__name__.replace("_", " "): one
    for one in (a_protected_folder, a_full_disk, a_folder_there, no_folder, a_locked_file,
                the_input_itself)
}  # fmt: skip
"""What keeps a command from writing: each makes it so in a folder, may change the words, and
returns what is done first in the command's process, and afterwards."""


def state(path):
    """Return all that a street's file holds, but for the minute of an answer."""
    records = read_records(path)
    with closing(sqlite3.connect(path)) as there:
        names = {name for (name,) in there.execute("SELECT name FROM sqlite_master")}
        plots = there.execute("SELECT count(*) FROM plots").fetchone()
        journal = (
            there.execute("SELECT what FROM street_journal").fetchall()
            if "street_journal" in names
            else []
        )
    return (
        plots, journal, sorted(records.statements["statement"]),
        sorted(zip(records.consent["plot"], records.consent["consent"], strict=True)),
        sorted(records.returns["content"]), sorted(records.forgotten["plot"]),
    )  # fmt: skip


@cache
def load_commands():
    """Load commands, tables and templates in this process: then not every child has to."""
    context = click.Context(cli)
    for name in cli.list_commands(context):
        cli.get_command(context, name)
    load_knowledge()
    for name in environment().list_templates(extensions=["html", "svg"]):
        environment().get_template(name)


def run_aside(words, folder, *, kill_after=None, first=None):
    """Run a command in a child of this process; return its status (None: killed) and its words.

    `first` is called in the child before the command begins.
    """
    load_commands()
    # A pipe, for no file may grow where the disk is full.
    here, there = os.pipe()
    fcntl.fcntl(there, fcntl.F_SETPIPE_SZ, 2**20)
    os.set_blocking(here, False)
    child = os.fork()
    if not child:
        status = 70
        with suppress(BaseException):
            os.chdir(folder)
            os.dup2(there, 1)
            os.dup2(there, 2)
            # Not what a test runner has put in their place.
            sys.stdout, sys.stderr = (os.fdopen(one, "w", buffering=1) for one in (1, 2))
            faulthandler.dump_traceback_later(HANGS_S, exit=True)  # where it hangs is said
            if first is not None:
                first()
            status = _run(words)
        os._exit(status)
    os.close(there)
    if kill_after is not None:
        until = time.monotonic() + kill_after
        while time.monotonic() < until:
            if os.waitid(os.P_PID, child, os.WEXITED | os.WNOHANG | os.WNOWAIT):
                break
            time.sleep(0.005)
        with suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    said = b""
    with suppress(BlockingIOError):
        while part := os.read(here, 2**20):
            said += part
    os.close(here)
    status = None if os.WIFSIGNALED(status) else os.WEXITSTATUS(status)
    return status, said.decode("utf-8", "replace")[-4000:]
