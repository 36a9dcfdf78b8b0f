"""The page's colours: a garden's own on paper, with engraved tints.

Every shading is a colour *and* a motif (dots, hatching) or a letter, so that nothing rests on
colour alone. The steps of a scale differ in lightness, which every kind of colour vision keeps.
"""

from dataclasses import dataclass

__all__ = [
    "ABSENT",
    "AMPLE",
    "CATEGORIES",
    "COVER",
    "DO_THIS",
    "INK",
    "LINES",
    "LINKS",
    "MOTIFS",
    "PANEL",
    "PAPER",
    "PINCH",
    "SHORT",
    "STEPS",
    "UNKNOWN",
    "Tint",
    "contrast",
    "css_variables",
    "for_page",
    "luminance",
]

PAPER = "#fbfcf7"
PANEL = "#ffffff"
INK = "#1c2a1b"
MUTED = "#4c574a"
RULE = "#7f887a"
MADDER = "#b8330e"
WOAD = "#235c45"
FOCUS = "#b8330e"
LINE = "#dfe3d8"
DO_THIS = "#c93a12"
"""The one strong colour: do this, here."""
MAP = "#eef1e6"


@dataclass(frozen=True, slots=True)
class Tint:
    """How an area is drawn.

    Parameters
    ----------
    base
        Ground colour.
    ink
        Colour of the motif and of a letter on it.
    motif
        Name of an engraved pattern, a key of `MOTIFS` (``"plain"``: none).
    dash
        Dash pattern of the outline in px; empty: solid.
    mark
        Letter or sign written on the area; empty: none.
    """

    base: str
    ink: str
    motif: str = "plain"
    dash: str = ""
    mark: str = ""


# Each motif is one stroke path on a square tile: (side in px, stroke width in px, path).
MOTIFS: dict[str, tuple[float, float, str]] = {
    "plain": (8, 0, ""),
    "dots": (7, 1.4, "M1.75 1.75h.01M5.25 5.25h.01"),
    "lines": (6, 0.7, "M-1 1L1 -1M0 6L6 0M5 7L7 5"),
    "close": (4, 0.9, "M-1 1L1 -1M0 4L4 0M3 5L5 3"),
    "cross": (6, 0.9, "M0 0L6 6M0 6L6 0M-1 1L1 -1M5 7L7 5M-1 5L1 7M5 -1L7 1"),
    "level": (5, 0.9, "M0 2.5H5"),
    "upright": (5, 0.9, "M2.5 0V5"),
    "rings": (10, 0.9, "M7 5A2 2 0 1 1 3 5A2 2 0 1 1 7 5"),
    "waves": (10, 0.9, "M0 3Q2.5 0 5 3T10 3M0 8Q2.5 5 5 8T10 8"),
    "back": (6, 0.9, "M-1 5L1 7M0 0L6 6M5 -1L7 1"),
}

# A scale from little to much: pale to deep green.
STEPS = (
    Tint("#eef1e4", INK),
    Tint("#d3dfd3", "#4f7a64", "dots"),
    Tint("#abc7b4", "#235c45", "lines"),
    Tint("#78a08c", "#123626", "close"),
    Tint("#255843", PAPER),
)
# Less than needed, from a little to much: vermilion. Enough and more: straw.
SHORT = (
    Tint("#f3d3c7", "#8f2a0e", "lines"),
    Tint("#e0a08a", "#5c1a06", "cross"),
    Tint("#a2300f", PAPER),
)
AMPLE = (
    Tint("#efe2b4", "#6b5310", "dots"),
    Tint("#d9bc62", "#4c3a06"),
)
ABSENT = Tint("#f3f4ec", MUTED)
UNKNOWN = Tint("#ffffff", INK, "plain", "1.5 4", "?")

# Kinds that have no order: a dye, a motif and a letter each.
CATEGORIES = (
    Tint("#a9b1d6", "#1d2350", "plain"),
    Tint("#e0b3ae", "#5c1528", "lines"),
    Tint("#e3cf86", "#4c3a06", "dots"),
    Tint("#b9a48c", "#2b1e10", "level"),
    Tint("#c5d0c6", "#24382b", "back"),
    Tint("#c9b2cf", "#3d2147", "upright"),
    Tint("#8f97a8", "#10141d", "rings"),
    Tint("#d7dfe6", "#27323d", "waves"),
)

# The ground: easy, slower, hard, closed; light to dark, so that lightness alone tells them apart.
COVER = (
    Tint("#eff1df", INK),
    Tint("#d6cca0", INK),
    Tint("#bd9d76", INK),
    Tint("#453c36", PAPER),
)
PINCH = "#a8380a"  # saffron: dotted where much passes, whole where most does

# Lines of the map: colour, width in px, dash. The last five are for barriers, as their table says.
LINES: dict[str, tuple[str, float, str]] = {
    "plot": ("#6a6154", 0.9, ""),
    "building": ("#6f6a64", 0.8, ""),
    "footway": ("#7a7264", 1.2, "2 4"),
    "road": ("#8b8475", 1, ""),
    "whole": ("#33302c", 3, ""),
    "dashed": ("#33302c", 1.8, "8 4"),
    "dotted": ("#3f6d38", 4.2, "0.1 4"),
    "dash_dot": ("#33302c", 1.8, "9 3 1 3"),
    "short_dashes": ("#33302c", 1.6, "3 3"),
}
AREAS = {"building": "#d9d3cb", "road": "#ffffff", "footway": "#f4f0e8"}
LINKS = {"link": WOAD, "patch": WOAD, "break": MADDER, "corridor": INK}


def luminance(colour: str) -> float:
    """Relative luminance of ``#rrggbb``, 0-1 (WCAG 2.2, definition of relative luminance)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1-21 (WCAG 2.2, definition of contrast ratio)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def css_variables() -> str:
    """Return the palette as custom properties for the style sheet."""
    names = {
        "paper": PAPER,
        "panel": PANEL,
        "ink": INK,
        "muted": MUTED,
        "rule": RULE,
        "madder": MADDER,
        "woad": WOAD,
        "focus": FOCUS,
        "short": SHORT[0].base,
        "short-ink": SHORT[0].ink,
        "linen": STEPS[0].base,
        "line": LINE,
        "do": DO_THIS,
        "map": MAP,
    }
    return ":root{" + "".join(f"--{name}:{colour};" for name, colour in names.items()) + "}"


def for_page() -> dict[str, object]:
    """Return everything the page's script draws with."""

    def tint(one: Tint) -> list[str]:
        return [one.base, one.ink, one.motif, one.dash, one.mark]

    return {
        "motifs": {name: list(motif) for name, motif in MOTIFS.items()},
        "steps": [tint(one) for one in STEPS],
        "short": [tint(one) for one in SHORT],
        "ample": [tint(one) for one in AMPLE],
        "absent": tint(ABSENT),
        "unknown": tint(UNKNOWN),
        "categories": [tint(one) for one in CATEGORIES],
        "cover": [tint(one) for one in COVER],
        "pinch": PINCH,
        "lines": {name: list(line) for name, line in LINES.items()},
        "areas": AREAS,
        "links": LINKS,
        "paper": PAPER,
        "ink": INK,
    }
