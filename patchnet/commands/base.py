"""patchnet base: the base map of a street from open data."""

from pathlib import Path

import click

from patchnet.base import keep_survey, make_base, summary_of, write_base
from patchnet.commands.options import knowledge_option, overwrite_option
from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write
from patchnet.core.street_store import holding, replacing
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.text_table import paragraph
from patchnet.survey.survey_layers import read_records_if_any

__all__ = ["base"]

_FILE = click.Path(path_type=Path)
Box = tuple[float, float, float, float]


def _box(_: click.Context, __: click.Parameter, text: str | None) -> Box | None:
    if text is None:
        return None
    try:
        west, south, east, north = (float(part) for part in text.split(","))
    except ValueError as error:
        raise click.BadParameter(
            f"{text!r} is not four numbers with commas between: west, south, east, north."
        ) from error
    if not (-180 <= west < east <= 180 and -90 <= south < north <= 90):
        raise click.BadParameter(
            f"{text!r} is no box in degrees: west (longitude), south (latitude), east, north."
        )
    return west, south, east, north


@click.command
@click.argument("inputs", nargs=-1, type=_FILE, metavar="INPUT...")
@click.option("--osm", multiple=True, type=_FILE, metavar="FILE", help="An OpenStreetMap extract.")
@click.option("--parcels", multiple=True, type=_FILE, metavar="FILE", help="Parcels of land.")
@click.option("--buildings", multiple=True, type=_FILE, metavar="FILE", help="Buildings.")
@click.option("--roads", multiple=True, type=_FILE, metavar="FILE", help="Middle lines of roads.")
@click.option(
    "--bbox",
    callback=_box,
    metavar="W,S,E,N",
    help="Only what lies in this box: west, south, east, north in degrees.",
)
@click.option(
    "--street",
    multiple=True,
    metavar="NAME",
    help="Only plots of this street (can be repeated).",
)
@click.option(
    "--earlier",
    type=_FILE,
    metavar="GPKG",
    help="An earlier base map: plots that are still there keep their numbers, what was put right "
    "by hand stays, and its survey goes along.",
)
@click.option("--crs", metavar="CODE", help="Coordinate system where a file names none.")
@click.option(
    "--credit",
    multiple=True,
    metavar="TEXT",
    help="Line of attribution for a file that brings none (can be repeated).",
)
@knowledge_option
@overwrite_option
@click.option("-o", "--output", type=_FILE, required=True, metavar="GPKG")
def base(
    *,
    inputs: tuple[Path, ...],
    osm: tuple[Path, ...],
    parcels: tuple[Path, ...],
    buildings: tuple[Path, ...],
    roads: tuple[Path, ...],
    bbox: Box | None,
    street: tuple[str, ...],
    earlier: Path | None,
    crs: str | None,
    credit: tuple[str, ...],
    knowledge: Knowledge,
    overwrite: bool,
    output: Path,
) -> None:
    """Make the base map of a street from open data: numbered plots, front and back, verges.

    INPUT is an OpenStreetMap extract (.osm, .osm.pbf, or GeoJSON of a query), parcels of a land
    registry (GML, GeoPackage ...), buildings, roads; what each is, its content tells. An extract
    alone is enough: without parcels, plots are derived from buildings and streets, and marked as
    not a boundary. What nobody has mapped is not known, never 'not there'.

    \b
    Examples:
      patchnet base town.osm.pbf --bbox -1.262,51.750,-1.255,51.754 -o street.gpkg
      patchnet base town.osm parcels.gml --street "Elm Road" -o street.gpkg
      patchnet base --parcels plots.gpkg --buildings houses.shp --roads roads.gpkg -o street.gpkg
      patchnet base new.osm.pbf --earlier street.gpkg -o street_2027.gpkg
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    if output.suffix.casefold() != ".gpkg":
        raise WrongUse(f"{output} must end in .gpkg: a base map is a GeoPackage.")
    ensure_may_write(output, overwrite=overwrite)
    made = make_base(
        inputs,
        osm=osm,
        parcels=parcels,
        buildings=buildings,
        roads=roads,
        box=bbox,
        street=street,
        earlier=earlier,
        crs=crs,
        credits=credit,
        knowledge=knowledge,
    )
    for fault in made.faults:
        click.echo(str(fault), err=True)
    with holding(output):
        _ensure_survey_kept(output, earlier)
        with replacing(output) as draft:
            write_base(made, draft)
            carried = 0 if earlier is None else keep_survey(earlier, draft, knowledge=knowledge)
    for text in summary_of(made):
        click.echo(paragraph(text), err=True)
    if carried:
        click.echo(
            paragraph(
                f"The survey of the earlier base is kept: {carried:,} statements, with consent and "
                "what was to be forgotten."
            ),
            err=True,
        )
    click.echo("Next, to look at it, and to make the sheets to take along:", err=True)
    click.echo(f"  patchnet map {output} -o {output.with_suffix('.html')}", err=True)
    click.echo(f"  patchnet survey {output} -o survey", err=True)
    click.echo(output)


def _ensure_survey_kept(output: Path, earlier: Path | None) -> None:
    """Refuse to write a new base over a street that holds a survey, unless it is carried over."""
    if not output.exists() or (earlier is not None and output.samefile(earlier)):
        return
    count = len(read_records_if_any(output).statements)
    if count:
        raise WrongUse(
            f"{output} holds a survey of {count:,} statements, which would be lost: say "
            f"--earlier {output} to keep it, or name another file."
        )
