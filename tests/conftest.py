"""A street to be surveyed, and what volunteers hand in of it: for the tests of several rooms."""

import gc
import os
import pickle

import pytest

# What the tests need is imported where they run: who only hands them out begins the sooner
from patchnet.core import reader_child
from patchnet.core.compiled import leave_cores_to

# Commands take a hundred draws unless told otherwise; tests of draws say how many they want
os.environ["PATCHNET_DRAWS"] = "0"
# Every test works everything out; tests of what is kept take this back
os.environ["PATCHNET_NO_CACHE"] = "1"

# Workers side by side fill the cores: threads of linear algebra in each would wait for each other
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def pytest_configure(config):
    """How long an example takes is the machine's business, not the program's."""
    if config.getoption("numprocesses", None) and not hasattr(config, "workerinput"):
        return  # hands out the tests, and runs none
    from hypothesis import settings  # noqa: PLC0415 - see above

    settings.register_profile("untimed", deadline=None)
    settings.load_profile("untimed")
    # Each worker has its part of the cores: more threads would only wait for each other.
    leave_cores_to(int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1")))


LONGEST = {"test_notebook", "test_types"}


def pytest_collection_finish():
    """Spare the collector of garbage what stays to the end: rounds over it took an eighth."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


def pytest_collection_modifyitems(items):
    """Put the longest first: at the end one worker would be left alone with them."""
    items.sort(key=lambda item: getattr(item, "originalname", item.name) not in LONGEST)


class _NoChild:
    """The pipe to a reader, answered in this process: asked and told in bytes, as by a child."""

    def send(self, asked):
        function, path, others, _ = pickle.loads(pickle.dumps(asked))  # noqa: S301 - our own
        self._told = reader_child._answer(function, path, others)

    def poll(self, _seconds):
        return True

    def recv_bytes(self):
        return self._told

    def close(self):
        pass


# Read in a child of their own, as people's files are: what its limits are, and what breaks it
REAL_CHILD = {"test_reader_child", "test_hostile_returns", "test_fuzz", "test_faults"}


@pytest.fixture(scope="module", autouse=True)
def read_here(request):
    """Read files without a child, but where the child itself is tested.

    All the rest of the way is the same. A copy of a large program for each of thousands of small
    files takes longer than their reading. Programs that tests start have their children.
    """
    if request.module.__name__.rpartition(".")[2] in REAL_CHILD:
        yield
        return
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reader_child.ReaderChild, "_started", lambda *_: _NoChild())
        yield


@pytest.fixture(scope="session")
def survey_knowledge():
    from patchnet.knowledge import load_knowledge  # noqa: PLC0415 - see above

    return load_knowledge()


@pytest.fixture(scope="session")
def _street_file(tmp_path_factory, survey_knowledge):
    """The map of the street, made once."""
    from worlds.surveyed_street import street_file  # noqa: PLC0415 - see above

    path = tmp_path_factory.mktemp("street") / "street.gpkg"
    street, ids = street_file(path, survey_knowledge)
    return path.read_bytes(), street, ids


@pytest.fixture(scope="session")
def street_in(_street_file):
    """Give fresh copies of the street to be surveyed, each in a folder of its own."""
    from worlds.surveyed_street import SurveyStreet  # noqa: PLC0415 - see above

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
