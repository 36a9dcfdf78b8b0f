"""What others may see: canaries in every private field, and not one in any public byte."""

import dataclasses
import re
import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest

from patchnet.assess import assess
from patchnet.commands import main as command_line
from patchnet.core.errors import WrongUse
from patchnet.pages.privacy import (
    assessment_for,
    for_audience,
    public_features,
    sensitive_features,
    shown_groups,
)
from patchnet.pages.public_results import steps_down, steps_near, steps_up
from patchnet.pages.public_table import class_words, released_table, table_of
from patchnet.pages.public_view import TOGETHER
from patchnet.pages.sheets.poster import poster
from patchnet.read import read_neighbourhood
from patchnet.survey.forget import forget_plots, record_consent
from patchnet.survey.merge import merge_returns, write_merged
from patchnet.survey.release import Ledger

# In every private field a word of its own; the amount is a number nobody else has.
CANARIES = (
    "CANARYADDRESS", "CANARYHOUSE", "CANARYNOTE", "CANARYPHOTO", "CANARYWHO", "CANARYRETURN",
    "CANARYSTREET", "CANARYDOOR",
)  # fmt: skip
AMOUNT = 7.1234567
SECRET = ("bat_box", "old_roof_wall", "fence_gap")


@pytest.fixture(scope="module")
def canaries(tmp_path_factory, street_in, survey_knowledge):
    """Every private field filled, plots 1 and 2 agreeing, plot 3 refusing."""
    surveyed = street_in(tmp_path_factory.mktemp("canaries"))
    said = [
        (plot, key, "there", AMOUNT if key == "pond" else None, "CANARYNOTE", "CANARYPHOTO.jpg")
        for plot in surveyed.ids
        for key in ("pond", *SECRET)
    ]
    consent = [
        {"plot": plot, "consent": word, "when": "2026-05-02T10:00:00+01:00"}
        for plot, word in (("1", "yes"), ("2", "yes"), ("3", "no"))
    ]
    surveyed.hand_in("CANARYRETURN", said, who="CANARYWHO", consent=consent)
    found = merge_returns(
        surveyed.path,
        surveyed.files,
        knowledge=survey_knowledge,
        today=date(2026, 6, 1),
    )
    write_merged(found, surveyed.path)
    plots = gpd.read_file(surveyed.path, layer="plots")
    # An address in the column of streets is as private as one in that of labels.
    plots.loc[plots["id"] == "5", "street"] = "5 CANARYSTREET"
    plots["door"] = "CANARYDOOR"
    pyogrio.write_dataframe(plots, surveyed.path, layer="plots", driver="GPKG")
    return surveyed


@pytest.fixture(scope="module")
def outputs(canaries):
    """Make every public page and file there is."""
    street = canaries
    made = []
    for words, name in (
        (("map", "--public"), "map.html"),
        (("poster",), "poster.html"),
        (("poster", "--notice"), "notice.html"),
        (("progress", "--for", "public"), "progress.html"),
        (("export", "--for", "public"), "all.gpkg"),
        (("export", "--for", "public"), "plots.geojson"),
        (("export", "--for", "public", "--layer", "links"), "links.geojson"),
        (("export", "--for", "public", "--layer", "breaks"), "breaks.csv"),
        (("export", "--for", "public"), "plots.csv"),
        (("export", "--for", "public"), "wren.graphml"),
    ):
        target = street.folder / name
        order = [words[0], str(street.path), *words[1:], "-o", str(target)]
        if words[0] != "progress":
            order += ["--group", "wren"]
        assert command_line._run(order) == 0
        made.append(target)
    return made


