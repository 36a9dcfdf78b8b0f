"""patchnet: a neighbourhood of gardens, verges and planters read as one habitat.

>>> import patchnet
>>> knowledge = patchnet.load_knowledge()
>>> knowledge.groups["wren"].name
'Wren'

Each name is imported when it is first used, so that importing the package costs nothing.
"""

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from patchnet.assess.assess import assess
    from patchnet.assess.assessment import Assessment, GroupAnswer, PlotAnswer
    from patchnet.assess.compare import compare
    from patchnet.assess.comparison import Comparison
    from patchnet.assess.deciding_figures import DecidingFigures, deciding_figures
    from patchnet.assess.doubt import Doubt, doubt_of, with_doubt
    from patchnet.assess.find_gaps import FenceGaps, find_gaps
    from patchnet.assess.find_routes import Routes, find_routes
    from patchnet.assess.next_door import NextDoors
    from patchnet.assess.plot import plot_answer
    from patchnet.assess.tables import break_table, link_table, plot_table
    from patchnet.base.kept_survey import keep_survey
    from patchnet.base.make import BaseMap, make_base
    from patchnet.base.write import write_base
    from patchnet.city.assess_city import assess_city
    from patchnet.city.city_answer import City, read_city
    from patchnet.core.errors import (
        CannotRead,
        CannotWrite,
        DataFaults,
        FileTrouble,
        PatchnetError,
        TableFaults,
        WrongUse,
    )
    from patchnet.core.faults import Fault
    from patchnet.core.street_store import read_journal
    from patchnet.core.texts import languages, use_language
    from patchnet.demo.files import read_demo, write_demo
    from patchnet.knowledge.load import load_knowledge
    from patchnet.knowledge.origin import describe_source
    from patchnet.knowledge.records import Knowledge
    from patchnet.movement.geotiff import write_bands, write_geotiff
    from patchnet.movement.land_cover import LandCover, read_class_costs
    from patchnet.network.build import from_networkx
    from patchnet.network.measures import network_measures, probability_of_connectivity
    from patchnet.pages.files.export import export
    from patchnet.pages.files.routes_export import write_routes
    from patchnet.pages.map.map_page import map_page, write_map
    from patchnet.pages.privacy import for_audience
    from patchnet.pages.scheme.files import write_report
    from patchnet.pages.sheets.city_page import write_city_page
    from patchnet.pages.sheets.compare_page import write_comparison
    from patchnet.pages.sheets.plan_card import write_card
    from patchnet.pages.sheets.plan_cards import Cards, write_cards
    from patchnet.pages.sheets.poster import write_poster
    from patchnet.pages.sheets.progress_page import write_progress
    from patchnet.pages.sheets.residents_notice import write_notice
    from patchnet.pages.sheets.street_sheet import write_street_sheet
    from patchnet.pages.survey.mend_table import write_mend_table
    from patchnet.pages.survey.pack import write_survey
    from patchnet.pages.survey.progress import survey_progress
    from patchnet.pages.survey.project import Project, add_streets, read_project, write_project
    from patchnet.pages.survey.round import plan_survey
    from patchnet.plan.additions import possible_additions
    from patchnet.plan.facts import PlotFacts
    from patchnet.plan.next_doors import next_doors
    from patchnet.plan.plan_plot import Adviser, plan_plot
    from patchnet.plan.plan_together import plan_together
    from patchnet.plan.plot_plan import PlotPlan
    from patchnet.plan.read_facts import read_facts
    from patchnet.plan.street_plan import StreetPlan
    from patchnet.plan.street_plan_file import read_street_plan
    from patchnet.read.build import build_neighbourhood
    from patchnet.read.check import CheckReport, check_file
    from patchnet.read.from_file import read_neighbourhood
    from patchnet.read.neighbourhood import Neighbourhood
    from patchnet.scheme.folder import read_states
    from patchnet.scheme.plan_scheme import plan_scheme
    from patchnet.scheme.planter_scheme import Scheme, SchemeAsk
    from patchnet.street.boxes import planter_boxes
    from patchnet.street.find import find_street
    from patchnet.street.keepers import Keeper, read_keepers
    from patchnet.street.measured import Measured, read_measured
    from patchnet.street.places import planter_sites
    from patchnet.street.to_measure import places_to_measure
    from patchnet.sun.shade import sun_hours
    from patchnet.sun.surface_heights import read_surface_heights
    from patchnet.survey.forget import forget_plots, record_consent
    from patchnet.survey.join_streets import join_streets
    from patchnet.survey.merge import Merged, write_merged
    from patchnet.survey.merge_survey import merge_survey
    from patchnet.survey.survey_layers import read_records
    from patchnet.survey.undo import undo_return
    from patchnet.survey.verify import verify_street

