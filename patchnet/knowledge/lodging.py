"""How often places to live are in use, and how close together homes have been counted."""

import math
from dataclasses import dataclass
from typing import Annotated, Literal

from patchnet.core.texts import N_
from patchnet.knowledge.columns import Choice, Ref
from patchnet.knowledge.parts import Number
from patchnet.knowledge.schema import table
from patchnet.knowledge.sources import Figure

__all__ = ["Density", "Use"]


@table(
    "densities.csv",
    N_("How many homes of a group have been counted on a hectare."),
    called="density",
    key=("group",),
)
@dataclass(frozen=True, slots=True)
class Density:
    """How many homes of a group have been counted on a hectare.

    Parameters
    ----------
    group
        Key of the group.
    base
        A hectare of what: of the whole ``fabric``, streets and houses too, or of ``gardens``.
    homes
        The typical number, with the lowest and the highest of ordinary places.
    """

    group: Annotated[str, Ref(N_("the group"), table="groups.csv")]
    base: Annotated[
        Literal["fabric", "gardens"],
        Choice(N_("a hectare of what: fabric, streets and houses too; or gardens alone")),
    ]
    homes: Annotated[
        Figure,
        Number(N_("homes counted on a hectare of usual ground"), unit="homes per ha", over=True),
    ]

    @property
    def at_most(self) -> float:
        """Homes on a hectare that good ground holds: between usual and highest, on a log scale."""
        return math.sqrt(self.homes.value * self.homes.high)


@table(
    "uses.csv",
    N_("How often places to live that a feature gives are found in use by a group."),
    called="use",
    key=("feature", "group"),
)
@dataclass(frozen=True, slots=True)
class Use:
    """How often places to live that a feature gives are found in use by a group.

    Parameters
    ----------
    feature, group
        Keys of both.
    share
        Share in use where half of the vital needs are met; low where none are, high where all are.
    """

    feature: Annotated[str, Ref(N_("what gives the places"), table="features.csv")]
    group: Annotated[str, Ref(N_("who lives in them"), table="groups.csv")]
    share: Annotated[
        Figure,
        Number(
            N_(
                "share in use: where half of the vital needs are met, where none are, where all are"
            ),
            unit="share",
            most=1,
        ),
    ]
