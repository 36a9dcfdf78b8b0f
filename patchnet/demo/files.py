"""The invented demo neighbourhood: made from a seed, the same bytes every time.

``python -m patchnet.demo data_demo`` writes its files again. Nothing in it is a real
place: the plan is laid on open water in the North Sea, far from any street.
"""

import csv
import io
import json
import random
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from patchnet.core.errors import CannotWrite
from patchnet.core.files import write_text
from patchnet.core.texts import _
from patchnet.demo.drawing import Plan, Point
from patchnet.demo.habitat import Survey, describe
from patchnet.demo.plan import draw_plan
from patchnet.demo.scenario import HEIGHTS, LOFTS, SPEEDS, STOREYS
from patchnet.knowledge.records import Knowledge
from patchnet.read.from_file import read_neighbourhood
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["SEED", "demo_files", "demo_layers", "read_demo", "write_demo"]

SEED = 1

# Where the plan is laid: 55.3 N 2.9 E, open sea on the Dogger Bank. The plan is 260 m wide,
# so one number of metres a degree serves it all: WGS 84 radii of curvature at that latitude,
# M = a(1 - e2) / (1 - e2 sin2 phi)^1.5 and N cos phi, times pi / 180. Written out, so that
# the same digits come on every machine.
ORIGIN = (2.9, 55.3)
METRES_PER_DEGREE = (63_515.77, 111_329.04)
DECIMALS = 7  # RFC 7946 section 11.2 calls six reasonable; the seventh keeps 60 cm planters true

Layers = dict[str, gpd.GeoDataFrame | pd.DataFrame]
_Feature = dict[str, Any]


def _position(point: Point) -> list[float]:
    return [round(ORIGIN[i] + point[i] / METRES_PER_DEGREE[i], DECIMALS) for i in range(2)]


def _polygon(points: Iterable[Point]) -> dict[str, Any]:
    """Return a polygon with its ring anticlockwise and closed (RFC 7946 section 3.1.6)."""
    ring = list(points)
    twice = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, [*ring[1:], ring[0]], strict=True))
    if twice < 0:
        ring.reverse()
    start = ring.index(min(ring))
    ring = ring[start:] + ring[: start + 1]
    return {"type": "Polygon", "coordinates": [[_position(p) for p in ring]]}


def _line(points: Iterable[Point]) -> dict[str, Any]:
    return {"type": "LineString", "coordinates": [_position(p) for p in points]}


def _mapped(points: tuple[Point, ...], *, line: bool) -> dict[str, Any]:
    if len(points) == 1:
        return {"type": "Point", "coordinates": _position(points[0])}
    return _line(points) if line else _polygon(points)


def _feature(geometry: dict[str, Any], **properties: object) -> _Feature:
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def _rounded(metres: float | None) -> float | None:
    return None if metres is None else round(metres, 2)


def _draw(seed: int) -> tuple[Plan, list[Survey]]:
    rng = random.Random(seed)  # noqa: S311 - a drawing, not a secret; its numbers never change
    plan = draw_plan(rng)
    return plan, describe(plan, rng)


def _layers(plan: Plan, surveys: list[Survey]) -> dict[str, list[_Feature]]:
    """Each layer's features as GeoJSON, sorted."""
    seen = {survey.ident: survey.seen for survey in surveys}
    layers: dict[str, list[_Feature]] = {
        "plots": [
            _feature(
                _polygon(plot.ring),
                id=plot.ident,
                kind=plot.kind,
                label=plot.label,
                street=plot.street,
                seen=seen[plot.ident],
            )
            for plot in plan.plots
        ],
        "features": [
            _feature(
                _mapped(shape.points, line=feature.startswith("hedge")),
                plot=shape.name,
                feature=feature,
            )
            for feature, shape in plan.mapped
        ],
        "barriers": [
            _feature(_line(barrier.line), kind=barrier.kind, gap=barrier.gap, height=barrier.height)
            for barrier in plan.barriers
        ],
        "buildings": [
            _feature(
                _polygon(s.points),
                name=s.name,
                storeys=_storeys(s.name),
                height=HEIGHTS.get(s.name),
            )
            for s in plan.buildings
        ],
        "roads": [
            _feature(
                _line(s.points), name=s.name, width_m=_rounded(s.amount), maxspeed=SPEEDS[s.name]
            )
            for s in plan.roads
        ],
        "footways": [
            _feature(_mapped(s.points, line=s.line), name=s.name, width_m=_rounded(s.amount))
            for s in plan.footways
        ],
        "street_objects": [
            _feature(_mapped(s.points, line=s.line), kind=kind, width_m=_rounded(s.amount))
            for kind, s in plan.street_objects
        ],
    }
    for features in layers.values():
        features.sort(
            key=lambda f: [str(v) for v in f["properties"].values()] + [str(f["geometry"])]
        )
    return layers


