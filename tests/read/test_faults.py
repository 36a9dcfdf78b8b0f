"""Each kind of fault: found, placed, explained, and told together with all the others."""

import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal

from patchnet.core.errors import DataFaults, WrongUse
from patchnet.read import build_neighbourhood


def only(faults, words, severity="error"):
    """Return the one fault of that severity that says `words`."""
    found = [f for f in faults if f.severity == severity and words in f.what]
    assert len(found) == 1, [str(f) for f in faults]
    assert found[0].mend
    return found[0]


def errors(faults):
    return [fault for fault in faults if fault.severity == "error"]


def test_all_faults_are_told_at_once(street, knowledge):
    plots = street.plots(6, features=["pnod 3", "pond 4000", "", "", "", ""])
    plots.loc[2, "id"] = "p1"
    plots.loc[3, "id"] = None
    plots.loc[4, "kind"] = "gardn"
    plots.loc[5, "geometry"] = None
    with pytest.raises(DataFaults) as raised:
        build_neighbourhood(plots, knowledge=knowledge)
    faults = raised.value.faults
    assert {(f.row, f.ident) for f in errors(faults)} == {
        (1, "p1"), (2, "p2"), (3, "p1"), (4, None), (5, "p5"), (6, "p6"),
    }  # fmt: skip
    assert str(raised.value).count("\n") == 5
    only(faults, "is that of row 1 already")
    only(faults, "no id")
    only(faults, "'gardn' is not a kind of plot. Did you mean garden")
    only(faults, "no outline")
    only(faults, "'pnod' is not a feature")


def test_impossible_amount(street, faults_of):
    """A pond of 40 m2 on 18 m2: more than 1.25 x 18 = 22.5 m2; 20 m2 may be bad pacing."""
    plots = street.plots(2, features=["pond 40", "pond 20"])
    plots.loc[0, "geometry"] = street.square(0, wide=6, high=3)
    plots.loc[1, "geometry"] = street.square(20, wide=6, high=3)
    fault = only(faults_of(plots), "40 m2 on a plot of 18.0 m2")
    assert (fault.row, fault.ident) == (1, "p1")
    assert len(errors(faults_of(plots))) == 1


def test_one_tree_stands_in_the_smallest_pit_but_not_five(street, faults_of):
    plots = street.plots(2, features=["large tree 1", "large tree 5"])
    plots.loc[0, "geometry"] = street.square(0, wide=1.2, high=1.2)
    plots.loc[1, "geometry"] = street.square(20, wide=1.2, high=1.2)
    fault = only(faults_of(plots), "on a plot of 1.4 m2", "warning")
    assert ": 5 on" in fault.what
    assert fault.ident == "p2"
    assert not errors(faults_of(plots))


def test_more_listed_than_there_is_ground(street, faults_of):
    """600 m2; 500 + 500 m2 of lawn and border take 1000 m2, above 1.5 x 600."""
    plots = street.plots(2, features=["lawn 500; border 500", "lawn 500; border 300"])
    fault = only(faults_of(plots), "takes 1000 m2, the plot has 600 m2", "warning")
    assert fault.ident == "p1"


def test_overlap_is_told_with_its_size(street, faults_of):
    """20 x 30 m plots that share a strip of 5 m: 150 m2, a quarter of the smaller."""
    plots = street.plots(2)
    plots.loc[1, "geometry"] = street.square(15)
    fault = only(faults_of(plots), "overlaps plot p1 by 150.0 m2 (25%", "warning")
    assert fault.ident == "p2"
    plots.loc[1, "geometry"] = street.square(19.9)  # 3 m2, half a per cent: drawing tolerance
    assert not [f for f in faults_of(plots) if "overlap" in f.what]
    plots.loc[1, "geometry"] = street.square(15)
    plots.loc[1, "kind"] = "balcony"  # it hangs above the garden
    assert not [f for f in faults_of(plots) if "overlap" in f.what]


