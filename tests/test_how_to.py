"""The how-tos of DEVELOPERS.md, carried out exactly as they stand there, on a copy of the package.

A block's first line says what is done with it: ``csv FILE`` is that file; ``append FILE`` is added
at its end, ``after `LINE` FILE`` after that line; ``console`` is typed in, and the lines under each
command must be in what it says (``NAME=value`` before it sets a variable); ``python run`` is run,
and must say the ``text`` that follows.
"""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"^```(\S+)([^\n]*)\n(.*?)^```$", re.DOTALL | re.MULTILINE)


def how_tos():
    (section,) = re.findall(r"^## Adding something\n(.*?)^## ", TEXT, re.DOTALL | re.MULTILINE)
    parts = re.split(r"^### (.*)\n", section, flags=re.MULTILINE)[1:]
    return dict(zip(parts[::2], parts[1::2], strict=True))


HOW_TOS = how_tos()


class Scratch:
    """A copy of the package in a folder with the demo, in which commands are run.

    What was compiled is copied too, and kept between commands: Python compiles anew what is of
    another time or length than it was.
    """

    def __init__(self, folder):
        self.folder = folder
        shutil.copytree(ROOT / "patchnet", folder / "patchnet")
        (folder / "data_demo").symlink_to(ROOT / "data_demo")

    def run(self, *words, **given):
        run = subprocess.run(
            [sys.executable, *words], cwd=self.folder, capture_output=True, text=True, check=False,
            env=os.environ
            | {"PYTHONPATH": str(self.folder), "PYTHONDONTWRITEBYTECODE": ""}
            | given,
        )  # fmt: skip
        assert run.returncode == 0, run.stderr
        return run.stdout

    def typed(self, text):
        for command in re.split(r"^\$ ", text, flags=re.MULTILINE)[1:]:
            line, *expected = command.rstrip("\n").split("\n")
            words = shlex.split(line)
            given = dict(word.split("=", 1) for word in words if re.match(r"[A-Z_]+=", word))
            program, *words = words[len(given) :]
            start = ["-m", "patchnet"] if program == "patchnet" else []
            out = self.run(*start, *words, **given)
            said = " ".join(out.split())  # columns stand further apart than here
            for one in expected:
                assert " ".join(one.split()) in said, f"{line}\n{out}"

    def put(self, what, text):
        if found := re.fullmatch(r"after `(.*)` (\S+)", what):
            path = self.folder / found[2]
            before = path.read_text(encoding="utf-8")
            assert before.count(f"\n{found[1]}\n") == 1
            path.write_text(before.replace(f"\n{found[1]}\n", f"\n{found[1]}\n{text}"))
        elif what.startswith("append "):
            path = self.folder / what.removeprefix("append ")
            path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")
        else:
            (self.folder / what).write_text(text, encoding="utf-8")


def test_there_are_six():
    assert list(HOW_TOS) == [
        "A feature", "A wildlife group", "A measure", "An export format", "A street rule",
        "A language",
    ]  # fmt: skip


@pytest.mark.parametrize("name", HOW_TOS)
def test_how_to(name, tmp_path):
    scratch = Scratch(tmp_path)
    said = ""
    for language, what, text in BLOCK.findall(HOW_TOS[name]):
        if language == "console":
            scratch.typed(text)
        elif language == "text":
            assert text.strip() in said
        elif what.strip() == "run":
            said = scratch.run("-c", text)
        else:
            scratch.put(what.strip(), text)
    loaded = scratch.run("-c", "import patchnet; print(patchnet.__file__)")
    assert loaded.startswith(str(tmp_path)), "the copy is what was run"


@pytest.mark.parametrize("name", ["A measure", "An export format", "A street rule"])
def test_code_of_a_how_to_is_in_the_house_style(name, tmp_path):
    """Added where it says, it passes the same lint as the rest."""
    scratch = Scratch(tmp_path)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    changed = []
    for language, what, text in BLOCK.findall(HOW_TOS[name]):
        if language == "python" and what.strip() != "run":
            scratch.put(what.strip(), text)
            changed.append(what.split()[-1])
    for command in (["check"], ["format", "--check"]):
        scratch.run("-m", "ruff", *command, *changed)
