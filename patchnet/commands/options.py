"""Options that several commands share, and the one way in which each reads its input."""

import functools
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import click
from tqdm import tqdm

from patchnet.assess import assess
from patchnet.assess.assessment import Assessment, GroupAnswer
from patchnet.core.errors import WrongUse
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.movement.land_cover import LandCover, read_class_costs
from patchnet.pages.privacy import AUDIENCES, for_audience, shown_groups
from patchnet.read import read_neighbourhood
from patchnet.read.neighbourhood import Audience, Neighbourhood

__all__ = [
    "Asked",
    "AskedGround",
    "assess_asked",
    "assess_for",
    "audience_option",
    "between_options",
    "columns_option",
    "ground_options",
    "group_option",
    "input_options",
    "knowledge_option",
    "layers_bar",
    "overwrite_option",
    "progress_bar",
    "read_asked",
    "say_warnings",
    "walking_option",
]

Command = TypeVar("Command", bound=Callable[..., Any])
Thing = TypeVar("Thing")
_WARNINGS = 12  # listed before the rest is only counted; 'patchnet check' lists them all


@dataclass(frozen=True)
class Asked:
    """What was asked for about the input."""

    file: Path
    features: Path | None
    columns: dict[str, str]
    crs: str | None
    knowledge: Knowledge


@dataclass(frozen=True)
class AskedGround:
    """What was asked for about the ground that groups walk over."""

    straight: bool = False
    cell_m: float | None = None
    landcover: LandCover | None = None


def _columns(_: click.Context, __: click.Parameter, values: tuple[str, ...]) -> dict[str, str]:
    pairs = [value.partition("=") for value in values]
    for field, sign, name in pairs:
        if not (field and sign and name):
            raise click.BadParameter(
                f"{field + sign + name!r} is not of the form FIELD=NAME, such as id=PARCEL_NO."
            )
    return {field: name for field, _sign, name in pairs}


def _knowledge(_: click.Context, __: click.Parameter, folder: Path | None) -> Knowledge:
    knowledge = load_knowledge(folder)
    _say(knowledge.warnings)
    return knowledge


def knowledge_option(command: Command) -> Command:
    """Add --knowledge DIR; the command gets the loaded tables."""
    return click.option(
        "--knowledge",
        type=click.Path(path_type=Path),
        callback=_knowledge,
        metavar="DIR",
        help="Folder with your own tables, laid over patchnet's.",
    )(command)


def columns_option(command: Command) -> Command:
    """Add --column FIELD=NAME, which can be given several times; the command gets `columns`."""
    return click.option(
        "--column",
        "columns",
        multiple=True,
        callback=_columns,
        metavar="FIELD=NAME",
        help="Name of a column that was not recognised, such as id=PARCEL_NO.",
    )(command)


def input_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add FILE and the options that say how to read it; the command gets one `asked`."""

    @functools.wraps(command)
    def with_asked(
        *,
        file: Path,
        features: Path | None,
        columns: dict[str, str],
        crs: str | None,
        knowledge: Knowledge,
        **others: object,
    ) -> None:
        command(asked=Asked(file, features, columns, crs, knowledge), **others)

    for option in (
        knowledge_option,
        click.option(
            "--crs",
            metavar="CODE",
            help="Coordinate system where the file names none, such as EPSG:27700.",
        ),
        columns_option,
        click.option(
            "--features",
            type=click.Path(path_type=Path),
            metavar="TABLE",
            help="Features keyed by plot id: CSV or xlsx.",
        ),
        click.argument("file", type=click.Path(path_type=Path)),
    ):
        with_asked = option(with_asked)
    return with_asked


def ground_options(
    *, straight: bool = True
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Add the options about the ground; the command gets one `ground`.

    Parameters
    ----------
    straight
        Whether --straight is among them.
    """

    def decorate(command: Callable[..., None]) -> Callable[..., None]:
        @functools.wraps(command)
        def with_ground(
            *,
            cell: float | None,
            landcover: Path | None,
            landcover_costs: Path | None,
            straight: bool = False,
            **others: object,
        ) -> None:
            command(ground=_asked_ground(straight, cell, landcover, landcover_costs), **others)

        for option in (
            click.option(
                "--landcover-costs",
                type=click.Path(path_type=Path),
                metavar="TABLE",
                help="CSV or xlsx of its classes: columns class and cost (above 0, or 'closed').",
            ),
            click.option(
                "--landcover",
                type=click.Path(path_type=Path),
                metavar="TIF",
                help="Your own raster of land-cover classes, laid over the plots.",
            ),
            click.option(
                "--cell",
                type=click.FloatRange(min=0, min_open=True),
                metavar="METRES",
                help="Side of a cell of the ground; chosen from the plots if not given.",
            ),
        ):
            with_ground = option(with_ground)
        if straight:
            with_ground = click.option(
                "--straight",
                is_flag=True,
                help="Straight lines also for groups that walk, not ways over the ground.",
            )(with_ground)
        return with_ground

    return decorate


