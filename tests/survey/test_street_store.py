"""A street's file in the hands of several programs: nothing lost, and every change taken back."""

import base64
import multiprocessing
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.base import keep_survey
from patchnet.core import street_store
from patchnet.core.errors import CannotRead, CannotWrite, WrongUse
from patchnet.core.geopackage import copy_geopackage
from patchnet.core.street_store import holding, read_journal, replacing
from patchnet.read import read_neighbourhood
from patchnet.survey.forget import forget_plots, record_consent
from patchnet.survey.merge import merge_records, merge_returns, write_merged
from patchnet.survey.photos import photo_folder
from patchnet.survey.survey_layers import read_records
from patchnet.survey.survey_record import SAID_IN, STATEMENTS, Records, state_digest
from patchnet.survey.undo import undo_return, without
from patchnet.survey.verify import verify_street

TODAY = date(2026, 6, 1)
FORMS = Path(__file__).with_name("forms")
# A GIS: opens a street in WAL mode, commits an edit, says so, and waits to be told to go.
GIS = """
import sqlite3, sys
there = sqlite3.connect(sys.argv[1])
there.execute("PRAGMA journal_mode = " + sys.argv[2])
there.execute("CREATE TABLE edited (fid INTEGER PRIMARY KEY, words TEXT)")
there.execute("INSERT INTO edited (words) VALUES ('an hour of work')")
there.commit()
print("open", flush=True)
sys.stdin.readline()
there.close()
"""


@pytest.fixture(autouse=True)
def _not_patient(monkeypatch):
    monkeypatch.setattr(street_store, "_FREE_S", 0.2)


