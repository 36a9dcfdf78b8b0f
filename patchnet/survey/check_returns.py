"""Returns checked against the map: words to statements, every one with who, when and from where.

All returns are gone through together, and each different word only once.
"""

import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.core.fault_list import FaultList
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.answers import too_much
from patchnet.read.feature_lists import Problem
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.survey.answer_words import OTHER_PLACE, Reply, read_place, read_reply, read_sure
from patchnet.survey.drawn import check_drawn, undescribed
from patchnet.survey.missing_houses import check_missing
from patchnet.survey.one_return import Return
from patchnet.survey.rows import (
    Asked,
    clean,
    mapped,
    plot_matcher,
    say_problems,
    table_of,
    with_features,
    with_plots,
)
from patchnet.survey.sheet_words import in_english
from patchnet.survey.survey_record import CONSENT, RETURNS, STATEMENTS, Records, digest, listed
from patchnet.survey.times import with_times
from patchnet.survey.to_mend import Unread

__all__ = ["check_returns"]

Places = NDArray[np.intp]
Kinds = NDArray[np.integer[Any]]
Replies = NDArray[np.object_]


def check_returns(
    returns: Sequence[Return],
    neighbourhood: Neighbourhood,
    *,
    knowledge: Knowledge,
    today: date,
    faults: FaultList,
    unread: Unread | None = None,
) -> Records:
    """Make statements of what returns say; what cannot be used is named.

    Parameters
    ----------
    returns
        Returns of this street.
    neighbourhood
        The street: its plots are matched.
    knowledge
        For features, their words and units.
    today
        Dates after it are doubted.
    faults
        List that faults are added to.
    unread
        Gathers the rows that could not be used, whole or in part.

    Returns
    -------
    Records
        Of these returns alone.
    """
    asked = Asked(returns, knowledge, today, faults, unread or Unread())
    idents = [one.ident or f"sheet-{_sheet_digest(one)}" for one in returns]
    match = plot_matcher(neighbourhood.plots)
    frames = [_whole(one) for one in returns]
    table = with_times(with_plots(table_of(frames), match, asked), asked)
    for key, otherwise in (("surveyor", "surveyor"), ("seen_from", "seen_from")):
        heads = np.array([one.about.get(otherwise, "") for one in returns] or [""], dtype=object)
        table[key] = np.where(table[key] == "", heads[table["at"]], table[key])
    table["surveyor"] = mapped(table["surveyor"], lambda text: " ".join(text.split())[:200])
    table["return"] = np.array(idents or [""], dtype=object)[table["at"]]
    consent, consent_at = _consent(table, asked)
    statements, statements_at = _statements(table, asked, neighbourhood)
    # A shape cannot be mended in a table.
    shaped = replace(asked, unread=Unread())
    drawn, drawn_at = check_drawn(neighbourhood, idents, match, shaped)
    missing, missing_at = check_missing(neighbourhood, idents, asked)
    rows = _return_rows(returns, idents, knowledge)
    named = (
        (statements["statement"], statements_at),
        (drawn["shape"], drawn_at),
        (consent["answer_id"], consent_at),
        (missing["house"], missing_at),
    )
    contents = rows["content"].to_numpy(dtype=object)
    said_in = pd.concat(
        [
            pd.DataFrame({"ident": listed(ids), "content": contents[at]}, dtype=object)
            for ids, at in named
        ],
        ignore_index=True,
    ).drop_duplicates(ignore_index=True)
    return Records(
        statements=statements,
        consent=consent,
        drawn=drawn,
        returns=rows,
        said_in=said_in,
        missing=missing,
    )


def _whole(one: Return) -> pd.DataFrame:
    more = undescribed(one)
    return pd.concat([one.said, more], ignore_index=True) if len(more) else one.said


def _consent(table: pd.DataFrame, asked: Asked) -> tuple[pd.DataFrame, Places]:
    rows = table[table["consent"] != ""]

    def read(text: str) -> str | Problem:
        meant = asked.knowledge.table_words.meaning("consent", in_english(text))
        if meant:
            return meant
        what = _(
            "{text!r} is no answer about consent: the plot is treated as without consent."
        ).format(text=text[:40])
        return Problem(what, _("Write yes or no."))

    said = mapped(rows["consent"], read)
    good = np.array([isinstance(one, str) for one in said], dtype=bool)
    say_problems(rows[~good], said[~good], asked, error=True)
    rows = rows[good].assign(consent=said[good])
    named = digest(rows[[key for key in CONSENT if key != "answer_id"]], "answer_id")
    return named, rows["at"].to_numpy(dtype=np.intp)


