"""Tables as volunteers send them: two spreadsheets with 34 mistakes that people make.

Nothing is lost: each row is read as it was meant, or told and given back to be mended.
"""

import csv
import io
from datetime import date

import openpyxl
import pytest
from click.testing import CliRunner
from openpyxl.utils.datetime import to_excel

from patchnet.commands.main import cli
from patchnet.core.errors import CannotWrite, WrongUse
from patchnet.core.texts import languages
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.words import match_feature
from patchnet.pages.survey.mend_table import write_mend_table
from patchnet.survey.merge import merge_returns, write_merged
from patchnet.survey.merge_survey import merge_survey

TODAY = date(2026, 6, 1)
KNOW = load_knowledge()


@pytest.fixture
def merge(surveyed):
    def merged(*files, **others):
        others = {"same_street": True} | others
        return merge_returns(surveyed.path, files, knowledge=KNOW, today=TODAY, **others)

    return merged


def said(merged):
    """Plot, feature, answer and amount of every statement, as a set."""
    table = merged.records.statements
    return {
        (row.plot, row.feature, row.answer, None if row.amount != row.amount else row.amount)
        for row in table.itertuples()
    }


def told(merged):
    return "\n".join(map(str, merged.faults))


# the first: a survey sheet in German, edited by hand --------------------------------------------

SHEET = [
    # 1 a title above the heading, over all columns
    ["Kartierung Frühling 2026, bitte zurück an Änne"],
    # 2 headings in another language, 3 one by a word of their own (--column feature=Bewuchs)
    ["Grundstück", "Bewuchs", "Antwort", "Größe", "Einheit", "Wer", "Datum", "Bemerkung"],
    # 4 the plot as a number, 5 merged cells, 6 a day as a date, 7 answers in another language
    [1, "Teich", "vorhanden", 2, "m²", "Änne", date(2026, 5, 2), None],
    [None, "Hecke", "nicht da", None, None, "Änne", date(2026, 5, 2), None],
    [None, "Laubhaufen", "unbekannt", None, None, "Änne", date(2026, 5, 2), None],
    # 8 thousands and decimals as in German, and twice as much as the plot has (600 m2), 9 the id
    # with blanks, 10 a day as its number
    ["\N{NO-BREAK SPACE}2 ", "Rasen", "ja", "1.200,5 m²", None, "Änne", to_excel(TODAY), None],
    # 11 "about", 12 zeros before the id, 13 the month as a word
    ["003", "Blumenbeet", "ja", "ca. 12", "qm", "Änne", "2. Mai 2026", None],
    # 14 the amount in place of the answer, 15 ditto marks
    ['"', "Gemüse", "8 m²", None, None, "dito", "2.5.2026", None],
    # 16 an amount and no answer
    [4, "Baum", None, 3, "Stück", "Änne", "2.5.2026", None],
    # 17 not there, but with an amount
    [4, "Teich", "nein", 5, "m²", "Änne", "2.5.2026", None],
    # 18 an empty row, 19 the heading once more, as from another sheet
    [None] * 8,
    ["Grundstück", "Bewuchs", "Antwort", "Größe", "Einheit", "Wer", "Datum", "Bemerkung"],
    # 20 a tick, 21 a truth value
    [5, "Strauch", "✓", None, None, "Änne", "2.5.2026", None],
    [5, "Efeu an der Mauer", False, None, None, "Änne", "2.5.2026", None],
    # 22 a doubt behind the answer
    [6, "Igelhaus", "ja?", None, None, "Änne", "2.5.2026", None],
    # 23 a length in square metres, 24 a size as two sides, 25 a size below nought
    [7, "Hecke", "ja", "5 m²", None, "Änne", "2.5.2026", None],
    [7, "Teich", "ja", "2 x 3 m", None, "Änne", "2.5.2026", None],
    [7, "Kräuter", "ja", -4, "m²", "Änne", "2.5.2026", None],
    # 26 a word spelt wrong, 27 a plot that is on no map
    [8, "Tiech", "ja", 2, "m²", "Änne", "2.5.2026", "hinten"],
    [77, "Teich", "ja", 2, "m²", "Änne", "2.5.2026", None],
    # 28 an answer that is none, 29 no answer at all
    [9, "Teich", "klein", None, None, "Änne", "2.5.2026", None],
    [9, "Rasen", None, None, None, "Änne", "2.5.2026", None],
    # 30 totals
    ["Summe", None, None, 1230, None, None, None, None],
]
READ = {
    ("1", "pond", "there", 2.0),
    ("1", "hedge_evergreen", "not there", None),
    ("1", "leaf_pile", "cannot see", None),
    ("2", "lawn_short", "there", None),
    ("3", "flower_border", "there", 12.0),
    ("3", "vegetable_bed", "there", 8.0),
    ("4", "tree_small", "there", 3.0),
    ("4", "pond", "not there", None),
    ("5", "shrub", "there", None),
    ("6", "hedgehog_house", "there", None),
    ("7", "hedge_evergreen", "there", None),
    ("7", "pond", "there", None),
    ("7", "herb_bed", "there", None),
}
MENDED = {
    ("2", "lawn_short"): {"amount": "120,5 m²"},
    ("4", "pond"): {"amount": ""},
    ("5", "Efeu an der Mauer"): {"feature": "climber"},
    ("7", "hedge_evergreen"): {"amount": "5", "unit": "m"},
    ("7", "pond"): {"amount": "6", "unit": "m²"},
    ("7", "herb_bed"): {"amount": "4"},
    ("8", "Tiech"): {"feature": "Teich"},
    ("77", "Teich"): {"plot": "16"},
    ("9", "pond"): {"answer": "ja"},
}