@pytest.fixture
def gis():
    """Open a file in another program, as one does; closed or killed at the end."""
    running = []

    def call(path, mode="WAL"):
        one = subprocess.Popen(
            [sys.executable, "-c", GIS, str(path), mode], stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        running.append(one)
        assert one.stdout.readline() == "open\n"
        return one

    yield call
    for one in running:
        one.kill()
        one.communicate()


def merge(street, files, knowledge, target=None):
    found = merge_returns(street, files, knowledge=knowledge, today=TODAY)
    return write_merged(found, target or street)


def edits(path):
    with closing(sqlite3.connect(path)) as there:
        return [words for (words,) in there.execute("SELECT words FROM edited")]


def beside(path):
    return sorted(one.name for one in path.parent.iterdir() if one.name.startswith(path.name + "-"))


# another program has it open -----------------------------------------------------------------


def test_what_is_taken_back_takes_its_photographs_along(surveyed, survey_knowledge):
    """Two photographs of one return, one of another, and one that the group put there itself."""
    names = [f"{plot}~pond~0000000{at}.jpg" for at, plot in enumerate("112")]
    picture = base64.b64encode(b"\xff\xd8\xff\xda\x00\x02abc\xff\xd9").decode("ascii")
    taken = [{"name": name, "plot": name[0], "feature": "pond", "data": picture} for name in names]
    pair = "; ".join(names[:2])
    one = surveyed.hand_in("one", [("1", "pond", "there", None, "", pair)], photos=taken[:2])
    two = surveyed.hand_in("two", [("2", "pond", "there", None, "", names[2])], photos=taken[2:])
    for file in (one, two):
        given = {"knowledge": survey_knowledge, "today": TODAY}
        write_merged(merge_returns(surveyed.path, [file], **given), surveyed.path)
    folder = photo_folder(surveyed.path)
    (folder / "3~pond~00000009.jpg").write_bytes(b"ours")
    assert len(list(folder.iterdir())) == 4
    undo_return(surveyed.path, "one", knowledge=survey_knowledge)
    assert {file.name for file in folder.iterdir()} == {names[2], "3~pond~00000009.jpg"}
    write_merged(merge_returns(surveyed.path, [one], **given), surveyed.path)
    assert len(list(folder.iterdir())) == 4


@pytest.mark.parametrize("mode", ["WAL", "DELETE"])
def test_a_street_that_is_open_elsewhere_is_left_alone(surveyed, survey_knowledge, gis, mode):
    surveyed.hand_in("ann", [("1", "pond", "there", 2)])
    other = gis(surveyed.path, mode)
    for change in (
        lambda: merge(surveyed.path, surveyed.files, survey_knowledge),
        lambda: record_consent(surveyed.path, "1", "yes", surveyed.path),
        lambda: forget_plots(surveyed.path, ["1"], surveyed.path),
    ):
        with pytest.raises(CannotWrite, match=r"is open in another program.*close it there"):
            change()
    other.communicate("go\n")
    assert not beside(surveyed.path)
    merge(surveyed.path, surveyed.files, survey_knowledge)
    assert edits(surveyed.path) == ["an hour of work"]
    assert len(read_records(surveyed.path).statements) == 1
    assert verify_street(surveyed.path) == ()


def test_what_a_killed_program_had_committed_is_kept(surveyed, survey_knowledge, gis):
    surveyed.hand_in("ann", [("1", "pond", "there", 2)])
    other = gis(surveyed.path)
    other.kill()
    other.wait()
    assert beside(surveyed.path)  # its log is what the edit stands in
    merge(surveyed.path, surveyed.files, survey_knowledge)
    assert not beside(surveyed.path)
    assert edits(surveyed.path) == ["an hour of work"]


def test_a_household_does_not_come_back_out_of_a_log(surveyed, survey_knowledge, gis):
    surveyed.hand_in("ann", [("1", "pond", "there", 2, "CANARYNOTE")])
    with closing(sqlite3.connect(surveyed.path)) as there:
        there.execute("PRAGMA journal_mode = WAL")
    merge(surveyed.path, surveyed.files, survey_knowledge)
    other = gis(surveyed.path)
    other.kill()
    other.wait()
    forget_plots(surveyed.path, ["1"], surveyed.path)
    assert not beside(surveyed.path)
    assert not len(read_records(surveyed.path).statements)
    assert b"CANARYNOTE" not in surveyed.path.read_bytes()


def test_a_copy_has_what_stands_in_the_log(surveyed, gis, tmp_path):
    gis(surveyed.path)
    copy_geopackage(surveyed.path, tmp_path / "copy.gpkg")
    assert edits(tmp_path / "copy.gpkg") == ["an hour of work"]
    assert not beside(tmp_path / "copy.gpkg")


# several at once -----------------------------------------------------------------------------


def _merge_one(path, file, knowledge):
    street_store._FREE_S = 60
    with holding(path):
        merge(path, [file], knowledge)


def five_at_once(street, knowledge, rounds):
    """Let five surveyors hand in at the same moment, again and again."""
    for turn in range(rounds):
        files = [
            street.hand_in(f"{turn}-{one}", [("1", "pond", "there", 1 + turn + one / 8)],
                           who=f"Surveyor {one}")
            or street.files[-1]
            for one in range(5)
        ]  # fmt: skip
        context = multiprocessing.get_context("fork")
        writers = [
            context.Process(target=_merge_one, args=(street.path, file, knowledge))
            for file in files
        ]
        for one in writers:
            one.start()
        for one in writers:
            one.join()
        assert [one.exitcode for one in writers] == [0] * 5


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # forks beside threads at rest
def test_five_writers_at_once_lose_nothing(surveyed, survey_knowledge):
    rounds = int(os.environ.get("PATCHNET_ROUNDS", "2"))
    five_at_once(surveyed, survey_knowledge, rounds)
    records = read_records(surveyed.path)
    assert len(records.returns) == len(records.statements) == 5 * rounds
    assert read_journal(surveyed.path)["generation"].tolist() == list(range(1, 5 * rounds + 1))
    assert verify_street(surveyed.path) == ()


def test_what_was_read_before_somebody_elses_change_is_not_written(surveyed, survey_knowledge):
    surveyed.hand_in("ann", [("1", "pond", "there", 2)])
    surveyed.hand_in("bob", [("2", "pond", "there", 2)], who="Bob")
    ann, bob = (
        merge_returns(surveyed.path, [file], knowledge=survey_knowledge, today=TODAY)
        for file in surveyed.files
    )
    write_merged(ann, surveyed.path)
    with pytest.raises(CannotWrite, match="changed by somebody else"):
        write_merged(bob, surveyed.path)
    assert read_records(surveyed.path).returns["return"].tolist() == ["ann"]


def test_a_file_changed_while_the_new_one_is_written_stays(surveyed):
    def change_meanwhile():
        with replacing(surveyed.path) as draft:
            copy_geopackage(surveyed.path, draft)
            with closing(sqlite3.connect(surveyed.path)) as there:
                there.execute("CREATE TABLE edited (words TEXT)")

    with pytest.raises(CannotWrite, match="changed by somebody else"):
        change_meanwhile()
    assert edits(surveyed.path) == []


def test_what_a_killed_command_left_is_swept(surveyed, survey_knowledge):
    """It stands beside the output, private; the next command takes it away."""
    surveyed.hand_in("ann", [("1", "pond", "there", 2)])
    stop = (
        "import os, sys; from patchnet.core.files import write_aside\n"
        "with write_aside(sys.argv[1]) as draft:\n"
        "    draft.write_text('a household'); os._exit(9)"
    )
    subprocess.run([sys.executable, "-c", stop, str(surveyed.path)], check=False)
    (left,) = surveyed.folder.glob(".patchnet-*")
    assert left.stat().st_mode & 0o077 == 0
    merge(surveyed.path, surveyed.files, survey_knowledge)
    assert not list(surveyed.folder.glob(".patchnet-*"))
    assert not list(surveyed.folder.glob(".street.gpkg.lock"))


# taken back ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def _three_merged(tmp_path_factory, street_in, survey_knowledge):
    """Three returns, merged one after the other; the sheets say one thing alike."""
    street = street_in(tmp_path_factory.mktemp("three"))
    same = "1,pond,there,2,Ann,2026-05-02\n"
    head = "plot,feature,answer,amount,surveyor,date\n"
    street.write("a.csv", head + same + "2,shrub,there,,Ann,2026-05-02\n")
    street.write("b.csv", head + same + "3,shrub,not there,,Ann,2026-05-02\n")
    street.hand_in("cy", [("3", "pond", "there", 1)], who="Cy", consent=[
        {"plot": "3", "consent": "yes", "when": "2026-05-02T10:00:00+01:00"}])  # fmt: skip
    for file in street.files:
        found = merge_returns(
            street.path, [file], knowledge=survey_knowledge, today=TODAY, same_street=True
        )
        write_merged(found, street.path)
    return street


@pytest.fixture
def three(_three_merged, tmp_path):
    """A fresh copy of the street with its three returns."""
    path = tmp_path / _three_merged.path.name
    path.write_bytes(_three_merged.path.read_bytes())
    return replace(_three_merged, folder=tmp_path, path=path)


def state(path):
    records = read_records(path)
    return {
        name: getattr(records, name).astype(str).to_numpy().tolist()
        for name in ("statements", "drawn", "consent", "returns", "forgotten", "said_in")
    }


@pytest.mark.parametrize("middle", [0, 1, 2])
def test_a_return_is_taken_back_exactly(three, survey_knowledge, middle, tmp_path, street_in):
    (tmp_path / "fresh").mkdir()
    fresh = street_in(tmp_path / "fresh")
    others = [file for at, file in enumerate(three.files) if at != middle]
    for file in others:
        found = merge_returns(
            fresh.path, [file], knowledge=survey_knowledge, today=TODAY, same_street=True
        )
        write_merged(found, fresh.path)
    content = read_journal(three.path)["returns"].iloc[middle]
    returns = read_records(three.path).returns.set_index("content")["return"]
    undo_return(three.path, returns[content])
    assert state(three.path) == state(fresh.path)
    assert verify_street(three.path) == ()


def test_the_last_changes_are_taken_back_one_by_one(three):
    record_consent(three.path, "1", "yes", three.path)
    taken_back = [undo_return(three.path) for _ in range(4)]
    undone = [merged.entry for merged in taken_back]
    # What both sheets say is one statement, and goes with the first of them.
    assert [merged.new for merged in taken_back] == [{"statements": -k} for k in (0, 1, 1, 2)]
    assert [len(one.returns) for one in undone] == [0, 1, 1, 1]
    assert len(undone[0].answers) == 1
    assert not any(state(three.path).values())
    with pytest.raises(WrongUse, match="nothing to take back"):
        undo_return(three.path)
    assert read_journal(three.path)["what"].tolist() == [
        "merge", "merge", "merge", "consent", "undo", "undo", "undo", "undo",
    ]  # fmt: skip


def on_the_map(path):
    with closing(sqlite3.connect(path)) as there:
        return dict(there.execute("SELECT id, consent FROM plots WHERE consent IS NOT NULL"))


@pytest.mark.parametrize("mapped", [False, True])
def test_taking_back_an_answer_brings_back_what_the_map_said(three, mapped, tmp_path):
    """Plot 3 answered in Cy's return; the map itself may have said something of plots 1 and 2."""
    assert on_the_map(three.path) == {"3": "yes"}
    said = {"1": "yes", "2": "no"} if mapped else {}
    with closing(sqlite3.connect(three.path)) as there:
        for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
            there.create_function(name, 1, lambda _: None, deterministic=True)
        for plot, word in said.items():
            there.execute("UPDATE plots SET consent = ? WHERE id = ?", (word, plot))
        there.commit()
    record_consent(three.path, "1", "no", three.path)
    record_consent(three.path, "1", "yes", three.path)
    record_consent(three.path, "2", "yes", three.path)
    assert on_the_map(three.path) == {"1": "yes", "2": "yes", "3": "yes"}
    undo_return(three.path)
    assert on_the_map(three.path) == said | {"1": "yes", "3": "yes"}
    undo_return(three.path)
    assert on_the_map(three.path) == said | {"1": "no", "3": "yes"}
    undo_return(three.path, "cy")
    assert on_the_map(three.path) == said | {"1": "no"}
    undo_return(three.path)
    assert on_the_map(three.path) == said
    with closing(sqlite3.connect(three.path)) as there:
        assert not there.execute("SELECT * FROM survey_about WHERE name != 'street'").fetchall()


def test_what_is_copied_is_what_was_read(three, survey_knowledge, tmp_path):
    """Somebody merges into a street while its copy with another return is made."""
    late = three.hand_in("dee", [("4", "pond", "there", 1)], who="Dee")
    found = merge_returns(three.path, [late], knowledge=survey_knowledge, today=TODAY)
    record_consent(three.path, "1", "yes", three.path)
    with pytest.raises(CannotWrite, match="changed by somebody else"):
        write_merged(found, tmp_path / "copy.gpkg")
    assert not (tmp_path / "copy.gpkg").exists()


def test_no_such_return(three):
    with pytest.raises(WrongUse, match=r"There is no return 'cyy'\. Did you mean cy"):
        undo_return(three.path, "cyy")


def test_forgetting_cannot_be_taken_back(three):
    forget_plots(three.path, ["3"], three.path)
    with pytest.raises(WrongUse, match="cannot be taken back"):
        undo_return(three.path)
    journal = read_journal(three.path)
    assert journal.iloc[-1][["what", "returns", "answers"]].tolist() == ["forget", "", ""]
    # Cy told of plot 3 alone: no row of the journal leads to that return any more.
    assert journal["returns"].iloc[2] == ""
    assert set(journal["digest"].iloc[:-1]) == {""}
    assert verify_street(three.path) == ()


def test_what_two_sheets_say_alike_outlives_forgetting_and_taking_back(three):
    """Plot 3 is all that the second sheet said alone; what it says with the first stays its own."""
    forget_plots(three.path, ["3"], three.path)
    records = read_records(three.path)
    assert len(records.returns) == 2
    content = records.statements.set_index("plot").loc["2", "return"]
    undo_return(three.path, content)
    (row,) = read_records(three.path).statements.itertuples()
    assert (row.plot, row.feature) == ("1", "pond")
    assert verify_street(three.path) == ()


@settings(max_examples=25)
@given(data=st.data())
def test_taking_back_is_the_same_as_never_having_merged(data):
    """With records alone: a plain set of (statement, content) is what must be left."""
    contents = data.draw(
        st.dictionaries(
            st.sampled_from("ABCD"), st.sets(st.sampled_from("stuvw"), min_size=1), min_size=1
        )
    )

    def records(content, said):
        rows = [
            dict.fromkeys(STATEMENTS, "") | {"statement": one, "return": f"r{content}"}
            for one in sorted(said)
        ]
        return Records(
            statements=pd.DataFrame(rows, columns=list(STATEMENTS), dtype=object),
            returns=pd.DataFrame([{"return": f"r{content}", "content": content}], dtype=object),
            said_in=pd.DataFrame(
                [(one, content) for one in sorted(said)], columns=list(SAID_IN), dtype=object
            ),
        )

    whole, rest = Records(), Records()
    gone = data.draw(st.sets(st.sampled_from(sorted(contents))))
    for content in data.draw(st.permutations(sorted(contents))):
        whole = merge_records(whole, records(content, contents[content]))
        if content not in gone:
            rest = merge_records(rest, records(content, contents[content]))
    left = without(whole, sorted(gone))
    assert state_digest(left) == state_digest(rest)
    one, other = (part.statements[["statement", "return"]] for part in (left, rest))
    assert one.to_numpy().tolist() == other.to_numpy().tolist()


# verified ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("UPDATE statements SET answer = 'not there' WHERE plot = '2'", "digest does not hold"),
        ("DELETE FROM statements WHERE plot = '2'", "not what the last change left"),
        ("DELETE FROM returns WHERE return = 'cy'", "lead to no return"),
        ("DELETE FROM street_journal WHERE generation = 2", "without a gap"),
        ("UPDATE survey SET answer = 'not there' WHERE plot = '2'", "not what the statements"),
    ],
)
def test_what_is_wrong_is_said(three, change, words):
    with closing(sqlite3.connect(three.path)) as there:
        for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
            there.create_function(name, 1, lambda _: None, deterministic=True)
        assert there.execute(change).rowcount
        there.commit()
    assert words in " ".join(map(str, verify_street(three.path)))


