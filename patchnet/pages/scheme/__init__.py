"""The planter scheme as it is handed over: report, drawings, bill, and files beside it."""

from patchnet.pages.scheme.files import (
    ensure_scheme_folder,
    scheme_files,
    write_scheme_folder,
)
from patchnet.pages.scheme.pack import SchemePack, Told
from patchnet.pages.scheme.report import scheme_report

__all__ = [
    "SchemePack",
    "Told",
    "ensure_scheme_folder",
    "scheme_files",
    "scheme_report",
    "write_scheme_folder",
]
