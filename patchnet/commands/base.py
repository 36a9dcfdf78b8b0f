"""patchnet base: the base map of a street from open data."""

from pathlib import Path

import click

from patchnet.base import keep_survey, make_base, summary_of, write_base
from patchnet.commands.asked import note_made
from patchnet.commands.options import knowledge_option, overwrite_option
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.files import ensure_may_write
from patchnet.core.geopackage import is_database
from patchnet.core.street_store import holding, replacing
from patchnet.core.texts import _, counted
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.text_table import paragraph
from patchnet.survey.release_layers import read_ledger
from patchnet.survey.survey_layers import read_records_if_any
from patchnet.survey.survey_record import Records, state_digest

__all__ = ["base"]

_FILE = click.Path(path_type=Path)
Box = tuple[float, float, float, float]


def _box(___: click.Context, __: click.Parameter, text: str | None) -> Box | None:
    if text is None:
        return None
    try:
        west, south, east, north = (float(part) for part in text.split(","))
    except ValueError as error:
        raise click.BadParameter(
            _("{text!r} is not four numbers with commas between: west, south, east, north.").format(
                text=text
            )
        ) from error
    if not (-180 <= west < east <= 180 and -90 <= south < north <= 90):
        raise click.BadParameter(
            _(
                "{text!r} is not a box in degrees: west (longitude), south (latitude), east, north."
            ).format(text=text)
        )
    return west, south, east, north


def _country(code: str, knowledge: Knowledge) -> str:
    """Return the country as the tables call it."""
    found = code.strip().casefold()
    if found and found not in knowledge.countries:
        hint = nearest_hint(found, list(knowledge.countries))
        raise WrongUse(
            _("{code!r} is no country of countries.csv.{hint}").format(code=code, hint=hint)
        )
    return found.upper()


