"""Every page, sheet and drawing is written by a template: the tags stand there, escaped text here.

A template lies beside the module that fills it, under the same name. What is put into it is
escaped, always; what another template wrote (`Markup`) is not escaped again. An unknown name is an
error, not an empty place.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from jinja2.ext import Extension, InternationalizationExtension
from markupsafe import Markup, escape

from patchnet.core import language_forms, texts

__all__ = ["Markup", "drawn_by", "environment", "escape", "render", "together"]

_JOINED = re.compile(r"\{% joined %\}\n?(.*?)\{% endjoined %\}", re.DOTALL)
_BETWEEN_TAGS = re.compile(r"(?<=[>}])[ \t]*\n\s*(?=[<{])")
_IN_WORDS = re.compile(r"[ \t]*\n\s*")


class Joined(Extension):
    """``{% joined %}`` to ``{% endjoined %}``: lines that are broken for the eye only.

    A break between two tags leaves nothing on the page, one beside words leaves one blank. What is
    left out becomes a comment of the template, so that its errors still name the right line.
    """

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """Join the lines before the template is read."""
        del name, filename
        return _JOINED.sub(_joined, source)


def _joined(block: re.Match[str]) -> str:
    before = "{#\n#}" if block[0].startswith("{% joined %}\n") else ""
    inside = block[1].strip()
    lost = "\n" * (block[1].count("\n") - inside.count("\n"))
    inside = _BETWEEN_TAGS.sub(_comment, inside)
    # Breaks that are left stand beside words; those inside comments are done already.
    parts = re.split(r"(\{#\n*#\})", inside)
    inside = "".join(
        part if part.startswith("{#") else _IN_WORDS.sub(lambda gap: " " + _comment(gap), part)
        for part in parts
    )
    return before + inside + ("{#" + lost + "#}" if lost else "")


def _comment(gap: re.Match[str]) -> str:
    return "{#" + "\n" * gap[0].count("\n") + "#}"


@cache
def environment() -> Environment:
    """Return the one environment: escapes always, refuses what it does not know, translates."""
    made = Environment(
        loader=PackageLoader("patchnet.pages", ""),
        extensions=[Joined, InternationalizationExtension],
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        auto_reload=False,
    )
    # Texts stand in templates as gettext("... %(name)s ...", name=...); values are escaped. What
    # is handed to a macro is said("..."), which is escaped there.
    made.install_gettext_callables(texts._, texts.ngettext, newstyle=True)  # type: ignore[attr-defined]
    made.globals["said"] = texts._
    made.globals["number"] = language_forms.number
    made.globals["day_told"] = language_forms.day_told
    made.globals["language_code"] = texts.language_code
    made.globals["nouns_keep_capitals"] = language_forms.nouns_keep_capitals
    return made


def render(template: str, /, **values: object) -> Markup:
    """Fill in a template.

    Parameters
    ----------
    template
        Its path in this room, such as ``"sheets/plan_card.html"``.
    values
        What it names; text is escaped unless it is `Markup`.

    Raises
    ------
    jinja2.UndefinedError
        If it names what was not given.
    """
    return Markup(environment().get_template(template).render(values))  # noqa: S704 - a template


def drawn_by(template: str, macro: str) -> Callable[..., Markup]:
    """Return a macro of a template as a function: for parts that one page has many of."""

    def draw(*given: object, **named: object) -> Markup:
        found: Any = _macros(template)[macro]
        return Markup(found(*given, **named))  # noqa: S704 - the macro has escaped what it was given

    return draw


@cache
def _macros(template: str) -> Mapping[str, Any]:
    return vars(environment().get_template(template).module)


def together(parts: Iterable[str]) -> Markup:
    """Put parts one behind the other; those that no template wrote are escaped."""
    return Markup().join(parts)
