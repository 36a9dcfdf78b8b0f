"""A planter scheme along a street: which sites, what grows in them, in which order, how good."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assess import assess, choose_groups
from patchnet.assess.assessment import Assessment
from patchnet.assess.compare import Comparison, Row, compare
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.texts import _
from patchnet.knowledge.country_rules import rules_in
from patchnet.knowledge.records import Knowledge, Recipe
from patchnet.knowledge.regions import usual_groups
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.scheme.bound import SchemeBound
from patchnet.scheme.ceiling import ceiling_of
from patchnet.scheme.cover import Cover, cover_of, cover_order, cover_steps
from patchnet.scheme.field import GroupField, group_fields, with_sites
from patchnet.scheme.filled import FilledState
from patchnet.scheme.in_draws import InDraws, SchemesAsked, choose_in_draws, state_of
from patchnet.scheme.planter_scheme import (
    PlacedPlanter,
    Scheme,
    SchemeAsk,
    SchemeDoubt,
    SchemeStep,
)
from patchnet.scheme.search import (
    Best,
    building_order,
    every_scheme,
    planted_otherwise,
    search_schemes,
)
from patchnet.scheme.state import Pick, State
from patchnet.scheme.together import SchemeRules
from patchnet.street.find import find_street
from patchnet.street.narrowings import narrowing_findings
from patchnet.street.nowhere import nowhere
from patchnet.street.places import planter_sites
from patchnet.street.site import Site, Street

__all__ = ["plan_scheme"]

Array = NDArray[np.float64]


def plan_scheme(
    assessment: Assessment,
    street: Street | str,
    sites: Sequence[Site] | None = None,
    ask: SchemeAsk | None = None,
    *,
    seed: int = 0,
    draws: int = 0,
    processes: int | None = 1,
    progress: "Callable[[Iterable[Row]], Iterable[Row]] | None" = None,
) -> Scheme:
    """Choose planters along a street, in the order of building, with a certificate.

    Parameters
    ----------
    assessment
        The neighbourhood as it is. Only its drawn-in amounts are taken from it: the scheme's
        groups are assessed again, on straight lines, since planters serve what flies.
    street
        The street, or its name as the map has it.
    sites
        Every site along it, with its verdict; None: found with the sizes of the tables.
    ask
        What the scheme is to be; None: as many planters as the tables say, for every group that
        flies.
    seed
        For the shaken starts of the search, and of the draws.
    draws, processes, progress
        In how many draws good schemes of the size that is best with the figures in use are
        judged, at most, and the street is compared without and with the choice, see
        `patchnet.compare`; 0: the best with the figures in use is the choice. So it is with the
        goal ``cover``, which is solved exactly.

    Raises
    ------
    WrongUse
        If the street, groups, sites or recipes do not exist, locks contradict each other, or
        nothing can be built: every reason at once.

    Returns
    -------
    Scheme
        With the `planters`, the certificate (`curve`, `exact`), the states `before` and `after`
        assessed again, and their `comparison`.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["bumblebee"], straight=True)
    >>> ask = patchnet.SchemeAsk(planters=1, groups=("bumblebee",))
    >>> scheme = patchnet.plan_scheme(answer, "Wickthorn Street", ask=ask)
    >>> [planter.plot for planter in scheme.planters]
    ['S01']
    """
    knowledge, hood = assessment.knowledge, assessment.neighbourhood
    if isinstance(street, str):
        street = find_street(hood, street, knowledge=knowledge)
    if sites is None:
        sites = planter_sites(hood, street, knowledge=knowledge)
    if ask is None:
        ask = SchemeAsk(planters=int(knowledge.scheme_figure("planters")))
    usable, recipes, groups = _checked(assessment, sites, ask)
    ids = [_plot_id(assessment, at) for at in range(len(usable))]
    fields = group_fields(assessment, usable, ids, recipes, groups)
    rules = _rules(usable, recipes, ask, knowledge)
    least = knowledge.setting("p_cut")
    ceilings = [ceiling_of(field, least, rules.planters, rules.conflicts) for field in fields]
    state = state_of(assessment, fields)
    filled = FilledState(state)
    locked = _locked(usable, ask, state, rules)
    anew = partial(assess, knowledge=knowledge, groups=groups, straight=True)
    before = anew(hood, prior=assessment.prior)
    cover = cover_of(fields) if ask.goal == "cover" else None
    drawn = None
    if cover is not None:
        curve, chosen = cover_steps(cover, state, rules, usable, recipes, locked)
        ordered = cover_order(cover, chosen, len(recipes))
        exact = all(step.bound == step.value for step in curve)
    else:
        best, exact = _found(filled, state, locked, rules, knowledge, seed)
        chosen = best.picks[max(best.picks, key=lambda count: (best.value[count], -count))]
        if draws and chosen:
            asked = SchemesAsked(
                usable, tuple(ids), tuple(each.key for each in recipes), tuple(groups),
                replace(rules, planters=len(chosen)), tuple(locked), len(chosen),
            )  # fmt: skip
            first = best.first[len(chosen)]
            drawn = choose_in_draws(
                before, asked, sorted(first, key=lambda picks: (-first[picks], picks)),
                draws=draws, seed=seed, processes=processes, progress=progress,
            )  # fmt: skip
            if drawn is not None:
                best.meet(drawn.picks, filled.value(drawn.picks))
        bound = SchemeBound(ceilings, state.worth, rules, [site for site, _ in locked])
        curve = _curve(best, filled, state, bound, rules, usable, recipes, exact=exact)
        ordered = (
            building_order(chosen, partial(_without_each, filled))
            if drawn is None
            else list(drawn.picks)
        )
    scheme = _handed_over(
        before, street, tuple(sites), ask, usable, recipes, rules, fields, filled, ordered,
        curve, exact=exact, anew=anew, drawn=drawn,
        compared=partial(compare, draws=draws, seed=seed, processes=processes, progress=progress),
    )  # fmt: skip
    return scheme if cover is None else _by_cover(scheme, cover, ordered, len(recipes))


def _checked(
    assessment: Assessment, sites: Sequence[Site], ask: SchemeAsk
) -> tuple[tuple[Site, ...], tuple[Recipe, ...], list[str]]:
    """Sites, recipes and groups that can be used; every mistake in what was asked at once."""
    knowledge = assessment.knowledge
    flying = [key for key, group in knowledge.groups.items() if group.mode == "air"]
    usual = usual_groups(knowledge, assessment.neighbourhood.region)
    groups = list(ask.groups) or [key for key in usual if key in flying]
    wrong = [*_wrong_keys(knowledge, groups, flying, ask), *_wrong_locks(sites, ask)]
    usable = tuple(
        site
        for site in sites
        if site.verdict in ask.verdicts
        and site.key not in ask.locked_out
        and ask.sides in ("both", site.side)
    )
    if not usable and not wrong:
        wrong.append(nowhere(sites, ask.verdicts, ask.sides))
    if wrong:
        raise WrongUse("\n".join(wrong))
    recipes = tuple(
        recipe for key, recipe in knowledge.recipes.items() if not ask.recipes or key in ask.recipes
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


def _plot_id(assessment: Assessment, at: int) -> str:
    """An id for a site's plot that no plot has."""
    name = f"scheme-{at + 1:03d}"
    while name in assessment.neighbourhood.plots.index:
        name = f"{name}x"
    return name


