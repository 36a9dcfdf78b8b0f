"""Which fences to open, in words for a terminal, and as JSON."""

from typing import Any

from shapely import Point

from patchnet.assess.assessment import Assessment, FenceGap
from patchnet.movement.fence_gaps import GapPlan
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.text_table import paragraph
from patchnet.pages.terminal.json_text import json_text
from patchnet.pages.terminal.routes_text import cost_words, crs_words

__all__ = ["gaps_json", "gaps_text", "way_gaps_json", "way_gaps_text"]

_TODAY = {
    "no": "closed today",
    "not_known": "gap not known: look first, there may be one",
    "yes": "has a gap today, but not here",
}


def gaps_json(assessment: Assessment, group: str, gaps: tuple[FenceGap, ...]) -> str:
    """Gaps in fences, the most useful first, as JSON.

    Keys: group, neighbourhood, crs, gap_side_m, gap_source, linked_homes, gaps (order, barriers,
    today, plots, x, y, joins, cost_before_m, cost_after_m, homes_won). null: no plot, or no way.
    """
    return json_text(_facts(assessment, group, gaps))


def gaps_text(assessment: Assessment, group: str, gaps: tuple[FenceGap, ...]) -> str:
    """Gaps in fences, the most useful first, in words."""
    facts = _facts(assessment, group, gaps)
    head = f"Gaps in fences for the {_name(assessment, group)} in {facts['neighbourhood']}"
    if not gaps:
        none = "No gap in a mapped barrier would make room for more homes."
        return f"{head}\n\n{paragraph(none)}\n"
    parts = [head, paragraph("Open them in this order; each figure counts the ones above as open.")]
    for gap in facts["gaps"]:
        lines = [
            f"{gap['order']}. {_where(gap)}",
            f"It links {' and '.join(gap['joins'])}: {_costs(gap)}, in cost metres.",
            f"Homes gained: {figure(gap['homes_won'])}.",
        ]
        parts.append(_hanging(lines))
    won = sum(gap["homes_won"] for gap in facts["gaps"])
    now = facts["linked_homes"]
    parts.append(
        f"Homes they can reach today: about {figure(now)}. All of these together add {figure(won)}."
    )
    return "\n\n".join([*parts, *_closing(facts)]) + "\n"


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
    head = (
        f"Gaps for the {_name(assessment, group)} on its way from {ends[0]} to {ends[1]} "
        f"in {facts['neighbourhood']}"
    )
    if not plans:
        return f"{head}\n\n{paragraph('No gap in a mapped barrier would make the way cheaper.')}\n"
    parts = [head, paragraph("Open them in this order; each figure counts the ones above as open.")]
    for step in facts["steps"]:
        lines = [f"{step['order']}. {_where(step['gaps'][0])}"]
        lines += [f"And with it: {_where(gap)}" for gap in step["gaps"][1:]]
        parts.append(_hanging([*lines, f"Cost of the way: {_costs(step)}, in cost metres."]))
    return "\n\n".join([*parts, *_closing(facts)]) + "\n"


def _name(assessment: Assessment, group: str) -> str:
    return assessment.groups[group].group.name.lower()


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


def _facts(assessment: Assessment, group: str, gaps: tuple[FenceGap, ...]) -> dict[str, Any]:
    return {
        **_head(assessment, group),
        "linked_homes": assessment.groups[group].measures.eca,
        "gaps": [
            {
                "order": order,
                **_place(assessment, gap.barriers, gap.plots, gap.place),
                "joins": list(gap.joins),
                "cost_before_m": gap.cost_before,
                "cost_after_m": gap.cost_after,
                "homes_won": gap.homes_won,
            }
            for order, gap in enumerate(gaps, 1)
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
    kinds = " and ".join(barrier["kind"] for barrier in gap["barriers"])
    rows = ", ".join(str(barrier["row"]) for barrier in gap["barriers"])
    one, two = gap["plots"]
    if one == two:
        between = f"inside {one}" if one else "on open ground"
    else:
        between = f"between {one or 'open ground'} and {two or 'open ground'}"
    return (
        f"{kinds.capitalize()} {between} (row {rows} of the barriers), "
        f"at {gap['x']:.1f} east, {gap['y']:.1f} north; {_TODAY[gap['today']]}."
    )


def _costs(step: dict[str, Any]) -> str:
    before, after = (cost_words(step[f"cost_{when}_m"]) for when in ("before", "after"))
    return f"{before} without it, {after} with it"


def _closing(facts: dict[str, Any]) -> list[str]:
    side = f"{facts['gap_side_m'] * 100:g}"
    return [
        paragraph(
            f"A gap is {side} by {side} cm at ground level "
            f"('patchnet source {facts['gap_source']}'). Places are metres in {facts['crs']}, to "
            "the nearest half cell of the ground: measure on the spot."
        ),
        paragraph(
            "A shared fence needs its owner's consent: ask both neighbours before anybody cuts. "
            "This list is for the group, not for publishing: it shows how gardens can be entered."
        ),
    ]
