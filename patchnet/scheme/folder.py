"""The folder of a scheme read back: its street with the planters as plots."""

from dataclasses import replace
from pathlib import Path

from patchnet.core.fault_list import FaultList
from patchnet.core.table import read_table
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.from_file import read_neighbourhood
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["SCHEME_STREET", "planters_by_place", "read_states"]

SCHEME_STREET = "neighbourhood.gpkg"
"""The street with the planters as plots, as `patchnet.read_neighbourhood` reads it."""


def read_states(
    first: Path | str, second: Path | str, *, knowledge: Knowledge | None = None
) -> tuple[Neighbourhood, Neighbourhood]:
    """Read two states of a neighbourhood, so that `patchnet.compare` finds what is the same.

    Parameters
    ----------
    first, second
        Files of the same neighbourhood, or folders that `patchnet.write_report` wrote. Plots are
        the same where their ids are; planters of two schemes where their places are.
    knowledge
        The tables; None: those that ship with patchnet.

    Returns
    -------
    tuple of Neighbourhood
        The first and the second.

    Raises
    ------
    DataFaults, CannotRead
        As `patchnet.read_neighbourhood`.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> before, after = patchnet.read_states("demo", "demo")
    >>> before.plots.index.equals(after.plots.index)
    True
    """
    knowledge = knowledge or load_knowledge()
    folders = [Path(first), Path(second)]
    schemes = [(folder / SCHEME_STREET).is_file() for folder in folders]
    states = []
    for folder, scheme in zip(folders, schemes, strict=True):
        hood = read_neighbourhood(folder / SCHEME_STREET if scheme else folder, knowledge=knowledge)
        if scheme:
            hood = replace(hood, name=folder.resolve().name)
        states.append(planters_by_place(hood, folder) if all(schemes) else hood)
    return states[0], states[1]


def planters_by_place(hood: Neighbourhood, folder: Path) -> Neighbourhood:
    """Call the planters of a scheme's street by their places, as two schemes number them again.

    A folder without its table of planters leaves the street as it is.

    Parameters
    ----------
    hood
        The street with the planters.
    folder
        That `patchnet.write_report` wrote.
    """
    table = folder / "planters.csv"
    if not table.is_file():
        return hood
    rows = read_table(table, FaultList(), known=("planter", "place")).records()
    places = {row["planter"]: row["place"] for _, row in rows}
    plots = hood.plots.rename(index=places)
    features = hood.features.assign(plot=hood.features["plot"].replace(places))
    answers = replace(hood.answers, plots=plots.index)
    return replace(hood, plots=plots, answers=answers, features=features)