def _rules(
    sites: tuple[Site, ...], recipes: Sequence[Recipe], ask: SchemeAsk, knowledge: Knowledge
) -> SchemeRules:
    box = np.array([site.size.cost + _filling(site, knowledge) for site in sites])
    costs = np.repeat(box[:, None], len(recipes), axis=1)
    budget = np.inf if ask.budget is None else ask.budget
    if budget < costs.min():
        raise WrongUse(
            _(
                "The budget of {budget:g} is less than the cheapest planter with soil and plants, "
                "{min:.0f}."
            ).format(budget=budget, min=costs.min())
        )
    by_money = int(budget // costs.min()) if np.isfinite(budget) else len(sites)
    planters = min(len(sites) if ask.planters is None else ask.planters, by_money, len(sites))
    spacing = knowledge.setting("scheme_spacing_m") if ask.spacing_m is None else ask.spacing_m
    litres = np.array([site.size.plan_m2 for site in sites]) * knowledge.setting("visit_litres_m2")
    return SchemeRules(
        sites=sites,
        costs=costs,
        planters=planters,
        budget=budget,
        spacing_m=spacing,
        litres=litres,
        keepers=ask.keepers,
        carry_m=knowledge.setting("carry_m"),
        unkept=ask.unkept,
    )


def _filling(site: Site, knowledge: Knowledge) -> float:
    """Money for soil and plants of one planter."""
    soil = site.size.litres * knowledge.setting("soil_cost_litre")
    return soil + site.size.plan_m2 * knowledge.setting("plants_cost_m2")


def _locked(
    sites: tuple[Site, ...], ask: SchemeAsk, state: State, rules: SchemeRules
) -> list[Pick]:
    """Sites that must be used, each with the recipe that wins most there."""
    place = {site.key: at for at, site in enumerate(sites)}
    picks: list[Pick] = []
    for key in ask.locked_in:
        site = place[key]
        values = [(state.after((site, recipe)), -recipe) for recipe in range(rules.costs.shape[1])]
        picks.append((site, -max(values)[1]))
        state.add(picks[-1])
    if picks and not rules.allows(picks):
        names = ", ".join(ask.locked_in)
        raise WrongUse(
            _(
                "The sites to be used ({names}) cannot all be used together: too close to each "
                "other, too expensive, or too many to water."
            ).format(names=names)
        )
    return picks


def _found(
    filled: FilledState,
    state: State,
    locked: Sequence[Pick],
    rules: SchemeRules,
    knowledge: Knowledge,
    seed: int,
) -> tuple[Best, bool]:
    """The best scheme of each size, filled exactly; and whether all there are were filled.

    Where there are more than that, those that promise most are, among all or as searched for.
    """
    few = round(knowledge.setting("scheme_filled_most"))
    every = round(knowledge.setting("scheme_every_most"))
    promising = every_scheme(state, locked, rules, most=few, keep=few)
    exact = promising is not None
    if promising is None:
        promising = every_scheme(state, locked, rules, most=every)
    if promising is None:
        promising = search_schemes(state, locked, rules, seed=seed)
    best = Best()
    for first in promising.first.values():
        for picks in first:
            best.meet(picks, filled.value(picks))
    if not exact:
        for count in sorted(best.picks):
            _plant_otherwise(best, count, filled, locked, rules)
    return best, exact


def _plant_otherwise(
    best: Best, count: int, filled: FilledState, locked: Sequence[Pick], rules: SchemeRules
) -> None:
    """Plant one box of the best scheme of a size otherwise, while that wins.

    The promise cannot tell plantings apart that feed the same homes.
    """
    before: tuple[Pick, ...] = ()
    while best.picks[count] != before:
        before = best.picks[count]
        for picks in planted_otherwise(before, locked, rules):
            best.meet(picks, filled.value(picks))


def _curve(
    best: Best,
    filled: FilledState,
    state: State,
    bound: SchemeBound,
    rules: SchemeRules,
    sites: Sequence[Site],
    recipes: Sequence[Recipe],
    *,
    exact: bool,
) -> tuple[SchemeStep, ...]:
    steps: list[SchemeStep] = []
    names = [group.field.group.key for group in state.groups]
    for count in range(min(best.picks), max(best.picks) + 1):
        picks, value = best.picks.get(count, ()), best.value.get(count, -np.inf)
        if steps and value <= steps[-1].value:
            # One more does not help, or only if it were not for the others: fewer are better.
            steps.append(replace(steps[-1], planters=count))
        else:
            steps.append(
                SchemeStep(
                    planters=count,
                    sites=tuple((sites[site].key, recipes[recipe].key) for site, recipe in picks),
                    value=value,
                    linked=dict(zip(names, filled.linked(picks).tolist(), strict=True)),
                    cost=rules.cost(picks),
                    bound=value,
                )
            )
    if exact:
        return tuple(replace(step, bound=step.value) for step in steps)
    limit = np.inf
    for at, step in reversed(list(enumerate(steps))):
        # What more planters cannot win, fewer cannot.
        limit = min(limit, bound.of_size(step.planters, np.array(list(step.linked.values()))))
        steps[at] = replace(step, bound=max(limit, step.value))
    return tuple(steps)


def _without_each(filled: FilledState, left: Sequence[Pick]) -> dict[Pick, float]:
    return {pick: filled.value([one for one in left if one != pick]) for pick in left}


def _handed_over(
    before: Assessment,
    street: Street,
    sites: tuple[Site, ...],
    ask: SchemeAsk,
    usable: Sequence[Site],
    recipes: Sequence[Recipe],
    rules: SchemeRules,
    fields: Sequence[GroupField],
    filled: FilledState,
    ordered: Sequence[Pick],
    curve: tuple[SchemeStep, ...],
    *,
    exact: bool,
    anew: Callable[..., Assessment],
    drawn: InDraws | None,
    compared: Callable[[Assessment, Assessment], Comparison],
) -> Scheme:
    hood = _with_scheme(before, [(usable[s], recipes[r]) for s, r in ordered])
    ids = list(hood.plots.index[len(before.neighbourhood.plots) :])
    after = anew(hood, prior=before.prior)
    planters = _placed(ids, ordered, usable, recipes, rules, fields, filled)
    doubt = None
    if drawn is not None:
        planters = tuple(
            replace(one, often=often) for one, often in zip(planters, drawn.often, strict=True)
        )
        value = filled.value(ordered)
        doubt = SchemeDoubt(drawn.draws, drawn.tried, drawn.share, drawn.harm, value)
    return Scheme(
        ask=ask,
        street=street,
        sites=sites,
        planters=planters,
        curve=curve,
        exact=exact,
        before=before,
        after=after,
        comparison=compared(before, after),
        neighbourhood=hood,
        notes=_notes(street, usable, ordered, rules_in(before.knowledge, hood.country)),
        doubt=doubt,
    )


def _by_cover(scheme: Scheme, cover: Cover, ordered: Sequence[Pick], recipes: int) -> Scheme:
    """Say what each planter adds to the share that is reached."""
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


def _with_scheme(assessment: Assessment, chosen: Sequence[tuple[Site, Recipe]]) -> Neighbourhood:
    """The neighbourhood as it was read, with the planters as plots; what is not known stays so."""
    hood = assessment.neighbourhood
    width = max(2, len(str(len(chosen))))
    ids: list[str] = []
    for at in range(1, len(chosen) + 1):
        name = f"S{at:0{width}d}"
        while name in hood.plots.index:
            name = f"{name}x"
        ids.append(name)
    grown = with_sites(assessment, [site for site, _ in chosen], ids)
    amount = np.vstack([hood.answers.amount, np.zeros((len(chosen), len(hood.answers.features)))])
    for at, (site, recipe) in enumerate(chosen, len(hood.plots)):
        for feature, share in recipe.amounts.items():
            column = hood.answers.features.index(feature)
            amount[at, column] = share.value * site.size.plan_m2
    extra = np.ones((len(chosen), amount.shape[1]), dtype=bool)
    answers = replace(
        grown.answers,
        amount=amount,
        sized=np.vstack([hood.answers.sized, extra]),
        sure=np.vstack([hood.answers.sure, extra]),
    )
    return replace(grown, answers=answers)


def _placed(
    ids: Sequence[str],
    ordered: Sequence[Pick],
    usable: Sequence[Site],
    recipes: Sequence[Recipe],
    rules: SchemeRules,
    fields: Sequence[GroupField],
    filled: FilledState,
) -> tuple[PlacedPlanter, ...]:
    kept_by = rules.kept_by([site for site, _ in ordered])
    whole, linked = filled.value(ordered), filled.linked(ordered)
    placed = []
    for number, (plot, pick, keeper) in enumerate(zip(ids, ordered, kept_by, strict=True), 1):
        site, recipe = pick
        others = [one for one in ordered if one != pick]
        built = filled.value(ordered[:number]) - filled.value(ordered[: number - 1])
        placed.append(
            PlacedPlanter(
                number=number,
                plot=str(plot),
                site=usable[site],
                recipe=recipes[recipe],
                worth=whole - filled.value(others),
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


def _notes(
    street: Street, usable: Sequence[Site], ordered: Sequence[Pick], knowledge: Knowledge
) -> tuple[str, ...]:
    notes = list(street.notes)
    chosen = [usable[site] for site, __ in ordered]
    notes += [
        one.words
        for one in narrowing_findings(street, chosen, knowledge=knowledge)
        if one.verdict != "fits"
    ]
    verdicts = pd.Series([usable[site].verdict for site, __ in ordered]).value_counts()
    for verdict, one, several, words in (
        ("ask", "needs", "need", _("the authority's word: the figures stand with it")),
        ("measure", "stands", "stand", _("where something still has to be measured on site")),
    ):
        count = int(verdicts.get(verdict, 0))
        if count:
            verb = (
                _("One planter {one}").format(one=one)
                if count == 1
                else _("{count} planters {several}").format(count=count, several=several)
            )
            notes.append(f"{verb} {words}.")
    notes.append(
        _(
            "The best schemes found share supplies exactly, with reach as it is today; what is "
            "handed over was then assessed anew from the start, and those are the figures of the "
            "case."
        )
    )
    return tuple(notes)