def workbook(path):
    book = openpyxl.Workbook()
    sheet = book.active
    for row in SHEET:
        sheet.append(row)
    sheet.merge_cells("A1:H1")
    sheet.merge_cells("A3:A5")
    book.save(path)
    return path


def test_a_sheet_with_thirty_mistakes(surveyed, merge):
    merged = merge(workbook(surveyed.folder / "änne.xlsx"), columns={"feature": "Bewuchs"})
    assert said(merged) == READ
    statements = merged.records.statements.set_index(["plot", "feature"])
    assert set(statements["surveyor"]) == {"Änne"}
    assert statements.loc[("1", "pond"), "when"] == "2026-05-02"
    assert statements.loc[("2", "lawn_short"), "when"] == "2026-06-01"
    assert statements.loc[("3", "flower_border"), "when"] == "2026-05-02"
    assert not statements.loc[("6", "hedgehog_house"), "sure"]
    words = told(merged)
    for part in (
        "1200.5 m2 on a plot of 600 m2. Kept as there, without an amount", "'77'", "mean 'teich'",
        "'klein' is no answer",
        "row of totals", "negative", "no answer: taken as there", "not there, but has an amount",
    ):  # fmt: skip
        assert part in words, part


def test_what_could_not_be_read_is_mended_and_fed_in_again(surveyed, merge):
    merged = merge(workbook(surveyed.folder / "a.xlsx"), columns={"feature": "Bewuchs"})
    write_merged(merged, surveyed.path)
    table = merged.to_mend
    assert set(zip(table["plot"], table["feature"], strict=True)) == set(MENDED)
    assert set(table["from file"]) == {"a.xlsx"}
    assert table["row"].tolist() == ["6", "10", "14", "16", "17", "18", "19", "20", "21"]
    for name in ("mend.csv", "mend.xlsx"):
        write_mend_table(merged, surveyed.folder / name)
    unmended = merge(surveyed.folder / "mend.xlsx", same_street=False)
    assert set(unmended.survey["plot"]) == set(merged.survey["plot"]), "only told again"
    assert len(unmended.to_mend) == len(table)
    text = (surveyed.folder / "mend.csv").read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    rows = [row | MENDED.get((row["plot"], row["feature"]), {}) for row in rows]
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, rows[0])
    writer.writeheader()
    writer.writerows(rows)
    again = surveyed.write("mended.csv", out.getvalue())
    last = merge(again, same_street=False)
    assert [str(one) for one in last.faults if one.severity == "error"] == []
    assert len(last.to_mend) == 0
    found = last.survey.set_index(["plot", "feature"])
    assert found.loc[("7", "hedge_evergreen"), "amount"] == 5
    assert found.loc[("7", "pond"), "amount"] == 6
    assert found.loc[("8", "pond"), "answer"] == "there"
    assert found.loc[("9", "pond"), "answer"] == "there"
    assert found.loc[("5", "climber"), "answer"] == "not there"
    assert len(last.disputes) == 0
    assert found.loc[("2", "lawn_short"), "amount"] == 120.5
    assert "hinten" in set(last.records.statements["note"])


