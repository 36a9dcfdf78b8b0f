"""What is wrong with a base map of a real place, counted from the outside.

The extract is read here with GDAL alone, and the base map as the GeoPackage it was written to, so
that a slip of the program is not repeated by its judge.
"""

import json
import re
import warnings
from dataclasses import asdict, dataclass, field

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

GARDENS = ("garden", "garden_front", "garden_back")
SHEDS = (
    "garage", "garages", "shed", "carport", "roof", "hut", "greenhouse", "outbuilding", "service",
    "farm_auxiliary", "barn", "stable", "allotment_house", "no", "construction",
)  # fmt: skip
PUBLIC = (
    "residential", "living_street", "unclassified", "tertiary", "secondary", "primary",
    "pedestrian", "road", "trunk", "motorway", "tertiary_link", "secondary_link", "primary_link",
    "trunk_link", "motorway_link",
)  # fmt: skip
LANES = ("service", "track")
HOUSE_M2 = 60.0
LARGE_M2 = 1500.0
SLIVER_M = 1.5
SLIP_M = 0.3  # a line that runs this far inside an outline runs through it
LEAST_M = 2.0


@dataclass
class Fit:
    """Counts for one place."""

    place: str
    plots: int = 0
    seconds: float = 0.0
    addressed: int = 0
    addressed_mapped: int = 0
    addressed_named: int = 0
    addressed_lost: int = 0
    on_other_street: int = 0
    street_addressed: int = 0
    street_mapped: int = 0
    doors_shown: int = 0
    lanes_through: int = 0
    across_road: int = 0
    large_no_note: int = 0
    slivers: int = 0
    houses: int = 0
    houses_lost: int = 0
    examples: dict = field(default_factory=dict)

    def row(self):
        told = asdict(self)
        told.pop("examples")
        return told


class Extract:
    """A real extract, read by GDAL alone, in the metres of the base map."""

    def __init__(self, path, box, crs):
        def read(layer):
            with warnings.catch_warnings():  # rings that are cut off at the edge of the extract
                warnings.simplefilter("ignore", RuntimeWarning)
                table = pyogrio.read_dataframe(
                    path, layer=layer, bbox=box, TAGS_FORMAT="JSON", on_invalid="ignore"
                )
            tags = [
                {
                    **_pairs(row.get("all_tags") or row.get("other_tags")),
                    **{
                        key: cell for key, cell in row.items()
                        if isinstance(cell, str) and key not in {"all_tags", "other_tags"}
                    },
                }
                for row in table.drop(columns="geometry").to_dict("records")
            ]  # fmt: skip
            table = gpd.GeoDataFrame({"tags": tags}, geometry=table.geometry.to_numpy(), crs=4326)
            table = table[table.geometry.notna() & ~table.geometry.is_empty].to_crs(crs)
            table["geometry"] = shapely.make_valid(table.geometry.to_numpy())
            return table.reset_index(drop=True)

        areas, lines, points = read("multipolygons"), read("lines"), read("points")
        place = shapely.box(*gpd.GeoSeries([shapely.box(*box)], crs=4326).to_crs(crs).total_bounds)
        use = [tags.get("building", "") for tags in areas["tags"]]
        inside = areas.geometry.representative_point().within(place).to_numpy()
        built = np.array([bool(word) for word in use]) & inside
        self.buildings = areas[built].reset_index(drop=True)
        self.shed = np.array([t["building"] in SHEDS for t in self.buildings["tags"]], dtype=bool)
        self.roads = lines[[self._over_ground(t, PUBLIC) for t in lines["tags"]]]
        self.lanes = lines[[self._over_ground(t, LANES) for t in lines["tags"]]]
        self.points = points[["addr:housenumber" in t for t in points["tags"]]]
        self.street_of, self.numbers = self._addresses()

    @staticmethod
    def _over_ground(tags, kinds):
        return (
            tags.get("highway") in kinds
            and tags.get("area") != "yes"
            and tags.get("tunnel", "no") == "no"
            and tags.get("bridge", "no") == "no"
        )

    def _addresses(self):
        """Streets and numbers of each building, from itself and from points on it."""
        streets = [set() for _ in range(len(self.buildings))]
        numbers = [set() for _ in range(len(self.buildings))]
        for at, tags in enumerate(self.buildings["tags"]):
            streets[at] |= {tags.get("addr:street", "")} - {""}
            numbers[at] |= {tags.get("addr:housenumber", "")} - {""}
        if len(self.points) and len(self.buildings):
            tree = shapely.STRtree(self.buildings.geometry.to_numpy())
            point, building = tree.query(
                self.points.geometry.to_numpy(), predicate="dwithin", distance=0.5
            )
            for p, b in zip(point, building, strict=True):
                tags = self.points["tags"].iloc[p]
                streets[b] |= {tags.get("addr:street", "")} - {""}
                numbers[b] |= {tags.get("addr:housenumber", "")} - {""}
        return streets, numbers


def named_of(table):
    """What a table of left-out houses (street, door, osm) names."""
    text = table[["street", "door", "osm"]].fillna("")
    pairs = {
        (_fold(street), door) for street, door in zip(text["street"], text["door"], strict=True)
    }
    return pairs | (set(text["osm"]) - {""})


def _pairs(cell):
    if isinstance(cell, str):
        cell = json.loads(cell)
    return cell if isinstance(cell, dict) else {}


