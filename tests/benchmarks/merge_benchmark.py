"""How fast 200 returns of 100 plots are merged, beside the same sums with pandas alone.

The target is 10 s on two cores. The peer reads the same files with ``json`` and ``pandas``, takes
the last statement of each person and counts who says what with ``groupby``: no checks, no dates,
no history, no file written.

    python tests/benchmarks/merge_benchmark.py [--small]
"""

import json
import random
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely

from patchnet.knowledge import load_knowledge
from patchnet.read import read_neighbourhood
from patchnet.survey.merge import merge_returns, write_merged
from patchnet.survey.one_return import street_id

PLOTS = 100
FEATURES = 10  # asked of each plot: a thousand statements a return
TARGET_S = 10


def street(folder: Path) -> Path:
    """Write a map of 100 gardens in two rows along a road."""
    path = folder / "street.gpkg"
    plots = gpd.GeoDataFrame(
        {"id": [str(at + 1) for at in range(PLOTS)], "kind": "garden"},
        geometry=[
            shapely.box(450_000 + 10 * (at // 2), 210_000 + 45 * (at % 2),
                        450_010 + 10 * (at // 2), 210_030 + 45 * (at % 2))
            for at in range(PLOTS)
        ],
        crs="EPSG:27700",
    )  # fmt: skip
    pyogrio.write_dataframe(plots, path, layer="plots", driver="GPKG")
    return path


def hand_in(folder: Path, count: int, identity: str, features: list[str]) -> list[Path]:
    """Write returns of twenty people who are right nine times in ten."""
    rng = random.Random(1)  # noqa: S311 - a benchmark needs no secret numbers
    files = []
    for number in range(count):
        day = f"2026-{number % 12 + 1:02d}-{number % 28 + 1:02d}"
        statements = []
        for at in range(PLOTS):
            for place, feature in enumerate(features):
                there = (at + place) % 3 == 0
                there ^= rng.random() < 0.1
                statements.append(
                    {
                        "plot": str(at + 1),
                        "feature": feature,
                        "answer": "there" if there else "not there",
                        "amount": rng.randint(1, 9) if there else None,
                        "sure": "sure",
                        "when": f"{day}T{10 + at // 60:02d}:{at % 60:02d}:{place:02d}+01:00",
                        "note": "",
                        "photo": "",
                    }
                )
        content = {
            "patchnet_return": 1,
            "id": f"return-{number}",
            "street": {"id": identity},
            "surveyor": f"Person {number % 20}",
            "seen_from": "street",
            "began": f"{day}T10:00:00+01:00",
            "saved": f"{day}T13:00:00+01:00",
            "statements": statements,
        }
        path = folder / f"{number}.return.json"
        path.write_text(json.dumps(content), encoding="utf-8")
        files.append(path)
    return files


def peer(files: list[Path]) -> pd.DataFrame:
    """Read and count with pandas alone."""
    tables = []
    for path in files:
        content = json.loads(path.read_text(encoding="utf-8"))
        table = pd.DataFrame(content["statements"])
        tables.append(table.assign(person=content["surveyor"]))
    whole = pd.concat(tables, ignore_index=True).sort_values("when", kind="stable")
    held = whole.drop_duplicates(["plot", "feature", "person"], keep="last")
    return pd.crosstab([held["plot"], held["feature"]], held["answer"])


def main() -> None:
    """Print both times and their ratio."""
    count = 20 if "--small" in sys.argv else 200
    knowledge = load_knowledge()
    features = list(knowledge.features)[:FEATURES]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = street(folder)
        identity = street_id(read_neighbourhood(path, knowledge=knowledge))
        files = hand_in(folder, count, identity, features)
        start, cpu = time.perf_counter(), time.process_time()
        merged = merge_returns(path, files, knowledge=knowledge, today=date(2027, 1, 1))
        write_merged(merged, folder / "merged.gpkg")
        ours, ours_cpu = time.perf_counter() - start, time.process_time() - cpu
        start, cpu = time.perf_counter(), time.process_time()
        counted = peer(files)
        theirs, theirs_cpu = time.perf_counter() - start, time.process_time() - cpu
        cpu = time.process_time()
        merge_returns(folder / "merged.gpkg", files, knowledge=knowledge, today=date(2027, 1, 1))
        again = time.process_time() - cpu
    there = merged.survey.set_index(["plot", "feature"])["people_there"]
    alike = (there.reindex(counted.index) == counted["there"]).all()
    print(f"{count} returns of {PLOTS} plots, {len(merged.records.statements):,} statements")
    print(f"merged and written: {ours:.1f} s, of the processor {ours_cpu:.1f} s")
    print(f"(target {TARGET_S} s for 200); all of them once more: {again:.1f} s of the processor")
    print(f"pandas alone, unchecked: {theirs:.1f} s, of the processor {theirs_cpu:.1f} s")
    print(f"ratio of processor times: {ours_cpu / theirs_cpu:.1f}")
    print(f"both count the same: {'yes' if alike else 'NO'}")


if __name__ == "__main__":
    main()
