"""patchnet advise as a householder uses it."""

import io
import json

import geopandas as gpd
import pyogrio
import pytest
import shapely


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    path = tmp_path_factory.mktemp("advise") / "street.gpkg"
    plots = gpd.GeoDataFrame(
        {
            "id": ["1", "2"],
            "kind": ["garden_back", "garden_back"],
            "features": ["lawn_short 90; paving 20", "shrub 12; pond 4; leaf_pile 2"],
        },
        geometry=[
            shapely.box(400_000, 300_000, 400_012, 300_020),
            shapely.box(400_012, 300_000, 400_024, 300_020),
        ],
        crs="EPSG:27700",
    )
    pyogrio.write_dataframe(plots, path, layer="plots", driver="GPKG")
    return path


ONE = ("--group", "newt", "--straight", "--month", "10")


def test_answer_on_standard_output_and_card_beside_it(run, file, tmp_path):
    status, out, err = run("advise", file, "1", *ONE, "--card", "card.html", "--tenure", "own")
    assert status == 0
    assert out.startswith("What plot 1 should add")
    assert "Wrote card.html" in err
    assert "What plot 1 should add" in (tmp_path / "card.html").read_text()


def test_json(run, file):
    status, out, _ = run("advise", file, "1", *ONE, "--format", "json", "--small-children")
    assert status == 0
    told = json.loads(out)
    assert told["facts"]["small_children"] is True
    assert all(
        one["candidate"]["feature"] != "pond"
        for one in (told["best"] or {"additions": []})["additions"]
    )


def test_facts_from_a_file_and_the_command_line_together(run, file, tmp_path):
    (tmp_path / "me.toml").write_text('light = "shade"\nkeep = ["play lawn"]\nfree_m2 = 30\n')
    status, out, _ = run(
        "advise", file, "1", *ONE, "--facts", "me.toml", "--light", "part", "--format", "json"
    )
    assert status == 0
    facts = json.loads(out)["facts"]
    assert facts["light"] == "part"
    assert facts["keep"] == ["play_lawn"]
    assert facts["free_m2"] == 30


def test_every_mistake_is_listed_and_nothing_is_written(run, file, tmp_path):
    (tmp_path / "me.toml").write_text('light = "bright"\nfree_m2 = -3\ncolour = "red"\n')
    status, out, err = run("advise", file, "1", *ONE, "--facts", "me.toml", "--card", "card.html")
    assert status == 1
    assert out == ""
    assert err.count("error: me.toml") == 3
    assert not (tmp_path / "card.html").exists()


def test_pots_only_and_a_large_pond_contradict(run, file):
    status, _, err = run("advise", file, "1", *ONE, "--pots-only", "--wish", "pond 10")
    assert status == 1
    assert "must stand in pots" in err


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("17",), 2, "There is no plot"),
        (("1", "--care-for", "unicorn"), 1, "unicorn"),
        (("1", "--facts", "nowhere.toml"), 3, "nowhere.toml"),
        (("1", "--ask"), 2, "needs a terminal"),
        (("1", "--heights", "nowhere.tif"), 3, "nowhere.tif"),
    ],
)
def test_wrong_use(run, file, words, status, said):
    got, _, err = run("advise", file, *words, *ONE)
    assert got == status
    assert said in err


def test_a_file_that_is_not_toml(run, file, tmp_path):
    (tmp_path / "me.toml").write_text("light: part\n")
    status, _, err = run("advise", file, "1", *ONE, "--facts", "me.toml")
    assert status == 1
    assert "not TOML" in err


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_asked_one_by_one_with_a_slip_and_skips(run, file, monkeypatch):
    """Light is answered wrongly, then rightly; the rest is skipped but for the tenure."""
    replies = ["brihgt", "part", "", "", "rent", *[""] * 14]
    monkeypatch.setattr("sys.stdin", Terminal("\n".join(replies) + "\n"))
    status, out, err = run("advise", file, "1", *ONE, "--ask", "--format", "json")
    assert status == 0
    assert "not one of the answers" in err
    facts = json.loads(out)["facts"]
    assert (facts["light"], facts["tenure"], facts["soil"]) == ("part", "rent", None)
