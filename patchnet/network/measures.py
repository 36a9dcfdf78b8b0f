"""Measures of a whole network."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from patchnet.core.errors import WrongUse
from patchnet.core.shown import Shown
from patchnet.core.texts import _
from patchnet.network.adjacency import components
from patchnet.network.hops import hop_sums
from patchnet.network.patch_graph import PatchGraph
from patchnet.network.routes import route_sums

__all__ = ["NetworkMeasures", "flow", "network_measures", "probability_of_connectivity"]


@dataclass(frozen=True, eq=False, repr=False)
class NetworkMeasures(Shown):
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
        The same with 1 / (1 + number of links on the shortest path); NaN where not asked for.
    harary
        Harary index; NaN where not asked for.
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


def network_measures(
    patch_graph: PatchGraph, *, p_cut: float, hops: bool = True, compiled: bool | None = None
) -> NetworkMeasures:
    r"""Measure how well the homes of a neighbourhood hang together.

    With p*_ij the probability of the best route (largest product of link probabilities):

    - PC numerator: :math:`\sum_i \sum_j a_i a_j p^*_{ij}`, i = j and both orders counted
      (Saura and Pascual-Hortal 2007, Landscape and Urban Planning 83:91-103);
    - linked homes, ECA: its root (Saura, Estreguil, Mouton and Rodriguez-Freire 2011,
      Ecological Indicators 11:407-416). max a <= sqrt(sum a^2) <= ECA <= sum a;
    - IIC numerator: :math:`\sum_i \sum_j a_i a_j / (1 + n_{ij})`, n the least number of links
      between i and j (Pascual-Hortal and Saura 2006, Landscape Ecology 21:959-967);
    - Harary index: sum over unordered pairs of 1 / n (Plavsic, Nikolic, Trinajstic and Mihalic
      1993, Journal of Mathematical Chemistry 12:235-250; in landscapes Jordan, Baldi, Orci,
      Racz and Varga 2003, Landscape Ecology 18:83-92);
    - components (Urban and Keitt 2001, Ecology 82:1205-1218) with homes c each: expected
      cluster size :math:`\sum c^2 / \sum c` (O'Brien, Manseau, Fall and Fortin 2006, Biological
      Conservation 130:70-83) and class coincidence :math:`\sum (c / \sum c)^2` (Pascual-Hortal
      and Saura 2006).

    Parameters
    ----------
    patch_graph
        n patches.
    p_cut
        Routes less likely than this (0-1) are left out; `cut_bound` says how much that can matter.
    hops
        Whether IIC and Harary are wanted: they look at all pairs, however far apart.
    compiled
        True, False, or None: whichever is quicker for the size. Both agree to rounding.

    Returns
    -------
    NetworkMeasures
        In the unit of the homes (its square for the numerators); `component` by patch id.

    Raises
    ------
    WrongUse
        If `p_cut` is not a probability below 1.

    Examples
    --------
    Three patches of 2, 1 and 3 homes in a row with gaps of 50 m, at which half arrive:
    4 + 1 + 9 + 2 (2 x 1 / 2 + 1 x 3 / 2 + 2 x 3 / 4) = 22.

    >>> import numpy as np
    >>> from patchnet.movement.distance import Pairs
    >>> from patchnet.network.build import patch_graph
    >>> pairs = Pairs(np.array([0, 1], "i4"), np.array([1, 2], "i4"), np.array([50_000, 50_000]))
    >>> row = patch_graph(["a", "b", "c"], [2, 1, 3], pairs, hop_m=60, d50_m=50)
    >>> measures = network_measures(row, p_cut=0.0001)
    >>> round(measures.pc_numerator, 9), round(measures.eca, 7)
    (22.0, 4.6904158)
    >>> round(measures.iic_numerator, 9), measures.harary, measures.components
    (23.0, 2.5, 1)
    """
    homes = patch_graph.homes
    sums = route_sums(patch_graph, p_cut=p_cut, everywhere=False, compiled=compiled)
    pc_numerator = float(homes @ sums.flow)
    sizes, label = components(patch_graph)
    square, total = float(sizes @ sizes), float(homes.sum())
    shares = sizes / total if total > 0 else sizes  # of sizes whose squares vanish as well
    missed = square - float(homes @ sums.reached)
    iic, harary = np.nan, np.nan
    if hops:
        iic, harary = hop_sums(patch_graph, compiled=compiled)
    return NetworkMeasures(
        pc_numerator=pc_numerator,
        eca=float(np.sqrt(pc_numerator)),
        # below that it is rounding: every pair was reached
        cut_bound=p_cut * missed if missed > 1e-12 * square else 0.0,
        iic_numerator=iic,
        ec_iic=float(np.sqrt(iic)),
        harary=harary,
        components=len(sizes),
        expected_cluster_size=square / total if total > 0 else 0.0,
        largest=float(sizes.max(initial=0.0)),
        mean_size=total / len(sizes) if len(sizes) else 0.0,
        coincidence=float(shares @ shares),
        component=pd.Series(label.astype(int).tolist(), index=patch_graph.ids, dtype="int64"),
    )


def probability_of_connectivity(measures: NetworkMeasures, area: float) -> float:
    """Return PC = PC numerator / area^2 (Saura and Pascual-Hortal 2007).

    Parameters
    ----------
    measures
        Of a network whose patches hold areas.
    area
        Of the whole study area, in the unit the patches have.

    Returns
    -------
    float
        0-1.

    Raises
    ------
    WrongUse
        If the area is not above 0.

    Examples
    --------
    >>> import numpy as np
    >>> from patchnet.movement.distance import Pairs
    >>> from patchnet.network.build import patch_graph
    >>> pairs = Pairs(np.array([0], "i4"), np.array([1], "i4"), np.array([50_000]))
    >>> two = patch_graph(["a", "b"], [1, 1], pairs, hop_m=60, d50_m=50)
    >>> probability_of_connectivity(network_measures(two, p_cut=0.0001), 4)
    0.1875
    """
    if not area > 0:
        raise WrongUse(_("The study area must be above 0, not {area}.").format(area=area))
    return measures.pc_numerator / area**2


def flow(
    patch_graph: PatchGraph, *, p_cut: float, compiled: bool | None = None
) -> "pd.Series[float]":
    """Homes reached from each patch, f_i = sum of a_j p*_ij, its own included.

    Two components joined by one new link u-v of probability p win 2 p f_u f_v in the PC
    numerator, since every new route runs over that link (exact with `p_cut` = 0). The sum of
    a_i f_i is the PC numerator (Saura and Pascual-Hortal 2007).

    Parameters
    ----------
    patch_graph
        n patches; those without homes have a flow as well.
    p_cut
        Routes less likely than this (0-1) are left out.
    compiled
        True, False, or None: whichever is quicker for the size. Both agree to rounding.

    Returns
    -------
    Series
        Index: patch ids.

    Examples
    --------
    >>> import numpy as np
    >>> from patchnet.movement.distance import Pairs
    >>> from patchnet.network.build import patch_graph
    >>> pairs = Pairs(np.array([0], "i4"), np.array([1], "i4"), np.array([50_000]))
    >>> two = patch_graph(["a", "b"], [2, 0], pairs, hop_m=60, d50_m=50)
    >>> flow(two, p_cut=0.0001).to_dict()
    {'a': 2.0, 'b': 1.0}
    """
    sums = route_sums(patch_graph, p_cut=p_cut, compiled=compiled)
    return pd.Series(sums.flow, index=patch_graph.ids, name="flow")
