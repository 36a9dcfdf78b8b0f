"""What moving over the ground costs: the shipped numbers, and faults in a user's own."""

import csv
import io
from importlib import resources

import pytest

from patchnet.core.errors import TableFaults
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.ground import ROLES

KNOW = load_knowledge()
FOLDER = resources.files("patchnet.knowledge") / "tables"
FIGURE = "value,unit,low,high,class,source,note"


def faults_of(folder, table, text):
    (folder / table).write_text(text, encoding="utf-8")
    with pytest.raises(TableFaults) as caught:
        load_knowledge(folder)
    return caught.value.faults


def test_every_group_that_walks_has_all_costs():
    walkers = {key for key, group in KNOW.groups.items() if group.mode == "ground"}
    assert walkers == set(KNOW.ground_costs) == {"hedgehog", "frog", "newt", "toad", "slow_worm"}
    for key in walkers:
        assert set(KNOW.ground_costs[key].covers) == set(KNOW.ground_covers)
        assert len(KNOW.ground_costs[key].crossings) == 3 * len(KNOW.barrier_kinds)


def test_best_ground_costs_one_and_a_building_is_closed():
    closed = KNOW.setting("closed_cost")
    for costs in KNOW.ground_costs.values():
        assert min(figure.value for figure in costs.covers.values()) == 1
        assert costs.covers["building"].value >= closed


def test_a_barrier_is_dearest_without_a_gap_and_cheapest_with_one():
    """A fence nobody looked at is probably passable somewhere: between the two.

    Gazzard et al. 2021 (PLoS ONE): 5.0 % of gardens judged wholly closed to hedgehogs.
    """
    for costs in KNOW.ground_costs.values():
        for kind in KNOW.barrier_kinds:
            gap, unknown, none = (
                costs.crossings[kind, gap].value for gap in ("yes", "not_known", "no")
            )
            assert gap <= unknown <= none
        assert costs.crossings["fence", "not_known"].value < KNOW.setting("closed_cost")


def test_published_facts():
    """Large roads are those over 4 m (Rondinini & Doncaster 2002); a hole is 13 cm (RSPCA)."""
    assert KNOW.setting("carriageway_wide_m") == 4
    assert KNOW.settings["carriageway_wide_m"].sources == ("rondinini_2002",)
    assert KNOW.setting("gap_side_m") == 0.13
    hedgehog = KNOW.ground_costs["hedgehog"].covers
    assert hedgehog["carriageway_narrow"].value < hedgehog["carriageway_wide"].value


def test_town_against_pasture_for_amphibians():
    """Arntzen et al. 2017: town and transport 0.98, pasture 0.23, so 4.26 times."""
    for key in ("frog", "newt"):
        covers = KNOW.ground_costs[key].covers
        assert covers["carriageway_narrow"].value / covers["lawn"].value == pytest.approx(
            0.98 / 0.23, rel=0.03
        )


def test_every_plot_kind_and_role_has_one_cover():
    kinds = [kind for cover in KNOW.ground_covers.values() for kind in cover.plot_kinds]
    assert sorted(kinds) == sorted(KNOW.plot_kinds)
    roles = [cover.role for cover in KNOW.ground_covers.values() if cover.role != "plot_cover"]
    assert sorted(roles) == sorted(ROLES)


def test_a_users_own_cost_replaces_ours(tmp_path):
    text = f"group,cover,{FIGURE}\nnewt,lawn,3,times best ground,2,4,assumption,patchnet,ours\n"
    (tmp_path / "movement_costs.csv").write_text(text)
    know = load_knowledge(tmp_path)
    assert know.ground_costs["newt"].covers["lawn"].value == 3
    assert know.figures["movement_costs/newt/lawn"] is know.ground_costs["newt"].covers["lawn"]
    assert know.ground_costs["frog"] == KNOW.ground_costs["frog"]


def test_a_group_with_some_costs_must_have_all(tmp_path):
    text = f"group,cover,{FIGURE}\nwren,lawn,3,times best ground,2,4,assumption,patchnet,ours\n"
    (fault,) = faults_of(tmp_path, "movement_costs.csv", text)
    assert "'wren' has no cost for: planted, verge" in fault.what
    assert "fence with gap not_known" in fault.what


def test_a_new_cover_needs_a_cost_for_every_group(tmp_path):
    text = "key,name,role,features,plot_kinds\nsand,Sand,plot_cover,,\n"
    faults = faults_of(tmp_path, "ground_covers.csv", text)
    assert [fault.what for fault in faults] == [
        f"The group '{group}' has no cost for: sand."
        for group in ("hedgehog", "frog", "newt", "toad", "slow_worm")
    ]


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"role": "bilding"}, "Did you mean building?"),
        ({"features": "pont"}, "Did you mean pond?"),
        ({"plot_kinds": "verge"}, "'verge' is ground of the cover"),
        ({"role": "footway"}, "'footway' is ground of the cover"),
        ({"key": "Wet Sand"}, "is not a valid key"),
    ],
)
def test_faults_of_a_cover(change, what, tmp_path):
    row = {"key": "water", "name": "Water", "role": "plot_cover", "features": "", "plot_kinds": ""}
    out = io.StringIO()
    writer = csv.DictWriter(out, list(row))
    writer.writeheader()
    writer.writerow(row | change)
    said = " ".join(
        fault.what for fault in faults_of(tmp_path, "ground_covers.csv", out.getvalue())
    )
    assert what in said


def test_a_role_or_plot_kind_left_without_cover(tmp_path):
    text = "key,name,role,features,plot_kinds\nverge,Verge,plot_cover,,tree_pit\n"
    (fault,) = faults_of(tmp_path, "ground_covers.csv", text)
    assert fault.what == "No cover has these in the column 'plot_kinds': verge."


@pytest.mark.parametrize(
    ("row", "what"),
    [
        ("newt,fence,maybe,1,cost metres,1,1", "'maybe' in the column 'gap'"),
        ("newt,fense,no,1,cost metres,1,1", "Did you mean fence?"),
        ("newt,fence,no,1,m,1,1", "must be in 'cost metres'"),
        ("newt,fence,no,-1,cost metres,-1,1", "It cannot be negative"),
    ],
)
def test_faults_of_a_crossing(row, what, tmp_path):
    text = f"group,barrier,gap,{FIGURE}\n{row},assumption,patchnet,ours\n"
    faults = faults_of(tmp_path, "barrier_crossings.csv", text)
    assert any(what in str(fault) for fault in faults)


def test_a_cost_of_nought_is_refused(tmp_path):
    text = f"group,cover,{FIGURE}\nnewt,lawn,0,times best ground,0,4,assumption,patchnet,ours\n"
    (fault, *_) = faults_of(tmp_path, "movement_costs.csv", text)
    assert "is 0" in fault.what
