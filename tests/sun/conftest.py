"""A row of gardens small enough to check by hand."""

from worlds.row_of_gardens import build, faults_of, knowledge, street

__all__ = ["build", "faults_of", "knowledge", "street"]
