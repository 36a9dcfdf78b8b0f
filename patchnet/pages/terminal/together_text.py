"""A street's plan in words for a terminal, and as JSON."""

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.candidate_words import asked_first, cautions_of
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.plan_words import CHOSEN, DEFER, INDEX
from patchnet.pages.kit.street_words import (
    LOOK,
    OWN_EYES,
    answered,
    bought_words,
    bound_words,
    curve_words,
    doubt_words,
    gap_words,
    house_words,
    instead_words,
    job_where_words,
    job_words,
    scarce_words,
    street_said,
    takes_words,
    won_words,
)
from patchnet.pages.kit.text_table import paragraph, text_table
from patchnet.pages.terminal.json_text import json_text
from patchnet.plan.street_plan import House, StreetPlan
from patchnet.plan.street_plan_file import plan_record

__all__ = ["together_json", "together_text"]

_BOUGHT = 8  # things that several houses add, told in the text
_CAUTIONS = 12


def together_json(plan: StreetPlan) -> str:
    """The plan as JSON, as `patchnet.plan.street_plan_file.plan_record` has it.

    Parameters
    ----------
    plan
        From `patchnet.plan_together`.
    """
    return json_text(plan_record(plan))


def together_text(plan: StreetPlan, knowledge: Knowledge) -> str:
    """The plan in words: what the street wins, then house by house.

    Parameters
    ----------
    plan
        From `patchnet.plan_together`.
    knowledge
        For the names.
    """
    said = [won_words(plan), doubt_words(plan)] if plan.jobs else []
    parts = [
        _("What {name} adds together").format(name=plan.name),
        paragraph(" ".join(one for one in (street_said(plan), *said) if one)),
        _houses(plan, knowledge),
        _section(
            _("GAPS IN FENCES, on one Saturday"), [gap_words(x, knowledge) for x in plan.gaps]
        ),
        _section(
            _("BEST BOUGHT OR DONE TOGETHER"),
            [bought_words(one, knowledge) for one in plan.together[:_BOUGHT]],
        ),
        _curve(plan),
        _parts(plan),
        _section(_("STILL SCARCE AFTERWARDS"), scarce_words(plan, knowledge)),
        _section(_("ASK FIRST"), _asks(plan)),
        _section(
            _("TAKE CARE"),
            cautions_of([job.candidate for job in plan.jobs], knowledge)[:_CAUTIONS],
        ),
        paragraph(bound_words(plan)) if plan.jobs else "",
        paragraph(_(CHOSEN)),
        paragraph(_(INDEX)),
        paragraph(_(DEFER)),
        paragraph(_(OWN_EYES)),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _section(title: str, lines: list[str]) -> str:
    return "\n".join([title, *(paragraph(one, indent="  ", then="    ") for one in lines)]) * bool(
        lines
    )


def _houses(plan: StreetPlan, knowledge: Knowledge) -> str:
    busy = sorted((one for one in plan.houses if one.jobs), key=lambda one: one.order)
    if not busy:
        return _("Nothing that fits wins anything.")
    lines = [_("WHO DOES WHAT, those first that win most whatever comes later")]
    for one in busy:
        lines += _house(one, knowledge)
    lines.append(paragraph(_(LOOK), indent="  "))
    return "\n".join(lines)


def _house(house: House, knowledge: Knowledge) -> list[str]:
    head = _("{order}. {name} ({answer}):").format(
        order=house.order, name=house.name, answer=answered(house)
    )
    lines = [paragraph(head, indent="  ", then="     ")]
    for job in house.jobs:
        words = _("{thing}. {where}").format(
            thing=job_words(house, job, knowledge), where=job_where_words(job, knowledge)
        )
        lines.append(paragraph(words, indent="     - ", then="       "))
    lines.append(paragraph(house_words(house), indent=" " * 5))
    if house.answer != "yes":
        lines.append(paragraph(instead_words(house.jobs[0], knowledge), indent=" " * 5))
    lines.append(
        paragraph(
            takes_words(house, knowledge),
            indent=" " * 5,
        )
    )
    return lines


def _asks(plan: StreetPlan) -> list[str]:
    """What must be answered first, and by whom."""
    asked: dict[str, list[str]] = {}
    for house in plan.houses:
        for words in dict.fromkeys(w for job in house.jobs for w in asked_first(job.candidate)):
            asked.setdefault(words, []).append(house.name)
    return [
        _("{words} ({names})").format(words=words, names="; ".join(names))
        for words, names in asked.items()
    ]


def _curve(plan: StreetPlan) -> str:
    rows = curve_words(plan)
    if not rows:
        return ""
    title = _("THE FIRST HOUSES bring of the whole")
    return "\n".join([title, text_table(rows, indent="  ")])


def _parts(plan: StreetPlan) -> str:
    if len(plan.parts) < 2:
        return ""
    rows = [
        (_("Part"), _("Plots"), _("Take part"), _("Jobs"), _("Homes more there")),
        *(
            (one.name, str(one.plots), str(one.taking_part), str(one.jobs), figure(one.homes))
            for one in plan.parts
        ),
    ]
    return "\n".join([_("WHO IS SERVED HOW MUCH"), text_table(rows, indent="  ", header=True)])
