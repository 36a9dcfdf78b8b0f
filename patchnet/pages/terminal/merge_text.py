"""What merging and forgetting did, in words."""

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from patchnet.core.language_forms import number
from patchnet.core.texts import N_, Words, _, counted
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.text_table import paragraph, text_table
from patchnet.pages.terminal.json_text import json_text
from patchnet.survey.forget import Forgotten
from patchnet.survey.forget_check import Certificate
from patchnet.survey.merge import Merged
from patchnet.survey.missing_houses import to_draw
from patchnet.survey.statements import CHANGES

__all__ = ["forgotten_text", "merge_json", "merge_text"]

_LISTED = 12
_NAMED: Words[str, str] = Words({"gone": N_("Gone"), "new": N_("New")})
_CHANGE_WORDS: Words[str, str] = Words(
    {
        "gone": N_("gone: there before, not there now"),
        "still there": "still there",
        "new": N_("new: not there before, there now"),
        "not looked at again": N_("not looked at again: the earlier answer stands"),
        "still not there": "still not there",
        "first answer": N_("first answer: nobody had looked before"),
        "disputed": N_("disputed: not known until people agree"),
        "cannot see": N_("nobody could see"),
    }
)
_MADE_FOR: Words[str, str] = Words(
    {
        "own": N_("for yourselves"),
        "group": N_("for the group"),
        "public": N_("for the public"),
    }
)


def merge_text(merged: Merged) -> str:
    """Tell what was new, what people differ on, how far they agree, and what has changed."""
    new = _count(merged.new.get("statements", 0), "statement")
    plots = _("{nunique} of {n_plots} plots").format(
        nunique=merged.survey["plot"].nunique(), n_plots=len(merged.neighbourhood.plots)
    )
    whole = len(merged.records.statements)
    parts = [
        paragraph(
            _("{read} read: {new} new, {whole} in all, on {plots}.").format(
                read=_count(merged.read, "return"), new=new, whole=whole, plots=plots
            )
        )
    ]
    parts += [_disputes(merged), _agreement(merged), _changes(merged), _missing(merged)]
    parts += [_photos(merged), _consent(merged)]
    return "\n\n".join(part for part in parts if part) + "\n"


def merge_json(merged: Merged) -> str:
    """Tell the same as JSON."""
    return json_text(
        {
            "returns": merged.read,
            "new": dict(merged.new),
            "statements": len(merged.records.statements),
            "disputed": merged.disputes.to_dict("records"),
            "agreement": merged.agreement.reset_index().to_dict("records"),
            "changes": merged.survey["change"].value_counts().to_dict(),
            "survey": _rows(merged.survey.drop(columns="features")),
            "consent": dict(sorted(merged.consent.items())),
            "missing": to_draw(merged.records.missing, merged.neighbourhood).to_dict("records"),
            "photos": sorted(merged.photos),
            "faults": [str(fault) for fault in merged.faults],
        }
    )


def forgotten_text(found: Forgotten, plots: Sequence[str]) -> str:
    """Tell what was taken out, and what the file cannot do."""
    taken = ", ".join(
        _("{rows} of {layer}").format(rows=rows, layer=layer)
        for layer, rows in found.removed.items()
        if rows
    )
    words = [
        _("Forgotten: {plots}. Rows deleted or emptied: {taken}.").format(
            plots=", ".join(plots), taken=taken or "none"
        )
    ]
    if found.surveyors:
        words.append(_("Who surveyed it as their own plot is no longer named on other plots."))
    return "\n\n".join([paragraph(" ".join(words)), *_certificate(found.certificate)]) + "\n"


def _certificate(seen: Certificate) -> list[str]:
    """Tell what was searched, what still speaks of the household, and what has to go elsewhere."""
    files = ", ".join(
        _("{name} ({size} bytes)").format(name=name, size=size) for name, size in seen.files
    )
    short = (
        _("; {short} shorter than four letters were not looked for").format(short=seen.short)
        if seen.short
        else ""
    )
    searched = _(
        "Read back and searched: {files}, {tables} cell by cell, for {texts} and shapes that are "
        "in no cell any more{short}. Found: none."
    ).format(
        files=files,
        tables=_count(seen.tables, "table"),
        texts=_count(seen.texts, "text"),
        short=short,
    )
    parts = [searched]
    if seen.speaking:
        where = ", ".join(f"{column} ({count})" for column, count in seen.speaking)
        parts.append(
            _(
                "Its name or address still stands in other cells: {where}. Look whether these "
                "should be mended."
            ).format(where=where)
        )
    if seen.made:
        names = "\n".join(
            _("  {file} ({who}, {when})").format(file=file, who=_MADE_FOR.get(who, who), when=when)
            for file, who, when in seen.made
        )
        parts.append(
            _(
                "These were made from the file before. Delete or make anew what is not for the "
                "public; public copies that are out cannot be called back:\n{names}"
            ).format(names=names)
        )
    parts.append(
        _(
            "Delete the returns that tell of it, and copies of the file. No new public table is "
            "made because of this: the last one goes on."
        )
    )
    return [part if "\n" in part else paragraph(part) for part in parts]


