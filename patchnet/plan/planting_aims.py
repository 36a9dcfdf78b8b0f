"""What a planting should do here: months that are hungry, and roles that scarce needs call for."""

from patchnet.assess.assessment import Assessment, PlotAnswer

__all__ = ["planting_wishes"]


def planting_wishes(
    assessment: Assessment, answer: PlotAnswer
) -> tuple[dict[int, float], dict[str, float]]:
    """Weights of months and of roles, from how short each need stands round the plot.

    A need that is short counts 1 - enough / room, times its group's votes; a flower need adds
    the same, month by month, to the months in which flowers are short.

    Parameters
    ----------
    assessment
        The street as it is.
    answer
        The plot as it is.

    Returns
    -------
    tuple
        Month (1-12) to weight, only months that are hungry; role to weight, only those wanted.
    hungry, wants
        Month, 1-12 -> weight; role of a plant -> weight.
    """
    hungry: dict[int, float] = {}
    wants: dict[str, float] = {}
    for group in answer.groups:
        votes = assessment.knowledge.groups[group.group].weight.value
        for need in group.needs:
            resource = assessment.knowledge.resources[need.resource]
            if need.room <= 0:
                continue
            short = votes * max(1 - need.enough / need.room, 0.0)
            for role in resource.plant_roles:
                if short > 0:
                    wants[role] = wants.get(role, 0.0) + short
            if not resource.by_month:
                continue
            for month, enough in need.months:
                lack = votes * max(1 - enough / need.room, 0.0)
                if lack > 0:
                    hungry[month] = hungry.get(month, 0.0) + lack
    return dict(sorted(hungry.items())), dict(sorted(wants.items()))
