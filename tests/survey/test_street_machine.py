"""A street's file in any order of changes, beside a model of plain Python sets.

PATCHNET_LONG=1 runs more and longer series: some 2,000 changes, about a quarter of an hour of one
processor (with `pytest -s` it says how many). On a busy computer that is as much longer by the
clock.
"""

import os
import shutil
import sqlite3
import tempfile
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import geopandas as gpd
import pyogrio
import pytest
import shapely
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from worlds.surveyed_street import EAST, NORTH, SurveyStreet

from patchnet.base import keep_survey, make_base, write_base
from patchnet.core.errors import WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.read import read_neighbourhood
from patchnet.survey.forget import forget_plots, record_consent
from patchnet.survey.merge import consent_of, merge_returns, write_merged
from patchnet.survey.one_return import street_id
from patchnet.survey.survey_layers import read_records
from patchnet.survey.undo import undo_return
from patchnet.survey.verify import verify_street

LONG = bool(os.environ.get("PATCHNET_LONG"))
TODAY = date(2026, 9, 1)
MADE = {}
DONE = []  # changes of each series of the machine
# What failed is shown, and made shorter for five minutes at most; to explain it would take as long.
PHASES = (Phase.explicit, Phase.reuse, Phase.generate, Phase.shrink)
PLOTS = ("1", "2", "3")
EARLY, LATE = "2026-05-02", "2026-08-01"
# Each return: its day, its statements (plot, feature, answer) and answers about consent. The two
# sheets say one thing alike. Nothing is said on LATE that was not said after every forgetting.
RETURNS = {
    "ann": (EARLY, [("1", "pond", "there"), ("2", "pond", "there")], []),
    "bob": (EARLY, [("1", "pond", "not there"), ("3", "shrub", "there")], [("3", "yes")]),
    "cy": (LATE, [("2", "shrub", "there"), ("3", "pond", "there")], [("2", "no")]),
    "one.csv": (EARLY, [("1", "shrub", "there"), ("2", "bog", "there")], []),
    "two.csv": (EARLY, [("1", "shrub", "there"), ("3", "bog", "not there")], []),
}
START = datetime(2026, 6, 1, 12, tzinfo=UTC)


def made():
    """The map, its knowledge and all returns, made once."""
    if MADE:
        return MADE
    folder = Path(tempfile.mkdtemp())
    plots = gpd.GeoDataFrame(
        {"id": PLOTS, "kind": "garden"},
        geometry=[
            shapely.box(EAST + 20 * at, NORTH, EAST + 20 * at + 20, NORTH + 30) for at in range(3)
        ],
        crs="EPSG:27700",
    )
    roads = gpd.GeoDataFrame(
        {"name": ["Row"]},
        geometry=[shapely.LineString([(EAST, NORTH - 4), (EAST + 60, NORTH - 4)])],
        crs="EPSG:27700",
    )
    for name, table in (("plots", plots), ("roads", roads)):
        path = folder / "street.gpkg"
        pyogrio.write_dataframe(table, path, layer=name, driver="GPKG", append=path.exists())
        pyogrio.write_dataframe(table, folder / f"{name}.gpkg", layer=name)
    knowledge = load_knowledge()
    street = SurveyStreet(
        folder, path, street_id(read_neighbourhood(path, knowledge=knowledge)), list(PLOTS)
    )
    files = {}
    for name, (day, said, consent) in RETURNS.items():
        if name.endswith(".csv"):
            rows = [f"{plot},{feature},{answer},Dee,{day}" for plot, feature, answer in said]
            text = "\n".join(["plot,feature,answer,surveyor,date", *rows, ""])
            files[name] = street.write(name, text)
        else:
            answers = [
                {"plot": plot, "consent": word, "when": f"{day}T10:00:00+01:00"}
                for plot, word in consent
            ]
            files[name] = street.hand_in(name, said, who=name, day=day, consent=answers)
    MADE.update(folder=folder, knowledge=knowledge, street=path, files=files)
    return MADE


def merge(path, names, target=None):
    world = made()
    found = merge_returns(
        path, [world["files"][name] for name in names], knowledge=world["knowledge"],
        today=TODAY, same_street=True,
    )  # fmt: skip
    write_merged(found, target or path)
    return found


