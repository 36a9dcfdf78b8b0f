"""What the tables leave out: things that could never be offered or asked for, and why.

A row alone can be right and still do nothing, because another table says nothing of it. What
could not work at all is an error; what works with less is a warning.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Literal, get_args

from patchnet.core.faults import Fault
from patchnet.core.texts import _
from patchnet.knowledge.plants import LAYERS
from patchnet.knowledge.plots import BarrierLine
from patchnet.knowledge.records import (
    BarrierKind,
    Feature,
    Group,
    Knowledge,
    Plant,
    PlotKind,
    PlotTrait,
)
from patchnet.knowledge.row import Row

__all__ = ["missing"]

Severity = Literal["error", "warning"]
Told = tuple[Severity, str, str]
"""How bad it is, what is missing, what to do."""

_PARTS: tuple[PlotTrait, ...] = (
    "whole", "front", "back", "strip", "pit", "box", "unnamed",
)  # fmt: skip
"""Parts of a base map, each of which needs a kind of plot."""


def missing(knowledge: Knowledge, tables: Mapping[str, list[Row]]) -> list[Fault]:
    """List what is said too little to work of features, groups, plants, plots and barriers.

    Parameters
    ----------
    knowledge
        All tables, in which every reference is known to hold.
    tables
        The rows that it was built from, by file name: a fault names the row it is about.

    Returns
    -------
    list of Fault
        In the order of the tables, each with the table to add to.
    """
    faults: list[Fault] = []

    def tell(table: str, key: str, told: Iterable[Told]) -> None:
        for severity, what, mend in told:
            row = next(row for row in tables[table] if row.cells["key"] == key)
            faults.append(Fault(severity, row.where, row.line, row.ident, what, mend))

    asked = {row.cells["feature"] for row in tables["survey_questions.csv"]}
    for key, feature in knowledge.features.items():
        tell("features.csv", key, _of_feature(feature, knowledge, asked))
    for key, group in knowledge.groups.items():
        tell("groups.csv", key, _of_group(group, knowledge))
    served = {role for one in knowledge.resources.values() for role in one.plant_roles}
    for key, plant in knowledge.plants.items():
        tell("plants.csv", key, _of_plant(plant, knowledge, served))
    for key, kind in knowledge.plot_kinds.items():
        tell("plot_kinds.csv", key, _of_plot_kind(kind))
    for key, barrier in knowledge.barrier_kinds.items():
        tell("barrier_kinds.csv", key, _of_barrier_kind(barrier))
    faults += [
        Fault("error", name, None, None, what, mend) for name, what, mend in _parts(knowledge)
    ]
    return faults


def _of_feature(feature: Feature, knowledge: Knowledge, asked: set[str]) -> Iterator[Told]:
    key = feature.key
    leads = "way_through" in feature.traits
    gives = any(supply.feature == key for supply in knowledge.supplies)
    if feature.addable and key not in knowledge.sitings:
        yield (
            "error",
            _("Nothing says where it can go, so it would never be offered."),
            (
                _(
                    "Add a row for it to feature_siting.csv, with its numbers in "
                    "feature_siting_figures.csv and its steps in feature_steps.csv; or write n in "
                    "the column 'addable'."
                )
            ),
        )
    if feature.addable and not leads and not gives:
        yield (
            "error",
            _("It gives nothing that a group needs, so it would never be offered."),
            _("Add a row for it to supplies.csv; or write n in the column 'addable'."),
        )
    if "bed" in feature.traits and key not in knowledge.planting_places:
        yield (
            "error",
            _("It is a bed, but nothing says what grows in it."),
            _("Add a row for it to planting_places.csv and its room to planting_figures.csv."),
        )
    if key not in asked:
        yield (
            "warning",
            _("The survey has no question of its own for it: it is asked last, without a hint."),
            _("Add a row for it to survey_questions.csv."),
        )
    siting = knowledge.sitings.get(key)
    covers = any(key in cover.features for cover in knowledge.ground_covers.values())
    if siting is not None and siting.place == "ground" and feature.ground.value and not covers:
        yield (
            "warning",
            _(
                "No ground cover lists it: animals on it count as walking on the plot's other "
                "ground."
            ),
            _("Add it to the features of one row of ground_covers.csv."),
        )


def _of_group(group: Group, knowledge: Knowledge) -> Iterator[Told]:
    if not group.needs and not group.feeds_elsewhere:
        yield (
            "warning",
            _("It has no need: its homes depend on nothing but what it lives in."),
            _("Add rows for it to needs.csv and need_figures.csv."),
        )
    if group.mode == "ground" and group.key not in knowledge.ground_costs:
        yield (
            "warning",
            _("Nothing says how hard the ground is to cross for it: distances are straight lines."),
            _("Add rows for it to movement_costs.csv and barrier_crossings.csv."),
        )


def _of_plant(plant: Plant, knowledge: Knowledge, served: set[str]) -> Iterator[Told]:
    for role in plant.roles:
        if role not in knowledge.plant_roles or role not in served:
            yield (
                "warning",
                _(
                    "No resource is given by the role '{role}': the plant is never chosen for it."
                ).format(role=role),
                _("Add it to plant_roles.csv, and to the column 'plant_roles' of resources.csv."),
            )
    if not any(plant.layer in place.layers for place in knowledge.planting_places.values()):
        yield (
            "error",
            (
                _(
                    "Nothing that can be planted has room for the layer '{layer}', so it would "
                    "never be chosen."
                ).format(layer=plant.layer)
            ),
            _("Add the layer to a row of planting_places.csv, or write one of: {layers}.").format(
                layers=", ".join(LAYERS)
            ),
        )
    if plant.told_poisonous and plant.key not in knowledge.plant_lists["toxic"]:
        yield (
            "warning",
            _("Its hazard mentions poison, but not for whom: it counts for everybody."),
            _("Add a row for it to plant_lists.csv, list 'toxic'."),
        )


def _of_plot_kind(kind: PlotKind) -> Iterator[Told]:
    if not kind.traits:
        yield (
            "warning",
            _(
                "Nothing says what it is: we treat it as private ground with soil and no home on "
                "it."
            ),
            (
                _(
                    "Write what holds in the column 'traits', such as home, asks_keeper or "
                    "in_street; or plain, if that is what it is."
                )
            ),
        )


def _of_barrier_kind(kind: BarrierKind) -> Iterator[Told]:
    if kind.line is None:
        yield (
            "warning",
            _("Nothing says how it is drawn: it gets short dashes, like all such kinds."),
            _("Write one of these in the column 'line': {get_args}.").format(
                get_args=", ".join(get_args(BarrierLine))
            ),
        )


def _parts(knowledge: Knowledge) -> Iterator[tuple[str, str, str]]:
    for part in _PARTS:
        if not knowledge.plot_kinds_with(part):
            what = _("No kind of plot has the trait '{part}', which a base map needs.").format(
                part=part
            )
            yield "plot_kinds.csv", what, _("Write it in the column 'traits' of one kind.")
    if not any(kind.unnamed for kind in knowledge.barrier_kinds.values()):
        what = _("No kind of barrier stands for one without a name.")
        yield "barrier_kinds.csv", what, _("Write y in the column 'unnamed' of one kind.")
    if not any(kind.box for kind in knowledge.street_kinds.values()):
        what = _("No thing in the street stands for a planter that is there already.")
        yield "street_objects.csv", what, _("Write y in the column 'box' of one kind.")
    box = [knowledge.plot_kinds[key] for key in knowledge.plot_kinds_with("box")]
    if any(kind.implies is None for kind in box):
        what = _("A planter in the street must say which feature the whole of it is.")
        yield "plot_kinds.csv", what, _("Fill in the column 'implies' of the kind with 'box'.")
