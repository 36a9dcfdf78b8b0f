"""The survey of an earlier base, kept where the new base is of the same street."""

from dataclasses import replace
from pathlib import Path

from patchnet.core.errors import DataFaults
from patchnet.core.street_store import Entry
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.from_file import read_neighbourhood
from patchnet.survey.merge import summed_up, write_merged
from patchnet.survey.one_return import street_id
from patchnet.survey.survey_layers import carry_standing, read_records_if_any

__all__ = ["keep_survey"]


def keep_survey(
    earlier: Path | str, base: Path | str, *, knowledge: Knowledge | None = None
) -> int:
    """Lay the survey of an earlier base into a new one, and let it take the same returns.

    Sheets and pages that were made from the earlier base carry its id of the street. Where most
    plots kept their numbers, the new base takes them too; every statement, answer about consent
    and household that is to be forgotten goes with it, and so do the journal, the units and
    the ledger of public tables, and the list of what was made. Statements about plots that are
    gone stay in the record and count for nothing.

    Parameters
    ----------
    earlier
        The earlier base; stays as it is.
    base
        The new base, a GeoPackage; rewritten where there is something to keep.
    knowledge
        For ``base_same_street_share``.

    Returns
    -------
    int
        How many statements were kept.

    Raises
    ------
    CannotRead, CannotWrite
        If a file cannot be read or written.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> patchnet.write_base(base, "old.gpkg")
    >>> patchnet.write_base(base, "new.gpkg")
    >>> patchnet.keep_survey("old.gpkg", "new.gpkg")
    0
    """
    knowledge = knowledge or load_knowledge()
    before = read_records_if_any(Path(earlier))
    new = read_neighbourhood(base, knowledge=knowledge)
    try:
        old = read_neighbourhood(earlier, knowledge=knowledge)
    except DataFaults:
        return 0
    shared = len(new.plots.index.intersection(old.plots.index))
    least = knowledge.setting("base_same_street_share")
    if shared <= least * min(len(new.plots), len(old.plots)):
        return 0
    here = street_id(new)
    streets = tuple(sorted({here, street_id(old), *before.streets}))
    carry_standing(Path(earlier), Path(base))
    if streets == (here,) and before.are_none:
        return 0
    records = replace(before, streets=streets)
    merged = summed_up(
        Path(base), new, records, knowledge=knowledge, id_column="id", entry=Entry("new base")
    )
    write_merged(merged, base)
    return len(records.statements)
