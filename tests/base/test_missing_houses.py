"""Houses that volunteers found missing, drawn in the next base map: worked on paper.

Elm Road runs along y = 0. No. 1 stands at x = 0 to 10, No. 5 at x = 60 to 70; between them, at
(35, 14), the map lacks No. 3.
"""

import json
from datetime import date

import numpy as np
import pyproj
import pytest
import shapely
from worlds.mapped_streets import CRS, EAST, NORTH, box, house, mapped, road

from patchnet.base import keep_survey, write_base
from patchnet.pages.survey import SurveyRound
from patchnet.read import read_neighbourhood
from patchnet.survey.merge import merge_returns, write_merged
from patchnet.survey.missing_houses import to_draw
from patchnet.survey.one_return import street_id
from patchnet.survey.survey_layers import read_records

ELM = road("Elm Road", (-60, 0), (140, 0))
ONE, FIVE = (
    house(x, 10, x + 10, 18, number, "Elm Road") for x, number in ((0, "1"), (60, "5"))
)  # fmt: skip
SPOT = (35, 14)


def degrees(x, y):
    onto = pyproj.Transformer.from_crs(CRS, "OGC:CRS84", always_xy=True)
    return list(onto.transform(EAST + x, NORTH + y))


@pytest.fixture
def told(tmp_path, knowledge):
    """A base of the two houses, into which a return was merged that says: No. 3 is missing."""
    path = tmp_path / "elm.gpkg"
    write_base(mapped(tmp_path, ELM, ONE, FIVE, knowledge=knowledge), path)
    hood = read_neighbourhood(path, knowledge=knowledge)
    said = {
        "patchnet_return": 1, "id": "r1", "surveyor": "Ann", "seen_from": "street",
        "street": {"id": street_id(hood), "name": "Elm Road"},
        "began": "2026-05-02T10:00:00+01:00", "saved": "2026-05-02T11:00:00+01:00",
        "statements": [{"plot": "ER-1F", "feature": "pond", "answer": "not there",
                        "when": "2026-05-02T10:01:00+01:00"}],
        "missing": [{"number": "3", "point": degrees(*SPOT), "note": "",
                     "when": "2026-05-02T10:02:00+01:00"}],
    }  # fmt: skip
    file = tmp_path / "ann.return.json"
    file.write_text(json.dumps(said), encoding="utf-8")
    merged = merge_returns(path, [file], knowledge=knowledge, today=date(2026, 6, 1))
    assert merged.faults == ()
    write_merged(merged, path)
    return path


def anew(told, tmp_path, knowledge, *things):
    """The next base over the one that was surveyed, in a file with its survey."""
    base = mapped(tmp_path, ELM, *things, earlier=told, knowledge=knowledge)
    write_base(base, tmp_path / "next.gpkg")
    keep_survey(told, tmp_path / "next.gpkg", knowledge=knowledge)
    return base, tmp_path / "next.gpkg"


def test_a_missing_house_is_a_plot_of_its_door_on_the_map_and_in_the_survey(
    told, tmp_path, knowledge
):
    """A square of 8 x 8 m along the road, from (31, 10) to (39, 18); its plots lie round it."""
    base, path = anew(told, tmp_path, knowledge, ONE, FIVE)
    assert {"ER-1F", "ER-1B", "ER-3F", "ER-3B", "ER-5F", "ER-5B"} == set(base.plots["id"])
    shapes = base.buildings.geometry.to_numpy()
    put = shapes[shapely.intersects(shapes, box(35, 14, 36, 15))]
    # Spots are kept to the millimetre: along 32 m of outline.
    assert shapely.symmetric_difference(put[0], box(31, 10, 39, 18)).area < 0.07
    own = base.plots[base.plots["door"] == "3"]
    assert shapely.union_all(own.geometry).buffer(0.1).intersects(put[0])
    assert any("No. 3 was missing: a house was put" in str(fault) for fault in base.faults)
    hood = read_neighbourhood(path, knowledge=knowledge)
    assert "ER-3F" in {plot for stretch in SurveyRound(hood, knowledge).stretches
                       for plot in stretch.plots}  # fmt: skip
    records = read_records(path)
    assert len(records.missing) == len(records.statements) == 1
    assert not len(to_draw(records.missing, hood))
    again = mapped(tmp_path, ELM, ONE, FIVE, earlier=path, knowledge=knowledge)
    assert again.plots["id"].tolist() == base.plots["id"].tolist()
    assert np.allclose(again.plots.area, base.plots.area)


@pytest.mark.parametrize(
    ("new", "says", "doors"),
    [
        (house(32, 9, 40, 19), "got its number", {"1", "3", "5"}),
        (house(32, 9, 40, 19, "3a", "Elm Road"), "of another number", {"1", "3a", "5"}),
        (house(32, 9, 40, 19, "3", "Elm Road"), "", {"1", "3", "5"}),
    ],
)  # fmt: skip
def test_what_new_data_have_there_is_the_house(told, tmp_path, knowledge, new, says, doors):
    base = mapped(tmp_path, ELM, ONE, FIVE, new, earlier=told, knowledge=knowledge)
    assert len(base.buildings) == 3
    assert set(base.plots["door"]) == doors
    assert any(says in str(fault) for fault in base.faults if "missing" in str(fault)) == bool(says)
