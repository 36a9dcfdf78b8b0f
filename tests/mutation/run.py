"""Mutation testing: would the tests of a room notice one changed operator or number in it?

    python tests/mutation/run.py                       # the four rooms, 30 mutants each
    python tests/mutation/run.py network --mutants 60 --seed 7

A seeded sample of cosmic-ray's mutants of each room is tried one by one, each in a copy of the
project, against the tests of that room alone. What a mutant changes, and whether it was killed, is
written as JSON; survivors are printed to be read by a person.
"""

import argparse
import ast
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
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


def mutants_of(room):
    """All mutants of a room in a fixed order, as plain dictionaries."""
    paths = sorted((ROOT / "patchnet" / room).rglob("*.py"))
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
                    "file": path.relative_to(ROOT).as_posix(),
                    "line": one.start_pos[0],
                    "operator": one.operator_name,
                    "arguments": dict(one.operator_args),
                    "occurrence": one.occurrence,
                }
            )
    found.sort(key=lambda one: (one["file"], one["operator"], one["occurrence"]))
    return found


def copy_of_project():
    folder = Path(tempfile.mkdtemp(prefix="mutants-"))
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            ignored = shutil.ignore_patterns("__pycache__", "benchmarks")
            shutil.copytree(source, folder / name, ignore=ignored)
        else:
            shutil.copy(source, folder / name)
    return folder


def run_tests(folder, room, timeout):
    """Whether the room's own tests pass in a copy, and the seconds they took."""
    began = time.monotonic()
    environment = os.environ | {"PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider"]
    try:
        run = subprocess.run(
            [*command, f"tests/{room}"], cwd=folder, env=environment, timeout=timeout,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return False, time.monotonic() - began, "too slow"
    return run.returncode == 0, time.monotonic() - began, run.stdout[-2000:]


def try_mutant(mutant, copies, timeouts):
    """Change one place in a copy, run the room's tests, put it back."""
    folder = copies.get()
    path = folder / mutant["file"]
    code = path.read_text(encoding="utf-8")
    try:
        operator = get_operator(mutant["operator"])(**mutant["arguments"])
        changed = mutate_code(code, operator, mutant["occurrence"])
        path.write_text(changed, encoding="utf-8")
        passed, seconds, _said = run_tests(folder, mutant["room"], timeouts[mutant["room"]])
    finally:
        path.write_text(code, encoding="utf-8")
        copies.put(folder)
    was, now = code.splitlines(), changed.splitlines()
    at = next((k for k, (a, b) in enumerate(zip(was, now, strict=False)) if a != b), 0)
    result = mutant | {
        "survived": passed, "seconds": round(seconds, 1),
        "was": was[at].strip(), "now": now[at].strip(), "line": at + 1,
    }  # fmt: skip
    print("SURVIVED" if passed else "killed  ", f"{mutant['file']}:{at + 1}", flush=True)
    if passed:
        print("   ", result["was"], "\n    ->", result["now"], flush=True)
    return result


def main():
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("rooms", nargs="*", default=list(ROOMS))
    asked.add_argument("--mutants", type=int, default=30, help="mutants a room")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--workers", type=int, default=2)
    asked.add_argument("--output", type=Path, help="where the results go as JSON")
    said = asked.parse_args()
    copies = Queue()
    folders = [copy_of_project() for _ in range(said.workers)]
    try:
        timeouts, sample = {}, []
        for room in said.rooms:
            passed, seconds, output = run_tests(folders[0], room, None)
            if not passed:
                sys.exit(f"The tests of {room} fail without any mutant:\n{output}")
            timeouts[room] = 5 * seconds + 60
            every = mutants_of(room)
            chosen = random.Random(f"{said.seed} {room}")  # noqa: S311 - a sample, no secret
            sample += chosen.sample(every, min(said.mutants, len(every)))
            print(f"{room}: tests take {seconds:.0f} s, {len(every)} mutants", flush=True)
        for folder in folders:
            copies.put(folder)
        with ThreadPoolExecutor(said.workers) as pool:
            results = list(pool.map(lambda one: try_mutant(one, copies, timeouts), sample))
    finally:
        for folder in folders:
            shutil.rmtree(folder, ignore_errors=True)
    for room in said.rooms:
        own = [one for one in results if one["room"] == room]
        killed = sum(not one["survived"] for one in own)
        print(f"{room}: {killed} of {len(own)} killed ({100 * killed / max(len(own), 1):.0f} %)")
    killed = sum(not one["survived"] for one in results)
    print(f"all: {killed} of {len(results)} killed ({100 * killed / max(len(results), 1):.0f} %)")
    if said.output:
        said.output.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
