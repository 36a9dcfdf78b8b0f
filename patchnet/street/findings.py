"""Findings put together: the figure, what the rule asks, and where the rule comes from."""

import math

from patchnet.core.language_forms import without_noughts
from patchnet.knowledge.records import Knowledge
from patchnet.street.site import Basis, Finding, Verdict

__all__ = [
    "finding",
    "metres",
    "metres_left",
    "source_of",
    "things_to_look_for",
    "whole_centimetres",
]


def metres(value: float) -> str:
    """``1.5 m``, ``0.85 m``: to the centimetre, without zeros that say nothing.

    Parameters
    ----------
    value
        Metres.
    """
    return f"{without_noughts(value)} m"


def metres_left(value: float) -> str:
    """Return a width that people rely on: to the centimetre, never rounded up.

    A millimetre is forgiven, as no drawing is truer.

    Parameters
    ----------
    value
        Metres.

    Examples
    --------
    >>> metres_left(2.078), metres_left(1.5995)
    ('2.07 m', '1.6 m')
    """
    return metres(whole_centimetres(value))


def whole_centimetres(value: float) -> float:
    """Return whole centimetres of a width, never rounded up but for a millimetre.

    Parameters
    ----------
    value
        Metres.

    Returns
    -------
    float
        Metres.
    """
    return math.floor(value * 100 + 0.1) / 100


def things_to_look_for(knowledge: Knowledge) -> str:
    """Return the kinds of things in a street that are to be looked for, in words.

    Parameters
    ----------
    knowledge
        For the kinds.
    """
    kinds = knowledge.street_kinds.values()
    return ", ".join(kind.name for kind in kinds if kind.test != "looked")


def source_of(rule: str, knowledge: Knowledge) -> str:
    """Return where a rule of ``street_rules.csv`` comes from, in words; empty if it has none.

    Parameters
    ----------
    rule
        Key of the rule.
    knowledge
        For the rule and its source.
    """
    figure = knowledge.street_rules.get(rule)
    if figure is None:
        return ""
    return "; ".join(knowledge.sources[key].citation for key in figure.sources)


def finding(
    rule: str,
    verdict: Verdict,
    figure: float | None,
    limit: float | None,
    basis: Basis,
    knowledge: Knowledge,
    source: str,
    words: str,
) -> Finding:
    """Return one finding in metres; `source` is the key of the street rule it goes by.

    Parameters
    ----------
    rule
        Key of the test.
    verdict
        What comes out.
    figure
        What there is, metres; None: not known.
    limit
        What is asked for, metres; None: no limit.
    basis
        Where the figure comes from.
    knowledge
        For the source.
    source
        Key of the street rule.
    words
        What is said.
    """
    return Finding(rule, verdict, figure, limit, "m", basis, words, source_of(source, knowledge))
