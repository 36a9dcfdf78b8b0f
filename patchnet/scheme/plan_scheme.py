"""A planter scheme along a street: which sites, what grows in them, in which order, how good."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assess import assess
from patchnet.assess.assessment import Assessment
from patchnet.assess.compare import Row, compare
from patchnet.assess.comparison import Comparison
from patchnet.assess.worth import worth_gained
from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.knowledge.country_rules import rules_in
from patchnet.knowledge.records import Knowledge, Recipe
from patchnet.scheme.asked import checked_ask
from patchnet.scheme.bound import SchemeBound
from patchnet.scheme.case_limit import case_limit
from patchnet.scheme.ceiling import ceiling_of
from patchnet.scheme.choices import Choice, choices_of, proposed
from patchnet.scheme.cover import cover_of, cover_order, cover_steps
from patchnet.scheme.drawn_states import SchemesAsked, state_of
from patchnet.scheme.field import GroupField
from patchnet.scheme.filled import FilledState
from patchnet.scheme.group_fields import group_fields
from patchnet.scheme.in_draws import InDraws, choose_in_draws
from patchnet.scheme.placed import placed_planters, told_by_cover
from patchnet.scheme.planted import plant_boxes, planted_amounts, with_scheme
from patchnet.scheme.planter_scheme import (
    Scheme,
    SchemeAsk,
    SchemeChoice,
    SchemeDoubt,
    SchemeStep,
)
from patchnet.scheme.rules import rules_of
from patchnet.scheme.small_schemes import SMALL, SmallSchemes
from patchnet.scheme.stages import best_order, order_by_misses, stages_of
from patchnet.scheme.state import Pick, State
from patchnet.scheme.together import SchemeRules
from patchnet.street.find import find_street
from patchnet.street.narrowings import narrowing_findings
from patchnet.street.places import planter_sites
from patchnet.street.site import Finding, Site, Street
from patchnet.sun.at_place import places_sun

__all__ = ["plan_scheme"]

_ORDERED = 8  # up to so many planters every order is looked at


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
        Of the draws. The search itself leaves nothing to chance.
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
    usable, recipes, groups = checked_ask(assessment, sites, ask)
    ids = [_plot_id(assessment, at) for at in range(len(usable))]
    amounts = planted_amounts(usable, recipes, knowledge, hood.country)
    fields = group_fields(assessment, usable, ids, recipes, groups, amounts)
    rules = rules_of(usable, recipes, ask, knowledge)
    state = state_of(assessment, fields, rules.toll)
    locked = _locked(usable, ask, state, rules)
    anew = partial(assess, knowledge=knowledge, groups=groups, straight=True)
    task = _Task(
        anew(hood, prior=assessment.prior), street, tuple(sites), ask, usable, recipes, tuple(ids),
        fields, rules, state, FilledState(state), tuple(locked), anew,
        partial(compare, draws=draws, seed=seed, processes=processes, progress=progress), amounts,
    )  # fmt: skip
    if ask.goal == "cover":
        return _covering(task)
    choices = choices_of(ask, task.filled, state, locked, rules, knowledge, _small(task, knowledge))
    drawn: Sequence[InDraws | None] = (None,) * len(choices)
    if draws and choices[-1].picks:
        drawn = choose_in_draws(
            task.before, [_asked_of(task, choice) for choice in choices],
            [_promising(choice) for choice in choices],
            draws=draws, seed=seed, processes=processes, progress=progress,
        )  # fmt: skip
    values = [
        task.filled.worth(choice.picks) if one is None else one.worth
        for choice, one in zip(choices, drawn, strict=True)
    ]
    for choice, one in zip(choices, drawn, strict=True):
        if one is not None:
            choice.best.meet(one.picks, task.filled.value(one.picks))
    return _chosen(task, choices, proposed(values, knowledge.setting("scheme_enough_share")), drawn)


@dataclass(frozen=True, eq=False)
class _Task:
    """What is planned, and all that was prepared for it."""

    before: Assessment
    street: Street
    sites: tuple[Site, ...]
    ask: SchemeAsk
    usable: tuple[Site, ...]
    recipes: tuple[Recipe, ...]
    ids: tuple[str, ...]
    fields: tuple[GroupField, ...]
    rules: SchemeRules
    state: State
    filled: FilledState
    locked: tuple[Pick, ...]
    anew: Callable[..., Assessment]
    compared: Callable[[Assessment, Assessment], Comparison]
    amounts: NDArray[np.float64]

    @property
    def knowledge(self) -> Knowledge:
        return self.before.knowledge

    @property
    def groups(self) -> list[str]:
        return [field.group.key for field in self.fields]

    def keys(self, picks: Sequence[Pick]) -> tuple[tuple[str, str], ...]:
        """Keys of the sites, and of what grows there."""
        return tuple((self.usable[site].key, self.recipes[recipe].key) for site, recipe in picks)

    def worths(self, schemes: Sequence[Sequence[Pick]]) -> list[float]:
        """What schemes are worth, filled exactly."""
        return [self.filled.worth(picks) for picks in schemes]

    def promises(self, schemes: Sequence[Sequence[Pick]]) -> list[float]:
        """What schemes promise."""
        return [self.state.go_to(picks).value for picks in schemes]


def _covering(task: _Task) -> Scheme:
    """The scheme that reaches most of what homes lack."""
    cover, recipes = cover_of(task.fields), len(task.recipes)
    curve, chosen = cover_steps(
        cover, task.state, task.rules, task.usable, task.recipes, task.locked
    )
    ordered = cover_order(cover, chosen, recipes)
    exact = all(step.bound == step.value for step in curve)
    stages = stages_of(
        ordered, lambda schemes: [cover.share(picks, recipes) for picks in schemes],
        task.knowledge.setting("scheme_stage_share"),
    )  # fmt: skip
    scheme = replace(_handed_over(task, ordered, curve, exact=exact, drawn=None), stages=stages)
    return told_by_cover(scheme, cover, ordered, recipes)


def _asked_of(task: _Task, choice: Choice) -> SchemesAsked:
    """What is sought in each draw: schemes of the size of the best one."""
    count = len(choice.picks)
    return SchemesAsked(
        task.usable, task.ids, tuple(each.key for each in task.recipes), tuple(task.groups),
        replace(choice.rules, planters=count), task.locked, count,
        task.knowledge.setting("scheme_alike_share"), task.amounts,
    )  # fmt: skip


def _promising(choice: Choice) -> list[tuple[Pick, ...]]:
    """Schemes of the size of the best one that are good with the figures in use, the best first."""
    first = choice.best.first[len(choice.picks)]
    return sorted(first, key=lambda picks: (-first[picks], picks))


def _chosen(
    task: _Task, choices: Sequence[Choice], at: int, in_draws: Sequence[InDraws | None]
) -> Scheme:
    """The scheme of the choice that is proposed, with what the others come to beside it."""
    choice, drawn, setting = choices[at], in_draws[at], task.knowledge.setting
    least = setting("p_cut")
    ceilings = [
        ceiling_of(field, least, task.rules.planters, task.rules.conflicts) for field in task.fields
    ]
    locked = [site for site, _ in task.locked]
    bounds = [SchemeBound(ceilings, task.state.worth, one.rules, locked) for one in choices]
    curve = _curve(task, choice, bounds[at])
    if drawn is not None:
        ordered = drawn.picks
    elif len(choice.picks) <= _ORDERED:
        ordered = best_order(choice.picks, task.promises)
    else:
        ordered = order_by_misses(choice.picks, task.promises)
    scheme = _handed_over(task, ordered, curve, exact=choice.exact, drawn=drawn)
    weights = dict(zip(task.groups, _by_animal(task, ordered), strict=True))
    return replace(
        scheme,
        choices=_side_by_side(task, choices, at, in_draws, bounds),
        stages=stages_of(ordered, task.worths, setting("scheme_stage_share")),
        limit=case_limit(
            task.before,
            [(task.usable[site], task.recipes[recipe]) for site, recipe in ordered],
            task.ids[: len(ordered)],
            weights,
        ),
    )


def _by_animal(task: _Task, picks: Sequence[Pick]) -> list[float]:
    """What some planters are worth, by animal, with its votes."""
    worth = task.state.worth
    gained = worth_gained(task.filled.linked(picks), worth.now, worth.first)
    return [float(one) for one in worth.weight * gained]


def _side_by_side(
    task: _Task,
    choices: Sequence[Choice],
    at: int,
    in_draws: Sequence[InDraws | None],
    bounds: Sequence[SchemeBound],
) -> tuple[SchemeChoice, ...]:
    """What each choice comes to."""
    told = []
    today = task.filled.linked(())
    for place, choice in enumerate(choices):
        here = in_draws[place]
        picks = choice.picks if here is None else here.picks
        linked = task.filled.linked(picks) - today
        measure, ask = task.rules.open_questions(picks)
        value = task.filled.worth(picks)
        within = 0.0
        if not choice.exact and picks:
            size = choice.rules.planters
            most = _limit(choice, bounds[place], size, task.filled.linked(picks).tolist())
            within = max(most - task.filled.value(picks), 0.0) / value if value > 0 else np.inf
        told.append(
            SchemeChoice(
                verdicts=choice.verdicts,
                sites=task.keys(picks),
                value=value,
                homes=float(linked.sum()) if here is None else here.won.mean,
                low=None if here is None else here.won.low,
                high=None if here is None else here.won.high,
                linked=dict(
                    zip(task.groups, linked.tolist() if here is None else here.linked, strict=True)
                ),
                cost=task.rules.cost(picks),
                ask=ask,
                measure=measure,
                within=within,
                taken=place == at,
            )
        )
    return tuple(told)


def _plot_id(assessment: Assessment, at: int) -> str:
    """An id for a site's plot that no plot has."""
    name = f"scheme-{at + 1:03d}"
    while name in assessment.neighbourhood.plots.index:
        name = f"{name}x"
    return name


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


