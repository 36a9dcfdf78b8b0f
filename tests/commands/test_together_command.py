"""One plan for a street, from the command line: kept, answered, told on cards and the map."""

import json
from pathlib import Path

import pytest

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
NEWT = (DEMO, "--group", "newt", "--straight", "--draws", "0")


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A plan for two gardens, as the command keeps it."""
    from patchnet.commands import main as command_line  # noqa: PLC0415 - as `run` does

    path = tmp_path_factory.mktemp("together") / "plan.json"
    words = [
        "together",
        *NEWT,
        "--plots",
        "M15B,M17B",
        "-o",
        path,
        "--page",
        path.with_name("p.html"),
    ]
    assert command_line._run([str(word) for word in words]) == 0
    return path


def test_a_plan_is_kept_and_printed(kept):
    plan = json.loads(kept.read_text(encoding="utf-8"))
    assert plan["kind"] == "patchnet street plan"
    assert [house["plots"] for house in plan["houses"]] == [["M15B"], ["M17B"]]
    assert plan["worth"] >= plan["own_worth"] > 0
    page = kept.with_name("p.html").read_text(encoding="utf-8")
    assert "not for publishing" in page
    assert "15 back" in page


def test_answers_are_heeded_and_the_rest_is_planned_anew(run, kept):
    status, out, err = run("together", *NEWT, "--plan", kept, "--yes", "M15B", "--no", "M17B",
                           "--format", "json")  # fmt: skip
    assert status == 0, err
    plan, before = json.loads(out), json.loads(kept.read_text(encoding="utf-8"))
    assert [(house["plots"], house["answer"]) for house in plan["houses"]] == [(["M15B"], "yes")]
    assert plan["refused"] == ["M17B"]
    jobs = [[job["feature"] for job in one["houses"][0]["jobs"]] for one in (plan, before)]
    assert sorted(jobs[0]) == sorted(jobs[1])
    assert plan["worth"] <= before["worth"] + 1e-9


def test_a_card_and_the_map_tell_what_the_street_counts_on(run, kept):
    status, out, err = run("advise", DEMO, "M15B", "--group", "newt", "--straight", "--draws", "0",
                           "--together", kept, "--card", "card.html")  # fmt: skip
    assert status == 0, err
    assert "Your street counts on this plot for" in out
    assert "If your neighbours do theirs, your part is" in " ".join(out.split())
    assert "In your street" in Path("card.html").read_text(encoding="utf-8")
    status, out, err = run("advise", DEMO, "W04B", "--group", "newt", "--straight", "--draws", "0",
                           "--together", kept)  # fmt: skip
    assert "counts on this plot for nothing" in " ".join(out.split())
    status, out, err = run("map", DEMO, "--group", "newt", "--straight", "--draws", "0",
                           "--no-additions", "--together", kept, "-o", "map.html")  # fmt: skip
    assert status == 0, err
    assert "Your street counts on this plot for" in Path("map.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (["--yes", "M15B"], 2, "give --plan too"),
        (["--plots", "M99X"], 2, "no plot 'M99X'"),
        (["--budget", "-3"], 2, "budget"),
        (["--plan", "nowhere.json"], 3, "nowhere.json"),
        (["--plan", DEMO / "plots.geojson"], 1, "no plan for a street"),
    ],
)
def test_what_cannot_be(run, words, status, said):
    found, _, err = run("together", *NEWT, *words)
    assert found == status, err
    assert said in err


def test_a_page_for_the_public_never_carries_a_plan(run, kept):
    status, _, err = run("map", DEMO, "--public", "--together", kept, "-o", "map.html")
    assert status == 2
    assert "for the people of the street" in err
    assert not Path("map.html").exists()