def test_no_canary_in_any_public_byte(canaries, outputs, survey_knowledge):
    raw = canaries.path.read_bytes()
    assert all(word.encode() in raw for word in CANARIES)
    names = [survey_knowledge.features[key].name for key in SECRET]
    for path in outputs:
        content = path.read_bytes()
        assert len(content) > 50
        found = [word for word in CANARIES if word.encode() in content]
        assert found == [], path.name
        assert b"CANARY" not in content
        assert str(AMOUNT).encode() not in content
        assert canaries.street.encode() not in content
        text = content.decode("utf-8", "replace")
        if path.suffix in {".csv", ".geojson", ".gpkg", ".graphml"}:
            # What was left out is said, and only there are the secret features named.
            said = re.sub(
                r"what tells of protected animals \(.*?hole.*?\)|\(bat box.*?cm\)\)", "", text
            )
            assert not [key for key in SECRET if key in said], path.name
        if path.name not in {
            "breaks.csv",
            "poster.html",
            "notice.html",
        }:  # no row says it, and no poster does
            assert any(name.lower() in text for name in names), path.name


def test_files_say_what_was_left_out(canaries, outputs):
    """The two terms of Darwin Core stand in every row of every public file."""
    assert outputs
    table = pd.read_csv(canaries.folder / "plots.csv")
    assert table["dataGeneralizations"].str.contains("in place of counts and").all()
    assert table["informationWithheld"].str.contains("Addresses and labels").all()
    raw = (canaries.folder / "plots.csv").read_bytes()
    assert raw.count(b"\r\n") == len(table) + 1
    assert raw.replace(b"\r\n", b"").count(b"\n") == 0
    layer = pyogrio.read_dataframe(canaries.folder / "all.gpkg", layer="plots")
    assert list(layer["informationWithheld"]) == list(table["informationWithheld"])
    assert len(layer) == len(table)


def test_a_page_says_it_too(canaries, outputs):
    assert outputs
    page = (canaries.folder / "map.html").read_text(encoding="utf-8")
    assert "Made for publishing" in page
    assert "Left out: Addresses and labels" in page
    assert "worked out from these classes" in page


def test_no_plot_stands_alone(canaries, released, survey_knowledge):
    """On paper: 16 gardens of 600 m2 on two sides, 8 each, are one unit; all but plot 3 have a
    pond and plot 3 said no, so 15 of 15 who take part have one: most."""
    hood = read_neighbourhood(canaries.path, knowledge=survey_knowledge)
    seen = for_audience(hood, "public", knowledge=survey_knowledge, released=released)
    assert seen.plots["kind"].tolist() == [TOGETHER]
    assert seen.plots["area_m2"].tolist() == [pytest.approx(16 * 600, rel=0.01)]
    assert seen.classes["pond"].tolist() == ["most households (80 % or more)"]
    assert (seen.classes[list(SECRET)] == "").all(axis=None)
    assert len(seen.barriers) == len(seen.features) == 0
    assert seen.answers.table()[list(SECRET)].isna().all(axis=None)
    # Nothing changed in what was given.
    assert hood.audience == "own"
    assert len(hood.barriers) == 2


NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


@pytest.mark.parametrize("change", ["forget", "refuse", "refuse and agree again"])
def test_two_exports_do_not_give_a_household_back(canaries, tmp_path, survey_knowledge, change):
    """Export, a household goes, export again: the very same bytes."""
    street = tmp_path / "street.gpkg"
    shutil.copyfile(canaries.path, street)

    def exported(name):
        target = tmp_path / name
        order = ["export", str(street), "--for", "public", "--group", "wren", "-o", str(target)]
        assert command_line._run(order) == 0
        return target.read_bytes()

    before = [exported("a.csv"), exported("a.geojson")]
    if change == "forget":
        forget_plots(street, ["4"], street, knowledge=survey_knowledge, now=NOW)
    else:
        for hour, word in enumerate(["no", "yes"][: 1 + ("again" in change)]):
            record_consent(
                street, "2", word, street, knowledge=survey_knowledge, now=NOW.replace(hour=hour)
            )
    assert [exported("b.csv"), exported("b.geojson")] == before


