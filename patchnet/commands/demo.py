"""patchnet demo: the map of an invented neighbourhood in one go."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

import click

from patchnet.assess.assess import assess
from patchnet.commands.asked import in_draws, layers_bar, progress_bar, say_warnings
from patchnet.commands.options import AskedDraws, draws_option
from patchnet.core.digest import digest_of, own_digest
from patchnet.core.files import OwnFolder
from patchnet.core.texts import _
from patchnet.demo.files import demo_files
from patchnet.knowledge import load_knowledge
from patchnet.pages.map.map_page import map_page
from patchnet.read import read_neighbourhood

__all__ = ["demo"]

_PAGE = "map.html"
_MADE_FROM = ".patchnet-made-from"  # so that what stands there is not worked out once more
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
    folder.ensure_may_write([*names, _PAGE, _MADE_FROM])
    made_from = digest_of(own_digest(), draws.asked, draws.seed, names)
    if _stands(folder, output, [*names, _PAGE], made_from):
        click.echo(_("It stands there already, as this patchnet makes it."), err=True)
    else:
        _make(folder, output, names, draws)
        folder.write(_MADE_FROM, made_from)
    click.echo(_("Open this page in any browser, even without a network:"), err=True)
    click.echo(output / _PAGE)


def _stands(folder: OwnFolder, output: Path, names: Iterable[str], made_from: str) -> bool:
    """Whether all files stand there whole, made from the same by the same."""
    if not all(map(folder.holds, [*names, _MADE_FROM])):
        return False
    return (output / _MADE_FROM).read_text(encoding="utf-8") == made_from


def _make(folder: OwnFolder, output: Path, names: Mapping[str, str], draws: AskedDraws) -> None:
    for name, text in names.items():
        folder.write(name, text)
    knowledge = load_knowledge()
    neighbourhood = read_neighbourhood(output, knowledge=knowledge)
    say_warnings(neighbourhood)
    answer = assess(neighbourhood, knowledge=knowledge, progress=progress_bar)
    few = round(knowledge.setting("draws_demo"))
    answer = in_draws(answer, replace(draws, asked=few if draws.asked is None else draws.asked))
    folder.write(_PAGE, map_page(answer, title=_TITLE, progress=layers_bar))
