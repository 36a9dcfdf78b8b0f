"""Answers: what neighbours provide, what is missing, where the breaks are."""

from patchnet.advice.assess import assess
from patchnet.advice.plot import plot_answer
from patchnet.advice.records import (
    ANCHOR,
    Assessment,
    Break,
    Giver,
    GroupAnswer,
    NeedSheet,
    PlotAnswer,
)

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