def test_a_new_table_waits_for_five(canaries, tmp_path, survey_knowledge, capsys):
    """It says how many are lacking and where, and names nobody; with the fifth there is one."""
    street = tmp_path / "street.gpkg"
    shutil.copyfile(canaries.path, street)
    target = tmp_path / "a.csv"
    order = ["export", str(street), "--for", "public", "--group", "wren", "-o", str(target)]
    assert command_line._run(order) == 0
    for at, plot in enumerate("45678"):
        record_consent(
            street, plot, "no", street, knowledge=survey_knowledge, now=NOW.replace(minute=at)
        )
        capsys.readouterr()
        assert command_line._run([*order, "--overwrite"]) == 0
        said = " ".join(capsys.readouterr().err.split())
        if at < 4:
            assert "Not yet a new public table" in said
            assert f"It waits for {4 - at} more in " in said
        else:
            assert "Public table 2 of" in said


def test_what_no_ledger_can_remember_is_not_published(canaries, tmp_path, survey_knowledge):
    """Neither from a map that is no GeoPackage, nor from an answer without a table."""
    hood = read_neighbourhood(canaries.path, knowledge=survey_knowledge)
    plots = tmp_path / "plots.geojson"
    plots.write_text("{}", encoding="utf-8")
    with pytest.raises(WrongUse, match="cannot remember"):
        released_table(
            plots, hood, public_features(survey_knowledge), knowledge=survey_knowledge,
            today=date(2026, 6, 1),
        )  # fmt: skip
    with pytest.raises(WrongUse, match="remembers what was handed out"):
        for_audience(hood, "public", knowledge=survey_knowledge)


def test_the_group_sees_plots_but_not_those_who_refused(canaries, survey_knowledge):
    hood = read_neighbourhood(canaries.path, knowledge=survey_knowledge)
    seen = for_audience(hood, "group", knowledge=survey_knowledge)
    table = seen.answers.table()
    assert list(seen.plots.index) == canaries.ids
    assert table.loc["3"].isna().all()
    assert table.loc["4", "pond"] == pytest.approx(AMOUNT)
    assert table[["bat_box", "old_roof_wall"]].isna().all(axis=None)
    assert table.loc["4", "fence_gap"] > 0
    assert "the plot whose household said no" in seen.withheld


def test_too_few_are_shown_not_at_all(canaries, survey_knowledge):
    hood = read_neighbourhood(canaries.path, knowledge=survey_knowledge)
    plots = hood.plots.assign(consent=["no"] * 7 + [""] * 9)
    with pytest.raises(WrongUse, match=r"9 households take part, and .* at least 10"):
        table(dataclasses.replace(hood, plots=plots), survey_knowledge)


def table(hood, knowledge):
    """The first table of a street, as of a file that never handed one out."""
    _, found = table_of(
        Ledger(), hood, public_features(knowledge), knowledge=knowledge, today=date(2026, 6, 1)
    )
    return found


@pytest.fixture(scope="module")
def released(canaries, survey_knowledge):
    return table(read_neighbourhood(canaries.path, knowledge=survey_knowledge), survey_knowledge)


@pytest.fixture(scope="module")
def whole(tmp_path_factory, street_in, survey_knowledge):
    """The street with a shrub on every second plot and none on the others."""
    path = street_in(tmp_path_factory.mktemp("whole")).path
    hood = read_neighbourhood(path, knowledge=survey_knowledge)
    amount = hood.answers.amount.copy()
    amount[:, hood.answers.features.index("shrub")] = [0.0, 3.0] * 8
    return dataclasses.replace(hood, answers=dataclasses.replace(hood.answers, amount=amount))


def test_class_words(survey_knowledge):
    assert class_words(0, 0, survey_knowledge) == "few households (under 20 %)"
    assert class_words(1, 2, survey_knowledge) == "some to many households (20 to 80 %)"
    assert class_words(3, 3, survey_knowledge) == "most households (80 % or more)"
    assert class_words(0, 3, survey_knowledge) == ""


def test_steps():
    values = np.array([0.0, 0.3, 1.0, 2.0, 3.9, 7.0, 270.0])
    assert steps_down(values).tolist() == pytest.approx([0.0, 0.2, 1.0, 2.0, 2.0, 5.0, 200.0])
    assert steps_up(values).tolist() == pytest.approx([0.0, 0.5, 1.0, 2.0, 5.0, 10.0, 500.0])
    # Between 2 and 5 their geometric mean parts them, 3.16; between 5 and 10 it is 7.07.
    assert steps_near(values).tolist() == pytest.approx([0.0, 0.2, 1.0, 2.0, 5.0, 5.0, 200.0])