def _asked_ground(
    straight: bool,  # noqa: FBT001 - private: passed on as it was parsed
    cell: float | None,
    landcover: Path | None,
    costs: Path | None,
) -> AskedGround:
    if (landcover is None) != (costs is None):
        raise WrongUse("--landcover and --landcover-costs go together: give both or neither.")
    if straight and (cell is not None or landcover is not None):
        raise WrongUse("--straight lays no ground, so it takes no --cell and no --landcover.")
    own = None
    if landcover is not None and costs is not None:
        told = FaultList()
        own = LandCover(landcover, read_class_costs(costs, told))
        _say(told.faults)
    return AskedGround(straight, cell, own)


def group_option(command: Command) -> Command:
    """Add --group KEY, which can be given several times."""
    return click.option(
        "--group",
        "groups",
        multiple=True,
        metavar="KEY",
        help="Only this wildlife group (can be repeated; 'patchnet groups' lists them).",
    )(command)


def walking_option(command: Command) -> Command:
    """Add --group KEY, one group that walks, which must be said."""
    return click.option(
        "--group",
        required=True,
        metavar="KEY",
        help="The wildlife group, one that walks (hedgehog, for one).",
    )(command)


def between_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add --from ID and --to ID; the command gets both as `between`, or None."""

    @functools.wraps(command)
    def with_between(*, from_plot: str | None, to_plot: str | None, **others: object) -> None:
        if (from_plot is None) != (to_plot is None):
            raise WrongUse("--from and --to go together: give both or neither.")
        between = None if from_plot is None else (from_plot, to_plot)
        command(between=between, **others)

    for name, words in (
        ("to", "Id of the plot where the way ends."),
        ("from", "Id of the plot where the way begins."),
    ):
        with_between = click.option(f"--{name}", f"{name}_plot", metavar="ID", help=words)(
            with_between
        )
    return with_between


def overwrite_option(command: Command) -> Command:
    """Add --overwrite."""
    return click.option(
        "--overwrite",
        is_flag=True,
        help="Replace the output even if patchnet did not make it.",
    )(command)


def read_asked(asked: Asked) -> Neighbourhood:
    """Read the neighbourhood and say its warnings on standard error."""
    neighbourhood = read_neighbourhood(
        asked.file,
        features=asked.features,
        columns=asked.columns,
        crs=asked.crs,
        knowledge=asked.knowledge,
    )
    say_warnings(neighbourhood)
    return neighbourhood


def assess_asked(
    neighbourhood: Neighbourhood, asked: Asked, groups: Iterable[str], ground: AskedGround
) -> Assessment:
    """Work out the whole answer and say the warnings about the ground on standard error."""
    answer = assess(
        neighbourhood,
        knowledge=asked.knowledge,
        groups=list(groups) or None,
        straight=ground.straight,
        cell_m=ground.cell_m,
        landcover=ground.landcover,
        progress=progress_bar,
    )
    walked = [each.ground for each in answer.groups.values() if each.ground is not None]
    said = dict.fromkeys(fault for over in walked for fault in over.surface.faults)
    _say(list(said))
    return answer


def assess_for(
    neighbourhood: Neighbourhood,
    asked: Asked,
    groups: Iterable[str],
    ground: AskedGround,
    audience: Audience,
) -> Assessment:
    """Work out the answer from what an audience may see."""
    seen = for_audience(neighbourhood, audience, knowledge=asked.knowledge)
    chosen = list(groups)
    if audience != "own":
        chosen = shown_groups(asked.knowledge, chosen, audience)
    if audience == "public":
        ground = AskedGround(straight=True)
    return assess_asked(seen, asked, chosen, ground)


def audience_option(command: Command) -> Command:
    """Add --for own|group|public."""
    return click.option(
        "--for",
        "audience",
        type=click.Choice(AUDIENCES),
        default="own",
        show_default=True,
        help="Whom it is for. own: everything. group: nothing of plots whose household said no, "
        "and no protected roosts. public: plots without consent only laid together, no labels.",
    )(command)


def say_warnings(neighbourhood: Neighbourhood) -> None:
    """List the warnings of a file on standard error, the first dozen of them."""
    _say(neighbourhood.faults)
    more = len(neighbourhood.faults) - _WARNINGS
    if more > 0:
        click.echo(f"... and {more} more warnings: 'patchnet check' lists them all.", err=True)


def _say(faults: Sequence[Fault]) -> None:
    for fault in faults[:_WARNINGS]:
        click.echo(str(fault), err=True)


def progress_bar(things: Iterable[Thing], *, doing: str = "wildlife groups") -> Iterable[Thing]:
    """Show a bar while things are worked through, on a terminal only."""
    bar: Iterable[Thing] = tqdm(
        things, desc=doing, unit="done", leave=False, file=sys.stderr, disable=None
    )
    return bar


def layers_bar(answers: Iterable[GroupAnswer]) -> Iterable[GroupAnswer]:
    """Show a bar while a page's layers of each group are worked out and drawn."""
    return progress_bar(answers, doing="layers of the page")
