"""What was changed in a street's file, for the terminal."""

import pandas as pd

from patchnet.core.texts import N_, Words, _
from patchnet.pages.kit.text_table import text_table
from patchnet.survey.merge import Merged
from patchnet.survey.survey_record import Records, listed

__all__ = ["history_text", "undone_text"]

_WORDS: Words[str, str] = Words(
    {
        "merge": N_("merged"),
        "consent": N_("an answer about consent"),
        "forget": N_("a household was forgotten"),
        "undo": N_("taken back"),
        "new base": N_("carried into a new base"),
        "earlier form": N_("a file of an earlier form, without a journal"),
    }
)


def history_text(journal: pd.DataFrame, records: Records) -> str:
    """Return one line a change, and one more for each return of it.

    Parameters
    ----------
    journal
        Columns `street_store.JOURNAL`.
    records
        What is in the file now: returns that were taken back have no name any more.
    """
    if not len(journal):
        return _("Nothing is written down in this file yet: the next change begins its journal.\n")
    named = dict(
        zip(listed(records.returns["content"]), listed(records.returns["return"]), strict=True)
    )
    rows = []
    for row in journal.itertuples(index=False):
        contents = [one for one in str(row.returns).split("; ") if one]
        told = [named.get(one, _("taken back ({one})").format(one=one)) for one in contents] or [""]
        words = _WORDS.get(str(row.what), str(row.what))
        rows.append([str(row.generation), str(row.day), words, told[0]])
        rows += [["", "", "", one] for one in told[1:]]
    return text_table([["change", "day", "what", "return"], *rows], header=True) + "\n"


def undone_text(merged: Merged) -> str:
    """Return what was taken back, in a sentence."""
    count = -merged.new.get("statements", 0)
    returns, answers = len(merged.entry.returns), len(merged.entry.answers)
    parts = []
    if returns:
        parts.append(
            _("1 return") if returns == 1 else _("{returns} returns").format(returns=returns)
        )
    if answers:
        parts.append(
            _("1 answer about consent")
            if answers == 1
            else _("{answers} answers").format(answers=answers)
        )
    gone = _("1 statement") if count == 1 else _("{count:,} statements").format(count=count)
    return _("Taken back: {parts}; {gone} went with it. The rest is as it was.\n").format(
        parts=_(" and ").join(parts), gone=gone
    )
