"""What a city is asked, and where the answer is put: the same in every process."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assess import choose_groups
from patchnet.assess.assessment import Asked
from patchnet.assess.sharing import Form
from patchnet.assess.unknown import Prior, seen_of_counts
from patchnet.city.parts import Parts
from patchnet.city.tiles import KEPT_M, Tiles, halo_m, longest_reach_m
from patchnet.knowledge.records import Group, Knowledge
from patchnet.movement.land_cover import LandCover

__all__ = ["TILES", "WORK", "CityAsked", "Learnt"]

WORK, TILES = ".work", "tiles"
"""Folders of what is under way, and of what is handed over."""


@dataclass(frozen=True, eq=False)
class CityAsked:
    """What a city is asked.

    Attributes
    ----------
    file
        The map.
    folder
        Where the answer is put; work that is under way lies in a hidden folder in it.
    tiles
        How the map is cut.
    keys
        Animals that are asked for; None: the usual ones.
    knowledge
        The tables.
    made_of
        Digest of all that the answer depends on.
    columns, crs, region
        As in `patchnet.read_neighbourhood`.
    straight, cell_m, quality, landcover
        As in `patchnet.assess`.
    importance
        Whether it is worked out too what each plot is worth to the network.
    """

    file: Path
    folder: Path
    tiles: Tiles
    knowledge: Knowledge
    made_of: str
    keys: tuple[str, ...] | None = None
    columns: Mapping[str, str] | None = None
    crs: str | None = None
    region: str | None = None
    straight: bool = False
    cell_m: float | None = None
    quality: Form = "scarcest"
    landcover: LandCover | None = None
    importance: bool = False

    @property
    def work(self) -> Parts:
        """What is under way."""
        return Parts(self.folder / WORK, self.folder / WORK, self.made_of)

    @property
    def results(self) -> Parts:
        """What is handed over: a file a tile."""
        return Parts(self.folder / TILES, self.folder / WORK, self.made_of)

    def groups(self, region: str) -> tuple[Group, ...]:
        """Return the animals that are asked for, where the city lies in a region."""
        return choose_groups(self.knowledge, self.keys, region)

    @cached_property
    def widest(self) -> tuple[Group, ...]:
        """Every animal that may be asked for, wherever it is."""
        if self.keys is not None:
            return self.groups("")
        regions = ["", *self.knowledge.regions]
        found = {group.key: group for region in regions for group in self.groups(region)}
        return tuple(found.values())

    @property
    def halo_m(self) -> float:
        """How far round its plots a tile is read, metres."""
        return halo_m(self.widest, self.knowledge, straight=self.straight)

    @property
    def kept_m(self) -> float:
        """Longest straight line that tiles keep, metres."""
        return min(longest_reach_m(self.widest), KEPT_M)

    def asked(self, cell_m: float | None) -> Asked:
        """How each answer is asked for."""
        return Asked(
            quality=self.quality, straight=self.straight, cell_m=cell_m, landcover=self.landcover
        )


@dataclass(frozen=True, eq=False)
class Learnt:
    """What all tiles together tell, before any of them is worked out.

    Attributes
    ----------
    region
        In which most plots lie.
    cell_m
        Side of a cell of the ground, metres.
    seen
        What was seen on plots of each kind: shape (kinds, 3, F): plots on which anybody looked,
        those that have it, and how much they have together in the feature's own unit.
    kinds
        The kinds.
    """

    region: str
    cell_m: float
    seen: NDArray[np.float64]
    kinds: tuple[str, ...]

    def prior(self) -> Prior:
        """Return what plots that nobody looked at are like, as learnt from the whole city."""
        by_kind = {
            kind: seen_of_counts(one) for kind, one in zip(self.kinds, self.seen, strict=True)
        }
        nothing = np.empty((0, self.seen.shape[2]))
        pooled = seen_of_counts(self.seen.sum(axis=0))
        return Prior(by_kind, pooled, nothing, np.empty(0, dtype=object))