def _statements(
    table: pd.DataFrame, asked: Asked, neighbourhood: Neighbourhood
) -> tuple[pd.DataFrame, Places]:
    # A row about consent alone says nothing of any feature.
    alone = (table["consent"] != "") & (table["answer"] == "") & (table["amount"] == "")
    table = with_features(table[~alone].reset_index(drop=True), asked)
    know = asked.knowledge
    words = ["feature", "answer", "amount", "unit"]
    kinds = table.groupby(words, sort=False).ngroup().to_numpy()
    first = table[words].drop_duplicates()
    replies = np.empty(len(first), dtype=object)
    for at, (feature, answer, amount, unit) in enumerate(first.itertuples(index=False)):
        replies[at] = read_reply(answer, amount, unit, know.features[feature], know)
    _say_replies(table, kinds, replies, asked)
    taken = np.array([bool(reply.answer) for reply in replies], dtype=bool)
    keep = taken[kinds] if len(table) else np.zeros(0, dtype=bool)
    say_problems(
        table[~keep],
        _unanswered(table[~keep], kinds[~keep], replies),
        asked,
        error=False,
    )
    rows, kinds = table[keep].copy(), kinds[keep]
    rows["answer"] = _of(replies, kinds, lambda reply: reply.answer)
    amounts = _of(replies, kinds, lambda reply: reply.amount)
    rows["amount"] = pd.Series(amounts, index=rows.index, dtype=object).astype(float)
    answered: pd.DataFrame = table.loc[keep]
    rows["amount"] = _that_fit(rows, answered, asked, neighbourhood)
    sure = _of(replies, kinds, lambda reply: reply.sure).astype(bool)
    rows["sure"] = (
        mapped(rows["sure"], partial(read_sure, knowledge=know)).to_numpy(dtype=bool) & sure
    )
    places = mapped(rows["seen_from"], partial(read_place, knowledge=know))
    elsewhere = places == OTHER_PLACE
    note = rows["note"].where(
        ~elsewhere, rows["note"] + _(" (seen from: ") + rows["seen_from"] + ")"
    )
    rows["note"] = note.str.strip()
    rows["seen_from"] = places
    rows["photo"] = mapped(rows["photo"], lambda text: re.split(r"[\\/]", text)[-1][:1000])
    rows["turn"] = rows.groupby(["at", "plot", "feature", "when"], sort=False).cumcount()
    named = digest(rows[[key for key in STATEMENTS if key != "statement"]], "statement")
    return named, rows["at"].to_numpy(dtype=np.intp)


def _that_fit(
    rows: pd.DataFrame, written: pd.DataFrame, asked: Asked, neighbourhood: Neighbourhood
) -> "pd.Series[float]":
    """Return the amounts but for those that their plot cannot hold, which are told.

    No map could be read in which they stand.
    """
    know = asked.knowledge
    place = {key: at for at, key in enumerate(know.features)}
    areas = neighbourhood.plots.geometry.area
    features = rows["feature"].map(place).to_numpy(dtype=np.intp)
    area = areas.reindex(rows["plot"]).to_numpy(dtype=float)
    measured = np.array([one.measure != "count" for one in know.features.values()])[features]
    over = measured & too_much(rows["amount"].to_numpy(dtype=float), features, area, know)
    units = {"m2": "m2", "m": "m"}
    problems = pd.Series(None, index=rows.index, dtype=object)
    for at in np.flatnonzero(over).tolist():
        feature = know.features[rows["feature"].iloc[at]]
        what = _(
            "{feature}: {amount:g} {unit} on a plot of {area:.0f} m2. Kept as there, without an "
            "amount."
        ).format(
            feature=feature.name,
            amount=rows["amount"].iloc[at],
            unit=units[feature.measure],
            area=area[at],
        )
        problems.iloc[at] = Problem(what, _("Mend the amount, or the outline of the plot."))
    say_problems(written, problems, asked, error=False, mend=True)
    return rows["amount"].where(~over)


def _of(
    replies: Replies,
    kinds: Kinds,
    part: Callable[[Reply], object],
) -> Replies:
    values = np.empty(len(replies), dtype=object)
    for at, reply in enumerate(replies):
        values[at] = part(reply)
    return values[kinds]


def _say_replies(
    table: pd.DataFrame,
    kinds: Kinds,
    replies: Replies,
    asked: Asked,
) -> None:
    for place in range(max((len(reply.problems) for reply in replies), default=0)):
        for left_out, whole in ((True, False), (False, False), (False, True)):
            problem = np.empty(len(replies), dtype=object)
            for at, reply in enumerate(replies):
                alike = (reply.left_out, reply.whole) == (left_out, whole)
                if len(reply.problems) > place and alike:
                    problem[at] = reply.problems[place]
            told = pd.Series(problem[kinds], index=table.index)
            say_problems(table, told, asked, error=left_out, mend=not whole)


def _unanswered(
    table: pd.DataFrame,
    kinds: Kinds,
    replies: Replies,
) -> "pd.Series[Any]":
    blank = Problem(
        _("The row has no answer: nothing was taken from it."), _("Fill it in, if seen.")
    )
    told = [None if replies[kind].problems else blank for kind in kinds.tolist()]
    return pd.Series(told, index=table.index, dtype=object)


def _return_rows(
    returns: Sequence[Return], idents: Sequence[str], knowledge: Knowledge
) -> pd.DataFrame:
    rows: list[Mapping[str, object]] = [
        {
            "return": ident,
            "content": _content_digest(one),
            "form": one.form,
            "street": one.street,
            "surveyor": " ".join(clean(one.about.get("surveyor", "")).split()),
            "seen_from": read_place(one.about.get("seen_from", ""), knowledge),
            "began": clean(one.about.get("began", ""))[:40],
            "saved": clean(one.about.get("saved", ""))[:40],
            "damaged": one.damaged,
        }
        for one, ident in zip(returns, idents, strict=True)
    ]
    return pd.DataFrame(rows, columns=list(RETURNS))


def _content_digest(one: Return) -> str:
    said = repr(one.said.drop(columns="row").to_numpy(dtype=object).tolist())
    rest = repr((one.ident, one.street, sorted(one.about.items()), one.drawn))
    if one.missing:
        rest += repr(one.missing)
    return hashlib.sha256((said + rest).encode("utf-8", "replace")).hexdigest()[:16]


def _sheet_digest(one: Return) -> str:
    """Digest of a sheet whatever the order of its rows, for a sheet has no id of its own."""
    lines = sorted(one.said.drop(columns="row").to_csv(index=False, header=False).splitlines())
    return hashlib.sha256("\n".join(lines).encode("utf-8", "replace")).hexdigest()[:12]
