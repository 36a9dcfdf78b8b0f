"""Options about sun that commands share, and the one way in which they are read."""

import functools
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import click

from patchnet.core.errors import WrongUse
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.sun.surface_heights import SurfaceHeights, read_surface_heights

__all__ = ["AskedSurface", "surface_asked", "surface_options"]


@dataclass(frozen=True)
class AskedSurface:
    """What was asked for about measured heights."""

    heights: Path | None = None
    bare_earth: Path | None = None


def surface_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add --heights and --bare-earth; the command gets one `surface`, an `AskedSurface`."""

    @functools.wraps(command)
    def with_surface(*, heights: Path | None, bare_earth: Path | None, **others: object) -> None:
        if bare_earth is not None and heights is None:
            raise WrongUse("--bare-earth goes with --heights: what stands on the bare earth.")
        command(surface=AskedSurface(heights, bare_earth), **others)

    for option in (
        click.option(
            "--bare-earth",
            type=click.Path(path_type=Path),
            metavar="TIF",
            help="With --heights: height of the bare earth (a digital terrain model).",
        ),
        click.option(
            "--heights",
            type=click.Path(path_type=Path),
            metavar="TIF",
            help="Measured heights of all that stands, roofs and trees, in metres (a digital "
            "surface model): sun and shade come from them.",
        ),
    ):
        with_surface = option(with_surface)
    return with_surface


def surface_asked(
    asked: AskedSurface, neighbourhood: Neighbourhood, knowledge: Knowledge
) -> SurfaceHeights | None:
    """Read the measured heights that were asked for, if any, and say its warnings."""
    if asked.heights is None:
        return None
    found = read_surface_heights(
        asked.heights, neighbourhood.plots, knowledge, bare_earth=asked.bare_earth
    )
    for fault in found.faults:
        click.echo(str(fault), err=True)
    return found
