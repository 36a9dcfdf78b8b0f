"""What the documents show is true: notebooks run, README code runs, examples run."""

import doctest
import importlib
import pkgutil
import re
import warnings
from functools import cache
from pathlib import Path

import nbformat
import pytest
from IPython.core.interactiveshell import InteractiveShell
from traitlets.config import Config

import patchnet

ROOT = Path(__file__).resolve().parent.parent
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
MODULES = sorted(
    module.name
    for module in pkgutil.walk_packages(patchnet.__path__, "patchnet.")
    if not module.name.endswith("__main__")
)


@pytest.fixture(scope="module")
def demo_once():
    """Read the demo once, and ask of it once what all ask alike: most begin with it."""
    knowledge = patchnet.load_knowledge()
    read, answers = cache(patchnet.read_demo), {}
    read_any, build_knowledge = patchnet.read_neighbourhood, patchnet.load_knowledge

    def knowledge_of(*folders):
        return build_knowledge(*folders) if folders else knowledge

    def read_path(path, **asked):
        demo = Path(path).resolve() == ROOT / "data_demo"
        alike = demo and (not asked or (len(asked) == 1 and asked.get("knowledge") is knowledge))
        return read() if alike else read_any(path, **asked)

    def once(function):
        def called(about, **asked):
            known = any(about is one for one in (read(), *answers.values()))
            if not known or asked.get("knowledge", knowledge) is not knowledge:
                return function(about, **asked)
            said = sorted((name, said) for name, said in asked.items() if name != "knowledge")
            key = function.__name__, id(about), repr(said)
            if key not in answers:
                answers[key] = function(about, **asked)
            return answers[key]

        return called

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(patchnet, "load_knowledge", knowledge_of)
        patch.setattr(patchnet, "read_demo", read)
        patch.setattr(patchnet, "read_neighbourhood", read_path)
        for name in ("assess", "deciding_figures"):
            patch.setattr(patchnet, name, once(getattr(patchnet, name)))
        yield


@pytest.mark.usefixtures("demo_once")
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook(path, monkeypatch):
    """Each cell runs, and what it shows can be shown; in the folder of the notebooks."""
    monkeypatch.chdir(path.parent)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the shell warns of its own debugger
        shell = InteractiveShell(config=Config({"HistoryManager": {"enabled": False}}))
    shell.display_formatter.active_types = ["text/plain", "text/html"]
    for cell in nbformat.read(path, as_version=4).cells:
        if cell.cell_type == "code":
            shell.run_cell(cell.source).raise_error()


def test_there_are_notebooks():
    assert NOTEBOOKS


@pytest.mark.usefixtures("demo_once")
def test_readme_python(tmp_path, monkeypatch):
    """The README's Python, run beside the demo data."""
    (tmp_path / "data_demo").symlink_to(ROOT / "data_demo")
    monkeypatch.chdir(tmp_path)
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    exec(compile(code, "README.md", "exec"), {})  # noqa: S102 - our own README
    for name in ("street.html", "M15B.html", "street.gpkg", "scheme/report.html"):
        assert (tmp_path / name).exists()


def test_each_story_of_the_readme_takes_at_most_six_lines():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    stories = code.split("\n# ")[1:]
    assert len(stories) == 6
    assert max(len(story.strip().splitlines()) - 1 for story in stories) <= 6


def test_readme_links_and_pictures_exist():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        assert (ROOT / target).exists(), target


@pytest.mark.usefixtures("demo_once")
@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings(name, tmp_path, monkeypatch):
    """Each runs as it stands, in an empty folder of its own."""
    monkeypatch.chdir(tmp_path)
    assert doctest.testmod(importlib.import_module(name), optionflags=doctest.ELLIPSIS).failed == 0