def test_plot_drawn_twice(street, faults_of):
    plots = street.plots(2)
    plots.loc[1, "geometry"] = plots.geometry[0].reverse()
    assert only(faults_of(plots), "drawn exactly as plot p1").ident == "p2"
    plots["kind"] = "balcony"  # two floors
    assert not errors(faults_of(plots))


def test_slivers_and_sizes(street, faults_of):
    plots = street.plots(4)
    plots.loc[0, "geometry"] = street.square(0, wide=0.2, high=30)
    plots.loc[1, "geometry"] = street.square(20, wide=600, high=600)
    plots.loc[2, "geometry"] = street.square(700, wide=0.2, high=0.2)
    plots.loc[3, "geometry"] = street.square(900, wide=0.25, high=1)
    plots.loc[2:3, "kind"] = "planter"
    faults = faults_of(plots)
    assert only(faults, "sliver: 6.00 m2, about 0.20 m wide", "warning").ident == "p1"
    assert only(faults, "very large: 36.0 ha", "warning").ident == "p2"
    assert only(faults, "tiny: 400 cm2", "warning").ident == "p3"
    assert not errors(faults)  # a trough 25 cm wide is a planter like any other


def test_many_alike_warnings_become_one_line(street, faults_of):
    plots = street.plots(50, kind=[""] * 50)
    fault = only(faults_of(plots), "50 plots have no kind", "warning")
    assert "1 (p1), 2 (p2)" in fault.what
    assert "50 (p50)" in fault.what


def test_no_kind_column_and_no_features(street, faults_of):
    faults = faults_of(street.plots(2).drop(columns="kind"))
    assert not errors(faults)
    only(faults, "No column says what kind of plot", "warning")
    only(faults, "Nothing says what is on any plot", "warning")


def test_a_type_of_the_land_register_is_no_kind_of_plot(street, build, faults_of):
    plots = street.plots(2).rename(columns={"kind": "TYPE"})
    plots["TYPE"] = ["PPSK", "PKN"]
    only(faults_of(plots), "No word in the column 'TYPE' is a kind of plot", "warning")
    assert list(build(plots).plots["kind"]) == ["other", "other"]
    plots.loc[0, "TYPE"] = "front garden"
    assert only(faults_of(plots), "'PKN' is not a kind of plot").row == 2


def test_no_id_column_offers_candidates(street, faults_of):
    plots = street.plots(3, parcel_text=["a", "b", "c"], same=["x"] * 3).drop(columns="id")
    fault = only(faults_of(plots), "another value in every row: parcel_text.")
    assert "--column id=NAME" in fault.mend
    assert "columns={'id'" in fault.mend


def test_user_names_the_column(street, build, faults_of, knowledge):
    plots = street.plots(2, Teich=["yes", "no"]).rename(columns={"id": "FLURSTUECK"})
    found = build(plots, columns={"id": "flurstueck", "pond": "Teich"})
    assert list(found.plots.index) == ["p1", "p2"]
    assert found.answers.answer("p2", "pond") == "not there"
    fault = only(faults_of(plots, columns={"id": "FLURSTUCK"}), "no column 'FLURSTUCK'")
    assert "FLURSTUECK" in fault.what
    with pytest.raises(WrongUse, match="Did you mean id"):
        build_neighbourhood(plots, columns={"idd": "x"}, knowledge=knowledge)


def test_misspelt_feature_column(street, build, faults_of):
    plots = street.plots(2, long_gras=["yes", "no"], notes=["secret", "words"], path=["a/b", "c"])
    only(
        faults_of(plots), "'long_gras' was not read; did you mean the feature long_grass", "warning"
    )
    only(faults_of(plots), "'path' is called like the feature paving", "warning")
    assert "secret" not in "".join(map(str, build(plots).faults))
    columns = {"geometry", "kind", "label", "street", "door", "also", "consent", "area_m2"}
    assert set(build(plots).plots.columns) == columns


