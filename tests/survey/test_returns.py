"""Returns as people hand them in: damaged files, spreadsheets, odd dates and words."""

import json
from datetime import date

import geopandas as gpd
import openpyxl
import pytest
import shapely
from openpyxl.utils.datetime import to_excel

from patchnet.core.errors import CannotRead
from patchnet.core.fault_list import FaultList
from patchnet.survey.answer_words import read_place, read_reply, read_sure
from patchnet.survey.dates import day_first, mangled_idents, parse_when
from patchnet.survey.merge import merge_returns
from patchnet.survey.read_returns import read_return

TODAY = date(2026, 6, 1)
HEAD = "plot,feature,answer,amount,unit,how sure,seen from,surveyor,date,note,photo,street"
SEEN = [("1", "pond", "there", 2), ("2", "pond", "not there"), ("3", "shrub", "cannot see")]


@pytest.fixture
def merge(surveyed, survey_knowledge):
    def merged(*files, today=TODAY, **others):
        return merge_returns(
            surveyed.path,
            files or surveyed.files,
            knowledge=survey_knowledge,
            today=today,
            **others,
        )

    return merged


def said(merged):
    """Plot, feature, answer and amount of every statement, as a set."""
    table = merged.records.statements
    return {
        (row.plot, row.feature, row.answer, None if row.amount != row.amount else row.amount)
        for row in table.itertuples()
    }


WHOLE = {
    ("1", "pond", "there", 2.0),
    ("2", "pond", "not there", None),
    ("3", "shrub", "cannot see", None),
}


def errors(merged):
    return [str(fault) for fault in merged.faults if fault.severity == "error"]


def test_a_return_of_the_page(surveyed, merge):
    surveyed.hand_in("a", SEEN)
    merged = merge()
    assert said(merged) == WHOLE
    assert merged.faults == ()
    row = merged.records.statements.iloc[0]
    assert (row["surveyor"], row["seen_from"], row["return"]) == ("Ann", "street", "a")
    assert row["when"] == "2026-05-02T10:00:00+01:00"


@pytest.mark.parametrize(
    ("encoding", "bom"), [("utf-8-sig", b""), ("utf-16", b""), ("utf-16-le", b"\xff\xfe")]
)
def test_encodings_of_the_page(surveyed, merge, encoding, bom):
    path = surveyed.hand_in("a", [("1", "pond", "there", 2, "Größe \u2713")])
    path.write_bytes(bom + path.read_text(encoding="utf-8").encode(encoding))
    merged = merge()
    assert merged.records.statements["note"].tolist() == ["Größe \u2713"]


def test_cut_off_anywhere(surveyed, survey_knowledge):
    """Whatever the length that arrived: every complete statement is read, and only those."""
    path = surveyed.hand_in("a", SEEN)
    text = path.read_text(encoding="utf-8")
    ends = [at + 1 for at, sign in enumerate(text) if sign == "}"]
    statements = text.index('"statements"')
    complete = [end for end in ends if end > statements][: len(SEEN)]
    for length in range(0, len(text) - 1, 7):
        path.write_text(text[:length], encoding="utf-8")
        faults = FaultList()
        try:
            found = read_return(path, faults)
        except CannotRead:
            assert length < statements
            continue
        assert len(found.said) == sum(end <= length for end in complete)
        assert found.damaged
        assert faults.errors
        if length > statements:
            assert found.ident == "a"
            assert found.street == surveyed.street


def test_rubbish_in_the_middle(surveyed, merge):
    path = surveyed.hand_in("a", SEEN)
    text = path.read_text(encoding="utf-8")
    at = text.index('"answer": "not there"')
    path.write_text(text[:at] + "\x00\x00%%" + text[at + 12 :], encoding="utf-8")
    merged = merge()
    assert said(merged) == WHOLE - {("2", "pond", "not there", None)}
    assert "damaged" in errors(merged)[0]


def test_not_a_return_at_all(surveyed, merge):
    surveyed.write("a.return.json", '{"type": "FeatureCollection", "features": []}')
    surveyed.write("b.return.json", "")
    surveyed.write("c.xlsx", b"PK\x03\x04 cut off")
    surveyed.write("d.csv", "a,b\r\n1,2\r\n")
    surveyed.hand_in("e", SEEN)
    merged = merge()
    assert said(merged) == WHOLE
    assert len(errors(merged)) == 4
    assert all("left out" in words for words in errors(merged))


def test_a_newer_form_is_refused(surveyed, merge):
    surveyed.hand_in("a", SEEN, patchnet_return=2)
    assert "newer" in errors(merge())[0]


