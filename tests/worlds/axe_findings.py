"""What axe-core finds wrong on an open page."""

from axe_playwright_python.sync_playwright import Axe

__all__ = ["violations"]

# What is in order is not listed element by element: that takes longer than finding what is not
_ASKED = {"resultTypes": ["violations"]}
_TARGETS = {"rules": {"target-size": {"enabled": True}}}


def violations(page, *, tags=()):
    """The rules that are broken, each with its first element.

    All that axe has switched on and the size of targets, or else only the rules with one of `tags`.
    """
    asked = {"runOnly": {"type": "tag", "values": list(tags)}} if tags else _TARGETS
    found = Axe().run(page, options={**_ASKED, **asked}).response["violations"]
    return [f"{one['id']}: {one['nodes'][0]['html'][:120]}" for one in found]
