"""The command line: each command makes one call from what a person typed."""

import logging
import os
import sys
import warnings

import click

from patchnet.commands.lazy_group import LazyCommand, LazyGroup
from patchnet.core.compiled import one_thread_for_algebra
from patchnet.core.errors import DataFaults, PatchnetError, WrongUse
from patchnet.core.reader_child import allow_spawn
from patchnet.core.texts import N_, _, language, ngettext

__all__ = ["cli", "main"]

_EPILOG = N_("""\b
Exit status:
  0  done
  1  the data have faults (they are listed)
  2  wrong use: an unknown option, plot, group or key
  3  a file cannot be read or written
  4  internal error""")


_COMMANDS = {
    name: LazyCommand(f"patchnet.commands.{where}", words)
    for name, where, words in (
        ("demo", "demo:demo", N_("Build the map of an invented neighbourhood.")),
        ("base", "base:base", N_("Make the base map of a street from open data.")),
        (
            "survey",
            "survey:survey",
            N_("Make what volunteers take along: paper, spreadsheet, phone."),
        ),
        ("merge", "merge:merge", N_("Bring what volunteers hand in into the map of a street.")),
        (
            "project",
            "project:project",
            N_("Show how several streets are getting on, year on year."),
        ),
        ("consent", "forget:consent", N_("Write down whether a plot may be shown in public.")),
        ("forget", "forget:forget", N_("Take a household out of every layer and all years.")),
        ("history", "history:history", N_("List what was changed in a street's file, and when.")),
        ("undo", "history:undo", N_("Take a return or the last change back out of a street.")),
        ("verify", "history:verify", N_("Look whether a street's file still holds together.")),
        ("progress", "progress:progress", N_("Draw how much is known, and where to go next.")),
        ("check", "check:check", N_("List every fault of a file, and how to mend it.")),
        ("map", "map:map_", N_("Draw the map: one page that opens anywhere.")),
        ("poster", "poster:poster", N_("Draw a poster of the street for the noticeboard.")),
        ("plot", "plot:plot", N_("Say what neighbours give a plot, and what it lacks.")),
        ("advise", "advise:advise", N_("Say what a plot should add, and what to plant.")),
        (
            "next",
            "next:next_",
            N_("Say which door to knock on next, and what to look for there."),
        ),
        (
            "together",
            "together:together",
            N_("Say what a whole street adds, each plot another thing."),
        ),
        ("why", "why:why", N_("Say which figures of the tables the answer turns on.")),
        ("routes", "routes:routes", N_("Find ways over the ground for an animal that walks.")),
        ("gaps", "gaps:gaps", N_("Find which fences to open, and what each gap brings.")),
        (
            "scheme",
            "scheme:scheme",
            N_("Choose planters along a road, with a report for the council."),
        ),
        ("compare", "compare:compare", N_("Say what was won and lost between two states.")),
        ("export", "export:export", N_("Write the results for other programs.")),
        ("city", "city:city", N_("Work out a whole city, tile by tile, into a folder.")),
        ("groups", "lists:groups", N_("List the animals.")),
        ("features", "lists:features", N_("List the features a plot can have.")),
        ("source", "lists:source", N_("Say where a number comes from.")),
        ("tables", "tables:tables", N_("Show what your own tables may hold; make empty ones.")),
    )
}


@click.group(
    cls=LazyGroup,
    lazy_commands=_COMMANDS,
    epilog=_EPILOG,
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(package_name="patchnet", message="%(prog)s %(version)s")
@click.option("--debug", is_flag=True, help="Show where in the program an error arose.")
def cli(*, debug: bool) -> None:
    """Read a neighbourhood of gardens, verges and planters as one habitat.

    Start with 'patchnet demo'. Results go to standard output, messages go to standard error.
    """
    del debug  # read from the arguments in main(), so that it also covers the parsing


def main() -> None:
    """Run the command line and leave with its documented exit status."""
    allow_spawn()
    one_thread_for_algebra()
    # What numpy, shapely or GDAL have to say is for those who look into the program.
    logging.getLogger().addHandler(logging.NullHandler())
    with warnings.catch_warnings():
        if "--debug" not in sys.argv:
            warnings.simplefilter("ignore")
        status = _run(sys.argv[1:])
    sys.exit(status)


def _run(arguments: list[str]) -> int:
    debug = "--debug" in arguments
    status = 0
    try:
        language()  # an unknown one is told like any other wrong use
        left_with = cli.main(args=arguments, prog_name="patchnet", standalone_mode=False)
        status = left_with if isinstance(left_with, int) else 0
    except click.Abort:
        click.echo("Stopped.", err=True)
        status = WrongUse.exit_status
    except click.ClickException as error:
        error.show()
        status = error.exit_code
    except PatchnetError as error:
        _say(error)
        status = error.exit_status
        if debug:
            raise
    except BrokenPipeError:
        # Whoever read our output has stopped (as in '| head'): say no more.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except Exception as error:
        if debug:
            raise
        click.echo(
            _(
                "Internal error: {name}: {error}\nThis is a fault of patchnet, not of your data. "
                "Run again with 'patchnet --debug' and report what it prints."
            ).format(name=type(error).__name__, error=error),
            err=True,
        )
        status = PatchnetError.exit_status
    return status


def _say(error: PatchnetError) -> None:
    if isinstance(error, DataFaults):
        for fault in error.faults:
            click.echo(str(fault), err=True)
        count = sum(fault.severity == "error" for fault in error.faults)
        click.echo(
            ngettext(
                "{n} error to mend first; nothing was written.",
                "{n} errors to mend first; nothing was written.",
                count,
            ).format(n=count),
            err=True,
        )
    else:
        click.echo(_("Error: {error}").format(error=error), err=True)
