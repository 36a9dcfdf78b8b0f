"""From a checked neighbourhood to the whole answer, group by group."""

from collections.abc import Callable, Iterable, Sequence
from copy import copy
from dataclasses import replace
from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assessment import (
    Asked,
    Assessment,
    Break,
    GroupAnswer,
    NeedSheet,
)
from patchnet.assess.blocks import along_a_curve
from patchnet.assess.breaks import find_breaks, pairs_among
from patchnet.assess.bunches import Bunches
from patchnet.assess.homes import share_group
from patchnet.assess.lodging import Pool, pool_of
from patchnet.assess.over_ground import GroundWays, OverGround, ways_over
from patchnet.assess.provision import Readings, need_sheet, scarcest_needs, shortages_of
from patchnet.assess.reach import Reach, StraightReaches
from patchnet.assess.sharing import Form, Shares
from patchnet.assess.supply import anchor_places, patches, supply_of
from patchnet.assess.unknown import Prior, draw_in_unknown, learn_prior
from patchnet.assess.wide_reach import NEAR_M, WideReach, is_wide
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.freed_memory import give_freed_memory_back
from patchnet.core.named import Named
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import GroundCosts, Group, Knowledge
from patchnet.knowledge.regions import usual_groups
from patchnet.movement.distance import Pairs, pairs_apart, pairs_within
from patchnet.movement.land_cover import LandCover
from patchnet.movement.surface import CostSurface, cost_surface
from patchnet.network.build import patch_graph
from patchnet.network.measures import network_measures
from patchnet.read.neighbourhood import Neighbourhood

__all__ = [
    "Distances", "Street", "answer_group", "assess", "assess_amounts", "assess_one_draw",
    "choose_groups", "farthest_m", "known_share",
]  # fmt: skip

Array = NDArray[np.float64]


def choose_groups(
    knowledge: Knowledge, groups: Iterable[str] | None, region: str = ""
) -> tuple[Group, ...]:
    """Return the groups asked for, in the order of the tables.

    Parameters
    ----------
    knowledge
        The tables.
    groups
        Keys; None: the usual ones, less those that do not live in the region.
    region
        Key of the region; empty where it is not known.

    Raises
    ------
    WrongUse
        If a group does not exist; the nearest spellings are offered.
    """
    wanted = list(usual_groups(knowledge, region) if groups is None else groups)
    for key in wanted:
        if key not in knowledge.groups:
            hint = nearest_hint(key, knowledge.groups)
            raise WrongUse(
                _("There is no animal {key!r}.{hint} 'patchnet groups' lists them all.").format(
                    key=key, hint=hint
                )
            )
    return tuple(group for key, group in knowledge.groups.items() if key in wanted)


