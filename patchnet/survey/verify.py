"""Whether a street's file still holds together: statements, returns, digests, journal, votes."""

from collections.abc import Iterator, Mapping
from contextlib import closing
from pathlib import Path

import pandas as pd

from patchnet.core.errors import DataFaults
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault
from patchnet.core.geopackage import connect, table_names
from patchnet.core.open_file import trouble
from patchnet.core.street_store import form_of, generation_of, read_journal
from patchnet.core.texts import N_, _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.from_file import local_path
from patchnet.survey.merge import read_with_ids, summed_up
from patchnet.survey.survey_layers import read_records, read_stored
from patchnet.survey.survey_record import Records, digest, listed, state_digest

__all__ = ["verify_street"]

_MEND = N_("Go back to a copy of the file, or merge the returns into the map anew.")


def verify_street(
    path: Path | str,
    *,
    columns: Mapping[str, str] | None = None,
    knowledge: Knowledge | None = None,
) -> tuple[Fault, ...]:
    """Look whether a street's file holds together, and return what is wrong.

    Every statement must lead to a return, every digest must hold, the journal must count on
    without a gap and end in a digest of what is there, and the survey must be what the statements
    come to.

    Parameters
    ----------
    path
        The street, a GeoPackage.
    columns
        As in `patchnet.read_neighbourhood`.
    knowledge
        The tables with which the survey was made; None: those that ship with patchnet.

    Returns
    -------
    tuple of Fault
        Empty where all is well.

    Raises
    ------
    CannotRead
        If it cannot be read at all, or is of a later form.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> patchnet.write_base(base, "street.gpkg")
    >>> patchnet.verify_street("street.gpkg")
    ()
    """
    knowledge = knowledge or load_knowledge()
    source = local_path(path)
    faults = FaultList()
    records = read_records(source)
    journal = read_journal(source)
    for what in (
        *_led_to_returns(records),
        *_digests(records, forgot=bool((journal["what"] == "forget").any())),
        *_journal(journal, records, generation_of(source), form_of(source)),
    ):
        faults.error(source.name, what, _(_MEND))
    try:
        hood, id_column = read_with_ids(source, columns=columns, knowledge=knowledge)
    except DataFaults as error:
        faults.extend(error.faults)
        return faults.faults
    if len(records.statements):
        merged = summed_up(source, hood, records, knowledge=knowledge, id_column=id_column)
        for name, table in (("survey", merged.survey), ("survey_years", merged.years)):
            if not _as_stored(source, name, table):
                faults.error(
                    source.name,
                    _("The layer {name} is not what the statements come to.").format(name=name),
                    _("Merge any return anew: it is worked out anew then."),
                )
    return faults.faults


def _led_to_returns(records: Records) -> Iterator[str]:
    known = set(listed(records.returns["content"]))
    led = set(listed(records.said_in.loc[records.said_in["content"].isin(known), "ident"]))
    for name, key in (("statements", "statement"), ("drawn", "shape")):
        lost = ~getattr(records, name)[key].isin(led)
        if lost.any():
            yield _("{total} rows of {name} lead to no return.").format(
                total=int(lost.sum()), name=name
            )


def _digests(records: Records, *, forgot: bool) -> Iterator[str]:
    for name, key in (("statements", "statement"), ("consent", "answer_id")):
        table = getattr(records, name)
        if forgot:
            # Whose name was taken out when a household was forgotten, has the old digest.
            table = table[table["surveyor"] != ""]
        again = digest(table.drop(columns=key), key)[key]
        wrong = again.to_numpy(dtype=object) != table[key].to_numpy(dtype=object)
        if wrong.any():
            yield _("{total} rows of {name} were changed: their digest does not hold.").format(
                total=int(wrong.sum()), name=name
            )


def _journal(journal: pd.DataFrame, records: Records, generation: int, form: int) -> Iterator[str]:
    if form < 2 or not len(journal):
        return
    numbers = [int(one) for one in journal["generation"]]
    if numbers != list(range(1, len(numbers) + 1)) or numbers[-1] != generation:
        yield _("The journal does not count on without a gap to the last change.")
    last = str(journal["digest"].iloc[-1])
    if last and last != state_digest(records):
        yield _("What is there is not what the last change left: rows were added or taken away.")


def _as_stored(path: Path, name: str, table: pd.DataFrame) -> bool:
    with trouble(path), closing(connect(path)) as there:
        stored = read_stored(there, table_names(there), name, list(table.columns))
    if len(stored) != len(table):
        return False
    for column in table.columns:
        one, other = stored[column], table[column].reset_index(drop=True)
        if pd.api.types.is_float_dtype(one):
            same = (one == other.astype(float)) | (one.isna() & other.astype(float).isna())
        elif pd.api.types.is_integer_dtype(one):
            same = one == other.astype(float).fillna(0)  # as `read_stored` has it
        else:
            same = one.astype(str) == other.astype(str)
        if not bool(same.all()):
            return False
    return True
