"""The paper that plans are drawn on, lying on its side."""

from dataclasses import dataclass

__all__ = ["A3", "A4", "PAPERS", "SheetSize"]

_OVERLAP_MM = 27.0  # of a plan, so that both sheets show the place where they meet


@dataclass(frozen=True, slots=True)
class SheetSize:
    """A size of paper: its name in ISO 216, and the millimetres of it that a plan takes.

    Beside the plan are the margins; under it its key and its title block.
    """

    name: str
    wide_mm: float
    high_mm: float

    @property
    def used_mm(self) -> float:
        """Millimetres of street on a sheet: the rest is overlap."""
        return self.wide_mm - _OVERLAP_MM


A4 = SheetSize("A4", 277.0, 144.0)
A3 = SheetSize("A3", 400.0, 228.0)
PAPERS = {"a4": A4, "a3": A3}
"""By the word of the command line."""
