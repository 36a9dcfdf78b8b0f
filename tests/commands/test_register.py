"""What was made from a street is listed in its file, whatever made it; `forget` names it all.

`worlds.killed_commands.WRITING` has every command that writes (a test compares it with the command
line). Here, too, are those that write a copy of a street elsewhere, or read two.
"""

import os
import shlex
import shutil
from datetime import UTC, datetime

import click
import pytest
from worlds.killed_commands import HINDRANCES, WRITING, Killed, content, run_aside

from patchnet.commands.main import _COMMANDS, cli
from patchnet.survey.release_layers import note_written, read_written

CASES = WRITING | {
    "base after": "base map.geojson roads.geojson --earlier street.gpkg -o later.gpkg",
    "consent elsewhere": "consent street.gpkg 1 yes -o later.gpkg",
    "project joined": "project ours --add street.gpkg --add other.gpkg -o later.gpkg",
    "progress notice": "progress street.gpkg -o out.html --notice notice.html --overwrite",
    "forget elsewhere": "forget street.gpkg 2 -o later.gpkg",
    "compare two": "compare street.gpkg other.gpkg --straight --group wren --page out.html "
    "--overwrite",
    "scheme": WRITING["scheme"].replace("made ", "made.gpkg "),
}
NOW = datetime(2026, 6, 1, tzinfo=UTC)
WRITES = {"-o", "--mend", "--notice", "--page", "--card", "--cards", "--ground", "--current"}
READS = {
    "file", "features", "facts", "folder", "knowledge", "landcover", "landcover_costs", "heights",
    "bare_earth", "keepers", "together", "underlay", "inputs", "osm", "parcels", "buildings",
    "roads", "earlier", "street", "streets", "returns", "first", "second", "measured",
}  # fmt: skip
"""Names of all parameters of all commands that are files to be read."""


def streets_read(words):
    """Return the GeoPackages that a command reads."""
    return [
        word for at, word in enumerate(words)
        if word.endswith(".gpkg") and words[at - 1] not in WRITES
    ]  # fmt: skip


def written_elsewhere(words):
    """Return what a command is told to write, if it is not what it reads."""
    told = [word for at, word in enumerate(words) if words[at - 1] in WRITES]
    return [word for word in told if word not in streets_read(words)]


NOTED = [key for key, line in CASES.items()
         if streets_read(shlex.split(line)) and written_elsewhere(shlex.split(line))]  # fmt: skip
# One of each command, for what cannot be noted.
ONE_OF_EACH = list(
    {
        CASES[key].split()[0]: key
        for key in NOTED
        if not {"public", "--notice"} & set(CASES[key].split())
    }.values()
)


@pytest.fixture(scope="module")
def start(tmp_path_factory, survey_knowledge, street_in):
    folder = tmp_path_factory.mktemp("register")
    (folder / "start").mkdir()
    made = Killed(folder, street_in(folder / "start"), survey_knowledge)
    shutil.copy(made.start / "street.gpkg", made.start / "other.gpkg")
    status, said = run_aside(["merge", "made", "-o", "made.gpkg"], made.start)
    assert status == 0, said
    return made.start


@pytest.fixture
def folder(start, tmp_path):
    return shutil.copytree(start, tmp_path / "here")


def made_anew(before, folder):
    """Return the files that are new or changed, but for the lists of folders."""
    now = content(folder)
    return {
        name for name in now
        if now[name] != before.get(name) and not name.rpartition("/")[2].startswith(".")
    }  # fmt: skip


def listed(path):
    return read_written(path)["file"].tolist()


@pytest.mark.parametrize("key", NOTED)
def test_every_file_made_from_a_street_is_listed_in_it(key, folder):
    words = shlex.split(CASES[key])
    before = content(folder)
    status, said = run_aside(words, folder)
    assert status == 0, said
    streets = streets_read(words)
    made = made_anew(before, folder) - set(streets)
    assert made
    for street in streets:
        names = listed(folder / street)
        assert len(names) == len(set(names))
        assert [one for one in names if not (folder / one).exists()] == []
        assert [
            one for one in made
            if one not in names and not any(one.startswith(f"{name}/") for name in names)
        ] == []  # fmt: skip
        assert street not in names


def in_protected_folder(key, folder):
    """Run a command whose streets stand where nothing can be written; return what came of it."""
    words = shlex.split(CASES[key])
    kept = folder / "kept"
    kept.mkdir()
    for street in streets_read(words):
        (folder / street).rename(kept / street)
        words[words.index(street)] = f"kept/{street}"
    held, before = content(kept), content(folder)
    first, after = HINDRANCES["a protected folder"](kept, words)
    status, said = run_aside(words, folder, first=first)
    after()
    assert content(kept) == held
    return status, said, made_anew(before, folder)


@pytest.mark.parametrize("key", ONE_OF_EACH)
def test_a_street_that_cannot_be_changed_is_used_all_the_same(key, folder):
    """All is made, and it is said that nothing is noted."""
    status, said, made = in_protected_folder(key, folder)
    assert status == 0, said
    assert made
    assert "'patchnet forget' will not list" in said


def test_nothing_is_for_the_public_where_the_ledger_cannot_be_kept(folder):
    status, said, made = in_protected_folder("export public", folder)
    assert (status, made) == (3, set()), said


def test_every_file_that_a_command_names_is_read_or_listed():
    """A new option for a file is named here as read, or a case above writes it."""
    context = click.Context(cli)
    for name in _COMMANDS:
        cases = [shlex.split(line) for line in CASES.values() if line.split()[0] == name]
        command = cli.get_command(context, name)
        for one in command.params:
            if isinstance(one.type, click.Path) and one.name not in READS:
                assert set(one.opts) & WRITES, f"{name} {one.opts}"
                assert any(set(one.opts) & set(case) for case in cases), f"{name} {one.opts}"


def test_forget_names_all_that_was_made(folder):
    """Also what was made from a file that was copied to another folder, as seen from there."""
    for key in ("advise", "compare", "survey", "consent elsewhere"):
        status, said = run_aside(shlex.split(CASES[key]), folder)
        assert status == 0, said
        if key == "advise":
            (folder / "out.html").rename(folder / "card.html")
            note_written(folder / "street.gpkg", [folder / "card.html"], "own", NOW)
    (folder / "away").mkdir()
    status, said = run_aside(["forget", "street.gpkg", "3", "-o", "away/street.gpkg"], folder)
    assert status == 0, said
    for name in ("card.html", "out.html", "pack", "later.gpkg"):
        assert f"  ../{name} (for yourselves, " in said
    status, said = run_aside(["forget", "street.gpkg", "3"], folder)
    assert "  away/street.gpkg (for yourselves, " in said
    assert "  street.gpkg (" not in said


def test_made_again_onto_itself_a_copy_does_not_list_itself(folder):
    words = ["consent", "street.gpkg", "1", "yes", "-o", "later.gpkg", "--overwrite"]
    for _ in range(2):
        assert run_aside(words, folder)[0] == 0
    assert listed(folder / "street.gpkg") == ["later.gpkg"]
    assert listed(folder / "later.gpkg") == []


def test_two_at_once_are_both_listed(folder):
    """What another command notes between reading and writing stays."""
    street = folder / "street.gpkg"
    children = []
    for at in range(4):
        child = os.fork()
        if not child:
            status = 1
            try:
                note_written(street, [folder / f"{at}.html"], "own", NOW)
                status = 0
            finally:
                os._exit(status)
        children.append(child)
    assert [os.waitpid(child, 0)[1] for child in children] == [0] * 4
    assert listed(street) == [f"{at}.html" for at in range(4)]
