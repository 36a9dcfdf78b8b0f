"""A street to be surveyed, and what volunteers hand in of it."""

import json
from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import pyogrio
import shapely

from patchnet.read import read_neighbourhood
from patchnet.survey.one_return import street_id

EAST, NORTH = 450_000.0, 210_000.0


@dataclass
class SurveyStreet:
    """Gardens of 20 x 30 m in two rows on either side of a road, ids 1, 2 ..."""

    folder: Path
    path: Path
    street: str
    ids: list[str]
    files: list[Path] = field(default_factory=list)

    def hand_in(self, name, statements, *, who="Ann", day="2026-05-02", **others):
        """Write a return of the survey page.

        A statement is (plot, feature, answer) and, if wanted, amount, note, photo.
        """
        rows = []
        for at, said in enumerate(statements):
            plot, feature, answer, amount, note, photo = (*said, None, "", "")[:6]
            rows.append(
                {
                    "plot": plot,
                    "feature": feature,
                    "answer": answer,
                    "amount": amount,
                    "sure": "sure",
                    "when": f"{day}T10:{at // 60:02d}:{at % 60:02d}+01:00",
                    "note": note,
                    "photo": photo,
                }
            )
        content = {
            "patchnet_return": 1,
            "id": name,
            "street": {"id": self.street, "name": "Alder Row"},
            "surveyor": who,
            "seen_from": "street",
            "began": f"{day}T10:00:00+01:00",
            "saved": f"{day}T13:00:00+01:00",
            "statements": rows,
        } | others
        return self.write(f"{name}.return.json", json.dumps(content, ensure_ascii=False))

    def write(self, name, text, encoding="utf-8"):
        path = self.folder / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
        self.files.append(path)
        return path


def street_file(path, knowledge):
    """Write the map of the street; return its id and those of its plots."""
    ids = [str(at + 1) for at in range(16)]
    west = [20.0 * (at % 8) for at in range(16)]
    south = [0.0 if at < 8 else 45.0 for at in range(16)]
    plots = gpd.GeoDataFrame(
        {
            "id": ids,
            "kind": "garden",
            "label": [f"CANARYADDRESS{ident.zfill(2)} Alder Row" for ident in ids],
            "street": "Alder Row",
        },
        geometry=[
            shapely.box(EAST + x, NORTH + y, EAST + x + 20, NORTH + y + 30)
            for x, y in zip(west, south, strict=True)
        ],
        crs="EPSG:27700",
    )
    road = gpd.GeoDataFrame(
        {"name": ["Alder Row"], "width_m": [5.0]},
        geometry=[shapely.LineString([(EAST, NORTH + 37.5), (EAST + 160, NORTH + 37.5)])],
        crs="EPSG:27700",
    )
    barriers = gpd.GeoDataFrame(
        {"kind": ["fence", "wall"], "gap": ["yes", "no"]},
        geometry=[
            shapely.LineString([(EAST + x, NORTH), (EAST + x, NORTH + 30)]) for x in (20, 40)
        ],
        crs="EPSG:27700",
    )
    houses = gpd.GeoDataFrame(
        {"name": ["CANARYHOUSE Cottage"]},
        geometry=[shapely.box(EAST + 2, NORTH + 20, EAST + 10, NORTH + 29)],
        crs="EPSG:27700",
    )
    for name, table in (
        ("plots", plots),
        ("roads", road),
        ("barriers", barriers),
        ("buildings", houses),
    ):
        pyogrio.write_dataframe(
            table, path, layer=name, driver="GPKG", append=path.exists(),
            layer_metadata={"credits": "Map: the volunteers of Alder Row"},
        )  # fmt: skip
    hood = read_neighbourhood(path, knowledge=knowledge)
    return street_id(hood), ids