__all__ = [
    "Adviser",
    "Assessment",
    "BaseMap",
    "CannotRead",
    "CannotWrite",
    "Cards",
    "CheckReport",
    "City",
    "Comparison",
    "DataFaults",
    "DecidingFigures",
    "Doubt",
    "Fault",
    "FenceGaps",
    "FileTrouble",
    "GroupAnswer",
    "Keeper",
    "Knowledge",
    "LandCover",
    "Measured",
    "Merged",
    "Neighbourhood",
    "NextDoors",
    "PatchnetError",
    "PlotAnswer",
    "PlotFacts",
    "PlotPlan",
    "Project",
    "Routes",
    "Scheme",
    "SchemeAsk",
    "StreetPlan",
    "TableFaults",
    "WrongUse",
    "add_streets",
    "assess",
    "assess_city",
    "break_table",
    "build_neighbourhood",
    "check_file",
    "compare",
    "deciding_figures",
    "describe_source",
    "doubt_of",
    "export",
    "find_gaps",
    "find_routes",
    "find_street",
    "for_audience",
    "forget_plots",
    "from_networkx",
    "join_streets",
    "keep_survey",
    "languages",
    "link_table",
    "load_knowledge",
    "make_base",
    "map_page",
    "merge_survey",
    "network_measures",
    "next_doors",
    "places_to_measure",
    "plan_plot",
    "plan_scheme",
    "plan_survey",
    "plan_together",
    "planter_boxes",
    "planter_sites",
    "plot_answer",
    "plot_table",
    "possible_additions",
    "probability_of_connectivity",
    "read_city",
    "read_class_costs",
    "read_demo",
    "read_facts",
    "read_journal",
    "read_keepers",
    "read_measured",
    "read_neighbourhood",
    "read_project",
    "read_records",
    "read_states",
    "read_street_plan",
    "read_surface_heights",
    "record_consent",
    "sun_hours",
    "survey_progress",
    "undo_return",
    "use_language",
    "verify_street",
    "with_doubt",
    "write_bands",
    "write_base",
    "write_card",
    "write_cards",
    "write_city_page",
    "write_comparison",
    "write_demo",
    "write_geotiff",
    "write_map",
    "write_mend_table",
    "write_merged",
    "write_notice",
    "write_poster",
    "write_progress",
    "write_project",
    "write_report",
    "write_routes",
    "write_street_sheet",
    "write_survey",
]