def name_of(row):
    """Return which of RETURNS a row of the layer of returns is; the sheets differ in content."""
    if row["return"] in RETURNS:
        return row["return"]
    contents = MADE.setdefault("contents", {})
    for name in ("one.csv", "two.csv"):
        if name not in contents:
            alone = merge_returns(
                made()["street"], [made()["files"][name]], knowledge=made()["knowledge"],
                today=TODAY, same_street=True,
            )  # fmt: skip
            contents[name] = alone.records.returns["content"].iloc[0]
    return next(name for name, content in contents.items() if content == row["content"])


def everything(path):
    """Return the rows of every table but the journal, which tells the order of the changes."""
    with closing(sqlite3.connect(path)) as there:
        names = [name for (name,) in there.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table'")]  # fmt: skip
        return {
            name: there.execute(f'SELECT * FROM "{name}"').fetchall()  # noqa: S608
            for name in names
            if not name.startswith(("sqlite_", "rtree_", "street_"))
        }


@settings(max_examples=30 if LONG else 1, phases=PHASES)
@given(data=st.data())
def test_order_and_repetition_do_not_matter(data):
    """Merged at once: the same bytes in any order. One by one, some twice: the same content."""
    names = data.draw(st.lists(st.sampled_from(sorted(RETURNS)), min_size=2, unique=True))
    with tempfile.TemporaryDirectory() as there:
        paths = [Path(there) / f"{at}" / "street.gpkg" for at in range(4)]
        for path in paths:
            path.parent.mkdir()
            shutil.copy(made()["street"], path)
        merge(paths[0], names)
        merge(paths[1], [*data.draw(st.permutations(names)), names[0]])
        assert paths[0].read_bytes() == paths[1].read_bytes()
        split = data.draw(st.integers(1, len(names) - 1))
        merge(paths[2], names[:split])
        merge(paths[2], names[split:])
        for name in data.draw(st.permutations(names)):
            merge(paths[3], [name])
        before = paths[3].read_bytes()
        merge(paths[3], data.draw(st.permutations(names)))
        assert paths[3].read_bytes() == before
        assert everything(paths[2]) == everything(paths[3]) == everything(paths[0])


class Street(RuleBasedStateMachine):
    """The file, and what it ought to hold."""

    @initialize()
    def begin(self):
        self.place = tempfile.TemporaryDirectory()
        self.path = Path(self.place.name) / "street.gpkg"
        shutil.copy(made()["street"], self.path)
        self.now = START
        self.said = {}  # (kind, plot, ...) -> the returns that say it
        self.returns = set()
        self.forgotten = {}
        self.journal = []
        self.changes = -1  # the first look is before any

    def teardown(self):
        if hasattr(self, "place"):
            self.place.cleanup()
            DONE.append(self.changes)

    def later(self):
        self.now += timedelta(minutes=1)
        return self.now

    # the model ----------------------------------------------------------------------------------

    def keep(self):
        """Leave out what is of forgotten plots, but for what was said since and agreed to."""
        for plot, when in self.forgotten.items():
            agreed = any(
                one[0] == "consent" and one[1] == plot and one[2] == "yes" and one[3] > when
                for one in self.said
            )
            for one in [one for one in self.said if one[1] == plot]:
                if not agreed or one[-1] <= when:
                    del self.said[one]

    def take_back(self, sources):
        for one in list(self.said):
            self.said[one] -= sources
            if not self.said[one]:
                del self.said[one]
        self.returns -= sources

    def last(self):
        """What the last change that still counts added; None where nothing can be taken back."""
        for what, sources in reversed(self.journal):
            if what == "forget":
                return None
            counts = {
                one for one in sources
                if one in self.returns or any(one in by for by in self.said.values())
            }  # fmt: skip
            if counts:
                return counts
        return None

    # what is done -------------------------------------------------------------------------------

    @rule(names=st.lists(st.sampled_from(sorted(RETURNS)), min_size=1, max_size=3, unique=True))
    def merge(self, names):
        before = self.path.read_bytes()
        was = {one: set(by) for one, by in self.said.items()}, set(self.returns)
        found = merge(self.path, names)
        for name in names:
            day, said, consent = RETURNS[name]
            sheet = name.endswith(".csv")
            when = datetime.fromisoformat(f"{day}T12:00:00+00:00")
            for plot, *rest in said:
                one = ("said", plot, *rest, "sheet" if sheet else name, when)
                self.said.setdefault(one, set()).add(name)
            for plot, word in consent:
                self.said.setdefault(("consent", plot, word, when), set()).add(name)
        fresh = set(names) - self.returns
        self.returns |= set(names)
        self.keep()
        if any(found.new.values()):
            self.journal.append(("merge", fresh))
        else:
            assert self.path.read_bytes() == before
            assert (self.said, self.returns) == was

    @rule(plot=st.sampled_from(PLOTS), word=st.sampled_from(["yes", "no"]))
    def consent(self, plot, word):
        now = self.later()
        record_consent(self.path, plot, word, self.path, now=now, knowledge=made()["knowledge"])
        source = f"answer {now}"
        self.said[("consent", plot, word, now)] = {source}
        self.journal.append(("consent", {source}))

    @rule(plot=st.sampled_from(PLOTS))
    def forget(self, plot):
        now = self.later()
        forget_plots(self.path, [plot], self.path, now=now, knowledge=made()["knowledge"])
        self.said = {one: by for one, by in self.said.items() if one[1] != plot}
        self.forgotten[plot] = now
        self.journal.append(("forget", set()))

    @rule()
    def undo(self):
        counts = self.last()
        if counts is None:
            with pytest.raises(WrongUse):
                undo_return(self.path, knowledge=made()["knowledge"])
            return
        undo_return(self.path, knowledge=made()["knowledge"])
        self.take_back(counts)
        self.journal.append(("undo", set()))

    @precondition(lambda self: getattr(self, "returns", None))
    @rule(data=st.data())
    def undo_one(self, data):
        table = read_records(self.path).returns
        names = {name_of(row): row["return"] for _, row in table.iterrows()}
        if names:
            name = data.draw(st.sampled_from(sorted(names)))
            undo_return(self.path, names[name], knowledge=made()["knowledge"])
            self.take_back({name})
            self.journal.append(("undo", set()))

    @rule()
    def new_base(self):
        """The same plots drawn anew, with the earlier street for their numbers and survey."""
        folder, knowledge = made()["folder"], made()["knowledge"]
        base = make_base(
            parcels=[folder / "plots.gpkg"], roads=[folder / "roads.gpkg"], earlier=self.path,
            knowledge=knowledge,
        )  # fmt: skip
        new = self.path.with_name("new.gpkg")
        write_base(base, new)
        keep_survey(self.path, new, knowledge=knowledge)
        new.replace(self.path)

    # what must hold -----------------------------------------------------------------------------

    @invariant()
    def the_file_holds_what_the_model_holds(self):
        if not hasattr(self, "path"):
            return
        self.changes += 1
        records = read_records(self.path)
        rows = records.statements
        found = sorted(zip(rows["plot"], rows["feature"], rows["answer"], strict=True))
        assert found == sorted(one[1:4] for one in self.said if one[0] == "said")
        assert set(records.forgotten["plot"]) == set(self.forgotten)
        answers = sorted(
            (one for one in self.said if one[0] == "consent"),
            key=lambda one: (one[1], one[3], one[2] == "no"),
        )
        words = {one[1]: one[2] for one in answers}
        assert consent_of(records) == words
        with closing(sqlite3.connect(self.path)) as there:
            columns = [row[1] for row in there.execute("PRAGMA table_info(plots)")]
            if "consent" in columns:
                column = dict(there.execute("SELECT id, consent FROM plots"))
                assert {plot: word for plot, word in column.items() if word} == words
            else:
                assert not words
        assert verify_street(self.path, knowledge=made()["knowledge"]) == ()
        assert [one.name for one in self.path.parent.iterdir()] == ["street.gpkg"]


Street.TestCase.settings = settings(
    max_examples=120 if LONG else 2, stateful_step_count=25 if LONG else 8, deadline=None,
    phases=PHASES,
)  # fmt: skip
TestStreet = Street.TestCase


def teardown_module():
    print(f"{sum(DONE):,} changes in {len(DONE)} series")  # noqa: T201 - shown by pytest -s
