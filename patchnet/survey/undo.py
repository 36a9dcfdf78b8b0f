"""A return taken back out of a street: as if it had never been merged."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd

from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.street_store import Entry, generation_of, holding, read_journal
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.from_file import local_path
from patchnet.survey.merge import (
    Merged,
    merge_records,
    only_said,
    read_with_ids,
    summed_up,
    write_merged,
)
from patchnet.survey.photos import drop_photos
from patchnet.survey.survey_layers import read_records
from patchnet.survey.survey_record import Records, listed

__all__ = ["undo_return", "without"]


def undo_return(
    path: Path | str,
    ident: str | None = None,
    target: Path | str | None = None,
    *,
    columns: Mapping[str, str] | None = None,
    knowledge: Knowledge | None = None,
) -> Merged:
    r"""Take a return, or the last change, back out of a street's file.

    Statements are only ever added, so that what is left is exactly what the other returns come
    to, also when others were merged after it; what another return says too stays. A household
    that was forgotten stays forgotten.

    Parameters
    ----------
    path
        The street, a GeoPackage.
    ident
        Id of the return, or its beginning; None: the last merge or answer about consent that
        still counts.
    target
        Where to write; None: the street's own file.
    columns
        As in `patchnet.read_neighbourhood`.
    knowledge
        The tables; None: those that ship with patchnet.

    Returns
    -------
    Merged
        The street after it; ``entry`` says what was taken back.

    Raises
    ------
    WrongUse
        If there is no such return, or nothing that can be taken back.
    CannotRead, CannotWrite, DataFaults
        As reading and writing.

    Examples
    --------
    >>> import patchnet
    >>> from pathlib import Path
    >>> _ = patchnet.write_demo("demo")
    >>> row = "plot,feature,answer,surveyor,date\nM15B,pond,there,Ann,2026-05-09\n"
    >>> _ = Path("ann.csv").write_text(row)
    >>> merged = patchnet.merge_survey("demo", "ann.csv", same_street=True)
    >>> street = patchnet.write_merged(merged, "street.gpkg")
    >>> len(patchnet.undo_return(street).records.statements)
    0
    """
    knowledge = knowledge or load_knowledge()
    source = local_path(path)
    onto = source if target is None else Path(target)
    with holding(onto):
        generation = generation_of(source)
        before = read_records(source)
        entry = _last(read_journal(source), before) if ident is None else _named(before, ident)
        after = without(before, entry.returns, entry.answers)
        hood, id_column = read_with_ids(source, columns=columns, knowledge=knowledge)
        merged = summed_up(
            source, hood, after, knowledge=knowledge,
            new={"statements": len(after.statements) - len(before.statements)},
            id_column=id_column, entry=entry, generation=generation,
        )  # fmt: skip
        write_merged(replace(merged, new={}), onto)
        drop_photos(onto, before, after)
        return merged


def without(records: Records, contents: Sequence[str], answers: Sequence[str] = ()) -> Records:
    """Return the records as they are without some contents of returns and answers about consent.

    Parameters
    ----------
    contents
        Of `records.returns`.
    answers
        Answers about consent that were said to the group.
    """
    gone = records.said_in["content"].isin(list(contents))
    left = records.said_in[~gone]
    lost = (set(listed(records.said_in.loc[gone, "ident"])) - set(listed(left["ident"]))) | set(
        answers
    )
    returns = records.returns[~records.returns["content"].isin(list(contents))]
    return_of = dict(zip(listed(returns["content"]), listed(returns["return"]), strict=True))
    # What two returns say alike stands under the first of them by name.
    first = (
        left.assign(**{"return": left["content"].map(return_of)})
        .groupby("ident")["return"]
        .min()
        .to_dict()
    )
    parts = {}
    for name, key in (
        ("statements", "statement"), ("drawn", "shape"), ("consent", "answer_id"),
        ("missing", "house"),
    ):  # fmt: skip
        table = getattr(records, name)
        kept = table[~table[key].isin(lost)].reset_index(drop=True)
        named = [first.get(one, was) for one, was in zip(kept[key], kept["return"], strict=True)]
        parts[name] = kept.assign(**{"return": pd.Series(named, index=kept.index, dtype=object)})
    rest = replace(
        records,
        returns=returns.reset_index(drop=True),
        said_in=left.reset_index(drop=True),
        **parts,
    )
    return only_said(merge_records(rest, Records()))


def _last(journal: pd.DataFrame, records: Records) -> Entry:
    """Return what the last change that still counts added."""
    contents = set(listed(records.returns["content"]))
    answers = set(listed(records.consent["answer_id"]))
    for row in journal.iloc[::-1].itertuples(index=False):
        if row.what in {"merge", "consent"}:
            returns = tuple(one for one in str(row.returns).split("; ") if one in contents)
            said = tuple(one for one in str(row.answers).split("; ") if one in answers)
            if returns or said:
                return Entry("undo", returns, said)
        elif row.what == "forget":
            raise WrongUse(
                _(
                    "The last change was that a household was forgotten, which cannot be taken "
                    "back. To take back a return that was merged before, name it: 'patchnet "
                    "history FILE' lists them."
                )
            )
    raise WrongUse(_("There is nothing to take back: no merge is written down that still counts."))


def _named(records: Records, ident: str) -> Entry:
    idents = listed(records.returns["return"])
    found = {one for one in idents if one == ident} or {
        one for one in idents if ident and one.startswith(ident)
    }
    if len(found) != 1:
        what = (
            _("There are {n_found} returns").format(n_found=len(found))
            if found
            else _("There is no return")
        )
        raise WrongUse(f"{what} {ident!r}.{nearest_hint(ident, sorted(found or set(idents)))}")
    taken = records.returns["return"].isin(found)
    return Entry("undo", tuple(sorted(listed(records.returns.loc[taken, "content"]))))
