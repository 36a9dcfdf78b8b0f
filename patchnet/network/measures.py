"""Measures of a whole network."""

from dataclasses import dataclass

import pandas as pd

__all__ = ["NetworkMeasures"]


@dataclass(frozen=True, eq=False)
class NetworkMeasures:
    """Measures of one patch graph.

    Attributes
    ----------
    pc_numerator
        Sum over ordered pairs of a_i a_j p*_ij, own pairs included.
    eca
        Linked homes (equivalent connected amount), the root of `pc_numerator`, in homes.
    cut_bound
        Upper bound on what `pc_numerator` misses because routes with p* below the cut were
        left out.
    iic_numerator, ec_iic
        The same with 1 / (1 + number of links on the shortest path).
    harary
        Harary index.
    components
        Number of connected groups, isolated patches counted.
    expected_cluster_size
        Sum of c^2 / sum of c over the components' homes c; 0 where no homes.
    largest, mean_size
        Homes in the largest component, and on average.
    coincidence
        Class coincidence probability: sum of (c / total)^2.
    component
        Component number of each patch (index: patch ids), 0 = the one with most homes.
    """

    pc_numerator: float
    eca: float
    cut_bound: float
    iic_numerator: float
    ec_iic: float
    harary: float
    components: int
    expected_cluster_size: float
    largest: float
    mean_size: float
    coincidence: float
    component: "pd.Series[int]"
