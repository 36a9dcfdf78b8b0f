"""Where an addition goes and how it is made; uses of a plot that must stay."""

from dataclasses import dataclass
from typing import Annotated, Literal

from patchnet.core.texts import N_
from patchnet.knowledge.columns import Amount, Choice, Choices, Flag, Key, Ref, Refs, Text, Words
from patchnet.knowledge.parts import Basis, Figures, Number, Quantity, RowsOf
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure

__all__ = ["KeepUse", "Place", "Siting", "Step"]

Place = Literal["ground", "standing", "wall", "fence", "sill", "roof", "under", "habit"]
"""Open soil; on any floor; on a wall, fence or window sill; on a roof; under what grows there.

A habit has no place: it is something that is done, or left undone, on the whole plot.
"""


@table(
    "feature_steps.csv",
    N_("One plain step of making a feature."),
    called="step",
    key=("feature", "step"),
    also={
        "feature": Ref(N_("the feature"), table="feature_siting.csv"),
        "step": Amount(N_("its place in the order")),
    },
)
@dataclass(frozen=True, slots=True)
class Step:
    """One plain step of making something, and where it comes from (source keys)."""

    words: Annotated[str, Text(N_("what is done, in short sentences"))]
    sources: Annotated[
        tuple[str, ...],
        Refs(N_("where it comes from"), name="source", table="sources.csv", blank="needed"),
    ]


@table(
    "feature_siting.csv",
    N_("Where a feature goes and what making it takes."),
    called=N_("sited feature"),
    address="features/{feature}",
    key=("feature",),
    bases=(Basis("siting", N_("place, light, tenancy, street"), at="siting"),),
    figures=Figures("feature_siting_figures.csv", ("feature",)),
)
@dataclass(frozen=True, slots=True)
class Siting:
    """Where a feature goes and what making it takes.

    Parameters
    ----------
    feature
        Key of the feature.
    said
        What one calls it in a sentence, with its article.
    place
        Open ground; standing on any floor; a wall, fence or sill; a roof; under what grows
        there already; or a habit of the whole plot.
    lights
        Light in which it gives about what the supply table says.
    tenancy
        ``free``: a tenant can undo it; ``ask``: a tenant asks the owner first; ``own``: only for
        who owns the plot.
    made_from
        Features that it is made from where there is some, in that order (long grass from short
        lawn); empty: none.
    made_only
        Whether it can be made from nothing else (a lawn mown less often).
    edible
        Whether it gives something to eat.
    street
        Whether it has a place in a public street: a verge, a tree pit, a planter.
    length
        Length of wall, fence or sill that it takes, metres per unit of its measure.
    beside
        Features of which one must be there (a ramp goes into a pond); empty: none.
    making_hours
        Hours to make the usual amount for the first time.
    open_ground
        Smallest plot it suits, m2.
    upkeep_hours
        Hours a month that the usual amount takes, averaged over the year.
    steps
        How it is made, in order.
    """

    feature: Annotated[str, Ref(N_("the feature"), table="features.csv")]
    said: Annotated[str, Text(N_("what one calls it in a sentence, with its article"))]
    place: Annotated[
        Place,
        Choice(
            N_(
                "where it goes: open ground; standing on any floor; on a wall, fence or sill; on a "
                "roof; under what grows there already; or a habit, done on the whole plot"
            )
        ),
    ]
    lights: Annotated[
        tuple[str, ...],
        Choices(
            N_("light in which it gives about what supplies.csv says"),
            name="light",
            of=("sun", "part", "shade"),
            blank="needed",
        ),
    ]
    tenancy: Annotated[
        Literal["free", "ask", "own"],
        Choice(
            N_(
                "free: a tenant can undo it; ask: a tenant asks the owner first; own: only for who "
                "owns the plot"
            )
        ),
    ]
    made_from: Annotated[
        tuple[str, ...],
        Refs(
            N_("features that it is made from, the first there is; empty: none"),
            table="features.csv",
        ),
    ]
    edible: Annotated[bool, Flag(N_("whether it gives something to eat"))]
    street: Annotated[
        bool, Flag(N_("whether it has a place in a public street: a verge, tree pit or planter"))
    ]
    length: Annotated[
        Figure,
        Quantity(
            N_("wall, fence or sill that one unit of it takes"), unit="m per {feature.measure}"
        ),
    ]
    making_hours: Annotated[
        Figure, Quantity(N_("time to make the usual amount the first time"), unit="hours")
    ]
    open_ground: Annotated[Figure, Quantity(N_("smallest plot it suits"), unit="m2")]
    upkeep_hours: Annotated[
        Figure,
        Quantity(N_("time that the usual amount takes, over the year"), unit="hours a month"),
    ]
    steps: Annotated[
        tuple[Step, ...],
        RowsOf(Step, by="feature", order="step", missing=N_("Nothing says how it is made.")),
    ]
    made_only: Annotated[
        bool, Flag(N_("whether it can be made from nothing else"), blank=False)
    ] = False

    beside: Annotated[
        tuple[str, ...],
        Refs(N_("features of which one must be there for it"), table="features.csv"),
    ] = ()

    @property
    def in_ground(self) -> bool:
        """Whether its place is soil that is there, or a roof: no pot can be that."""
        return self.place in ("ground", "under", "roof")


@table("keep_uses.csv", N_("A use of a plot that must stay."), called=N_("use that must stay"))
@dataclass(frozen=True, slots=True)
class KeepUse:
    """A use of a plot that must stay.

    Parameters
    ----------
    key, name, words
        Its key, its name, and other names people write for it.
    feature
        Feature that it keeps, or None.
    ground
        Room that it needs, m2.
    sun
        ``morning`` or ``evening``: the sun that it wants; empty: any.
    near
        ``house`` or ``street``: what it lies near; ``door``: it is the way to the door; empty:
        anywhere.
    """

    key: Annotated[str, Key(N_("key of the use"))]
    name: Annotated[str, Text(N_("name in plain words"))]
    words: Annotated[tuple[str, ...], Words(N_("other names people write for it"))]
    feature: Annotated[
        str | None, Ref(N_("feature that it keeps, if any"), table="features.csv", blank=None)
    ]
    ground: Annotated[Figure, Number(N_("room that it needs"), unit="m2")]
    sun: Annotated[
        Literal["morning", "evening", ""],
        Choice(N_("sun that it wants; empty: any"), of=("morning", "evening"), blank=""),
    ] = ""
    near: Annotated[
        Literal["house", "street", "door", ""],
        Choice(
            N_("what it lies near; door: it is the way to the door; empty: anywhere"),
            of=("house", "street", "door"),
            blank="",
        ),
    ] = ""
