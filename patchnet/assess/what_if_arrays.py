"""What is handed to the compiled kernels of the trials: one group around one plot."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.sums_by_likeness import RowSums

__all__ = ["Shared", "Tried"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Shared(NamedTuple):
    """Needs of one group around one plot: Q needs, h homes, n plots; the plot itself left out.

    Attributes
    ----------
    takers, givers
        Row sums (n from h) and (h from n) of the reach of each need.
    months
        Shape (Q + 1,): where the months of each need begin in the arrays by month.
    supply
        Shape (months, n), in homes: over the amount one home takes.
    within
        Shape (months, h + 1): supply within reach, in homes.
    share
        Shape (months,): part of the need's mean that the month makes up.
    settled_share
        Shape (Q,): part of the mean made up by months that are met anyway.
    near_home, near_plot
        Shapes (Q, h) and (Q, n): 1 where home or plot is within reach of the plot.
    worst
        Shape (Q,): True where the worst month decides.
    floor, weight
        Shape (Q,).
    """

    takers: RowSums
    givers: RowSums
    months: Ints
    supply: Floats
    within: Floats
    share: Floats
    settled_share: Floats
    near_home: Floats
    near_plot: Floats
    worst: NDArray[np.bool_]
    floor: Floats
    weight: Floats


class Tried(NamedTuple):
    """What is tried: room of all other homes (h,); room and supply of the plot, by trial.

    `whole` and `near_whole`, shapes (h + 1,), are the room within the anchor's reach without the
    plot, and 1 where the plot lies within it. `supply` has shape (months, trials), in homes.
    """

    room: Floats
    whole: Floats
    near_whole: Floats
    plot_room: Floats
    supply: Floats
