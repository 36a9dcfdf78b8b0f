"""What others may see: canaries in every private field, and not one in any public byte."""

import dataclasses
import re
from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.assess import assess
from patchnet.commands import main as command_line
from patchnet.core.errors import WrongUse
from patchnet.pages.privacy import (
    TOGETHER,
    assessment_for,
    for_audience,
    rows_for_public,
    sensitive_features,
    shown_groups,
)
from patchnet.read import read_neighbourhood
from patchnet.street.stretches import cut
from patchnet.survey.merge import merge_returns, write_merged

# In every private field a word of its own; the amount is a number nobody else has.
CANARIES = (
    "CANARYADDRESS", "CANARYHOUSE", "CANARYNOTE", "CANARYPHOTO", "CANARYWHO", "CANARYRETURN",
    "CANARYSTREET", "CANARYDOOR",
)  # fmt: skip
AMOUNT = 7.1234567
SECRET = ("bat_box", "old_roof_wall", "fence_gap")


@pytest.fixture(scope="module")
def canaries(tmp_path_factory, street_in, survey_knowledge):
    """Every private field filled, plots 1 and 2 shown with consent, plot 3 refusing."""
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
        if path.name != "breaks.csv":  # a table without a row says nothing
            assert any(name.lower() in text for name in names), path.name


def test_files_say_what_was_left_out(canaries, outputs):
    """The two terms of Darwin Core stand in every row of every public file."""
    assert outputs
    table = pd.read_csv(canaries.folder / "plots.csv")
    assert table["dataGeneralizations"].str.contains("laid together in").all()
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
    assert "laid together in" in page


def test_who_is_shown_how(canaries, survey_knowledge):
    """On paper: 1 and 2 alone; 3, 4, 6-8 of the south side and 9-16 of the north laid together;
    5, of a street by itself, with the last of them."""
    hood = read_neighbourhood(canaries.path, knowledge=survey_knowledge)
    seen = for_audience(hood, "public", knowledge=survey_knowledge)
    single = seen.plots[seen.plots["kind"] != TOGETHER]
    together = seen.plots[seen.plots["kind"] == TOGETHER]
    assert len(single) == 2
    assert single["area_m2"].tolist() == [600.0, 600.0]
    assert sorted(together["area_m2"] / 600) == [6, 8]
    assert sorted(together["label"]) == [
        "6 plots together",  # of two streets: neither is named
        "8 plots together (Alder Row, north side)",
    ]
    assert list(seen.plots.index) == ["s1", "s2", "s3", "s4"]
    assert len(seen.barriers) == len(seen.features) == 0
    table = seen.answers.table()
    assert table["pond"].tolist()[:2] == [7.1, 7.1]
    assert sorted(table["pond"].tolist()[2:]) == pytest.approx([43.0, 57.0])
    assert table[list(SECRET)].isna().all(axis=None)
    # Nothing changed in what was given.
    assert hood.audience == "own"
    assert len(hood.barriers) == 2


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


def test_too_few_are_shown_not_at_all(surveyed, survey_knowledge):
    hood = read_neighbourhood(surveyed.path, knowledge=survey_knowledge)
    few = dataclasses.replace(
        hood,
        plots=hood.plots.iloc[:4],
        answers=dataclasses.replace(
            hood.answers,
            plots=hood.plots.index[:4],
            amount=hood.answers.amount[:4],
            sized=hood.answers.sized[:4],
            sure=hood.answers.sure[:4],
        ),
    )
    with pytest.raises(WrongUse, match="fewer than 5"):
        for_audience(few, "public", knowledge=survey_knowledge)
    one = few.plots.assign(consent=["yes", "", "", ""])
    seen = for_audience(dataclasses.replace(few, plots=one), "public", knowledge=survey_knowledge)
    assert len(seen.plots) == 1
    assert "3 plots: too few" in seen.withheld


CONSENTS = st.lists(st.sampled_from(["yes", "no", ""]), min_size=16, max_size=16)


@pytest.fixture(scope="module")
def whole(tmp_path_factory, street_in, survey_knowledge):
    path = street_in(tmp_path_factory.mktemp("whole")).path
    return read_neighbourhood(path, knowledge=survey_knowledge)


