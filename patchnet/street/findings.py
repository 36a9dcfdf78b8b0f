"""Findings put together: the figure, what the rule asks, and where the rule comes from."""

from patchnet.core.language_forms import without_noughts
from patchnet.knowledge.records import Knowledge
from patchnet.street.site import Basis, Finding, Verdict

__all__ = ["finding", "metres", "source_of", "things_to_look_for"]


def metres(value: float) -> str:
    """``1.5 m``, ``0.85 m``: to the centimetre, without zeros that say nothing.

    Parameters
    ----------
    value
        Metres.
    """
    return f"{without_noughts(value)} m"


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