def _disputes(merged: Merged) -> str:
    rows = merged.disputes
    if not len(rows):
        return _("Nobody disagrees.")
    lines = [("plot", "feature", "year", _("there, says"), _("not there, says"))]
    shown = rows.head(_LISTED).astype(str).to_numpy(dtype=object).tolist()
    lines += [(plot, key, year, yes[:40], no[:40]) for plot, key, year, yes, no in shown]
    more = (
        _("\n  ... and {n_rows} more").format(n_rows=len(rows) - _LISTED)
        if len(rows) > _LISTED
        else ""
    )
    head = paragraph(
        _(
            "People differ; what they differ on counts as not known until those who saw it look "
            "again and agree:"
        )
    )
    return f"{head}\n{text_table(lines, indent='  ', header=True)}{more}"


def _agreement(merged: Merged) -> str:
    table = merged.agreement
    if not len(table):
        return paragraph(
            _(
                "Nothing was looked at by two people. Let two walk a tenth of the plots without "
                "seeing each other's sheet: it tells how far the answers can be trusted."
            )
        )
    lines = [("feature", "pairs", "alike", "kappa")]
    lines += [
        (
            str(feature),
            str(pairs),
            f"{number(100 * share, '.0f')} %",
            "\N{EN DASH}" if math.isnan(kappa) else number(kappa, ".2f"),
        )
        for feature, pairs, share, kappa in zip(
            table.index, table["pairs"], table["share"], table["kappa"], strict=True
        )
    ]
    head = paragraph(
        _(
            "Where two people judged the same thing: how often alike, and Cohen's kappa, which is "
            "1 for full agreement and 0 for no more than chance gives (\N{EN DASH}: everybody "
            "said the same, so it tells nothing)."
        )
    )
    return f"{head}\n{text_table(lines, indent='  ', header=True)}"


def _changes(merged: Merged) -> str:
    years = sorted(set(merged.years["year"])) if len(merged.years) else []
    if len(years) < 2:
        return ""
    counts = merged.survey["change"].value_counts()
    lines = [
        (str(int(counts[change])), _CHANGE_WORDS[change]) for change in CHANGES if change in counts
    ]
    named = []
    for change in ("gone", "new"):
        rows = merged.survey[merged.survey["change"] == change]
        words = [f"{plot} {key}" for plot, key in zip(rows["plot"], rows["feature"], strict=True)]
        if words:
            rest = (
                _(" and {n_words} more").format(n_words=len(words) - _LISTED)
                if len(words) > _LISTED
                else ""
            )
            named.append(paragraph(f"{_NAMED[change]}: {', '.join(words[:_LISTED])}{rest}."))
    head = _("{year} against {years}:").format(
        year=years[-1], years=", ".join(str(year) for year in years[:-1])
    )
    return "\n".join([head, text_table(lines, indent="  "), *named])


def _missing(merged: Merged) -> str:
    """Name the houses that the map lacks."""
    houses = to_draw(merged.records.missing, merged.neighbourhood)
    if not len(houses):
        return ""
    named = [
        _("{door} (on the plot {plot})").format(door=house.door, plot=house.plot)
        if house.plot
        else str(house.door)
        for house in houses.itertuples()
    ]
    more = _(" and {n} more").format(n=len(named) - _LISTED) if len(named) > _LISTED else ""
    return paragraph(
        _(
            "Missing from the map, as volunteers found: {named}{more}. Make the base map anew with "
            "--earlier, and they get plots with guessed outlines; on a map of your own, draw a "
            "plot at each spot of the layer missing, with that door number (column door)."
        ).format(named=", ".join(named[:_LISTED]), more=more)
    )


def _photos(merged: Merged) -> str:
    """Say where photographs went."""
    if not merged.photos:
        return ""
    return paragraph(
        _("{photos} in the returns: they are in the folder NAME-photos beside the file.").format(
            photos=_count(len(merged.photos), "photo")
        )
    )


def _consent(merged: Merged) -> str:
    said = list(merged.consent.values())
    return _(
        "Consent to be counted in public: {count} yes, {count_2} no, {n_plots} not asked."
    ).format(
        count=said.count("yes"),
        count_2=said.count("no"),
        n_plots=len(merged.neighbourhood.plots) - len(said),
    )


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [
        {
            str(key): None if isinstance(value, float) and math.isnan(value) else value
            for key, value in row.items()
        }
        for row in table.to_dict("records")
    ]


def _count(number: int, word: str) -> str:
    return counted(number, word, said=figure(number) if number >= 10_000 else "")
