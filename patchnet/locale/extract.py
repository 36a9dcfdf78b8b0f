"""Gather every text that people are shown: ``python -m patchnet.locale.extract [LANGUAGE ...]``.

It writes ``patchnet.pot``, brings the catalogue of each language up to date with it, and compiles
them. A language that is named and not there yet is begun.
"""

import ast
import inspect
import re
import sys
from collections.abc import Iterator
from functools import cache
from io import BytesIO
from pathlib import Path

from babel import Locale, UnknownLocaleError
from babel.messages import mofile, pofile
from babel.messages.catalog import Catalog

from patchnet.commands.help_text import AS_IT_IS, paragraphs
from patchnet.core.texts import FOLDER, forms_of
from patchnet.knowledge.columns import Text
from patchnet.knowledge.load import load_rows
from patchnet.knowledge.schema import TABLES
from patchnet.pages.kit.templates import environment

__all__ = ["bring_up_to_date", "gather", "main", "template", "wrong_places"]

PACKAGE = FOLDER.parent
Message = str | tuple[str, str]
Found = Iterator[tuple[str, Message]]

_MARKS = ("_", "N_")
_COUNTED = (
    "counted",
    "_count",
    "_number",
    "_some",
)  # number, noun[, nouns]: see `texts.counted`
_PLACE = re.compile(r"\{(\w+)[!:}]|%\((\w+)\)s")
_WIDTH = 100
# What people write in their own tables, and see translated.
_TRANSLATED_LATER = {("resources.csv", "unit"), ("settings.csv", "unit")}


def gather() -> Catalog:
    """Return every text of the code, the templates and the shipped tables, sorted."""
    places: dict[Message, set[str]] = {}
    for found in (_in_code(), _in_templates(), _in_tables()):
        for place, message in found:
            places.setdefault(message, set()).add(place)
    catalogue = Catalog(fuzzy=False)
    for message in sorted(places, key=lambda one: (one, "") if isinstance(one, str) else one):
        catalogue.add(message, locations=[(place, 0) for place in sorted(places[message])])
    return catalogue


def template() -> bytes:
    """Return the bytes of ``patchnet.pot``: the same for the same code, on every machine."""
    return _HEADER + _written(gather(), omit_header=True)


_HEADER = b"""\
# Every text of patchnet. Made by 'python -m patchnet.locale.extract'; do not edit.
msgid ""
msgstr ""
"Content-Type: text/plain; charset=utf-8\\n"
"Content-Transfer-Encoding: 8bit\\n"

"""


def bring_up_to_date(language: str, *, folder: Path = FOLDER) -> Path:
    """Write the catalogue of a language anew from the texts there are now, and compile it.

    Parameters
    ----------
    language
        Its code, such as ``"de"`` or ``"pt_BR"``.
    folder
        Where the catalogues are.

    Raises
    ------
    babel.UnknownLocaleError, ValueError
        If there is no language of this code, or a translation has other places for values than
        its text (`wrong_places`): nothing is written then.
    """
    path = folder / f"{language}.po"
    if path.is_file():
        with path.open("rb") as lines:
            catalogue = pofile.read_po(lines, locale=language)
        catalogue.update(gather(), no_fuzzy_matching=True, update_creation_date=False)
    else:
        catalogue = gather()
        catalogue.locale = Locale.parse(language)
        catalogue.project, catalogue.version, catalogue.fuzzy = "patchnet", "", False
        catalogue.header_comment = f"# The texts of patchnet in {language}."
    if wrong := wrong_places(catalogue):
        raise ValueError("\n".join([f"{path.name} was not compiled:", *wrong]))
    path.write_bytes(_written(catalogue))
    compiled = BytesIO()
    mofile.write_mo(compiled, catalogue)
    path.with_suffix(".mo").write_bytes(compiled.getvalue())
    return path


def wrong_places(catalogue: Catalog) -> list[str]:
    """Return what is wrong with translations whose places for values are not those of the text.

    A text may say ``{name}`` (or ``%(name)s`` in a template) as often as it likes, but a name that
    is misspelt or missing would break the page.
    """
    wrong = []
    for message in catalogue:
        if not message.id or message.fuzzy:
            continue
        texts, said = _forms(message.id), _forms(message.string)
        wanted = {place for text in texts for place in _places(text)}
        for one in said:
            there = _places(one)
            # "one plot" need not say the number
            if one and there != wanted and not (len(said) > 1 and there < wanted):
                wrong.append(_said_wrong(texts[-1], wanted, one, there))
    return wrong


