"""What the report's figures rest on: the works, and how well each figure is founded."""

from collections import Counter

from patchnet.knowledge.records import CLASSES, Knowledge
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.map.map_words import CLASS_WORDS
from patchnet.pages.scheme.pack import SchemePack

__all__ = ["sources_html"]

_PREFIXES = ("scheme/", "street_rules/", "planter_sizes/", "planter_recipes/", "stopping_sight/")
_ORIGINS = ("scheme_upkeep/", "scheme_risks/", "scheme_consents/")


def sources_html(pack: SchemePack) -> Markup:
    """Works used for the street, the bill, upkeep, risks and permissions, and the plants."""
    know = pack.knowledge
    used, kinds = _used(know)
    findings = (each for one in pack.scheme.sites for each in one.findings)
    cited = dict.fromkeys(each.source for each in findings if each.source)
    plants = [know.plants[key] for group in pack.groups for key in group.numbers]
    for plant in plants:
        for keys in (plant.months_source, plant.hazard_source):
            used.update(key.strip() for key in keys.split(";") if key.strip() in know.sources)
    return render(
        "scheme/grounds_for_figures.html",
        counts="; ".join(f"{kinds[kind]} {CLASS_WORDS[kind]}" for kind in CLASSES if kinds[kind]),
        works=[know.sources[key].citation for key in sorted(used) if key in know.sources],
        rules=list(cited),
        credits=pack.credits,
    )


def _used(knowledge: Knowledge) -> tuple[set[str], "Counter[str]"]:
    used: set[str] = set()
    kinds: Counter[str] = Counter()
    for key, figure in knowledge.figures.items():
        if key.startswith(_PREFIXES):
            used.update(figure.sources)
            kinds[figure.kind] += 1
    for key, origin in knowledge.origins.items():
        if key.startswith(_ORIGINS):
            used.update(origin.sources)
    return used - {"patchnet"}, kinds
