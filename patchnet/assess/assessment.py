"""The answers as frozen records; per-plot results carry the plots' own index."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import LineString, Point

from patchnet.assess.lodging import Pool
from patchnet.assess.over_ground import OverGround
from patchnet.assess.reach import Reach
from patchnet.assess.sharing import Form
from patchnet.assess.spread import GroupDoubt, Spread
from patchnet.assess.unknown import Prior
from patchnet.core.named import Named
from patchnet.core.shown import Shown
from patchnet.core.texts import _
from patchnet.knowledge.records import Group, Knowledge, Need
from patchnet.movement.land_cover import LandCover
from patchnet.network.measures import NetworkMeasures
from patchnet.network.patch_graph import PatchGraph
from patchnet.read.neighbourhood import Neighbourhood

__all__ = [
    "ANCHOR",
    "Asked",
    "Assessment",
    "Break",
    "FenceGap",
    "Giver",
    "GroupAnswer",
    "HasFeature",
    "NearFeature",
    "NeedAtPlot",
    "NeedSheet",
    "PlotAnswer",
    "PlotGroup",
    "Shortage",
]

ANCHOR = "anchor"


@dataclass(frozen=True, eq=False, repr=False)
class NeedSheet(Shown):
    """How one need of one group stands at each plot (all Series: index plots).

    Attributes
    ----------
    need
        The need itself (resource, amount one home takes, months, reach).
    enough
        Homes that the supply within reach is enough for (months combined by the month rule);
        what is not known counted as on surveyed plots of the same kind.
    enough_low, enough_high
        The same with everything not known absent, and present.
    room
        Homes there is room for within the same reach.
    met
        Share of one home's need that is met after sharing with all other homes, 0-1; of a need
        that does not hold the homes back, what they could take beyond what they do.
    by_month
        Columns 1-12: homes the supply of that month is enough for; NaN outside the need's
        months.
    hungry
        Columns 1-12: True in a month of the need whose supply within reach feeds fewer homes
        than there is room for (room > 0).
    """

    need: Need
    enough: "pd.Series[float]"
    enough_low: "pd.Series[float]"
    enough_high: "pd.Series[float]"
    room: "pd.Series[float]"
    met: "pd.Series[float]"
    by_month: pd.DataFrame
    hungry: pd.DataFrame


@dataclass(frozen=True, slots=True, eq=False)
class Shortage:
    """What holds homes back: a need of which some plots together take all that is within reach.

    Attributes
    ----------
    need
        Key of the need.
    months
        The month (1-12) that is short where the worst month decides, else all of the need's.
    met
        Share of a home's need that each of them got of it, 0-1.
    sharers
        Ids of the plots whose homes share it, in the order of the file; one alone where it finds
        too little even by itself.
    suppliers
        Ids of the plots that give it.
    """

    need: str
    months: tuple[int, ...]
    met: float
    sharers: tuple[str, ...]
    suppliers: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Break:
    """A break between two connected groups of patches, and what closing it would win.

    Attributes
    ----------
    from_plot, to_plot
        The two patches facing each other across the narrowest place.
    width_m
        Edge to edge, metres along the crossing.
    cost_m
        What crossing it costs, in metres of the best ground; the width for groups that fly.
    line
        The crossing, in the neighbourhood's CRS.
    plots_on_the_way
        Plots that the crossing touches, in order, without the two ends.
    stepping_stones
        The least number of stops that makes every hop short enough.
    homes_won
        Linked homes won if it were closed by stops of no size of their own.
    homes_each_side
        Homes held by the connected group on either side.
    """

    from_plot: str
    to_plot: str
    width_m: float
    cost_m: float
    line: LineString
    plots_on_the_way: tuple[str, ...]
    stepping_stones: int
    homes_won: float
    homes_each_side: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class FenceGap:
    """One gap to be made in a barrier, in an order in which each is counted with those before.

    Attributes
    ----------
    barriers
        Rows (from 0) of the neighbourhood's barriers that it goes through.
    kinds
        Their kinds.
    now
        What is known of gaps in them today: ``"no"``, ``"not_known"``, or ``"yes"`` (there is
        one, but elsewhere along them).
    plots
        The plots on its two sides; None where there is no plot.
    place
        Where, in the neighbourhood's CRS.
    joins
        The two patches that it brings closer.
    cost_before, cost_after
        Cost metres between those two; inf: no way.
    homes_won
        Linked homes won, the earlier gaps of the list being there: the mean of the draws, where
        there are any.
    key
        The step between two cells that it opens, see `patchnet.movement.barrier_steps.Steps`.
    won_low, won_high
        Ends of the middle 90 in 100 draws of that; None where there are none.
    often
        Share of the draws in which it wins anything, 0-1; None where there are none.
    """

    barriers: tuple[int, ...]
    kinds: tuple[str, ...]
    now: str
    plots: tuple[str | None, str | None]
    place: Point
    joins: tuple[str, str]
    cost_before: float
    cost_after: float
    homes_won: float
    key: int = -1
    won_low: float | None = None
    won_high: float | None = None
    often: float | None = None


@dataclass(frozen=True, slots=True)
class Giver:
    """A plot that gives some of a resource within reach, and how far away it is.

    `amount` is its mean supply over the need's months, in the resource's unit; `features` are
    the keys of the features that supply it there.
    """

    plot: str
    distance_m: float
    amount: float
    features: tuple[str, ...]


@dataclass(frozen=True, eq=False, repr=False)
class GroupAnswer(Shown):
    """All answers for one animal (Series: index plots).

    Attributes
    ----------
    group
        The group.
    room
        Homes each plot has room for (from the anchor), N.
    room_within
        The same within the anchor's own reach.
    quality
        Share of a full home's needs met, 0-1.
    homes
        Homes held, room x quality: an index of room, never a forecast of animals.
    homes_low, homes_high
        The same with everything not known absent, and present.
    patch
        True where the plot has habitat the group uses (also with no home).
    needs
        One sheet per need, in the order of the tables.
    scarcest
        Key of the need that is scarcest at each plot, or ``"anchor"`` where the homes
        themselves are.
    shortage
        The set that stopped each plot, whose need is the scarcest (see `Shortage`); None where
        none did.
    component
        Number of the connected group of patches (0, 1 ... largest homes first); -1: no patch.
    network
        The patch graph.
    measures
        Measures of the whole network (linked homes = ``measures.eca``).
    breaks
        Breaks, the most useful first.
    reach
        Which plots lie within the group's reach of which.
    ground
        The ground and the links over it; None where the group flies, or straight lines were
        asked for.
    places, pool
        Shape (n, 4): homes that there are places for, and at low, usual and high use; the ground
        that they are spread over (see `patchnet.assess.lodging`).
    drawn
        The same over many draws of all that is not sure, where they were taken (see
        `patchnet.doubt_of`); then means of these are what is told.

    Examples
    --------
    >>> import patchnet
    >>> wren = patchnet.assess(patchnet.read_demo(), groups=["wren"]).groups["wren"]
    >>> bool((wren.homes_low <= wren.homes_high).all()), wren.network.graph.number_of_nodes()
    (True, 68)
    """

    group: Group
    room: "pd.Series[float]"
    room_within: "pd.Series[float]"
    quality: "pd.Series[float]"
    homes: "pd.Series[float]"
    homes_low: "pd.Series[float]"
    homes_high: "pd.Series[float]"
    patch: "pd.Series[bool]"
    needs: tuple[NeedSheet, ...]
    scarcest: "pd.Series[str]"
    shortage: pd.Series
    component: "pd.Series[int]"
    network: PatchGraph
    measures: NetworkMeasures
    breaks: tuple[Break, ...]
    reach: Reach
    ground: OverGround | None
    places: NDArray[np.float64]
    pool: Pool | None
    drawn: GroupDoubt | None = None

    @property
    def homes_told(self) -> "tuple[pd.Series[float], pd.Series[float], pd.Series[float]]":
        """Homes held, and between what: over the draws, or by what is not known."""
        if self.drawn is None:
            return self.homes, self.homes_low, self.homes_high
        mean, low, high = (pd.Series(row, index=self.homes.index) for row in self.drawn.homes_at)
        return mean, low, high

    @property
    def ceiling(self) -> float:
        """Most homes that all the ground can hold; inf where no density is known."""
        return float("inf") if self.pool is None else float(self.pool.most.sum())

    @property
    def room_told(self) -> "pd.Series[float]":
        """Homes there is room for: the mean of the draws, where there are any."""
        if self.drawn is None:
            return self.room
        return pd.Series(self.drawn.room.mean(axis=0), index=self.room.index)

    @property
    def all_homes_told(self) -> Spread:
        """Homes held on all plots together, and between what."""
        if self.drawn is not None:
            return self.drawn.all_homes
        return Spread(*(float(homes.sum()) for homes in self.homes_told))

    @property
    def linked_told(self) -> Spread:
        """Linked homes, and between what; where nothing was drawn all three are one."""
        if self.drawn is not None:
            return self.drawn.linked_homes
        return Spread(self.measures.eca, self.measures.eca, self.measures.eca)

    def enough_told(self, need: int) -> "tuple[pd.Series[float], pd.Series[float]]":
        """Between what the supply of one need (its place) is enough for homes, plot by plot."""
        sheet = self.needs[need]
        if self.drawn is None:
            return sheet.enough_low, sheet.enough_high
        low, high = (
            pd.Series(row, index=sheet.enough.index) for row in self.drawn.enough_at[:, need]
        )
        return low, high


@dataclass(frozen=True, eq=False)
class Asked:
    """How an answer was asked for, see `patchnet.assess`.

    Attributes
    ----------
    quality
        ``"scarcest"`` or ``"mean"``.
    straight
        Whether groups that walk go in straight lines as well.
    cell_m
        Side of a cell of the ground, metres; None: chosen from the data.
    landcover
        The user's own land cover.
    """

    quality: Form = "scarcest"
    straight: bool = False
    cell_m: float | None = None
    landcover: LandCover | None = None

    @property
    def options(self) -> "dict[str, Any]":
        """What to give `patchnet.assess` to be answered in the same way again."""
        return {one.name: getattr(self, one.name) for one in fields(self)}


@dataclass(frozen=True, eq=False, repr=False)
class Assessment(Shown):
    """The whole answer for a neighbourhood.

    Attributes
    ----------
    amounts
        Amount of each feature on each plot, shape (n plots, features), in the feature's own
        unit, with what is not known drawn in as on surveyed plots of the same kind.
    supply
        Resource on each plot by month, shape (n plots, resources, 12), with what is not known
        counted as on surveyed plots of the same kind.
    known_share
        Share of the features that can be seen and are known, per plot, 0-1.
    asked
        How it was to be answered.
    prior
        What plots that nobody looked at were taken to be like; None for what is published.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren", "newt"], straight=True)
    >>> answer.table()["patches"].gt(0).all()
    np.True_
    """

    neighbourhood: Neighbourhood
    knowledge: Knowledge
    groups: Mapping[str, GroupAnswer]
    amounts: NDArray[np.float64]
    supply: NDArray[np.float64]
    known_share: "pd.Series[float]"
    asked: Asked = field(default_factory=Asked)
    prior: Prior | None = None

    @property
    def quality(self) -> Form:
        """Form of quality in use, ``"scarcest"`` or ``"mean"``."""
        return self.asked.quality

    @property
    def draws(self) -> int:
        """How many draws were taken of it, 0: none."""
        drawn = [one.drawn for one in self.groups.values()]
        return max((0 if one is None else len(one.linked) for one in drawn), default=0)

    def made_of(self) -> tuple[object, ...]:
        """All that this answer came from, for `patchnet.core.digest.digest_of`."""
        cover = self.asked.landcover
        raster = None if cover is None else Path(cover.path)
        groups = list(self.groups)
        return (
            self.neighbourhood, self.knowledge.digest, groups, self.asked, raster, self.prior
        )  # fmt: skip

    def of_groups(self, groups: Iterable[str]) -> "Assessment":
        """Return the same answer with fewer groups, in their order here.

        Parameters
        ----------
        groups
            Keys of groups.

        Raises
        ------
        WrongUse
            If a group is not in this answer; the nearest spellings are offered.
        """
        wanted = {self.groups[key].group.key for key in groups}
        kept = {key: one for key, one in self.groups.items() if key in wanted}
        return replace(self, groups=Named(kept, "animal"))

    def table(self) -> pd.DataFrame:
        """How each group stands in the whole neighbourhood, one row a group (index: its key).

        Returns
        -------
        DataFrame
            Columns ``name``; ``room`` and ``homes`` (sums over the plots, homes), ``homes_low``
            and ``homes_high`` (everything not known absent, and present); ``linked_homes``;
            of these means and the middle 90 in 100 where draws were taken;
            ``patches``, ``parts`` (connected groups of patches) and ``breaks`` (counts).
        """
        rows = [
            {
                "name": one.group.name,
                "room": one.room_told.sum(),
                "homes": one.all_homes_told.mean,
                "homes_low": one.all_homes_told.low,
                "homes_high": one.all_homes_told.high,
                "linked_homes": one.linked_told.mean,
                "patches": int(one.patch.sum()),
                "parts": one.measures.components,
                "breaks": len(one.breaks),
            }
            for one in self.groups.values()
        ]
        return pd.DataFrame(rows, index=pd.Index(list(self.groups), name="group"))

    def _rows(self) -> list[tuple[str, str]]:
        plots = self.neighbourhood.plots
        known = f"{self.known_share.mean():.0%}" if len(plots) else "nothing"
        name = _("{neighbourhood_name}: {n_plots:,} plots, {known} known").format(
            neighbourhood_name=self.neighbourhood.name, n_plots=len(plots), known=known
        )
        return [("neighbourhood", name), *self._lines()]

    def _lines(self) -> Iterator[tuple[str, str]]:
        for key, one in self.groups.items():
            told = one.all_homes_told
            homes = f"{told.mean:.2f} ({told.low:.2f}-{told.high:.2f})"
            linked = _("{eca:.2f} linked homes").format(eca=one.linked_told.mean)
            yield (
                key,
                _("{linked}; {homes} homes, in {components} parts").format(
                    linked=linked, homes=homes, components=one.measures.components
                ),
            )


@dataclass(frozen=True, slots=True)
class HasFeature:
    """A feature on the plot itself: amount in its own unit, stated or typical, sure or not."""

    feature: str
    amount: float
    sized: bool
    sure: bool


@dataclass(frozen=True, slots=True)
class NearFeature:
    """A feature that neighbours have: on how many plots in view, and the nearest of them."""

    feature: str
    plots: int
    nearest: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class NeedAtPlot:
    """One line of a plot's balance sheet (see `NeedSheet`), with who gives it.

    `months` pairs each month of the need with the homes it is enough for; `standing` is
    ``"short"`` (enough for fewer homes than there is room for), ``"enough"``, ``"plenty"``
    (several times the room) or ``"no room"`` (no home of the group fits within reach).
    """

    need: str
    name: str
    resource: str
    reach_m: float
    enough: float
    enough_low: float
    enough_high: float
    room: float
    met: float
    standing: str
    months: tuple[tuple[int, float], ...]
    hungry_months: tuple[int, ...]
    givers: tuple[Giver, ...]
    giver_count: int


@dataclass(frozen=True, slots=True)
class PlotGroup:
    """How one group stands at one plot; `shortage` as in `GroupAnswer`."""

    group: str
    room: float
    room_within: float
    quality: float
    homes: float
    homes_low: float
    homes_high: float
    patch: bool
    scarcest: str
    needs: tuple[NeedAtPlot, ...]
    shortage: Shortage | None = None


@dataclass(frozen=True, slots=True, repr=False)
class PlotAnswer(Shown):
    """What one plot has, what its neighbours give it, and what is scarcest within reach.

    Attributes
    ----------
    not_known
        Keys of features nobody could say anything about on this plot, of those that can be seen.
    assumed
        What cannot be seen from outside and is taken to be there: feature and amount, in its own
        unit (see `patchnet.assess.unseen`).
    neighbours_not_known
        Plots in view with anything not known: id, distance (m), share of features not known.
    view_m
        How far the neighbours listed in `near` and `neighbours_not_known` lie at most.
    draws
        How many draws the ranges are of; 0: they are by what is not known alone.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> patchnet.plot_answer(answer, "M15B").groups[0].group
    'wren'
    """

    plot: str
    label: str
    kind: str
    area_m2: float
    has: tuple[HasFeature, ...]
    not_known: tuple[str, ...]
    assumed: tuple[tuple[str, float], ...]
    near: tuple[NearFeature, ...]
    neighbours_not_known: tuple[tuple[str, float, float], ...]
    view_m: float
    groups: tuple[PlotGroup, ...]
    draws: int = 0
