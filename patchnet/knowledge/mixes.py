"""Tested mixes of plants for boxes and beds, with what may stand in for what."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

from patchnet.core.texts import N_
from patchnet.knowledge.columns import Amount, Choice, Key, Months, Ref, Refs, Text
from patchnet.knowledge.parts import Basis, Figures, Number, Quantity, RowsOf
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure

__all__ = ["Mix", "MixCount", "MixLine", "PlantForm"]


@table(
    "plant_forms.csv",
    N_("How a plant is bought or got: as seed, bulb, plug, in a pot, with bare roots."),
    called=N_("form of plants"),
    bases=(Basis("months", "{months}", at="months"),),
    figures=Figures("plant_form_figures.csv", ("form",)),
)
@dataclass(frozen=True, slots=True)
class PlantForm:
    """How a plant is got, and when it is planted or sown.

    Parameters
    ----------
    key, name
        Key in the tables and name in plain words.
    months
        When it is planted or sown.
    price
        Price of one, where it does not go by the plant; None: the plant's own.
    """

    key: Annotated[str, Key(N_("key of the form"))]
    name: Annotated[str, Text(N_("name in plain words"))]
    months: Annotated[tuple[int, ...], Months(N_("when it is planted or sown"))]
    price: Annotated[
        Figure | None,
        Quantity(
            N_("price of one, where it does not go by the plant"), unit="GBP", needed=False
        ),
    ]  # fmt: skip


@table(
    "mix_counts.csv",
    N_("How many of a plant a mix has, in a box or bed of some size."),
    called=N_("count of a mix"),
    key=("line", "kind", "soil_m2"),
    also={"line": Ref(N_("line of the mix"), table="mix_lines.csv")},
)
@dataclass(frozen=True, slots=True)
class MixCount:
    """How many of a plant stand in a box or bed of some size.

    Parameters
    ----------
    kind
        ``box``: planted closely, crowns hang over the rim; ``bed``.
    soil_m2
        Size of the box or bed, m2 of soil.
    number
        Plants in it; in beds a mean, with parts of a plant.
    """

    kind: Annotated[Literal["box", "bed"], Choice(N_("box: planted closely; bed: in the ground"))]
    soil_m2: Annotated[float, Amount(N_("size of the box or bed, m2 of soil"), over=True)]
    number: Annotated[Figure, Number(N_("plants in it"), unit="plants")]


@table(
    "mix_lines.csv",
    N_("One plant of a mix, and which may stand in for it."),
    called=N_("line of a mix"),
    also={"mix": Ref(N_("the mix"), table="mixes.csv")},
    bases=(Basis("line", "{plant}"),),
)
@dataclass(frozen=True, slots=True)
class MixLine:
    """One plant of a mix, with plants that may stand in for it, and counts by size."""

    key: Annotated[str, Key(N_("key of the line"))]
    plant: Annotated[str, Ref(N_("the plant"), table="plants.csv")]
    swaps: Annotated[
        tuple[str, ...], Refs(N_("plants that may stand in for it"), table="plants.csv")
    ]
    counts: Annotated[
        tuple[MixCount, ...],
        RowsOf(MixCount, by="line", missing=N_("Nothing says how many of it there are.")),
    ]

    def sizes(self, kind: str) -> Mapping[float, float]:
        """Plants by m2 of soil, of one kind (``box`` or ``bed``)."""
        return {one.soil_m2: one.number.value for one in self.counts if one.kind == kind}


@table(
    "mixes.csv",
    N_("A tested mix of plants for boxes or beds in one light and one moisture."),
    called=N_("mix of plants"),
    bases=(Basis("mix", N_("places, light, soil, why"), at="mix"),),
    figures=Figures("mix_figures.csv", ("mix",)),
)
@dataclass(frozen=True, slots=True)
class Mix:
    """A mix of plants that was put together and checked by hand.

    Parameters
    ----------
    key, name, place
        Key in the tables, name and place in plain words.
    features
        Features that it is planted in.
    street
        Whether it is for public streets ``only``, ``also``, or ``no``: for homes.
    beside
        Features of which one must be there (a hedge, at its foot); empty: none.
    light, soil
        Light of the place; moisture that its plants share.
    why, note
        What it is good at; what else there is to know.
    soil_depth
        Least depth of soil.
    lines
        Its plants, in order.
    """

    key: Annotated[str, Key(N_("key of the mix"))]
    name: Annotated[str, Text(N_("name in plain words"))]
    place: Annotated[str, Text(N_("place that it is for, in plain words"))]
    features: Annotated[
        tuple[str, ...],
        Refs(N_("features that it is planted in"), table="planting_places.csv", blank="needed"),
    ]
    street: Annotated[
        Literal["only", "also", "no"],
        Choice(N_("whether it is for public streets: only, also, or no, for homes")),
    ]
    light: Annotated[
        Literal["sun", "part", "shade"], Choice(N_("light of the place"))
    ]  # fmt: skip
    soil: Annotated[
        Literal["dry", "well-drained", "moist"], Choice(N_("moisture that its plants share"))
    ]
    why: Annotated[str, Text(N_("what it is good at"))]
    note: Annotated[str, Text(N_("what else there is to know"), blank="")]
    soil_depth: Annotated[Figure, Quantity(N_("least depth of soil"), unit="m", over=True)]
    lines: Annotated[
        tuple[MixLine, ...],
        RowsOf(MixLine, by="mix", missing=N_("Nothing says which plants it has.")),
    ]
    beside: Annotated[
        tuple[str, ...],
        Refs(N_("features of which one must be there for it"), table="features.csv"),
    ] = ()

    def kind(self, *, pot: bool) -> str:
        """Which of its counts hold: of boxes in pots, else of beds; or the others it has."""
        first, other = ("box", "bed") if pot else ("bed", "box")
        return first if any(line.sizes(first) for line in self.lines) else other