def test_two_streets_with_one_table_give_one_answer(whole, survey_knowledge):
    """Whoever has the shrub, and how large it is, changes nothing that anybody sees."""
    amount = whole.answers.amount.copy()
    amount[:, whole.answers.features.index("shrub")] = [9.0, 0.0] * 8
    other = dataclasses.replace(whole, answers=dataclasses.replace(whole.answers, amount=amount))
    one, two = (
        assessment_for(
            assess(hood, knowledge=survey_knowledge, groups=["wren"], straight=True),
            "public",
            released=table(hood, survey_knowledge),
        )
        for hood in (whole, other)
    )
    assert one.neighbourhood.classes.equals(two.neighbourhood.classes)
    first, second = one.groups["wren"], two.groups["wren"]
    for name in ("homes", "homes_low", "homes_high", "room"):
        pd.testing.assert_series_equal(getattr(first, name), getattr(second, name))
    assert first.measures.eca == second.measures.eca
    assert poster(one) == poster(two)


def test_the_groups_figure_lies_in_the_publics_range(survey_knowledge):
    """On the demo, for every group: what the group reads never contradicts the public page."""
    hood = read_neighbourhood(Path(__file__).parents[2] / "data_demo", knowledge=survey_knowledge)
    known = assess(hood, knowledge=survey_knowledge, straight=True)
    public = assessment_for(known, "public", released=table(hood, survey_knowledge))
    group = assessment_for(known, "group")
    assert len(public.groups) > 8
    for key, answer in public.groups.items():
        low, high = answer.homes_low.sum(), answer.homes_high.sum()
        assert low <= group.groups[key].homes.sum() <= high, key
        steps = answer.homes.to_numpy()
        assert np.allclose(steps, steps_near(steps))


def test_fences_leave_no_trace(whole, survey_knowledge):
    """Streets that differ in nothing but fences and their gaps give one public answer."""
    other = whole.barriers.assign(gap=["no", "yes"], kind=["wall", "hedge"])
    made = [
        assessment_for(
            assess(hood, knowledge=survey_knowledge, groups=["hedgehog"], straight=True),
            "public",
            released=table(hood, survey_knowledge),
        )
        for hood in (whole, dataclasses.replace(whole, barriers=other))
    ]
    assert made[0].groups["hedgehog"].ground is None
    one, two = (each.groups["hedgehog"] for each in made)
    pd.testing.assert_series_equal(one.homes, two.homes)
    assert one.network.length_mm.tolist() == two.network.length_mm.tolist()
    assert poster(made[0]) == poster(made[1])


def test_protected_animals_are_shown_to_nobody(survey_knowledge, whole):
    assert set(sensitive_features(survey_knowledge)) == {"bat_box", "old_roof_wall", "tree_hole"}
    assert "pipistrelle" not in shown_groups(survey_knowledge, [], "group")
    assert "pipistrelle" in shown_groups(survey_knowledge, [], "own")
    assert shown_groups(survey_knowledge, ["slow_worm", "robin"], "public") == ["robin"]
    with pytest.raises(WrongUse, match="protected"):
        shown_groups(survey_knowledge, ["pipistrelle"], "public")
    made = assess(whole, knowledge=survey_knowledge, groups=["pipistrelle", "wren"], straight=True)
    public = assessment_for(made, "public", released=table(whole, survey_knowledge))
    assert list(public.groups) == ["wren"]


def test_no_way_back(whole, survey_knowledge):
    seen = for_audience(
        whole, "public", knowledge=survey_knowledge, released=table(whole, survey_knowledge)
    )
    assert for_audience(seen, "public", knowledge=survey_knowledge) is seen
    with pytest.raises(WrongUse, match="made for public"):
        for_audience(seen, "own", knowledge=survey_knowledge)
