"""Whatever stands in a return: read, or refused in words; never anything else."""

import contextlib
import csv
import io
import json
from datetime import date

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from patchnet.core.errors import CannotRead
from patchnet.core.fault_list import FaultList
from patchnet.survey.merge import merge_returns
from patchnet.survey.read_returns import read_return

FUZZ = settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
WORDS = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=12),
    st.sampled_from(["1", "pond", "there", "not there", "2026-05-02", "-3", "1e400", "\ud800"]),
    st.lists(st.integers(), max_size=2),
)  # fmt: skip
KEYS = ("plot", "feature", "answer", "amount", "unit", "sure", "seen_from", "surveyor", "when",
        "note", "photo", "consent", "geometry")  # fmt: skip
ROW = st.dictionaries(st.sampled_from(KEYS), WORDS)
RETURN = st.fixed_dictionaries(
    {"statements": st.one_of(WORDS, st.lists(st.one_of(ROW, WORDS), max_size=4))},
    optional={
        key: st.one_of(WORDS, st.lists(ROW, max_size=2))
        for key in ("id", "drawn", "consent", "surveyor", "began", "saved", "made", "seen_from")
    },
)


class Street:
    """Merges one file into the street; its short name keeps reports of failures readable."""

    def __init__(self, street, knowledge):
        self.street, self.knowledge = street, knowledge

    def merged(self, name, text, encoding="utf-8"):
        path = self.street.write(name, text, encoding)
        return merge_returns(
            self.street.path, [path], knowledge=self.knowledge, today=date(2026, 6, 1),
            same_street=True,
        )  # fmt: skip


@pytest.fixture
def street(surveyed, survey_knowledge):
    return Street(surveyed, survey_knowledge)


@FUZZ
@example(content={"statements": None, "id": "\ud800", "surveyor": "\udfff"})
@given(content=RETURN)
def test_any_json(street, content):
    found = street.merged("a.return.json", json.dumps(content))
    assert len(found.records.statements) <= 5
    assert all(str(fault) for fault in found.faults)


@FUZZ
@given(rows=st.lists(st.lists(st.text(max_size=8), min_size=5, max_size=5), max_size=4))
def test_any_sheet(street, rows):
    text = io.StringIO()
    csv.writer(text).writerows([["plot", "feature", "answer", "amount", "date"], *rows])
    found = street.merged("a.csv", text.getvalue(), "utf-16")
    assert len(found.records.statements) <= len(rows)


@FUZZ
@given(raw=st.binary(max_size=300), name=st.sampled_from(["a.json", "a.csv", "a.xlsx", "a"]))
def test_any_bytes(surveyed, raw, name):
    path = surveyed.write(name, raw)
    with contextlib.suppress(CannotRead):
        read_return(path, FaultList())


@FUZZ
@given(at=st.integers(0, 900), to=st.integers(0, 255))
@example(at=158, to=ord("]"))
def test_one_byte_wrong(surveyed, at, to):
    """One damaged byte costs at most one statement, unless it is in the frame of the file."""
    path = surveyed.hand_in("a", [(str(n), "pond", "there") for n in range(1, 9)])
    raw = bytearray(path.read_bytes())
    begin = raw.index(b'"statements"')
    raw[begin + 16 + at] = to
    path.write_bytes(bytes(raw))
    found = read_return(path, FaultList())
    assert len(found.said) >= 7


def test_a_folder_is_no_return(tmp_path):
    with pytest.raises(CannotRead):
        read_return(tmp_path, FaultList())