def test_cells_of_a_feature_column(street, faults_of):
    plots = street.plots(3, pond=["yes", "lots", "-3"])
    faults = faults_of(plots)
    assert only(faults, "Column 'pond': 'lots' says nothing").row == 2
    assert only(faults, "negative: -3").row == 3


def test_features_table_of_unknown_plots(street, faults_of):
    table = pd.DataFrame({"id": ["p1", "p22", ""], "features": ["pond", "lawn", "tree"]})
    faults = faults_of(street.plots(3), features=table)
    fault = only(faults, "no plot 'p22'. Did you mean p2", "warning")
    assert (fault.where, fault.row) == ("features", 2)
    assert only(faults, "no plot id").row == 3
    only(faults, "Plots without a row in it, of which it tells nothing: p2, p3.", "warning")


def test_an_id_that_two_plots_could_mean_is_nobodys(street, build):
    """7 and 07 are two plots: 007 may be either; A2 and a2 can only be one."""
    plots = street.plots(3, id=["7", "07", "A2"])
    table = pd.DataFrame({"id": ["007", "07", "a2"], "features": ["pond", "shrub", "pond"]})
    found = build(plots, features=table)
    assert "no plot '007'" in next(f.what for f in found.faults if "no plot" in f.what)
    answers = found.answers.table()
    assert answers["pond"].notna().tolist() == [False, False, True]
    assert answers["shrub"].notna().tolist() == [False, True, False]


def test_features_table_of_another_street(street, faults_of):
    table = pd.DataFrame({"id": ["77", "78"], "features": ["pond", "lawn"]})
    fault = only(faults_of(street.plots(3), features=table), "None of its 2 rows is of a plot")
    assert "p1" in fault.what


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ({"name": ["p1"], "features": ["pond"]}, "recognised as the plots' ids"),
        ({"id": ["p1"], "remark": ["pond"]}, "No column was recognised as features"),
        ({"id": [], "features": []}, "has no row"),
    ],
)
def test_features_table_of_no_use(street, faults_of, table, words):
    faults = faults_of(street.plots(3), features=pd.DataFrame(table))
    assert any(words in fault.what for fault in faults)


def test_contradiction_in_one_source_is_an_error_between_two_a_warning(street, build, faults_of):
    plots = street.plots(2, features=["pond 3; no pond", "no pond"])
    assert only(faults_of(plots), "said to be there and not to be there").row == 1
    plots = street.plots(2, features=["no pond", "no pond"])
    mapped = street.layer([street.square(5, 5, 2, 3)], feature=["pond"])
    found = build(plots, features=mapped)
    only(found.faults, "'pond' is not there on plot p1", "warning")
    assert found.answers.answer("p1", "pond") == "there"
    assert found.answers.answer("p2", "pond") == "not there"


def test_empty_layers(street, faults_of):
    empty = street.layer([])
    only(faults_of(street.plots(2), buildings=empty), "layer of buildings has no row", "warning")
    only(faults_of(street.plots(2), features=empty), "layer of features has no row", "warning")
    only(faults_of(street.plots(0)), "layer of plots has no row")


def test_barriers(street, build, faults_of):
    lines = [
        shapely.LineString([(street.east, street.north), (street.east, street.north + 30)])
    ] * 4
    lines[3] = shapely.Point(street.east, street.north)
    barriers = street.layer(
        lines,
        kind=["Brick wall", "fense", "hegde", "wall"],
        gap=["", "No", "yes", ""],
        height=["1,8 m", 2, None, ""],
    )
    faults = faults_of(street.plots(2), barriers=barriers)
    assert only(faults, "'hegde' is not a kind of barrier. Did you mean").row == 3
    assert only(faults, "not drawn as a line", "warning").row == 4
    found = build(street.plots(2), barriers=barriers.iloc[:2]).barriers
    assert list(found["kind"]) == ["wall", "fence"]
    assert list(found["gap"]) == ["not_known", "no"]
    assert list(found["height_m"]) == [1.8, 2.0]
    odd = street.layer(lines[:1], kind=["wall"], gap=["big"], height=["tall"])
    faults = faults_of(street.plots(2), barriers=odd)
    only(faults, "'big' in the column gap", "warning")
    only(faults, "'tall' was not read", "warning")
    only(
        faults_of(street.plots(2), barriers=odd[["geometry"]]),
        "all were taken as fences",
        "warning",
    )


