"""Numbers in walking order on the street of conftest, and against an earlier base.

Elm Road begins at its south-western end (x = -30). North of it is its left side: odd numbers in
the order in which one passes the houses; the one plot on the right side is number 2.
"""

import geopandas as gpd
import pytest
import shapely

from patchnet.base import write_base
from patchnet.base.streets import street_codes, streets_of
from patchnet.core.errors import CannotRead, DataFaults, WrongUse

WALK = ["w", "t1", "t2", "t3", "s1", "s2", "a", "c", "f", "g", "n", "d"]


def numbers(base):
    """Parcel -> ids of its plots, sorted."""
    own = base.plots[base.plots["parcel"] != ""]
    return {parcel: sorted(rows["id"]) for parcel, rows in own.groupby("parcel")}


@pytest.fixture(scope="module")
def written(row, tmp_path_factory):
    path = tmp_path_factory.mktemp("earlier") / "earlier.gpkg"
    write_base(row, path)
    return path


def test_walking_order(row):
    ids = numbers(row)
    for place, parcel in enumerate(WALK):
        assert {ident.rstrip("FB") for ident in ids[parcel]} == {f"ER-{2 * place + 1}"}
    assert ids["e"] == ["ER-2B", "ER-2F"]
    assert ids["n"] == ["ER-21"]
    assert row.plots["id"].is_unique


def test_rows_of_the_file_are_in_walking_order(row):
    gardens = row.plots[row.plots["parcel"] != ""]
    assert list(dict.fromkeys(gardens["parcel"])) == [*WALK, "e"]
    assert set(gardens["side"][gardens["parcel"] == "e"]) == {"right"}


def test_order_of_the_input_does_not_matter(street, row):
    mixed = street.base(
        parcels=street.parcels().iloc[::-1],
        buildings=street.buildings().sample(frac=1, random_state=3),
        roads=street.roads().iloc[::-1],
    )
    assert numbers(mixed) == numbers(row)


def test_a_road_drawn_the_other_way_gives_the_same_numbers(street, row):
    turned = street.base(
        parcels=street.parcels(),
        buildings=street.buildings(),
        roads=street.roads(**{"Elm Road": street.line((220, 0), (60, 0), (-30, 0))}),
    )
    assert numbers(turned) == numbers(row)


def test_a_road_in_pieces_is_one_street(street, row):
    """Two features of one name, as OpenStreetMap has them."""
    table = street.roads(
        **{"Elm Road": street.line((60, 0), (220, 0)), "elm": street.line((-30, 0), (60, 0))}
    )
    table["name"] = table["name"].replace("elm", "Elm Road")
    split = street.base(parcels=street.parcels(), buildings=street.buildings(), roads=table)
    assert numbers(split) == numbers(row)


def test_run_again_keeps_every_number(street, row, written):
    again = street.base(
        parcels=street.parcels(), buildings=street.buildings(), roads=street.roads(),
        earlier=written,
    )  # fmt: skip
    assert list(again.plots["id"]) == list(row.plots["id"])
    assert (again.numbered.kept, again.numbered.new, again.numbered.gone) == (len(row.plots), 0, ())
    assert again.faults == ()


def test_a_new_house_does_not_shift_the_others(street, row, written):
    """A plot between t3 and s1 gets the next free odd number (25), not 9."""
    again = street.base(
        parcels=street.parcels(new=street.box(15.5, 7, 19.5, 37)),
        buildings=street.buildings(new=street.box(15.5, 10, 19.5, 18)),
        roads=street.roads(),
        earlier=written,
    )
    before, after = numbers(row), numbers(again)
    assert after.pop("new") == ["ER-25B", "ER-25F"]
    assert after == before
    fresh = street.base(
        parcels=street.parcels(new=street.box(15.5, 7, 19.5, 37)),
        buildings=street.buildings(new=street.box(15.5, 10, 19.5, 18)),
        roads=street.roads(),
    )
    assert numbers(fresh)["s1"] == ["ER-11B", "ER-11F"]


