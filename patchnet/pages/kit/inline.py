"""Everything the page needs, put inside it: no address is left to be fetched."""

import base64
import hashlib
import re
from functools import cache
from html.parser import HTMLParser
from importlib import metadata, resources
from pathlib import Path

from patchnet.core.errors import PatchnetError

__all__ = ["asset", "leaflet_script", "leaflet_style", "local_copy", "outside_addresses", "sha256"]

_PACKAGE = "XStatic-Leaflet"
_ADDRESS_ATTRIBUTES = frozenset(
    {"src", "href", "srcset", "data", "poster", "action", "formaction", "background", "xlink:href"}
)
_CSS_ADDRESS = re.compile(r"""url\(\s*['"]?([^'")\s]+)|@import\s+['"]([^'"]+)""")
# Without one of these in its text no page has an address, wherever they stand: found a hundred
# times faster than elements are read. They stand one by one, for then the search is for plain text.
_SIGNS = tuple(
    re.compile(sign)
    for sign in (
        *(rf"""{name}\s*+=\s*+["']?+(?!#|data:)""" for name in sorted(_ADDRESS_ATTRIBUTES)),
        r"""url\(\s*+['"]?+(?!#|data:)""",
        r"@import",
        # An address in a style may be written in character references.
        r"""style\s*+=++\s*+(?:"[^"]*&|'[^']*&|[^\s"'>]*&)""",
    )
)


@cache
def asset(name: str) -> str:
    """Text of one of this room's own files, such as ``"map/script/main.js"``."""
    return resources.files("patchnet.pages").joinpath(name).read_text(encoding="utf-8")


def local_copy(address: str) -> Path:
    """Find the installed copy of a file that folium would fetch.

    Raises
    ------
    PatchnetError
        If no installed package carries a file of that name.
    """
    name = address.rsplit("/", 1)[-1]
    for entry in metadata.files(_PACKAGE) or ():
        if entry.name == name and "data" in entry.parts:
            path = Path(str(entry.locate()))
            if path.is_file():
                return path
    raise PatchnetError(
        f"The page would have to fetch {address}: {_PACKAGE} carries no file {name}."
    )


@cache
def leaflet_script(address: str) -> str:
    """Leaflet's script, without the pointer to its source map (a browser might follow it)."""
    source = local_copy(address).read_text(encoding="utf-8")
    return re.sub(r"^//# sourceMappingURL=.*$", "", source, flags=re.MULTILINE).strip() + "\n"


@cache
def leaflet_style(address: str) -> str:
    """Leaflet's style sheet with its pictures inside."""
    source = local_copy(address).read_text(encoding="utf-8")

    def picture(match: re.Match[str]) -> str:
        name = match.group(1)
        if name.startswith(("#", "data:")):
            return match.group(0)
        content = base64.b64encode(local_copy(name).read_bytes()).decode("ascii")
        return f"url(data:image/png;base64,{content})"

    return re.sub(r"""url\(\s*['"]?([^'")]+?)['"]?\s*\)""", picture, source)


def sha256(source: str) -> str:
    """Return the hash by which a content security policy allows one inline script."""
    digest = hashlib.sha256(source.encode("utf-8")).digest()
    return "'sha256-" + base64.b64encode(digest).decode("ascii") + "'"


class _Addresses(HTMLParser):
    """Collects every address that a browser would fetch by itself."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[str] = []
        self._style = False

    def _take(self, address: str) -> None:
        if address and not address.startswith(("#", "data:")):
            self.found.append(address)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._style = tag == "style"
        for name, value in attrs:
            # A link in the text waits for a click; everything else is fetched at once.
            if name in _ADDRESS_ATTRIBUTES and not (tag == "a" and name == "href"):
                self._take(value or "")
            if name == "style" and value:
                self._css(value)

    def handle_data(self, data: str) -> None:
        if self._style:
            self._css(data)

    def handle_endtag(self, tag: str) -> None:  # noqa: ARG002 - the reader's signature
        self._style = False

    def _css(self, source: str) -> None:
        for match in _CSS_ADDRESS.finditer(source):
            self._take(match.group(1) or match.group(2))


def outside_addresses(page: str) -> list[str]:
    """List the addresses that opening `page` would fetch (links to click are not among them)."""
    folded = str.lower(page)
    if not any(sign.search(folded) for sign in _SIGNS):
        return []
    reader = _Addresses()
    # Of a page that a template made every slice would be marked as safe anew: twice the time.
    reader.feed(str.__str__(page))
    reader.close()
    return reader.found
