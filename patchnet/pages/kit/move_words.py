"""Moves, the ways to make something where room is small, in words."""

from collections.abc import Collection

from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import _
from patchnet.knowledge.moves import Move
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.numbers import UNITS, currency, figure
from patchnet.plan.plot_plan import Candidate

__all__ = ["move_lines"]

_SAID = 2  # moves named for one thing


def move_lines(
    candidate: Candidate,
    knowledge: Knowledge,
    *,
    steps: bool = False,
    owner: bool = False,
    gives_way: Collection[str] = (),
) -> list[str]:
    """The first moves for an addition, a line each: what it takes, whom to ask, how it is undone.

    Parameters
    ----------
    candidate
        The addition.
    knowledge
        For the moves.
    steps
        Whether the steps are told too.
    owner
        Whether the plot is the householder's own: then no owner is asked.
    gives_way
        Keys of covers that give way in the plan. Ways that begin with another cover are left out,
        and so are those that begin with one whose taking up is told elsewhere.
    """
    given = set(gives_way)
    told = given & set(knowledge.taking_up)
    moves = [knowledge.moves[key] for key in candidate.moves]
    return [
        _line(move, knowledge, steps=steps, owner=owner)
        for move in moves
        if not move.there or (given & set(move.there) and not told & set(move.there))
    ][:_SAID]


def _line(move: Move, knowledge: Knowledge, *, steps: bool, owner: bool) -> str:
    unit = UNITS.get(move.unit, "")
    unit_of_money = currency(knowledge)
    cost = (
        _("costs nothing")
        if move.cost.high == 0
        else _("{low} to {high} {money}").format(
            low=figure(move.cost.low), high=figure(move.cost.high), money=unit_of_money
        )
    )
    hours = (
        _("{low} to {high} hours").format(low=figure(move.hours.low), high=figure(move.hours.high))
        if move.hours.high > 0
        else _("no work")
    )
    takes = move.cost.high > 0 or move.hours.high > 0
    said = [
        _("A way: {name}: {cost}, {hours}{each}.").format(
            name=in_sentence(move.name[0]) + move.name[1:],
            cost=cost,
            hours=hours,
            each=_(" for each {unit}").format(unit=unit) if unit and takes else "",
        )
    ]
    if move.soil_depth is not None:
        said.append(_("Soil {depth} cm deep.").format(depth=figure(100 * move.soil_depth.value)))
    if move.ask_first and not (owner and move.tenancy == "ask"):
        said.append(_("Ask first: {whom}.").format(whom=move.ask_first))
    if move.undo:
        said.append(_("To undo it: {undo}.").format(undo=in_sentence(move.undo)))
    elif not move.reversible:
        said.append(_("It is not undone again."))
    if steps:
        said += [step.words for step in move.steps]
        if move.mind:
            said.append(_("Mind: {mind}.").format(mind=move.mind))
    return " ".join(said)
