"""The Python API: what is public, how it shows itself, and that nothing slow comes with it."""

import ast
import dataclasses
import inspect
import re
import subprocess
import sys
from functools import partial
from pathlib import Path

import networkx as nx
import pytest

import patchnet
from patchnet.commands.main import _COMMANDS, cli
from patchnet.core.named import Named
from patchnet.core.shown import Shown, in_short

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "patchnet"
SLOW = ("folium", "llvmlite", "networkx", "numba", "openpyxl", "rasterio", "scipy.optimize")
FUNCTIONS = [name for name in patchnet.__all__ if inspect.isfunction(getattr(patchnet, name))]


@pytest.fixture(scope="module")
def street():
    return patchnet.read_demo()


@pytest.fixture(scope="module")
def answer(street):
    return patchnet.assess(street, groups=["newt", "wren"], straight=True)


def loaded(code):
    """Names of the modules that a fresh Python holds after some code."""
    run = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys; print(*sorted(sys.modules))"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return set(run.stdout.split())


# what is loaded ---------------------------------------------------------------------------


def test_importing_the_package_loads_nothing_else():
    ours = {name for name in loaded("import patchnet") if name.split(".")[0] == "patchnet"}
    assert ours == {"patchnet"}


def test_help_loads_click_and_no_science():
    modules = loaded(
        "import contextlib, io\n"
        "from patchnet.commands.main import cli\n"
        "with contextlib.redirect_stdout(io.StringIO()):\n"
        "    cli.main(args=['--help'], prog_name='patchnet', standalone_mode=False)"
    )
    assert "click" in modules
    heavy = ("numpy", "pandas", "geopandas", "scipy", "shapely", *SLOW)
    assert not modules & set(heavy)


def test_reading_and_assessing_loads_nothing_slow():
    names = ("assess", "read_neighbourhood", "check_file", "plan_plot", "compare", "find_gaps",
             "find_routes", "make_base", "merge_survey", "for_audience", "export")  # fmt: skip
    modules = loaded("import patchnet\n" + "\n".join(f"patchnet.{name}" for name in names))
    assert not modules & set(SLOW)


def test_commands_load_nothing_slow_but_what_they_draw():
    """Only those that draw a page of the map, a workbook or a scheme may."""
    drawing = {"demo", "map", "poster", "survey", "progress", "scheme", "compare"}
    plain = [one.where.split(":")[0] for name, one in _COMMANDS.items() if name not in drawing]
    modules = loaded("\n".join(f"import {module}" for module in plain))
    assert not modules & set(SLOW)


# what is public ---------------------------------------------------------------------------


def test_the_two_lists_of_names_are_one():
    """What type checkers read, what runs, and what is promised."""
    tree = ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8"))
    (block,) = [
        node for node in tree.body
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
    ]  # fmt: skip
    typed = {alias.name: node.module for node in block.body for alias in node.names}
    assert typed == patchnet._WHERE
    assert sorted(typed) == patchnet.__all__ == sorted(patchnet.__all__)
    assert set(patchnet.__all__) <= set(dir(patchnet))


def test_assess_is_the_function_whatever_was_imported_before():
    """There is also a room of that name, which Python would bind to the package."""
    code = "import patchnet.plan.additions, patchnet; assert patchnet.assess.__name__ == 'assess'"
    loaded(f"{code}; assert not hasattr(patchnet.assess, '__path__')")
    loaded("from patchnet import assess; assert assess.__name__ == 'assess'")


def test_unknown_name():
    with pytest.raises(AttributeError, match="no attribute 'asess'"):
        _ = patchnet.asess


@pytest.mark.parametrize("name", patchnet.__all__)
def test_public_names_say_what_they_take_and_show_it(name):
    thing = getattr(patchnet, name)
    text = inspect.getdoc(thing)
    assert ">>> " in text, "a runnable example"
    if name in FUNCTIONS:
        signature = inspect.signature(thing)
        if signature.parameters:
            assert "Parameters\n---" in text
        for parameter in signature.parameters:
            assert re.search(rf"^(.*, )?{parameter}(, .*)?$", text, re.MULTILINE), parameter
        if signature.return_annotation not in (None, "None"):
            assert "Returns\n---" in text


