"""Valid files in odd forms: each must give the same table as its plain twin."""

import datetime as dt
import gzip
import io
import zipfile

import openpyxl
import pandas as pd
import pytest

import coachlab as cl

MAP = """
[club_names]
"7 I" = "iron-7"
[column.student]
heading = "Name"
[column.shot]
heading = "No"
[column.struck_at]
heading = "When"
[column.club]
heading = "Club"
[column.hand]
heading = "Plays"
[column.club_speed_mps]
heading = "Head speed"
unit = "mph"
[column.attack_up_deg]
heading = "Attack"
unit = "deg"
[column.path_out_deg]
heading = "Path"
unit = "deg"
positive = "right"
[column.spin_rpm]
heading = "Spin"
unit = "rpm"
[column.side_out_m]
heading = "Side"
unit = "yd"
positive = "right"
"""
HEADINGS = ["Name", "No", "When", "Club", "Plays", "Head speed", "Attack", "Path", "Spin", "Side"]
NUMBERS = HEADINGS[5:]
ROWS = [
    ["Robin Doe", 1, dt.datetime(2026, 11, 3, 14, 5, 0), "7 I", "R", 78.2, -3.5, 1.2, 6012, 12.3],
    ["Robin Doe", 2, dt.datetime(2026, 11, 3, 14, 5, 31), "7 I", "R", 77.9, -2.0, -4.4, 5890, -3.0],
    ["Kim Roe", 3, dt.datetime(2026, 11, 3, 14, 6, 2), "Driver", "L", 90.0, 2.5, 0.0, 2450, -14.8],
    ["Kim Roe", 4, dt.datetime(2026, 11, 13, 9, 0, 0), "Driver", "L", 91.6, 0.0, 3.25, 2704, 6.0],
    ["Kim Roe", 5, dt.datetime(2026, 11, 13, 9, 0, 30), "pitching wedge", "L", 70.1, -5.5, -2.0, 10250, 0.5],
]


def cell(value, mark=".", minus="-", group="", time="%Y-%m-%d %H:%M:%S"):
    if isinstance(value, dt.datetime):
        return value.strftime(time)
    if isinstance(value, str):
        return value
    text = f"{abs(value):,}".replace(",", "\0").replace(".", mark).replace("\0", group)
    return (minus if value < 0 else "") + text


def lines(separator=",", rows=ROWS, headings=HEADINGS, quote=False, **how):
    def shown(text):
        return f'"{text}"' if quote or separator in text else text

    return [separator.join(map(shown, row)) for row in [headings, *([cell(v, **how) for v in row] for row in rows)]]


def text(ends="\n", **how):
    return ends.join(lines(**how)) + ends


def sided(value):
    return f"{abs(value)} {'R' if value > 0 else 'L'}" if value else "0"


def with_column(name, change):
    place = HEADINGS.index(name)
    return [[change(v) if p == place else v for p, v in enumerate(row)] for row in ROWS]


def all_numbers(change):
    return [[change(h, v) if h in NUMBERS else v for h, v in zip(HEADINGS, row, strict=True)] for row in ROWS]


UNITS = {"Head speed": "mph", "Attack": "deg", "Path": "deg", "Spin": "rpm", "Side": "yd"}


def book(*sheets, merge=(), active=None):
    workbook = openpyxl.Workbook()
    workbook.remove(workbook.active)
    for name, rows in sheets:
        sheet = workbook.create_sheet(name)
        for row in rows:
            sheet.append(row)
        for area in merge:
            if name == "Shots":
                sheet.merge_cells(area)
    stream = io.BytesIO()
    workbook.save(stream)
    return stream.getvalue()


