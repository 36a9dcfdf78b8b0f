"""What would be lost without a patch, or without a link: exact, for all of them at once."""

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pandas as pd
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse import csgraph

from patchnet.core.compiled import in_threads, use_compiled
from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.network.adjacency import Links, components, links_of, matrix_of
from patchnet.network.patch_graph import PatchGraph
from patchnet.network.prune import needed_links
from patchnet.network.routes import cut_length, only, route_sums

__all__ = [
    "Losses", "Weights", "importance_parts", "link_importance", "losses_from", "patch_importance",
    "route_weights",
]  # fmt: skip

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_COMPILE_FROM = 250  # patches; beyond them a first compilation (4 s) pays off
_BLOCKS = 64  # sums are added up block by block, whatever the number of threads
_SMALLEST = 16  # sources a block


def patch_importance(
    patch_graph: PatchGraph, *, p_cut: float, compiled: bool | None = None
) -> pd.DataFrame:
    r"""Percent of the PC numerator that is lost when each patch goes, and its three parts.

    :math:`dPC_k = 100\,(PC - PC_{without\ k}) / PC` with all best routes found again, split
    into what the patch holds (own, :math:`a_k^2`), what comes and goes there (flow,
    :math:`2 \sum_{j \ne k} a_k a_j p^*_{kj}`) and what passes through and cannot go another way
    (connector, >= 0), each in percent of the PC numerator (Saura and Rubio 2010, Ecography
    33:523-537; there intra, flux, connector).

    Exact for all patches without doing everything again for each: links are pruned so that
    routes stay right when any one patch goes, and from each source only the routes that hang
    on a patch are found again.

    Parameters
    ----------
    patch_graph
        n patches.
    p_cut
        Routes less likely than this (0-1) are left out, before and after.
    compiled
        True, False (take each patch out in turn), or None: whichever is quicker for the size.
        Both agree to rounding.

    Returns
    -------
    DataFrame
        Index: patch ids; columns ``loss``, ``own``, ``flow``, ``connector``, percent. All 0
        where there are no homes at all.

    Examples
    --------
    Three patches of 2, 1 and 3 homes in a row, half arrive after each gap, no way round: the
    middle one carries 2 x (2 x 3 x 1/4) = 3 of 22, 13.636 %.

    >>> import numpy as np
    >>> from patchnet.movement.distance import Pairs
    >>> from patchnet.network.build import patch_graph
    >>> pairs = Pairs(np.array([0, 1], "i4"), np.array([1, 2], "i4"), np.array([50_000, 50_000]))
    >>> row = patch_graph(["a", "b", "c"], [2, 1, 3], pairs, hop_m=60, d50_m=50)
    >>> patch_importance(row, p_cut=0.0001).round(3)
         loss     own    flow  connector
    a  40.909  18.182  22.727      0.000
    b  40.909   4.545  22.727     13.636
    c  68.182  40.909  27.273      0.000
    """
    homes = patch_graph.homes
    wanted = _wanted(patch_graph, compiled)
    needed = needed_links(links_of(patch_graph), witnesses=2, compiled=wanted)
    robust = replace(
        patch_graph,
        i=patch_graph.i[needed],
        j=patch_graph.j[needed],
        length_mm=patch_graph.length_mm[needed],
    )
    found = losses_from(robust, np.flatnonzero(homes > 0), p_cut=p_cut, compiled=wanted)
    return pd.DataFrame(importance_parts(homes, found), index=patch_graph.ids)


class Losses(NamedTuple):
    """What goes with each patch of the routes from some sources, and what these reach.

    Attributes
    ----------
    lost
        Shape (n,): for each patch the sum of a_s a_t (p*_st - p*_st without it) over the sources
        s and all t, of routes neither from nor to it; homes squared.
    reached
        Shape (n,): for each source the sum of a_t p*_st over all t, itself too; 0 elsewhere.
    """

    lost: Floats
    reached: Floats


def losses_from(
    patch_graph: PatchGraph,
    sources: Ints,
    *,
    p_cut: float,
    compiled: bool | None = None,
    threads: int | None = None,
) -> Losses:
    """Find what is lost of the routes from some patches when each patch goes.

    Sums of the sources of several parts add up to those of all; see
    `patchnet.network.importance_in_parts`.

    Parameters
    ----------
    patch_graph
        n patches. All its links are looked at: leave out beforehand those that are not needed
        when any one patch goes (`needed_links` with two witnesses).
    sources
        Shape (s,): positions of the patches that routes start from, ascending.
    p_cut
        Routes less likely than this (0-1) are left out, before and after.
    compiled
        True, False (take each patch out in turn), or None: whichever is quicker for the size.
    threads
        How many; None: one a core. The sums are the same.

    Returns
    -------
    Losses
        Two arrays of shape (n,).
    """
    if _wanted(patch_graph, compiled):
        found = _compiled_losses(
            links_of(patch_graph), patch_graph, p_cut, sources, patches=True, threads=threads
        )
        return Losses(found.of_patch, found.reached)
    return _plain_losses(patch_graph, sources, p_cut)


