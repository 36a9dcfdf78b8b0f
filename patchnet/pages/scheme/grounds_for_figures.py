"""What the report's figures rest on: the works, and how well each figure is founded."""

from collections import Counter

from patchnet.knowledge.records import CLASSES, Knowledge
from patchnet.pages.kit.escape import text
from patchnet.pages.map.map_words import CLASS_WORDS
from patchnet.pages.scheme.pack import SchemePack

__all__ = ["sources_html"]

_PREFIXES = ("scheme/", "street_rules/", "planter_sizes/", "planter_recipes/", "stopping_sight/")
_ORIGINS = ("scheme_upkeep/", "scheme_risks/", "scheme_consents/")


def sources_html(pack: SchemePack) -> str:
    """Works used for the street, the bill, upkeep, risks and permissions, and the plants."""
    know = pack.knowledge
    used, kinds = _used(know)
    findings = (each for one in pack.scheme.sites for each in one.findings)
    cited = dict.fromkeys(each.source for each in findings if each.source)
    rules = "".join(f"<li>{text(words)}.</li>" for words in cited)
    plants = [know.plants[key] for group in pack.groups for key in group.numbers]
    for plant in plants:
        for keys in (plant.months_source, plant.hazard_source):
            used.update(key.strip() for key in keys.split(";") if key.strip() in know.sources)
    items = "".join(
        f"<li>{text(know.sources[key].citation)}.</li>"
        for key in sorted(used)
        if key in know.sources
    )
    counts = "; ".join(f"{kinds[kind]} {CLASS_WORDS[kind]}" for kind in CLASSES if kinds[kind])
    credit_lines = "".join(f"<li>{text(line)}</li>" for line in pack.credits)
    return (
        f"<p>Figures of the street, the bill and upkeep: {text(counts)}. Where each stands and "
        "what it leans on: <code>patchnet source scheme</code>, <code>patchnet source "
        "street_rules</code>. What wildlife needs comes from the same tables as the map page, "
        f"which lists its sources.</p><ul>{items}</ul>"
        + (f"<h3>Where the street rules come from</h3><ul>{rules}</ul>" if rules else "")
        + (f"<h3>Map and data</h3><ul>{credit_lines}</ul>" if credit_lines else "")
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
