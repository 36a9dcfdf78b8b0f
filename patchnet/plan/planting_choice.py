"""The exact choice of plants: a mixed-integer programme, solved by branch and bound.

The aim, the first part before the second:

1. *Cover*: the weight of the hungry months in which at least one plant of the planting feeds
   something with its flowers.
2. *Worth*, the sum of

   - for each kind of plant its own worth (that it fits, each job beyond the first, being native,
     being edible where wished), less in light off its best, and a share of it again for each
     further place it stands in;
   - for a plant of a tested mix, that it is the one that was tested; for each, that it is of this
     plot's share of the street's kinds;
   - for each job wanted here, the worth of it once some plant does it;
   - for each hungry month, the worth of a second kind in flower;
   - for each month that is not hungry, the worth of something in flower, more within the year's
     span (``planting_year_first`` to ``planting_year_last``);
   - for each layer of each place, the worth of its being used;
   - for each of the gardener's guides (evergreen, scented at night, seed or berry for winter,
     leaf for caterpillars, two for long tongues, two open ones), the worth of its being there.

Under these bounds: the fewest of every kind chosen fit the layer of the place together (layers
overlap, plants of one layer share the room), each line of a mix has one kind, plants of dry and of
moist ground never share a place, shrubs take no more of a street box than their part, all cost no
more than the money there is, and a place and the plot have no more kinds than their bound (the
plot without mixes, hedges, trees and plug plants in
grass). Of plantings alike in both parts, that which takes the plants standing earlier in the
table. The weights are settings
(``planting_...``), all our own assumptions. Worth is counted in whole thousandths and cover in
whole ten-thousandths of the hungriest month, so that ties are ties.
"""

import os
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array

from patchnet.knowledge.records import Knowledge
from patchnet.plan.planting_fits import LINE, Option, Site, shrub_crown, side_of

__all__ = ["Aim", "Choice", "choose"]

_STDOUT = 1  # the process's own, as POSIX numbers it

_WORTH = 1000
_COVER = 10_000

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Aim:
    """What the planting is for.

    Attributes
    ----------
    hungry
        Weight of each hungry month.
    wants
        Weight of each job wanted.
    edible
        Whether plants to eat from are wished.
    money
        What the plants may cost, in the currency of the ``cost`` settings; None: anything.
    """

    hungry: Mapping[int, float]
    wants: Mapping[str, float]
    edible: bool
    money: float | None = None


@dataclass(frozen=True, slots=True)
class Choice:
    """Numbers of the options chosen, the value of the aim, and whether that is proved best."""

    options: tuple[int, ...]
    cover: float
    worth: float
    exact: bool


def choose(
    knowledge: Knowledge, places: tuple[Site, ...], options: tuple[Option, ...], aim: Aim
) -> Choice:
    """Choose among the options (see the module for the aim).

    Parameters
    ----------
    knowledge
        For the settings.
    places, options
        What is planted, and every plant in every place it fits.
    aim
        Hungry months, jobs wanted, wish for edible plants.

    Notes
    -----
    Solved by HiGHS (Huangfu & Hall 2018, Math. Program. Comput. 10:119-142) through SciPy, in
    three runs: cover; worth at that cover; the order of the table at both.
    """
    if not options:
        return Choice((), 0.0, 0.0, True)
    programme = _Programme(knowledge, places, options, aim)
    exact = True
    bounds: list[tuple[Floats, float]] = []
    values = np.zeros(programme.size)
    for gain in (programme.cover, programme.worth):
        values, proved = programme.solve(gain, bounds)
        exact = exact and proved
        # Whole numbers: half a unit below the best is the best.
        bounds.append((gain, round(float(gain @ values)) - 0.5))
    values, _ = programme.solve(-programme.order, bounds, fallback=values)
    chosen = np.flatnonzero(values[: len(options)] > 0.5)
    most = max(aim.hungry.values(), default=0.0)
    return Choice(
        options=tuple(int(at) for at in chosen),
        cover=round(float(programme.cover @ values)) / _COVER * most,
        worth=round(float(programme.worth @ values)) / _WORTH,
        exact=exact,
    )