# the second: the README's own form, one row a plot ------------------------------------------------

# 31 Windows-1252 with semicolons and decimal commas, 32 a column of one's own, 33 a list that
# cannot be read beside "all", 34 a second row of a plot
WIDE = """Grundstück;gesehen;Merkmale;Teich;Hecke (m);Kompost;Wer;Datum;Farbe;einverstanden
1;teil;Rasen 120,5 m²; ja;6,5;1;Änne;2.5.2026;rot;ja
2;alles;"Rasen 20; Laub 1,5 m²";nein;;0;Änne;2.5.2026;;nein
3;alles;Rasne 3;vielleicht;kein;1;Änne;2.5.2026;;
2;teil;;;4;;Änne;2.5.2026;;
"""


def test_one_row_a_plot(surveyed, merge):
    merged = merge(surveyed.write("w.csv", WIDE, "cp1252"))
    found = said(merged)
    assert {one for one in found if one[0] == "1"} == {
        ("1", "lawn_short", "there", 120.5),
        ("1", "pond", "there", None),
        ("1", "hedge_evergreen", "there", 6.5),
        ("1", "compost_heap", "there", 1.0),
    }
    second = {one[1]: one[2:] for one in found if one[0] == "2"}
    assert second["lawn_short"] == ("there", 20.0)
    assert second["leaf_pile"] == ("there", 1.5)
    assert second["pond"] == ("not there", None)
    assert second["bee_hotel"] == ("not there", None), "all was seen"
    seeable = {key for key, one in KNOW.features.items() if not one.unseen}
    assert set(second) == seeable
    assert ("2", "hedge_evergreen", "there", 4.0) in found
    third = {one for one in found if one[0] == "3"}
    assert third == {("3", "hedge_evergreen", "not there", None), ("3", "compost_heap", "there", 1)}
    assert merged.consent == {"1": "yes", "2": "no"}
    assert merged.to_mend["feature"].tolist() == ["Rasne 3", "pond"]
    words = told(merged)
    assert "not read: Farbe" in words
    assert "so what it does not name is not known" in words


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (
            "id,seen,features\n1,all,paving 14; planter 0.6\n2,part,pond 3; no bird feeder\n",
            {("1", "paving", "there", 14.0), ("1", "planter", "there", 0.6),
             ("2", "pond", "there", 3.0), ("2", "bird_feeder", "not there", None)},
        ),
        (
            "id,pond,hedge,tree\n1,yes,6,2?\n2,no,,\n",
            {("1", "pond", "there", None), ("1", "hedge_evergreen", "there", 6.0),
             ("1", "tree_small", "there", 2.0), ("2", "pond", "not there", None)},
        ),
        (
            "id,feature,amount\n1,pond,3\n1,hedge,6\n2,tree,\n",
            {("1", "pond", "there", 3.0), ("1", "hedge_evergreen", "there", 6.0)},
        ),
        (  # nobody puts a list into quotation marks
            "id;features;who\n1;pond 2,5; no hedge;Ben\n2;tree;Ben\n",
            {("1", "pond", "there", 2.5), ("1", "hedge_evergreen", "not there", None),
             ("2", "tree_small", "there", None)},
        ),
        (
            "parcelle;éléments;qui\n1;mare 3 m2; Ève\n2;pas de haie;Ève\n",
            {("1", "pond", "there", 3.0), ("2", "hedge_evergreen", "not there", None)},
        ),
        (
            "tontti;piirre;vastaus;määrä\n1;lampi;on;2,5\n2;pensasaita;ei ole;\n3;lampi;ei näy;\n",
            {("1", "pond", "there", 2.5), ("2", "hedge_evergreen", "not there", None),
             ("3", "pond", "cannot see", None)},
        ),
    ],
)  # fmt: skip
def test_the_forms_of_the_readme_in_several_languages(surveyed, merge, text, wanted):
    merged = merge(surveyed.write("t.csv", text))
    found = said(merged)
    assert wanted <= found
    rest = {one for one in found - wanted if one[2] != "not there"}
    assert rest == set(), "but for what is not there where all was seen"
    assert [str(one) for one in merged.faults if one.severity == "error"] == []


