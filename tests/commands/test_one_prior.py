"""What is done at one plot changes what is assumed of no other, through the command line."""

import csv
import io
import json
import shutil

import pytest

import patchnet


@pytest.fixture(scope="module")
def states(tmp_path_factory):
    """The invented street, and the same with one buried log at A2."""
    folder = tmp_path_factory.mktemp("states")
    patchnet.write_demo(folder / "before")
    shutil.copytree(folder / "before", folder / "after")
    table = folder / "after" / "features.csv"
    rows = list(csv.reader(io.StringIO(table.read_text())))
    (row,) = (row for row in rows if row[0] == "A2")
    row[2] += "; buried_dead_wood 1"
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    table.write_text(out.getvalue())
    return folder / "before", folder / "after"


def test_a_log_at_one_plot_assumes_nothing_of_another(states):
    """All answers that nobody gave stand as they were; A2's own is the log."""
    before, after = (
        patchnet.assess(patchnet.read_neighbourhood(path), groups=["stag_beetle"])
        for path in states
    )
    found = patchnet.compare(before, after)
    then, now = found.before, found.after
    changed = (then.amounts != now.amounts).any(axis=1)
    assert list(now.neighbourhood.plots.index[changed]) == ["A2"]
    assert (before.amounts != after.amounts).any(axis=1).sum() > 1  # each learnt by itself


def test_compare_says_nothing_of_plots_out_of_reach(run, states):
    """Only plots within the beetle's reach of A2 change, and A3 beside it wins nothing by it."""
    status, out, err = run("compare", *states, "--group", "stag_beetle", "--format", "json")
    assert status == 0, err
    told = json.loads(out)
    change = {one["plot"]: one["homes"]["stag_beetle"] for one in told["plots"] if one["homes"]}
    assert change["A2"] > 0
    assert max(won for plot, won in change.items() if plot != "A2") <= 0
    group = patchnet.load_knowledge().groups["stag_beetle"]
    reach = max(group.anchor_reach.value, *(need.reach.value for need in group.needs))
    shapes = patchnet.read_neighbourhood(states[0]).plots.geometry
    reached = shapes.distance(shapes["A2"]) <= 2 * reach  # those who share with those it reaches
    assert set(change) <= set(shapes.index[reached])
    assert not reached.all()
    assert (told["draws"], told["groups"][0]["sure"]) == (0, None)


def test_compare_tells_how_often(run, states):
    status, out, err = run("compare", *states, "--group", "stag_beetle", "--draws", "10")
    assert status == 0, err
    said = " ".join(out.split())
    assert "A2 +" in said
    assert "(10 of 10)" in said
    assert "We worked this out 10 times" in said
    assert "In 9 of 10" in said
    again = run("compare", *states, "--group", "stag_beetle", "--draws", "10", "--format", "json")
    (group,) = json.loads(again[1])["groups"]
    won = group["linked_after"] - group["linked_before"]
    assert won == pytest.approx(group["won"]["mean"], abs=1e-12)
    other = run("compare", *states, "--group", "stag_beetle", "--draws", "10", "--seed", "4")
    assert other[0] == 0
    assert other[1] != out
