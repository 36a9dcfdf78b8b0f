"""A map worked out tile by tile into a folder: what `city` is, and `map` of a whole town."""

import sys
import time
from collections.abc import Iterable
from pathlib import Path

import click
from tqdm import tqdm

from patchnet.city.assess_city import assess_city
from patchnet.city.city_answer import City
from patchnet.commands.asked import note_made
from patchnet.commands.options import WARNINGS, Asked, AskedGround, say_faults
from patchnet.core.errors import WrongUse
from patchnet.core.freed_memory import keep_freed_memory
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.sheets.city_page import told_of_portions, write_city_page

__all__ = ["in_tiles"]

_TOLD_EVERY_S = 30.0


def in_tiles(
    asked: Asked,
    groups: tuple[str, ...],
    ground: AskedGround,
    *,
    folder: Path,
    page: Path,
    title: str | None,
    overwrite: bool,
    tile_m: int | None = None,
    memory_gb: float | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    importance: bool = False,
    made_from: Path | None = None,
) -> None:
    """Work a map out tile by tile into a folder, and write the page that leads to all of it.

    Parameters
    ----------
    asked, groups, ground
        As the command line has them.
    folder, page
        Where the tiles go, and the page of the whole.
    title
        What it is called, or None.
    overwrite
        Whether the answer to another question may be thrown away.
    tile_m, memory_gb, workers, scheduler
        As in `patchnet.assess_city`; None: as there.
    importance
        As in `patchnet.assess_city`.
    made_from
        The user's file, where the one that is read is a copy of it.

    Raises
    ------
    WrongUse
        If features stand in a file of their own.
    """
    keep_freed_memory()
    if asked.features is not None:
        raise WrongUse(
            _("A city's features stand in FILE: put the table into it, instead of --features.")
        )
    sizes = {"tile_m": tile_m, "memory_gb": memory_gb, "workers": workers, "scheduler": scheduler}
    found = assess_city(
        asked.file,
        folder,
        groups=groups or None,
        knowledge=asked.knowledge,
        columns=asked.columns,
        crs=asked.crs,
        region=asked.region,
        straight=ground.straight,
        cell_m=ground.cell_m,
        landcover=ground.landcover,
        importance=importance,
        overwrite=overwrite,
        progress=_told,
        **{key: one for key, one in sizes.items() if one is not None},  # type: ignore[arg-type]
    )
    write_city_page(found, page, knowledge=asked.knowledge, title=title)
    _say(found, asked.knowledge)
    note_made(made_from or asked.file, folder, *([] if page.parent == folder else [page]))
    click.echo(page)


def _say(found: City, knowledge: Knowledge) -> None:
    """Say on the error stream what is to be known: warnings, portions, memory."""
    say_faults(found.faults)
    more = len(found.faults) - WARNINGS
    if more > 0:
        click.echo(_("... and {more} more warnings.").format(more=more), err=True)
    if words := told_of_portions(found, knowledge):
        click.echo(words, err=True)
    if found.peak_gb:
        click.echo(_("Took at most {peak:.2f} GB of memory.").format(peak=found.peak_gb), err=True)


def _told(done: Iterable[int], doing: str, total: int) -> Iterable[int]:
    """Show how far it is and the time left: a bar on a terminal, else a line now and then."""
    if sys.stderr.isatty():
        with tqdm(total=total, desc=doing, unit=_("plots"), leave=False, file=sys.stderr) as bar:
            for one in done:
                bar.update(one)
                yield one
        return
    began = told = time.monotonic()
    so_far = 0
    for one in done:
        so_far += one
        now = time.monotonic()
        if now - told >= _TOLD_EVERY_S and so_far < total:
            told = now
            left = (now - began) / so_far * (total - so_far)
            words = _("{doing}: {share:.0%}, about {left:.0f} minutes left")
            click.echo(
                words.format(doing=doing, share=so_far / total, left=max(1.0, left / 60)), err=True
            )
        yield one