def test_walls_drawn_as_areas_become_lines(street, build):
    thick = street.layer([street.square(0, 0, 0.3, 30)], kind=["wall"])
    (line,) = build(street.plots(2), barriers=thick).barriers.geometry
    assert line.geom_type == "LineString"
    assert line.length == pytest.approx(60.6)


def test_buildings_and_roads(street, build):
    shapes = [street.square(0), shapely.Point(0, 0), None]
    buildings = street.layer(shapes, name=["1 Long Road", "x", "y"], owner=["Ann"] * 3)
    found = build(street.plots(2), buildings=buildings, roads=street.layer([shapes[0].boundary]))
    assert list(found.buildings.columns) == ["geometry", "name", "height_m"]
    assert list(found.buildings["name"]) == ["1 Long Road"]
    assert list(found.roads["name"]) == [""]
    assert len(found.footways) == 0
    assert len([f for f in found.faults if "can be used" in f.what]) == 2


def test_inputs_are_not_changed(street, build):
    plots = street.plots(2, features=["pond", "lawn 3"])
    mapped = street.layer([street.square(5, 5, 2, 3)], feature=["pond"])
    table = pd.DataFrame({"id": ["p1"], "features": ["tree"]})
    copies = plots.copy(), mapped.copy(), table.copy()
    build(plots, features=[table, mapped], crs="EPSG:27700")
    assert_geodataframe_equal(plots, copies[0])
    assert_geodataframe_equal(mapped, copies[1])
    pd.testing.assert_frame_equal(table, copies[2])


def test_ids_in_the_index_and_whole_numbers(street, build):
    """Ids come back as the index; 12.0, as a gap in the column makes it, is 12."""
    plots = street.plots(2).set_index("id").rename_axis("plot")
    assert list(build(plots).plots.index) == ["p1", "p2"]
    plots = street.plots(2, id=np.array([12.0, 13.0]))
    table = pd.DataFrame({"id": ["12.0", "013"], "features": ["pond", "pond"]})
    found = build(plots, features=table)
    assert list(found.plots.index) == ["12", "13"]
    assert found.answers.answer("13", "pond") == "there"
    text = street.plots(2, id=["12.0", "A13.0"])  # a spreadsheet's text; a name of its own
    assert list(build(text).plots.index) == ["12", "A13.0"]
    again = build(found.plots)
    assert list(again.plots.index) == ["12", "13"]


def test_two_geometry_tables_of_features(street, knowledge):
    mapped = street.layer([street.square(5, 5, 2, 3)], feature=["pond"])
    with pytest.raises(WrongUse, match="join them"):
        build_neighbourhood(street.plots(2), features=[mapped, mapped], knowledge=knowledge)


def test_widths_of_roads(street, build):
    """Metres with or without the unit; what cannot be read is not known, and said."""
    lines = [shapely.LineString([(0, -5 * k), (60, -5 * k)]) for k in range(1, 5)]
    roads = street.layer(lines, name=["a", "b", "c", "d"], width_m=["5.5", "6 m", "", "broad"])
    found = build(street.plots(2), roads=roads)
    assert found.roads["width_m"].fillna(-1).tolist() == [5.5, 6, -1, -1]
    assert any("broad" in fault.what for fault in found.faults)


def test_a_plot_whose_id_is_taken_is_checked_all_the_same(street, faults_of):
    """Every fault at once: the second plot '1' also has a pond larger than itself."""
    plots = street.plots(2).assign(id=["1", "1"], features=["lawn", "pond 99999"])
    faults = faults_of(plots)
    only(faults, "row 1 already")
    only(faults, "99999")