# forms ---------------------------------------------------------------------------------------


def test_a_later_form_is_refused_by_name(three):
    with closing(sqlite3.connect(three.path)) as there:
        there.execute("UPDATE street_store SET value = '4' WHERE name = 'form'")
        there.commit()
    for read in (read_records, read_neighbourhood, read_journal):
        with pytest.raises(CannotRead, match="is of form 4, and this patchnet reads forms 1 to 3"):
            read(three.path)


@pytest.mark.parametrize("form", [1, 2, 3])
def test_every_form_opens_and_is_upgraded(form, tmp_path, survey_knowledge):
    """Files that stand here for ever: three returns, two of which say one thing alike."""
    path = tmp_path / "street.gpkg"
    shutil.copy(FORMS / f"form_{form}.gpkg", path)
    records = read_records(path)
    assert len(records.statements) == 4
    assert len(records.returns) == 3
    assert verify_street(path) == ()
    record_consent(path, "1", "yes", path, knowledge=survey_knowledge)
    journal = read_journal(path)
    assert street_store.form_of(path) == 3
    begins = ["earlier form"] if form == 1 else ["merge", "merge", "merge"]
    assert journal["what"].tolist() == [*begins, "consent"]
    assert len(undo_return(path, "cy").records.statements) == 3
    assert verify_street(path) == ()


# a new base ----------------------------------------------------------------------------------


def test_a_new_base_carries_journal_ledger_units_and_register(three, street_in, tmp_path):
    with closing(sqlite3.connect(three.path)) as there:
        for name in ("released", "release_units", "written"):
            there.execute(f"CREATE TABLE {name} (fid INTEGER PRIMARY KEY, unit TEXT)")
            there.execute(f"INSERT INTO {name} (unit) VALUES (?)", (f"kept {name}",))  # noqa: S608
        there.commit()
    (tmp_path / "new").mkdir()
    new = street_in(tmp_path / "new")
    assert keep_survey(three.path, new.path) == len(read_records(three.path).statements)
    assert read_journal(new.path)["what"].tolist() == ["merge", "merge", "merge", "new base"]
    with closing(sqlite3.connect(new.path)) as there:
        for name in ("released", "release_units", "written"):
            rows = there.execute(f"SELECT unit FROM {name}")  # noqa: S608
            assert list(rows) == [(f"kept {name}",)]
    assert verify_street(new.path) == ()
