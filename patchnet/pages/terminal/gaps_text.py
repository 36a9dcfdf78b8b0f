"""Which fences to open, in words for a terminal, and as JSON."""

from dataclasses import asdict
from typing import Any

from shapely import Point

from patchnet.assess.assessment import Assessment
from patchnet.assess.find_gaps import FenceGaps
from patchnet.core.language_forms import capital_first, in_sentence, number
from patchnet.core.texts import N_, Words, _
from patchnet.movement.fence_gaps import GapPlan
from patchnet.pages.kit.doubt_words import break_words, drawn_or_not, of_draws
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.text_table import paragraph
from patchnet.pages.terminal.json_text import json_text
from patchnet.pages.terminal.routes_text import cost_words, crs_words

__all__ = ["gaps_json", "gaps_text", "way_gaps_json", "way_gaps_text"]

_BREAKS = 3  # told; JSON has them all
_HARDLY = 0.001  # share of the linked homes: a break that wins less is not told
_TODAY: Words[str, str] = Words(
    {
        "no": N_("closed today"),
        "not_known": N_("gap not known: look first, there may be one"),
        "yes": N_("has a gap today, but not here"),
    }
)


def gaps_json(found: FenceGaps) -> str:
    """Gaps in fences, the most useful first, as JSON.

    Keys: group, neighbourhood, crs, gap_side_m, gap_source, draws, seed, linked_homes, gaps
    (order, barriers, today, plots, x, y, joins, cost_before_m, cost_after_m, homes_won, and over
    the draws won_low, won_high, often), together (mean, low, high), breaks (from_plot, to_plot,
    cost_m, width_m, stepping_stones, homes_won, won_low, won_high, often, shunned). Shares of
    draws are 0-1. null: no plot, no way, or no draws.
    """
    return json_text(_facts(found))


def gaps_text(found: FenceGaps) -> str:
    """Gaps in fences, the most useful first, in words."""
    assessment, group, draws = found.assessment, found.group, found.draws
    facts = _facts(found)
    head = _("Gaps in fences for the {assessment} in {neighbourhood}").format(
        assessment=_name(assessment, group), neighbourhood=facts["neighbourhood"]
    )
    parts = [head]
    if not found.gaps:
        parts.append(paragraph(_("No gap in a mapped barrier would make room for more homes.")))
    else:
        parts.append(
            paragraph(_("Open them in this order; each figure counts the ones above as open."))
        )
        parts += [_hanging(_gap_lines(gap, draws)) for gap in facts["gaps"]]
        parts.append(paragraph(_together(facts)))
    breaks = [
        paragraph(break_words(one, assessment.groups[group].group.name, draws), then="   ")
        for one in found.breaks[:_BREAKS]
        if one.won.mean > _HARDLY * facts["linked_homes"]
    ]
    if breaks:
        parts += [_("Breaks that stepping stones could close"), *breaks]
    if not found.gaps and not breaks:
        return "\n\n".join(parts) + "\n"
    parts.append(paragraph(drawn_or_not(draws)))
    if draws:
        parts.append(
            paragraph(
                _(
                    "Homes are the mean of all draws; nine draws in ten lie in the range beside "
                    "it. Places, and what the ways cost, are with the figures in use."
                )
            )
        )
    return "\n\n".join([*parts, *_closing(facts)]) + "\n"


def _gap_lines(gap: dict[str, Any], draws: int) -> list[str]:
    won = _("Homes gained: {homes_won}.").format(homes_won=figure(gap["homes_won"]))
    if not gap["homes_won"]:
        won = _("Homes gained: none by itself, only together with the next one.")
    elif gap["often"] is not None:
        won = _(
            "Homes gained: {homes_won} ({low} to {high} in 9 of 10 draws); anything at all in {n}."
        ).format(
            homes_won=figure(gap["homes_won"]),
            low=figure(gap["won_low"]),
            high=figure(gap["won_high"]),
            n=of_draws(gap["often"], draws),
        )
    return [
        f"{gap['order']}. {_where(gap)}",
        _("It links {joins}: {costs}, in cost metres.").format(
            joins=_(" and ").join(gap["joins"]), costs=_costs(gap)
        ),
        won,
    ]


def _together(facts: dict[str, Any]) -> str:
    now, together = facts["linked_homes"], facts["together"]
    if together is None:
        won = sum(gap["homes_won"] for gap in facts["gaps"])
        return _(
            "Homes they can reach today: about {now}. All of these together add {won}."
        ).format(now=figure(now), won=figure(won))
    return _(
        "Homes they can reach today: about {now}. All of these together add {won} ({low} to {high} "
        "in 9 of 10 draws)."
    ).format(
        now=figure(now),
        won=figure(together["mean"]),
        low=figure(together["low"]),
        high=figure(together["high"]),
    )


def way_gaps_json(
    assessment: Assessment, group: str, ends: tuple[str, str], plans: tuple[GapPlan, ...]
) -> str:
    """Gaps that shorten the way between two plots, in order, as JSON.

    Keys: group, neighbourhood, crs, gap_side_m, gap_source, from_plot, to_plot, steps (order,
    gaps made together, cost_before_m, cost_after_m). null: no plot, or no way.
    """
    return json_text(_way_facts(assessment, group, ends, plans))


