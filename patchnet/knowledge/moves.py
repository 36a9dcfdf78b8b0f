"""Moves: what one does with a tiny plot to make room for something, and what that takes."""

from dataclasses import dataclass
from typing import Annotated, Literal

from patchnet.core.texts import N_
from patchnet.knowledge.columns import Amount, Choice, Flag, Key, Months, Ref, Refs, Text
from patchnet.knowledge.parts import Basis, Figures, Quantity, RowsOf
from patchnet.knowledge.schema import table
from patchnet.knowledge.siting import Step
from patchnet.knowledge.sources import Figure

__all__ = ["Move", "MoveStep"]


@table(
    "move_steps.csv",
    N_("One plain step of a move."),
    called="step",
    key=("move", "step"),
    also={
        "move": Ref(N_("the move"), table="moves.csv"),
        "step": Amount(N_("its place in the order")),
    },
)
@dataclass(frozen=True, slots=True)
class MoveStep(Step):
    """One plain step of a move, and where it comes from (source keys)."""


@table(
    "moves.csv",
    N_("A move: a way to make something on a tiny plot."),
    called=N_("move"),
    bases=(Basis("move", N_("features, tenancy, cautions, months"), at="move"),),
    figures=Figures("move_figures.csv", ("move",)),
)
@dataclass(frozen=True, slots=True)
class Move:
    """A way to make something where room is small.

    Parameters
    ----------
    key, name, where
        Key in the tables; name and the places it suits in plain words.
    features
        Features that it makes or keeps.
    there
        Features of which one must be there (slabs to lift); empty: none.
    unit
        What cost and hours are for: m2, m, an item, the plot.
    tenancy
        ``free``: a tenant can do it; ``ask``: a tenant asks the owner first; ``own``: only for
        who owns the plot.
    ask_first
        Whom to ask, in plain words; nothing: nobody.
    cautions, mind
        Keys of warnings that go with it; what else to mind.
    drainage
        Where the water goes, in plain words.
    gives
        What it is good for.
    months
        When it is done.
    reversible, undo
        Whether it can be undone, and how.
    cost, hours
        Money and work per unit.
    soil_depth
        Depth of soil that it makes or needs, m; None: it needs none.
    steps
        How it is done, in order.
    """

    key: Annotated[str, Key(N_("key of the move"))]
    name: Annotated[str, Text(N_("name in plain words"))]
    where: Annotated[str, Text(N_("places that it suits"))]
    features: Annotated[
        tuple[str, ...],
        Refs(N_("features that it makes or keeps"), table="features.csv", blank="needed"),
    ]
    there: Annotated[
        tuple[str, ...],
        Refs(N_("features of which one must be there for it"), table="features.csv"),
    ]
    unit: Annotated[
        Literal["m2", "m", "item", "plot"], Choice(N_("what cost and hours are for"))
    ]  # fmt: skip
    tenancy: Annotated[
        Literal["free", "ask", "own"],
        Choice(
            N_(
                "free: a tenant can do it; ask: a tenant asks the owner first; own: only for who "
                "owns the plot"
            )
        ),
    ]
    ask_first: Annotated[str, Text(N_("whom to ask first"), blank="")]
    cautions: Annotated[tuple[str, ...], Refs(N_("warnings that go with it"), table="cautions.csv")]
    mind: Annotated[str, Text(N_("what else to mind"), blank="")]
    drainage: Annotated[str, Text(N_("where the water goes"), blank="")]
    gives: Annotated[str, Text(N_("what it is good for"))]
    months: Annotated[tuple[int, ...], Months(N_("when it is done"))]
    reversible: Annotated[bool, Flag(N_("whether it can be undone"))]
    undo: Annotated[str, Text(N_("how it is undone"), blank="")]
    cost: Annotated[Figure, Quantity("money", unit="pounds per {unit}")]
    hours: Annotated[Figure, Quantity("work", unit="hours per {unit}")]
    soil_depth: Annotated[
        Figure | None,
        Quantity(N_("depth of soil that it makes or needs"), unit="m", needed=False),
    ]
    steps: Annotated[
        tuple[MoveStep, ...],
        RowsOf(MoveStep, by="move", order="step", missing=N_("Nothing says how it is done.")),
    ]
