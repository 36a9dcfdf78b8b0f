"""What was asked of a scheme, looked through: what can be used, and all that cannot be done."""

from collections.abc import Sequence
from typing import get_args

from patchnet.assess.assess import choose_groups
from patchnet.assess.assessment import Assessment
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge, Recipe
from patchnet.knowledge.regions import usual_groups
from patchnet.scheme.planter_scheme import SchemeAsk
from patchnet.street.nowhere import nowhere
from patchnet.street.site import Site, Verdict

__all__ = ["VERDICTS", "checked_ask"]

VERDICTS: tuple[Verdict, ...] = get_args(Verdict)[:3]
"""Verdicts with which a place can be chosen, the one that comes first first."""


def checked_ask(
    assessment: Assessment, sites: Sequence[Site], ask: SchemeAsk
) -> tuple[tuple[Site, ...], tuple[Recipe, ...], list[str]]:
    """Return sites, recipes and groups that can be used, in an order that rows do not decide.

    Parameters
    ----------
    assessment
        The street as it is.
    sites
        Every site along it.
    ask
        What was asked.

    Raises
    ------
    WrongUse
        Every mistake in what was asked at once.
    """
    knowledge = assessment.knowledge
    flying = [key for key, group in knowledge.groups.items() if group.mode == "air"]
    usual = usual_groups(knowledge, assessment.neighbourhood.region)
    groups = list(ask.groups) or [key for key in usual if key in flying]
    wrong = [*_wrong_keys(knowledge, groups, flying, ask), *_wrong_locks(sites, ask)]
    usable = tuple(
        sorted(
            (
                site
                for site in sites
                if site.verdict in ask.verdicts
                and site.key not in ask.locked_out
                and ask.sides in ("both", site.side)
            ),
            key=lambda site: (VERDICTS.index(site.verdict), site.size.cost, site.key),
        )
    )
    if not usable and not wrong:
        wrong.append(nowhere(sites, ask.verdicts, ask.sides))
    if wrong:
        raise WrongUse("\n".join(wrong))
    recipes = tuple(
        knowledge.recipes[key]
        for key in sorted(knowledge.recipes)
        if not ask.recipes or key in ask.recipes
    )
    ordered = [group.key for group in choose_groups(knowledge, groups)]
    return usable, recipes, ordered


def _wrong_keys(
    knowledge: Knowledge, groups: Sequence[str], flying: Sequence[str], ask: SchemeAsk
) -> list[str]:
    wrong = []
    for key in groups:
        if key not in knowledge.groups:
            hint = nearest_hint(key, flying)
            wrong.append(_("There is no animal {key!r}.{hint}").format(key=key, hint=hint))
        elif key not in flying:
            name = knowledge.groups[key].name.lower()
            wrong.append(
                _(
                    "A planter cannot help animals that walk, so no scheme can be made for the "
                    "{name}."
                ).format(name=name)
            )
    wrong += [
        _("There is no planter recipe {key!r}.{nearest_hint}").format(
            key=key, nearest_hint=nearest_hint(key, knowledge.recipes)
        )
        for key in ask.recipes
        if key not in knowledge.recipes
    ]
    return wrong


def _wrong_locks(sites: Sequence[Site], ask: SchemeAsk) -> list[str]:
    known = {site.key: site for site in sites}
    wrong = [
        _("There is no site {key!r}.{nearest_hint}").format(
            key=key, nearest_hint=nearest_hint(key, known)
        )
        for key in (*ask.locked_in, *ask.locked_out)
        if key not in known
    ]
    wrong += [
        _("Site {key} is locked in and locked out: choose one of the two.").format(key=key)
        for key in ask.locked_in
        if key in ask.locked_out
    ]
    wrong += [
        _("Site {key} is to be used, but the street rules say '{verdict}' to it.").format(
            key=key, verdict=known[key].verdict
        )
        for key in ask.locked_in
        if key in known and known[key].verdict not in ask.verdicts
    ]
    wrong += [
        _("Site {key} is to be used, but only the {sides} side is asked for.").format(
            key=key, sides=ask.sides
        )
        for key in ask.locked_in
        if key in known and ask.sides not in ("both", known[key].side)
    ]
    if ask.planters is not None and ask.planters < 1:
        wrong.append(_("Ask for at least one planter."))
    elif ask.planters is not None and ask.planters < len(ask.locked_in):
        wrong.append(
            _(
                "{n_locked_in} sites are to be used, but only {planters} planters are asked for."
            ).format(n_locked_in=len(ask.locked_in), planters=ask.planters)
        )
    return wrong