def test_what_cannot_be_placed_is_named(surveyed, merge):
    surveyed.hand_in(
        "a",
        [
            *SEEN,
            ("99", "pond", "there"),
            ("4", "pnod", "there"),
            ("5", "pond", "perhaps so"),
            ("6", "pond", ""),
            ("7", "pond", "there", -3),
            ("7", "shrub", "there", "4 m"),
        ],
        statements_comment="x",
    )
    merged = merge()
    assert said(merged) == {*WHOLE, ("7", "pond", "there", None), ("7", "shrub", "there", None)}
    words = "\n".join(map(str, merged.faults))
    for part in ("'99'", "'pnod'", "mean 'pond'", "perhaps so", "no answer", "negative", "metres"):
        assert part in words
    assert "row 4" in words


def csv_of(street, *rows, head=HEAD, sign=",", line="\r\n"):
    return (
        line.join([head, *(row.replace("STREET", street) for row in rows)]).replace(",", sign)
        + line
    )


ROWS = (
    "1,pond,there,2,m2,sure,street,Ann,2026-05-02,,,STREET",
    "2,Pond,no,,,,,Ann,2026-05-02,,,STREET",
    "3,shrub,cannot see,,,,,Ann,2026-05-02,,,STREET",
    "4,shrub,,,,,,,,,,STREET",
)


@pytest.mark.parametrize(
    ("sign", "encoding", "line"),
    [(",", "utf-8", "\r\n"), (";", "utf-8-sig", "\n"), ("\t", "utf-16", "\r\n"),
     (";", "cp1252", "\r")],
)  # fmt: skip
def test_csv_as_programs_write_it(surveyed, merge, sign, encoding, line):
    text = csv_of(surveyed.street, *ROWS, sign=sign, line=line)
    surveyed.write("a.csv", text, encoding)
    assert said(merge()) == WHOLE


def test_csv_by_rfc_4180(surveyed, merge):
    """Quotes doubled, a comma and a line break inside quotes (RFC 4180, section 2, rules 5-7)."""
    surveyed.write(
        "a.csv",
        csv_of(
            surveyed.street,
            '1,pond,there,2,m2,,,Ann,2026-05-02,"said ""deep"", not\r\nfor ducks",,STREET',
            *ROWS[1:],
        ),
    )
    merged = merge()
    assert said(merged) == WHOLE
    assert 'said "deep", not\nfor ducks' in set(
        merged.records.statements["note"].str.replace("\r", "").str.replace(" \n", "\n")
    )


def test_a_quotation_mark_that_is_not_closed_swallows_no_row(surveyed, merge):
    surveyed.write(
        "a.csv",
        csv_of(
            surveyed.street,
            '1,pond,there,2,m2,sure,street,Ann,2026-05-02,"6 inches,,STREET',
            *ROWS[1:],
        ),
    )
    merged = merge()
    assert said(merged) == WHOLE
    assert "not closed" in str(merged.faults[0])


def test_an_edited_header(surveyed, merge):
    """Other words, another order, capitals, a title above, a column of one's own."""
    lines = (
        "Alder Row;;;;;;\n"
        "Who;Date seen;PLOT No.;Feature (what);Is it there?;Size;Wether;Street\n"
        f"Ann;2026-05-02;1;pond;yes;2;dry;{surveyed.street}\n"
        f"Ann;2026-05-02;2;pond;no;;dry;{surveyed.street}\n"
        f"Ann;2026-05-02;3;shrub;?;;dry;{surveyed.street}\n"
    )
    surveyed.write("a.csv", lines)
    merged = merge()
    assert said(merged) == WHOLE
    assert set(merged.records.statements["surveyor"]) == {"Ann"}
    words = " ".join(map(str, merged.faults))
    assert "'Feature (what)' was taken as 'feature'" in words
    assert "not read: Wether" in words


def test_a_header_without_answers_is_named(surveyed, merge):
    surveyed.write("a.csv", "plot,feature,colour\n1,pond,blue\n")
    with_error = errors(merge())
    assert "no column answer" in with_error[0]
    assert "colour" in with_error[0]


def workbook(path, street, rows):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(HEAD.split(",")[:-1])
    for row in rows:
        sheet.append(row)
    second = book.create_sheet("About")
    second.append(["Street", street])
    second.append(["Surveyor", "Cy"])
    book.save(path)


def test_a_workbook_with_what_a_spreadsheet_makes_of_it(surveyed, merge):
    """Numbers as ids, a date as a date, ticks as truth values, the street on the second sheet."""
    path = surveyed.folder / "a.xlsx"
    rows = [
        [1, "Wildlife pond, no fish", True, 2.0, "m2", None, None, "", date(2026, 5, 2)],
        ["02", "pond", False, None, None, None, None, None, to_excel(date(2026, 5, 2))],
        [3.0, "shrub", "can't see", None, None, None, "next door", None, "2 May 2026"],
    ]
    workbook(path, surveyed.street, rows)
    merged = merge(path)
    assert said(merged) == WHOLE
    table = merged.records.statements.set_index("plot")
    assert set(table["when"]) == {"2026-05-02"}
    assert set(table["surveyor"]) == {"Cy"}
    assert table.loc["3", "seen_from"] == "neighbour's plot"


