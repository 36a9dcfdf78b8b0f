"""patchnet city: a map too large for one piece, worked out tile by tile."""

import re
import sys
import time
from collections.abc import Iterable
from pathlib import Path

import click
from tqdm import tqdm

from patchnet.city.assess_city import assess_city
from patchnet.commands.asked import note_made
from patchnet.commands.options import (
    WARNINGS,
    Asked,
    AskedGround,
    ground_options,
    group_option,
    input_options,
    overwrite_option,
    say_faults,
)
from patchnet.core.errors import WrongUse
from patchnet.core.freed_memory import keep_freed_memory
from patchnet.core.texts import _
from patchnet.pages.sheets.city_page import told_of_portions, write_city_page

__all__ = ["city"]

_MEMORY = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(MB|GB|TB)\s*", re.IGNORECASE)
_IN_GB = {"MB": 0.001, "GB": 1.0, "TB": 1000.0}
_TOLD_EVERY_S = 30.0


def _memory_gb(_context: click.Context, _parameter: click.Parameter, said: str) -> float:
    found = _MEMORY.fullmatch(said)
    if found is None or not float(found[1]):
        raise click.BadParameter(_("{said!r} must be written like 4GB or 800MB.").format(said=said))
    return float(found[1]) * _IN_GB[found[2].upper()]


@click.command
@input_options
@group_option
@ground_options()
@overwrite_option
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, metavar="DIR")
@click.option(
    "--tile",
    type=click.IntRange(min=10),
    default=1000,
    show_default=True,
    metavar="METRES",
    help="Side of a tile.",
)
@click.option(
    "--memory",
    default="4GB",
    show_default=True,
    callback=_memory_gb,
    metavar="SIZE",
    help="How much memory all processes may take together; with --scheduler, each worker.",
)
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    metavar="N",
    help="How many processes; one a core if not given.",
)
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Let a Dask cluster do the work, such as tcp://10.0.0.5:8786. Each worker must see FILE "
    "and DIR under the same path. Needs 'patchnet[cluster]'.",
)
@click.option("--title", help="Name of the city; none is said if not given.")
def city(
    *,
    asked: Asked,
    groups: tuple[str, ...],
    ground: AskedGround,
    overwrite: bool,
    output: Path,
    tile: int,
    memory: float,
    workers: int | None,
    scheduler: str | None,
    title: str | None,
) -> None:
    """Work out a whole city, tile by tile, into a folder.

    FILE is a GeoPackage, FlatGeobuf or GeoParquet, or a folder with one such file a layer; it is
    read piece by piece. DIR gets the plots of each tile with how every animal stands
    (tiles/*.parquet, or .gpkg without 'patchnet[parquet]'), all breaks, a manifest, and a page with
    the whole at a glance (index.html). Started again, it goes on where it was left. Animals for
    which the sharing of supplies does not fit into --memory are shared in portions: about right,
    and it says how far off.

    \b
    Examples:
      patchnet city town.gpkg -o town
      patchnet city town.gpkg -o town --group mason_bee --group hedgehog --memory 8GB
      patchnet city town.parquet -o town --tile 500 --scheduler tcp://10.0.0.5:8786
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    keep_freed_memory()
    if asked.features is not None:
        raise WrongUse(
            _("A city's features stand in FILE: put the table into it, instead of --features.")
        )
    if ground.landcover is not None:
        raise WrongUse(_("A city is worked out without --landcover."))
    found = assess_city(
        asked.file,
        output,
        tile_m=tile,
        groups=groups or None,
        knowledge=asked.knowledge,
        columns=asked.columns,
        crs=asked.crs,
        region=asked.region,
        straight=ground.straight,
        cell_m=ground.cell_m,
        memory_gb=memory,
        workers=workers,
        scheduler=scheduler,
        overwrite=overwrite,
        progress=_told,
    )
    write_city_page(found, output / "index.html", knowledge=asked.knowledge, title=title)
    say_faults(found.faults)
    more = len(found.faults) - WARNINGS
    if more > 0:
        click.echo(_("... and {more} more warnings.").format(more=more), err=True)
    for words in told_of_portions(found):
        click.echo(words, err=True)
    if found.peak_gb:
        click.echo(_("Took at most {peak:.2f} GB of memory.").format(peak=found.peak_gb), err=True)
    note_made(asked.file, output)
    click.echo(output / "index.html")


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
