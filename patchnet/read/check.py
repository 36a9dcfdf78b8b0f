"""Checking a file: every fault, and how much there is and is known."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault
from patchnet.core.shown import Shown
from patchnet.core.texts import _, counted
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.build import neighbourhood_of
from patchnet.read.from_file import local_path
from patchnet.read.layers import LAYERS, Layers, read_layers
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["CheckReport", "check_file"]


@dataclass(frozen=True, eq=False, repr=False)
class CheckReport(Shown):
    """What a check found.

    Attributes
    ----------
    faults
        Errors and warnings, in the order they were found.
    counts
        Layer -> rows; ``"feature table rows"`` are those of tables without geometry.
    there_share, not_there_share, not_known_share
        Shares of all answers (plots x features) of each kind, 0-1; NaN without plots.
    neighbourhood
        None where there are errors.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> patchnet.check_file("demo").summary[:16]
    'Read: 127 plots,'
    """

    faults: tuple[Fault, ...]
    counts: Mapping[str, int]
    there_share: float
    not_there_share: float
    not_known_share: float
    neighbourhood: Neighbourhood | None

    @property
    def errors(self) -> int:
        """Number of errors."""
        return sum(fault.severity == "error" for fault in self.faults)

    @property
    def summary(self) -> str:
        """One paragraph: what there is, how much is known, and what comes next."""
        layers = ", ".join(f"{count} {name}" for name, count in self.counts.items())
        lines = [_("Read: {layers}.").format(layers=layers or "nothing")]
        if not np.isnan(self.not_known_share):
            lines.append(
                _(
                    "Of all answers {there_share:.0%} are there, {not_there_share:.0%} not there, "
                    "{not_known_share:.0%} not known."
                ).format(
                    there_share=self.there_share,
                    not_there_share=self.not_there_share,
                    not_known_share=self.not_known_share,
                )
            )
        if self.neighbourhood is not None:
            lines.append(_lies(self.neighbourhood))
        warnings = len(self.faults) - self.errors
        if self.errors:
            lines.append(
                _("{errors} to mend, {warnings}.").format(
                    errors=counted(self.errors, "error"), warnings=counted(warnings, "warning")
                )
            )
        else:
            lines.append(
                _("No errors, {warnings}: it can be mapped.").format(
                    warnings=counted(warnings, "warning")
                )
            )
        return " ".join(lines)


def check_file(
    path: Path | str,
    *,
    features: Path | str | None = None,
    columns: Mapping[str, str] | None = None,
    crs: str | None = None,
    knowledge: Knowledge | None = None,
) -> CheckReport:
    """List every fault of a file; the parameters are those of `read_neighbourhood`.

    Parameters
    ----------
    path, features, columns, crs, knowledge
        As in `patchnet.read_neighbourhood`.

    Returns
    -------
    CheckReport
        Every error and warning, how much there is, and how much of it is known.

    Raises
    ------
    CannotRead
        If a file is missing, damaged, locked, or of a kind that is not read.
    WrongUse
        If `columns` names a field, or `crs` a system, that does not exist.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> patchnet.check_file("demo").errors
    0
    """
    knowledge = knowledge or load_knowledge()
    faults = FaultList()
    layers = read_layers(
        local_path(path), None if features is None else local_path(features), faults
    )
    found = neighbourhood_of(layers, columns=columns, crs=crs, knowledge=knowledge, faults=faults)
    shares = (np.nan, np.nan, np.nan)
    if found is not None:
        # What nobody can see from outside is no question that is left open.
        unseen = [feature.unseen for feature in knowledge.features.values()]
        amount = found.answers.amount
        amount = amount[~(np.isnan(amount) & np.array(unseen))]
        shares = (
            float((amount > 0).mean()),
            float((amount == 0).mean()),
            float(np.isnan(amount).mean()),
        )
    return CheckReport(faults.faults, _counts(layers), *shares, None if faults.errors else found)


def _counts(layers: Layers) -> dict[str, int]:
    counts = {key: len(one.table) for key in LAYERS if (one := getattr(layers, key)) is not None}
    if layers.tables:
        counts["feature table rows"] = sum(len(one.table) for one in layers.tables)
    return counts


def _lies(neighbourhood: Neighbourhood) -> str:
    """Where on Earth the plots lie, so that a wrong place is noticed."""
    world = neighbourhood.plots.geometry.to_crs(4326).total_bounds
    lon, lat = (world[0] + world[2]) / 2, (world[1] + world[3]) / 2
    north = f"{abs(lat):.2f}° {'N' if lat >= 0 else 'S'}"
    east = f"{abs(lon):.2f}° {'E' if lon >= 0 else 'W'}"
    return _("They lie at {north}, {east}.").format(north=north, east=east)
