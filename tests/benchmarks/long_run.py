"""The long run against loss: damaged files, hostile returns, killed commands. One command.

    python tests/benchmarks/long_run.py [--files 2100] [--returns 208] [--kills 110]
                                         [--hindered 132] [--seed 0]

- Damaged files: a good file of every kind that is read is damaged by a seeded hand, and read.
- Hostile returns: each is merged beside a good one, which must not lose a statement.
- Kills: every command that writes is ended with SIGKILL at a moment of its work. What stands there
  afterwards must be the file of before or the whole new one; run again, it must end well and leave
  nothing behind.
- Hindered: every command that writes is run in a protected folder, on a full disk, where a folder
  or nothing stands, beside a lock, and onto its own input. It must say so in one sentence and leave
  every file as it was.

It counts internal errors (any error that is not patchnet's own), tracebacks and other libraries'
words on the screen, cases over 30 seconds of the processor (commands that are killed or hindered,
which are processes of their own: 15 minutes by the clock), memory above 2 GB, and statements lost.
All must be 0; if one is not, the exit status is 1 and the cases are listed with their seeds.
`tests/survey/test_long_run.py` runs a short form.
"""

import argparse
import contextlib
import multiprocessing
import os
import re
import resource
import shutil
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
# What is lost or not does not hang on how sure an answer is.
os.environ.setdefault("PATCHNET_DRAWS", "0")

from worlds.damaged_files import READERS, Originals, read_one
from worlds.hostile_returns import HOSTILE, SLOW, hostile_return
from worlds.killed_commands import DAY, HINDRANCES, WRITING, Killed
from worlds.surveyed_street import SurveyStreet, street_file

from patchnet.commands.main import _COMMANDS
from patchnet.core.errors import PatchnetError
from patchnet.knowledge import load_knowledge
from patchnet.survey.merge import merge_returns, write_merged

__all__ = ["HOSTILE", "MUST_BE_NONE", "READERS", "SLOW", "WRITING", "_COMMANDS", "Attack", "cases"]
FOREIGN = re.compile(
    r"SQL|sqlite|OGR|GDAL|pyogrio|pandas|Traceback|codec|\b0x|\bErrno\b|NoneType|dtype|Warning"
)
CPU_S, CLOCK_S, MEMORY_KB = 30, 3000, 2 * 2**20
MUST_BE_NONE = (
    "internal errors", "tracebacks", "foreign words", "hangs", "above 2 GB", "statements lost",
    "not whole",
)  # fmt: skip


class Attack:
    """All cases of a run; each is done in a folder of its own.

    Parameters
    ----------
    folder
        Where everything stands.
    """

    def __init__(self, folder):
        self.folder = folder
        self.knowledge = load_knowledge()
        street = self._street("survey")
        street.hand_in("first", [(str(at), "pond", "there", at) for at in range(1, 13)])
        found = merge_returns(street.path, street.files, knowledge=self.knowledge, today=DAY)
        write_merged(found, street.path)
        (folder / "good").mkdir()
        self.street = street
        self.made = Originals(folder / "good", street, self.knowledge)
        (folder / "kills").mkdir()
        self.killed = Killed(folder / "kills", self._street("start"), self.knowledge)

    def _street(self, name):
        folder = self.folder / name
        folder.mkdir()
        street, ids = street_file(folder / "street.gpkg", self.knowledge)
        return SurveyStreet(folder, folder / "street.gpkg", street, ids)

    def do(self, kind, key, seed):
        """Do one case: return counts, and words about each thing that is wrong."""
        folder = self.folder / "case"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        counts, wrong = Counter({kind: 1}), []
        began = _used()
        with _screen(self.folder / "screen.txt") as screen:
            try:
                getattr(self, f"_{kind}")(key, seed, folder, counts, wrong)
            except PatchnetError as error:
                counts["refused"] += 1
                told = str(error)
                if not told.strip() or FOREIGN.search(told):
                    counts["foreign words"] += 1
                    wrong.append(f"says: {told[:300]!r}")
            except Exception as error:  # noqa: BLE001 - that is what is looked for
                counts["internal errors"] += 1
                wrong.append("".join(traceback.format_exception(error)[-3:]))
        on_screen = screen.read_text(encoding="utf-8", errors="replace")
        if "Traceback" in on_screen:
            counts["tracebacks"] += 1
        elif FOREIGN.search(on_screen):
            counts["foreign words"] += 1
        if on_screen.strip() and FOREIGN.search(on_screen):
            wrong.append(f"on the screen: {on_screen[-500:]}")
        seconds = _used() - began
        if seconds > CPU_S and kind in {
            "file",
            "hostile",
        }:  # which runs a command three times, each watched
            counts["hangs"] += 1
            wrong.append(f"{seconds:.0f} seconds of the processor")
        return counts, [f"{kind} {key} {seed}: {one}" for one in wrong], seconds, _memory()

    def _file(self, key, seed, folder, counts, wrong):
        read_one(self.made, key, seed, folder)

    def _hostile(self, key, seed, folder, counts, wrong):
        name, raw = hostile_return(self.street.street, seed)
        good = SurveyStreet(folder, folder / "street.gpkg", self.street.street, self.street.ids)
        good.path.write_bytes(self.street.path.read_bytes())
        good.hand_in("good", [(str(at), "shrub", "there", at) for at in range(1, 6)], who="Cy")
        bad = good.write(name, raw)
        found = merge_returns(
            good.path, good.files, knowledge=self.knowledge, today=DAY, same_street=True
        )
        write_merged(found, good.path)
        said = set(found.records.statements.query("surveyor == 'Cy'")["plot"])
        kept = (found.records.statements["surveyor"] == "Ann").sum()
        lost = 5 - len(said & {str(at) for at in range(1, 6)}) + 12 - int(kept)
        if lost:
            counts["statements lost"] += lost
            wrong.append(f"{bad.name}: {lost} statements lost")
        told = "\n".join(map(str, found.faults))
        if FOREIGN.search(told):
            counts["foreign words"] += 1
            wrong.append(f"says: {FOREIGN.search(told)} {told[:300]!r}")

    def _kill(self, key, seed, folder, counts, wrong):
        at_work, found = self.killed.kill_one(key, seed)
        counts["killed at work"] += at_work
        counts["not whole"] += len(found)
        counts["internal errors"] += sum("Internal error" in one for one in found)
        wrong += found

    def _hindered(self, key, hindrance, folder, counts, wrong):
        status, found = self.killed.hinder(key, hindrance)
        counts["refused to write"] += bool(status)
        counts["not whole"] += len(found)
        counts["internal errors"] += sum("Internal error" in one for one in found)
        wrong += found