def test_a_folder_of_all_kinds_of_files(surveyed):
    """What a phone shared as text is read; what is no return is named, and nothing is silent."""
    folder = surveyed.folder / "back"
    folder.mkdir()
    surveyed.hand_in("a", [("1", "pond", "there", 2)]).rename(folder / "a.return.json.txt")
    (folder / "b.tsv").write_text("plot\tfeature\tanswer\n2\tpond\tno\n", encoding="utf-8")
    for name in ("IMG_1.jpg", "notes.docx", "sheet.ods"):
        (folder / name).write_bytes(b"PK not read")
    (folder / "hello.txt").write_text("Sorry, I was ill on Saturday.", encoding="utf-8")
    found = merge_survey(surveyed.path, folder, same_street=True, today=TODAY)
    assert said(found) == {("1", "pond", "there", 2.0), ("2", "pond", "not there", None)}
    words = told(found)
    for name in ("IMG_1.jpg", "notes.docx", "sheet.ods", "hello.txt"):
        assert name in words


def test_a_sheet_without_its_answers_claims_nothing(surveyed, merge):
    """Whoever deletes the column of answers has not said that everything is everywhere."""
    merged = merge(surveyed.write("t.csv", "plot,feature,note\n1,pond,\n2,pond,\n"))
    assert said(merged) == set()
    assert "no column answer" in told(merged)


def test_names_of_columns_that_nothing_has(surveyed, merge):
    path = surveyed.write("t.csv", "plot,Ding,answer\n1,pond,yes\n")
    assert said(merge(path, columns={"feature": "Ding"})) == {("1", "pond", "there", None)}
    with pytest.raises(WrongUse, match=r"no field 'fature'.*feature"):
        merge(path, columns={"fature": "Ding"})


def test_the_command_says_how_to_get_the_table_and_writes_it(surveyed):
    street = str(surveyed.path)
    wrong = surveyed.write("t.csv", "plot,feature,answer,date\n1,pnod,yes,2026-05-02\n")
    words = ["merge", street, str(wrong), "-o", street, "--same-street"]
    first = CliRunner().invoke(cli, words)
    assert first.exit_code == 1
    assert "add --mend" in first.output
    table = surveyed.folder / "mend.xlsx"
    second = CliRunner().invoke(cli, [*words, "--mend", str(table)])
    assert second.exit_code == 1
    assert "merge that file" in second.output
    sheet = openpyxl.load_workbook(table).active
    assert [cell.value for cell in sheet[2]][:3] == ["1", "pnod", "yes"]
    third = CliRunner().invoke(cli, [*words, "--mend", str(table)])
    assert isinstance(third.exception, CannotWrite), "a table that is half mended is not replaced"
    own = CliRunner().invoke(
        cli, ["merge", street, str(table), "-o", street, "--mend", str(table), "--overwrite"]
    )
    assert isinstance(own.exception, CannotWrite)
    assert "is what is read" in str(own.exception)


# the tables of words --------------------------------------------------------------------------


def test_no_word_means_two_things():
    from patchnet.core.folding import folded  # noqa: PLC0415

    seen = {}
    for row in KNOW.table_words.rows:
        for word in row.words:
            place = (row.part, folded(word))
            if row.part != "column":
                assert seen.setdefault(place, row.means) == row.means, place
    for key, words in KNOW.feature_words.items():
        for word in words:
            assert match_feature(word, KNOW) == key, word


def test_every_shipped_language_has_its_words():
    """Besides English there are German, French and Finnish, and whatever language is shipped."""
    answers = {row.language for row in KNOW.table_words.rows if row.part == "answer"}
    assert {"en", "de", "fr", "fi", *languages()} <= answers
