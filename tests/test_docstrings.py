"""Public functions say of arrays their shape, of numbers their unit, of tables what they hold.

The docstrings of the commands are their help texts, which `tests/commands` looks at.
"""

import ast
import functools
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "patchnet"
MODULES = [
    path
    for path in sorted(PACKAGE.rglob("*.py"))
    if path.relative_to(PACKAGE).parts[0] != "commands"
]
ARRAYS = re.compile(r"\b(NDArray|csr_array|csc_array|coo_array)\b")
TABLES = re.compile(r"\b(DataFrame|GeoDataFrame|Series)\b")
SHAPE = re.compile(r"\bshapes?\b|\([a-z0-9_, +*]*,[a-z0-9_, +*]*\)", re.IGNORECASE)
UNIT = re.compile(
    r"\b(m|mm|m2|km/h|mph|metres?|millimetres?|degrees?|miles|hours?|seconds|litres|money|pounds|"
    r"homes|shares?|chances?|0-1|1-21|count|weight|numbers?|units?|currency)\b",
    re.IGNORECASE,
)
HOLDS = re.compile(
    r"``|\b(columns?|index|rows?|tables?|layers?|shapes?|outlines?|geometr(y|ies)|values?|plots|"
    r"buildings|roads|footways|as from)\b",
    re.IGNORECASE,
)
UNIT_IN_NAME = re.compile(r"_(m|mm|mph|deg)$")
ELSEWHERE = re.compile(r"\b(see|as in|from) `", re.IGNORECASE)  # told where it is defined


@functools.cache
def tree_of(path):
    return ast.parse(path.read_text(encoding="utf-8"))


@functools.cache
def names_of_types(path):
    """What the short names of types in a module stand for, its own and those it imports."""
    found = {}
    for node in tree_of(path).body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            found[node.targets[0].id] = ast.unparse(node.value)
        elif isinstance(node, ast.ImportFrom) and node.module.startswith("patchnet."):
            other = PACKAGE.parent / (node.module.replace(".", "/") + ".py")
            if other.exists():
                theirs = names_of_types(other)
                found |= {
                    alias.asname or alias.name: theirs[alias.name]
                    for alias in node.names
                    if alias.name in theirs
                }
    return found


def holds(annotation, path):
    """ "array", "number" or nothing: what must be described of a value with this annotation."""
    if annotation is None:
        return ""
    text = annotation.value if isinstance(annotation, ast.Constant) else ast.unparse(annotation)
    text = str(text)
    types = names_of_types(path)
    for _ in range(3):
        text = re.sub(r"\b[A-Z]\w*", lambda found: types.get(found[0], found[0]), text)
    if "Callable" in text:
        return ""
    kinds = {"shape": ARRAYS, "columns": TABLES, "unit": re.compile(r"\bfloat\b")}
    return next((told for told, types in kinds.items() if types.search(text)), "")


def exported(path):
    return {
        name
        for node in tree_of(path).body
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__"
        for name in ast.literal_eval(node.value)
    }


def public_functions(path):
    names = exported(path)
    for node in tree_of(path).body:
        if isinstance(node, ast.FunctionDef) and node.name in names:
            yield node


def sections_of(text):
    """What stands before the first heading, and each section by its heading."""
    parts = re.split(r"^(\w+)\n-+\n", text, flags=re.MULTILINE)
    return parts[0], dict(zip(parts[1::2], parts[2::2], strict=True))


def entries_of(section):
    """What a section says of each name."""
    entries, names = {}, []
    for line in section.splitlines():
        if line and not line.startswith(" "):
            names = [name.strip() for name in line.split(":")[0].split(",")]
            entries |= dict.fromkeys(names, line.partition(":")[2])
        else:
            for name in names:
                entries[name] += "\n" + line
    return entries


def unsaid(path, function):
    """What the docstring of a function leaves out."""
    head, sections = sections_of(ast.get_docstring(function) or "")
    entries = entries_of(sections.get("Parameters", ""))
    words = {"shape": SHAPE, "columns": HOLDS, "unit": UNIT}
    every = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
    for one in every:
        asked = holds(one.annotation, path)
        if not asked:
            continue
        if one.arg not in entries:
            yield f"parameter {one.arg}"
        elif not (
            words[asked].search(entries[one.arg])
            or ELSEWHERE.search(entries[one.arg])
            or (asked == "unit" and UNIT_IN_NAME.search(one.arg))
        ):
            yield f"{asked} of {one.arg}"
    asked = holds(function.returns, path)
    back = sections.get("Returns", "") + sections.get("Yields", "") + head
    if asked and not words[asked].search(back):
        yield f"{asked} of what it returns"


@pytest.mark.parametrize(
    "path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE).with_suffix(""))
)
def test_shapes_units_and_columns_are_told(path):
    left = {one.name: list(unsaid(path, one)) for one in public_functions(path)}
    assert {name: what for name, what in left.items() if what} == {}


def test_functions_are_found():
    """Or the test above would pass of nothing."""
    found = {one.name for path in MODULES for one in public_functions(path)}
    assert {"assess", "plan_plot", "write_map", "find_routes"} <= found
