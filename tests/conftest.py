"""A street to be surveyed, and what volunteers hand in of it: for the tests of several rooms."""

import os

import pytest
from hypothesis import settings
from worlds.surveyed_street import SurveyStreet, street_file

from patchnet.knowledge import load_knowledge

# How long an example takes is the machine's business, not the program's
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

# Commands take a hundred draws unless told otherwise; tests of draws say how many they want
os.environ["PATCHNET_DRAWS"] = "0"


@pytest.fixture(scope="session")
def survey_knowledge():
    return load_knowledge()


@pytest.fixture(scope="session")
def _street_file(tmp_path_factory, survey_knowledge):
    """The map of the street, made once."""
    path = tmp_path_factory.mktemp("street") / "street.gpkg"
    street, ids = street_file(path, survey_knowledge)
    return path.read_bytes(), street, ids


@pytest.fixture(scope="session")
def street_in(_street_file):
    """Give fresh copies of the street to be surveyed, each in a folder of its own."""
    content, street, ids = _street_file

    def copy(folder):
        path = folder / "street.gpkg"
        path.write_bytes(content)
        return SurveyStreet(folder, path, street, ids)

    return copy


@pytest.fixture
def surveyed(tmp_path, street_in):
    """A fresh copy of the street to be surveyed."""
    return street_in(tmp_path)
