"""Options that several commands share, and the one way in which each reads its input."""

import functools
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import click
from tqdm import tqdm

from patchnet.ground import read_neighbourhood
from patchnet.ground.neighbourhood import Neighbourhood
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.records import Group, Knowledge

__all__ = [
    "Asked",
    "group_option",
    "input_options",
    "knowledge_option",
    "overwrite_option",
    "progress_bar",
    "read_asked",
    "say_warnings",
]

Command = TypeVar("Command", bound=Callable[..., Any])
_WARNINGS = 12  # listed before the rest is only counted; 'patchnet check' lists them all


@dataclass(frozen=True)
class Asked:
    """What was asked for about the input."""

    file: Path
    features: Path | None
    columns: dict[str, str]
    crs: str | None
    knowledge: Knowledge


def _columns(_: click.Context, __: click.Parameter, values: tuple[str, ...]) -> dict[str, str]:
    pairs = [value.partition("=") for value in values]
    for field, sign, name in pairs:
        if not (field and sign and name):
            raise click.BadParameter(
                f"{field + sign + name!r} is not of the form FIELD=NAME, such as id=PARCEL_NO."
            )
    return {field: name for field, _sign, name in pairs}


def _knowledge(_: click.Context, __: click.Parameter, folder: Path | None) -> Knowledge:
    return load_knowledge(folder)


def knowledge_option(command: Command) -> Command:
    """Add --knowledge DIR; the command gets the loaded tables."""
    return click.option(
        "--knowledge",
        type=click.Path(path_type=Path),
        callback=_knowledge,
        metavar="DIR",
        help="Folder with your own tables, laid over patchnet's.",
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
        click.option(
            "--column",
            "columns",
            multiple=True,
            callback=_columns,
            metavar="FIELD=NAME",
            help="Name of a column that was not recognised, such as id=PARCEL_NO.",
        ),
        click.option(
            "--features",
            type=click.Path(path_type=Path),
            metavar="CSV",
            help="Table of features keyed by plot id.",
        ),
        click.argument("file", type=click.Path(path_type=Path)),
    ):
        with_asked = option(with_asked)
    return with_asked


def group_option(command: Command) -> Command:
    """Add --group KEY, which can be given several times."""
    return click.option(
        "--group",
        "groups",
        multiple=True,
        metavar="KEY",
        help="Only this wildlife group (can be repeated; 'patchnet groups' lists them).",
    )(command)


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


def say_warnings(neighbourhood: Neighbourhood) -> None:
    """List the warnings of a file on standard error, the first dozen of them."""
    for fault in neighbourhood.faults[:_WARNINGS]:
        click.echo(str(fault), err=True)
    more = len(neighbourhood.faults) - _WARNINGS
    if more > 0:
        click.echo(f"... and {more} more warnings: 'patchnet check' lists them all.", err=True)


def progress_bar(groups: Iterable[Group]) -> Iterable[Group]:
    """Show a bar while the groups are worked through, on a terminal only."""
    bar: Iterable[Group] = tqdm(
        groups, desc="wildlife groups", unit="group", leave=False, file=sys.stderr, disable=None
    )
    return bar
