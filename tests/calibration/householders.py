"""Householders from a table: what their plan must have and what must never be in it.

Run: python tests/calibration/householders.py [--draws N] [--only ID ...]

Each row of householders.csv says where somebody lives, what they say of their plot, what a handbook
or common practice says must be among the things proposed (alternatives by |) and what must not be,
with its source. Words with @ are about the whole plan, see `TOLD`; ``plant:KEY`` is a plant of its
planting. Every miss is printed.
"""

import argparse
import csv
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from places import neighbourhood_of

import patchnet
from patchnet.knowledge import load_knowledge
from patchnet.plan.plan_plot import Adviser
from patchnet.plan.plot_search import Taken
from patchnet.plan.roles import has_living

_MONTH = 10


def householders():
    """Rows of the table."""
    with (Path(__file__).parent / "householders.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def facts_of(row, knowledge):
    """What the householder says."""
    pairs = [part.split("=") for part in row["said"].split("; ") if part]
    said = {name: value == "yes" if value in ("yes", "no") else value for name, value in pairs}
    return patchnet.read_facts(said, knowledge, where=row["id"])


def _things(plan):
    return [] if plan.best is None else [one.candidate for one in plan.best.additions]


def _costs(plan, knowledge):
    money = sum(one.cost for one in _things(plan))
    way = {} if plan.best is None else plan.best.gives_way
    taken = [(how, way.get(key, 0.0)) for key, how in knowledge.taking_up.items()]
    return money + sum(how.cost.value * m2 for how, m2 in taken)


def _lawn(plan, knowledge):
    lawn = set(knowledge.features_with("lawn"))
    given = 0.0 if plan.best is None else sum(
        amount for key, amount in plan.best.gives_way.items() if key in lawn
    )  # fmt: skip
    allowed = plan.facts.free_m2 or 0.0
    return given > allowed + 1e-9


def _toxic(plan, knowledge):
    plants = (knowledge.plants[line.plant] for line in plan.planting.lines)
    return any(getattr(one, "harm_children", False) for one in plants)


def _season(plan, knowledge):
    """Something in flower every month from March to October (planting_and_street.md, 2.5)."""
    months = {month for line in plan.planting.lines for month in line.months}
    return set(range(3, 11)) <= months


def _plant_money(plan, knowledge):
    plants = sum(line.price * line.number for line in plan.planting.lines)
    beds = knowledge.planting_places
    others = sum(one.cost for one in _things(plan) if one.feature not in beds)
    return plants + others <= plan.facts.budget + 1e-9


TOLD = {
    "@season": _season,
    "@plant_money": _plant_money,
    "@living": lambda plan, know: has_living(_things(plan), know),
    "@water": lambda plan, know: any(know.features[x.feature].open_water for x in _things(plan)),
    "@rooted": lambda plan, know: any(know.features[x.feature].rooted for x in _things(plan)),
    "@own": lambda plan, know: any(know.sitings[x.feature].tenancy == "own" for x in _things(plan)),
    "@free": lambda plan, know: _costs(plan, know) == 0,
    "@money": lambda plan, know: _costs(plan, know) <= plan.facts.budget + 1e-9,
    "@hours": lambda plan, know: (
        sum(x.hours_month for x in _things(plan)) <= plan.facts.hours_month + 1e-9
    ),
    "@lawn_taken": _lawn,
    "@cat": lambda plan, know: all(
        set(know.cautions_about("cats")) <= set(x.cautions)
        for x in _things(plan)
        if "for_birds" in know.features[x.feature].traits
    ),
    "@asked": lambda plan, know: all(
        "small_children" in x.asks for x in _things(plan) if know.features[x.feature].open_water
    ),
    "@keeper": lambda plan, know: all("keeper" in x.asks for x in _things(plan)),
    "@eat": lambda plan, know: (
        plan.to_eat is not None
        or any(know.features[x.feature].key in _EDIBLE for x in _things(plan))
    ),
    "@plants": lambda plan, know: bool(plan.planting.lines),
    "@toxic": _toxic,
}
_EDIBLE = {"fruit_tree", "trained_tree", "herb_bed", "vegetable_bed", "hedge_native"}


def misses(row, plan, knowledge):
    """What is there and must not be, or must be and is not."""
    there = {one.feature for one in _things(plan)}
    there |= {f"plant:{line.plant}" for line in plan.planting.lines}

    def holds(one):
        return TOLD[one](plan, knowledge) if one.startswith("@") else one in there

    wrong = [
        f"lacks {each}"
        for each in filter(None, row["must"].split(";"))
        if not any(holds(one) for one in each.split("|"))
    ]
    wrong += [f"has {each}" for each in filter(None, row["never"].split(";")) if holds(each)]
    return wrong, sorted(key for key in there if not key.startswith("plant:"))


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--draws", type=int, default=0, help="0: with the figures in use")
    parser.add_argument("--only", nargs="*", default=(), metavar="ID")
    asked = parser.parse_args()
    knowledge = load_knowledge()
    rows = [row for row in householders() if not asked.only or row["id"] in asked.only]
    missed = 0
    for place in dict.fromkeys(row["place"] for row in rows):
        assessment = patchnet.assess(neighbourhood_of(place, knowledge), straight=True)
        taken = Taken(asked.draws, processes=None) if asked.draws else None
        adviser = Adviser(assessment, taken)
        for row in rows:
            if row["place"] == place:
                plan = adviser.plan(row["plot"], facts_of(row, knowledge), month=_MONTH)
                wrong, there = misses(row, plan, knowledge)
                missed += bool(wrong)
                words = f"MISSED: {'; '.join(wrong)}" if wrong else "met"
                print(f"{row['id']} {row['plot']:5s} {words} ({', '.join(there)})", flush=True)
                if wrong:
                    print(f"     said: {row['said']}; source: {row['source']}")
    print(f"{len(rows) - missed} of {len(rows)} met")


if __name__ == "__main__":
    main()
