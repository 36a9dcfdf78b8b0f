"""What a planting should do here: months that are hungry, and roles that scarce needs call for."""

from collections.abc import Mapping

from patchnet.advice.records import Assessment, PlotAnswer

__all__ = ["planting_wishes"]

ROLES: Mapping[str, tuple[str, ...]] = {
    "bloom": ("nectar-pollen",),
    "night_fly": ("nectar-pollen",),
    "seed": ("seed",),
    "berries": ("berry",),
    "leaf_inv": ("larval-food",),
    "larval_woody": ("larval-food",),
    "larval_grass": ("larval-food",),
    "larval_nettle": ("larval-food",),
    "dense_cover": ("shelter", "evergreen-shelter"),
    "roost": ("evergreen-shelter",),
    "nest_open": ("shelter",),
}
"""Roles of plants (as in the plant table) that give something of a resource."""
_FLOWERS = "bloom"


def planting_wishes(
    assessment: Assessment, answer: PlotAnswer
) -> tuple[dict[int, float], dict[str, float]]:
    """Weights of months and of roles, from how short each need stands round the plot.

    A need that is short counts 1 - enough / room, times its group's votes; a flower need adds
    the same, month by month, to the months in which flowers are short.

    Returns
    -------
    tuple
        Month (1-12) to weight, only months that are hungry; role to weight, only those wanted.
    """
    hungry: dict[int, float] = {}
    wants: dict[str, float] = {}
    for group in answer.groups:
        votes = assessment.knowledge.groups[group.group].weight.value
        for need in group.needs:
            if need.room <= 0 or need.resource not in ROLES:
                continue
            short = votes * max(1 - need.enough / need.room, 0.0)
            for role in ROLES[need.resource]:
                if short > 0:
                    wants[role] = wants.get(role, 0.0) + short
            if need.resource != _FLOWERS:
                continue
            for month, enough in need.months:
                lack = votes * max(1 - enough / need.room, 0.0)
                if lack > 0:
                    hungry[month] = hungry.get(month, 0.0) + lack
    return dict(sorted(hungry.items())), dict(sorted(wants.items()))
