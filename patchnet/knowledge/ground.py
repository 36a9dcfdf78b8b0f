"""Ground covers, and what moving over them and across barriers costs each group."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Literal, get_args

from patchnet.core.faults import Fault
from patchnet.core.texts import N_, _
from patchnet.knowledge.columns import Choice, Key, Ref, Refs, Text
from patchnet.knowledge.features import Feature
from patchnet.knowledge.parts import Number
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.row import Row
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure

__all__ = [
    "GAPS",
    "ROLES",
    "BarrierCrossing",
    "GroundCosts",
    "GroundCover",
    "MovementCost",
    "read_ground_costs",
    "read_ground_covers",
]

Gap = Literal["yes", "no", "not_known"]
GAPS: tuple[Gap, ...] = get_args(Gap)
"""Whether a barrier has a gap, as a neighbourhood says it."""
_PLOT = "plot_cover"
ROLES = ("building", "footway", "carriageway_narrow", "carriageway_wide", "unmapped")
"""Parts of the map that exactly one cover must stand for."""


@table(
    "ground_covers.csv",
    N_("A kind of ground that something walks over."),
    called=N_("ground cover"),
)
@dataclass(frozen=True, slots=True)
class GroundCover:
    """A kind of ground that something walks over: beds, lawn, carriageway, building ...

    Parameters
    ----------
    key, name
        Key in the tables and name in plain words.
    role
        ``plot_cover``, or what else of the map it stands for: ``building``, ``footway``,
        ``carriageway_narrow``, ``carriageway_wide`` or ``unmapped``.
    features
        Features whose ground is this.
    plot_kinds
        Kinds of plot that are this where nothing is known of their features.
    """

    key: Annotated[str, Key(N_("key of the cover"))]
    name: Annotated[str, Text(N_("name in plain words"))]
    role: Annotated[
        str,
        Choice(N_("plot_cover, or what else of the map it stands for"), of=(_PLOT, *ROLES)),
    ]
    features: Annotated[
        tuple[str, ...], Refs(N_("features whose ground is this"), table="features.csv")
    ]
    plot_kinds: Annotated[
        tuple[str, ...],
        Refs(
            N_("kinds of plot that are this where nothing is known of their features"),
            table="plot_kinds.csv",
        ),
    ]


@table(
    "movement_costs.csv",
    N_("What a metre of a ground cover costs a group that walks."),
    called=N_("movement cost"),
    key=("group", "cover"),
)
@dataclass(frozen=True, slots=True)
class MovementCost:
    """What a metre of a ground cover costs a group, in metres of the best ground."""

    group: Annotated[str, Ref(N_("the group"), table="groups.csv")]
    cover: Annotated[str, Ref(N_("the ground cover"), table="ground_covers.csv")]
    cost: Annotated[
        Figure,
        Number(N_("what a metre of it costs"), unit="times best ground", over=True),
    ]


@table(
    "barrier_crossings.csv",
    N_("What crossing a kind of barrier costs a group that walks."),
    called="crossing",
    key=("group", "barrier", "gap"),
)
@dataclass(frozen=True, slots=True)
class BarrierCrossing:
    """What crossing a kind of barrier costs a group, in metres of the best ground."""

    group: Annotated[str, Ref(N_("the group"), table="groups.csv")]
    barrier: Annotated[str, Ref(N_("the kind of barrier"), table="barrier_kinds.csv")]
    gap: Annotated[Gap, Choice(N_("whether there is a gap in it"))]
    cost: Annotated[Figure, Number(N_("what crossing it costs"), unit="cost metres")]


@dataclass(frozen=True, slots=True)
class GroundCosts:
    """What moving over the ground costs one group.

    Parameters
    ----------
    group
        Key of the group.
    covers
        Cost per metre of each cover, in metres of the best ground.
    crossings
        Cost of crossing a barrier, in metres of the best ground, by kind of barrier and by
        whether it has a gap (``yes``: at the gap; ``no`` and ``not_known``: anywhere).
    """

    group: str
    covers: Mapping[str, Figure]
    crossings: Mapping[tuple[str, str], Figure]


def read_ground_covers(reader: Reader, features: Mapping[str, Feature]) -> dict[str, GroundCover]:
    """Read the ground covers; every kind of plot and every role must have exactly one.

    Open water in the ground that none of them names (a user's own) is taken for the same cover as
    other ponds.
    """
    rows = reader.rows(GroundCover)
    for column, wanted in (
        ("features", ()),
        ("plot_kinds", tuple(reader.keys("plot_kinds.csv"))),
        ("role", ROLES),
    ):
        _each_at_one(reader, rows, column, wanted)
    return _with_open_water({row.key[0]: cover for row, cover in rows}, features)


def _each_at_one(
    reader: Reader, rows: list[tuple[Row, GroundCover]], column: str, wanted: Collection[str]
) -> None:
    taken: dict[str, str] = {}
    for row, cover in rows:
        for name in (cover.role,) if column == "role" else getattr(cover, column):
            if name in taken and name != _PLOT:
                said = _("'{name}' is ground of the cover '{taken}' already.").format(
                    name=name, taken=taken[name]
                )
                reader.say(row, said, _("Let it stand at one of them."))
            taken[name] = cover.key
    missing = [name for name in wanted if name not in taken]
    if missing:
        said = _("No cover has these in the column '{column}': {missing}.").format(
            column=column, missing=", ".join(missing)
        )
        mend = _("Name each of them at the cover that its ground is.")
        where = rows[-1][0].where if rows else "ground_covers.csv"
        reader.faults.append(Fault("error", where, None, None, said, mend))


def _with_open_water(
    covers: dict[str, GroundCover], features: Mapping[str, Feature]
) -> dict[str, GroundCover]:
    named = {key for cover in covers.values() for key in cover.features}
    water = [key for key, one in features.items() if one.open_water]
    own = tuple(key for key in water if key not in named and not features[key].container)
    home = next((key for key in water if key in named), None)
    return {
        key: replace(cover, features=cover.features + own) if home in cover.features else cover
        for key, cover in covers.items()
    }


def read_ground_costs(
    reader: Reader, covers: Collection[str], kinds: Collection[str]
) -> dict[str, GroundCosts]:
    """Read what moving costs each group; a group that has one cost must have them all.

    Parameters
    ----------
    reader
        Reads them.
    covers, kinds
        Keys of the ground covers and of the kinds of barrier.
    """
    per_metre: dict[str, dict[str, Figure]] = {}
    crossings: dict[str, dict[tuple[str, str], Figure]] = {}
    first: dict[str, Row] = {}
    for row, one in reader.rows(MovementCost):
        per_metre.setdefault(one.group, {})[one.cover] = one.cost
        first.setdefault(one.group, row)
    for row, other in reader.rows(BarrierCrossing):
        crossings.setdefault(other.group, {})[other.barrier, other.gap] = other.cost
        first.setdefault(other.group, row)
    costs = {}
    for group, row in first.items():
        costs[group] = GroundCosts(group, per_metre.get(group, {}), crossings.get(group, {}))
        missing = [cover for cover in covers if cover not in costs[group].covers]
        missing += [
            _("{kind} with gap {gap}").format(kind=kind, gap=gap)
            for kind in kinds
            for gap in GAPS
            if (kind, gap) not in costs[group].crossings
        ]
        if missing:
            said = _("The group '{group}' has no cost for: {missing}.").format(
                group=group, missing=", ".join(missing)
            )
            mend = _(
                "Add rows to movement_costs.csv (covers) and barrier_crossings.csv (barriers)."
            )
            reader.say(row, said, mend)
    return costs
