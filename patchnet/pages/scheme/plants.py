"""Planters of a scheme that are planted alike, under one letter."""

from collections.abc import Mapping
from dataclasses import dataclass

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.knowledge.records import Recipe
from patchnet.knowledge.street import PlanterSize
from patchnet.plan.box_planting import BoxPlanting
from patchnet.scheme.planter_scheme import PlacedPlanter, Scheme

__all__ = ["PlantGroup", "plant_groups"]


@dataclass(frozen=True, slots=True, eq=False)
class PlantGroup:
    """Planters of one size with the same plants.

    Attributes
    ----------
    letter
        A, B ... in the order of building.
    planters
        The planters.
    recipe, size
        What grows in them, and the box.
    box
        What stands in each of them.
    """

    letter: str
    planters: tuple[PlacedPlanter, ...]
    recipe: Recipe
    size: PlanterSize
    box: BoxPlanting

    @property
    def numbers(self) -> Mapping[str, int]:
        """Number of each plant in one planter, by its key."""
        return self.box.numbers


def plant_groups(scheme: Scheme) -> tuple[PlantGroup, ...]:
    """Put the planters of a scheme together by what stands in them."""
    groups: list[tuple[BoxPlanting, list[PlacedPlanter]]] = []
    for one in scheme.planters:
        if one.planting is None:
            raise WrongUse(_("Planter {plot} is not planted yet.").format(plot=one.plot))
        box = one.planting
        alike = next(
            (own for other, own in groups
             if other.same_as(box) and own[0].site.size == one.site.size),
            None,
        )  # fmt: skip
        if alike is None:
            groups.append((box, [one]))
        else:
            alike.append(one)
    return tuple(
        PlantGroup(_letters(at), tuple(own), own[0].recipe, own[0].site.size, box)
        for at, (box, own) in enumerate(groups)
    )


def _letters(at: int) -> str:
    """A ... Z, AA, AB ..."""
    return (_letters(at // 26 - 1) if at >= 26 else "") + chr(ord("A") + at % 26)