def _curve(task: _Task, choice: Choice, bound: SchemeBound) -> tuple[SchemeStep, ...]:
    """The best scheme of each size, and how much better any could be."""
    best, filled, steps = choice.best, task.filled, list[SchemeStep]()
    values: list[float] = []
    for count in range(min(best.picks), max(best.picks) + 1):
        picks, value = best.picks.get(count, ()), best.value.get(count, -np.inf)
        if steps and value <= values[-1]:
            # One more does not help, or only if it were not for the others: fewer are better.
            steps.append(replace(steps[-1], planters=count))
            values.append(values[-1])
            continue
        values.append(value)
        steps.append(
            SchemeStep(
                planters=count,
                sites=task.keys(picks),
                value=filled.worth(picks),
                linked=dict(zip(task.groups, filled.linked(picks).tolist(), strict=True)),
                cost=task.rules.cost(picks),
                bound=filled.worth(picks),
            )
        )
    if choice.exact:
        return tuple(steps)
    limit = np.inf
    for at, step in reversed(list(enumerate(steps))):
        # What more planters cannot win, fewer cannot.
        limit = min(limit, _limit(choice, bound, step.planters, step.linked.values()))
        steps[at] = replace(step, bound=step.value + max(limit - values[at], 0.0))
    return tuple(steps)


