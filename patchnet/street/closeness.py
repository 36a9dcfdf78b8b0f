"""How near a refused place came to being allowed."""

from collections.abc import Iterable

from patchnet.street.site import Finding

__all__ = ["how_far_off", "refusing"]


def refusing(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings that say no, the one that is farthest from its limit first.

    Parameters
    ----------
    findings
        Of one place.
    """
    return tuple(
        sorted((one for one in findings if one.verdict == "no"), key=lambda one: -_gap(one))
    )


def how_far_off(findings: Iterable[Finding]) -> tuple[int, float]:
    """Say how far a place is from being allowed: fewer refusals first, then the nearer limit.

    Parameters
    ----------
    findings
        Of one place.

    Returns
    -------
    tuple
        Rules that say no; of these the largest lack, as a share of its limit (1 where no figure
        says how much).
    """
    no = refusing(findings)
    return len(no), _gap(no[0]) if no else 0.0


def _gap(one: Finding) -> float:
    if one.figure is None or not one.limit:
        return 1.0
    return min(abs(one.limit - one.figure) / abs(one.limit), 1.0)