class _Programme:
    """Variables in one row: taken (one an option, whole), first, then shares from 0 to 1."""

    def __init__(
        self, knowledge: Knowledge, places: tuple[Site, ...], options: tuple[Option, ...], aim: Aim
    ) -> None:
        self.knowledge = knowledge
        self.options = options
        self.count = len(options)
        self.gains: list[tuple[float, float]] = [(0.0, 0.0)] * (2 * self.count)
        self.rows: list[dict[int, float]] = []
        self.limits: list[float] = []
        self.switches: list[int] = []
        self._kinds(aim)
        self._layers(places)
        self._moisture(places)
        self._guides()
        if aim.money is not None:
            prices = {at: option.least * option.price for at, option in enumerate(options)}
            self._at_most(prices, aim.money)
        self._months(aim)
        self._jobs(aim)
        self.size = len(self.gains)
        cover, worth = zip(*self.gains, strict=True)
        self.cover, self.worth = np.array(cover), np.array(worth)
        self.order = np.zeros(self.size)
        rank = np.arange(self.count)
        # Sums of these are as good as never equal, unlike sums of the ranks themselves.
        self.order[: self.count] = 1000 * (1 + rank) + rank**2 % 997
        self.matrix = _matrix(self.rows, self.size)
        self.whole = np.zeros(self.size)
        self.whole[: self.count] = 1
        self.whole[self.switches] = 1
        self.nodes = int(knowledge.setting("planting_nodes"))

    def solve(
        self,
        gain: Floats,
        bounds: list[tuple[Floats, float]],
        fallback: Floats | None = None,
    ) -> tuple[Floats, bool]:
        """Return the values that gain most and whether that is proved."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        constraints = [LinearConstraint(self.matrix, -np.inf, np.array(self.limits))]
        constraints += [LinearConstraint(row[np.newaxis], least, np.inf) for row, least in bounds]
        with _standard_output_shut():
            found = milp(
                -gain,
                integrality=self.whole,
                bounds=Bounds(0, 1),
                constraints=constraints,
                options={"mip_rel_gap": 0.0, "node_limit": self.nodes},
            )
        if found.x is None:
            return (np.zeros(self.size) if fallback is None else fallback), False
        return np.asarray(found.x, dtype=np.float64), found.status == 0

    # rows ----------------------------------------------------------------------------------

    def _at_most(self, row: dict[int, float], limit: float) -> None:
        self.rows.append(row)
        self.limits.append(limit)

    def _share(self, cover: float, worth: float, by: dict[int, float]) -> None:
        """Add a share that grows with what is taken, up to 1."""
        at = len(self.gains)
        self.gains.append((cover, worth))
        self._at_most({at: 1.0, **{one: -amount for one, amount in by.items()}}, 0.0)

    def _kinds(self, aim: Aim) -> None:
        """Worth of the kinds: the first place of a kind counts whole, the others in part."""
        repeat = self.knowledge.setting("planting_repeat")
        same: dict[str, dict[int, float]] = {}
        for at, option in enumerate(self.options):
            first = self.count + at
            own = self._own(option, aim)
            self.gains[at] = (0.0, round(_WORTH * (repeat * own + self._meant(option))))
            self.gains[first] = (0.0, round(_WORTH * (1 - repeat) * own))
            self._at_most({first: 1.0, at: -1.0}, 0.0)
            same.setdefault(option.plant.key, {})[first] = 1.0
        for row in same.values():
            if len(row) > 1:
                self._at_most(row, 1.0)

    def _meant(self, option: Option) -> float:
        """Worth of standing where it was tested, and of being this plot's share."""
        know = self.knowledge
        ours = know.setting("planting_worth_share") if option.ours else 0.0
        return know.setting("planting_worth_tested") * option.tested + ours

    def _own(self, option: Option, aim: Aim) -> float:
        plant, know = option.plant, self.knowledge
        own = know.setting("planting_worth_kind")
        own += know.setting("planting_worth_job") * max(0, len(set(option.jobs)) - 1)
        own += know.setting("planting_worth_native") * plant.native
        edible = aim.edible and plant.key in know.plant_lists["edible"]
        return option.light * (own + know.setting("planting_worth_edible") * edible)

    def _layers(self, places: tuple[Site, ...]) -> None:
        layers: dict[tuple[int, str], dict[int, float]] = {}
        for at, option in enumerate(self.options):
            layers.setdefault((option.site, option.tier), {})[at] = option.least * option.each
        worth = round(_WORTH * self.knowledge.setting("planting_worth_layer"))
        for (site, tier), row in sorted(layers.items()):
            if tier.startswith(LINE):
                self._at_most(dict.fromkeys(row, 1.0), 1.0)
            else:
                self._at_most(row, places[site].room + 1e-9)
            self._share(0.0, worth, dict.fromkeys(row, 1.0))
        for site, place in enumerate(places):
            row = {at: 1.0 for at, option in enumerate(self.options) if option.site == site}
            if len(row) > place.kinds:
                self._at_most(row, place.kinds)
            if place.shrub_most is not None:
                crowns = {at: self.options[at].least * shrub_crown(self.options[at].plant)
                          for at in row}  # fmt: skip
                self._at_most(crowns, place.shrub_most + 1e-9)
        self._once(places)
        most = int(self.knowledge.setting("planting_kinds_all"))
        row = {
            at: 1.0
            for at, option in enumerate(self.options)
            if places[option.site].place.counted == "m2" and places[option.site].mix is None
        }
        if len(row) > most:
            self._at_most(row, most)

    def _once(self, places: tuple[Site, ...]) -> None:
        """A kind stands for one line of a mix only."""
        same: dict[tuple[int, str], dict[int, float]] = {}
        for at, option in enumerate(self.options):
            if places[option.site].mix is not None:
                same.setdefault((option.site, option.plant.key), {})[at] = 1.0
        for row in same.values():
            if len(row) > 1:
                self._at_most(row, 1.0)

    def _moisture(self, places: tuple[Site, ...]) -> None:
        """Plants of dry and of moist ground never share a place: a switch says which it is."""
        for site in range(len(places)):
            sides: dict[str, list[int]] = {"dry": [], "moist": []}
            for at, option in enumerate(self.options):
                side = side_of(option.plant.soil)
                if option.site == site and side:
                    sides[side].append(at)
            if not (sides["dry"] and sides["moist"]):
                continue
            switch = len(self.gains)
            self.gains.append((0.0, 0.0))
            self.switches.append(switch)
            for at in sides["moist"]:
                self._at_most({at: 1.0, switch: -1.0}, 0.0)
            for at in sides["dry"]:
                self._at_most({at: 1.0, switch: 1.0}, 1.0)

    def _guides(self) -> None:
        """What a gardener looks for in any planting, once over all its places."""
        know = self.knowledge
        worth = round(_WORTH * know.setting("planting_worth_guide"))
        part = 1 / know.setting("planting_guide_kinds")
        guide = {key: role.guide for key, role in know.plant_roles.items()}

        def does(what: str) -> Callable[[Option], bool]:
            return lambda one: any(guide.get(job) == what for job in one.jobs)

        guides: tuple[tuple[float, Callable[[Option], bool]], ...] = (
            (1.0, lambda one: one.plant.evergreen),
            *((1.0, does(what)) for what in ("night", "winter", "leaf")),
            (part, lambda one: bool(one.months) and one.plant.tongue in ("long", "any")),
            (part, lambda one: bool(one.months) and one.plant.tongue in ("short", "any")),
        )
        for amount, serves in guides:
            by = {self.count + at: amount for at, one in enumerate(self.options) if serves(one)}
            if by:
                self._share(0.0, worth, by)

    def _months(self, aim: Aim) -> None:
        """A month is covered by one kind in flower; a second kind counts among the worth."""
        know = self.knowledge
        hungriest = max(aim.hungry.values(), default=0.0)
        first, last = (int(know.setting(f"planting_year_{end}")) for end in ("first", "last"))
        for month in range(1, 13):
            by = {
                self.count + at: 1.0
                for at, option in enumerate(self.options)
                if month in option.months
            }
            weight = aim.hungry.get(month, 0.0)
            if weight == 0:
                within = "year" if first <= month <= last else "month"
                self._share(0.0, round(_WORTH * know.setting(f"planting_worth_{within}")), by)
                continue
            part = weight / hungriest
            self._share(max(1, round(_COVER * part)), 0.0, by)
            covered = len(self.gains) - 1
            second = round(_WORTH * know.setting("planting_worth_second") * part)
            self._share(0.0, second, {covered: -1.0, **by})

    def _jobs(self, aim: Aim) -> None:
        most = max(aim.wants.values(), default=0.0)
        worth = self.knowledge.setting("planting_worth_want")
        for job, weight in aim.wants.items():
            if weight > 0:
                by = {
                    self.count + at: 1.0
                    for at, option in enumerate(self.options)
                    if job in option.jobs
                }
                self._share(0.0, round(_WORTH * worth * weight / most), by)


def _matrix(rows: list[dict[int, float]], size: int) -> csr_array:
    at = [(row, column, value) for row, cells in enumerate(rows) for column, value in cells.items()]
    row, column, value = (np.array(part) for part in zip(*at, strict=True))
    return coo_array((value, (row, column)), shape=(len(rows), size)).tocsr()


@contextmanager
def _standard_output_shut() -> Iterator[None]:
    """Keep what the solver's own code prints out of the answer (it would spoil JSON).

    The solver writes to the process's standard output, past Python's; a process that has none
    needs nothing shut.
    """
    try:
        kept = os.dup(_STDOUT)
    except OSError:
        yield
        return
    try:
        sys.stdout.flush()
        with Path(os.devnull).open("wb") as nowhere:
            os.dup2(nowhere.fileno(), _STDOUT)
        yield
    finally:
        os.dup2(kept, _STDOUT)
        os.close(kept)
