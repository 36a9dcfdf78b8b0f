"""Answers: what neighbours provide, what is missing, where the breaks are."""

from patchnet.assess.assess import assess
from patchnet.assess.assessment import (
    ANCHOR,
    Assessment,
    Break,
    Giver,
    GroupAnswer,
    NeedSheet,
    PlotAnswer,
)
from patchnet.assess.plot import plot_answer

__all__ = [
    "ANCHOR",
    "Assessment",
    "Break",
    "Giver",
    "GroupAnswer",
    "NeedSheet",
    "PlotAnswer",
    "assess",
    "plot_answer",
]
