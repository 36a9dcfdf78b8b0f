"""Where does this number come from? Answered in plain words."""

from collections.abc import Iterable, Mapping

from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest
from patchnet.core.texts import N_, Words, _
from patchnet.knowledge.knowledge import Knowledge
from patchnet.knowledge.parts import Class
from patchnet.knowledge.sources import Figure, Origin

__all__ = ["CLASS_WORDS", "describe_source"]

CLASS_WORDS: Words[Class, str] = Words(
    {
        "published": N_("Published: the figure is in the work named, or in its abstract."),
        "second-hand": N_("Second-hand: from a page that reports the work or body named."),
        "derived": N_("Derived: worked out from published figures, as the note says."),
        "common-practice": N_(
            "Common practice: what handbooks and practitioners advise, not a finding."
        ),
        "memory": N_("From memory: not checked against a published work. Treat it with care."),
        "assumption": N_("Our own assumption, not a finding. Change it where you know better."),
    }
)


def describe_source(knowledge: Knowledge, key: str) -> str:
    """Say in plain words where a number, or all numbers of something, come from.

    Parameters
    ----------
    knowledge
        The knowledge tables.
    key
        Address of a figure (``groups/mason_bee/hop``), the start of addresses (``groups/newt``),
        a caution (``cautions/pond_children``) or the key of a source (``osborne_1999``).

    Returns
    -------
    str
        Lines of text without a line feed at the end.

    Raises
    ------
    WrongUse
        If nothing has this key; the message offers the nearest spellings.

    Examples
    --------
    >>> import patchnet
    >>> words = patchnet.describe_source(patchnet.load_knowledge(), "groups/mason_bee/hop")
    >>> words.splitlines()[0].startswith("groups/mason_bee/hop")
    True
    """
    wanted = key.strip().strip("/").casefold()
    entries: dict[str, Figure | Origin] = {**knowledge.figures, **knowledge.origins}
    if wanted in knowledge.sources:
        return "\n".join(_source(knowledge, wanted, entries))
    if wanted.startswith("cautions/") and wanted.removeprefix("cautions/") in knowledge.cautions:
        return "\n".join(_caution(knowledge, wanted.removeprefix("cautions/")))
    below = [entries[name] for name in entries if f"{name}/".startswith(f"{wanted}/")]
    if not wanted or not below:
        raise WrongUse(_unknown(knowledge, key, wanted, entries))
    lines: list[str] = []
    for entry in below:
        lines += [*_entry(entry), ""]
    used = dict.fromkeys(source for entry in below for source in entry.sources)
    return "\n".join([*lines, *_citations(knowledge, used)])


def _entry(entry: Figure | Origin) -> list[str]:
    if isinstance(entry, Figure):
        said = f"{entry.value:.15g} {entry.unit}"
        if entry.low < entry.high:
            said += _(" (range {low:.15g} to {high:.15g})").format(low=entry.low, high=entry.high)
    else:
        said = entry.words
    lines = [f"{entry.key}: {said}", f"  {CLASS_WORDS[entry.kind]}"]
    if entry.note:
        lines.append(_("  Note: {note}.").format(note=entry.note))
    works = [source for source in entry.sources if source != "patchnet"]
    if works:
        label = _("Based on") if entry.kind == "assumption" else _("Source")
        lines.append(f"  {label}: {', '.join(works)}")
    lines.append(_("  Defined in: {place}").format(place=entry.place))
    return lines


def _citations(knowledge: Knowledge, keys: Iterable[str]) -> list[str]:
    lines = [_("Sources:")]
    for key in keys:
        source = knowledge.sources[key]
        doi = f" doi:{source.doi}" if source.doi else ""
        lines.append(f"  {key}: {source.citation}.{doi}")
    return lines


def _source(knowledge: Knowledge, key: str, entries: Mapping[str, Figure | Origin]) -> list[str]:
    lines = _citations(knowledge, [key])[1:]
    lines[0] = lines[0].strip()
    uses = [entry for entry in entries.values() if key in entry.sources]
    lines.append(
        _("Used for {n_uses} entries of the tables:").format(n_uses=len(uses))
        if uses
        else _("Used for no number.")
    )
    lines += [f"  {entry.key} ({entry.kind})" for entry in uses]
    lines += [
        f"  cautions/{caution.key}"
        for caution in knowledge.cautions.values()
        if key in caution.sources
    ]
    return lines


def _caution(knowledge: Knowledge, key: str) -> list[str]:
    caution = knowledge.cautions[key]
    return [f"cautions/{key}: {caution.words}", *_citations(knowledge, caution.sources)]


def _unknown(
    knowledge: Knowledge, key: str, wanted: str, entries: Mapping[str, Figure | Origin]
) -> str:
    stems = {
        "/".join(parts[:length])
        for name in entries
        for parts in [name.split("/")]
        for length in range(1, len(parts) + 1)
    }
    cautions = (f"cautions/{caution}" for caution in knowledge.cautions)
    choices = sorted({*stems, *knowledge.sources, *cautions})
    within = [choice for choice in choices if wanted and wanted in choice.split("/")]
    ending = [choice for choice in within if choice.split("/")[-1] == wanted]
    close = ending[:4] or nearest(wanted, choices)
    hint = (
        _("Did you mean {close}?").format(close=_(" or ").join(close))
        if close
        else _("Try groups, needs, or features.")
    )
    return _("Nothing in the knowledge tables has the key '{key}'. {hint}").format(
        key=key, hint=hint
    )
