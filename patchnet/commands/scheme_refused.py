"""Where no planter can be chosen: the cause, the way out, and a tape-measure sheet if one helps."""

from collections.abc import Callable, Sequence
from pathlib import Path

import click
import shapely

from patchnet.commands.asked import meant_plot, note_made
from patchnet.commands.options import Asked
from patchnet.core.errors import WrongUse
from patchnet.core.numbers import parse_number
from patchnet.core.texts import _, counted
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.text_table import paragraph
from patchnet.pages.privacy import for_audience
from patchnet.pages.scheme.files import write_scheme_folder
from patchnet.pages.scheme.tape_sheet import tape_files
from patchnet.read.neighbourhood import Audience, Neighbourhood
from patchnet.read.points import point_on_map
from patchnet.scheme.planter_scheme import SchemeAsk
from patchnet.street.keepers import keepers_trouble
from patchnet.street.nowhere import nowhere
from patchnet.street.site import Site, Street
from patchnet.street.to_measure import places_to_measure

__all__ = ["ensure_somewhere", "leave_tape_sheet", "point_asked"]


def point_asked(said: str, hood: Neighbourhood, know: Knowledge) -> shapely.Point:
    """Return the point that is meant by a plot, or by x and y."""
    numbers = [parse_number(part) for part in said.split(",")]
    if len(numbers) == 2 and numbers[0] is not None and numbers[1] is not None:
        point, odd = point_on_map(numbers[0], numbers[1], hood, knowledge=know)
        if point is None:
            raise WrongUse(odd)
        return point
    shape = hood.plots.geometry.loc[meant_plot(hood, said)]
    return shapely.Point(shape.representative_point())


def ensure_somewhere(
    sites: Sequence[Site], ask: SchemeAsk, leave_sheet: Callable[[str], str], know: Knowledge
) -> None:
    """Refuse, with the cause and the way out, where no planter can be chosen."""
    usable = [
        site
        for site in sites
        if site.verdict in ask.verdicts
        and ask.sides in ("both", site.side)
        and site.key not in ask.locked_out
    ]
    why = "" if usable else nowhere(sites, ask.verdicts, ask.sides)
    dry = keepers_trouble(ask.keepers, usable, knowledge=know)
    if dry and ask.unkept == 0:
        why = dry
    elif dry:
        click.echo(paragraph(dry), err=True)
    if why:
        raise WrongUse("\n".join(filter(None, [why, leave_sheet(why)])))


def leave_tape_sheet(
    why: str,
    sites: Sequence[Site],
    ask: SchemeAsk,
    street: Street,
    hood: Neighbourhood,
    *,
    asked: Asked,
    output: Path,
    audience: Audience,
    overwrite: bool,
) -> str:
    """Write the tape-measure sheet alone, if there is anything to measure; say so.

    The sheet says `why` there is no scheme, so that who holds it knows the ways out too.
    """
    # Twice as many as are wanted, since some will fail.
    most = 2 * (ask.planters or int(asked.knowledge.scheme_figure("planters")))
    beside = [site for site in sites if ask.sides in ("both", site.side)]
    places = places_to_measure(beside, knowledge=asked.knowledge, most=most)
    if not places:
        return ""
    shown = for_audience(hood, audience, knowledge=asked.knowledge)
    files = tape_files(places, street, shown, knowledge=asked.knowledge, why=why)
    write_scheme_folder(files, output, overwrite=overwrite)
    note_made(asked.file, output, audience=audience)
    return _(
        "Wrote {output}: measure.html is a sheet of {places} worth measuring. Give it back, filled "
        "in, with --measured."
    ).format(output=output, places=counted(len(places), "place"))
