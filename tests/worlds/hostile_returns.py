"""Returns that are meant to do harm, each of a seed; each is handed in beside a good one."""

import io
import json
import random
import zipfile

__all__ = ["HOSTILE", "SLOW", "a_workbook", "hostile_return"]

PAYLOADS = (
    "<script>alert(1)</script>", "=cmd|' /C calc'!A0", "\u202e\u0000\ufeff", "'; DROP TABLE x",
    "../../../etc/passwd", "${7*7}", "\ud800", "@SUM(1)", "x" * 300_000, "\r\n\t",
)  # fmt: skip
WHENS = (
    "9999-12-31T23:59:59Z", "0000-00-00", "2026-02-30T25:61:61", "", "-1", "2026-05-02",
    "1970-01-01T00:00:00+99:99", "2026-05-02T10:00:00" + "0" * 5000, None, 7, [], {},
)  # fmt: skip


def _page(street, statements, **others):
    content = {
        "patchnet_return": 1, "id": "harm", "street": {"id": street, "name": "Alder Row"},
        "surveyor": "Mal", "seen_from": "street", "began": "2026-05-02T10:00:00+01:00",
        "saved": "2026-05-02T13:00:00+01:00", "statements": statements,
    } | others  # fmt: skip
    return json.dumps(content)


def _said(**others):
    return {
        "plot": "2", "feature": "pond", "answer": "there", "when": "2026-05-02T10:00:00+01:00",
    } | others  # fmt: skip


def a_number_without_end(street, rng):
    head = _page(street, [_said()])[:-1]
    return "x.return.json", f'{head}, "x": {"9" * rng.choice([4301, 5000, 200_000])}}}'


def a_deep_one(street, rng):
    deep = rng.choice([13, 200, 990, 5000, 100_000])
    opening, closing = rng.choice([('{"a":', "}"), ("[", "]")])
    return "x.return.json", _page(street, [])[
        :-1
    ] + ', "x": ' + opening * deep + "1" + closing * deep


def broken_all_through(street, rng):
    broken = '{"plot": "1", "feature": "pond", "ans' + rng.choice(["\x01" * 20, "}}}", '"', "\\"])
    return "x.return.json", '{"patchnet_return": 1, "statements": [' + broken * rng.choice(
        [50, 4000]
    )


def nothing_is_closed(street, rng):
    return "x.return.json", '{"patchnet_return": 1, "statements": [' + '{"plot": "1 ' * rng.choice(
        [10, 5000]
    )


def odd_statements(street, rng):
    rows = [
        _said(**{rng.choice(["plot", "feature", "answer", "amount", "note", "photo", "sure"]):
                 rng.choice([None, True, -1, 1e308, [], {}, [[]], {"a": {}}, *PAYLOADS])})
        for _ in range(rng.choice([1, 30]))
    ]  # fmt: skip
    return "x.return.json", _page(street, rows)


def odd_times(street, rng):
    rows = [_said(when=rng.choice(WHENS)) for _ in range(20)]
    return "x.return.json", _page(street, rows, began=rng.choice(WHENS), saved=rng.choice(WHENS))


def odd_frame(street, rng):
    key = rng.choice(["id", "street", "surveyor", "seen_from", "consent", "drawn", "statements"])
    value = rng.choice([None, True, 1e999, -1, [], {}, [1, [2]], {"id": []}, *PAYLOADS])
    return "x.return.json", _page(street, [_said()])[:-1] + f', "{key}": {json.dumps(value)}}}'


def odd_shapes(street, rng):
    far = rng.choice([1e308, -1e30, 1e9, float("nan"), 181, None, "7"])
    ring = rng.choice([[[far, 52], [0, far], [far, far], [far, 52]], [], [[0, 0]], [[far]], far])
    kind = rng.choice(["Polygon", "MultiPolygon", "Point", "GeometryCollection", "Nothing", None])
    shape = {"type": kind, "coordinates": [ring] * rng.choice([0, 1, 500])}
    rows = [{"plot": "2", "feature": "pond", "geometry": shape}] * rng.choice([1, 20])
    return "x.return.json", _page(street, [], drawn=rows)