def assess(
    neighbourhood: Neighbourhood,
    *,
    knowledge: Knowledge | None = None,
    groups: Iterable[str] | None = None,
    quality: Form = "scarcest",
    straight: bool = False,
    cell_m: float | None = None,
    landcover: LandCover | None = None,
    prior: Prior | None = None,
    progress: Callable[[Iterable[Group]], Iterable[Group]] | None = None,
) -> Assessment:
    """Answer for every plot what its neighbourhood provides, lacks, and where it is broken.

    Parameters
    ----------
    neighbourhood
        n checked plots in metres.
    knowledge
        The tables; None: those that ship with patchnet.
    groups
        Keys of animals; all where None.
    quality
        ``"scarcest"`` (scarcest vital need times the helpful ones) or ``"mean"`` (weighted
        geometric mean of the needs).
    straight
        Straight lines also for groups that walk, instead of the cheapest ways over the ground;
        so it is always in a neighbourhood for the public, which has no fences.
    cell_m
        Side of the ground's cells in metres; None: chosen from the data.
    landcover
        The user's own land cover for the ground.
    prior
        What plots that nobody looked at are like; None: learnt from this neighbourhood. Give
        ``before.prior`` for the second of two states that are compared.
    progress
        Wraps the groups while they are worked through, such as a progress bar.

    Returns
    -------
    Assessment
        Every per-plot result carries the index of ``neighbourhood.plots``.

    Raises
    ------
    WrongUse
        If a group does not exist (the nearest spellings are offered), or the neighbourhood was
        read with other tables.

    Notes
    -----
    Supplies are shared among the homes that reach them by filling alike (max-min fair; Bertsekas &
    Gallager 1992, Data Networks, section 6.5.2; see `patchnet.assess.filling`); the network is
    measured by the probability of connectivity over best routes (Saura & Pascual-Hortal 2007,
    Landscape and Urban Planning 83:91-103).

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> answer.groups["wren"].homes.index.equals(answer.neighbourhood.plots.index)
    True
    >>> answer.groups["wrenn"]
    Traceback (most recent call last):
    ...
    patchnet.core.errors.WrongUse: There is no animal 'wrenn' here. Did you mean wren?
    """
    knowledge = knowledge or load_knowledge()
    if neighbourhood.answers.features != tuple(knowledge.features):
        raise WrongUse(
            _(
                "{neighbourhood_name} was read with other tables: give the same knowledge to both."
            ).format(neighbourhood_name=neighbourhood.name)
        )
    chosen = choose_groups(knowledge, groups, neighbourhood.region)
    asked = Asked(quality=quality, straight=straight, cell_m=cell_m, landcover=landcover)
    prior = learn_prior(neighbourhood) if prior is None else prior
    amounts = draw_in_unknown(neighbourhood, knowledge, prior)
    drawn = Readings(amounts.expected, amounts.low, amounts.high)
    expected = supply_of(amounts.expected, knowledge)
    supplies = (
        Readings(expected, expected, expected)
        if amounts.certain
        else Readings(
            expected, supply_of(amounts.low, knowledge), supply_of(amounts.high, knowledge)
        )
    )
    street = Street(neighbourhood, asked, farthest_m(chosen))
    answers = {}
    for group in progress(chosen) if progress else chosen:
        answer = answer_group(group, street, knowledge, drawn, supplies)
        answers[group.key] = answer
        if street.bunches is not None:
            # In a town they are a third of all memory, and only what is shared again needs them.
            answer.reach.forget_blocks()
            give_freed_memory_back()
    return Assessment(
        neighbourhood=neighbourhood,
        knowledge=knowledge,
        groups=Named(answers, "animal"),
        amounts=amounts.expected,
        supply=supplies.expected,
        known_share=known_share(neighbourhood, knowledge),
        asked=asked,
        prior=prior,
    )


def known_share(neighbourhood: Neighbourhood, knowledge: Knowledge) -> "pd.Series[float]":
    """Share of the features that can be seen and are known, per plot, 0-1.

    Parameters
    ----------
    neighbourhood
        n checked plots.
    knowledge
        Which features can be seen.

    Returns
    -------
    Series
        Index: the plots; shape (n,), 0-1.
    """
    seeable = [not feature.unseen for feature in knowledge.features.values()]
    known = ~np.isnan(neighbourhood.answers.amount[:, seeable])
    return pd.Series(known.mean(axis=1), index=neighbourhood.plots.index)


def farthest_m(groups: Iterable[Group]) -> float:
    """Return the longest move or reach of any of some groups, metres.

    Parameters
    ----------
    groups
        Some animals.
    """
    return max(
        max(group.hop.value, group.anchor_reach.value, *(need.reach.value for need in group.needs))
        for group in groups
    )


class Distances(Protocol):
    """Edge-to-edge distances of n plots, as an answer asks for them."""

    def among(self, patch: NDArray[np.bool_], longest_m: float) -> Pairs:
        """Pairs of patches (shape (n,)) no further apart than so many metres, renumbered."""

    def apart(self, patch: NDArray[np.bool_], part: NDArray[np.intp], longest_m: float) -> Pairs:
        """The same, at least those of which the patches' parts (shape (patches,)) are two."""


