"""A scheme on the demo's street put together by hand, so that pages are tested without a search."""

import dataclasses
from pathlib import Path

import pytest
from worlds.made_scheme import made_scheme

from patchnet.read import read_neighbourhood
from patchnet.street import find_street, planter_sites

DEMO = Path(__file__).parents[3] / "data_demo"


@pytest.fixture(scope="session")
def demo_scheme(knowledge):
    # The demo lies nowhere; the report is read as one for a council in Britain.
    hood = dataclasses.replace(read_neighbourhood(DEMO, knowledge=knowledge), country="gb")
    street = find_street(hood, "Wickthorn Street", knowledge=knowledge)
    sites = planter_sites(hood, street, knowledge=knowledge)
    return made_scheme(hood, street, sites, knowledge)
