"""--language: before or behind any command, for all that is said, help and complaints included."""

import os
import subprocess
import sys

import pytest
from click.testing import CliRunner

from patchnet.commands.main import cli
from patchnet.core import texts
from patchnet.core.errors import WrongUse

HELP = "Sprache von allem, was gesagt"


@pytest.fixture
def typed():
    """Type a command; English again afterwards."""
    before = texts.language()

    def run(*words):
        return CliRunner().invoke(cli, words, prog_name="patchnet")

    yield run
    texts.use_language(before)


@pytest.mark.parametrize(
    "words",
    [
        ("--language", "de", "groups"),
        ("groups", "--language", "de"),
        ("groups", "--language=de"),
        ("--language=en", "groups", "--language", "de"),
    ],
)
def test_it_may_stand_before_or_behind_the_command(typed, words):
    said = typed(*words)
    assert said.exit_code == 0
    assert "wren: Zaunkönige (Troglodytes troglodytes)" in said.output


@pytest.mark.parametrize(
    "words",
    [
        ("map", "--help", "--language", "de"),
        ("--language", "de", "--help"),
        ("--help", "--language=de"),
    ],
)
def test_help_is_told_in_it_and_lists_what_there_is(typed, words):
    said = " ".join(typed(*words).output.split())
    assert "--language en|de" in said
    assert HELP in said


def test_every_command_has_it(typed):
    for name in cli.lazy_commands:
        assert "--language" in typed(name, "--help").output, name


def test_an_unknown_one_is_wrong_use(typed):
    said = typed("groups", "--language", "xx")
    assert isinstance(said.exception, WrongUse)
    assert "language 'xx'. There is: en, de." in str(said.exception)
    assert texts.language() == texts.ENGLISH, "the language stays"


def test_exit_statuses():
    for words, told in (
        (["groups", "--language", "xx"], "There is: en, de."),
        (["groups", "--language"], "--language"),
        (["--language", "de", "nonsense"], "nonsense"),
    ):
        run = subprocess.run(
            [sys.executable, "-m", "patchnet", *words], capture_output=True, text=True,
            check=False, env=os.environ | {"PATCHNET_LANGUAGE": "en"},
        )  # fmt: skip
        assert run.returncode == 2
        assert told in run.stderr


def test_what_follows_two_dashes_is_no_option(typed):
    said = typed("source", "--", "--language")
    assert said.exit_code != 0
    assert texts.language() == texts.ENGLISH
