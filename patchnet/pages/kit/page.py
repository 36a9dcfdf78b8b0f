"""The frame of every page: one head, one security policy, and nothing left to be fetched."""

import re
from collections.abc import Sequence
from typing import Any

from patchnet.core.errors import PatchnetError
from patchnet.core.texts import ENGLISH, _, language_code
from patchnet.pages.kit import colours
from patchnet.pages.kit.escape import inside_script, inside_style
from patchnet.pages.kit.inline import asset, outside_addresses, sha256
from patchnet.pages.kit.templates import render

__all__ = ["page", "policy", "script_of", "sheet"]

# Layouts are made for English words; longer ones are parted rather than cut off.
_LONG_WORDS = "body { hyphens: auto; overflow-wrap: break-word; }"


def page(
    template: str,
    *,
    title: str,
    styles: Sequence[str],
    scripts: Sequence[str] = (),
    strict: bool = False,
    images: str | None = None,
    **values: object,
) -> str:
    """Return a whole page as HTML text, once it is sure that it would fetch nothing.

    Parameters
    ----------
    template
        Fills in the block ``body`` of ``kit/frame.html``.
    title
        Plain text.
    styles, scripts
        Style sheets and scripts of our own, in their order.
    strict
        Only these style sheets; no ``style`` attribute is heeded.
    images
        Where pictures may come from beside the page itself; None: there are none.
    values
        What the template names.

    Raises
    ------
    PatchnetError
        If it would have to fetch anything.
    """
    if language_code() != ENGLISH:
        styles = [*styles, _LONG_WORDS]
    own_scripts = [inside_script(script) for script in scripts]
    made = render(
        template,
        title=title,
        policy=policy(scripts=own_scripts, styles=styles if strict else None, images=images),
        styles=[inside_style(style) for style in styles],
        scripts=own_scripts,
        **values,
    )
    left = outside_addresses(made)
    if left:
        raise PatchnetError(
            _("The page would have to fetch {left}.").format(left=", ".join(sorted(set(left))))
        )
    return str(made)


def sheet(
    template: str,
    *,
    title: str,
    style: str,
    scripts: Sequence[str] = (),
    **values: Any,  # noqa: ANN401 - whatever the template names
) -> str:
    """Return a page to read and print: the palette and one style sheet inside, seldom a script."""
    styles = [f"\n{colours.css_variables()}\n{style}\n"]
    return page(template, title=title, styles=styles, scripts=scripts, icon=None, **values)


def policy(*, scripts: Sequence[str], styles: Sequence[str] | None, images: str | None) -> str:
    """Write the content security policy: only what stands in the page, known by its hash.

    Parameters
    ----------
    scripts
        What may run.
    styles
        The style sheets that hold; None: any in the page, ``style`` attributes too.
    images
        As for `page`.
    """
    drawn = "'unsafe-inline'" if styles is None else " ".join(map(sha256, styles))
    parts = ["default-src 'none'"]
    if images is not None:
        parts.append(f"img-src data:{images}")
    parts.append(f"style-src {drawn}")
    if scripts:
        parts.append(f"script-src {' '.join(map(sha256, scripts))}")
    return "; ".join([*parts, "base-uri 'none'", "form-action 'none'"])


# For those who read the source: remarks, and the indents of lines (no text runs over lines).
_FOR_READERS = re.compile(r"^\s*//[^\n]*\n|^[ \t]+", re.MULTILINE)


def script_of(names: Sequence[str]) -> str:
    """Return scripts of this room as one, in their order; no name of theirs is seen outside."""
    return "(() => {\n" + "\n".join(_FOR_READERS.sub("", asset(name)) for name in names) + "})();\n"
