"""What cannot be seen from outside, and how much of it is taken to be there."""

from dataclasses import dataclass
from typing import Annotated

from patchnet.core.texts import N_
from patchnet.knowledge.columns import Ref
from patchnet.knowledge.parts import Number
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure

__all__ = ["Unseen"]


@table(
    "unseen.csv",
    N_("How much of what cannot be seen goes with each building, tree or planting."),
    called=N_("unseen thing"),
    key=("feature", "beside"),
)
@dataclass(frozen=True, slots=True)
class Unseen:
    """How much of a feature that cannot be seen is taken to be there beside something that can.

    Parameters
    ----------
    feature
        Key of the feature, whose `visible` is ``never``.
    beside
        Key of the feature that it goes with; nothing: it goes with each house.
    amount
        How much of it goes with one unit of that feature, or with one house.
    """

    feature: Annotated[str, Ref(N_("what cannot be seen"), table="features.csv")]
    beside: Annotated[
        str,
        Ref(N_("the feature that it goes with; empty: each house"), table="features.csv", blank=""),
    ]
    amount: Annotated[
        Figure,
        Number(
            N_("how much of it goes with one unit of that, or one house"),
            unit="{feature.measure} per house or unit",
        ),
    ]