def a_thousand_names(street, rng):
    rows = [_said(plot=f"{rng.choice(PAYLOADS[:4])}{at}") for at in range(rng.choice([60, 5000]))]
    return "x.return.json", _page(street, rows)


def unknown_plots(street, rng):
    count = rng.choice([60, 5000])
    rows = "".join(f"{street},Z{at}x,pond,there\n" for at in range(count))
    return "x.csv", f"street,plot,feature,answer\n{rows}"


def an_odd_table(street, rng):
    cells = [rng.choice(['"', ",", ";", "\t", "=1+1", "\r", *PAYLOADS[:4]]) for _ in range(60)]
    head = rng.choice(["plot,feature,answer\n", "plot;feature;answer\n", "", "answer\n", '"plot\n'])
    return "x.csv", f"{head}{rng.choice([',', ';', chr(9)]).join(cells)}\n" * rng.choice([1, 90])


def a_wide_table(street, rng):
    wide = rng.choice([300, 20_000])
    return "x.csv", "plot,feature,answer" + ",x" * wide + "\n" + "1," * wide + "\n"


def a_cell_in_the_last_corner(street, rng):
    place = rng.choice(["XFD1048576", "A1048576", "XFD1", "ZZZZ9", "A0", "A99999999999", ""])
    cell = f'<row r="{rng.choice([1, 1048576, -1])}"><c r="{place}" t="inlineStr"><is><t>x</t></is>'
    return "x.xlsx", a_workbook(cell + "</c></row>")


def a_bomb(street, rng):
    rows = rng.choice(["<row/>" + " " * 210_000_000, "<row><c/></row>" * 400_000])
    return "x.xlsx", a_workbook(rows)


def an_entity(street, rng):
    steps = "".join(f'<!ENTITY a{at} "{f"&a{at - 1};" * 10}">' for at in range(1, 9))
    head = f'<!DOCTYPE x [<!ENTITY a0 "lol">{steps}]>'
    cell = '<row r="1"><c r="A1" t="inlineStr"><is><t>&a8;</t></is></c></row>'
    return "x.xlsx", a_workbook(cell, head)


def any_bytes(street, rng):
    head = rng.choice(
        [b"", b"{", b"PK\x03\x04", b"plot,feature\n", b"\xff\xfe", b"\xd0\xcf\x11\xe0"]
    )
    return rng.choice(["x.csv", "x.xlsx", "x.return.json"]), head + rng.randbytes(2000)


HOSTILE = (
    a_number_without_end, a_deep_one, broken_all_through, nothing_is_closed, odd_statements,
    odd_times, odd_frame, odd_shapes, a_thousand_names, unknown_plots, an_odd_table, a_wide_table,
    a_cell_in_the_last_corner, a_bomb, an_entity, any_bytes,
)  # fmt: skip


SLOW = (a_bomb, an_entity)
"""Those that take a second or more."""


def hostile_return(street, number):
    """Return name and content of a hostile return."""
    rng = random.Random(number)  # noqa: S311 - no secret
    name, content = HOSTILE[number % len(HOSTILE)](street, rng)
    raw = content if isinstance(content, bytes) else content.encode("utf-8", "surrogatepass")
    return name, raw


def a_workbook(sheet_xml, head=""):
    """Return the least workbook that has this in its sheet."""
    kinds = "http://schemas.openxmlformats.org/package/2006/content-types"
    relations = "http://schemas.openxmlformats.org/package/2006/relationships"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    sheet = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{kinds}"><Default Extension="rels" ContentType='
        '"application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{sheet}.sheet.main+xml"/>'
        '<Override PartName="/xl/worksheets/sheet1.xml" '
        f'ContentType="{sheet}.worksheet+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{relations}"><Relationship Id="r1" '
        f'Type="{office}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{office}"><sheets>'
        '<sheet name="a" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{relations}"><Relationship Id="r1" '
        f'Type="{office}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": f'{head}<worksheet xmlns="{main}"><sheetData>{sheet_xml}'
        "</sheetData></worksheet>",
    }
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as book:
        for name, content in parts.items():
            book.writestr(name, content)
    return packed.getvalue()
