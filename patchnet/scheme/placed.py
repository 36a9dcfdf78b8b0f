"""The planters of a scheme as they are told: where, what in them, what each adds, who keeps it."""

from collections.abc import Sequence
from dataclasses import replace

from patchnet.core.texts import _
from patchnet.knowledge.records import Recipe
from patchnet.scheme.cover import Cover
from patchnet.scheme.field import GroupField
from patchnet.scheme.filled import FilledState
from patchnet.scheme.planter_scheme import (
    PlacedPlanter,
    Scheme,
)
from patchnet.scheme.state import Pick
from patchnet.scheme.together import SchemeRules
from patchnet.street.site import Site

__all__ = ["placed_planters", "told_by_cover"]


def placed_planters(
    ids: Sequence[str],
    ordered: Sequence[Pick],
    usable: Sequence[Site],
    recipes: Sequence[Recipe],
    rules: SchemeRules,
    fields: Sequence[GroupField],
    filled: FilledState,
) -> tuple[PlacedPlanter, ...]:
    """Return the planters of a scheme in the order of building, with what each adds.

    Parameters
    ----------
    ids
        Ids of their plots.
    ordered
        Places among `usable` and `recipes`.
    usable, recipes
        Sites, and what may grow in them.
    rules
        For money and keepers.
    fields, filled
        For what each adds.
    """
    kept_by = rules.kept_by([site for site, _ in ordered])
    whole, linked = filled.worth(ordered), filled.linked(ordered)
    placed = []
    for number, (plot, pick, keeper) in enumerate(zip(ids, ordered, kept_by, strict=True), 1):
        site, recipe = pick
        others = [one for one in ordered if one != pick]
        built = filled.worth(ordered[:number]) - filled.worth(ordered[: number - 1])
        placed.append(
            PlacedPlanter(
                number=number,
                plot=str(plot),
                site=usable[site],
                recipe=recipes[recipe],
                worth=whole - filled.worth(others),
                linked=dict(
                    zip(
                        [field.group.key for field in fields],
                        (linked - filled.linked(others)).tolist(),
                        strict=True,
                    )
                ),
                forage=_fed(fields, site, recipe),
                when_built=built,
                cost=float(rules.costs[pick]),
                keeper=None if keeper is None else rules.keepers[keeper].name,
                carry_m=None if keeper is None else float(rules.carries[site, keeper]),
            )
        )
    return tuple(placed)


def told_by_cover(scheme: Scheme, cover: Cover, ordered: Sequence[Pick], recipes: int) -> Scheme:
    """Say what each planter adds to the share that is reached.

    Parameters
    ----------
    scheme
        With its planters in the order of building.
    cover
        What planters reach of what homes lack.
    ordered
        The same planters, as places among sites and recipes.
    recipes
        Number of recipes.
    """
    whole = cover.share(ordered, recipes)
    planters = []
    for at, (planter, pick) in enumerate(zip(scheme.planters, ordered, strict=True)):
        others = [other for other in ordered if other != pick]
        before = cover.share(ordered[:at], recipes)
        planters.append(
            replace(
                planter,
                worth=whole - cover.share(others, recipes),
                when_built=cover.share(ordered[: at + 1], recipes) - before,
            )
        )
    note = _(
        "The goal was to reach as much as can be of what homes lack: each planter is counted by "
        "the share it adds to the {whole:.0%} of it that some planter gives something towards."
    ).format(whole=whole)
    return replace(scheme, planters=tuple(planters), notes=(*scheme.notes, note))


def _fed(fields: Sequence[GroupField], site: int, recipe: int) -> int:
    """Plots whose homes get something of a planter that they are short of, for any group."""
    fed: set[int] = set()
    for field in fields:
        place = field.plots + site
        for need, share in zip(field.needs, field.offers[site][recipe].shares, strict=True):
            if share is None:
                continue
            matrix = need.reached
            rows = matrix.indices[matrix.indptr[place] : matrix.indptr[place + 1]]
            short = (need.access[rows] < need.demand.amount)[:, share > 0].any(axis=1)
            fed |= set(rows[short & (field.room[rows] > 0)].tolist())
    return len(fed)
