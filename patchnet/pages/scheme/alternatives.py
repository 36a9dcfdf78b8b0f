"""Schemes side by side: what each wins, costs, risks and asks of people."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from patchnet.core.texts import _, counted
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.table import table
from patchnet.pages.kit.templates import Markup
from patchnet.pages.scheme.pack import SchemePack, centimetres
from patchnet.pages.terminal.compare_text import change_words

__all__ = ["Alternative", "alternative_of", "alternatives_html"]

_ANIMALS = 3  # told of each scheme, those that win most first


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """One of the schemes that were compared.

    Attributes
    ----------
    name
        What sets it apart: only places that fit, with places to ask about, after measuring.
    planters
        How many boxes.
    homes
        Homes that animals can reach before and after, by group.
    cost
        Sum of its bill, in pounds.
    verdicts
        How many of its places have each verdict.
    least_m
        Least walking width left beside one, m; None: not known everywhere.
    unkept
        Boxes that nobody waters yet.
    note
        What else is to be said, in a sentence.
    """

    name: str
    planters: int
    homes: Mapping[str, tuple[float, float]]
    cost: float
    verdicts: Mapping[str, int] = field(default_factory=dict)
    least_m: float | None = None
    unkept: int = 0
    note: str = ""


def alternative_of(pack: SchemePack, name: str, note: str = "") -> Alternative:
    """Sum a scheme up as one of several.

    Parameters
    ----------
    pack
        The scheme.
    name, note
        What sets it apart, and what else is to be said.
    """
    planters = pack.scheme.planters
    widths = [one.site.clear_m for one in planters]
    known = [width for width in widths if width is not None]
    return Alternative(
        name=name,
        planters=len(planters),
        homes={
            one.group: (one.linked_before, one.linked_after)
            for one in pack.scheme.comparison.groups
        },
        cost=pack.total,
        verdicts={
            verdict: sum(one.site.verdict == verdict for one in planters)
            for verdict in ("fits", "ask", "measure")
        },
        least_m=min(known) if known and len(known) == len(widths) else None,
        unkept=sum(one.keeper is None for one in planters),
        note=note,
    )


def alternatives_html(pack: SchemePack, schemes: Sequence[Alternative]) -> Markup:
    """A column a scheme: homes, money, risk, people.

    Parameters
    ----------
    pack
        The scheme that the report is of.
    schemes
        That were compared; empty: nothing is shown.
    """
    if not schemes:
        return Markup()
    know = pack.knowledge
    rows: list[tuple[object, ...]] = [
        (_("Planters"), *(one.planters for one in schemes)),
        (_("Homes that animals can reach"), *(_homes(one, know) for one in schemes)),
        (_("Cost, by the bill"), *(pack.money(one.cost) for one in schemes)),
        (_("Places"), *(_places(one) for one in schemes)),
        (
            _("Least walking width left"),
            *(_least(one) for one in schemes),
        ),
        (_("Boxes that nobody waters yet"), *(one.unkept for one in schemes)),
    ]
    if any(one.note for one in schemes):
        rows.append((_("Also"), *(one.note for one in schemes)))
    return table(
        _("Schemes side by side"), ("", *(one.name for one in schemes)), rows, css="alternatives"
    )


def _homes(one: Alternative, knowledge: Knowledge) -> str:
    won = sorted(one.homes.items(), key=lambda pair: pair[1][0] - pair[1][1])
    said = []
    for group, (before, after) in won[:_ANIMALS]:
        was, now, change = change_words(before, after)
        name = knowledge.groups[group].name.lower()
        said.append(
            _("{name}: {was} to {now}").format(name=name, was=was, now=now)
            if was != now
            else f"{name}: {change}"
        )
    return "; ".join(said)


def _least(one: Alternative) -> str:
    if one.least_m is None:
        return _("not known everywhere")
    return f"{centimetres(one.least_m)} m"


def _places(one: Alternative) -> str:
    words = {
        "fits": _("meet every rule tested"),
        "ask": _("to be asked about"),
        "measure": _("to be measured first"),
    }
    said = [
        f"{number} {words[verdict]}" for verdict, number in one.verdicts.items() if number
    ]  # fmt: skip
    return ", ".join(said) or counted(one.planters, "place")