def measure(place, plots, extract, named=(), street=""):
    """Count failures of one base map.

    Parameters
    ----------
    place
        Its name.
    plots
        The layer of plots as it was written.
    extract
        `Extract`, or None where the place is not from OpenStreetMap.
    named
        What is named as left out: OpenStreetMap ids, and pairs of street and number
        (see `named_of`).
    street
        A street whose houses are counted by themselves.
    """
    fit = Fit(place, plots=len(plots))
    shapes = plots.geometry.to_numpy()
    note = plots["note"].fillna("") if "note" in plots else pd.Series("", index=plots.index)
    garden = plots["kind"].isin(GARDENS).to_numpy()
    derived = plots["basis"].str.contains("derived").to_numpy()
    large = (shapely.area(shapes) > LARGE_M2) & (note == "").to_numpy()
    fit.large_no_note = int(large.sum())
    parts, owner = shapely.get_parts(shapes, return_index=True)
    thin = shapely.is_empty(shapely.buffer(parts, -SLIVER_M / 2 + 1e-6)) & (derived & garden)[owner]
    fit.slivers = int(thin.sum())
    fit.examples["slivers"] = sorted(set(plots["id"].to_numpy()[owner[thin]]))
    if extract is None:
        return fit
    fit.lanes_through, fit.examples["lanes"] = _crossed(
        shapes, (garden & derived), extract.lanes.geometry.to_numpy(), plots["id"].to_numpy()
    )
    fit.across_road, fit.examples["across"] = _across(plots, extract.roads.geometry.to_numpy())
    _houses(fit, plots, extract, named, _fold(street))
    return fit


def _crossed(shapes, wanted, lines, ids):
    inner = shapely.buffer(shapes, -SLIP_M)
    tree = shapely.STRtree(lines)
    plot, line = tree.query(inner, predicate="intersects")
    within = shapely.length(shapely.intersection(inner[plot], lines[line])) > LEAST_M
    hit = np.unique(plot[within & wanted[plot]])
    return len(hit), ids[hit].tolist()


def _across(plots, roads):
    """Plots with ground on both sides of a public road over ground, or under its middle line."""
    shapes, ids = plots.geometry.to_numpy(), plots["id"].to_numpy()
    own = ~plots["kind"].isin(("verge", "tree_pit", "planter")).to_numpy()
    bad = set(_crossed(shapes, own, roads, ids)[1])
    tree = shapely.STRtree(roads)
    for at in np.flatnonzero(own & (shapely.get_num_geometries(shapes) > 1)):
        pieces = shapely.get_parts(shapes[at])
        main = pieces[np.argmax(shapely.area(pieces))]
        ways = shapely.shortest_line(pieces, main)
        ways = ways[shapely.length(ways) > LEAST_M]
        if len(ways) and len(tree.query(ways, predicate="intersects")[0]):
            bad.add(ids[at])
    return len(bad), sorted(bad)


def _fold(name):
    return " ".join(str(name).casefold().replace("\u00df", "ss").split())


def _houses(fit, plots, extract, named, street):
    """Houses and their doors, against the plots that touch them."""
    shapes = plots.geometry.to_numpy()
    buildings = extract.buildings.geometry.to_numpy()
    tree = shapely.STRtree(shapes)
    ground_kind = ~plots["kind"].isin(("verge", "tree_pit", "planter")).to_numpy()
    house, plot = tree.query(buildings, predicate="dwithin", distance=0.3)
    keep = ground_kind[plot]
    house, plot = house[keep], plot[keep]
    # Whose ground is it? A plot belongs to the building that it shares most wall with.
    wall = shapely.length(
        shapely.intersection(shapely.boundary(buildings[house]), shapely.buffer(shapes[plot], 0.3))
    )
    best = np.zeros(len(house), dtype=bool)
    for one in np.unique(house):
        mine = np.flatnonzero(house == one)
        best[mine[wall[mine] > 0.5]] = True
    touching = {int(h): plot[(house == h) & best] for h in np.unique(house)}
    streets = plots["street"].fillna("").tolist()
    labels = plots["label"].fillna("").tolist()
    also = (plots["also"] if "also" in plots else plots["label"].str[:0]).fillna("").tolist()
    lost, wrong, lost_houses = [], [], []
    for at in range(len(buildings)):
        tags = extract.buildings["tags"].iloc[at]
        own = touching.get(at, [])
        ident = str(tags.get("osm_way_id") or tags.get("osm_id") or "")
        is_named = not len(own) and (
            any(ident and str(one).endswith(f"/{ident}") for one in named)
            or any(
                (street_of, number) in named
                for street_of in map(_fold, extract.street_of[at])
                for number in extract.numbers[at]
            )
        )
        if shapely.area(buildings[at]) > HOUSE_M2 and not extract.shed[at]:
            fit.houses += 1
            if not len(own) and not is_named:
                fit.houses_lost += 1
                lost_houses.append(ident)
        if not extract.street_of[at]:
            continue
        fit.addressed += 1
        wanted = {_fold(name) for name in extract.street_of[at]}
        if street in wanted:
            fit.street_addressed += 1
            fit.street_mapped += street in {_fold(streets[p]) for p in own}
        if is_named:
            fit.addressed_named += 1
        elif not len(own):
            fit.addressed_lost += 1
            lost.append(f"{min(extract.street_of[at])} {sorted(extract.numbers[at])}")
            continue
        else:
            fit.addressed_mapped += 1
        told = {_fold(streets[p]) for p in own} | {
            _fold(re.sub(r"\s\S+$", "", one)) for p in own for one in also[p].split("; ") if one
        }
        if len(own) and not wanted & told:
            fit.on_other_street += 1
            wrong.append(f"{min(extract.street_of[at])} {sorted(extract.numbers[at])}")
        fit.doors_shown += _said([labels[p] for p in own], extract.numbers[at])
    fit.examples |= {"lost": lost, "wrong street": wrong, "houses": lost_houses}


def _said(labels, numbers):
    """Whether a label says one of the numbers as that of a door."""
    told = [label.split("No", 1)[1] for label in labels if "No. " in label or "Nos. " in label]
    return any(number in label for label in told for number in numbers)
