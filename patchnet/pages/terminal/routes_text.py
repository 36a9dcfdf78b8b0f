"""Ways over the ground in words for a terminal, and as JSON."""

from typing import Any

import numpy as np

from patchnet.assess.assessment import Assessment
from patchnet.assess.ways import WayBetween, walking_ground
from patchnet.core.language_forms import number
from patchnet.core.texts import _, ngettext
from patchnet.movement.corridors import Corridor
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.text_table import paragraph, text_table
from patchnet.pages.terminal.json_text import json_text

__all__ = ["cost_words", "crs_words", "routes_json", "routes_text", "way_json", "way_text"]

_SHOWN = 10  # links, breaks and names listed one by one; the rest are only counted


def cost_words(cost: float) -> str:
    """A cost in cost metres, or that there is no way.

    Parameters
    ----------
    cost
        Cost metres; inf: no way.

    Examples
    --------
    >>> cost_words(float("inf")), cost_words(0), cost_words(2.34), cost_words(101.4)
    ('no way', '0', '2.3', '101')
    """
    if np.isinf(cost):
        return _("no way")
    return number(cost, ",.0f") if cost >= 9.95 or cost == 0 else number(cost, ".1f")


def crs_words(assessment: Assessment) -> str:
    """The coordinate system that the metres belong to, by code and name."""
    crs = assessment.neighbourhood.plots.crs
    return f"{crs.to_string()} ({crs.name})" if crs.to_epsg() else str(crs.name)


def _named(plots: list[str]) -> str:
    more = len(plots) - _SHOWN
    return ", ".join(plots[:_SHOWN]) + (_(" and {more} more").format(more=more) if more > 0 else "")


def _head(assessment: Assessment, group: str) -> dict[str, Any]:
    answer = assessment.groups[group]
    surface = walking_ground(assessment, group).surface
    return {
        "group": group,
        "neighbourhood": assessment.neighbourhood.name,
        "crs": crs_words(assessment),
        "cell_m": surface.cell_m,
        "hop_cost_m": answer.group.hop.value,
    }


def _corridor(way: Corridor) -> dict[str, Any]:
    return {
        "from_plot": way.plot_a,
        "to_plot": way.plot_b,
        "cost_m": way.cost,
        "length_m": way.length_m,
        "plots": list(way.plots),
        "line": [] if way.line is None else [list(point) for point in way.line.coords],
    }


def _route_facts(
    assessment: Assessment, group: str, corridors: tuple[Corridor, ...]
) -> dict[str, Any]:
    answer = assessment.groups[group]
    ground = walking_ground(assessment, group)
    links, plots = ground.links, ground.surface.plots
    one_move = links.cost <= answer.group.hop.value
    linked = set(plots[np.union1d(links.i[one_move], links.j[one_move])])
    alone = set(links.isolated)
    patches = [str(plot) for plot in answer.network.ids]
    return {
        **_head(assessment, group),
        "looked_cost_m": assessment.knowledge.setting("break_hops") * answer.group.hop.value,
        "patches": len(patches),
        "linked_homes": answer.measures.eca,
        "connected_groups": answer.measures.components,
        "no_way": [plot for plot in patches if plot in alone],
        "too_dear": [plot for plot in patches if plot not in linked and plot not in alone],
        "links": [
            {
                "from_plot": str(plots[links.i[at]]),
                "to_plot": str(plots[links.j[at]]),
                "cost_m": float(links.cost[at]),
                "length_m": float(links.length_m[at]),
            }
            for at in np.flatnonzero(one_move).tolist()
        ],
        "breaks": [
            {
                "from_plot": gap.from_plot,
                "to_plot": gap.to_plot,
                "cost_m": gap.cost_m,
                "length_m": gap.width_m,
                "stepping_stones": gap.stepping_stones,
                "homes_won": gap.homes_won,
                "plots_on_the_way": list(gap.plots_on_the_way),
            }
            for gap in answer.breaks
        ],
        "corridors": [_corridor(way) for way in corridors],
    }


