"""How each ground of a garden plan is drawn: a colour of the garden's own, and a motif.

The motif carries the meaning where colour cannot: on paper in black and white, and for every kind
of colour vision. Only short lawn and water go without one: one is light, the other dark.
"""

from dataclasses import dataclass

from patchnet.core.texts import N_, Words
from patchnet.pages.kit.colours import DO_THIS
from patchnet.pages.kit.garden_plan import Ground

__all__ = ["HEDGE", "MATERIALS", "NAMES", "TREE", "Material", "for_page"]

HEDGE = "#3f6d38"
TREE = ("#77a364", "#35562d", "#2b3d24")  # crown, its rim and the shade beside it


@dataclass(frozen=True, slots=True)
class Material:
    """How a ground is filled.

    Parameters
    ----------
    base
        Colour of the ground.
    side
        Side of the square that repeats, px.
    strokes
        Colour, width in px and path of each stroke in that square; none: plain.
    """

    base: str
    side: float = 8
    strokes: tuple[tuple[str, float, str], ...] = ()


MATERIALS: dict[Ground, Material] = {
    "lawn": Material("#cfe0a6"),
    "flower_lawn": Material(
        "#d5e2a8",
        11,
        (("#ffffff", 2.4, "M2.5 3h.01M8 8.5h.01"), ("#d9a514", 2, "M8 2.5h.01M3 9h.01")),
    ),
    "long_grass": Material(
        "#b3c87b",
        11,
        (
            (
                "#5c7a2c",
                0.9,
                "M2 5V1.5M3.6 5L5 2M.6 5L0 3M7.5 10.5V7M9 10.5L10.4 7.5M6.2 10.5L5.4 8.5",
            ),
        ),
    ),
    "flowers": Material(
        "#ddc48a",
        10,
        (
            ("#a32f5b", 2.6, "M2.5 2.5h.01M7.5 7.5h.01"),
            ("#5b4f9e", 2.2, "M7.3 2.2h.01M2.2 7.3h.01"),
        ),
    ),
    "vegetables": Material("#bf9f66", 8, (("#3f6d38", 1.8, "M0 2H8"), ("#8d6c3c", 0.7, "M0 6H8"))),
    "bushes": Material(
        "#86a973", 9, (("#4d7540", 1, "M1 4.5A2.2 2.2 0 0 1 5.2 4.5M5 8.7A2.2 2.2 0 0 1 9 8.7"),)
    ),
    "soil": Material("#cbb591", 9, (("#7d6238", 1.3, "M2 2h.01M6.5 4h.01M3.4 7h.01"),)),
    "marsh": Material("#a9c9b4", 10, (("#2f6a72", 1, "M0 3Q2.5 1 5 3T10 3M0 8Q2.5 6 5 8T10 8"),)),
    "water": Material("#3d8cc2"),
    "paving": Material("#ddd6cc", 8, (("#b7aca0", 0.8, "M0 0H8M0 0V8"),)),
    "plastic": Material("#a8c8a2", 6, (("#6f9e7c", 0.7, "M0 0H6M0 0V6M3 0V6M0 3H6"),)),
    "decking": Material("#d0b48c", 5, (("#9a7a4e", 0.8, "M0 .5H5"),)),
    "other": Material("#e7edd8", 14, (("#c3cdb0", 0.8, "M2 12L5 9M9 5L12 2"),)),
    "unseen": Material("#ffffff", 9, (("#8a9284", 1.2, "M2 2h.01M6.5 6.5h.01"),)),
}
"""Every ground; water is the only blue."""

NAMES: Words[str, str] = Words(
    {
        "lawn": N_("Short lawn"),
        "flower_lawn": N_("Flowering lawn"),
        "long_grass": N_("Long grass"),
        "flowers": N_("Flowers"),
        "vegetables": N_("Vegetables"),
        "bushes": N_("Bushes"),
        "soil": N_("Soil, leaves, compost"),
        "marsh": N_("Boggy bed"),
        "water": N_("Pond"),
        "paving": N_("Paving"),
        "plastic": N_("Plastic grass"),
        "decking": N_("Decking"),
        "other": N_("Other ground"),
        "unseen": N_("Not seen yet"),
        "hedge": N_("Hedge"),
        "tree": N_("Tree"),
        "wood": N_("Logs"),
        "stones": N_("Stones"),
        "dish": N_("Water in a dish or tub"),
        "box": N_("Box or shelter"),
    }
)
"""What each is called in a legend."""


def for_page() -> dict[str, object]:
    """Return everything that a page's script draws gardens with."""
    return {
        "materials": {
            key: [one.base, one.side, [list(stroke) for stroke in one.strokes]]
            for key, one in MATERIALS.items()
        },
        "hedge": HEDGE,
        "tree": list(TREE),
        "do": DO_THIS,
    }
