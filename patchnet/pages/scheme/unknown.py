"""What nobody knows yet of a scheme, in plain sentences: told on the front, not hidden behind."""

from patchnet.core.texts import _, counted
from patchnet.knowledge.countries import speed_words
from patchnet.pages.scheme.pack import SchemePack

__all__ = ["unknown_words"]

_MEASURED = "measured"


def unknown_words(pack: SchemePack) -> list[str]:
    """List what is not known yet, what turns most on it first.

    Parameters
    ----------
    pack
        The scheme.
    """
    street = pack.scheme.street
    return [
        words
        for words in (
            _who(pack),
            _to_measure(pack),
            _widths(pack),
            _("How fast drivers go: {speed} is {basis}, not measured.").format(
                speed=speed_words(street.speed_mph, pack.country), basis=_(street.speed_basis)
            )
            if street.speed_basis != _MEASURED
            else "",
            ""
            if street.objects_known
            else _(
                "What stands in the street: nobody has listed covers, columns, trees and doors."
            ),
            _prices(pack),
            _gardens(pack),
        )
        if words
    ]


def _who(pack: SchemePack) -> str:
    nobody = [one.plot for one in pack.scheme.planters if one.keeper is None]
    if not nobody:
        return ""
    if len(nobody) == len(pack.scheme.planters):
        return _("Who waters: nobody is named.")
    return _("Who waters {plots}: nobody is named.").format(plots=", ".join(nobody))


def _to_measure(pack: SchemePack) -> str:
    own = [one for one in pack.scheme.planters if one.site.verdict == "measure"]
    if not own:
        return ""
    return _("What a tape would say at {plots}: the rules cannot be answered from the map.").format(
        plots=", ".join(one.plot for one in own)
    )


def _widths(pack: SchemePack) -> str:
    planters = pack.scheme.planters
    drawn = sum(one.site.clear_basis != _MEASURED or one.site.clear_m is None for one in planters)
    if not drawn:
        return ""
    return _("Walking widths beside {boxes} are from a map: a tape comes before a licence.").format(
        boxes=counted(drawn, "planter")
    )


def _prices(pack: SchemePack) -> str:
    open_lines = [
        line for line in pack.bill if line.price is not None and line.price.how != "quoted"
    ]
    if not open_lines:
        return ""
    return _("What firms would charge: {n} of {all} lines of the bill are not quoted.").format(
        n=len(open_lines), all=sum(line.price is not None for line in pack.bill)
    )


def _gardens(pack: SchemePack) -> str:
    known = float(pack.scheme.before.known_share.mean())
    return _(
        "What grows in gardens nobody has looked at: {known:.0%} of what is asked of each plot is "
        "known; the rest was taken from plots of the same kind."
    ).format(known=known)
