"""Which door next, and which figures decide, from the command line."""

import csv
import io
import json
from pathlib import Path

import pytest

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
WREN = (DEMO, "--group", "wren", "--straight")


def test_doors_in_words(run):
    status, out, err = run("next", *WREN, "--limit", "2")
    assert status == 0, err
    text = " ".join(out.split())
    assert "how many homes there are for the wren" in text
    assert "1. W" in text
    assert "2. W" in text
    assert "3. " not in text
    assert "Look for: " in text
    assert "at the fence, or ask" in text
    assert "left in peace" in text
    assert "not for publishing" in text


def test_doors_for_programs(run):
    status, out, err = run("next", *WREN, "--format", "json", "--limit", "3")
    assert status == 0, err
    facts = json.loads(out)
    assert (facts["plot"], facts["groups"], len(facts["doors"])) == (None, ["wren"], 3)
    shares = [door["share"] for door in facts["doors"]]
    assert shares == sorted(shares, reverse=True)
    assert facts["doors"][-1]["cumulative"] == pytest.approx(sum(shares))
    status, out, err = run("next", *WREN, "--format", "csv", "--limit", "3")
    assert status == 0, err
    rows = list(csv.DictReader(io.StringIO(out)))
    assert {row["plot"] for row in rows} == {door["plot"] for door in facts["doors"]}
    assert sum(float(row["share"]) for row in rows) == pytest.approx(sum(shares))


def test_a_plan_without_draws_is_refused(run):
    status, out, err = run("next", *WREN, "--plot", "M09B")
    assert (status, out) == (2, "")
    assert "--draws" in err


def test_nobody_is_sent_to_who_said_no_or_asked_to_be_forgotten(run, surveyed):
    """Four ponds seen on eight plots: the doors of the other eight, less two of them."""
    seen = [(str(at), "pond", "there" if at % 2 else "not there") for at in range(1, 9)]
    seen += [(str(at), "long_grass", "there" if at % 2 else "not there") for at in range(1, 9)]
    surveyed.hand_in("a", seen)
    assert run("merge", "street.gpkg", *surveyed.files, "-o", "street.gpkg")[0] == 0

    def doors():
        words = ("--group", "newt", "--straight", "--format", "json", "--limit", "99")
        status, out, err = run("next", "street.gpkg", *words)
        assert status == 0, err
        return [door["plot"] for door in json.loads(out)["doors"]]

    before = doors()
    assert len(before) > 3
    forgotten, said_no = before[:2]
    assert run("forget", "street.gpkg", forgotten)[0] == 0
    assert run("consent", "street.gpkg", said_no, "no")[0] == 0
    after = doors()
    assert after
    assert not {forgotten, said_no} & set(after)
    assert set(before) - {forgotten, said_no} <= set(after)


def test_figures(run):
    status, out, err = run("why", *WREN, "--draws", "50")
    assert status == 0, err
    text = " ".join(out.split())
    assert "We worked this out 50 times" in text
    assert "All answers that nobody gave, together: " in text
    assert "With 50 draws no part smaller than" in text


def test_too_few_draws(run):
    status, out, err = run("why", *WREN, "--draws", "10")
    assert (status, out) == (2, "")
    assert "--draws 50" in err