def _storeys(name: str) -> int | None:
    """Return the storeys of a building by its name or its street; None if nobody counted."""
    street = name.partition(" ")[2]
    return 3 if name in LOFTS else STOREYS.get(name, STOREYS.get(street))


def _geojson(name: str, features: list[_Feature]) -> str:
    """One feature a line, so that a change shows as one line in a comparison."""
    lines = ",\n".join(json.dumps(feature, ensure_ascii=False) for feature in features)
    return f'{{"type": "FeatureCollection", "name": "{name}", "features": [\n{lines}\n]}}\n'


def _csv(surveys: Iterable[Survey]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("id", "seen", "features"))
    writer.writerows((s.ident, s.seen, s.features) for s in sorted(surveys, key=lambda s: s.ident))
    return out.getvalue()


def demo_layers(*, seed: int = SEED) -> Layers:
    """Return the invented neighbourhood as tables.

    Parameters
    ----------
    seed
        Other seeds give other house widths, gaps and amounts on the same plan.

    Returns
    -------
    dict
        ``plots``, ``features``, ``barriers``, ``buildings``, ``roads``, ``footways``,
        ``street_objects``:
        GeoDataFrames in WGS 84 (degrees, EPSG:4326) as in the files; ``survey``: the table of
        features.csv (``id``, ``seen``, ``features``).
    """
    plan, surveys = _draw(seed)
    layers: Layers = {
        name: gpd.GeoDataFrame.from_features(features, crs="EPSG:4326")
        for name, features in _layers(plan, surveys).items()
    }
    rows = sorted(surveys, key=lambda s: s.ident)
    layers["survey"] = pd.DataFrame(
        {
            "id": [s.ident for s in rows],
            "seen": [s.seen for s in rows],
            "features": [s.features for s in rows],
        }
    )
    return layers


def demo_files(*, seed: int = SEED) -> dict[str, str]:
    """Return the files of the invented neighbourhood: name -> text, in the order of the names.

    Seven GeoJSON layers (RFC 7946) and features.csv; the same seed gives the same text.
    """
    plan, surveys = _draw(seed)
    files = {
        f"{name}.geojson": _geojson(name, rows) for name, rows in _layers(plan, surveys).items()
    }
    files["features.csv"] = _csv(surveys)
    return dict(sorted(files.items()))


def write_demo(folder: Path | str, *, seed: int = SEED) -> list[Path]:
    """Write the invented neighbourhood's files into `folder` and return their paths.

    Parameters
    ----------
    folder
        Made if it is not there; files of the same names are replaced.
    seed
        The same seed gives the same bytes.

    Returns
    -------
    list of Path
        The files, in the order of their names.

    Raises
    ------
    CannotWrite
        If the folder cannot be made or written to.

    Examples
    --------
    >>> import patchnet
    >>> sorted(path.name for path in patchnet.write_demo("demo"))[:2]
    ['barriers.geojson', 'buildings.geojson']
    """
    target = Path(folder)
    try:
        target.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotWrite(
            _("{target} cannot be made: {strerror}.").format(
                target=target, strerror=error.strerror or error
            )
        ) from error
    paths = []
    for name, text in demo_files(seed=seed).items():
        write_text(target / name, text)
        paths.append(target / name)
    return paths


def read_demo(*, seed: int = SEED, knowledge: Knowledge | None = None) -> Neighbourhood:
    """Return the invented neighbourhood, read as from its files.

    Parameters
    ----------
    seed
        The same seed gives the same neighbourhood.
    knowledge
        The tables; None: those that ship with patchnet.

    Returns
    -------
    Neighbourhood
        127 plots on two streets, in metres.

    Examples
    --------
    >>> import patchnet
    >>> patchnet.read_demo().name
    'Wickthorn'
    """
    with tempfile.TemporaryDirectory(prefix="patchnet-") as folder:
        write_demo(folder, seed=seed)
        return read_neighbourhood(folder, knowledge=knowledge, name="Wickthorn")
