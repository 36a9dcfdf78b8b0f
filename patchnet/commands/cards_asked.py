"""Cards for all plots of a street, as a command was asked for them."""

from collections.abc import Mapping
from functools import partial
from pathlib import Path

from patchnet.commands.asked import (
    assess_for,
    note_made,
    progress_bar,
    read_asked,
    surface_asked,
)
from patchnet.commands.options import Asked
from patchnet.commands.plan_asked import AskedPlan
from patchnet.commands.said import say
from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.pages.kit.street_words import part_told
from patchnet.pages.sheets.plan_cards import Cards, write_cards
from patchnet.plan.street_plan_file import read_street_plan
from patchnet.survey.survey_layers import read_records_if_any

__all__ = ["cards_asked", "ensure_for_all"]


def ensure_for_all(given: Mapping[str, object]) -> None:
    """Refuse what is of one plot where a card for every plot is asked for."""
    wrong = [name for name, value in given.items() if value]
    if wrong:
        raise WrongUse(
            _("--cards is for all plots, so it does not go with {wrong}.").format(
                wrong=", ".join(wrong)
            )
        )


def cards_asked(folder: Path, asked: Asked, wanted: AskedPlan, together: Path | None) -> Cards:
    """Write a card for every plot from what the group may see; `wanted` has no plot."""
    kept = None if together is None else read_street_plan(together)
    neighbourhood, draws = read_asked(asked), wanted.draws
    records = read_records_if_any(asked.file)
    assessment = assess_for(neighbourhood, asked, wanted.groups, wanted.ground, "group")
    if draws.asked is None:
        say(
            _(
                "Cards for all plots are worked out once, with the figures in use: --draws N also "
                "tells how sure each is, and takes N times as long."
            )
        )
    # Noted first: stopped half-way, there are cards that 'patchnet forget' has to list.
    note_made(asked.file, folder, audience="group")
    return write_cards(
        assessment,
        folder,
        refused=[str(plot) for plot in records.forgotten["plot"]],
        street=part_told(kept, neighbourhood.plots.index, asked.knowledge),
        month=wanted.month,
        heights=surface_asked(wanted.surface, neighbourhood, asked.knowledge),
        draws=draws.asked or 0,
        seed=draws.seed,
        cautious=wanted.cautious,
        processes=None,
        progress=partial(progress_bar, doing=_("cards")),
    )
