"""Options that several commands share; `asked` carries them out."""

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

import click

from patchnet.commands.said import say
from patchnet.core.cache import NO_CACHE, Cache
from patchnet.core.errors import WrongUse
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault
from patchnet.core.texts import N_, _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.movement.land_cover import LandCover, read_class_costs
from patchnet.read.neighbourhood import AUDIENCES

__all__ = [
    "WARNINGS",
    "Asked",
    "AskedDraws",
    "AskedGround",
    "AskedSurface",
    "additions_option",
    "audience_option",
    "between_options",
    "cache_option",
    "columns_option",
    "draws_option",
    "figure_draws_option",
    "ground_options",
    "group_option",
    "input_options",
    "knowledge_option",
    "overwrite_option",
    "say_faults",
    "surface_options",
    "together_option",
    "walking_option",
]

WARNINGS = 12  # listed one by one; 'patchnet check' lists them all

Command = TypeVar("Command", bound=Callable[..., Any])
_DRAWS_HELP = N_(
    "How often to work it out, each time with other figures from the ranges of our "
    "tables and other guesses of what nobody looked at; 100 if not given (or what "
    "PATCHNET_DRAWS says). 0: once, with the figures in use, and nothing said of how sure "
    "it is."
)
_FIGURE_DRAWS_HELP = N_(
    "How often to work it out, each time with other figures from the ranges of our tables and "
    "other guesses of what nobody looked at; 400 if not given (or what "
    "PATCHNET_DRAWS says). With fewer only the figures that matter most stand out."
)


@dataclass(frozen=True)
class Asked:
    """What was asked for about the input."""

    file: Path
    features: Path | None
    columns: dict[str, str]
    crs: str | None
    knowledge: Knowledge
    region: str | None = None
    cache: Cache = NO_CACHE

    @property
    def tables(self) -> str:
        """A digest of the tables that are not patchnet's own, which is in every name anyway."""
        return "" if self.knowledge is load_knowledge() else self.knowledge.digest


@dataclass(frozen=True)
class AskedGround:
    """What was asked for about the ground that animals walk over."""

    straight: bool = False
    cell_m: float | None = None
    landcover: LandCover | None = None


@dataclass(frozen=True)
class AskedDraws:
    """How many draws were asked for (None: as many as the tables say), and their seed."""

    asked: int | None = None
    seed: int = 0

    def count(self, knowledge: Knowledge, plots: int = 0) -> int:
        """How many draws to take; of a town none unless they are asked for."""
        if self.asked is not None:
            return self.asked
        return 0 if plots > knowledge.setting("draws_plots") else round(knowledge.setting("draws"))


@dataclass(frozen=True)
class AskedSurface:
    """What was asked for about measured heights."""

    heights: Path | None = None
    bare_earth: Path | None = None


def _columns(___: click.Context, __: click.Parameter, values: tuple[str, ...]) -> dict[str, str]:
    pairs = [value.partition("=") for value in values]
    for field, sign, name in pairs:
        if not (field and sign and name):
            raise click.BadParameter(
                _("{field!r} must be written FIELD=NAME, such as id=PARCEL_NO.").format(
                    field=field + sign + name
                )
            )
    return {field: name for field, _sign, name in pairs}


def _knowledge(_: click.Context, __: click.Parameter, folder: Path | None) -> Knowledge:
    knowledge = load_knowledge(folder)
    say_faults(knowledge.warnings)
    return knowledge


