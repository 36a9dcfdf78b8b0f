"""What people look at or carry away: words, tables, files, the map page."""

from patchnet.pages.files.export import LAYERS, cut_words, export_form, write_export
from patchnet.pages.files.routes_export import write_routes
from patchnet.pages.map.map_page import map_page, write_map
from patchnet.pages.terminal.check_text import check_json, check_text
from patchnet.pages.terminal.gaps_text import gaps_json, gaps_text, way_gaps_json, way_gaps_text
from patchnet.pages.terminal.lists import features_text, groups_text
from patchnet.pages.terminal.plot_text import plot_json, plot_text
from patchnet.pages.terminal.routes_text import routes_json, routes_text, way_json, way_text

__all__ = [
    "LAYERS",
    "check_json",
    "check_text",
    "cut_words",
    "export_form",
    "features_text",
    "gaps_json",
    "gaps_text",
    "groups_text",
    "map_page",
    "plot_json",
    "plot_text",
    "routes_json",
    "routes_text",
    "way_gaps_json",
    "way_gaps_text",
    "way_json",
    "way_text",
    "write_export",
    "write_map",
    "write_routes",
]
