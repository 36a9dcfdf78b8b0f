"""patchnet demo: the map of an invented neighbourhood in one go."""

from dataclasses import replace
from pathlib import Path

import click

from patchnet.assess.assess import assess
from patchnet.commands.asked import in_draws, layers_bar, progress_bar, say_warnings
from patchnet.commands.options import AskedDraws, draws_option
from patchnet.core.files import OwnFolder
from patchnet.core.texts import _
from patchnet.demo.files import demo_files
from patchnet.knowledge import load_knowledge
from patchnet.pages.map.map_page import map_page
from patchnet.read import read_neighbourhood

__all__ = ["demo"]

_PAGE = "map.html"
_TITLE = "Wickthorn, an invented neighbourhood"


@click.command
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    default=Path("patchnet-demo"),
    show_default=True,
    metavar="DIR",
)
@draws_option
def demo(*, output: Path, draws: AskedDraws) -> None:
    """Build the map of an invented neighbourhood and say where the page is.

    Files in DIR that patchnet did not make, or that were changed since, are left alone.

    \b
    Example:
      patchnet demo -o my-demo
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    folder = OwnFolder(output)
    names = demo_files()
    folder.ensure_may_write([*names, _PAGE])
    for name, text in names.items():
        folder.write(name, text)
    knowledge = load_knowledge()
    neighbourhood = read_neighbourhood(output, knowledge=knowledge)
    say_warnings(neighbourhood)
    answer = assess(neighbourhood, knowledge=knowledge, progress=progress_bar)
    few = round(knowledge.setting("draws_demo"))
    answer = in_draws(answer, replace(draws, asked=few if draws.asked is None else draws.asked))
    folder.write(_PAGE, map_page(answer, title=_TITLE, progress=layers_bar))
    click.echo(_("Open this page in any browser, even without a network:"), err=True)
    click.echo(output / _PAGE)
