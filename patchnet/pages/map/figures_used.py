"""Where the page's figures come from, as plain HTML."""

import re
from collections import Counter

from patchnet.knowledge.records import CLASSES, Knowledge
from patchnet.pages.kit.escape import attribute, text
from patchnet.pages.map.map_words import CLASS_WORDS, PAGE

__all__ = ["sources_html"]

_DOI = re.compile(r"10\.\d{4,9}/\S+")


def sources_html(knowledge: Knowledge) -> str:
    """List how well the figures are founded, and every source with its number of figures.

    Figures without a source key are counted by class only.
    """
    figures = knowledge.figures.values()
    by_class = Counter(figure.kind for figure in figures)
    counts = "".join(
        f"<li>{by_class[kind]:,} {text(CLASS_WORDS[kind])}</li>"
        for kind in CLASSES
        if by_class[kind]
    )
    used: dict[str, Counter[str]] = {}
    for figure in figures:
        for key in figure.sources:
            used.setdefault(key, Counter())[figure.kind] += 1
    items = "".join(_item(knowledge, key, used[key]) for key in sorted(used))
    total = text(PAGE["assumed_counts"].format(all=f"{len(knowledge.figures):,}"))
    return (
        f"<p>{total}</p><ul>{counts}</ul>"
        f'<h3>{text(PAGE["sources"])}</h3><ul class="sources">{items}</ul>'
    )


def _item(knowledge: Knowledge, key: str, kinds: "Counter[str]") -> str:
    source = knowledge.sources.get(key)
    words = source.citation if source else key
    doi = source.doi.strip() if source else ""
    link = ""
    if _DOI.fullmatch(doi):
        link = f' <a href="{attribute("https://doi.org/" + doi)}">doi:{text(doi)}</a>'
    counted = ", ".join(f"{kinds[kind]:,} {CLASS_WORDS[kind]}" for kind in CLASSES if kinds[kind])
    return f"<li><code>{text(key)}</code> {text(words)}{link} ({text(counted)})</li>"
