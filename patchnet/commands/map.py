"""patchnet map: a neighbourhood file to one map page."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import click

from patchnet.city.sources import count_plots
from patchnet.commands.asked import (
    additions_asked,
    assess_for,
    ensure_not_public,
    in_draws,
    layers_bar,
    note_made,
    read_asked,
    surface_asked,
)
from patchnet.commands.options import (
    Asked,
    AskedDraws,
    AskedGround,
    AskedSurface,
    additions_option,
    audience_option,
    cache_option,
    draws_option,
    ground_options,
    group_option,
    input_options,
    overwrite_option,
    surface_options,
    together_option,
)
from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write
from patchnet.core.texts import _
from patchnet.pages.kit.street_words import street_told
from patchnet.pages.map.map_page import write_map
from patchnet.plan.street_plan_file import read_street_plan
from patchnet.read.as_geopackage import layers_as_geopackage
from patchnet.read.neighbourhood import Audience
from patchnet.sun.shade import sun_hours

__all__ = ["map_"]


@click.command("map")
@input_options
@cache_option
@group_option
@ground_options()
@overwrite_option
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, metavar="HTML")
@click.option("--title", help="Name of the place; its streets if not given.")
@click.option(
    "--tiles",
    metavar="NAME|URL",
    help="Draw a background from the network: 'openstreetmap' or a {z}/{x}/{y} address. "
    "Without it the page needs no network.",
)
@click.option("--tiles-credit", metavar="TEXT", help="Credit line of the background's maker.")
@click.option(
    "--underlay",
    type=click.Path(path_type=Path),
    metavar="TIF",
    help="A picture of your own to lie under the gardens, such as an aerial photograph or an old "
    "map: any raster that says where it lies. It goes into the page; a button shows it.",
)
@click.option(
    "--public",
    is_flag=True,
    help="The same as --for public, for a page to be published: without fences and gaps too. The "
    "page says what is left out.",
)
@audience_option
@click.option(
    "--sun",
    is_flag=True,
    help="Also work out hours of direct sun on each plot, from heights of buildings, fences and "
    "walls: a layer of the map. Takes a second or two more for each hundred plots.",
)
@additions_option
@surface_options
@together_option
@draws_option
def map_(
    *,
    groups: tuple[str, ...],
    overwrite: bool,
    output: Path,
    title: str | None,
    tiles: str | None,
    tiles_credit: str | None,
    underlay: Path | None,
    public: bool,
    audience: Audience,
    sun: bool,
    additions: bool | None,
    surface: AskedSurface,
    together: Path | None,
    asked: Asked,
    ground: AskedGround,
    draws: AskedDraws,
) -> None:
    """Draw the map of a neighbourhood: one HTML file that opens anywhere, without network.

    Of a whole town (more plots than the setting map_overview_plots) it is an overview, with a
    page for each neighbourhood in a folder of the same name beside it, worked out tile by tile as
    'patchnet city' does, once and without draws.

    \b
    Examples:
      patchnet map street.gpkg -o street.html
      patchnet map plots.geojson --features survey.csv -o street.html
      patchnet map street.gpkg --group wren --group sparrow -o birds.html
      patchnet map street.gpkg --public -o notice_board.html
      patchnet map street.gpkg --sun --additions -o street.html
      patchnet map street.gpkg --together plan.json -o street.html
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    ensure_not_public(additions=additions, public=public or audience == "public")
    if together is not None and (public or audience == "public"):
        raise WrongUse(
            _("A street's plan is for the people of the street: leave out --together here.")
        )
    ensure_may_write(
        output, overwrite=overwrite, reads=[asked.file, asked.features, together, underlay]
    )
    limit = asked.knowledge.setting("map_overview_plots")
    counted = count_plots(asked.file)
    hood = None if counted > limit else read_asked(asked)
    if hood is None or len(hood.plots) > limit:
        more = {
            "--public": public,
            "--for": audience != "own",
            "--features": counted > 0 and asked.features is not None,
            "--sun": sun,
            "--heights": surface.heights is not None,
            "--additions": bool(additions),
            "--together": together is not None,
            "--tiles": tiles is not None,
            "--underlay": underlay is not None,
        }
        _ensure_none([key for key, on in more.items() if on], limit)
        hood = None  # it takes memory that the tiles need
        with _in_pieces(asked, counted) as pieces:
            _overview(pieces, groups, ground, output, title, asked.file)
        return
    kept = None if together is None else read_street_plan(together)
    heights = surface_asked(surface, hood, asked.knowledge)
    audience = "public" if public else audience
    answer = assess_for(hood, asked, groups, ground, audience)
    hours = None
    if sun or heights is not None:
        hours = sun_hours(answer.neighbourhood, asked.knowledge, surface=heights)
    found = additions_asked(answer, additions=additions, public=audience == "public")
    write_map(
        answer if audience == "public" else in_draws(answer, draws, asked.cache),
        output,
        title=title,
        tiles=tiles,
        tiles_credit=tiles_credit,
        underlay=underlay,
        public=audience == "public",
        sun=hours,
        additions=found,
        together=None if kept is None else street_told(kept, hood.plots.index, asked.knowledge),
        overwrite=overwrite,
        progress=layers_bar,
    )
    note_made(asked.file, output, audience=audience)
    click.echo(output)


def _ensure_none(more: Sequence[str], limit: float) -> None:
    """Refuse what an overview cannot show."""
    if more:
        raise WrongUse(
            _(
                "FILE has more than {n:,} plots: its map is an overview, which cannot be drawn "
                "with {options}. Leave them out, or draw a part of the town by itself."
            ).format(n=round(limit), options=", ".join(more))
        )


@contextmanager
def _in_pieces(asked: Asked, counted: int) -> Iterator[Asked]:
    """Give a map that can be read piece by piece, as a copy of any other can be."""
    if counted:
        yield asked
        return
    with TemporaryDirectory(prefix="patchnet-") as folder:
        copy = Path(folder) / f"{asked.file.stem}.gpkg"
        layers_as_geopackage(asked.file, copy, asked.features)
        yield replace(asked, file=copy, features=None)


def _overview(
    asked: Asked,
    groups: tuple[str, ...],
    ground: AskedGround,
    output: Path,
    title: str | None,
    made_from: Path,
) -> None:
    """Draw a whole town: an overview, and a page a neighbourhood in a folder beside it."""
    from patchnet.commands.in_tiles import in_tiles  # noqa: PLC0415 - a city's work

    folder = output.with_suffix("") if output.suffix else output.with_name(f"{output.name}_tiles")
    in_tiles(
        asked, groups, ground, folder=folder, page=output, title=title, overwrite=True,
        made_from=made_from,
    )  # fmt: skip
