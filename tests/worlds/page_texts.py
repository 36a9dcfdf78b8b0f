"""What people see or hear of a page, and what its scripts hold."""

from html.parser import HTMLParser

__all__ = ["PageTexts", "written"]

_TOLD = {"aria-label", "title", "alt", "placeholder"}
_EMPTY = {
    "area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track",
    "wbr",
}  # fmt: skip


def written(tab):
    """Wait until a map has written what is read below it, which comes after the picture."""
    tab.wait_for_selector("[aria-busy=true]", state="detached")


class PageTexts(HTMLParser):
    """Reads a page: ``texts``, the texts of its ``scripts``, its ``language``.

    `without` names classes whose elements are passed over, such as ``sources``; what is marked as
    another language (``lang``) is passed over as well.
    """

    def __init__(self, html, *, without=()):
        super().__init__()
        self.texts, self.scripts, self.language = [], [], ""
        self._without, self._inside, self._open, self._over = set(without), "", [], 0
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if tag == "html":
            self.language = given.get("lang", "")
        over = bool(self._without & set((given.get("class") or "").split())) or (
            tag != "html" and given.get("lang") not in {None, self.language}
        )
        if tag not in _EMPTY:
            self._open.append(over)
            self._over += over
        self._inside = tag if tag in {"script", "style", "code"} else self._inside
        if not self._over:
            self.texts += [value for name, value in attrs if value and name in _TOLD]

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in _EMPTY:
            self.handle_endtag(tag)

    def handle_endtag(self, tag):
        if tag not in _EMPTY and self._open:
            self._over -= self._open.pop()
        self._inside = "" if tag == self._inside else self._inside

    def handle_data(self, data):
        if not self._inside:
            if not self._over:
                self.texts.append(data)
        elif self._inside == "script":
            self.scripts.append(data)
