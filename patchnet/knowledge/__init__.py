"""Knowledge: what animals need and features give, every number with unit, class, source.

The numbers stand in CSV tables (``tables/``) that can be edited in a spreadsheet, one number a
row. `load_knowledge` reads them, puts a user's own tables on top and checks everything.
No ecological or legal number stands in code.
"""

from patchnet.knowledge.foraging_range import homing_distance_m, is_ceiling
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.origin import describe_source
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.words import (
    match_barrier_kind,
    match_feature,
    match_plot_kind,
    near_features,
    near_plot_kinds,
)

__all__ = [
    "Knowledge",
    "describe_source",
    "homing_distance_m",
    "is_ceiling",
    "load_knowledge",
    "match_barrier_kind",
    "match_feature",
    "match_plot_kind",
    "near_features",
    "near_plot_kinds",
]
