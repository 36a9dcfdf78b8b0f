"""From a checked neighbourhood to the whole answer, group by group."""

from collections.abc import Callable, Iterable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment, Break, GroupAnswer
from patchnet.assess.blocks import along_a_curve
from patchnet.assess.breaks import find_breaks, pairs_among
from patchnet.assess.homes import share_group
from patchnet.assess.lodging import pool_of
from patchnet.assess.over_ground import OverGround, over_ground
from patchnet.assess.provision import Readings, need_sheet, scarcest_needs, shortages_of
from patchnet.assess.reach import Reach, StraightReaches
from patchnet.assess.sharing import Form
from patchnet.assess.supply import anchor_places, patches, supply_of
from patchnet.assess.unknown import draw_in_unknown
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.named import Named
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Group, Knowledge
from patchnet.knowledge.regions import usual_groups
from patchnet.movement.distance import Pairs, pairs_within
from patchnet.movement.land_cover import LandCover
from patchnet.network.build import patch_graph
from patchnet.network.measures import network_measures
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["assess", "choose_groups"]


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
    Supplies are shared among the homes that reach them (two-step floating catchment area; Luo &
    Wang 2003, Environment and Planning B 30:865-884); the network is measured by the probability
    of connectivity over best routes (Saura & Pascual-Hortal 2007, Landscape and Urban Planning
    83:91-103).

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
    amounts = draw_in_unknown(neighbourhood, knowledge)
    drawn = Readings(amounts.expected, amounts.low, amounts.high)
    expected = supply_of(amounts.expected, knowledge)
    supplies = (
        Readings(expected, expected, expected)
        if amounts.certain
        else Readings(
            expected, supply_of(amounts.low, knowledge), supply_of(amounts.high, knowledge)
        )
    )
    shapes = neighbourhood.plots.geometry.to_numpy()
    longest = max(
        max(group.hop.value, group.anchor_reach.value, *(need.reach.value for need in group.needs))
        for group in chosen
    )
    distances = _Distances(shapes, longest)
    middles = neighbourhood.plots.geometry.centroid
    shared = StraightReaches(along_a_curve(middles.x.to_numpy(), middles.y.to_numpy()))

    def walked(group: Group, patch: NDArray[np.bool_]) -> OverGround | None:
        if straight or group.mode != "ground" or neighbourhood.audience == "public":
            return None
        return over_ground(
            neighbourhood, group, knowledge, patch, cell_m=cell_m, landcover=landcover
        )

    answers = {
        group.key: _group_answer(
            group, neighbourhood, knowledge, drawn, supplies, distances, shared, quality, walked
        )
        for group in (progress(chosen) if progress else chosen)
    }
    seeable = [not feature.unseen for feature in knowledge.features.values()]
    known = ~np.isnan(neighbourhood.answers.amount[:, seeable])
    return Assessment(
        neighbourhood=neighbourhood,
        knowledge=knowledge,
        groups=Named(answers, "animal"),
        amounts=amounts.expected,
        quality=quality,
        supply=supplies.expected,
        known_share=pd.Series(known.mean(axis=1), index=neighbourhood.plots.index),
    )


class _Distances:
    """Edge-to-edge distances of all plots, worked out again only where longer ones are asked."""

    def __init__(self, shapes: NDArray[np.object_], longest_m: float) -> None:
        self._shapes = shapes
        self._longest_m = longest_m
        self.pairs = pairs_within(shapes, longest_m)

    def upto(self, radius_m: float) -> Pairs:
        if radius_m > self._longest_m:
            return pairs_within(self._shapes, radius_m)
        return self.pairs


def _group_answer(
    group: Group,
    neighbourhood: Neighbourhood,
    knowledge: Knowledge,
    amounts: Readings,
    supplies: Readings,
    distances: _Distances,
    shared: StraightReaches,
    form: Form,
    walked: Callable[[Group, NDArray[np.bool_]], OverGround | None],
) -> GroupAnswer:
    plots = neighbourhood.plots.index
    places = np.stack(
        [
            anchor_places(amount, supply, knowledge, group)
            for amount, supply in zip(amounts.distinct, supplies.distinct, strict=True)
        ],
        axis=2,
    )
    patch = patches(supplies.expected, knowledge, group, places[:, :, 0])
    ground = walked(group, patch)
    reach = Reach(
        distances.pairs,
        patch,
        hop_m=group.hop.value,
        shared=shared,
        moves=None if ground is None else ground.moves,
    )
    near = reach.within(group.anchor_reach.value)
    table = neighbourhood.plots
    pool = pool_of(group, knowledge, near, table["area_m2"].to_numpy(float), list(table["kind"]))
    rooms, shares = share_group(group, knowledge, supplies.distinct, places, reach, pool, form=form)
    room = rooms[:, 0]
    room_within = near @ rooms
    quality = shares.quality[:, 0]
    held = rooms * shares.quality
    homes = held[:, 0]
    sheets = tuple(
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
    shortages = shortages_of(group, shares.limits, plots)
    p_cut = knowledge.setting("p_cut")
    network = patch_graph(
        plots[patch],
        homes[patch],
        pairs_among(distances.pairs if ground is None else ground.moves, patch),
        hop_m=group.hop.value,
        d50_m=group.d50.value,
    )
    measures = network_measures(network, p_cut=p_cut, hops=False)
    breaks: tuple[Break, ...] = ()
    if measures.components > 1:
        longest = knowledge.setting("break_hops") * group.hop.value
        breaks = find_breaks(
            neighbourhood,
            network,
            pairs_among(distances.upto(longest) if ground is None else ground.moves, patch),
            hop_m=group.hop.value,
            longest_m=longest,
            p_cut=p_cut,
            ground=ground,
        )
    component = measures.component.reindex(plots, fill_value=-1)

    def aligned(values: NDArray[np.generic]) -> pd.Series:
        return pd.Series(values, index=plots)

    return GroupAnswer(
        group=group,
        room=aligned(room),
        room_within=aligned(room_within[:, 0]),
        quality=aligned(quality),
        homes=aligned(homes),
        homes_low=aligned(held.min(axis=1)),
        homes_high=aligned(held.max(axis=1)),
        patch=aligned(patch),
        needs=sheets,
        scarcest=scarcest_needs(sheets, shortages, room, plots),
        shortage=pd.Series(list(shortages), index=plots, dtype=object),
        component=component,
        network=network,
        measures=measures,
        breaks=breaks,
        reach=reach,
        ground=ground,
        places=places[:, :, 0],
        pool=pool,
    )