@click.command
@click.argument("inputs", nargs=-1, type=_FILE, metavar="INPUT...")
@click.option("--osm", multiple=True, type=_FILE, metavar="FILE", help="An OpenStreetMap extract.")
@click.option("--parcels", multiple=True, type=_FILE, metavar="FILE", help="Parcels of land.")
@click.option("--buildings", multiple=True, type=_FILE, metavar="FILE", help="Buildings.")
@click.option("--roads", multiple=True, type=_FILE, metavar="FILE", help="Centre lines of roads.")
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
    help="Only plots of this street, with its place where there are several: 'Elm Road, Oxford' "
    "(can be repeated). It is found by name in an extract of any size.",
)
@click.option(
    "--earlier",
    type=_FILE,
    metavar="GPKG",
    help="An earlier base map: plots that are still there keep their numbers, and your own "
    "corrections and the survey are kept.",
)
@click.option("--crs", metavar="CODE", help="Coordinate system of files that do not name one.")
@click.option(
    "--credit",
    multiple=True,
    metavar="TEXT",
    help="Credit line for a file that has none (can be repeated).",
)
@click.option(
    "--country",
    default="",
    metavar="CODE",
    help="Country as two letters (GB, FI, DE): whom pages say to ask, and which money they name. "
    "Told from the map where it is not given.",
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
    country: str,
    knowledge: Knowledge,
    overwrite: bool,
    output: Path,
) -> None:
    """Make the base map of a street from open data: numbered plots, front and back, verges.

    INPUT is an OpenStreetMap extract (.osm, .osm.pbf, or GeoJSON of a query), parcels of a land
    registry (GML, GeoPackage ...), buildings, roads; patchnet sees from the content which is
    which. An extract alone is enough: without parcels, plots are estimated from buildings and
    streets, and marked as estimates, not boundaries. What nobody has mapped counts as not known,
    never as 'not there'.

    \b
    Examples:
      patchnet base country.osm.pbf --street "Elm Road, Oxford" -o street.gpkg
      patchnet base town.osm.pbf --bbox -1.262,51.750,-1.255,51.754 -o street.gpkg
      patchnet base town.osm parcels.gml --street "Elm Road" -o street.gpkg
      patchnet base --parcels plots.gpkg --buildings houses.shp --roads roads.gpkg -o street.gpkg
      patchnet base new.osm.pbf --earlier street.gpkg -o street_2027.gpkg
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    if output.suffix.casefold() != ".gpkg":
        raise WrongUse(
            _("{output} must end in .gpkg: a base map is a GeoPackage.").format(output=output)
        )
    ensure_may_write(
        output, overwrite=overwrite, reads=[*inputs, *osm, *parcels, *buildings, *roads]
    )
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
        country=_country(country, knowledge),
        tell=lambda text: click.echo(paragraph(text), err=True),
        knowledge=knowledge,
    )
    for fault in made.faults:
        click.echo(str(fault), err=True)
    with holding(output):
        _ensure_survey_kept(output, earlier)
        with replacing(output) as draft:
            write_base(made, draft)
            carried = 0 if earlier is None else keep_survey(earlier, draft, knowledge=knowledge)
            if earlier is not None and not _holds_survey_of(earlier, draft):
                _say_not_kept(earlier, output)
    if earlier is not None:
        note_made(earlier, output)
    for text in summary_of(made):
        click.echo(paragraph(text), err=True)
    if carried:
        click.echo(
            paragraph(
                _(
                    "The survey of the earlier base map is kept: {carried:,} statements, with who "
                    "agreed to be shown and who asked to be forgotten."
                ).format(carried=carried)
            ),
            err=True,
        )
    click.echo(_("Next: look at it, and make the sheets to take along:"), err=True)
    click.echo(f"  patchnet map {output} -o {output.with_suffix('.html')}", err=True)
    click.echo(f"  patchnet survey {output} -o survey", err=True)
    click.echo(output)


def _ensure_survey_kept(output: Path, earlier: Path | None) -> None:
    """Refuse to write a new base over a street that holds a survey, unless it is carried over."""
    if not output.exists() or (earlier is not None and output.samefile(earlier)):
        return
    records = read_records_if_any(output)
    if not records.are_none:
        raise WrongUse(
            _(
                "{output} holds a survey ({count}), which would be lost: say --earlier {output} to "
                "keep it, or name another file."
            ).format(output=output, count=_counts(records))
        )
    if _handed_out(output):
        raise WrongUse(
            _(
                "{output} remembers what was handed out to the public, which would be lost: say "
                "--earlier {output} to keep it, or name another file."
            ).format(output=output)
        )


def _holds_survey_of(earlier: Path, draft: Path) -> bool:
    """Whether all that was said, and all that was handed out, stands in a new base as well."""
    before, after = read_records_if_any(earlier), read_records_if_any(draft)
    return _handed_out(draft) == _handed_out(earlier) and (
        before.are_none or state_digest(after) == state_digest(before)
    )


def _say_not_kept(earlier: Path, output: Path) -> None:
    """Say that the survey of an earlier base is not in the new one.

    Raises
    ------
    WrongUse
        If the new one is to stand in its place.
    """
    if output.exists() and output.samefile(earlier):
        raise WrongUse(
            _(
                "The survey of {earlier} would be lost: too few of its plots are in the new base "
                "map, so this may be another place. Look at what you gave, or name another file."
            ).format(earlier=earlier)
        )
    click.echo(
        paragraph(
            _(
                "The survey of {earlier} is not in the new base map: too few of its plots are. It "
                "stays where it is."
            ).format(earlier=earlier)
        ),
        err=True,
    )


def _counts(records: Records) -> str:
    """Say how much was said."""
    told = {
        counted(len(records.statements), "statement"): len(records.statements),
        counted(len(records.drawn), "drawn shape"): len(records.drawn),
        counted(len(records.consent), "answer about consent", "answers about consent"): len(
            records.consent
        ),
        counted(len(records.forgotten), "forgotten plot"): len(records.forgotten),
    }
    return ", ".join(words for words, count in told.items() if count)


def _handed_out(path: Path) -> int:
    """Return how many cells of public tables the file of a street remembers."""
    return len(read_ledger(path).cells) if is_database(path) else 0