def ods(rows, sheet="Balls", rest=""):
    def one(value, spans=""):
        if isinstance(value, tuple):
            value, spans = value[0], f' table:number-rows-spanned="{value[1]}"'
        if value is None:
            return "<table:covered-table-cell/>"
        if value == "":
            return "<table:table-cell/>"
        if isinstance(value, dt.datetime):
            kind = f'office:value-type="date" office:date-value="{value.isoformat()}"'
        elif isinstance(value, str):
            kind = 'office:value-type="string"'
        else:
            kind = f'office:value-type="float" office:value="{value}"'
        return f"<table:table-cell{spans} {kind}><text:p>{value}</text:p></table:table-cell>"

    body = "".join(f"<table:table-row>{''.join(map(one, row))}</table:table-row>" for row in rows)
    names = "office table text"
    spaces = " ".join(f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"' for name in names.split())
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {spaces} office:version="1.2"><office:body>'
        f'<office:spreadsheet><table:table table:name="{sheet}">{body}{rest}</table:table></office:spreadsheet>'
        "</office:body></office:document-content>"
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    manifest = (
        '<?xml version="1.0"?><manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>'
    )
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", kind)
        archive.writestr("content.xml", content)
        archive.writestr("META-INF/manifest.xml", manifest)
    return stream.getvalue()


def zipped(members):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return stream.getvalue()


def parquet(frame):
    stream = io.BytesIO()
    frame.to_parquet(stream, index=False)
    return stream.getvalue()


def frame(**columns):
    return pd.DataFrame(ROWS, columns=HEADINGS).assign(**columns)


BRACKETED = [f"{h} [{UNITS[h]}]" if h in UNITS else h for h in HEADINGS]
ZONED = [
    ("2026-11-03T14:05:00+01:00", "2026-11-03T14:05:31+0100", "2026-11-03 14:06:02 +01:00", "2026-11-13 09:00:00Z",
     "2026-11-13T09:00:30.000Z"),
    ("03.11.2026 14:05:00 CET", "03.11.2026 14:05:31 CEST", "03.11.2026 14:06:02 (UTC+1)", "13.11.2026 09:00:00 GMT",
     "13.11.2026 09:00:30 UTC+01:00"),
    ("11/3/2026 2:05:00 PM", "11/3/2026 2:05:31 PM", "11/3/2026 2:06:02 PM EST", "11/13/2026 9:00:00 AM",
     "11/13/2026 9:00:30 a.m."),
    ("Tue Nov 3 14:05:00 2026", "3 November 2026, 14:05:31", "Nov 3, 2026 14:06:02", "13-Nov-2026 09:00:00",
     "Fri, 13 Nov 2026 09:00:30 +0100"),
    ("20261103T140500", "20261103 140531", "2026-11-03T14:06:02,000", "2026/11/13 09.00.00", "2026-11-13 09:00:30 -05:00"),
]  # fmt: skip
SERIAL = [(v[2] - dt.datetime(1899, 12, 30)) / dt.timedelta(days=1) for v in ROWS]
EPOCH = [int((v[2] - dt.datetime(1970, 1, 1)).total_seconds()) for v in ROWS]
GRID = [HEADINGS, *ROWS]


def timed(times):
    return [[t if p == 2 else v for p, v in enumerate(row)] for row, t in zip(ROWS, times, strict=True)]


FORMS = {
    "semicolons": ("a.csv", text(separator=";")),
    "tabs": ("a.tsv", text(separator="\t")),
    "pipes": ("a.txt", text(separator="|")),
    "colons between quoted cells": ("a.csv", text(separator=":", quote=True)),
    "carets": ("a.csv", text(separator="^")),
    "tildes": ("a.csv", text(separator="~")),
    "unit separators": ("a.csv", text(separator="\x1f")),
    "columns in line, blanks between": ("a.prn", "\n".join(line.replace("|", "   ") for line in lines(separator="|"))),
    "a line that names the separator": ("a.csv", "sep=;\n" + text(separator=";")),
    "decimal commas": ("a.csv", text(separator=";", mark=",")),
    "decimal commas in quotes": ("a.csv", text(mark=",", quote=True)),
    "thousands by comma": ("a.csv", text(separator=";", group=",")),
    "thousands by point": ("a.csv", text(separator=";", mark=",", group=".")),
    "thousands by apostrophe": ("a.csv", text(group="'")),
    "thousands by curly apostrophe": ("a.csv", text(group="’")),
    "thousands by narrow blank": ("a.csv", text(separator=";", mark=",", group="\u202f")),
    "a true minus": ("a.csv", text(minus="−")),
    "a minus of full width, digits too": ("a.csv", text(minus="－").replace("78.2", "７８.２")),
    "a minus after a blank": ("a.csv", text(minus="- ")),
    "plus signs": ("a.csv", text(rows=all_numbers(lambda h, v: f"{v:+}" if h != "Spin" else v))),
    "exponents": ("a.csv", text(rows=all_numbers(lambda h, v: f"{v:.6E}"))),
    "carriage returns alone": ("a.csv", text(ends="\r")),
    "line ends of both kinds": ("a.csv", text(ends="\r").replace("\r", "\r\n", 3).replace("\r\n", "\r", 1)),
    "doubled carriage returns": ("a.csv", text(ends="\r\r\n")),
    "a minus in brackets": ("a.csv", text(rows=all_numbers(lambda h, v: f"({-v})" if v < 0 else str(v)))),
    "a minus behind": ("a.csv", text(rows=all_numbers(lambda h, v: f"{-v}-" if v < 0 else str(v)))),
    "thousandths behind a colon": ("a.csv", text(rows=timed([f"{v[2]:%Y-%m-%d %H:%M:%S}:000" for v in ROWS]))),
    "carriage returns and line feeds": ("a.csv", text(ends="\r\n")),
    "no end after the last line": ("a.csv", text().rstrip("\n")),
    "a byte order mark": ("a.csv", text().encode("utf-8-sig")),
    "UTF-16": ("a.csv", text().encode("utf-16")),
    "UTF-16 without a mark": ("a.csv", text().encode("utf-16-be")),
    "UTF-32": ("a.csv", text().encode("utf-32")),
    "an 8-bit code": ("a.csv", ("Übung\n" + text(headings=[h.replace("deg", "°") for h in BRACKETED])).encode("cp1252")),
    "an older 8-bit code": ("a.csv", text(headings=[h.replace("deg", "°") for h in BRACKETED]).encode("mac_roman")),
    "NUL between": ("a.csv", text().replace(",", ",\0")),
    "title lines": ("a.csv", "Bay 3\nprinted at noon, by hand\n\n" + text()),
    "units in brackets": ("a.csv", text(headings=BRACKETED)),
    "a row of units": ("a.csv", "\n".join([lines()[0], ",".join(UNITS.get(h, "") for h in HEADINGS), *lines()[1:]])),
    "units in the cells": ("a.csv", text(rows=all_numbers(lambda h, v: f"{v} {UNITS[h]}"))),
    "degree signs in the cells": ("a.csv", text(rows=all_numbers(lambda h, v: f"{v}°" if UNITS[h] == "deg" else v))),
    "sides as letters": ("a.csv", text(rows=with_column("Side", sided))),
    "sides as words before": ("a.csv", text(rows=with_column("Side", lambda v: " ".join(sided(v).split()[::-1]).replace("L", "left").replace("R", "Right")))),
    "repeated headings": ("a.csv", "\n".join([*lines()[:3], lines()[0], *lines()[3:]])),
    "trailing totals": ("a.csv", text() + "\nAverage,,,,,80,-1,0,5000,1\nStd. dev.,,,,,2,1,1,100,3\nMax,,,,,90,2,4,6012,12\n"),
    "blank lines between": ("a.csv", "\n\n".join(lines()) + "\n\n"),
    "cells left out at the end": ("a.csv", text().replace("\n", ",,,\n")),
    "quoted line breaks": ("a.csv", "\n".join(f'{line},"{"Note" if n == 0 else "soft, then" + chr(10) + "hard"}"' for n, line in enumerate(lines()))),
    "headings with a line break": ("a.csv", text(headings=['"Head\nspeed"' if h == "Head speed" else h for h in HEADINGS])),
    "headings in capitals and blanks": ("a.csv", text(headings=[f" {h.upper()}  " for h in HEADINGS])),
    "other columns between": ("a.csv", "\n".join(f"x{n},{line},y" for n, line in enumerate(lines()))),
    "columns in another order": ("a.csv", "\n".join(",".join(line.split(",")[::-1]) for line in lines())),
    "blanks around every cell": ("a.csv", "\n".join(line.replace(",", " , ") for line in lines())),
    "times with offsets": ("a.csv", text(rows=timed(ZONED[0]))),
    "times with named zones": ("a.csv", text(rows=timed(ZONED[1]))),
    "times by the half day": ("a.csv", text(rows=timed(ZONED[2]))),
    "times in words": ("a.csv", text(rows=timed(ZONED[3]))),
    "times packed": ("a.csv", text(rows=timed(ZONED[4]))),
    "times as a spreadsheet counts days": ("a.csv", text(rows=timed([f"{v:.8f}" for v in SERIAL]))),
    "times as seconds since 1970": ("a.csv", text(rows=timed(map(str, EPOCH)))),
    "times as milliseconds since 1970": ("a.csv", text(rows=timed([f"{v}000" for v in EPOCH]))),
    "a workbook": ("a.xlsx", book(("Shots", GRID))),
    "a workbook, title rows": ("a.xlsx", book(("Shots", [["Bay 3"], [], ["by hand", None, 3], *GRID]))),
    "a workbook, any sheet": ("a.xlsx", book(("About", [["Attack is an angle"]]), ("Other", [["Name"], ["x"]]), ("Shots", GRID))),
    "a workbook, numbers as text": ("a.xlsx", book(("Shots", [HEADINGS, *([cell(v, minus="−") for v in row] for row in ROWS)]))),
    "a workbook, a merged title": ("a.xlsx", book(("Shots", [["Bay 3"], *GRID]), merge=["A1:J1"])),
    "a workbook, names merged over lines": ("a.xlsx", book(("Shots", GRID), merge=["A2:A3", "A4:A6", "E4:E6"])),
    "a workbook, headings merged over two lines": ("a.xlsx", book(("Shots", [["Name", "No", "When", "Club", "Plays", "of the club", None, None, "of the ball", None], [None] * 5 + NUMBERS, *ROWS]), merge=[*(f"{c}1:{c}2" for c in "ABCDE"), "F1:H1", "I1:J1"])),
    "a workbook, a unit row below merged headings": ("a.xlsx", book(("Shots", [HEADINGS, [None] * 5 + [UNITS[h] for h in NUMBERS], *ROWS]), merge=[f"{c}1:{c}2" for c in "ABCDE"])),
    "an open document": ("a.ods", ods(GRID)),
    "an open document, title, total, names merged": ("a.ods", ods([["Bay 3"], [""], HEADINGS, *([(row[0], n) if n else None, *row[1:]] for row, n in zip(ROWS, (2, 0, 3, 0, 0), strict=True)), [""], ["Mean", "", "", "", "", 80, -1]])),
    "an open document, a million blank lines": ("a.ods", ods(GRID, rest='<table:table-row table:number-rows-repeated="1048000"><table:table-cell table:number-columns-repeated="16384"/></table:table-row>')),
    "parquet": ("a.parquet", parquet(frame())),
    "parquet, texts": ("a.parquet", parquet(frame().map(cell))),
    "parquet, categories and a zone": ("a.parquet", parquet(frame(Club=frame()["Club"].astype("category"), When=frame()["When"].dt.tz_localize("Asia/Tokyo")))),
    "a zipped file": ("a.zip", zipped({"bay.csv": text()})),
    "a zip with folders and shadows": ("a.zip", zipped({"bays/": "", "bays/bay.csv": text(), "__MACOSX/bays/._bay.csv": "junk", "notes.md": "# notes"})),
    "a zipped workbook": ("a.zip", zipped({"bay.xlsx": book(("Shots", GRID))})),
    "gzip": ("a.csv.gz", gzip.compress(text().encode())),
    "text called a workbook": ("a.xlsx", text()),
    "a workbook called text": ("a.csv", book(("Shots", GRID))),
    "an open document called a workbook": ("a.xlsx", ods(GRID)),
    "parquet called text": ("a.csv", parquet(frame())),
    "no extension": ("export", text()),
}  # fmt: skip


@pytest.fixture
def plain(put):
    return cl.read_shots(put("plain.csv", text()), put("m.toml", MAP)).table


def same(table, plain):
    places = ["source", "source_row"]
    pd.testing.assert_frame_equal(
        table.drop(columns=places), plain.drop(columns=places), check_exact=False, rtol=1e-9, atol=1e-9
    )


@pytest.mark.parametrize("form", FORMS)
def test_an_odd_file_gives_the_same_table_as_its_plain_twin(put, plain, form):
    name, content = FORMS[form]
    shots = cl.read_shots(put(name, content), put("m.toml", MAP))
    same(shots.table, plain)
    assert shots.counts["raw"] == shots.counts["shots"] + shots.counts["rejects"]
    assert not len(shots.flags), shots.flags


def test_the_plain_twin_is_what_was_written(plain):
    assert plain["shot"].tolist() == [1, 2, 3, 4, 5]
    assert plain["path_out_deg"].tolist() == [1.2, -4.4, 0.0, -3.25, 2.0]  # the last three are a left-hander's
    assert plain["club_speed_mps"].tolist() == pytest.approx([v[5] * 0.44704 for v in ROWS])
    assert plain["struck_at"].tolist() == [pd.Timestamp(v[2]) for v in ROWS]
    assert plain["club"].tolist() == ["iron-7", "iron-7", "driver", "driver", "wedge-pw"]


def test_a_folder_and_a_zip_of_files_are_read_as_one(tmp_path, put, plain):
    head, rows = lines()[0], lines()[1:]
    folder = tmp_path / "bays"
    folder.mkdir()
    (folder / "one.csv").write_text("\n".join([head, *rows[:2]]))
    (folder / "two.dat").write_text("\n".join([head, *rows[2:]]).replace(",", ";"))
    (folder / "log-a.csv").write_text("session\n")
    (folder / "notes.md").write_text("# notes")
    (folder / ".hidden.csv").write_text("x")
    shots = cl.read_shots(folder, put("m.toml", MAP))
    same(shots.table, plain)
    assert shots.table["source"].tolist() == ["one.csv"] * 2 + ["two.dat"] * 3
    assert "Left alone: log-a.csv, notes.md." in shots.notes
    packed = put(
        "bays.zip", zipped({"one.csv": "\n".join([head, *rows[:2]]), "deep/two.csv": "\n".join([head, *rows[2:]])})
    )
    shots = cl.read_shots(packed, put("m.toml", MAP))
    same(shots.table, plain)
    assert shots.table["source"].tolist() == ["bays.zip/one.csv"] * 2 + ["bays.zip/deep/two.csv"] * 3


def test_digits_of_another_script_are_read_as_what_they_are(put):
    shots = cl.read_shots(put("a.csv", "attack_up_deg,carry_m\n-٣.٥,١٢٠\n-२,१२१\n"))
    assert shots.table["attack_up_deg"].tolist() == [-3.5, -2]
    assert shots.table["carry_m"].tolist() == [120, 121]


def test_a_gap_in_columns_parted_by_blanks_is_told_and_not_guessed(put):
    aligned = "Head speed   Attack   Path\n90           -3.5     4\n91                    5\n"
    columns = MAP[MAP.index("[column.club_speed_mps]") : MAP.index("[column.spin_rpm]")]
    with pytest.raises(cl.DataError, match="Line 3 has 2 cells, the header 3"):
        cl.read_shots(put("a.prn", aligned), put("m.toml", columns))