def importance_parts(homes: Floats, losses: Losses) -> dict[str, Floats]:
    """Return the columns of `patch_importance`, from what all sources lose and reach.

    Parameters
    ----------
    homes
        Shape (n,).
    losses
        Of all patches that have homes.

    Returns
    -------
    dict
        ``loss``, ``own``, ``flow`` and ``connector``, shape (n,), percent of the PC numerator.
    """
    pc_numerator = float(homes @ losses.reached)
    percent = 100 / pc_numerator if pc_numerator > 0 else 0.0
    own = homes**2 * percent
    flow = 2 * homes * (losses.reached - homes) * percent
    connector = np.maximum(losses.lost, 0.0) * percent
    return {"loss": own + flow + connector, "own": own, "flow": flow, "connector": connector}


def link_importance(
    patch_graph: PatchGraph, *, p_cut: float, compiled: bool | None = None
) -> pd.DataFrame:
    """Percent of the PC numerator that is lost when each link is cut, all routes found again.

    The measure of Saura and Rubio (2010, Ecography 33:523-537) for links: a link holds nothing
    itself, so all it can lose is what passes over it and cannot go another way. A superfluous
    link (see `patchnet.network.prune`) loses nothing.

    Parameters
    ----------
    patch_graph
        m links.
    p_cut
        Routes less likely than this (0-1) are left out, before and after.
    compiled
        True, False (take each link out in turn), or None: whichever is quicker for the size.

    Returns
    -------
    DataFrame
        One row a link, in the order of the patch graph: ``from``, ``to`` (patch ids),
        ``length_m``, ``loss`` (percent).

    Examples
    --------
    Two patches of 1 home with half arriving: 1 + 1 + 2 x 1/2 = 3; without the link 2.

    >>> import numpy as np
    >>> from patchnet.movement.distance import Pairs
    >>> from patchnet.network.build import patch_graph
    >>> pairs = Pairs(np.array([0], "i4"), np.array([1], "i4"), np.array([50_000]))
    >>> two = patch_graph(["a", "b"], [1, 1], pairs, hop_m=60, d50_m=50)
    >>> link_importance(two, p_cut=0.0001).round(3)
      from to  length_m    loss
    0    a  b      50.0  33.333
    """
    homes = patch_graph.homes
    sums = route_sums(patch_graph, p_cut=p_cut, everywhere=False, compiled=compiled)
    pc_numerator = float(homes @ sums.flow)
    # A superfluous link has a way round, whether or not it has a second one.
    needed = needed_links(links_of(patch_graph), compiled=compiled)
    if _wanted(patch_graph, compiled):
        robust = needed_links(links_of(patch_graph), witnesses=2, compiled=True)
        links = only(links_of(patch_graph), robust)
        sources = np.flatnonzero(homes > 0)
        found = _compiled_losses(links, patch_graph, p_cut, sources, patches=False)
        lost = np.zeros(len(patch_graph.i))
        lost[robust] = found.of_link
        lost[~needed] = 0.0
    else:
        lost = _plain_link_losses(patch_graph, needed, p_cut)
    percent = 100 / pc_numerator if pc_numerator > 0 else 0.0
    return pd.DataFrame(
        {
            "from": patch_graph.ids[patch_graph.i],
            "to": patch_graph.ids[patch_graph.j],
            "length_m": patch_graph.length_mm / 1000,
            "loss": np.maximum(lost, 0.0) * percent,
        }
    )


class Weights(NamedTuple):
    """Lengths as positive whole numbers that a heap can hold (see `route_weights`)."""

    weight: Ints
    cut: int
    shift: int
    bits: int


def route_weights(links: Links, lengths: Ints, cut: int) -> Weights:
    """Turn `lengths` of `links`, and the longest route allowed, into weights.

    The bits above `shift` are the length; a link of length 0 weighs 1, so that routes never
    go in circles and, of equally long ones, those with fewest such links count as best. A key
    on the heap has the node in `bits` more bits.

    Parameters
    ----------
    links
        m links between n nodes.
    lengths
        Shape (m,), whole millimetres.
    cut
        Longest route allowed, whole millimetres.

    Raises
    ------
    WrongUse
        If a route could be too long to be added up.
    """
    # A route takes fewer links of length 0 than there are nodes.
    shift = links.n.bit_length() if (links.length == 0).any() else 0
    bits = max(1, links.n.bit_length())
    step = int(links.length.max(initial=0))
    longest = min(cut, step * links.n)
    if (longest + step + 1).bit_length() + shift + bits > 62:
        raise WrongUse(_("The links are too many or too long to be added up in millimetres."))
    return Weights(
        np.where(lengths == 0, 1, lengths << shift), ((longest + 1) << shift) - 1, shift, bits
    )