# The same as above for when the program runs; tests/test_api.py holds the two together.
_WHERE = {
    name: f"patchnet.{module}"
    for module, names in {
        "assess.assess": ("assess",),
        "assess.assessment": ("Assessment", "GroupAnswer", "PlotAnswer"),
        "assess.compare": ("compare",),
        "assess.comparison": ("Comparison",),
        "assess.deciding_figures": ("DecidingFigures", "deciding_figures"),
        "assess.find_gaps": ("FenceGaps", "find_gaps"),
        "assess.find_routes": ("Routes", "find_routes"),
        "assess.next_door": ("NextDoors",),
        "assess.doubt": ("Doubt", "doubt_of", "with_doubt"),
        "assess.plot": ("plot_answer",),
        "assess.tables": ("break_table", "link_table", "plot_table"),
        "base.kept_survey": ("keep_survey",),
        "base.make": ("BaseMap", "make_base"),
        "base.write": ("write_base",),
        "city.assess_city": ("assess_city",),
        "city.city_answer": ("City", "read_city"),
        "core.errors": (
            "CannotRead",
            "CannotWrite",
            "DataFaults",
            "FileTrouble",
            "PatchnetError",
            "TableFaults",
            "WrongUse",
        ),
        "core.faults": ("Fault",),
        "core.texts": ("languages", "use_language"),
        "demo.files": ("read_demo", "write_demo"),
        "knowledge.load": ("load_knowledge",),
        "knowledge.origin": ("describe_source",),
        "knowledge.records": ("Knowledge",),
        "movement.geotiff": ("write_bands", "write_geotiff"),
        "movement.land_cover": ("LandCover", "read_class_costs"),
        "network.build": ("from_networkx",),
        "network.measures": ("network_measures", "probability_of_connectivity"),
        "pages.files.export": ("export",),
        "pages.files.routes_export": ("write_routes",),
        "pages.map.map_page": ("map_page", "write_map"),
        "pages.privacy": ("for_audience",),
        "pages.scheme.files": ("write_report",),
        "pages.sheets.city_page": ("write_city_page",),
        "pages.sheets.compare_page": ("write_comparison",),
        "pages.sheets.plan_card": ("write_card",),
        "pages.sheets.plan_cards": ("Cards", "write_cards"),
        "pages.sheets.poster": ("write_poster",),
        "pages.sheets.residents_notice": ("write_notice",),
        "pages.sheets.street_sheet": ("write_street_sheet",),
        "pages.sheets.progress_page": ("write_progress",),
        "pages.survey.mend_table": ("write_mend_table",),
        "pages.survey.pack": ("write_survey",),
        "pages.survey.progress": ("survey_progress",),
        "pages.survey.project": ("Project", "add_streets", "read_project", "write_project"),
        "pages.survey.round": ("plan_survey",),
        "plan.additions": ("possible_additions",),
        "plan.facts": ("PlotFacts",),
        "plan.next_doors": ("next_doors",),
        "plan.plan_together": ("plan_together",),
        "plan.street_plan": ("StreetPlan",),
        "plan.street_plan_file": ("read_street_plan",),
        "plan.plan_plot": ("Adviser", "plan_plot"),
        "plan.plot_plan": ("PlotPlan",),
        "plan.read_facts": ("read_facts",),
        "read.build": ("build_neighbourhood",),
        "read.check": ("CheckReport", "check_file"),
        "read.from_file": ("read_neighbourhood",),
        "read.neighbourhood": ("Neighbourhood",),
        "scheme.folder": ("read_states",),
        "scheme.plan_scheme": ("plan_scheme",),
        "scheme.planter_scheme": ("Scheme", "SchemeAsk"),
        "street.boxes": ("planter_boxes",),
        "street.find": ("find_street",),
        "street.keepers": (
            "Keeper",
            "read_keepers",
        ),
        "street.measured": ("Measured", "read_measured"),
        "street.places": ("planter_sites",),
        "street.to_measure": ("places_to_measure",),
        "sun.shade": ("sun_hours",),
        "sun.surface_heights": ("read_surface_heights",),
        "survey.forget": ("forget_plots", "record_consent"),
        "core.street_store": ("read_journal",),
        "survey.undo": ("undo_return",),
        "survey.verify": ("verify_street",),
        "survey.join_streets": ("join_streets",),
        "survey.merge": ("Merged", "write_merged"),
        "survey.merge_survey": ("merge_survey",),
        "survey.survey_layers": ("read_records",),
    }.items()
    for name in names
}


class _Package(ModuleType):
    """The package, in which `assess` is the function and never the room of that name."""

    def __setattr__(self, name: str, value: object) -> None:
        # Python binds a submodule to its package when it is first imported.
        if not (name in _WHERE and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package


def __getattr__(name: str) -> object:
    """Import a public name when it is first used (PEP 562)."""
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(_WHERE[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """Public names, whether imported yet or not, and the module's own."""
    return sorted({*globals(), *__all__})