def test_a_workbook_that_is_cut_off_is_named(surveyed, merge):
    path = surveyed.folder / "a.xlsx"
    workbook(path, surveyed.street, [])
    path.write_bytes(path.read_bytes()[:2000])
    surveyed.hand_in("b", SEEN)
    merged = merge(path, *surveyed.files)
    assert said(merged) == WHOLE
    assert "a.xlsx" in errors(merged)[0]


def test_mangled_plots_and_amounts(surveyed, survey_knowledge):
    """Plot 1-2 becomes the first of February; 1.5 the first of May."""
    assert mangled_idents("2026-02-01") == [
        "1-2", "2-1", "2-26", "26-2", "1/2", "2/1", "2/26", "26/2", "1.2", "2.1", "2.26", "26.2",
    ]  # fmt: skip
    assert mangled_idents("2105-02-03T00:00:00")[:2] == ["3-2", "2-3"]
    assert len(mangled_idents("2105-02-03")) == 6, "of another day than the first no year"
    assert "2-5" in mangled_idents("2105-02-01"), "the year in two digits"
    assert "1-2" in mangled_idents("01-Feb")
    assert "3/22" in mangled_idents("Mar-22")
    assert mangled_idents("12") == []
    pond = survey_knowledge.features["pond"]
    reply = read_reply("there", "01-May", "m2", pond, survey_knowledge)
    assert (reply.answer, reply.amount) == ("there", None)
    assert "date" in reply.problems[0].what


@pytest.mark.parametrize(
    ("text", "day", "first"),
    [
        ("2026-05-02", "2026-05-02", True),
        ("2/5/2026", "2026-05-02", True),
        ("5/2/26", "2026-05-02", False),
        ("02.05.2026", "2026-05-02", True),
        ("2026/05/02 10:30", "2026-05-02", True),
        ("2nd May 2026", "2026-05-02", True),
        ("May 2, 2026", "2026-05-02", True),
        ("46144", "2026-05-02", True),
        ("2026-05-02T23:30:00+01:00", "2026-05-02", True),
    ],
)
def test_dates(text, day, first):
    """46144 is 2 May 2026 counted from 30 December 1899 (by hand: 46023 is 1 January 2026)."""
    assert parse_when(text, days_first=first).day.isoformat() == day


@pytest.mark.parametrize("text", ["31/2/2026", "soon", "", "2 Smarch 2026", "99999999"])
def test_what_is_no_date(text):
    assert parse_when(text, days_first=True) is None


def test_one_clear_date_tells_for_all():
    assert day_first(["2/5/2026", "5/13/2026"]) == (False, False)
    assert day_first(["2/5/2026", "13/5/2026"]) == (True, False)
    assert day_first(["2/5/2026"]) == (True, True)
    assert day_first(["5/5/2026", "2026-05-02"]) == (True, False)


@pytest.mark.parametrize(
    ("answer", "amount", "unit", "wanted"),
    [
        ("there", "2,5", "m2", ("there", 2.5, True)),
        ("Yes?", "", "", ("there", None, False)),
        ("12 m2", "", "", ("there", 12.0, True)),
        ("0", "", "", ("not there", None, True)),
        ("", "3", "m²", ("there", 3.0, True)),
        ("", "?", "", ("cannot see", None, True)),
        ("not there", "0", "", ("not there", None, True)),
        ("not there", "4", "", ("not there", None, True)),
        ("can\u2019t see", "", "", ("cannot see", None, True)),
        ("?", "", "", ("cannot see", None, True)),
        ("there", "-", "", ("there", None, True)),
        ("-", "", "", ("", None, True)),
    ],
)
def test_answers(survey_knowledge, answer, amount, unit, wanted):
    reply = read_reply(answer, amount, unit, survey_knowledge.features["pond"], survey_knowledge)
    assert (reply.answer, reply.amount, reply.sure) == wanted


def test_words_of_doubt_and_place(survey_knowledge):
    know = survey_knowledge
    assert [read_sure(word, know) for word in ("", "sure", "Not sure", "?", "unsure")] == [
        True, True, False, False, False,
    ]  # fmt: skip
    assert read_place("Neighbour\u2019s plot", know) == "neighbour's plot"
    assert read_place("from a ladder", know) == "elsewhere"


def test_another_street_is_refused_unless_you_know_better(surveyed, merge):
    other = {"id": "0123456789abcdef", "name": "Elm Row"}
    surveyed.hand_in("a", SEEN, street=other)
    refused = merge()
    assert said(refused) == set()
    assert "another street" in errors(refused)[0]
    assert "3 of its 3 plots" in errors(refused)[0]
    assert said(merge(same_street=True)) == WHOLE


