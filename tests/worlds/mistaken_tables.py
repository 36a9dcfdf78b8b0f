"""Two spreadsheets of a volunteer who means well: thirty kinds of human mistakes, on any map.

Each mistake has a feature of its own, so that its row can be found again: what must be read of it
(answer and amount), or what must be told, and how it is mended.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import openpyxl
from openpyxl.utils.datetime import to_excel

FILLED = "lawn_flowering"


@dataclass(frozen=True)
class Mistake:
    """One row: which mistake, its cells, what is read, what is told, and how it is mended."""

    kind: str
    feature: str
    cells: dict[str, object]
    read: tuple[str, float | None] | None = None
    told: str = ""
    mend: dict[str, str] | None = None
    mended: tuple[str, float | None] | None = None


def sheet_mistakes(year: int) -> list[Mistake]:
    """Rows added to a filled-in survey sheet."""
    day = date(year, 5, 2)
    there = {"answer": "there"}
    return [
        Mistake("words of another language", "pond", {"feature": "Teich", "answer": "vorhanden"},
                ("there", None)),
        Mistake("a word of another language for no", "hedge_evergreen",
                {"feature": "Hecke", "answer": "nicht da"}, ("not there", None)),
        Mistake("a third language", "nest_box_small", {"answer": "inconnu"}, ("cannot see", None)),
        Mistake("merged cells", "shrub", {**there, "plot": None}, ("there", None)),
        Mistake("ditto marks", "climber", {**there, "plot": '"', "surveyor": "dito"},
                ("there", None)),
        Mistake("small letters in the number of a plot", "bird_bath", {**there, "plot": "small"},
                ("there", None)),
        Mistake("blanks round the number of a plot", "ivy_mature", {**there, "plot": "blanks"},
                ("there", None)),
        Mistake("a day as a date", "hanging_basket", {**there, "date": day}, ("there", None)),
        Mistake("a day as its number", "window_box", {**there, "date": to_excel(day)},
                ("there", None)),
        Mistake("the month as a word", "bird_feeder", {**there, "date": f"2. Mai {year}"},
                ("there", None)),
        Mistake("the day first, with dots", "bat_box", {**there, "date": f"2.5.{year}"},
                ("there", None)),
        Mistake("about", "flower_border", {**there, "amount": "ca. 3"}, ("there", 3)),
        Mistake("a decimal comma, and the unit behind", "herb_bed", {**there, "amount": "1,5 m²"},
                ("there", 1.5)),
        Mistake("the amount in place of the answer", "vegetable_bed", {"answer": "2 m²"},
                ("there", 2)),
        Mistake("an amount and no answer", "tree_small", {"amount": 2}, ("there", 2),
                "no answer: taken as there"),
        Mistake("a tick", "stone_pile", {"answer": "✓"}, ("there", None)),
        Mistake("a truth value", "dead_wood_pile", {"answer": False}, ("not there", None)),
        Mistake("a doubt behind the answer", "bee_hotel", {"answer": "ja?"}, ("there", None)),
        Mistake("not there, with an amount", "long_grass", {"answer": "no", "amount": 5},
                ("not there", None), "not there, but has an amount", {"amount": ""},
                ("not there", None)),
        Mistake("a size as two sides", "bulbs", {**there, "amount": "2 x 3 m"}, ("there", None),
                "2 x 3 m", {"amount": "1", "unit": "m²"}, ("there", 1)),
        Mistake("a size below nought", "planter", {**there, "amount": -4}, ("there", None),
                "negative", {"amount": "1"}, ("there", 1)),
        Mistake("more than the plot has", "lawn_short", {**there, "amount": "99.000,5 m²"},
                ("there", None), "Kept as there, without an amount", {"amount": "4"},
                ("there", 4)),
        Mistake("a word spelt wrong", "hedgehog_house", {**there, "feature": "Igelhuas"}, None,
                "Igelhuas", {"feature": "Igelhaus"}, ("there", None)),
        Mistake("a plot that is on no map", "paving", {**there, "plot": "ZZ-99"}, None, "'ZZ-99'",
                {"plot": "first"}, ("there", None)),
        Mistake("an answer that is none", "tree_large", {"answer": "klein"}, None,
                "'klein' is no answer", {"answer": "ja"}, ("there", None)),
        Mistake("no answer at all", "fruit_tree", {}),
    ]  # fmt: skip


def add_to_sheet(path, target, mistakes: Sequence[Mistake], plots: Sequence[str], names, year):
    """Write the mistakes below the rows of a survey sheet, with an empty row, the heading, totals.

    Of each plot one thing is answered as it should be: `FILLED` is there. Returns the plot of each
    mistake.
    """
    book = openpyxl.load_workbook(path)
    sheet = book["Survey"]
    heads = [cell.value for cell in sheet[1]]
    for row in sheet.iter_rows(min_row=2):
        if row[heads.index("feature")].value == names[FILLED]:
            row[heads.index("answer")].value = "there"
            row[heads.index("surveyor")].value = "Änne"
            row[heads.index("date")].value = f"{year}-05-02"
    end = 2 + max(row[0].row for row in sheet.iter_rows(max_col=1) if row[0].value is not None)
    meant, at = {}, end
    for number, one in enumerate(mistakes):
        plot = plots[number % len(plots)]
        if one.cells.get("plot", "") in (None, '"'):
            plot = meant[mistakes[number - 1].feature]
        meant[one.feature] = plots[0] if one.cells.get("plot") == "ZZ-99" else plot
        cells = {"plot": plot, "feature": names[one.feature], "surveyor": "Änne",
                 "date": f"{year}-05-02"} | one.cells  # fmt: skip
        cells["plot"] = {
            "small": plot.lower(), "blanks": f"\N{NO-BREAK SPACE}{plot} ",
        }.get(str(cells["plot"]), cells["plot"])  # fmt: skip
        for head, value in cells.items():
            sheet.cell(at, heads.index(head) + 1).value = value
        if one.cells.get("plot", "") is None:
            sheet.merge_cells(start_row=at - 1, end_row=at, start_column=1, end_column=1)
        at += 1
        if one.kind == "about":
            at += 1
            for column, head in enumerate(heads, 1):
                sheet.cell(at, column).value = head
            at += 1
    sheet.cell(at, 1).value, sheet.cell(at, heads.index("amount") + 1).value = "Total", 1234
    book.save(target)
    return meant


def own_table(path, plots: Sequence[str], year: int) -> dict[tuple[str, str], tuple]:
    """A table of their own, one row a plot; returns what must be read of it.

    Its mistakes: a title above the heading, semicolons, an encoding of long ago, a decimal comma, a
    doubt inside a list, a plant that is no feature.
    """
    one, two = plots[:2]
    path.write_text(
        "Unsere Straße im Frühling;;;;\n"
        "id;seen;features;who;date\n"
        f'{one};part;"compost heap 1; green roof 2,5?";Ben;3.5.{year}\n'
        f'{two};part;"no compost heap; Blitzkraut";Ben;3.5.{year}\n',
        encoding="cp1252",
    )
    return {
        (one, "compost_heap"): ("there", 1), (one, "green_roof"): ("there", 2.5),
        (two, "compost_heap"): ("not there", None),
    }  # fmt: skip
