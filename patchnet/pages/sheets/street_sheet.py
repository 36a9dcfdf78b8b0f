"""The street sheet: who does what, what it wins together, what to buy together; to print."""

from pathlib import Path

from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write, write_text
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.candidate_words import asked_first, cautions_of
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.page import sheet
from patchnet.pages.kit.plan_words import CARD_INDEX, DEFER
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
from patchnet.plan.street_plan import House, StreetPlan

__all__ = ["street_sheet", "write_street_sheet"]


def write_street_sheet(plan: StreetPlan, path: Path | str, *, overwrite: bool = False) -> Path:
    """Write a street's plan as a sheet to read and print, and return the path.

    One HTML file that opens and prints without network. It says what each house would do, so it is
    for the people of the street only.

    Parameters
    ----------
    plan
        From `patchnet.plan_together`.
    path
        The file; its folder must be there.
    overwrite
        Also replace a file that patchnet did not make.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    WrongUse
        If the plan does not know the answer that it was made from.
    CannotWrite
        If it cannot be written, or a file that patchnet did not make stands there.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["mason_bee"])
    >>> plan = patchnet.plan_together(answer, plots=["M15B"])
    >>> patchnet.write_street_sheet(plan, "together.html").name
    'together.html'
    """
    if plan.assessment is None:
        raise WrongUse(_("This plan was not made from an assessment, so no sheet can be drawn."))
    ensure_may_write(path, overwrite=overwrite)
    write_text(path, street_sheet(plan, plan.assessment.knowledge))
    return Path(path)


def street_sheet(plan: StreetPlan, knowledge: Knowledge) -> str:
    """Return the sheet as HTML text."""
    busy = sorted((one for one in plan.houses if one.jobs), key=lambda one: one.order)
    credit = () if plan.assessment is None else plan.assessment.neighbourhood.credits
    return sheet(
        "sheets/street_sheet.html",
        title=_("{name}: what we add together").format(name=plan.name),
        style=asset("sheets/street_sheet.css"),
        heading=_("What {name} adds together").format(name=plan.name),
        eyes=_(OWN_EYES),
        said=street_said(plan),
        won=won_words(plan) if busy else "",
        doubt=doubt_words(plan) if busy else "",
        houses=[_row(one, knowledge) for one in busy],
        look=_(LOOK),
        idle=[one.name for one in plan.houses if not one.jobs],
        gaps=[gap_words(one, knowledge) for one in plan.gaps],
        bought=[bought_words(one, knowledge) for one in plan.together],
        curve=curve_words(plan),
        parts=[
            (one.name, str(one.plots), str(one.taking_part), str(one.jobs), figure(one.homes))
            for one in plan.parts
        ],
        scarce=scarce_words(plan, knowledge),
        cautions=cautions_of([job.candidate for job in plan.jobs], knowledge),
        bound=bound_words(plan) if busy else "",
        index=_(CARD_INDEX),
        defer=_(DEFER),
        credits=" ".join(credit),
    )


def _row(house: House, knowledge: Knowledge) -> dict[str, object]:
    asks = dict.fromkeys(words for job in house.jobs for words in asked_first(job.candidate))
    return {
        "order": house.order,
        "name": house.name,
        "answer": answered(house),
        "jobs": [
            (job_words(house, job, knowledge), job_where_words(job, knowledge))
            for job in house.jobs
        ],
        "part": house_words(house),
        "instead": "" if house.answer == "yes" else instead_words(house.jobs[0], knowledge),
        "takes": takes_words(house, knowledge),
        "asks": list(asks),
    }
