"""patchnet city: a map too large for one piece, worked out tile by tile."""

import re
from pathlib import Path

import click

from patchnet.commands.in_tiles import in_tiles
from patchnet.commands.options import (
    Asked,
    AskedGround,
    ground_options,
    group_option,
    input_options,
    overwrite_option,
)
from patchnet.core.texts import _

__all__ = ["city"]

_MEMORY = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(MB|GB|TB)\s*", re.IGNORECASE)
_IN_GB = {"MB": 0.001, "GB": 1.0, "TB": 1000.0}


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
@click.option(
    "--importance",
    is_flag=True,
    help="Also what each plot is worth to the network: what is lost without it. With 4,000 plots "
    "it takes as long again as all the rest, with 100,000 some three times as long.",
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
    importance: bool,
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
      patchnet city town.gpkg -o town --group hedgehog --importance
      patchnet city town.parquet -o town --tile 500 --scheduler tcp://10.0.0.5:8786
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    in_tiles(
        asked,
        groups,
        ground,
        folder=output,
        page=output / "index.html",
        title=title,
        overwrite=overwrite,
        tile_m=tile,
        memory_gb=memory,
        workers=workers,
        scheduler=scheduler,
        importance=importance,
    )