class Street:
    """What all answers for one neighbourhood have in common: distances, and the ground.

    Parameters
    ----------
    neighbourhood
        n checked plots in metres.
    asked
        How it is to be answered.
    farthest_m
        Longest distance that will be asked for, metres.
    compiled
        Growth over the ground compiled (True), plain (False), or by size (None).
    """

    def __init__(
        self,
        neighbourhood: Neighbourhood,
        asked: Asked,
        farthest_m: float,
        *,
        compiled: bool | None = None,
    ) -> None:
        self.neighbourhood = neighbourhood
        self.asked = asked
        self.compiled = compiled
        self._painted: dict[str, tuple[GroundCosts | None, CostSurface]] = {}
        shapes = neighbourhood.plots.geometry.to_numpy()
        wide = is_wide(shapes, farthest_m)
        self.bunches = Bunches(shapes) if wide else None
        self._measured = _Distances(shapes, NEAR_M if wide else farthest_m)
        self.distances: Distances = self._measured
        middles = neighbourhood.plots.geometry.centroid
        self.straight = StraightReaches(along_a_curve(middles.x.to_numpy(), middles.y.to_numpy()))
        self.area_m2 = neighbourhood.plots["area_m2"].to_numpy(float)
        self.kinds = list(neighbourhood.plots["kind"])

    def with_reaches_of_its_own(self) -> "Street":
        """Return the same street for other figures, whose reaches are of no use to anybody else."""
        other = copy(self)
        other.straight = StraightReaches(self.straight.order)
        return other

    def walked(
        self, group: Group, knowledge: Knowledge, patch: NDArray[np.bool_], longest_m: float
    ) -> GroundWays | None:
        """Return the links over the ground; None where the group flies, or none are asked for."""
        public = self.neighbourhood.audience == "public"
        if self.asked.straight or group.mode != "ground" or public:
            return None
        surface = self._surface(group, knowledge)
        plots = self.neighbourhood.plots.index
        return ways_over(surface, plots, patch, longest_m=longest_m, compiled=self.compiled)

    def reach_of(self, group: Group, patch: NDArray[np.bool_], ground: GroundWays | None) -> Reach:
        """Return who reaches whom, over stops on the patches, shape (n,)."""
        pairs, hop_m = self._measured.pairs, group.hop.value
        moves = None if ground is None else ground.moves
        if self.bunches is None:
            return Reach(pairs, patch, hop_m=hop_m, shared=self.straight, moves=moves)
        return WideReach(self.bunches, pairs, patch, hop_m=hop_m, shared=self.straight, moves=moves)

    def shared(
        self,
        group: Group,
        knowledge: Knowledge,
        supplies: Sequence[Array],
        places: Array,
        reach: Reach,
        pool: Pool | None,
        *,
        sheets: bool,
    ) -> tuple[Array, Shares]:
        """Share all supplies among the homes (see `patchnet.assess.homes.share_group`)."""
        return share_group(
            group, knowledge, supplies, places, reach, pool,
            form=self.asked.quality, sheets=sheets,
        )  # fmt: skip

    def _surface(self, group: Group, knowledge: Knowledge) -> CostSurface:
        """Paint the ground, unless it was the last one painted for the group."""
        costs = knowledge.ground_costs.get(group.key)
        if group.key not in self._painted or self._painted[group.key][0] != costs:
            surface = cost_surface(
                self.neighbourhood,
                group,
                knowledge,
                cell_m=self.asked.cell_m,
                landcover=self.asked.landcover,
            )
            self._painted[group.key] = costs, surface
        return self._painted[group.key][1]


class _Distances:
    """Edge-to-edge distances of all plots, worked out again only where longer ones are asked."""

    def __init__(self, shapes: NDArray[np.object_], longest_m: float) -> None:
        self._shapes = shapes
        self._longest_m = longest_m
        self._pairs = pairs_within(shapes, longest_m)

    @property
    def pairs(self) -> Pairs:
        return self._pairs

    def among(self, patch: NDArray[np.bool_], longest_m: float) -> Pairs:
        if longest_m > self._longest_m:
            return pairs_among(pairs_within(self._shapes, longest_m), patch)
        return pairs_among(self._pairs, patch)

    def apart(
        self,
        patch: NDArray[np.bool_],
        part: NDArray[np.intp],
        longest_m: float,
    ) -> Pairs:
        if longest_m > self._longest_m:
            return pairs_apart(self._shapes[patch], part, longest_m)
        return self.among(patch, longest_m)


def assess_one_draw(
    street: Street, knowledge: Knowledge, groups: Iterable[str], amounts: Array, prior: Prior
) -> Assessment:
    """Answer from one set of figures and amounts, without balance sheets and breaks.

    Parameters
    ----------
    street
        What all answers for the neighbourhood share.
    knowledge
        The figures; in it the animals with theirs.
    groups
        Keys of animals.
    amounts
        Shape (n, F), each feature in its own unit.
    prior
        Is passed on.
    """
    supply = supply_of(amounts, knowledge)
    drawn, supplies = Readings(amounts, amounts, amounts), Readings(supply, supply, supply)
    own = street.with_reaches_of_its_own()
    answers = {
        key: answer_group(knowledge.groups[key], own, knowledge, drawn, supplies, sheets=False)
        for key in groups
    }
    plots = street.neighbourhood.plots.index
    return Assessment(
        neighbourhood=street.neighbourhood,
        knowledge=knowledge,
        groups=Named(answers, "animal"),
        amounts=amounts,
        supply=supply,
        known_share=pd.Series(np.nan, index=plots),
        asked=street.asked,
        prior=prior,
    )


