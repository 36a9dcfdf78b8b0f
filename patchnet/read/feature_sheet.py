"""What one source says about the features of each plot, and several sources combined.

A source is the plots layer's own columns, a CSV, or the mapped features. Within one source
``pond`` and ``no pond`` of the same plot contradict each other and are an error. Between two
sources *there* is taken (a thing drawn or written down was seen by somebody; a thing is easily
overlooked) and a warning says so. Where both give an amount the larger is taken: they are the
same pond, described twice. Only what a survey came to overrules the others: its later look at a
thing is taken, also where that is *not known* because people differ.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from patchnet.core.fault_list import FaultList, Place
from patchnet.core.texts import _
from patchnet.read.feature_lists import Said

__all__ = ["Sheet", "lay_together"]


class Sheet:
    """What one source says.

    Attributes
    ----------
    there, absent, unknown
        Shape (n, F): said to be there, not there, not known.
    amount
        Shape (n, F), feature's own unit; NaN where no amount is said.
    sure
        Shape (n, F): False where every mention is in doubt.
    everything
        Shape (n,): whether what is not mentioned was looked for and is not there.
    mentioned
        Shape (n,): whether the source has anything to say of the plot.
    lists
        Whether it lists what is there, so that it says nothing of what it does not list.
    overrules
        Whether what it says counts in place of what other sources say of the same thing.
    place
        (plot, feature) -> source, and row in it, where it was said.
    """

    def __init__(self, where: str, plots: int, features: Sequence[str]) -> None:
        self.where = where
        self._at = {key: at for at, key in enumerate(features)}
        shape = (plots, len(features))
        self.there = np.zeros(shape, dtype=bool)
        self.absent = np.zeros(shape, dtype=bool)
        self.unknown = np.zeros(shape, dtype=bool)
        self.amount = np.full(shape, np.nan)
        self.sure = np.ones(shape, dtype=bool)
        self.everything = np.zeros(plots, dtype=bool)
        self.mentioned = np.zeros(plots, dtype=bool)
        self.lists = False
        self.overrules = False
        self.place: dict[tuple[int, int], tuple[str, Place]] = {}

    @property
    def says(self) -> NDArray[np.bool_]:
        """Shape (n, F): whether it says anything of a feature."""
        return self.there | self.absent | self.unknown

    def without(self, cells: NDArray[np.bool_]) -> "Sheet":
        """Return a copy that says nothing of some features, shape (n, F)."""
        copy = Sheet(self.where, len(self.everything), tuple(self._at))
        copy.there, copy.absent = self.there & ~cells, self.absent & ~cells
        copy.unknown = self.unknown & ~cells
        copy.amount = np.where(cells, np.nan, self.amount)
        copy.sure = self.sure | cells
        copy.everything, copy.mentioned = self.everything, self.mentioned
        copy.lists, copy.place = self.lists, self.place
        return copy

    def add(self, plot: int, said: Said, place: Place, *, add_up: bool, faults: FaultList) -> None:
        """Note down one thing said; amounts of the same feature add up, or the larger counts."""
        cell = plot, self._at[said.feature]
        self.mentioned[plot] = True
        if said.answer == "not known":
            self.unknown[cell] = True
            return
        if said.answer == "there":
            self.sure[cell] = said.sure or (self.there[cell] and self.sure[cell])
        elif not self.there[cell]:
            self.sure[cell] = said.sure
        (self.there if said.answer == "there" else self.absent)[cell] = True
        if self.there[cell] and self.absent[cell]:
            faults.error(
                self.where,
                _("'{feature}' is said to be there and not to be there.").format(
                    feature=said.feature
                ),
                _("Delete one of the two."),
                row=place[0],
                ident=place[1],
            )
        if said.amount is not None:
            before = self.amount[cell]
            if np.isnan(before):
                self.amount[cell] = said.amount
            else:
                self.amount[cell] = before + said.amount if add_up else max(before, said.amount)
        self.place[cell] = self.where, place


def lay_together(
    sheets: Sequence[Sheet],
    idents: Sequence[str],
    features: Sequence[str],
    faults: FaultList,
) -> Sheet:
    """Combine the sheets of several sources (see the module's text).

    Parameters
    ----------
    sheets
        At least one, all of the same plots and features.
    idents
        Id of each plot, for the warnings.
    features
        Feature keys.
    faults
        List that contradictions between two sources are added to, as warnings.
    """
    for strong in [sheet for sheet in sheets if sheet.overrules]:
        sheets = [one if one is strong else one.without(strong.says) for one in sheets]
    whole = Sheet(sheets[0].where, len(idents), features)
    whole.sure[:] = False
    for sheet in sheets:
        whole.there |= sheet.there
        whole.absent |= sheet.absent
        whole.unknown |= sheet.unknown
        whole.everything |= sheet.everything
        whole.mentioned |= sheet.mentioned
        whole.amount = np.fmax(whole.amount, sheet.amount)
        whole.place |= sheet.place
    for sheet in sheets:
        disputed = sheet.absent & whole.there & ~sheet.there
        rows: list[tuple[Place, str]] = []
        for plot, at in np.argwhere(disputed).tolist():
            others = ", ".join(s.where for s in sheets if s.there[plot, at])
            what = _(
                "'{feature}' is not there on plot {ident} by {where}, but there by {others}: we "
                "took it as there."
            ).format(feature=features[at], ident=idents[plot], where=sheet.where, others=others)
            rows.append((sheet.place[plot, at][1], what))
        faults.warn_rows(
            sheet.where,
            rows,
            together=_(
                "{n} features are said not to be there, but are there by another source, "
                "and were taken as there."
            ),
            mend=_("Mend the one that is wrong."),
        )
    whole.absent &= ~whole.there
    for sheet in sheets:
        whole.sure |= sheet.sure & np.where(whole.there, sheet.there, sheet.absent)
    whole.sure |= ~(whole.there | whole.absent)
    return whole
