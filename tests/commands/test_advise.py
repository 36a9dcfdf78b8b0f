"""patchnet advise as a householder uses it."""

import io
import json

import geopandas as gpd
import pyogrio
import pytest
import shapely

from patchnet.knowledge import load_knowledge


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
    assert "for the fridge door" in (tmp_path / "card.html").read_text()


def test_json(run, file):
    status, out, _ = run("advise", file, "1", *ONE, "--format", "json", "--small-children")
    assert status == 0
    told = json.loads(out)
    assert told["facts"]["small_children"] is True
    assert all(
        one["candidate"]["feature"] != "pond"
        for one in (told["best"] or {"additions": []})["additions"]
    )


def test_where_things_go(run, file):
    """Plot 1 is x 400,000-400,012, y 300,000-300,020, with nothing drawn on it."""
    facts = ("--keep", "seat in the morning sun", "--format", "json")
    status, out, _ = run("advise", file, "1", *ONE, *facts)
    assert status == 0
    places = json.loads(out)["places"]
    assert places["crs"] == "EPSG:27700"
    assert places["not_drawn"] == ["lawn_short", "paving"]
    assert [one["thing"] for one in places["kept"]] == ["seat_morning"]
    best = json.loads(out)["best"]["additions"]
    assert [one["thing"] for one in places["placed"]] == [
        one["candidate"]["feature"] for one in best
    ]
    for one in (*places["placed"], *places["kept"]):
        assert (one["geometry"] is None) == bool(one["why_not"])
        if one["geometry"] is not None:
            shape = shapely.geometry.shape(one["geometry"])
            assert shapely.box(400_000, 300_000, 400_012, 300_020).covers(shape)
    status, out, _ = run("advise", file, "1", *ONE, *facts[:2])
    words = " ".join(out.split())
    assert "Kept free, seat in the morning sun: " in words
    assert "Where what is there stands is not mapped: check on the ground." in words


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


def test_a_town_is_worked_out_once_unless_draws_are_asked_for(run, file, tmp_path, monkeypatch):
    """As the help says, of advise too; two plots are a town where the tables say so."""
    monkeypatch.delenv("PATCHNET_DRAWS")
    own = tmp_path / "own"
    own.mkdir()
    (own / "settings.csv").write_text(
        "key,value,unit,low,high,class,source,note\ndraws_plots,1,plots,1,1,assumption,patchnet,\n"
    )
    status, out, err = run("advise", file, "1", *ONE, "--knowledge", own, "--format", "json")
    assert status == 0, err
    assert "worked out once" in err
    assert json.loads(out)["best"]["doubt"] is None
    asked = run("advise", file, "1", *ONE, "--knowledge", own, "--draws", "5", "--format", "json")
    assert "worked out once" not in asked[2]
    assert json.loads(asked[1])["best"]["doubt"]["draws"] == 5


@pytest.mark.parametrize(("command", "setting"), [("advise", "draws"), ("why", "draws_figures")])
def test_help_says_as_many_draws_as_the_tables(run, command, setting):
    __, out, ___ = run(command, "--help")
    count = round(load_knowledge().setting(setting))
    assert f"{count} if not given" in " ".join(out.split())


# cards for all plots ----------------------------------------------------------------------


def test_cards_for_all_plots_but_those_who_said_no(run, file, tmp_path, monkeypatch):
    monkeypatch.delenv("PATCHNET_DRAWS", raising=False)  # nothing said of draws: none are taken
    street = tmp_path / "street.gpkg"
    street.write_bytes(file.read_bytes())
    assert run("consent", street, "2", "no")[0] == 0
    words = ("advise", street, *ONE, "--cards", tmp_path / "cards")
    status, out, err = run(*words)
    assert status == 0, err
    told = " ".join(out.split())
    assert told.startswith("1 card in ")
    assert "No card: 2. The people there said no, or asked to be forgotten." in told
    assert "--draws N also tells how sure" in " ".join(err.split())
    names = {path.name for path in (tmp_path / "cards").iterdir()}
    assert {"card-1.html", "index.html", "print-1.html"} <= names
    assert "card-2.html" not in names
    status, out, __ = run(*words)
    assert "1 of them stood there already" in " ".join(out.split())
    status, out, __ = run("forget", street, "1")
    assert "cards" in out  # made from the street before, and to be taken away by hand
    status, out, __ = run(*words)
    assert status == 0
    assert "No card: 1, 2." in " ".join(out.split())
    assert not (tmp_path / "cards" / "card-1.html").exists()


@pytest.mark.parametrize(("words", "wrong"), [
    (["1"], "ID"), (["--card", "c.html"], "--card"), (["--all"], "--all"), (["--watch"], "--watch"),
    (["--format", "json"], "--format json"), (["--overwrite"], "--overwrite"),
    (["--tenure", "rent"], "what a householder says"),
])  # fmt: skip
def test_what_is_of_one_plot_does_not_go_with_cards(run, file, tmp_path, words, wrong):
    status, out, err = run("advise", file, *words, *ONE, "--cards", tmp_path / "cards")
    assert status == 2
    assert "--cards is for all plots" in err
    assert wrong in " ".join(err.split())
    assert not out
    assert not (tmp_path / "cards").exists()


def test_no_plot_and_no_cards(run, file):
    status, __, err = run("advise", file, *ONE)
    assert status == 2
    assert "Which plot?" in err
