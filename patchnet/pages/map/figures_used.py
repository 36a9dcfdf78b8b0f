"""Where the page's figures come from."""

import re
from collections import Counter

from patchnet.core.language_forms import number
from patchnet.knowledge.records import CLASSES, Knowledge
from patchnet.pages.map.map_words import CLASS_WORDS, PAGE

__all__ = ["figures_used"]

_DOI = re.compile(r"10\.\d{4,9}/\S+")


def figures_used(knowledge: Knowledge) -> dict[str, object]:
    """Tell how well the figures are founded, and list every source with its number of figures.

    Figures without a source key are counted by class only. The answer is what the template
    ``map/figures_used.html`` names.
    """
    figures = knowledge.figures.values()
    by_class = Counter(figure.kind for figure in figures)
    used: dict[str, Counter[str]] = {}
    for figure in figures:
        for key in figure.sources:
            used.setdefault(key, Counter())[figure.kind] += 1
    return {
        "total": PAGE["assumed_counts"].format(all=number(len(knowledge.figures), ",")),
        "counts": [
            (number(by_class[kind], ","), CLASS_WORDS[kind]) for kind in CLASSES if by_class[kind]
        ],
        "sources": [_source(knowledge, key, used[key]) for key in sorted(used)],
    }


def _source(knowledge: Knowledge, key: str, kinds: "Counter[str]") -> dict[str, str]:
    source = knowledge.sources.get(key)
    doi = source.doi.strip() if source else ""
    return {
        "key": key,
        "words": source.citation if source else key,
        "doi": doi if _DOI.fullmatch(doi) else "",
        "counted": ", ".join(
            f"{number(kinds[kind], ',')} {CLASS_WORDS[kind]}" for kind in CLASSES if kinds[kind]
        ),
    }
