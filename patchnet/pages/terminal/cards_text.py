"""The cards of a street, told on the terminal: how many, where, and who has none and why."""

from patchnet.core.texts import _, counted
from patchnet.pages.kit.text_table import paragraph
from patchnet.pages.sheets.plan_cards import Cards

__all__ = ["cards_text"]


def cards_text(cards: Cards) -> str:
    """Say what was written.

    Parameters
    ----------
    cards
        From `patchnet.write_cards`.
    """
    count = len(cards.files)
    written = counted(count, "card")
    lines = [
        _("{written} in {folder}: open index.html there.").format(
            written=written, folder=cards.folder
        )
    ]
    if cards.kept:
        lines.append(
            _("{kept} of them stood there already, made from the same street.").format(
                kept=cards.kept
            )
        )
    lines += [
        _("No card: {plots}. {why}").format(plots=", ".join(plots), why=why)
        for why, plots in cards.reasons.items()
    ]
    if cards.left:
        lines.append(
            _(
                "Out of date, but changed by somebody since, so still there: {left}. Take them "
                "away yourself."
            ).format(left=", ".join(cards.left))
        )
    return "\n".join(paragraph(line) for line in lines) + "\n"