def _said_wrong(text: str, wanted: set[str], said: str, there: set[str]) -> str:
    has, said_has = (", ".join(sorted(places)) or "none" for places in (wanted, there))
    return f"{text!r} has the places {has}, its translation {said!r} has {said_has}."


def _forms(text: object) -> tuple[str, ...]:
    several = text if isinstance(text, list | tuple) else (text,)
    return tuple(str(one) for one in several if one)


def _places(text: str) -> set[str]:
    return {braces or percent for braces, percent in _PLACE.findall(text)}


def _written(catalogue: Catalog, *, omit_header: bool = False) -> bytes:
    held = BytesIO()
    pofile.write_po(
        held, catalogue, width=_WIDTH, omit_header=omit_header, include_lineno=False,
        ignore_obsolete=False, sort_output=True,
    )  # fmt: skip
    return held.getvalue()


# the code -----------------------------------------------------------------------------------


def _in_code() -> Found:
    for path in sorted(PACKAGE.rglob("*.py")):
        place = path.relative_to(PACKAGE.parent).as_posix()
        for message in _said(path.read_text(encoding="utf-8")):
            yield place, message


@cache
def _said(code: str) -> tuple[Message, ...]:
    """Return the texts of one module; kept, because each language gathers them anew."""
    found: list[Message] = []
    for node in ast.walk(ast.parse(code)):
        if isinstance(node, ast.Call):
            found += _of_call(node)
        elif isinstance(node, ast.FunctionDef) and any(map(_is_command, node.decorator_list)):
            text = inspect.cleandoc(ast.get_docstring(node, clean=False) or "")
            found += [message.removeprefix(AS_IT_IS) for message in paragraphs(text)]
    return tuple(found)


def _of_call(call: ast.Call) -> Iterator[Message]:
    name = _name(call.func)
    given = [arg.value if isinstance(arg, ast.Constant) else None for arg in call.args]
    if name in _MARKS and given and isinstance(given[0], str) and given[0]:
        yield given[0].removeprefix(AS_IT_IS)
    elif name == "ngettext" and isinstance(given[0], str) and isinstance(given[1], str):
        yield given[0], given[1]
    elif name in _COUNTED and len(given) > 1 and isinstance(given[1], str):
        several = given[2] if len(given) > 2 and isinstance(given[2], str) else ""
        yield forms_of(given[1], several)
    elif name == "option":
        for option in call.keywords:
            if option.arg == "help" and isinstance(option.value, ast.Constant):
                yield str(option.value.value)


def _is_command(decorator: ast.expr) -> bool:
    made = decorator.func if isinstance(decorator, ast.Call) else decorator
    return ast.unparse(made) in {"click.command", "click.group"}


def _name(function: ast.expr) -> str:
    if isinstance(function, ast.Attribute):
        return function.attr
    return function.id if isinstance(function, ast.Name) else ""  # what is called has no name


# templates and tables -----------------------------------------------------------------------


def _in_templates() -> Found:
    made = environment()
    for path in sorted([*PACKAGE.rglob("*.html"), *PACKAGE.rglob("*.svg")]):
        source = path.read_text(encoding="utf-8")
        place = path.relative_to(PACKAGE.parent).as_posix()
        found = made.extract_translations(  # type: ignore[attr-defined]
            source, gettext_functions=("gettext", "said")
        )
        for _line, _function, message in found:
            # A tuple holds the message, and nothing for each value that it is given.
            held = message if isinstance(message, tuple) else (message,)
            if isinstance(held[0], str):
                yield place, held[0]


def _in_tables() -> Found:
    for name, rows in load_rows().items():
        for column, kind in TABLES[name].columns:
            if (isinstance(kind, Text) and kind.shown) or (name, column) in _TRANSLATED_LATER:
                for row in rows:
                    if row.cells[column]:
                        yield f"patchnet/knowledge/tables/{name}", row.cells[column]


def main(arguments: list[str]) -> int:
    """Write the template, and the languages that are there or were named."""
    (FOLDER / "patchnet.pot").write_bytes(template())
    there = {path.stem for path in FOLDER.glob("*.po")}
    for language in sorted(there | set(arguments)):
        try:
            print(bring_up_to_date(language).relative_to(PACKAGE.parent).as_posix())  # noqa: T201
        except (UnknownLocaleError, ValueError) as error:
            print(f"{language}: {error}", file=sys.stderr)  # noqa: T201
            return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