@pytest.mark.parametrize(
    ("other", "plots", "taken"),
    [
        ({"id": "", "name": ""}, "123", True),  # says of no street that it is of it
        ({"id": "0123456789abcdef", "name": "ALDER ROW, spring"}, "123", True),  # an earlier map
        ({"id": "0123456789abcdef", "name": "Elm Row"}, "123", False),  # the next street
        ({"id": "0123456789abcdef", "name": "Balder Row"}, "123", False),
        ({"id": "0123456789abcdef", "name": "Alder Row"}, "1xy", False),  # 1 of 3 plots is here
        ({"id": "0123456789abcdef"}, "123", False),  # nothing tells what it is called
    ],
)
def test_the_same_street_is_not_just_any_street(surveyed, merge, other, plots, taken):
    """Plots 1 to 16 of Alder Row; a return of another street lies among those of this one."""
    surveyed.hand_in("a", [(plot, "pond", "there") for plot in plots], who="Cy", street=other)
    surveyed.hand_in("b", SEEN)
    found = merge(same_street=True)
    assert ("Cy" in set(found.records.statements["surveyor"])) == taken
    assert any("merge it by itself" in line for line in errors(found)) != taken
    assert "Cy" not in set(merge(same_street=False).records.statements["surveyor"])


def test_a_clock_wrong_by_a_year(surveyed, merge):
    """In the future; before the sheet was made; outside the round: kept, and counted right."""
    surveyed.hand_in("future", SEEN, day="2027-05-02")
    surveyed.hand_in("past", SEEN, day="2025-05-02", made="2026-04-20")
    surveyed.hand_in(
        "outside", SEEN, began="2026-05-02T10:00:00Z", saved="2026-05-02T13:00:00Z",
        day="2024-05-02",
    )  # fmt: skip
    merged = merge()
    table = merged.records.statements
    assert len(table) == 9
    assert set(table["year"]) == {2026}
    assert set(zip(table["return"], table["dated"], strict=True)) == {
        ("future", "in the future"),
        ("past", "before the sheet was made"),
        ("outside", "outside the round"),
    }
    assert sum("clock" in str(fault) for fault in merged.faults) >= 3
    assert set(table["when"].str[:4]) == {"2024", "2025", "2027"}


def test_one_return_a_year_away_from_all_others_is_questioned(surveyed, merge):
    for name in "abc":
        surveyed.hand_in(name, SEEN)
    surveyed.hand_in("odd", SEEN, day="2025-05-03")
    odd = [fault for fault in merge().faults if fault.where == "odd.return.json"]
    assert "a year or more away" in str(odd[0])


def test_the_same_id_with_two_contents_is_told_and_both_kept(surveyed, merge):
    surveyed.hand_in("a", SEEN)
    other = surveyed.hand_in("a2", [("4", "pond", "there")], who="Bob")
    other.write_text(other.read_text(encoding="utf-8").replace('"id": "a2"', '"id": "a"'))
    merged = merge()
    assert said(merged) == {*WHOLE, ("4", "pond", "there", None)}
    assert len(merged.records.returns) == 2
    assert "2 different contents" in str(merged.faults[0])


def test_drawn_shapes_are_kept_and_measured(surveyed, merge, survey_knowledge):
    """A pond of 2 x 3 m and a hedge of 10 m drawn on plot 1, in WGS 84; one shape off its plot."""
    pond = shapely.box(450_002, 210_002, 450_004, 210_005)
    hedge = shapely.LineString([(450_001, 210_001), (450_011, 210_001)])
    world = gpd.GeoSeries([pond, hedge, pond], crs="EPSG:27700").to_crs("EPSG:4326")
    drawn = [
        {"plot": plot, "feature": key, "when": "2026-05-02T10:30:00+01:00",
         "geometry": json.loads(shapely.to_geojson(shape))}
        for plot, key, shape in zip("119", ("pond", "hedge_native", "pond"), world, strict=True)
    ]  # fmt: skip
    drawn.append({"plot": "1", "feature": "bog", "geometry": {"type": "Polygon"}})
    surveyed.hand_in("a", [("1", "pond", "there", 99)], drawn=drawn)
    merged = merge()
    assert sorted(merged.records.drawn["amount"]) == pytest.approx([6.0, 10.0], abs=0.02)
    held = merged.survey.set_index(["plot", "feature"])["amount"]
    assert held["1", "pond"] == pytest.approx(6.0, abs=0.02)
    assert held["1", "hedge_native"] == pytest.approx(10.0, abs=0.02)
    assert "does not lie on the plot" in " ".join(errors(merged))
    assert "no shape that can be used" in " ".join(errors(merged))
