"""The long attack on series of public tables, and how long a table takes: one command.

    python tests/benchmarks/release_attack.py [SERIES]

Each series: 40 households in two units, six features, 200 requests; the attacker keeps every
table, knows who was counted when, and is in turn nobody and each of eight households. Then one
table after another of 400 households and 30 features is timed.
"""

import sys
import time
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from worlds.release_series import Series, given_away

from patchnet.knowledge import load_knowledge
from patchnet.survey.release import UNITS, Ledger, release


def attacked(count):
    """Run so many series and print what each gave away."""
    knowledge = load_knowledge()
    lost = tables = answers = 0
    for seed in range(count):
        series = Series(seed)
        series.run(knowledge)
        found, of = given_away(series, insiders=8)
        cells = [cell for classes, _ in series.tables for cell in classes.values()]
        untold = sum(cell == (0, 3) for cell in cells)
        print(f"series {seed}: {len(series.tables)} tables, {found} of {of} given away, "
              f"{untold} of {len(cells)} cells not told", flush=True)  # fmt: skip
        lost, tables, answers = lost + found, tables + len(series.tables), answers + of
    print(f"{count} series, {200 * count} requests, {tables} tables: {lost} of {answers} answers "
          "given away")  # fmt: skip
    return lost


def timed():
    """Time the first tables of a street of 400 households in 20 units, with 30 features."""
    knowledge = load_knowledge()
    dice = np.random.default_rng(0)
    names = [f"{at // 20}-{at}" for at in range(400)]
    features = [f"feature {at}" for at in range(30)]
    share = dice.choice([0.05, 0.2, 0.4, 0.6, 0.9], 30)
    said = (dice.random((400, 30)) < share).astype(float)
    said[dice.random(said.shape) < 0.1] = np.nan
    units = pd.DataFrame(
        [(name, name, name.split("-")[0]) for name in names], columns=list(UNITS), dtype=object
    )
    ledger = Ledger(key="k", units=units, names={str(at): str(at) for at in range(20)})
    for number in range(4):
        # In each unit of twenty six are away, others each time.
        away = (np.arange(20)[:, None] * 20 + (np.arange(6) + 5 * number) % 20).ravel()
        part = np.setdiff1d(np.arange(400), away)
        begin = time.process_time()
        ledger, found = release(
            ledger, [names[at] for at in part], said[part], features, knowledge=knowledge,
            today=date(2026, 1, 1 + number),
        )  # fmt: skip
        took = time.process_time() - begin
        print(f"table {found.number} of 400 households, 30 features: {took:.1f} s at work")


if __name__ == "__main__":
    timed()
    sys.exit(attacked(int(sys.argv[1]) if len(sys.argv) > 1 else 20) > 0)
