"""Mutation testing: would the tests of a room notice one changed operator or number in it?

    python tests/mutation/run.py                       # the four rooms, 30 mutants each
    python tests/mutation/run.py network --mutants 60 --seed 7

A seeded sample of cosmic-ray's mutants of each room is tried one by one, each in a copy of the
project, against the tests of that room alone, until one fails: the test files that import the
changed module, then the quick ones. The slow ones are run for all that are left at once, and for
halves of them where a test fails; so what survives has passed every test of its room. What a
mutant changes, and whether it was killed, is written as JSON; survivors are printed to be read by
a person.
"""

import argparse
import ast
import json
import random
import shutil
import subprocess
import sys
import tempfile
import warnings
import xml.etree.ElementTree as ET
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import Queue

from cosmic_ray.commands.init import _all_work_items
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("core", "network", "movement", "survey")
COPIED = ("patchnet", "tests", "data_demo", "pyproject.toml", "README.md", "DEVELOPERS.md")
# Neither changes what the program does: a compiled function without its compiler, a lost cache
NO_CHANGE = ("RemoveDecorator",)
QUICK = 1 / 3  # share of a room's test time that is spent on every mutant


def annotation_lines(code):
    """Lines of which at least a part is an annotation: they are not run for their value."""
    lines = set()
    for node in ast.walk(ast.parse(code)):
        places = []
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
            every += [one for one in (node.args.vararg, node.args.kwarg) if one]
            places = [one.annotation for one in every] + [node.returns]
        elif isinstance(node, ast.AnnAssign):
            places = [node.annotation]
        for place in places:
            if place is not None:
                lines |= {(place.lineno, place.col_offset, place.end_lineno, place.end_col_offset)}
    return lines


def inside(start, end, places):
    return any(
        (first, left) <= start and end <= (last, right) for first, left, last, right in places
    )


def mutants_of(root, room):
    """All mutants of a room in a fixed order, as plain dictionaries."""
    paths = sorted((root / "patchnet" / room).rglob("*.py"))
    found = []
    for path in paths:
        places = annotation_lines(path.read_text(encoding="utf-8"))
        for item in _all_work_items([path], {}):
            one = item.mutations[0]
            operator = one.operator_name.rsplit("/", 1)[-1]
            if operator in NO_CHANGE or inside(one.start_pos, one.end_pos, places):
                continue
            found.append(
                {
                    "room": room,
                    "file": path.relative_to(root).as_posix(),
                    "line": one.start_pos[0],
                    "operator": one.operator_name,
                    "arguments": dict(one.operator_args),
                    "occurrence": one.occurrence,
                }
            )
    found.sort(key=lambda one: (one["file"], one["operator"], one["occurrence"]))
    return found


def what_runs(code):
    """Code as it runs, without which of its arguments go by name; None where it does not compile.

    A star among arguments is taken for a product by whoever makes the mutants.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("error", SyntaxWarning)
        try:
            tree = ast.parse(code)
            compile(code, "mutant", "exec")
        except (SyntaxError, SyntaxWarning):
            return None
    for node in ast.walk(tree):
        if isinstance(node, ast.arguments):
            node.args = [*node.posonlyargs, *node.args, *node.kwonlyargs]
            node.defaults = [*node.defaults, *filter(None, node.kw_defaults)]
            node.posonlyargs, node.kwonlyargs, node.kw_defaults = [], [], []
    return ast.dump(tree)


def sample_of(root, room, wanted, seed):
    """Some of a room's mutants, and how many there are; those that change nothing are passed."""
    every = mutants_of(root, room)
    sample = []
    for mutant in random.Random(f"{seed} {room}").sample(every, len(every)):  # noqa: S311 - no secret
        code = (root / mutant["file"]).read_text(encoding="utf-8")
        changed = what_runs(changed_code(mutant, code))
        if changed is not None and changed != what_runs(code):
            sample.append(mutant)
        if len(sample) == wanted:
            break
    return sample, len(every)


