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
from nbclient import NotebookClient

import patchnet

ROOT = Path(__file__).resolve().parent.parent
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
MODULES = sorted(
    module.name
    for module in pkgutil.walk_packages(patchnet.__path__, "patchnet.")
    if not module.name.endswith("__main__")
)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook(path):
    book = nbformat.read(path, as_version=4)
    with warnings.catch_warnings():
        # Jupyter's own client warns about its event loop and its kernel's debugger.
        warnings.simplefilter("ignore")
        NotebookClient(book, timeout=300, resources={"metadata": {"path": path.parent}}).execute()


def test_there_are_notebooks():
    assert NOTEBOOKS


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


@pytest.fixture(scope="module")
def demo_once():
    """Read the demo once, and ask of it once what examples ask alike: most begin with it."""
    read, answers = cache(patchnet.read_demo), {}

    def once(function):
        def called(about, **asked):
            if not any(about is one for one in (read(), *answers.values())):
                return function(about, **asked)
            key = function.__name__, id(about), repr(sorted(asked.items()))
            if key not in answers:
                answers[key] = function(about, **asked)
            return answers[key]

        return called

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(patchnet, "read_demo", read)
        for name in ("assess", "deciding_figures"):
            patch.setattr(patchnet, name, once(getattr(patchnet, name)))
        yield


@pytest.mark.usefixtures("demo_once")
@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings(name, tmp_path, monkeypatch):
    """Each runs as it stands, in an empty folder of its own."""
    monkeypatch.chdir(tmp_path)
    assert doctest.testmod(importlib.import_module(name), optionflags=doctest.ELLIPSIS).failed == 0
