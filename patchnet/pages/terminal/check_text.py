"""The list of faults of a file, as text and as JSON."""

import json
from dataclasses import asdict

from patchnet.core.faults import Fault
from patchnet.core.texts import _
from patchnet.pages.kit.text_table import paragraph
from patchnet.read.check import CheckReport

__all__ = ["check_json", "check_text"]


def check_json(report: CheckReport) -> str:
    """Faults as a JSON list: severity, where, row, ident, what, mend."""
    return (
        json.dumps([asdict(fault) for fault in report.faults], ensure_ascii=False, indent=2) + "\n"
    )


def check_text(report: CheckReport) -> str:
    """Errors first, then warnings, then a one-line summary."""
    parts = []
    for severity, title in (("error", _("ERRORS, to mend first")), ("warning", "WARNINGS")):
        chosen = [fault for fault in report.faults if fault.severity == severity]
        if chosen:
            parts.append(
                "\n".join([f"{title} ({len(chosen)})", *(_fault(fault) for fault in chosen)])
            )
    parts.append(report.summary)
    return "\n\n".join(parts) + "\n"


def _fault(fault: Fault) -> str:
    place = fault.where
    if fault.row is not None:
        place += _(", row {row}").format(row=fault.row)
    if fault.ident is not None:
        place += f" ({fault.ident})"
    return paragraph(
        f"{place}: {fault.what} {fault.mend}".rstrip(),
        indent="  ",
        then="      ",
    )