class Copy:
    """A copy of the project, and a process that holds the libraries and runs its tests."""

    def __init__(self):
        self.folder = Path(tempfile.mkdtemp(prefix="mutants-"))
        for name in COPIED:
            source = ROOT / name
            if source.is_dir():
                ignored = shutil.ignore_patterns("__pycache__", "benchmarks")
                shutil.copytree(source, self.folder / name, ignore=ignored)
            else:
                shutil.copy(source, self.folder / name)
        self.process = subprocess.Popen(
            [sys.executable, Path(__file__).with_name("run_tests.py"), self.folder],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip

    def test(self, files, *, timeout=None, timed=False, stale=()):
        """Run tests until one fails: passed, seconds, what was said and seconds a file."""
        asked = {"files": files, "timeout": timeout, "timed": timed, "stale": sorted(stale)}
        self.process.stdin.write(json.dumps(asked) + "\n")
        self.process.stdin.flush()
        return json.loads(self.process.stdout.readline())

    def close(self):
        self.process.stdin.close()
        self.process.wait()
        shutil.rmtree(self.folder, ignore_errors=True)


def seconds_of(report):
    """Seconds a test file took, from pytest's report."""
    seconds: dict[str, float] = {}
    for case in ET.fromstring(report).iter("testcase"):  # noqa: S314 - pytest wrote it
        file = "/".join(case.get("classname").split(".")[:3]) + ".py"
        seconds[file] = seconds.get(file, 0.0) + float(case.get("time"))
    return seconds


def imported_by(path):
    """Modules that a test file imports by name."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
        elif isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
    return names


def in_turn(root, mutant, seconds):
    """Test files that import the changed module, the quick others, and the slow others.

    Where none does, those that import a module which imports it.
    """
    module = mutant["file"].removesuffix(".py").replace("/", ".")
    imports = {file: imported_by(root / file) for file in seconds}
    wanted = {module}
    if not any(wanted & names for names in imports.values()):
        wanted = {
            f"patchnet.{mutant['room']}.{path.stem}"
            for path in (root / "patchnet" / mutant["room"]).glob("*.py")
            if module in imported_by(path)
        }
    near, quick, slow = [], [], []
    enough = QUICK * sum(seconds.values())
    for file in sorted(seconds, key=seconds.get):
        enough -= seconds[file]
        if wanted & imports[file]:
            near.append(file)
        else:
            (quick if enough >= 0 else slow).append(file)
    return near, quick, slow


def stale_kernels(folder, changed):
    """Modules whose compiled functions no longer hold: those that use something changed."""
    imports = {
        path.stem: {name.rsplit(".", 1)[-1] for name in imported_by(path)} | {path.stem}
        for path in (folder / "patchnet").rglob("*.py")
        if "@kernel" in path.read_text(encoding="utf-8")
    }
    stale, more = set(), {path.stem for path in changed}
    while more:
        more = {name for name, used in imports.items() if used & (more | stale)} - stale
        stale |= more
    return stale


def tested(copy, mutants, files, seconds):
    """Make some changes, each in another file, run tests, and put them back."""
    codes = {}
    try:
        for mutant in mutants:
            path = copy.folder / mutant["file"]
            codes[path] = path.read_text(encoding="utf-8")
            path.write_text(changed_code(mutant, codes[path]), encoding="utf-8")
        timeout = 60 + 5 * sum(seconds[file] for file in files)
        return copy.test(files, timeout=timeout, stale=stale_kernels(copy.folder, codes))
    finally:
        for path, code in codes.items():
            path.write_text(code, encoding="utf-8")


def changed_code(mutant, code):
    operator = get_operator(mutant["operator"])(**mutant["arguments"])
    return mutate_code(code, operator, mutant["occurrence"])


def try_mutant(mutant, copies, seconds):
    """Change one place in a copy and run the tests that are near and those that are quick."""
    copy = copies.get()
    try:
        code = (copy.folder / mutant["file"]).read_text(encoding="utf-8")
        was, now = code.splitlines(), changed_code(mutant, code).splitlines()
        at = next((k for k, (a, b) in enumerate(zip(was, now, strict=False)) if a != b), 0)
        result = mutant | {
            "line": at + 1, "was": was[at].strip(), "now": now[at].strip(), "seconds": 0.0,
        }  # fmt: skip
        near, quick, slow = in_turn(copy.folder, mutant, seconds)
        for files in filter(None, (near, quick)):
            run = tested(copy, [mutant], files, seconds)
            result["seconds"] += round(run["seconds"], 1)
            result["survived"], result["said"] = run["passed"], run["said"][-300:]
            if not run["passed"]:
                break
    finally:
        copies.put(copy)
    result["left"] = slow if result["survived"] else []
    said = "so far  " if result["left"] else "SURVIVED" if result["survived"] else "killed  "
    print(said, f"{mutant['file']}:{at + 1} ({result['seconds']:.0f} s)", flush=True)
    if result["survived"]:
        print("   ", result["was"], "\n    ->", result["now"], flush=True)
    return result


def in_other_files(results):
    """Groups of mutants that can be tried at once: each in another file."""
    groups = []
    for one in results:
        for group in groups:
            if all(one["file"] != other["file"] for other in group):
                group.append(one)
                break
        else:
            groups.append([one])
    return groups


def try_slow(group, copy, seconds):
    """Run the slow tests for several mutants at once; if one fails, for each half of them."""
    files = sorted({file for one in group for file in one["left"]}, key=seconds.get)
    run = tested(copy, group, files, seconds)
    if not run["passed"] and len(group) > 1:
        half = len(group) // 2
        try_slow(group[:half], copy, seconds)
        try_slow(group[half:], copy, seconds)
        return
    for one in group:
        one["survived"] = run["passed"]
        one["said"] = run["said"][-300:]
        word = "SURVIVED" if run["passed"] else "killed  "
        print(word, f"{one['file']}:{one['line']}", flush=True)


def main():
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("rooms", nargs="*", default=list(ROOMS))
    asked.add_argument("--mutants", type=int, default=30, help="mutants a room")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--workers", type=int, default=2)
    asked.add_argument("--output", type=Path, help="where the results go as JSON")
    asked.add_argument(
        "--seconds", type=Path,
        help="JSON of the seconds that test files take: read, and written where rooms are missing",
    )  # fmt: skip
    said = asked.parse_args()
    copies = Queue()
    every_copy = [Copy() for _ in range(said.workers)]
    results = []
    try:
        for copy in every_copy:
            copies.put(copy)
        for room in said.rooms:
            results += try_room(room, every_copy[0], copies, said)
            if said.output:
                said.output.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")
    finally:
        for copy in every_copy:
            copy.close()
    for room in said.rooms:
        print(f"{room}: {rate([one for one in results if one['room'] == room])}")
    print(f"all: {rate(results)}")


def measured(room, copy, kept):
    """Seconds of each test file of a room, as kept or by running them on the code as it is."""
    known = json.loads(kept.read_text(encoding="utf-8")) if kept and kept.exists() else {}
    files = {path.relative_to(copy.folder).as_posix()
             for path in (copy.folder / "tests" / room).glob("test_*.py")}  # fmt: skip
    if not files <= known.keys():
        run = copy.test([f"tests/{room}"], timed=True)
        if not run["passed"]:
            sys.exit(f"The tests of {room} fail without any mutant:\n{run['said']}")
        known |= seconds_of(run["report"])
        if kept:
            kept.write_text(json.dumps(known, indent=1) + "\n", encoding="utf-8")
    return {file: known[file] for file in files}


def try_room(room, copy, copies, said):
    """Try a sample of a room's mutants."""
    seconds = measured(room, copy, said.seconds)
    sample, every = sample_of(copy.folder, room, said.mutants, said.seed)
    print(f"{room}: tests take {sum(seconds.values()):.0f} s, {every} mutants", flush=True)
    with ThreadPoolExecutor(said.workers) as pool:
        results = list(pool.map(lambda one: try_mutant(one, copies, seconds), sample))
    for group in in_other_files([one for one in results if one["left"]]):
        try_slow(group, copy, seconds)
    return results


def rate(results):
    killed = sum(not one["survived"] for one in results)
    return f"{killed} of {len(results)} killed ({100 * killed / max(len(results), 1):.0f} %)"


if __name__ == "__main__":
    main()