@settings(max_examples=25, deadline=None)
@given(consent=CONSENTS)
def test_whoever_agrees(whole, survey_knowledge, consent):
    """Nobody without consent stands alone; each plot is drawn once or left out and counted."""
    hood = dataclasses.replace(whole, plots=whole.plots.assign(consent=consent))
    agreed = consent.count("yes")
    if agreed == 0 and len(consent) < 5:
        return
    seen = for_audience(hood, "public", knowledge=survey_knowledge)
    single = seen.plots["kind"] != TOGETHER
    assert single.sum() == agreed
    sizes = (seen.plots.loc[~single, "area_m2"] / 600).round().astype(int)
    assert (sizes >= 5).all()
    left = 16 - agreed - sizes.sum()
    assert left == 0 or (left < 10 and f"{left} plots: too few" in seen.withheld)
    shapes = seen.plots.geometry.to_numpy()
    for at, shape in enumerate(shapes):
        for other in shapes[at + 1 :]:
            assert shapely.intersection(shape, other).area < 1e-6
    for shape, alone in zip(hood.plots.geometry, np.array(consent) == "yes", strict=True):
        if alone:
            assert any(shapely.equals(shape, one) for one in shapes[single.to_numpy()])


def test_fences_leave_no_trace(whole, survey_knowledge):
    """Streets that differ in nothing but fences and their gaps give one public answer."""
    other = whole.barriers.assign(gap=["no", "yes"], kind=["wall", "hedge"])
    made = [
        assess(
            for_audience(hood, "public", knowledge=survey_knowledge),
            knowledge=survey_knowledge,
            groups=["hedgehog"],
        )
        for hood in (whole, dataclasses.replace(whole, barriers=other))
    ]
    assert made[0].groups["hedgehog"].ground is None
    one, two = (each.groups["hedgehog"] for each in made)
    pd.testing.assert_series_equal(one.homes, two.homes)
    assert one.network.length_mm.tolist() == two.network.length_mm.tolist()


def test_protected_animals_are_shown_to_nobody(survey_knowledge, whole):
    assert set(sensitive_features(survey_knowledge)) == {"bat_box", "old_roof_wall"}
    assert "pipistrelle" not in shown_groups(survey_knowledge, [], "group")
    assert "pipistrelle" in shown_groups(survey_knowledge, [], "own")
    with pytest.raises(WrongUse, match="protected"):
        shown_groups(survey_knowledge, ["pipistrelle"], "public")
    made = assess(whole, knowledge=survey_knowledge, groups=["pipistrelle", "wren"], straight=True)
    assert list(assessment_for(made, "public").groups) == ["wren"]


def test_no_way_back(whole, survey_knowledge):
    seen = for_audience(whole, "public", knowledge=survey_knowledge)
    assert for_audience(seen, "public", knowledge=survey_knowledge) is seen
    with pytest.raises(WrongUse, match="made for public"):
        for_audience(seen, "own", knowledge=survey_knowledge)


@given(st.integers(0, 200), st.integers(1, 12))
def test_stretches_are_even_and_never_short(count, size):
    lengths = cut(count, size)
    assert sum(lengths) == count
    if count >= size:
        assert min(lengths) >= size
        assert max(lengths) - min(lengths) <= 1
        assert max(lengths) < 2 * size


def test_a_row_that_takes_in_no_other_keeps_its_name(survey_knowledge):
    """7 + 3 plots of one stretch are 10: enough, and nothing was joined to it; 9 more are not."""
    table = pd.DataFrame(
        {"stretch": ["A", "A", "B"], "side": ["east side", "west side", "east side"],
         "plots": [7, 3, 9], "looked_at": [7, 3, 0], "street_share": 0.5, "all_share": 0.25}
    )  # fmt: skip
    alone = rows_for_public(table[:2], knowledge=survey_knowledge)
    assert alone[["stretch", "plots"]].to_numpy().tolist() == [["A", 10]]
    both = rows_for_public(table, knowledge=survey_knowledge)
    assert both[["stretch", "plots"]].to_numpy().tolist() == [["A and smaller stretches", 19]]


@settings(deadline=None)
@given(counts=st.lists(st.integers(1, 30), min_size=1, max_size=12))
def test_public_rows_are_of_many_plots(survey_knowledge, counts):
    """Rows of few plots are joined; none is lost unless all together are too few."""
    table = pd.DataFrame(
        {
            "stretch": [f"stretch {at // 2}" for at in range(len(counts))],
            "side": ["north side", "south side"] * (len(counts) // 2)
            + ["north side"] * (len(counts) % 2),
            "plots": counts,
            "looked_at": [count // 2 for count in counts],
            "street_share": 0.5,
            "all_share": 0.25,
            "disputed": 1,
        }
    )
    rows = rows_for_public(table, knowledge=survey_knowledge)
    assert (rows["plots"] >= 10).all()
    assert rows["plots"].sum() == (sum(counts) if sum(counts) >= 10 else 0)
    assert rows["street_share"].tolist() == pytest.approx([0.5] * len(rows))
    assert "disputed" not in rows
