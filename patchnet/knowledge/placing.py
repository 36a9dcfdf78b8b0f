"""Where on a plot a feature is put: its shape on the ground, and what it wants there."""

from dataclasses import dataclass
from typing import Annotated, Literal

from patchnet.core.texts import N_
from patchnet.knowledge.columns import Choice, Choices, Flag, Ref
from patchnet.knowledge.parts import Basis, Figures, Quantity
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure

__all__ = ["Aspect", "Placing"]

Aspect = Literal["n", "ne", "e", "se", "s", "sw", "w", "nw"]
"""Which way a wall faces: eight points of the compass."""


@table(
    "placing.csv",
    N_("Where on a plot a feature is put, and what it wants there."),
    called=N_("placed feature"),
    address="placing/{feature}",
    key=("feature",),
    bases=(Basis("placing", N_("shape, aspects, view, low ground"), at="placing"),),
    figures=Figures("placing_figures.csv", ("feature",)),
)
@dataclass(frozen=True, slots=True)
class Placing:
    """Where on a plot a feature is put. What is None is not asked for.

    Parameters
    ----------
    feature
        Key of the feature.
    shape
        ``patch``: a piece of ground as compact as fits; ``strip``: along the boundary; ``wall``:
        a place, or a length, at a wall, fence or sill (as `Siting` says).
    aspects
        Which way the wall should face; empty: any.
    in_view
        Whether one wants to see it from the seat.
    low
        Whether it lies where the ground is low, and water runs to.
    sun_least, sun_most
        Hours of sun a day that it wants in the month before midsummer.
    house_least, house_most, boundary_least, boundary_most
        How far from buildings and from the boundary, metres.
    tree_least, cover_least, cover_most
        How far from trees, and from bushes and hedges, metres.
    depth
        Of a strip, across the boundary, metres; its range is tried.
    height
        Above the ground, metres.
    """

    feature: Annotated[str, Ref(N_("the feature"), table="feature_siting.csv")]
    shape: Annotated[
        Literal["patch", "strip", "wall"],
        Choice(
            N_(
                "patch: a compact piece of ground; strip: along the boundary; wall: at a wall, "
                "fence or sill"
            )
        ),
    ]
    aspects: Annotated[
        tuple[Aspect, ...],
        Choices(
            N_("which way the wall should face; empty: any"),
            of=("n", "ne", "e", "se", "s", "sw", "w", "nw"),
            blank=(),
        ),
    ]
    in_view: Annotated[bool, Flag(N_("whether one wants to see it from the seat"))]
    low: Annotated[bool, Flag(N_("whether it lies where the ground is low"))]
    sun_least: Annotated[
        Figure | None,
        Quantity(
            N_("sun that it wants in the month before midsummer"), unit="hours a day", needed=False
        ),
    ] = None
    sun_most: Annotated[
        Figure | None,
        Quantity(
            N_("most sun that suits it in the month before midsummer"),
            unit="hours a day",
            needed=False,
        ),
    ] = None
    house_least: Annotated[
        Figure | None, Quantity(N_("least distance from a building"), unit="m", needed=False)
    ] = None
    house_most: Annotated[
        Figure | None, Quantity(N_("greatest distance from a building"), unit="m", needed=False)
    ] = None
    boundary_least: Annotated[
        Figure | None, Quantity(N_("least distance from the boundary"), unit="m", needed=False)
    ] = None
    boundary_most: Annotated[
        Figure | None, Quantity(N_("greatest distance from the boundary"), unit="m", needed=False)
    ] = None
    tree_least: Annotated[
        Figure | None, Quantity(N_("least distance from a tree"), unit="m", needed=False)
    ] = None
    cover_least: Annotated[
        Figure | None, Quantity(N_("least distance from a bush or hedge"), unit="m", needed=False)
    ] = None
    cover_most: Annotated[
        Figure | None,
        Quantity(N_("greatest distance from a bush or hedge"), unit="m", needed=False),
    ] = None
    depth: Annotated[
        Figure | None,
        Quantity(N_("depth of a strip, across the boundary"), unit="m", over=True, needed=False),
    ] = None
    height: Annotated[
        Figure | None, Quantity(N_("height above the ground"), unit="m", over=True, needed=False)
    ] = None