def knowledge_option(command: Command) -> Command:
    """Add --knowledge DIR; the command gets the loaded tables."""
    return click.option(
        "--knowledge",
        type=click.Path(path_type=Path),
        callback=_knowledge,
        metavar="DIR",
        help="Folder with your own tables, used on top of patchnet's.",
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
        region: str | None,
        **others: object,
    ) -> None:
        command(asked=Asked(file, features, columns, crs, knowledge, region), **others)

    for option in (
        knowledge_option,
        click.option(
            "--crs",
            metavar="CODE",
            help="Coordinate system where the file names none, such as EPSG:27700.",
        ),
        click.option(
            "--region",
            metavar="KEY",
            help="Where it is, such as wales: animals that do not live there are left out "
            "('patchnet tables regions --like wales' shows the table).",
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


def cache_option(command: Callable[..., None]) -> Callable[..., None]:
    """Add --no-cache, which stands below `input_options`; else `asked` gets the file's cache."""

    @functools.wraps(command)
    def with_cache(*, asked: Asked, no_cache: bool, **others: object) -> None:
        command(asked=asked if no_cache else replace(asked, cache=Cache(asked.file)), **others)

    return click.option(
        "--no-cache",
        is_flag=True,
        envvar="PATCHNET_NO_CACHE",
        help="Work everything out anew and keep nothing. Else what took long is kept beside FILE, "
        "in NAME-cache, until something changes; it can be deleted.",
    )(with_cache)


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
                help="Your own raster of land-cover classes, used on top of the plots.",
            ),
            click.option(
                "--cell",
                type=click.FloatRange(min=0, min_open=True),
                metavar="METRES",
                help="Width of a cell of the ground; chosen to suit the plots if not given.",
            ),
        ):
            with_ground = option(with_ground)
        if straight:
            with_ground = click.option(
                "--straight",
                is_flag=True,
                help="Use straight lines for animals that walk too, not ways over the ground.",
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
        raise WrongUse(_("--landcover and --landcover-costs go together: give both or neither."))
    if straight and (cell is not None or landcover is not None):
        raise WrongUse(_("--straight does not use the ground: leave out --cell and --landcover."))
    own = None
    if landcover is not None and costs is not None:
        told = FaultList()
        own = LandCover(landcover, read_class_costs(costs, told))
        say_faults(told.faults)
    return AskedGround(straight, cell, own)


def group_option(command: Command) -> Command:
    """Add --group KEY, which can be given several times."""
    return click.option(
        "--group",
        "groups",
        multiple=True,
        metavar="KEY",
        help="Only this animal (can be repeated; 'patchnet groups' lists them).",
    )(command)


def walking_option(command: Command) -> Command:
    """Add --group KEY, one animal that walks, which must be given."""
    return click.option(
        "--group",
        required=True,
        metavar="KEY",
        help="The animal, one that walks (such as hedgehog).",
    )(command)


def between_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add --from ID and --to ID; the command gets both as `between`, or None."""

    @functools.wraps(command)
    def with_between(*, from_plot: str | None, to_plot: str | None, **others: object) -> None:
        if (from_plot is None) != (to_plot is None):
            raise WrongUse(_("--from and --to go together: give both or neither."))
        between = None if from_plot is None else (from_plot, to_plot)
        command(between=between, **others)

    for name, words in (
        ("to", N_("Plot where the way ends: its id, label or door number.")),
        ("from", N_("Plot where the way begins: its id, label or door number.")),
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


def say_faults(faults: Sequence[Fault]) -> None:
    """List faults on standard error, the first dozen of them."""
    for fault in faults[:WARNINGS]:
        say(str(fault))


def audience_option(command: Command) -> Command:
    """Add --for own|group|public."""
    return click.option(
        "--for",
        "audience",
        type=click.Choice(AUDIENCES),
        default="own",
        show_default=True,
        help="Who it is for. own: everything. group: leaves out plots whose household said no, and "
        "protected roosts. public: classes for units of ten households or more, no plots.",
    )(command)


def draws_option(command: Callable[..., None]) -> Callable[..., None]:
    """Add --draws and --seed; the command gets one `draws`, an `AskedDraws`."""
    return _with_draws(command, _DRAWS_HELP)


def figure_draws_option(command: Callable[..., None]) -> Callable[..., None]:
    """Add the same where it is the figures that are looked into, which takes more draws."""
    return _with_draws(command, _FIGURE_DRAWS_HELP)


def _with_draws(command: Callable[..., None], words: str) -> Callable[..., None]:
    @functools.wraps(command)
    def with_draws(*, draws: int | None, seed: int, **others: object) -> None:
        command(draws=AskedDraws(draws, seed), **others)

    for option in (
        click.option(
            "--seed",
            type=click.IntRange(min=0),
            default=0,
            metavar="N",
            help="Take other draws: any whole number.",
        ),
        click.option(
            "--draws",
            type=click.IntRange(min=0, max=10_000),
            metavar="N",
            envvar="PATCHNET_DRAWS",
            help=words,
        ),
    ):
        with_draws = option(with_draws)
    return with_draws


def surface_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add --heights and --bare-earth; the command gets one `surface`, an `AskedSurface`."""

    @functools.wraps(command)
    def with_surface(*, heights: Path | None, bare_earth: Path | None, **others: object) -> None:
        if bare_earth is not None and heights is None:
            raise WrongUse(
                _("--bare-earth needs --heights too: the heights of what stands on that earth.")
            )
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
            help="Measured heights of everything, roofs and trees too, in metres (a digital "
            "surface model): sun and shade come from them.",
        ),
    ):
        with_surface = option(with_surface)
    return with_surface


def together_option(command: Command) -> Command:
    """Add --together JSON; the command gets `together`, the path or None."""
    return click.option(
        "--together",
        type=click.Path(path_type=Path),
        metavar="JSON",
        help="The street's plan, kept by 'patchnet together -o': what it counts on each plot for "
        "is told too.",
    )(command)


def additions_option(command: Command) -> Command:
    """Add --additions and --no-additions; the command gets `additions`, None if neither is said."""
    return click.option(
        "--additions/--no-additions",
        default=None,
        help="Also work out what could be added to each plot: a form on its card. Takes up to a "
        "second a plot. Small maps have it anyway; a page for the public never has it.",
    )(command)
