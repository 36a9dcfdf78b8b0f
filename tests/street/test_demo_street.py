"""The demo's main road shows every verdict, and what its coordinator meets on a Saturday."""

from pathlib import Path

import pytest

from patchnet.read import read_neighbourhood
from patchnet.street import find_street, planter_sites

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


@pytest.fixture(scope="module")
def hood(know):
    return read_neighbourhood(DEMO, knowledge=know)


@pytest.fixture(scope="module")
def sites(hood, know):
    street = find_street(hood, "wickthorn street", knowledge=know)
    return planter_sites(hood, street, knowledge=know)


def test_all_four_verdicts_occur(sites):
    assert {site.verdict for site in sites} == {"fits", "ask", "measure", "no"}
    assert sum(site.verdict == "fits" for site in sites) >= 4
    assert {site.side for site in sites} == {"left", "right"}


def test_widths_are_measured_in_part_and_unknown_in_part(sites):
    assert {site.clear_basis for site in sites} == {"measured", "from the map", "assumed"}
    assert any(site.footway_m is None for site in sites)


def test_planters_fit_in_the_gap_of_the_network(sites):
    """The chain of planters stops at 55 m of the chainage and goes on at 108 m."""
    open_places = [s.chainage_m for s in sites if s.verdict in {"fits", "ask"}]
    assert any(60 < place < 85 for place in open_places)


def test_keys_are_those_of_the_places(sites):
    assert len({site.key for site in sites}) == len(sites)
    assert list(sites) == sorted(sites, key=lambda site: (site.side, site.chainage_m))


def test_the_other_street_gives_its_driveways_their_views(hood, know):
    street = find_street(hood, "Mallowby Road", knowledge=know)
    rules = [area.rule for area in street.sight_areas]
    assert rules.count("sight_driveway") == 3
    assert rules.count("sight_junction") == 1
    # It has a bus stop, so lorries and buses count: 47 m at 30 mph in the published table.
    (junction,) = [area for area in street.sight_areas if area.rule == "sight_junction"]
    assert junction.reach_m == pytest.approx(47.0, abs=0.5)
