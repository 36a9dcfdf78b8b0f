"""A short form of `tests/benchmarks/long_run.py`: some of its cases, all of which must go well."""

import importlib.util
from collections import Counter
from pathlib import Path

import pytest

SPEC = importlib.util.spec_from_file_location(
    "long_run", Path(__file__).parents[1] / "benchmarks" / "long_run.py"
)
LONG = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(LONG)
KILLS = ("merge", "forget")
HINDERED = (
    ("merge", "a full disk"), ("consent", "a protected folder"), ("undo", "a locked file"),
    ("export csv", "the input itself"), ("progress", "no folder"), ("survey", "a folder there"),
)  # fmt: skip


@pytest.fixture(scope="module")
def attack(tmp_path_factory):
    return LONG.Attack(tmp_path_factory.mktemp("attack"))


def went_well(attack, cases):
    counts, wrong = Counter(), []
    for case in cases:
        told, found, _, _ = attack.do(*case)
        counts += told
        wrong += found
    assert wrong == []
    assert sum(counts[key] for key in LONG.MUST_BE_NONE) == 0
    return counts


def test_damaged_files_of_every_kind(attack):
    cases = [("file", key, 0) for key in [*LONG.READERS][::2]]
    assert went_well(attack, cases)["refused"] > len(cases) / 3


def test_hostile_returns(attack):
    """Some kinds, none that takes long."""
    slow = {LONG.HOSTILE.index(one) for one in LONG.SLOW}
    kinds = [at for at in range(0, len(LONG.HOSTILE), 2) if at not in slow]
    went_well(attack, [("hostile", "", at) for at in kinds])


def test_a_command_that_is_killed_leaves_what_is_whole(attack):
    went_well(attack, [("kill", key, at) for at, key in enumerate(KILLS)])


def test_a_command_that_cannot_write_says_so_and_leaves_all_as_it_was(attack):
    counts = went_well(attack, [("hindered", *case) for case in HINDERED])
    assert counts["refused to write"] >= len(HINDERED) - 1


def test_the_long_run_has_every_command_that_writes():
    """And counts what must not be: a case that fails is told."""
    asked = LONG.cases(2100, 208, 110, 132, 0)
    assert len([one for one in asked if one[0] == "file"]) >= 2000
    assert {key for kind, key, _ in asked if kind == "kill"} == set(LONG.WRITING)
    assert len({one[1:] for one in asked if one[0] == "hindered"}) == 132
    typed = {words.split()[0] for words in LONG.WRITING.values()}
    reads = {"check", "plot", "gaps", "next", "why", "history", "verify", "groups", "features"}
    reads |= {"source"}
    assert typed | reads == set(LONG._COMMANDS)