def _used():
    one, others = (
        resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    return one.ru_utime + one.ru_stime + others.ru_utime + others.ru_stime


def _memory():
    return max(
        resource.getrusage(who).ru_maxrss
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )


@contextlib.contextmanager
def _screen(path):
    """Catch all that reaches the screen, also from libraries that write there by themselves."""
    kept = [os.dup(1), os.dup(2)]
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    sys.stdout.flush()
    try:
        os.dup2(handle, 1)
        os.dup2(handle, 2)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # as the command line does
            yield path
        sys.stdout.flush()
        sys.stderr.flush()
    finally:
        for at, one in enumerate(kept, 1):
            os.dup2(one, at)
            os.close(one)
        os.close(handle)


def cases(files, returns, kills, hindered, seed):
    """Return every case of a run: kind, key and seed."""
    readers, commands = list(READERS), list(WRITING)
    ways = [(command, way) for way in HINDRANCES for command in commands]
    return [
        *(("hindered", *ways[at % len(ways)]) for at in range(hindered)),
        *(("kill", commands[at % len(commands)], seed + at) for at in range(kills)),
        *(("hostile", "", seed + at) for at in range(returns)),
        *(("file", readers[at % len(readers)], seed + at) for at in range(files)),
    ]


def _serve(pipe, folder):
    attack = Attack(folder)
    pipe.send("ready")
    while True:
        try:
            case = pipe.recv()
        except EOFError:
            return
        pipe.send(attack.do(*case))


class Worker:
    """Does cases in a process of its own; a new one after one that hangs or dies."""

    def __init__(self, folder):
        self.folder, self.number, self.process = Path(folder), 0, None

    def do(self, case):
        """Do a case; a hang or a death counts as one."""
        if self.process is None:
            self._start()
        self.pipe.send(case)
        with contextlib.suppress(EOFError, OSError):
            if self.pipe.poll(CLOCK_S):
                return self.pipe.recv()
        alive = self.process.is_alive()
        self.end()
        what = "hangs" if alive else "internal errors"
        return Counter({case[0]: 1, what: 1}), [f"{case}: {what}"], float(CLOCK_S), 0

    def _start(self):
        self.number += 1
        folder = self.folder / str(self.number)
        folder.mkdir()
        context = multiprocessing.get_context("fork")
        self.pipe, there = context.Pipe()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)
            self.process = context.Process(target=_serve, args=(there, folder))
            self.process.start()
        there.close()
        self.pipe.recv()

    def end(self):
        """End the process."""
        self.pipe.close()
        self.process.kill()
        self.process.join()
        self.process = None


def run(asked, folder, tell=print):
    """Do all cases of a run and tell the counts; return what is wrong."""
    worker = Worker(folder)
    counts, wrong, slowest, memory = Counter(), [], (0.0, ""), 0
    spent = Counter()
    began = time.monotonic()
    for at, case in enumerate(asked, 1):
        told, found, seconds, used = worker.do(case)
        if used > MEMORY_KB >= memory:
            told["above 2 GB"] += 1
            found.append(f"{case}: {used / 2**20:.1f} GB")
        counts += told
        spent[case[0]] += seconds
        wrong += found
        memory = max(memory, used)
        slowest = max(slowest, (seconds, str(case)))
        for one in found:
            tell(one)
        if not at % 100:
            tell(f"... {at} of {len(asked)} cases, {time.monotonic() - began:.0f} s")
    if worker.process is not None:
        worker.end()
    for key in (
        "file",
        "hostile",
        "kill",
        "killed at work",
        "hindered",
        "refused to write",
        "refused",
        *MUST_BE_NONE,
    ):
        tell(f"{key:>16}: {counts[key]}")
    tell("seconds of the processor: " + ", ".join(f"{key} {spent[key]:.0f}" for key in spent))
    tell(f"slowest: {slowest[0]:.1f} s of the processor ({slowest[1]}); most memory: "
         f"{memory / 2**20:.2f} GB; {time.monotonic() - began:.0f} s in all")  # fmt: skip
    return wrong, counts


def main():
    """Run it whole."""
    parser = argparse.ArgumentParser(description="The long run against loss.")
    for name, count in (
        ("files", 2100),
        ("returns", 208),
        ("kills", 110),
        ("hindered", 132),
        ("seed", 0),
    ):
        parser.add_argument(f"--{name}", type=int, default=count)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        asked = cases(given.files, given.returns, given.kills, given.hindered, given.seed)
        wrong, counts = run(asked, folder, lambda text: print(text, flush=True))
    sys.exit(bool(wrong or any(counts[key] for key in MUST_BE_NONE)))


if __name__ == "__main__":
    main()
