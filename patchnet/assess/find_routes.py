"""How an animal that walks gets about: links, breaks, ways across them, or one way."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment, Break
from patchnet.assess.fences import break_corridors, squeeze
from patchnet.assess.tables import break_table, link_table
from patchnet.assess.ways import WayBetween, walking_ground, way_between
from patchnet.core.errors import WrongUse
from patchnet.core.shown import Shown
from patchnet.core.texts import _
from patchnet.movement.corridors import Corridor
from patchnet.movement.surface import CostSurface

__all__ = ["Routes", "find_routes"]


@dataclass(frozen=True, eq=False, repr=False)
class Routes(Shown):
    """Ways over the ground of one group that walks.

    Attributes
    ----------
    assessment
        The answer that they were looked for in.
    group
        Key of the group.
    between
        The two plots asked about; None: the whole neighbourhood.
    corridors
        The cheapest ways across the first breaks; with `between` the one way.
    way
        With `between`: that way, with the resistance of all ways together; else None.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["frog"], cell_m=2)
    >>> routes = patchnet.find_routes(answer, "frog", most=1)
    >>> routes.links().crs == answer.neighbourhood.plots.crs
    True
    """

    assessment: Assessment
    group: str
    between: tuple[str, str] | None
    corridors: tuple[Corridor, ...]
    way: WayBetween | None

    @property
    def surface(self) -> CostSurface:
        """What a metre costs everywhere, and what barriers close."""
        return walking_ground(self.assessment, self.group).surface

    def table(self) -> gpd.GeoDataFrame:
        """The corridors as lines; one without a way is left out.

        Returns
        -------
        GeoDataFrame
            Columns ``from_plot``, ``to_plot``, ``cost_m`` (cost metres), ``length_m`` (metres),
            ``plots`` (on the way, with semicolons between), ``geometry``, in the neighbourhood's
            CRS.
        """
        rows = [
            (way.plot_a, way.plot_b, way.cost, way.length_m, "; ".join(way.plots), way.line)
            for way in self.corridors
            if way.line is not None
        ]
        columns = ["from_plot", "to_plot", "cost_m", "length_m", "plots", "geometry"]
        return gpd.GeoDataFrame(
            pd.DataFrame(rows, columns=columns),
            geometry="geometry",
            crs=self.assessment.neighbourhood.plots.crs,
        )

    def links(self) -> gpd.GeoDataFrame:
        """Every link of the group as a line, see `patchnet.link_table`."""
        return link_table(self._alone(), all_links=True)

    def breaks(self) -> gpd.GeoDataFrame:
        """Every break of the group as a line, see `patchnet.break_table`."""
        return break_table(self._alone())

    def current(self) -> NDArray[np.float32]:
        """Where movement is squeezed: between all patches, or between the two plots.

        Returns
        -------
        ndarray
            Shape of ``surface.cost``, amperes (McRae, Dickson, Keitt & Shah 2008, Ecology
            89:2712-2724).

        Raises
        ------
        WrongUse
            If the ground has too many cells, or there are fewer than two patches.
        """
        if self.way is not None:
            if self.way.current is None:
                raise WrongUse(self.way.not_worked_out)
            return self.way.current
        between_all = squeeze(self.assessment, self.group)
        if between_all is None:
            most = self.assessment.knowledge.setting("squeeze_cells_max")
            raise WrongUse(
                _(
                    "The current between all patches needs two patches, and ground of at most "
                    "{most:,.0f} cells (settings/squeeze_cells_max): give a larger --cell, or two "
                    "plots with --from and --to."
                ).format(most=most)
            )
        return between_all

    def _alone(self) -> Assessment:
        return self.assessment.of_groups([self.group])


def find_routes(
    assessment: Assessment,
    group: str,
    *,
    between: tuple[str, str] | None = None,
    most: int = 3,
    progress: Callable[[Iterable[Break]], Iterable[Break]] | None = None,
) -> Routes:
    """Find the ways of a group over the ground.

    Parameters
    ----------
    assessment
        An answer that holds the group, worked out over the ground (not on straight lines).
    group
        Key of a group that walks, such as ``"hedgehog"``.
    between
        Ids of two plots: the cheapest way between them. None: the ways across the breaks.
    most
        Without `between`: across how many breaks at most.
    progress
        Wraps the breaks while they are worked through, such as a progress bar.

    Returns
    -------
    Routes
        Its `table`, `links` and `breaks` are GeoDataFrames of lines. They show how gardens can
        be entered: for the group, not for publishing.

    Raises
    ------
    WrongUse
        If there is no such group or plot (the nearest spellings are offered), or the group flies.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["frog"], cell_m=2)
    >>> way = patchnet.find_routes(answer, "frog", between=("M15B", "M17B"))
    >>> list(way.table().columns[:4])
    ['from_plot', 'to_plot', 'cost_m', 'length_m']
    """
    walking_ground(assessment, group)
    if between is None:
        corridors = break_corridors(assessment, group, most=most, progress=progress)
        return Routes(assessment, group, None, corridors, None)
    way = way_between(assessment, group, *between)
    return Routes(assessment, group, between, (way.corridor,), way)
