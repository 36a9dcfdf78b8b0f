"""Which figures of the tables are drawn for doubt, and which of them go together."""

from dataclasses import dataclass
from typing import Annotated, Literal

from patchnet.core.texts import N_
from patchnet.knowledge.columns import Choice, Key
from patchnet.knowledge.parts import Number
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure

__all__ = ["Family", "Shared", "What"]

What = Literal[
    "hop",
    "d50",
    "anchor_reach",
    "reach",
    "anchor",
    "amount",
    "floor",
    "step",
    "density",
    "use",
    "supply",
    "unseen",
    "usual",
    "years",
    "cost",
    "crossing",
]
"""What a figure says, see `Family`."""
Shared = Literal["group", "resource", "feature", "cover", "barrier", "itself"]
"""What figures of one family have in common, see `Family`."""


@table(
    "families.csv",
    N_("Figures that are drawn together when doubt is worked out."),
    called="family",
    key=("what",),
)
@dataclass(frozen=True, slots=True)
class Family:
    """Figures of one kind, with what goes up or down together when they are drawn.

    Figures of one `family` that share an animal, a resource, a feature, a cover or a kind of
    barrier lean the same way: that is `together`. The rest is each figure's own.

    Parameters
    ----------
    what
        Of an animal: ``hop``, ``d50``, ``anchor_reach``, ``step`` (least of a stepping stone),
        ``anchor`` (how much of what it lives in one home takes), ``density``, ``cost`` of a metre
        of ground and ``crossing`` of a barrier; of its needs: ``reach``, ``amount``, ``floor``
        (what is left without a helpful one). Of a feature: ``supply``, ``use`` by an animal,
        ``unseen`` (how much of what cannot be seen), ``usual`` amount, ``years`` to work.
    family
        Key of the family.
    shared
        What its figures have in common: the ``group``, ``resource``, ``feature``, ``cover`` or
        ``barrier`` that they are of; ``itself``: each is drawn alone.
    together
        Correlation of two figures that share it, 0-1.
    """

    what: Annotated[What, Choice(N_("what the figures say"))]
    family: Annotated[str, Key(N_("key of the family"))]
    shared: Annotated[Shared, Choice(N_("what its figures have in common"))]
    together: Annotated[
        Figure, Number(N_("correlation of two of them that share it"), unit="share", most=1)
    ]