def assess_amounts(assessment: Assessment, amounts: Array) -> Assessment:
    """Answer for the same street with other amounts on its plots, balance sheets and breaks too.

    The ground that animals walk over stays as it is: a new bed is not walked over as a bed.

    Parameters
    ----------
    assessment
        The street as it is, n plots.
    amounts
        Shape (n, F), each feature in its own unit.
    """
    knowledge, hood = assessment.knowledge, assessment.neighbourhood
    groups = [answer.group for answer in assessment.groups.values()]
    street = Street(hood, assessment.asked, farthest_m(groups))
    supply = supply_of(amounts, knowledge)
    drawn, supplies = Readings(amounts, amounts, amounts), Readings(supply, supply, supply)
    answers = {
        group.key: answer_group(group, street, knowledge, drawn, supplies) for group in groups
    }
    return replace(assessment, groups=Named(answers, "animal"), amounts=amounts, supply=supply)


def answer_group(
    group: Group,
    street: Street,
    knowledge: Knowledge,
    amounts: Readings,
    supplies: Readings,
    *,
    sheets: bool = True,
) -> GroupAnswer:
    """Answer for one animal.

    Parameters
    ----------
    group
        The animal.
    street
        What all answers for the n plots share.
    knowledge
        The figures.
    amounts
        Shape (n, F), each feature in its own unit, under the readings of what is not known.
    supplies
        Shape (n, R, 12), the same as resources by month.
    sheets
        Whether balance sheets and breaks are wanted too.
    """
    neighbourhood, distances = street.neighbourhood, street.distances
    plots = neighbourhood.plots.index
    places = np.stack(
        [
            anchor_places(amount, supply, knowledge, group)
            for amount, supply in zip(amounts.distinct, supplies.distinct, strict=True)
        ],
        axis=2,
    )
    patch = patches(supplies.expected, knowledge, group, places[:, :, 0])
    longest = knowledge.setting("break_hops") * group.hop.value
    # Beyond a hop nothing matters but breaks.
    ground = street.walked(group, knowledge, patch, longest if sheets else group.hop.value)
    reach = street.reach_of(group, patch, ground)
    near = reach.within(group.anchor_reach.value)
    pool = pool_of(group, knowledge, near, street.area_m2, street.kinds)
    rooms, shares = street.shared(
        group, knowledge, supplies.distinct, places, reach, pool, sheets=sheets
    )
    room = rooms[:, 0]
    quality = shares.quality[:, 0]
    held = rooms * shares.quality
    homes = held[:, 0]
    p_cut = knowledge.setting("p_cut")
    network = patch_graph(
        plots[patch],
        homes[patch],
        distances.among(patch, group.hop.value)
        if ground is None
        else pairs_among(ground.moves, patch),
        hop_m=group.hop.value,
        d50_m=group.d50.value,
    )
    measures = network_measures(network, p_cut=p_cut, hops=False)
    needs: tuple[NeedSheet, ...] = ()
    shortages = shortages_of(group, shares.limits, plots)
    breaks: tuple[Break, ...] = ()
    if sheets:
        needs = tuple(
            need_sheet(
                need,
                reach=reach.within(need.reach.value),
                supplies=supplies,
                room=room,
                met=shares.met[at][:, 0],
                knowledge=knowledge,
                plots=plots,
            )
            for at, need in enumerate(group.needs)
        )
    if sheets and measures.components > 1:
        breaks = find_breaks(
            neighbourhood,
            network,
            distances.apart(patch, measures.component.to_numpy().astype(np.intp), longest)
            if ground is None
            else pairs_among(ground.moves, patch),
            hop_m=group.hop.value,
            longest_m=longest,
            p_cut=p_cut,
            ground=ground,
        )

    def aligned(values: NDArray[np.generic]) -> pd.Series:
        return pd.Series(values, index=plots)

    return GroupAnswer(
        group=group,
        room=aligned(room),
        room_within=aligned((near @ rooms)[:, 0]),
        quality=aligned(quality),
        homes=aligned(homes),
        homes_low=aligned(held.min(axis=1)),
        homes_high=aligned(held.max(axis=1)),
        patch=aligned(patch),
        needs=needs,
        scarcest=scarcest_needs(needs, shortages, room, plots),
        shortage=pd.Series(list(shortages), index=plots, dtype=object),
        component=measures.component.reindex(plots, fill_value=-1),
        network=network,
        measures=measures,
        breaks=breaks,
        reach=reach,
        ground=ground if isinstance(ground, OverGround) else None,
        places=places[:, :, 0],
        pool=pool,
    )