def routes_json(assessment: Assessment, group: str, corridors: tuple[Corridor, ...]) -> str:
    """Links, breaks and corridors of an animal that walks, as JSON.

    Keys: group, neighbourhood, crs, cell_m, hop_cost_m, looked_cost_m, patches, linked_homes,
    connected_groups, no_way, too_dear, links, breaks, corridors. Costs and lengths in metres;
    null: no way.
    """
    return json_text(_route_facts(assessment, group, corridors))


def routes_text(assessment: Assessment, group: str, corridors: tuple[Corridor, ...]) -> str:
    """Links, breaks and corridors of an animal that walks, in words."""
    facts = _route_facts(assessment, group, corridors)
    name = assessment.groups[group].group.name
    parts = [
        _("{name} over the ground of {neighbourhood}").format(
            name=name, neighbourhood=facts["neighbourhood"]
        ),
        paragraph(
            ngettext(
                "{patches} patches on {islands} island of linked patches. Homes they can reach: "
                "about {homes}. Cells of {cell:g} m.",
                "{patches} patches on {islands} islands of linked patches. Homes they can reach: "
                "about {homes}. Cells of {cell:g} m.",
                facts["connected_groups"],
            ).format(
                patches=facts["patches"],
                islands=facts["connected_groups"],
                homes=figure(facts["linked_homes"]),
                cell=facts["cell_m"],
            )
        ),
        _links(facts),
        _alone(facts),
        _breaks(facts),
        _corridors(facts),
        _cost_metre(),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _cost_metre() -> str:
    return paragraph(
        _(
            "Costs are in cost metres: 1 is an easy metre over good ground. A metre of road or "
            "paving costs more, a fence that nobody has looked at costs a detour, and a closed one "
            "lets nothing through. Most of these costs are our own working assumptions: "
            "'patchnet source movement_costs' lists them."
        )
    )


def _links(facts: dict[str, Any]) -> str:
    links = sorted(facts["links"], key=lambda link: -link["cost_m"])
    if not links:
        return _("LINKS\n  No two patches are within one move of each other.")
    costs = [link["cost_m"] for link in links]
    rows = [(_("From"), _("To"), _("Cost"), _("Metres"))]
    rows += [_link_row(link) for link in links[:_SHOWN]]
    said = _(
        "  {n_links} links that cost at most {hop_cost_m:g}; half of them cost {median} or less. "
        "The hardest:"
    ).format(
        n_links=len(links),
        hop_cost_m=facts["hop_cost_m"],
        median=cost_words(float(np.median(costs))),
    )
    return _("LINKS\n{said}\n").format(said=said) + text_table(rows, indent="  ", header=True)


def _link_row(link: dict[str, Any]) -> tuple[str, str, str, str]:
    length = cost_words(link["length_m"]) if link["length_m"] > 0 else _("next door")
    return link["from_plot"], link["to_plot"], cost_words(link["cost_m"]), length


def _alone(facts: dict[str, Any]) -> str:
    lines = []
    if facts["no_way"]:
        lines.append(
            paragraph(
                _(
                    "No way to any other patch within {looked_cost_m:g} cost metres (walled in, "
                    "off the ground, or too far away): {named}."
                ).format(looked_cost_m=facts["looked_cost_m"], named=_named(facts["no_way"])),
                indent="  ",
            )
        )
    if facts["too_dear"]:
        lines.append(
            paragraph(
                _("Every way is too hard for one move: {named}.").format(
                    named=_named(facts["too_dear"])
                ),
                indent="  ",
            )
        )
    return "\n".join([_("PATCHES WITHOUT A LINK"), *lines]) if lines else ""


def _breaks(facts: dict[str, Any]) -> str:
    if not facts["breaks"]:
        return _("BREAKS\n  No break that stepping stones could close.")
    rows: list[tuple[str, ...]] = [
        (
            _("From"),
            _("To"),
            _("Cost"),
            _("Metres"),
            _("Stepping stones"),
            _("Homes gained"),
            _("On the way"),
        )
    ]
    for gap in facts["breaks"][:_SHOWN]:
        stones, won = str(gap["stepping_stones"]), figure(gap["homes_won"])
        way = _named(gap["plots_on_the_way"]) or _("no plot")
        rows.append((*_link_row(gap), stones, won, way))
    more = len(facts["breaks"]) - _SHOWN
    tail = (
        _("\n  ... and {more} more (--format json lists them all).").format(more=more)
        if more > 0
        else ""
    )
    return _("BREAKS IN THE NETWORK, the best to close first\n") + (
        text_table(rows, indent="  ", header=True) + tail
    )


def _corridors(facts: dict[str, Any]) -> str:
    lines = [
        paragraph(
            _("{from_plot} to {to_plot}: {cost_m} cost metres, {length_m} m, over {plots}.").format(
                from_plot=way["from_plot"],
                to_plot=way["to_plot"],
                cost_m=cost_words(way["cost_m"]),
                length_m=cost_words(way["length_m"]),
                plots=", ".join(way["plots"]),
            ),
            indent="  ",
        )
        for way in facts["corridors"]
        if way["plots"]
    ]
    return "\n".join([_("EASIEST WAYS ACROSS THE FIRST BREAKS"), *lines]) if lines else ""


def way_json(assessment: Assessment, group: str, way: WayBetween) -> str:
    """The easiest way between two plots as JSON.

    Keys: group, neighbourhood, crs, cell_m, hop_cost_m, from_plot, to_plot, cost_m, length_m,
    plots, line (coordinates in metres), resistance. null: no way (or resistance not worked out).
    """
    facts = {
        **_head(assessment, group),
        **_corridor(way.corridor),
        "resistance": way.resistance,
    }
    return json_text(facts)


def way_text(assessment: Assessment, group: str, way: WayBetween) -> str:
    """The easiest way between two plots in words."""
    name = assessment.groups[group].group.name
    route = way.corridor
    head = _("{name} from {plot_a} to {plot_b} in {neighbourhood_name}").format(
        name=name,
        plot_a=route.plot_a,
        plot_b=route.plot_b,
        neighbourhood_name=assessment.neighbourhood.name,
    )
    if route.line is None:
        said = _(
            "There is no way: one of them is shut in by closed barriers or buildings, or is "
            "off the ground. 'patchnet gaps' with the same --from and --to says which fence to "
            "open."
        )
        return f"{head}\n\n{paragraph(said)}\n"
    rows = [
        (_("easiest way"), _("{cost} cost metres").format(cost=cost_words(route.cost))),
        ("length", f"{cost_words(route.length_m)} m"),
        (_("effective resistance"), _resistance(way)),
    ]
    hop = assessment.groups[group].group.hop.value
    moves = (
        _(
            "One move of this animal costs at most {hop:g}, so it needs places to stop on the way."
        ).format(hop=hop)
        if route.cost > hop
        else _("That is within one move of this animal (at most {hop:g}).").format(hop=hop)
    )
    parts = [
        head,
        text_table(rows, indent="  "),
        paragraph(_("Plots on the way: {plots}.").format(plots=", ".join(route.plots))),
        paragraph(moves),
        paragraph(
            _(
                "Effective resistance counts all ways together: two equal ways side by side halve "
                "it, and one narrow place makes it large."
            )
        ),
        _cost_metre(),
    ]
    return "\n\n".join(parts) + "\n"


def _resistance(way: WayBetween) -> str:
    return (
        _("{resistance} (metres of good ground per metre of width)").format(
            resistance=figure(way.resistance)
        )
        if way.resistance is not None
        else _("not worked out. {not_worked_out}").format(not_worked_out=way.not_worked_out)
    )
