"""A project of several streets, in words: what came back, who is out, year on year, what next."""

from collections.abc import Iterable

from patchnet.core.texts import _, counted
from patchnet.pages.kit.text_table import paragraph, text_table
from patchnet.pages.survey.project import Project
from patchnet.pages.terminal.json_text import json_text

__all__ = ["project_json", "project_text"]

_LISTED = 8


def project_text(project: Project, month: int) -> str:
    """Tell how far each street is, what came back, each year, and what to look for this month."""
    parts = [_streets(project), _walks(project), _years(project), _look_for(project, month)]
    return "\n\n".join(part for part in parts if part) + "\n"


def project_json(project: Project) -> str:
    """Tell the same as JSON, of all months."""
    return json_text(
        {
            "streets": project.streets.to_dict("records"),
            "stretches": project.stretches.drop(columns="geometry").to_dict("records"),
            "years": project.years.to_dict("records"),
            "look_for": project.look_for.to_dict("records"),
        }
    )


def _streets(project: Project) -> str:
    heads = (
        _("street"), _("looked after by"), _("plots"), _("looked at"), _("answers"), _("people"),
        _("last"),
    )  # fmt: skip
    keys = ("street", "by", "plots", "looked_at", "answers", "people", "last")
    rows = [tuple(str(row[key]) for key in keys) for row in project.streets.to_dict("records")]
    return text_table([heads, *rows], header=True)


def _walks(project: Project) -> str:
    table = project.stretches
    back = table[table["back_plots"] > 0]
    out = table[(table["back_plots"] == 0) & (table["who"] != "")]
    nobody = table[(table["back_plots"] == 0) & (table["who"] == "")]
    words = [
        _("Of {stretches} {back} came back in {year}.").format(
            stretches=counted(len(table), "stretch", "stretches"),
            back=len(back),
            year=table["year"].max(),
        )
    ]
    if len(out):
        named = _some(
            _("{stretch} ({who})").format(
                stretch=one.stretch, who=f"{one.who}, {one.when}" if one.when else one.who
            )
            for one in out.itertuples()
        )
        words.append(_("Given out and not back: {named}.").format(named=named))
    if len(nobody):
        words.append(
            _("Nobody walks yet (fill in walks.csv): {named}.").format(
                named=_some(nobody["stretch"])
            )
        )
    return paragraph(" ".join(words))


def _years(project: Project) -> str:
    if not len(project.years):
        return ""
    heads = (
        _("street"), _("year"), _("answers"), _("plots"), _("people"), _("new"), _("gone"),
    )  # fmt: skip
    rows = [tuple(map(str, row)) for row in project.years.itertuples(index=False)]
    return text_table([heads, *rows], header=True)


def _look_for(project: Project, month: int) -> str:
    now = project.look_for[project.look_for["month"] == month]
    if not len(now):
        return ""
    lines = [
        paragraph(
            _("{words} ({streets})").format(
                words=words,
                streets=", ".join(f"{one.street}: {one.why}" for one in rows.itertuples()),
            ),
            indent="  ",
        )
        for words, rows in now.groupby("look_for", sort=False)
    ]
    return "\n".join([_("To look for this month:"), *lines])


def _some(names: Iterable[str]) -> str:
    every = list(names)
    more = len(every) - _LISTED
    return ", ".join(every[:_LISTED]) + (
        _(" and {more} more").format(more=more) if more > 0 else ""
    )