def _limit(choice: Choice, bound: SchemeBound, size: int, linked: Iterable[float]) -> float:
    """No scheme with so many planters or fewer wins more than this, less its tolls."""
    if size in choice.limits:
        return max(choice.limits[fewer] for fewer in range(1, size + 1))
    return bound.of_size(size, np.array(list(linked)))


def _small(task: _Task, knowledge: Knowledge) -> SmallSchemes | None:
    """Schemes of one planter and two, where that is what is asked for and nothing is locked in."""
    if task.rules.planters > SMALL or task.locked:
        return None
    least, conflicts = knowledge.setting("p_cut"), task.rules.conflicts
    ceilings = [ceiling_of(field, least, task.rules.planters, conflicts) for field in task.fields]
    return SmallSchemes(ceilings, task.filled, task.state, len(task.recipes))


def _handed_over(
    task: _Task,
    ordered: Sequence[Pick],
    curve: tuple[SchemeStep, ...],
    *,
    exact: bool,
    drawn: InDraws | None,
) -> Scheme:
    before = task.before
    chosen = [(task.usable[s], task.recipes[r]) for s, r in ordered]
    suns = places_sun(
        before.neighbourhood,
        [site.polygon for site, _ in chosen],
        [site.size.height_m for site, _ in chosen],
        knowledge=task.knowledge,
    )
    planted = plant_boxes(before, chosen, [sun.cls for sun in suns])
    hood = with_scheme(before, [site for site, _ in chosen], planted)
    ids = list(hood.plots.index[len(before.neighbourhood.plots) :])
    after = task.anew(hood, prior=before.prior)
    placed = placed_planters(
        ids, ordered, task.usable, task.recipes, task.rules, task.fields, task.filled
    )
    planters = tuple(
        replace(one, planting=box, sun=sun)
        for one, box, sun in zip(placed, planted, suns, strict=True)
    )
    narrowings = narrowing_findings(
        task.street, [site for site, _ in chosen], knowledge=rules_in(task.knowledge, hood.country)
    )
    doubt = None
    if drawn is not None:
        planters = tuple(
            replace(one, often=often) for one, often in zip(planters, drawn.often, strict=True)
        )
        value = task.filled.worth(ordered)
        doubt = SchemeDoubt(drawn.draws, drawn.tried, drawn.share, drawn.harm, value)
    return Scheme(
        ask=task.ask,
        street=task.street,
        sites=task.sites,
        planters=planters,
        curve=curve,
        exact=exact,
        before=before,
        after=after,
        comparison=task.compared(before, after),
        neighbourhood=hood,
        notes=_notes(task.street, [site for site, _ in chosen], narrowings),
        doubt=doubt,
        narrowings=narrowings,
    )


def _notes(
    street: Street, chosen: Sequence[Site], narrowings: Sequence[Finding]
) -> tuple[str, ...]:
    notes = list(street.notes)
    notes += [one.words for one in narrowings if one.verdict != "fits"]
    verdicts = pd.Series([site.verdict for site in chosen]).value_counts()
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