def _wanted(patch_graph: PatchGraph, compiled: bool | None) -> bool:  # noqa: FBT001 - private
    return use_compiled(compiled=compiled, worthwhile=len(patch_graph.ids) > _COMPILE_FROM)


class _Sums(NamedTuple):
    of_patch: Floats
    of_link: Floats
    reached: Floats


def _compiled_losses(
    links: Links,
    patch_graph: PatchGraph,
    p_cut: float,
    sources: Ints,
    *,
    patches: bool,
    threads: int | None = None,
) -> _Sums:
    from patchnet.network import importance_kernels, kernels  # noqa: PLC0415 - imports numba

    table = kernels.adjacency(links)
    homes = patch_graph.homes
    weights = route_weights(links, table.length, cut_length(patch_graph.d50_m, p_cut))
    size = max(_SMALLEST, -(-len(sources) // _BLOCKS))
    count = (links.n, 0) if patches else (0, len(links.i))
    total = _Sums(np.zeros(count[0]), np.zeros(count[1]), np.zeros(links.n))

    def work(first: int) -> tuple[Floats, Floats]:
        of_patch, of_link = np.zeros(count[0]), np.zeros(count[1])
        importance_kernels.losses(
            sources[first : first + size],
            table.start,
            table.end,
            weights.weight,
            table.link,
            homes,
            *weights[1:],
            patch_graph.k_per_m / 1000,
            of_patch,
            of_link,
            total.reached,  # each source its own
        )
        return of_patch, of_link

    for of_patch, of_link in in_threads(work, range(0, len(sources), size), threads=threads):
        total.of_patch[:] += of_patch
        total.of_link[:] += of_link
    return total


def _plain_losses(patch_graph: PatchGraph, sources: Ints, p_cut: float) -> Losses:
    """Take each patch out of its component in turn and add all routes up again."""
    links, homes = links_of(patch_graph), patch_graph.homes
    lost, reached = np.zeros(links.n), np.zeros(links.n)
    reached[sources] = homes[sources]
    is_source = np.zeros(links.n, dtype=bool)
    is_source[sources] = True
    for members, matrix in _components(links, patch_graph):
        own, amount = np.flatnonzero(is_source[members]), homes[members]
        total = _chances(matrix, patch_graph, p_cut, own)
        reached[members[own]] = total @ amount
        for at, member in enumerate(members.tolist()):
            others, row = np.delete(np.arange(len(members)), at), own != at
            start = own[row]
            before = amount[start] @ total[np.ix_(row, others)] @ amount[others]
            rest = matrix[others][:, others]
            after = _chances(rest, patch_graph, p_cut, start - (start > at))
            lost[member] = before - amount[start] @ after @ amount[others]
    return Losses(lost, reached)


def _plain_link_losses(patch_graph: PatchGraph, needed: NDArray[np.bool_], p_cut: float) -> Floats:
    """Take each needed link out of its component in turn and add all routes up again."""
    links = links_of(patch_graph)
    links = only(links, needed_links(links, witnesses=2, compiled=False))
    lost = np.zeros(len(patch_graph.i))
    place = np.zeros(links.n, dtype=np.int64)
    _, label = components(patch_graph)
    number = np.flatnonzero(needed)
    for members, matrix in _components(links, patch_graph):
        place[members] = np.arange(len(members))
        amount = patch_graph.homes[members]
        before = amount @ _chances(matrix, patch_graph, p_cut) @ amount
        here = label[patch_graph.i[number]] == label[members[0]]
        for link in number[here].tolist():
            u, v = place[patch_graph.i[link]], place[patch_graph.j[link]]
            cut = matrix.copy()
            cut[[u, v], [v, u]] = np.inf
            lost[link] = before - amount @ _chances(cut, patch_graph, p_cut) @ amount
    return lost


def _components(links: Links, patch_graph: PatchGraph) -> Iterator[tuple[Ints, "sp.csr_array"]]:
    """Members and links of each component that has both links and homes."""
    if not len(links.i):
        return
    matrix = matrix_of(links)
    homes, label = components(patch_graph)
    order = np.argsort(label, kind="stable")
    ends = np.cumsum(np.bincount(label, minlength=len(homes)))
    for members, amount in zip(np.split(order, ends[:-1]), homes, strict=True):
        if len(members) > 1 and amount > 0:
            yield members, matrix[members][:, members]


def _chances(
    matrix: "sp.csr_array", patch_graph: PatchGraph, p_cut: float, sources: Ints | None = None
) -> Floats:
    """Probability of the best route from any (or some) to any other; 0 beyond the cut."""
    limit = cut_length(patch_graph.d50_m, p_cut) + 0.5  # room for links of length 0, see TOUCH
    if sources is not None and not len(sources):
        return np.empty((0, matrix.shape[0]))
    distance = csgraph.dijkstra(matrix, indices=sources, limit=limit)
    chances: Floats = np.exp(-patch_graph.k_per_m / 1000 * np.floor(distance))
    return chances