def way_gaps_text(
    assessment: Assessment, group: str, ends: tuple[str, str], plans: tuple[GapPlan, ...]
) -> str:
    """Gaps that shorten the way between two plots, in order, in words."""
    facts = _way_facts(assessment, group, ends, plans)
    head = _(
        "Gaps for the {assessment} on its way from {end} to {end_2} in {neighbourhood}"
    ).format(
        assessment=_name(assessment, group),
        end=ends[0],
        end_2=ends[1],
        neighbourhood=facts["neighbourhood"],
    )
    if not plans:
        return (
            f"{head}\n\n{paragraph(_('No gap in a mapped barrier would make the way cheaper.'))}\n"
        )
    parts = [
        head,
        paragraph(_("Open them in this order; each figure counts the ones above as open.")),
    ]
    for step in facts["steps"]:
        lines = [f"{step['order']}. {_where(step['gaps'][0])}"]
        lines += [_("And with it: {where}").format(where=_where(gap)) for gap in step["gaps"][1:]]
        parts.append(
            _hanging(
                [*lines, _("Cost of the way: {costs}, in cost metres.").format(costs=_costs(step))]
            )
        )
    return "\n\n".join([*parts, *_closing(facts)]) + "\n"


def _name(assessment: Assessment, group: str) -> str:
    return in_sentence(assessment.groups[group].group.name)


def _hanging(lines: list[str]) -> str:
    """The lines of one entry; those after the first are indented."""
    first, *others = lines
    return "\n".join(
        [
            paragraph(first, then="   "),
            *(paragraph(line, indent="   ") for line in others),
        ]
    )


def _head(assessment: Assessment, group: str) -> dict[str, Any]:
    return {
        "group": group,
        "neighbourhood": assessment.neighbourhood.name,
        "crs": crs_words(assessment),
        "gap_side_m": assessment.knowledge.setting("gap_side_m"),
        "gap_source": "settings/gap_side_m",
    }


def _facts(found: FenceGaps) -> dict[str, Any]:
    assessment, group = found.assessment, found.group
    now = assessment.groups[group].measures.eca if found.linked is None else found.linked.mean
    return {
        **_head(assessment, group),
        "draws": found.draws,
        "seed": found.seed,
        "linked_homes": now,
        "gaps": [
            {
                "order": order,
                **_place(assessment, gap.barriers, gap.plots, gap.place),
                "joins": list(gap.joins),
                "cost_before_m": gap.cost_before,
                "cost_after_m": gap.cost_after,
                "homes_won": gap.homes_won,
                "won_low": gap.won_low,
                "won_high": gap.won_high,
                "often": gap.often,
            }
            for order, gap in enumerate(found.gaps, 1)
        ],
        "together": None if found.together is None else asdict(found.together),
        "breaks": [
            {
                "from_plot": one.gap.from_plot,
                "to_plot": one.gap.to_plot,
                "cost_m": one.gap.cost_m,
                "width_m": one.gap.width_m,
                "stepping_stones": one.gap.stepping_stones,
                "homes_won": one.won.mean,
                "won_low": one.won.low,
                "won_high": one.won.high,
                "often": one.often,
                "shunned": one.shunned,
            }
            for one in found.breaks
        ],
    }


def _way_facts(
    assessment: Assessment, group: str, ends: tuple[str, str], plans: tuple[GapPlan, ...]
) -> dict[str, Any]:
    return {
        **_head(assessment, group),
        "from_plot": ends[0],
        "to_plot": ends[1],
        "steps": [
            {
                "order": order,
                "gaps": [
                    _place(assessment, gap.barriers, gap.plots, gap.place) for gap in plan.gaps
                ],
                "cost_before_m": plan.cost_before,
                "cost_after_m": plan.cost_after,
            }
            for order, plan in enumerate(plans, 1)
        ],
    }


def _place(
    assessment: Assessment,
    barriers: tuple[int, ...],
    plots: tuple[str | None, str | None],
    place: Point,
) -> dict[str, Any]:
    table = assessment.neighbourhood.barriers.iloc[list(barriers)]
    known = set(table["gap"])
    return {
        "barriers": [
            {"row": row + 1, "kind": kind}
            for row, kind in zip(barriers, table["kind"], strict=True)
        ],
        "today": next((word for word in ("no", "not_known") if word in known), "yes"),
        "plots": list(plots),
        "x": place.x,
        "y": place.y,
    }


def _where(gap: dict[str, Any]) -> str:
    kinds = _(" and ").join(barrier["kind"] for barrier in gap["barriers"])
    rows = ", ".join(str(barrier["row"]) for barrier in gap["barriers"])
    one, two = gap["plots"]
    if one == two:
        between = _("inside {one}").format(one=one) if one else _("on open ground")
    else:
        between = _("between {one} and {two}").format(
            one=one or _("open ground"), two=two or _("open ground")
        )
    return _(
        "{kinds} {between} (row {rows} of the barriers), at {x:.1f} east, {y:.1f} north; {today}."
    ).format(
        kinds=capital_first(kinds),
        between=between,
        rows=rows,
        x=gap["x"],
        y=gap["y"],
        today=_TODAY[gap["today"]],
    )


def _costs(step: dict[str, Any]) -> str:
    before, after = (cost_words(step[f"cost_{when}_m"]) for when in ("before", "after"))
    return _("{before} without it, {after} with it").format(before=before, after=after)


def _closing(facts: dict[str, Any]) -> list[str]:
    side = number(facts["gap_side_m"] * 100, "g")
    return [
        paragraph(
            _(
                "A gap is {side} by {side} cm at ground level ('patchnet source {gap_source}'). "
                "Places are metres in {crs}, to the nearest half cell of the ground: measure on "
                "the spot."
            ).format(side=side, gap_source=facts["gap_source"], crs=facts["crs"])
        ),
        paragraph(
            _(
                "A shared fence needs its owner's consent: ask both neighbours before anybody "
                "cuts. This list is for the group, not for publishing: it shows how gardens can "
                "be entered."
            )
        ),
    ]
