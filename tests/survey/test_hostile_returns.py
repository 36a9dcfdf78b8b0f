"""Returns that are meant to do harm, or are badly damaged: each is left out by name, no more."""

import json
import os
import time
from datetime import date

import pytest
from worlds.hostile_returns import a_workbook

from patchnet.core.errors import CannotRead
from patchnet.core.reader_child import Limits, ReaderChild
from patchnet.survey.merge import merge_returns

TODAY = date(2026, 6, 1)
SHEET = "plot,feature,answer\n"


def a_digit_monster(street):
    return "bad.return.json", f'{{"patchnet_return": 1, "x": {"9" * 5000}, "statements": 3}}'


def a_deep_one(street):
    return "bad.return.json", '{"patchnet_return": 1, "x": ' + '{"a":' * 900 + "1" + "}" * 901


def damaged_all_through(street):
    """Two megabytes of statements, every one broken in its middle."""
    broken = '{"plot": "1", "feature": "pond", "ans' + "\x01" * 20
    return "bad.return.json", '{"patchnet_return": 1, "statements": [' + broken * 35_000


def an_open_string(street):
    """No quotation mark is closed from the first statement on."""
    return "bad.return.json", '{"patchnet_return": 1, "statements": [' + '{"plot": "1 ' * 150_000


def a_cell_in_the_last_corner(street):
    cell = '<row r="1048576"><c r="XFD1048576" t="inlineStr"><is><t>x</t></is></c></row>'
    return "bad.xlsx", a_workbook(cell)


def a_bomb(street):
    """4 MB or less that unpack to 1 GB: never unpacked in the test, the head says so."""
    return "bad.xlsx", a_workbook("<row/>" + " " * 250_000_000)


def unknown_plots(street):
    rows = "".join(f"Z{at}x,pond,there\n" for at in range(200_000))
    return "bad.csv", f"street,{SHEET}" + "".join(f"{street},{row}\n" for row in rows.splitlines())


BAD = (
    a_digit_monster, a_deep_one, damaged_all_through, an_open_string, a_cell_in_the_last_corner,
    a_bomb, unknown_plots,
)  # fmt: skip


def at_work():
    """Seconds of the processor so far, of this process and of the readers that it has ended."""
    used = os.times()
    return used.user + used.system + used.children_user + used.children_system


@pytest.mark.parametrize("make", BAD)
def test_one_bad_return_stops_nothing(surveyed, survey_knowledge, make):
    surveyed.hand_in("ann", [("1", "pond", "there")])
    name, content = make(surveyed.street)
    surveyed.write(name, content)
    begin = at_work()  # by the clock it takes as long as the computer is busy with other things
    found = merge_returns(surveyed.path, surveyed.files, knowledge=survey_knowledge, today=TODAY)
    assert at_work() - begin < 60
    assert found.records.statements["plot"].tolist() == ["1"]
    told = [str(fault) for fault in found.faults]
    assert any(name in one for one in told)
    assert len(told) <= 60
    assert sum(map(len, told)) < 20_000
    if make is unknown_plots:
        assert any("and 199950 more" in one for one in told)


def _forever(path):
    while True:
        time.sleep(1)


def _busy(path):
    while True:
        pass


def _hungry(path):
    return len(bytearray(4 * 2**30))


def _dies(path):
    os._exit(3)


def _well(path):
    return path.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("harm", "words"),
    [
        (_forever, "given up"),
        (_busy, "given up"),
        (_hungry, "MB of memory"),
        (_dies, "fail"),
    ],
)
def test_a_reader_that_hangs_eats_or_dies(tmp_path, harm, words):
    """The next file is read by a new child."""
    file = tmp_path / "a.txt"
    file.write_text("well", encoding="utf-8")
    with ReaderChild(Limits(1, 0, 500, 0, 1)) as child:
        with pytest.raises(CannotRead, match=words):
            child.read(harm, file)
        assert child.read(_well, file) == "well"


def test_too_large_is_not_begun(tmp_path):
    file = tmp_path / "a.txt"
    file.write_bytes(b"x" * 2**21)
    with ReaderChild(Limits(3, 0, 500, 0, 1)) as child, pytest.raises(CannotRead, match="2 MB"):
        child.read(_well, file)


def test_a_number_without_end_keeps_the_rest(surveyed, survey_knowledge):
    """What stands before it is read all the same, and said to be all."""
    whole = json.loads(surveyed.hand_in("ann", [("1", "pond", "there")]).read_text("utf-8"))
    text = json.dumps(whole)[:-1] + f', "x": {"9" * 5000}}}'
    surveyed.files.clear()
    surveyed.write("monster.return.json", text)
    found = merge_returns(surveyed.path, surveyed.files, knowledge=survey_knowledge, today=TODAY)
    assert len(found.records.statements) == 1
    assert "damaged" in str(found.faults[0])
