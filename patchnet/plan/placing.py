"""Where the things of a plan go on the plot: tried place by place, chosen together."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.texts import _
from patchnet.knowledge.records import KeepUse, Knowledge
from patchnet.plan.facts import PlotFacts
from patchnet.plan.placed import ByHand, Placed, Places
from patchnet.plan.placed_facts import facts_of
from patchnet.plan.plot_ground import PlotGround, plot_ground
from patchnet.plan.plot_plan import Candidate
from patchnet.plan.positions import Positions, ground_positions, wall_positions
from patchnet.plan.wanted import Thing, seat_hours, wall_hours
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.sun.sunny_walls import compass
from patchnet.sun.surface_heights import SurfaceHeights

__all__ = ["places_for"]

Array = NDArray[np.float64]
_TOUCH_M2 = 1e-6  # things that only touch do not lie on one another
_TOUCH_M = 1e-3
_AT_WALL = ("wall", "fence", "sill")
_BLOCKS = 4  # a plot is looked at in so many parts each way, so that choices lie apart
_TOGETHER = 3  # as many things are chosen together, every combination; more one after the other


def places_for(
    neighbourhood: Neighbourhood,
    plot: str,
    additions: Sequence[Candidate],
    *,
    facts: PlotFacts,
    knowledge: Knowledge,
    has: Mapping[str, float],
    gives_way: Collection[str] = (),
    stages: Sequence[Sequence[Candidate]] = (),
    surface: SurfaceHeights | None = None,
) -> Places:
    """Say where each thing goes: inside the plot, clear of what stands there and of one another.

    Uses that must stay get their ground first. Then each thing is tried at every place of a grid
    (``place_grid_m`` of the settings), along the boundary or at every metre of wall; the best
    places of each (``place_choices``) are compared in every combination. A place costs what it
    lacks of what the table ``placing.csv`` says the thing wants.

    Parameters
    ----------
    neighbourhood
        With what is drawn.
    plot
        Id of the plot.
    additions
        The things.
    facts
        For the uses that must stay.
    knowledge
        The tables.
    has
        What is on the plot: feature to amount, in its unit.
    gives_way
        Covers that are taken up for the things, by feature.
    stages
        Of each stage of the plan its things: those of `additions` keep their place.
    surface
        Measured heights, or None.

    Raises
    ------
    WrongUse
        If there is no such plot, or the plots have no coordinate system.
    """
    neighbourhood.row_of(plot)
    coarse = _too_coarse(neighbourhood)
    if coarse:
        return Places(
            placed=tuple(Placed(one.feature, one.amount, None, coarse) for one in additions),
            stages=tuple(
                tuple(Placed(one.feature, one.amount, None, coarse) for one in stage)
                for stage in stages
            ),
        )
    ground = plot_ground(neighbourhood, plot, knowledge, has=has, surface=surface)
    search = _Search(ground, neighbourhood, knowledge, frozenset(gives_way))
    search.keep(facts)
    placed, exact = search.place(additions)
    later = search.beside()
    later.reserve(search.put, [one for stage in stages for one in stage])
    return Places(
        placed=tuple(placed[one.feature] for one in additions),
        kept=tuple(search.kept),
        stages=tuple(later.stage(stage) for stage in stages),
        way=ground.way,
        way_known=ground.way_known,
        exact=exact,
        not_drawn=ground.not_drawn,
        crs=neighbourhood.plots.crs.to_string(),
        notes=tuple(_notes(ground, search)),
        by_hand=_by_hand(ground, search),
    )


def _by_hand(ground: PlotGround, search: "_Search") -> ByHand:
    month = ground.months[0]
    return ByHand(
        buildings=ground.buildings,
        house=ground.house,
        cells=ground.cells,
        cell_m=ground.cell_m,
        hours=ground.hours(month),
        month=month,
        walls={key: _along_walls(one, ground) for key, one in search.put.items() if one.at_wall},
    )


def _along_walls(
    one: "_Put", ground: PlotGround
) -> tuple[tuple[float, float, float | None, str], ...]:
    """The places at walls that one thing was tried at: x, y, hours of sun, the wall in words."""
    walls = one.positions.walls
    if walls is None:
        return ()
    at = one.positions.wall
    hours = wall_hours(ground, walls, at)
    found = []
    for place, wall in enumerate(at):
        x, y = walls.spots[wall]
        told = None if hours is None else round(float(hours[place]), 1)
        faces = compass(float(walls.faces[wall]))
        name = _("{aspect}-facing {wall}").format(aspect=faces, wall=walls.names[wall])
        found.append((float(x), float(y), told, name))
    return tuple(found)


def _too_coarse(neighbourhood: Neighbourhood) -> str:
    if neighbourhood.audience != "public" and not neighbourhood.generalised:
        return ""
    return _("Outlines here were made coarser, so no place can be given.")


def _notes(ground: PlotGround, search: "_Search") -> list[str]:
    notes = []
    if ground.not_drawn:
        notes.append(_("Where what is there stands is not mapped: check on the ground."))
    if not ground.way.is_empty and not ground.way_known:
        notes.append(
            _("The door is not mapped: a strip along the house is kept free.")
            if ground.street_side.is_empty
            else _("The door is not mapped: the shortest way to the house is kept free.")
        )
    if any(one.geometry is not None for one in search.kept):
        notes.append(_("Uses that stay are put in a likely place."))
    if ground.lit is None:
        notes.append(_("Hours of sun are not known here, so the sun had no say."))
    return notes


@dataclass(frozen=True, slots=True)
class _Put:
    """A thing and where it was put: its shape, what it takes, and its wall."""

    thing: Thing
    shape: shapely.Geometry
    taken: shapely.Geometry
    positions: Positions
    at: int

    @property
    def at_wall(self) -> bool:
        """Whether it takes a length of wall, and no ground."""
        return self.thing.place in _AT_WALL


class _Search:
    """The search on one plot: what is put down already is not moved again."""

    def __init__(
        self,
        ground: PlotGround,
        neighbourhood: Neighbourhood,
        knowledge: Knowledge,
        gives_way: frozenset[str],
    ) -> None:
        self.ground, self.neighbourhood = ground, neighbourhood
        self.knowledge, self.gives_way = knowledge, gives_way
        self.put: dict[str, _Put] = {}
        self.uses: list[_Put] = []
        self.kept: list[Placed] = []
        self.seat: shapely.Geometry | None = None
        self.stay: set[str | None] = set()

    def beside(self) -> "_Search":
        """Return a search that keeps the same ground for uses, and has nothing else yet."""
        other = _Search(self.ground, self.neighbourhood, self.knowledge, self.gives_way)
        other.uses, other.kept, other.seat, other.stay = self.uses, self.kept, self.seat, self.stay
        return other

    def keep(self, facts: PlotFacts) -> None:
        """Give the uses that must stay their ground, those that want a certain place first."""
        uses = [self.knowledge.keep_uses[key] for key in facts.keep]
        # A cover that stays lies where it lies.
        self.stay = {use.feature for use in uses if use.feature in self.knowledge.taking_up}
        uses = [use for use in uses if use.feature not in self.stay]
        for use in sorted(uses, key=_most_bound):
            room = use.ground.value
            way = self.ground.way
            if use.near == "door" and not way.is_empty:
                self.kept.append(Placed(use.key, way.area, way, is_use=True))
                continue
            thing = Thing(
                key=use.key,
                amount=room,
                place="standing",
                ground_m2=room,
                length_m=0.0,
                measure="m2",
                use=use,
                takes_up=frozenset(self.ground.covers),
            )
            found = self.positions(thing)
            if not len(found):
                why = _("There is no room left for it on the map.")
                self.kept.append(Placed(use.key, room, None, why, is_use=True))
                continue
            one = _put(thing, found, 0)
            self.uses.append(one)
            if use.sun:
                self.seat = one.shape
            hours = seat_hours(found.shapes[:1], use, self.ground, self.knowledge)
            told = self.told(one)
            if hours is not None:
                few = hours[0] < self.knowledge.setting("sun_seat_h")
                told = replace(told, seat_hours=float(hours[0]), lacks=("sun",) if few else ())
            self.kept.append(told)

    def place(self, additions: Sequence[Candidate]) -> tuple[dict[str, Placed], bool]:
        """Place things together: by feature where each goes, and whether all were compared."""
        things, told = [], {}
        for one in sorted(additions, key=lambda each: each.feature):
            why = self.why_not(one)
            if why:
                told[one.feature] = Placed(one.feature, one.amount, None, why)
            else:
                things.append(self.thing(one))
        exact = len(things) <= _TOGETHER
        fit = self.put_together(things) if exact else self.put_in_turn(things)
        for thing in things:
            told[thing.key] = (
                self.told(self.put[thing.key])
                if thing.key in self.put
                else Placed(thing.key, thing.amount, None, _no_room(thing))
            )
        return told, exact and fit

    def reserve(self, best: Mapping[str, _Put], staged: Sequence[Candidate]) -> None:
        """Keep free where the best things go, as far as the stages have them in that amount."""
        amounts = {(one.feature, one.amount) for one in staged}
        self.put |= {key: one for key, one in best.items() if (key, one.thing.amount) in amounts}

    def stage(self, stage: Sequence[Candidate]) -> tuple[Placed, ...]:
        """Place what a stage adds; what is put down already stays there."""
        others = [one for one in stage if one.feature not in self.put]
        told = {key: self.told(one) for key, one in self.put.items()} | self.place(others)[0]
        return tuple(told[one.feature] for one in stage)

    def taken(self, *, at_wall: bool) -> shapely.Geometry:
        """What is taken already of the ground, or of the walls."""
        return shapely.union_all(
            [one.taken for one in (*self.uses, *self.put.values()) if one.at_wall == at_wall]
        )

    def thing(self, one: Candidate) -> Thing:
        feature = self.knowledge.features[one.feature]
        siting = self.knowledge.sitings[one.feature]
        woody = feature.sort == "woody"
        on_any_floor = one.place == "standing"
        return Thing(
            key=one.feature,
            amount=one.amount,
            place=one.place,
            ground_m2=one.ground_m2,
            length_m=one.length_m if one.place in _AT_WALL else 0.0,
            measure=feature.measure,
            placing=self.knowledge.placings[one.feature],
            kinds=frozenset({"tree"} if feature.tree else {"cover"} if woody else ()),
            takes_up=frozenset(self.ground.covers)
            if on_any_floor
            else (self.gives_way | set(siting.made_from)) - self.stay,
        )

    def why_not(self, one: Candidate) -> str:
        """Why no place can be looked for; empty where it can."""
        if one.place == "habit":
            return _("It is for the whole plot.")
        if one.place == "roof":
            return _("Which roof can carry it is not on the map.")
        if one.place == "under":
            return _("It goes under what grows there.")
        no_ground = one.place not in _AT_WALL and one.ground_m2 <= 0
        if one.feature not in self.knowledge.placings or no_ground:
            return _("Its position was not worked out.")
        return ""

    def positions(self, thing: Thing) -> Positions:
        """Where a thing can be beside what is put down already, the best place first."""
        if thing.place in _AT_WALL:
            return wall_positions(
                thing,
                self.ground,
                self.neighbourhood,
                self.knowledge,
                taken=self.taken(at_wall=True),
            )
        return ground_positions(
            thing,
            self.ground,
            self.knowledge,
            taken=self.taken(at_wall=False),
            seat=self.seat,
        )

    def put_together(self, things: Sequence[Thing]) -> bool:
        """Put things where they together lack least; of those that leave no room for others fewer.

        Returns whether all could be put down.
        """
        found = {thing.key: self.positions(thing) for thing in things}
        able = [thing for thing in things if len(found[thing.key])]
        few = round(self.knowledge.setting("place_choices"))
        some = [_apart(found[thing.key], few, self.ground) for thing in able]
        chosen = _best_together(able, some)
        if chosen is None:
            return self.put_in_turn(able) and len(able) == len(things)
        for thing, positions, at in zip(able, some, chosen, strict=True):
            self.put[thing.key] = _put(thing, positions, at)
        return len(able) == len(things)

    def put_in_turn(self, things: Sequence[Thing]) -> bool:
        """Put things down one after the other, the largest first."""
        for thing in sorted(things, key=lambda one: (-one.ground_m2, -one.length_m, one.key)):
            found = self.positions(thing)
            if len(found):
                self.put[thing.key] = _put(thing, found, 0)
        return all(thing.key in self.put for thing in things)

    def told(self, one: _Put) -> Placed:
        """The facts of a place, beside what else is put down."""
        new = [
            (other.thing.key, other.shape, other.thing.kinds)
            for other in self.put.values()
            if other is not one and other.thing.kinds
        ]
        seat = None if one.thing.use is not None and one.thing.use.sun else self.seat
        return facts_of(one.thing, one.positions, one.at, self.ground, seat=seat, new=new)


def _most_bound(use: KeepUse) -> tuple[bool, float, str]:
    """The order of uses: those that want sun, street or house first; of them the largest."""
    return not (use.sun or use.near), -use.ground.value, use.key


def _put(thing: Thing, positions: Positions, at: int) -> _Put:
    return _Put(thing, positions.shapes[at], positions.taken[at], positions, at)


def _no_room(thing: Thing) -> str:
    if thing.place in _AT_WALL:
        return _("No wall or fence on the map is long or high enough for it.")
    return _("The map shows no free ground of that size: look where it fits.")


def _overlap(one: shapely.Geometry, other: shapely.Geometry, at_wall: bool) -> bool:  # noqa: FBT001
    if at_wall:
        return bool(shapely.dwithin(one, other, _TOUCH_M))
    return bool(shapely.area(shapely.intersection(one, other)) > _TOUCH_M2)


def _apart(found: Positions, few: int, ground: PlotGround) -> Positions:
    """The best places: half of them the best of all, half the best of each part of the plot."""
    if len(found) <= few:
        return found
    west, south, east, north = ground.outline.bounds
    middle = shapely.get_coordinates(shapely.centroid(found.shapes))
    span = np.maximum([east - west, north - south], 1e-9)
    block = np.clip((middle - [west, south]) / span * _BLOCKS, 0, _BLOCKS - 1).astype(int)
    name = block[:, 0] * _BLOCKS + block[:, 1]
    # How many better ones lie in the same part.
    rank = np.zeros(len(found), int)
    for part in np.unique(name):
        rank[name == part] = np.arange(np.count_nonzero(name == part))
    spread = np.lexsort((np.arange(len(found)), rank))
    chosen = dict.fromkeys([*range(few // 2), *spread.tolist()])
    return found.some(np.sort(np.array(list(chosen)[:few])))


def _best_together(things: Sequence[Thing], some: Sequence[Positions]) -> list[int] | None:
    """The places that lack least, one a thing, none on another; None where none are free."""
    if not things:
        return []
    total = np.zeros([len(one) for one in some])
    for axis, one in enumerate(some):
        total = total + one.cost.reshape([-1 if at == axis else 1 for at in range(len(some))])
    for first, second in combinations(range(len(some)), 2):
        shape = [len(one) if at in (first, second) else 1 for at, one in enumerate(some)]
        pair = _pair_cost(things[first], some[first], things[second], some[second])
        total = total + pair.reshape(shape)
    best = int(np.argmin(np.round(total, 6)))
    at = np.unravel_index(best, total.shape)
    return None if np.isinf(total[at]) else [int(one) for one in at]


def _pair_cost(one: Thing, at_one: Positions, other: Thing, at_other: Positions) -> Array:
    """What two things cost each other at each pair of places; infinite where they overlap."""
    cost = np.zeros((len(at_one), len(at_other)))
    walls = one.place in _AT_WALL, other.place in _AT_WALL
    mine, theirs = at_one.taken[:, None], at_other.taken[None, :]
    if walls == (True, True):
        cost[shapely.dwithin(mine, theirs, _TOUCH_M)] = np.inf
    elif walls == (False, False):
        near = shapely.intersects(mine, theirs)
        a, b = np.nonzero(near)
        over = shapely.area(shapely.intersection(at_one.taken[a], at_other.taken[b]))
        lying = over > _TOUCH_M2
        cost[a[lying], b[lying]] = np.inf
    for who, whom in ((one, other), (other, one)):
        for kind in whom.kinds:
            least = None if who.placing is None else getattr(who.placing, f"{kind}_least")
            if least is not None:
                away = shapely.distance(at_one.shapes[:, None], at_other.shapes[None, :])
                cost += np.maximum(least.value - away, 0) / least.value
    return cost
