"""Who gains: animals before and after, and the people who live and learn beside the planters."""

from patchnet.core.texts import _, ngettext
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.table import table
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.scheme.pack import SchemePack

__all__ = ["gains_html"]

_DOORS = 2  # a block with more doors is told by its first and last
_BLOCKS = 8


def gains_html(pack: SchemePack) -> Markup:
    """Homes within reach by block, with and without ground; schools, greens, what is open."""
    gains = pack.gains
    if gains is None:
        return render("scheme/gains.html", public=True)
    rows = [
        (
            _block(one.street, one.doors),
            one.addresses,
            one.addresses - one.without,
            one.without,
        )
        for one in gains.blocks[:_BLOCKS]
    ]
    listed = sum(one.addresses for one in gains.blocks[:_BLOCKS])
    if listed < gains.addresses:
        rest = gains.addresses - listed
        without = gains.without - sum(one.without for one in gains.blocks[:_BLOCKS])
        rows.append((_("in smaller blocks"), rest, rest - without, without))
    rows.append(
        (_("in all"), gains.addresses, gains.addresses - gains.without, gains.without)
    )  # fmt: skip
    return render(
        "scheme/gains.html",
        public=False,
        reach=f"{gains.reach_m:g}",
        homes=ngettext("{n} address lies", "{n} addresses lie", gains.addresses).format(
            n=gains.addresses
        ),
        table=table(
            _("Addresses beside the planters"),
            (_("Block"), _("Addresses"), _("With ground of their own"), _("Without")),
            rows,
            css="gains",
        )
        if gains.addresses
        else "",
        ground=figure(gains.ground_m2),
        schools=", ".join(gains.schools),
        greens=", ".join(gains.greens),
        green=None if gains.green_m is None else f"{gains.green_m:.0f}",
    )


def _block(street: str, doors: tuple[str, ...]) -> str:
    where = street or _("street not named")
    if not doors:
        return where
    if len(doors) > _DOORS:
        return _("{street}, {first} to {last}").format(street=where, first=doors[0], last=doors[-1])
    return f"{where}, {', '.join(doors)}"
