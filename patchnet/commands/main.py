"""The command line: a person's words to one call per command."""

import os
import sys

import click

from patchnet.commands.advise import advise
from patchnet.commands.base import base
from patchnet.commands.check import check
from patchnet.commands.compare import compare
from patchnet.commands.demo import demo
from patchnet.commands.export import export
from patchnet.commands.forget import consent, forget
from patchnet.commands.gaps import gaps
from patchnet.commands.lists import features, groups, source
from patchnet.commands.map import map_
from patchnet.commands.merge import merge
from patchnet.commands.plot import plot
from patchnet.commands.progress import progress
from patchnet.commands.routes import routes
from patchnet.commands.scheme import scheme
from patchnet.commands.survey import survey
from patchnet.commands.tables import tables
from patchnet.core.errors import DataFaults, PatchnetError, WrongUse

__all__ = ["cli", "main"]

_EPILOG = """\b
Exit status:
  0  done
  1  the data have faults (they are listed)
  2  wrong use: an unknown option, plot, group or key
  3  a file cannot be read or written
  4  internal error
"""


@click.group(epilog=_EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="patchnet", message="%(prog)s %(version)s")
@click.option("--debug", is_flag=True, help="Show where in the program an error arose.")
def cli(*, debug: bool) -> None:
    """Read a neighbourhood of gardens, verges and planters as one habitat.

    Start with 'patchnet demo'. Results go to standard output, words about the work to standard
    error.
    """
    del debug  # read from the arguments in main(), so that it also covers the parsing


for command in (
    demo,
    base,
    survey,
    merge,
    consent,
    forget,
    progress,
    map_,
    check,
    plot,
    advise,
    routes,
    gaps,
    scheme,
    compare,
    export,
    groups,
    features,
    source,
    tables,
):
    cli.add_command(command)


def main() -> None:
    """Run the command line and leave with its documented exit status."""
    sys.exit(_run(sys.argv[1:]))


def _run(arguments: list[str]) -> int:
    debug = "--debug" in arguments
    status = 0
    try:
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
        # The reader of our output has left (as in '| head'): nothing more to say to it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except Exception as error:
        if debug:
            raise
        click.echo(
            f"Internal error: {type(error).__name__}: {error}\n"
            "This is a fault of patchnet, not of your data. Run again with 'patchnet --debug' "
            "and report what it prints.",
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
            f"{count} error{'s' if count != 1 else ''} to mend first; nothing was written.",
            err=True,
        )
    else:
        click.echo(f"Error: {error}", err=True)
