"""What axe-core finds wrong on an open page."""

from axe_playwright_python.sync_playwright import Axe

__all__ = ["violations"]

# What is in order is not listed element by element: that takes longer than finding what is not
_ASKED = {"resultTypes": ["violations"]}


def violations(page, *, tags=(), targets=False):
    """The rules that are broken, each with its first element.

    All that axe has switched on (with `targets` the size of what is tapped too), or else only the
    rules with one of `tags`.
    """
    asked = dict(_ASKED)
    if tags:
        asked["runOnly"] = {"type": "tag", "values": list(tags)}
    if targets:
        asked["rules"] = {"target-size": {"enabled": True}}
    found = Axe().run(page, options=asked).response["violations"]
    return [f"{one['id']}: {one['nodes'][0]['html'][:120]}" for one in found]
