"""What the rules say of a place along a street, and a slim box to ask them about."""

from patchnet.knowledge.street import PlanterSize

__all__ = ["SLIM", "of", "verdict"]

SLIM = PlanterSize("slim", "slim", 1.0, 0.4, 0.5, 0.4, 0.1)


def of(site, name):
    """Findings of one rule."""
    return [finding for finding in site.findings if finding.rule == name]


def verdict(site, name):
    """The verdict of a rule that found one thing."""
    (finding,) = of(site, name)
    return finding.verdict
