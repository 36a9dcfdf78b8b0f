"""The tables of planter schemes: complete, sourced, and one list of faults where they are not."""

import csv
from importlib import resources

import pytest

from patchnet.core.errors import TableFaults
from patchnet.knowledge import describe_source, load_knowledge

KNOW = load_knowledge()
FOLDER = resources.files("patchnet.knowledge") / "tables"


def raw(table):
    return list(csv.DictReader((FOLDER / table).read_text(encoding="utf-8").splitlines()))


def test_every_row_is_a_record_with_its_source():
    assert len(KNOW.upkeep_tasks) == len(raw("scheme_upkeep.csv"))
    assert len(KNOW.scheme_risks) == len(raw("scheme_risks.csv"))
    assert len(KNOW.scheme_consents) == len(raw("scheme_consents.csv"))
    assert set(KNOW.scheme_figures) == {row["key"] for row in raw("scheme_figures.csv")}
    for table, records in (
        ("scheme_upkeep", KNOW.upkeep_tasks),
        ("scheme_risks", KNOW.scheme_risks),
        ("scheme_consents", KNOW.scheme_consents),
    ):
        for record in records:
            assert set(record.sources) <= set(KNOW.sources)
            assert f"{table}/{record.key}" in describe_source(KNOW, f"{table}/{record.key}")


def test_what_a_county_asks_for_with_an_application_is_there():
    """Hampshire asks for what it is with picture and size, a plan with the exact position, a
    24-hour contact, signing and guarding, a risk assessment, and evidence of cover (GBP 5 m)."""
    asked = {one.key for one in KNOW.scheme_consents if one.part == "evidence"}
    assert {"picture", "plan", "ring", "signing", "risk", "cover"} <= asked
    assert KNOW.scheme_figure("liability_gbp") == 5_000_000


def test_wet_soil_lies_in_the_published_ranges():
    """Light mixes 1000-1300 kg/m3, ordinary topsoil 1600-1800 (trade and university pages)."""
    assert 1000 <= KNOW.scheme_figure("soil_light_kg_m3") <= 1300
    assert 1600 <= KNOW.scheme_figure("soil_loam_kg_m3") <= KNOW.scheme_figure("soil_check_kg_m3")
    assert KNOW.scheme_figure("soil_check_kg_m3") == 1800


def test_own_rates_lie_over_ours_and_faults_stand_in_one_list(tmp_path):
    head = "key,value,unit,low,high,class,source,note\n"
    own = tmp_path / "scheme_figures.csv"
    own.write_text(head + "cost_label,20,GBP,20,20,assumption,patchnet,Offer of June\n")
    assert load_knowledge(tmp_path).scheme_figure("cost_label") == 20
    own.write_text(
        head + "cost_lable,20,GBP,20,20,assumption,patchnet,x\n"
        "bay_m,0,m,0,0,assumption,patchnet,x\n"
        "mulch_m,3,cm,3,3,assumption,patchnet,x\n"
    )
    with pytest.raises(TableFaults) as caught:
        load_knowledge(tmp_path)
    said = str(caught.value)
    for words in ("cost_label", "'value' is 0", "The unit is 'cm'"):
        assert words in said
