"""What room a plot has for additions: ground, floor, walls, fences, sills, and what must stay."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plot_plan import Candidate
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["Space", "space_of"]


@dataclass(frozen=True, slots=True)
class Space:
    """Room for additions.

    Attributes
    ----------
    area_m2
        Area of the whole plot.
    ground_m2
        Ground that may be planted, in all.
    bare_m2
        The part of it on which nothing is known to be.
    convertible
        Features that may give way, with the amount of each (m2), in the order they do: plastic
        grass and slabs that can be taken up before living lawn.
    floor_m2
        Floor on which pots can stand, in all: that ground and the hard floor not kept.
    wall_m, fence_m, sill_m
        Lengths that may carry something, metres.
    roof_m2
        Roof that may be planted.
    has
        What the plot has, as far as it is known or drawn in: feature to amount.
    guessed
        Which of these nobody said or mapped, in plain words.
    planned
        Features that were added to it before in the same plan.
    """

    area_m2: float
    ground_m2: float
    bare_m2: float
    convertible: Mapping[str, float]
    floor_m2: float
    wall_m: float
    fence_m: float
    sill_m: float
    roof_m2: float
    has: Mapping[str, float]
    guessed: tuple[str, ...]
    planned: tuple[str, ...] = ()

    def keeping(self, covers: Collection[str]) -> "Space":
        """Return the room there is while some covers stay where they are."""
        others = {key: amount for key, amount in self.convertible.items() if key not in covers}
        ground = min(self.ground_m2, self.bare_m2 + sum(others.values()))
        return replace(self, ground_m2=ground, convertible=others)

    def after(self, new: Sequence[Candidate], change: Mapping[str, float]) -> "Space":
        """Return what is left once some candidates are there and `change` has happened."""
        covers = {key: -change[key] for key in self.convertible if change.get(key, 0.0) < 0}
        beds = sum(one.ground_m2 for one in new if one.place == "ground")
        standing = sum(one.ground_m2 for one in new if one.place == "standing")
        walls = sum(one.length_m for one in new if one.place in ("wall", "fence"))
        has = {key: self.has.get(key, 0.0) + change.get(key, 0.0) for key in {**self.has, **change}}
        floor = max(self.floor_m2 - beds - standing, 0.0)
        ground = min(max(self.ground_m2 - beds, 0.0), floor)
        return replace(
            self,
            ground_m2=ground,
            bare_m2=min(max(self.bare_m2 - (beds - sum(covers.values())), 0.0), ground),
            convertible={
                key: amount - covers.get(key, 0.0)
                for key, amount in self.convertible.items()
                if amount - covers.get(key, 0.0) > 0
            },
            floor_m2=floor,
            wall_m=max(self.wall_m - walls, 0.0),
            fence_m=max(self.fence_m - max(walls - self.wall_m, 0.0), 0.0),
            sill_m=max(self.sill_m - sum(one.length_m for one in new if one.place == "sill"), 0.0),
            roof_m2=max(self.roof_m2 - sum(one.amount for one in new if one.place == "roof"), 0.0),
            has=has,
            planned=(*self.planned, *(one.feature for one in new)),
        )


def space_of(
    neighbourhood: Neighbourhood,
    plot: str,
    facts: PlotFacts,
    knowledge: Knowledge,
    *,
    amounts: Mapping[str, float],
) -> Space:
    """Work out what room a plot has.

    Bare ground is what the plot's features leave of its area. Hard covers that can be taken up
    (`TakingUp`) may give way, but no more than their usual share, and none in a street; where the
    householder says how much ground is free, hard covers give way to what that is beyond bare
    ground and lawn. Short lawn may give way, except what a kept use needs of it. Uses that must
    stay take their room from the ground and the floor alike.

    Parameters
    ----------
    plot
        Id of the plot.
    amounts
        What the plot has: feature to amount in its unit (what is not known as drawn in).
    """
    record = neighbourhood.plots.loc[plot]
    kind, area = str(record["kind"]), float(record["area_m2"])
    has = {key: amount for key, amount in amounts.items() if amount > 0}
    guessed: list[str] = []
    ground, bare, floor, convertible = _ground(area, kind, has, facts, knowledge)
    if facts.free_m2 is None:
        if not _known(neighbourhood, plot):
            guessed.append(_("how much ground is free"))
        guessed += [
            _("how much {feature_name} may be taken up").format(
                feature_name=in_sentence(knowledge.features[cover].name)
            )
            for cover in convertible
            if cover in knowledge.taking_up and convertible[cover] > 0
        ]
    wall, fence = _walls(neighbourhood, plot, kind, facts, knowledge, guessed)
    sill = facts.sill_m
    if sill is None:
        sill = knowledge.setting("sill_guess_m") if knowledge.plot_is(kind, "sill") else 0.0
        if sill:
            guessed.append(_("how much sill or rail there is"))
    home = knowledge.plot_is(kind, "home")
    has_roof = home and not knowledge.plot_is(kind, "raised") and not facts.pots_only
    return Space(
        area_m2=area,
        ground_m2=ground,
        bare_m2=min(bare, ground),
        convertible={key: amount for key, amount in convertible.items() if amount > 0},
        floor_m2=floor,
        wall_m=wall,
        fence_m=fence,
        sill_m=sill,
        roof_m2=knowledge.setting("roof_guess_m2") if has_roof else 0.0,
        has=has,
        guessed=tuple(guessed),
    )


def _ground(
    area: float, kind: str, has: Mapping[str, float], facts: PlotFacts, knowledge: Knowledge
) -> tuple[float, float, float, dict[str, float]]:
    """Ground in all, bare ground, floor, and what may give way, m2."""
    taken = sum(knowledge.features[key].ground.value * amount for key, amount in has.items())
    kept_lawn, kept = _kept(facts, knowledge)
    lawns = [one.key for one in knowledge.gives_way if "lawn" in one.traits]
    covers = [one.key for one in knowledge.gives_way if "lawn" not in one.traits]
    lawn = sum(has.get(key, 0.0) for key in lawns)
    hard = sum(has.get(cover, 0.0) for cover in covers)
    # What kept uses cannot take from lawn or hard floor comes off the open ground, and a lawn to
    # play on that has neither off the hard covers (plastic grass).
    open_ground = max(area - taken - max(kept - hard, 0.0), 0.0)
    play = max(kept_lawn - lawn, 0.0)
    bare = max(open_ground - play, 0.0)
    spare_hard = max(hard - kept - max(play - open_ground, 0.0), 0.0)
    stays = {knowledge.keep_uses[key].feature for key in facts.keep}
    given = {}
    for key in lawns:
        given[key] = max(has.get(key, 0.0) - kept_lawn, 0.0)
        kept_lawn = max(kept_lawn - has.get(key, 0.0), 0.0)
    ground = bare + sum(given.values())
    left = np.inf if facts.free_m2 is None else min(facts.free_m2, area) - ground
    for cover in covers:
        most = has.get(cover, 0.0)
        if facts.free_m2 is None:
            most = _taken_up(cover, most, kind, facts, knowledge)
        given[cover] = 0.0 if cover in stays else min(most, spare_hard, max(left, 0.0))
        spare_hard -= given[cover]
        left -= given[cover]
    ground = bare + sum(given.values())
    if facts.free_m2 is not None:
        ground = min(facts.free_m2, ground)
    convertible = {one.key: given[one.key] for one in knowledge.gives_way}
    whole = kind in knowledge.plot_kinds and knowledge.plot_kinds[kind].implies is not None
    floor = 0.0 if whole else ground + spare_hard
    if facts.pots_only or knowledge.plot_is(kind, "pots_only"):
        ground = 0.0
        if facts.free_m2 is not None:
            floor = facts.free_m2
    return ground, bare, floor, convertible


def _taken_up(cover: str, there: float, kind: str, facts: PlotFacts, knowledge: Knowledge) -> float:
    """How much of a hard cover can be taken up where nobody said how much ground is free, m2."""
    how = knowledge.taking_up.get(cover)
    street = knowledge.plot_is(kind, "in_street") or knowledge.plot_is(kind, "nobodys")
    if how is None or street or (facts.tenure == "rent" and how.tenancy == "own"):
        return 0.0
    return max(min(how.share.value * there, there - how.left.value), 0.0)


def _walls(
    neighbourhood: Neighbourhood,
    plot: str,
    kind: str,
    facts: PlotFacts,
    knowledge: Knowledge,
    guessed: list[str],
) -> tuple[float, float]:
    """Lengths of wall and of fence, metres; what had to be guessed is added to `guessed`."""
    near = shapely.buffer(neighbourhood.plots.geometry.loc[plot], knowledge.setting("wall_near_m"))
    buildings, barriers = neighbourhood.buildings, neighbourhood.barriers
    close = buildings.geometry.to_numpy()[buildings.sindex.query(near)]
    wall = float(shapely.length(shapely.intersection(shapely.boundary(close), near)).sum())
    lines = barriers.sindex.query(near)
    lengths = shapely.length(shapely.intersection(barriers.geometry.to_numpy()[lines], near))
    bears = {key: one.bears for key, one in knowledge.barrier_kinds.items()}
    as_ = np.array([bears.get(kind) for kind in barriers["kind"].array[lines]], dtype=object)
    wall += float(lengths[as_ == "wall"].sum())
    fence = float(lengths[as_ == "fence"].sum())
    nothing_mapped = len(buildings) == 0 and len(barriers) == 0
    if facts.wall_m is None and nothing_mapped and knowledge.plot_is(kind, "home"):
        wall = knowledge.setting("wall_guess_m")
        guessed.append(_("how much wall there is"))
    return (
        wall if facts.wall_m is None else facts.wall_m,
        fence if facts.fence_m is None else facts.fence_m,
    )


def _kept(facts: PlotFacts, knowledge: Knowledge) -> tuple[float, float]:
    """Lawn and other room, m2, that uses which must stay take.

    A hard cover that must stay takes no room of others: all of it stays as it is.
    """
    lawn = other = 0.0
    for key in facts.keep:
        use = knowledge.keep_uses[key]
        if use.feature in knowledge.taking_up:
            continue
        if use.feature is not None and "lawn" in knowledge.features[use.feature].traits:
            lawn += use.ground.value
        else:
            other += use.ground.value
    return lawn, other


def _known(neighbourhood: Neighbourhood, plot: str) -> bool:
    """Whether anything is known of what the plot has."""
    at = neighbourhood.plots.index.get_loc(plot)
    return bool((~np.isnan(neighbourhood.answers.amount[at])).any())
