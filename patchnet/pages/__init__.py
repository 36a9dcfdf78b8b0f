"""What people look at or carry away: words, tables, files, the map page."""

from patchnet.pages.check_text import check_json, check_text
from patchnet.pages.export import LAYERS, export_form, write_export
from patchnet.pages.lists import features_text, groups_text
from patchnet.pages.map_page import map_page, write_map
from patchnet.pages.plot_text import plot_json, plot_text

__all__ = [
    "LAYERS",
    "check_json",
    "check_text",
    "export_form",
    "features_text",
    "groups_text",
    "map_page",
    "plot_json",
    "plot_text",
    "write_export",
    "write_map",
]
