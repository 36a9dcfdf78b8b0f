"""A whole city: cut into tiles, worked out piece by piece, put together, and kept.

In this order, each a piece of work that is done once (`patchnet.city.parts`):

1. the map is cut into tiles (`tiles`);
2. each tile is read with its halo (`tile_work.read_step`);
3. all of them are put together: what was seen, cells of the ground, faults (`tile_work.learn`);
4. each tile is worked out (`tile_work.ground_step`);
5. who reaches whom: an animal's moves on the whole city, then what each tile's plots reach
   (`bunched`);
6. each animal is answered on the whole city (`animal_work.animal_step`);
7. if it is asked for, what each plot is worth to an animal's network: the links at each tile's
   patches, what the routes from them lose with each patch, and their sums (`importance_work`);
8. each tile's plots are handed over with how all animals stand (`results`).

Then the manifest is written, and what was under way is thrown away.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Protocol

import numpy as np
import pandas as pd

from patchnet.assess.assess import choose_groups
from patchnet.assess.sharing import Form
from patchnet.city.animal_work import animal_step
from patchnet.city.answer_folder import begin, finish, is_finished, make_ready
from patchnet.city.asked import CityAsked
from patchnet.city.bunched import (
    STOPS,
    WHOLE,
    choose_form,
    is_reached,
    let_bunches_go,
    reach_step,
    shared_as,
    stops_step,
)
from patchnet.city.city_answer import City, answer_in
from patchnet.city.importance_work import (
    IMPORTANCE,
    LINKS,
    LOSSES,
    links_step,
    losses_step,
    of_each,
    sum_step,
)
from patchnet.city.memory import (
    GB,
    abreast,
    ensure_animals_fit,
    ensure_importance_fits,
    exact_bytes,
    links_bytes,
    losses_bytes,
    reach_bytes,
    tile_bytes,
)
from patchnet.city.parts import digest_of_file
from patchnet.city.read_tile import INDEX, crs_of_plots, ids_of, plots_spoken_of
from patchnet.city.results import BREAKS, breaks_step, result_ending, result_step
from patchnet.city.sources import Source, open_source
from patchnet.city.tile_work import (
    LEARNT,
    ensure_covered,
    ground_step,
    learn,
    learnt,
    read_step,
)
from patchnet.city.tiles import cut_into_tiles
from patchnet.city.workers import Crew, Work
from patchnet.core.compiled import cores
from patchnet.core.digest import digest_of, own_digest
from patchnet.core.errors import DataFaults, WrongUse
from patchnet.core.faults import Fault
from patchnet.core.texts import N_, _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.movement.land_cover import LandCover, unreadable
from patchnet.read.crs import metres_for, parse_crs
from patchnet.read.from_file import local_path

__all__ = ["assess_city"]

_STEPS = {
    "read": N_("reading tiles"),
    "ground": N_("working out tiles"),
    "stops": N_("moves of animals"),
    "reach": N_("who reaches whom"),
    "animals": N_("animals on the whole city"),
    "links": N_("links of plots"),
    "losses": N_("importance of plots"),
    "sums": N_("importance added up"),
    "results": N_("writing tiles"),
}


class Progress(Protocol):
    """Told of work that goes on: how much each piece is of the whole, as it is done."""

    def __call__(self, done: Iterable[int], doing: str, total: int) -> Iterable[int]:
        """Pass on what comes; `total` is what it adds up to."""


def assess_city(
    file: Path | str,
    folder: Path | str,
    *,
    tile_m: int = 1000,
    groups: Iterable[str] | None = None,
    knowledge: Knowledge | None = None,
    columns: Mapping[str, str] | None = None,
    crs: str | None = None,
    region: str | None = None,
    straight: bool = False,
    cell_m: float | None = None,
    landcover: LandCover | None = None,
    quality: Form = "scarcest",
    importance: bool = False,
    memory_gb: float = 4.0,
    workers: int | None = None,
    scheduler: str | None = None,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> City:
    """Answer for a city, tile by tile, and keep the answer in a folder.

    The same question asked again goes on where it was left, however it ended.

    Supplies are shared exactly where that fits into the memory. An animal for which it does not is
    shared in twenty portions, over tiles that exchange what they ask of each other; how far off
    that is, is measured on a part of the city and told (`City.animals`).

    Parameters
    ----------
    file
        GeoPackage, FlatGeobuf or GeoParquet with plots, or a folder with one such file a layer.
    folder
        Where the answer is put; made if missing.
    tile_m
        Side of a tile, metres.
    groups
        Keys of animals; None: the usual ones.
    knowledge
        The tables; None: those that ship with patchnet.
    columns, crs, region
        As in `patchnet.read_neighbourhood`.
    straight, cell_m, landcover, quality
        As in `patchnet.assess`; a cell of the ground is chosen once for the whole city.
    importance
        Also what the network of each animal loses when a plot goes (percent of the PC numerator,
        columns ``loss_``, ``own_``, ``flow_`` and ``connector_`` as in `patchnet.plot_table`).
    memory_gb
        Number of GB (1e9 bytes) that all processes may take together; on a cluster: each.
    workers
        How many processes; None: one a core.
    scheduler
        Address of a Dask scheduler that does the work; None: this computer.
    overwrite
        Whether the answer to another question that stands in the folder may be thrown away.
    progress
        Told of what is done (plots), such as a progress bar.

    Returns
    -------
    City
        As `read_city` gives it.

    Raises
    ------
    DataFaults
        If the data have errors: those of all tiles at once.
    CannotRead
        If the file cannot be read, or not piece by piece.
    CannotWrite
        If the folder cannot be written to, or holds something else.
    WrongUse
        If an animal does not exist, or a piece of work would not fit into the memory.

    Examples
    --------
    >>> import geopandas, patchnet, shapely
    >>> outlines = [shapely.box(0, 0, 10, 30), shapely.box(2000, 0, 2010, 30)]
    >>> said = {"id": ["1", "2"], "kind": "garden", "features": ["pond 3", "shrub 8"]}
    >>> plots = geopandas.GeoDataFrame(said, geometry=outlines, crs="EPSG:27700")
    >>> plots.to_file("city.gpkg", layer="plots")
    >>> city = patchnet.assess_city("city.gpkg", "answer", groups=["wren"], workers=1)
    >>> list(city.tiles["file"])
    ['tiles/E0N0.parquet', 'tiles/E2000N0.parquet']
    """
    knowledge = knowledge or load_knowledge()
    path, home = local_path(file), Path(folder)
    if not memory_gb > 0:
        raise WrongUse(_("The memory must be above 0 GB."))
    keys = None if groups is None else tuple(one.key for one in choose_groups(knowledge, groups))
    if keys == ():
        raise WrongUse(_("Name at least one animal."))
    if region is not None:
        choose_groups(knowledge, keys, region)
    source = open_source(path)
    options = (
        tile_m, keys, dict(columns or {}), crs, region, straight, cell_m, quality, result_ending(),
        None if landcover is None or straight else _digest_of_cover(landcover), importance,
    )  # fmt: skip
    made_of = digest_of(own_digest(), source.digest(), _digest_of_tables(knowledge), options)
    make_ready(home, made_of, overwrite=overwrite)
    if is_finished(home):
        return answer_in(home, 0.0)
    begin(home, made_of)
    own = crs_of_plots(source, parse_crs(crs))
    boxes = source.plots.boxes
    known = boxes[np.isfinite(boxes).all(axis=1)]
    whole = (*known[:, :2].min(axis=0), *known[:, 2:].max(axis=0)) if len(known) else None
    metres = metres_for(whole, own, knowledge)
    tiles = cut_into_tiles(source.plots, own, metres, float(tile_m))
    asked = CityAsked(
        path.resolve(), home.resolve(), tiles, knowledge, made_of,
        keys=keys, columns=columns, crs=crs, region=region, straight=straight, cell_m=cell_m,
        quality=quality, landcover=_found_from_anywhere(landcover), importance=importance,
    )  # fmt: skip
    run = _Run(asked, Crew(scheduler), memory_gb * GB, workers or cores(), progress)
    run.all_steps(source)
    finish(asked)
    return answer_in(home, run.crew.peak / GB)


def _digest_of_cover(cover: LandCover) -> str:
    """Of a raster that may be larger than the memory, and of what its classes cost."""
    path = Path(cover.path)
    raster = digest_of_file(path)
    if not raster:
        raise unreadable(path)
    return digest_of(raster, sorted(cover.costs.items()), cover.band)


def _found_from_anywhere(cover: LandCover | None) -> LandCover | None:
    """Name its file by the whole path: workers have folders of their own."""
    return None if cover is None else replace(cover, path=Path(cover.path).resolve())


@lru_cache(maxsize=4)
def _digest_of_tables(knowledge: Knowledge) -> str:
    return digest_of(knowledge)


@dataclass
class _Run:
    """One run through all steps; what was done before is passed over."""

    asked: CityAsked
    crew: Crew
    allowed: float
    workers: int
    progress: Progress | None

    def all_steps(self, source: Source) -> None:
        asked = self.asked
        if not asked.work.is_done(INDEX):
            self._index(source)
        counts = {tile.name: tile.count for tile in asked.tiles.tiles}
        names = sorted(counts, key=lambda one: (-counts[one], one))
        self._step("read", read_step, names, ".read", tile_bytes(asked, None), counts)
        if not asked.work.is_done(LEARNT):
            learn(asked)
        cell = learnt(asked).cell_m
        least = ensure_animals_fit(asked, self.allowed)
        if asked.importance:
            ensure_importance_fits(asked, self.allowed)
        self._step("ground", ground_step, names, ".ground", tile_bytes(asked, cell), counts)
        ensure_covered(asked)
        needed = self._reaches(least, names, counts)
        keys = sorted(needed, key=lambda one: (-needed[one], one))
        plots = len(asked.tiles.rows)
        self._step("animals", animal_step, keys, "", needed, dict.fromkeys(keys, plots))
        if asked.importance:
            self._importance(keys, names, counts)
        done = {name for name in names if asked.results.is_done(f"{name}.result")}
        left = [name for name in names if name not in done]
        self._do("results", result_step, left, dict.fromkeys(left, 0.0), counts, len(done))
        if not asked.results.is_done(BREAKS):
            breaks_step(asked)

    def _importance(
        self, keys: Sequence[str], names: Sequence[str], counts: Mapping[str, int]
    ) -> None:
        """Find what each plot is worth to the network of each animal."""
        asked = self.asked
        linking = {
            of_each(name, key): much
            for key in keys
            for name, much in links_bytes(asked, asked.knowledge.groups[key]).items()
        }
        pieces = {of_each(name, key): counts[name] for key in keys for name in names}
        plots = dict.fromkeys(keys, len(asked.tiles.rows))
        losing = losses_bytes(asked)
        self._step("links", links_step, list(pieces), LINKS, linking, pieces)
        self._step(
            "losses", losses_step, list(pieces), LOSSES, dict.fromkeys(pieces, losing), pieces
        )
        self._step("sums", sum_step, keys, IMPORTANCE, dict.fromkeys(keys, losing), plots)

    def _reaches(
        self, least: Mapping[str, float], names: Sequence[str], counts: Mapping[str, int]
    ) -> Mapping[str, float]:
        """Find who reaches whom; choose how each animal is shared, and return what that takes."""
        asked = self.asked
        keys = sorted(least)
        plots = dict.fromkeys(keys, len(asked.tiles.rows))
        self._step("stops", stops_step, keys, STOPS, least, plots)
        left = [name for name in names if not is_reached(asked, name, keys)]
        needed = dict.fromkeys(left, reach_bytes(asked))
        self._do("reach", reach_step, left, needed, counts, len(names) - len(left))
        let_bunches_go()
        takes = dict(least)
        for key in keys:
            exact = exact_bytes(asked, asked.knowledge.groups[key])
            choose_form(asked, key, exact=exact <= self.allowed)
            if shared_as(asked, key) == WHOLE:
                takes[key] = exact
        return takes

    def _index(self, source: Source) -> None:
        """Look through the ids of all plots, and which rows of tables speak of which."""
        asked = self.asked
        by_row = pd.Series(ids_of(source, asked.columns, asked.knowledge), index=source.plots.rows)
        ids = by_row.reindex(pd.Index(asked.tiles.rows)).tolist()
        twice = pd.Index(ids)
        errors = [
            Fault(
                "error", source.plots.where, None, str(one),
                _("Several plots have the id {ident!r}.").format(ident=str(one)),
                _("Give each plot an id of its own."),
            )
            for one in twice[twice.duplicated()].unique()
            if one
        ]  # fmt: skip
        if errors:
            raise DataFaults(errors)
        spoken, faults = plots_spoken_of(source, ids, asked.columns, asked.knowledge)
        if any(one.severity == "error" for one in faults):
            raise DataFaults(faults)
        asked.work.put_arrays(f"{INDEX}.npz", spoken)
        told = [[one.where, one.row, one.ident, one.what, one.mend] for one in faults]
        asked.work.finish(INDEX, [f"{INDEX}.npz"], {"warnings": told})

    def _step(
        self,
        doing: str,
        work: Work,
        names: Sequence[str],
        ending: str,
        needed: Mapping[str, float],
        weights: Mapping[str, int],
    ) -> None:
        left = [name for name in names if not self.asked.work.is_done(f"{name}{ending}")]
        most = max((needed[name] for name in left), default=0.0)
        if most > self.allowed:
            raise WrongUse(
                _(
                    "A tile with what lies round it would take {most:.1f} GB, and {allowed:.1f} GB "
                    "are allowed: say a smaller --tile, larger cells with --cell, or more with "
                    "--memory."
                ).format(most=most / GB, allowed=self.allowed / GB)
            )
        self._do(doing, work, left, needed, weights, len(names) - len(left))

    def _do(
        self,
        doing: str,
        work: Work,
        left: Sequence[str],
        needed: Mapping[str, float],
        weights: Mapping[str, int],
        done: int,
    ) -> None:
        if not left:
            return
        side_by_side = abreast([needed[name] for name in left], self.allowed, self.workers)
        total = sum(weights[name] for name in left)
        finished = self.crew.do(work, self.asked, left, workers=side_by_side)
        amounts: Iterator[int] = (weights[name] for name in finished)
        words = _(_STEPS[doing])
        if done:
            words = _("{doing} ({done} done before)").format(doing=words, done=done)
        told: Iterable[int] = amounts
        if self.progress is not None:
            told = self.progress(amounts, words, total)
        for __ in told:
            pass