@pytest.mark.parametrize("name", FUNCTIONS)
def test_options_are_named(name):
    """At most four things by place (what it works on and where it goes); all else by name."""
    parameters = inspect.signature(getattr(patchnet, name)).parameters.values()
    by_place = [one.name for one in parameters if one.kind is one.POSITIONAL_OR_KEYWORD]
    assert len(by_place) <= 4, by_place


def test_every_command_has_its_function():
    """DEVELOPERS.md lists each command beside what does the same in Python."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text[text.index("## The Python API") :].split("\n## ")[0]
    assert set(re.findall(r"`patchnet ([a-z]+)", table)) == set(_COMMANDS)
    promised = set(re.findall(r"`([A-Za-z_]+)`", table)) & set(patchnet.__all__)
    assert promised == set(patchnet.__all__)


def test_commands_are_where_the_list_says():
    for name in cli.list_commands(None):
        command = cli.get_command(None, name)
        assert command.name == name
        assert command.help
        assert _COMMANDS[name].words.endswith(".")
        assert len(_COMMANDS[name].words) <= 66
    assert cli.get_command(None, "frobnicate") is None


def test_names_of_commands_are_completed_without_importing_them():
    found = cli.shell_complete(cli.make_context("patchnet", ["plot"], resilient_parsing=True), "p")
    assert [item.value for item in found] == ["project", "progress", "poster", "plot"]


# Rooms whose every function says what it takes
DESCRIBED = ("assess", "movement", "network", "plan", "scheme", "street", "sun")


@pytest.mark.parametrize(
    "path",
    [path for room in DESCRIBED for path in sorted((PACKAGE / room).glob("*.py"))],
    ids=lambda path: f"{path.parent.name}/{path.stem}",
)
def test_functions_of_a_room_say_what_they_take(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    exported = {
        name
        for node in tree.body
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__"
        for name in ast.literal_eval(node.value)
    }
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and node.name in exported:
            text = ast.get_docstring(node)
            if node.args.args or node.args.kwonlyargs:
                assert "Parameters\n---" in text, node.name


# how results show themselves --------------------------------------------------------------


def test_a_repr_is_short(street, answer):
    knowledge = patchnet.load_knowledge()
    wren = answer.groups["wren"]
    for record in (
        knowledge, street, street.answers, answer, wren, wren.network, wren.measures,
        wren.needs[0], patchnet.plot_answer(answer, "M15B"), patchnet.compare(answer, answer),
        patchnet.check_file(ROOT / "data_demo"), patchnet.plan_plot(answer, "M15B", month=5),
    ):  # fmt: skip
        lines = repr(record).splitlines()
        assert 2 <= len(lines) <= 20
        assert max(map(len, lines)) <= 110
        assert record._repr_html_().count("<tr>") <= 20
    assert "2.25" in repr(answer) or f"{wren.measures.eca:.2f}" in repr(answer)


def test_a_notebook_gets_no_markup_of_the_users():
    class Record(Shown):
        def _rows(self):
            return [("name", "<script>alert(1)</script>")]

    assert "<script>" not in Record()._repr_html_()


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("", "none"), (None, "none"), ((), "none"), (1.23456789, "1.23457"), (True, "True"),
        ({"a": 1, "b": 2}, "2: a, b"), (tuple(range(9)), "9: 0, 1, 2, 3, 4, 5, ..."),
        ([("a", 1)], "1"), ("x" * 100, "x" * 72 + " ..."),
    ],
)  # fmt: skip
def test_in_short(value, words):
    assert in_short(value) == words


# mistakes ---------------------------------------------------------------------------------


def test_unknown_group_or_plot_is_told_with_the_nearest_spelling(street, answer):
    for wrong, hint in (
        (lambda: answer.groups["wrenn"], "wren"),
        (lambda: answer.of_groups(["nwt"]), "newt"),
        (lambda: patchnet.assess(street, groups=["wrenn"]), "wren"),
        (lambda: patchnet.plot_answer(answer, "M15b"), "M15B"),
        (lambda: patchnet.plot_answer(answer, "M15B", groups=["wrenn"]), "wren"),
        (lambda: patchnet.plan_plot(answer, "M15b"), "M15B"),
        (lambda: patchnet.find_gaps(answer, "hedgehogg"), "hedgehog"),
        (lambda: patchnet.sun_hours(street, plots=["M15b"]), "M15B"),
        (lambda: street.answers.answer("M15b", "pond"), "M15B"),
        (lambda: street.answers.answer("M15B", "pnd"), "pond"),
        (lambda: patchnet.find_street(street, "Mallowby Rd"), "Mallowby Road"),
    ):
        with pytest.raises(patchnet.WrongUse, match=rf"Did you mean .*\b{hint}\b"):
            wrong()


def test_a_group_that_was_not_laid_on_the_ground(answer):
    with pytest.raises(patchnet.WrongUse, match="holds no ground"):
        patchnet.find_routes(answer, "newt")


def test_other_tables_than_it_was_read_with(street):
    tables = patchnet.load_knowledge()
    fewer = {key: one for key, one in tables.features.items() if key != "pond"}
    other = dataclasses.replace(tables, features=fewer)
    with pytest.raises(patchnet.WrongUse, match="other tables"):
        patchnet.assess(street, groups=["wren"], knowledge=other)


def test_named_is_a_mapping():
    things = Named({"a": 1, "b": 2}, "thing")
    assert list(things) == ["a", "b"]
    assert things.get("c") is None
    assert things.get("c", 3) == 3
    assert "c" not in things
    assert dict(things) == {"a": 1, "b": 2}
    assert repr(things) == "2: a, b"


def test_a_month_that_cannot_be(answer):
    with pytest.raises(patchnet.WrongUse, match="Months are 1 to 12, not 13"):
        patchnet.plan_plot(answer, "M15B", month=13)


def test_files_of_others_stay(answer, tmp_path):
    for name, write in (
        ("a.html", patchnet.write_map), ("a.csv", patchnet.export),
        ("b.html", partial(patchnet.write_poster, audience="group")),
    ):  # fmt: skip
        path = tmp_path / name
        path.write_text("mine")
        with pytest.raises(patchnet.CannotWrite):
            write(answer, path)
        assert path.read_text() == "mine"
        write(answer, path, overwrite=True)
        assert path.read_text() != "mine"


# results ----------------------------------------------------------------------------------


def test_inputs_stay_as_they_are_and_results_have_their_index(street):
    before = street.plots.copy()
    answer = patchnet.assess(street, groups=["frog"], cell_m=2)
    wren = answer.groups["frog"]
    for series in (wren.homes, wren.quality, wren.scarcest, wren.component, wren.needs[0].met):
        assert series.index.equals(street.plots.index)
    assert patchnet.plot_table(answer).index.equals(street.plots.index)
    gaps = patchnet.find_gaps(answer, "frog", most=2)
    routes = patchnet.find_routes(answer, "frog", most=2)
    for table in (gaps.table(), routes.table(), routes.links(), routes.breaks()):
        assert table.crs == street.plots.crs
    assert len(gaps.table()) == len(gaps.gaps)
    assert street.plots.equals(before)


def test_importance_has_the_parts_and_the_traffic(answer):
    """What is lost is the sum of its parts; plots that are no patch have none."""
    table = patchnet.plot_table(answer, importance=True)
    wren = answer.groups["wren"]
    parts = table[["own_wren", "flow_wren", "connector_wren"]].sum(axis=1, min_count=3)
    assert (parts - table["loss_wren"]).abs().max() < 1e-9
    for part in ("loss_wren", "traffic_wren", "ways_wren"):
        assert table[part].notna().equals(wren.patch)
        assert (table.loc[wren.patch, part] >= 0).all()


def test_graphml_with_importance(answer, tmp_path):
    path = patchnet.export(answer.of_groups(["wren"]), tmp_path / "wren.graphml", importance=True)
    graph = nx.read_graphml(path)
    assert graph.graph["linked_homes"] == pytest.approx(answer.groups["wren"].measures.eca)
    assert {"loss", "traffic", "ways"} <= set(next(iter(graph.nodes(data=True)))[1])


def test_a_state_and_itself(answer):
    table = patchnet.compare(answer, answer).table()
    assert (table["linked_before"] == table["linked_after"]).all()
    assert table["sure"].all()