def test_a_plot_that_is_gone_is_told_and_its_number_not_used_again(street, written):
    table = street.parcels(new=street.box(100, -37, 120, -7)).query("parcel_id != 'e'")
    base = street.base(
        parcels=table,
        buildings=street.buildings(e=street.box(105, -20, 113, -12)),
        roads=street.roads(),
        earlier=written,
    )
    assert {"ER-2F", "ER-2B"} <= set(base.numbered.gone)
    assert numbers(base)["new"] == ["ER-4B", "ER-4F"]


def test_a_divided_plot_is_told(street, written):
    """n (10 m wide) becomes 6 and 4 m: the larger keeps 21, the other is new."""
    table = street.parcels(n=street.box(172, 7, 178, 37), n2=street.box(178, 7, 182, 37))
    base = street.base(
        parcels=table, buildings=street.buildings(), roads=street.roads(), earlier=written
    )
    ids = numbers(base)
    assert ids["n"] == ["ER-21"]
    assert ids["n2"] == ["ER-25"]
    assert [f.ident for f in base.faults if "several pieces" in f.what] == ["ER-21"]


def test_numbers_that_stand_twice_in_the_earlier_base_are_refused(street, written, tmp_path):
    table = gpd.read_file(written, layer="plots")
    table.loc[3, "id"] = table.loc[0, "id"]
    table.to_file(tmp_path / "old.gpkg", layer="plots")
    with pytest.raises(DataFaults) as raised:
        street.base(
            parcels=street.parcels(), buildings=street.buildings(), roads=street.roads(),
            earlier=tmp_path / "old.gpkg",
        )  # fmt: skip
    (fault,) = [f for f in raised.value.faults if f.severity == "error"]
    assert (fault.where, fault.row, fault.ident) == ("old.gpkg", 4, "ER-1F")


def test_an_earlier_file_that_is_no_base_is_refused(street, tmp_path):
    street.roads().to_file(tmp_path / "roads.gpkg", layer="roads")
    with pytest.raises(CannotRead, match="no earlier base"):
        street.base(
            parcels=street.parcels(), buildings=street.buildings(), roads=street.roads(),
            earlier=tmp_path / "roads.gpkg",
        )  # fmt: skip


def test_only_the_streets_that_are_wanted(street):
    only = street.base(
        parcels=street.parcels(), buildings=street.buildings(), roads=street.roads(),
        street=["elm road"],
    )  # fmt: skip
    assert set(only.plots["street"]) == {"Elm Road"}
    with pytest.raises(WrongUse, match="Did you mean Elm Road"):
        street.base(
            parcels=street.parcels(), buildings=street.buildings(), roads=street.roads(),
            street=["Elm Raod"],
        )  # fmt: skip


def test_the_credits_count_only_plots_that_are_there(street):
    """West Street's side of a town without parcels: one corner house by its address."""
    base = street.base(
        buildings=street.buildings(address={"w": "West Street"}), roads=street.roads(),
        street=["West Street"],
    )  # fmt: skip
    derived = base.plots["basis"].str.startswith("derived").sum()
    assert derived < 6
    lines = base.credits["attribution"].tolist()
    assert sum(line.startswith(f"Outlines of {derived} plots") for line in lines) == 1


def test_codes_are_short_and_each_street_has_its_own():
    names = ["Elm Road", "Elder Row", "Elm Rise", "High Street", "Žižkova", "unnamed street 7"]
    codes = street_codes(names, {"Old Lane": "ER"})
    assert len(set(codes.values())) == len(codes)
    assert codes["Old Lane"] == "ER"  # an earlier base has used it
    assert codes["High Street"] == "HS"
    assert codes["unnamed street 7"] == "U7"
    assert all(code.isascii() and code.isalnum() for code in codes.values())


def test_a_street_is_walked_from_its_south_western_end():
    """Two pieces with a gap: 30 m walked before the second one begins."""
    table = gpd.GeoDataFrame(
        {"name": ["A", "A"], "kind": ["street", "street"]},
        geometry=[shapely.LineString([(60, 0), (40, 0)]), shapely.LineString([(0, 0), (30, 0)])],
    )
    (course,) = streets_of(table).courses
    assert course.place(10, 5)[0] == pytest.approx(10)
    assert course.place(45, 5)[0] == pytest.approx(30 + 5)
    assert course.place(45, 5)[1] == pytest.approx([1, 0])
