"""What is wrong with the inputs of a base map is told in one list, and nothing is made up."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from patchnet.base import make_base
from patchnet.core.errors import CannotRead, DataFaults, WrongUse


def words(faults):
    return " | ".join(str(fault) for fault in faults)


def errors_of(street, **tables):
    with pytest.raises(DataFaults) as raised:
        street.base(**tables)
    assert all(fault.mend for fault in raised.value.faults)
    return words(f for f in raised.value.faults if f.severity == "error")


def test_the_street_on_paper_has_no_fault(row):
    assert row.faults == ()


def test_no_building_and_no_parcel(street):
    assert "no building and no parcel" in errors_of(street, roads=street.roads())


def test_no_buildings_leaves_parcels_whole(street):
    base = street.base(parcels=street.parcels(), roads=street.roads())
    assert "There are no buildings" in words(base.faults)
    own = base.plots[base.plots["parcel"] != ""]
    assert set(own["part"]) == {"whole"}
    assert own.area.sum() == pytest.approx(sum(s.area for s in street.plots.values()))


def test_no_roads_gives_no_front_and_back(street):
    base = street.base(parcels=street.parcels(), buildings=street.buildings())
    assert "There are no roads" in words(base.faults)
    assert set(base.plots["part"]) == {"whole"}
    assert set(base.plots["front_back_basis"]) <= {
        "", "not split: no street in sight", "not split: 2 houses on one plot",
    }  # fmt: skip
    assert all(ident.startswith("X-") for ident in base.plots["id"])


def test_no_roads_and_no_parcels_still_derives_plots(street):
    base = street.base(buildings=street.buildings())
    assert len(base.plots) == 13  # every house; the shed is none
    assert "There are no roads" in words(base.faults)


def test_parcels_that_overlap_share_nothing_afterwards(street):
    """t2 drawn 2 m over t1: told, and the ground goes to the smaller one (t1)."""
    base = street.base(
        parcels=street.parcels(t2=street.box(3, 7, 10, 37)),
        buildings=street.buildings(), roads=street.roads(),
    )  # fmt: skip
    (fault,) = base.faults
    assert (fault.row, fault.ident) == (3, "t2")
    assert "overlaps row 2 by 60.0 m2" in fault.what
    own = base.plots[base.plots["parcel"] == "t1"]
    assert own.area.sum() == pytest.approx(14.1 + 95)
    shapes = base.plots.geometry.to_numpy()
    i, j = shapely.STRtree(shapes).query(shapes, predicate="overlaps")
    assert shapely.area(shapely.intersection(shapes[i], shapes[j])).sum() == pytest.approx(0)


def test_a_parcel_drawn_twice_counts_once(street):
    base = street.base(
        parcels=street.parcels(flat=street.plots["t1"]),
        buildings=street.buildings(), roads=street.roads(),
    )  # fmt: skip
    assert "drawn exactly as row 2" in words(base.faults)
    assert "flat" not in set(base.plots["parcel"])


def test_a_gap_between_parcels_is_told_and_its_house_gets_a_derived_plot(street):
    """t2 is missing from the register: a hole is closed by a parcel behind and one before."""
    table = street.parcels(back=street.box(0, 37, 15, 40), fore=street.box(0, 6.5, 15, 7))
    base = street.base(
        parcels=table[table["parcel_id"] != "t2"],
        buildings=street.buildings(), roads=street.roads(),
    )  # fmt: skip
    said = words(base.faults)
    assert "there is 1 gap, 150 m2 in all" in said
    assert "1 house stands on no parcel" in said
    derived = base.plots[base.plots["basis"].str.startswith("derived")]
    assert len(derived)
    assert not derived.union_all().intersects(street.plots["t1"].buffer(-0.01))
    assert any("not boundaries" in line for line in base.credits["attribution"])


def test_a_house_on_the_street_itself_is_no_gap(row):
    assert "gap" not in words(row.faults)


def test_shapes_that_are_wrong(street):
    bowtie = shapely.Polygon(
        [(450100, 210100), (450110, 210110), (450110, 210100), (450100, 210110)]
    )
    base = street.base(
        parcels=street.parcels(bow=bowtie, none=None, point=shapely.Point(450000, 210000)),
        buildings=street.buildings(), roads=street.roads(),
    )  # fmt: skip
    said = {(fault.row, fault.what.split(":")[0].split(";")[0]) for fault in base.faults}
    assert (14, "The outline crosses or touches itself") in said
    assert {row for row, what in said if "encloses no area" in what} == {15, 16}


def test_no_crs(street):
    bare = street.parcels().set_crs(None, allow_override=True)
    with pytest.warns(UserWarning, match="crs"):  # of geopandas, on writing it
        paths = street.files(parcels=bare)
    rest = street.files(buildings=street.buildings(), roads=street.roads())
    files = [*paths.values(), *rest.values()]
    with pytest.raises(DataFaults) as raised:
        make_base(files, knowledge=street.knowledge)
    said = words(raised.value.faults)
    assert "does not say in which coordinate system" in said
    base = make_base(files, crs="EPSG:27700", knowledge=street.knowledge)
    assert len(base.plots) == 33


def test_layers_in_other_systems_are_brought_together(street, row):
    base = street.base(
        parcels=street.parcels(),
        buildings=street.buildings().to_crs(4326),
        roads=street.roads().to_crs(3857),
    )
    assert base.crs.to_epsg() == 27700
    assert list(base.plots["id"]) == list(row.plots["id"])
    assert base.plots.area.to_numpy() == pytest.approx(row.plots.area.to_numpy(), abs=0.05)


def test_parcels_of_another_town(street):
    far = street.parcels()
    far = far.set_geometry(far.translate(20_000))
    said = errors_of(street, parcels=far, buildings=street.buildings(), roads=street.roads())
    assert "km apart" in said


def test_more_than_a_neighbourhood(street):
    far = street.buildings(far=street.box(9_000, 9_000, 9_010, 9_010))
    said = errors_of(street, buildings=far, roads=street.roads())
    assert "far more than a neighbourhood" in said
    assert "--bbox" in said


def test_an_extract_of_a_whole_county_is_not_even_opened(knowledge, tmp_path):
    """A file of 41 million bytes that is no extract at all: its size alone is told."""
    with (tmp_path / "county.osm.pbf").open("wb") as file:
        file.truncate(41_000_000)
    with pytest.raises(DataFaults, match="41 MB") as raised:
        make_base([tmp_path / "county.osm.pbf"], knowledge=knowledge)
    assert "--bbox" in raised.value.faults[0].mend


def test_what_a_layer_is_can_be_said_and_must_fit(street):
    paths = street.files(things=street.parcels().rename(columns={"parcel_id": "ref"}))
    roads = street.files(roads=street.roads())
    with pytest.raises(DataFaults, match="holds no line"):
        make_base(
            [], roads=[paths["things"]], parcels=[paths["things"]], knowledge=street.knowledge
        )
    base = make_base(
        [], parcels=[paths["things"]], roads=[roads["roads"]], knowledge=street.knowledge
    )
    assert {"w", "e"} <= set(base.plots["parcel"])
    assert "Nothing says whose data these are" in words(base.faults)


def test_parcels_and_buildings_are_told_by_their_shapes(street, tmp_path):
    """Files without a telling name or column: parcels lie border to border, houses do not."""
    blocks = gpd.GeoDataFrame(
        {"ref": range(20)},
        geometry=[street.box(10 * k, 7, 10 * k + 10, 37) for k in range(20)], crs=street.crs,
    )  # fmt: skip
    homes = blocks.set_geometry(
        [street.box(10 * k + 2, 12, 10 * k + 8, 20) for k in range(20)], crs=street.crs
    )
    blocks.to_file(tmp_path / "a.fgb")
    homes.to_file(tmp_path / "b.fgb")
    base = make_base([tmp_path / "a.fgb", tmp_path / "b.fgb"], knowledge=street.knowledge)
    said = words(base.faults)
    assert "The layer 'a' was taken as parcels" in said
    assert "The layer 'b' was taken as buildings" in said


def test_files_that_cannot_be_read(street, tmp_path):
    (tmp_path / "cut.osm.pbf").write_bytes(b"\0\0\0\x0d\x0a\x09OSMHeader" + b"\0" * 20)
    (tmp_path / "no.osm").write_text("nothing of the kind")
    for name, said in (
        ("cut.osm.pbf", "cannot be read|damaged|holds nothing"),
        ("no.osm", "damaged, or no OpenStreetMap extract"),
        ("missing.osm", "There is no file"),
    ):
        with pytest.raises(CannotRead, match=said):
            make_base([tmp_path / name], knowledge=street.knowledge)
    with pytest.raises(CannotRead, match="address"):
        make_base(["https://example.org/town.osm"], knowledge=street.knowledge)
    with pytest.raises(WrongUse, match="Name at least one file"):
        make_base([], knowledge=street.knowledge)


def test_an_input_is_never_changed(street):
    paths = street.files(
        parcels=street.parcels(), buildings=street.buildings(), roads=street.roads()
    )
    before = {name: path.read_bytes() for name, path in paths.items()}
    make_base(list(paths.values()), knowledge=street.knowledge)
    assert {name: path.read_bytes() for name, path in paths.items()} == before
    folder = next(iter(paths.values())).parent
    assert {path.name for path in folder.iterdir()} == {path.name for path in paths.values()}


def test_a_box_cuts_the_place_out(street):
    """The degrees of a box round the terrace; corners from pyproj, not from the program."""
    around = gpd.GeoSeries([street.box(-1, -50, 16, 50)], crs=street.crs).to_crs(4326)
    base = street.base(
        parcels=street.parcels(), buildings=street.buildings(), roads=street.roads(),
        box=tuple(around.total_bounds),
    )  # fmt: skip
    assert set(base.plots["parcel"]) - {""} == {"t1", "t2", "t3", "e"}
    assert np.isfinite(base.plots.total_bounds).all()


@pytest.mark.parametrize("far", [1e30, 1e308, -200.0, 86.0])
def test_no_place_on_earth_is_a_fault(tmp_path, far):
    """Degrees so large that no zone fits, in the one file of outlines that nobody named."""
    rows = gpd.GeoDataFrame(
        {"name": ["a", "b"]},
        geometry=[shapely.box(x, far, x + 1e-4, far + abs(far) / 10) for x in (0, 1e-4)],
        crs="EPSG:4326",
    )
    rows.to_file(tmp_path / "land.gpkg")
    with pytest.raises(DataFaults) as raised:
        make_base([tmp_path / "land.gpkg"])
    told = words(raised.value.faults)
    assert "coordinates reach" in told or "latitudes reach" in told or "no place on Earth" in told
    assert "NaN" not in told
