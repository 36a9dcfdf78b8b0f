"""Street rules of other countries: theirs where known, a British one that says so, ours on top."""

import pytest

from patchnet.knowledge import load_knowledge
from patchnet.knowledge.country_rules import rules_in
from patchnet.knowledge.stopping_sight import stopping_sight_m
from patchnet.street.findings import source_of

KNOW = load_knowledge()


@pytest.mark.parametrize(
    ("country", "fits", "ask"),
    # Pages of German, Dutch, Flemish and New Zealand towns; see sources.csv.
    [("de", 1.8, 1.5), ("nl", 1.5, 1.2), ("be", 1.5, 1.2), ("nz", 2.0, 1.5), ("gb", 2.0, 1.5),
     ("fi", 2.0, 1.5), ("elsewhere", 2.0, 1.5)],
)  # fmt: skip
def test_walking_widths(country, fits, ask):
    there = rules_in(KNOW, country)
    assert there.street_rule("clear_width_fits_m") == fits
    assert there.street_rule("clear_width_ask_m") == ask
    british = "ask your authority" in source_of("clear_width_fits_m", there)
    assert british is (country in {"fi", "elsewhere"})


def test_where_the_limit_is_50_km_h_drivers_need_45_m():
    """Manual for Streets (2007), table 7.1: 45 m at 50 km/h, 43 m at 48 km/h (30 mph)."""
    speed = {at: rules_in(KNOW, at).street_rule("speed_default_mph") for at in ("cz", "gb")}
    assert round(stopping_sight_m(speed["cz"], knowledge=KNOW)) == 45
    assert round(stopping_sight_m(speed["gb"], knowledge=KNOW)) == 43


def test_what_is_no_countrys_stays_without_a_word():
    assert "ask your authority" not in source_of("clear_gully_m", rules_in(KNOW, "fi"))


def test_at_home_nothing_is_changed():
    assert rules_in(KNOW, "gb") is KNOW


def test_an_authoritys_own_rules_hold_in_every_country(tmp_path):
    (tmp_path / "street_rules.csv").write_text(
        "key,value,unit,low,high,class,source,note\n"
        "clear_width_fits_m,1.9,m,1.9,1.9,assumption,patchnet,Our town\n"
    )
    theirs = rules_in(load_knowledge(tmp_path), "de")
    assert theirs.street_rule("clear_width_fits_m") == 1.9
    assert theirs.street_rule("clear_width_ask_m") == 1.5
    assert "ask your authority" not in source_of("clear_width_fits_m", theirs)


def test_in_every_country_less_is_asked_about_than_fits():
    for country in KNOW.countries:
        there = rules_in(KNOW, country)
        assert there.street_rule("clear_width_ask_m") <= there.street_rule("clear_width_fits_m")
