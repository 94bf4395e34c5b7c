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


def paths(out, into, before=False):
    """Paths in the player's words, which are the world's for a right-hander alone."""

    def said(value):
        words = [str(abs(value)), out if value > 0 else into] if value else ["0"]
        return " ".join(words[::-1] if before else words)

    return [[*row[:7], said(row[7] * (1 if row[4] == "R" else -1)), *row[8:]] for row in ROWS]


def swapped(line):
    cells = line.split(",")
    return ",".join([*cells[:5], cells[6], cells[5], *cells[7:]])


def spoken(at):
    """A moment as people and programs write it."""
    half = "PM" if at.hour >= 12 else "AM"
    day = ["Mo", "Di", "Mi", "Do", "Fr", "Sa", "So"][at.weekday()]
    forms = (
        f"{day}, %d.%m.%Y %H:%M:%S|{day}. %d.%m.%Y %H:%M:%S|%H:%M:%S %d.%m.%Y|%H:%M:%S %Y-%m-%d|%d.%m.%Y - %H:%M:%S|"
        f"%d.%m.%Y at %H:%M:%S|%d.%m.%Y um %H:%M:%S Uhr|%d/%m/%Y à %Hh%Mm%Ss|%Y-%m-%d {half} %I:%M:%S|%Y%m%d_%H%M%S|"
        f"%Y-%m-%d_%H-%M-%S|%Y. %m. %d. %H:%M:%S|{at.day}. {at.month}. %Y %H:%M:%S|%Y年%m月%d日 %H:%M:%S|"
        f"'%Y-%m-%d %H:%M:%S|%d-NOV-%y %I.%M.%S {half}|{at.day} novembre %Y %H:%M:%S|"
        f"{at.day} de noviembre de %Y %H:%M:%S|Nov {at.day} %Y %H:%M:%S"
    )
    return [at.strftime(form) for form in forms.split("|")]


def book(*sheets, merge=(), hidden=None):
    workbook = openpyxl.Workbook()
    workbook.remove(workbook.active)
    for name, rows in sheets:
        sheet = workbook.create_sheet(name)
        sheet.sheet_state = "hidden" if name == hidden else "visible"
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


TWO_LINED = lines(headings=[f'"{h}\r\n({UNITS[h]})"' if h in UNITS else h for h in HEADINGS])

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
    "UTF-32 without a mark": ("a.csv", text().encode("utf-32-be")),
    "cells in quotes of their own": ("a.csv", "\n".join(",".join(f"'{c}'" for c in line.split(",")) for line in lines())),
    "numbers as formulas of a text": ("a.csv", text(rows=all_numbers(lambda h, v: f'="{v}"'))),
    "plus signs of full width": ("a.csv", text(rows=all_numbers(lambda h, v: f"＋{v}" if v > 0 else v))),
    "a minus in brackets, the unit inside": ("a.csv", text(rows=all_numbers(lambda h, v: f"({-v} {UNITS[h]})" if v < 0 else v))),
    "a minus in brackets, the unit behind": ("a.csv", text(rows=all_numbers(lambda h, v: f"（{-v}）{UNITS[h]}" if v < 0 else v))),
    "a minus in brackets, a degree sign behind": ("a.csv", text(rows=all_numbers(lambda h, v: f"({-v})°" if v < 0 and UNITS[h] == "deg" else v))),
    "tables in two orders, totals below each": ("a.csv", "\n".join([*lines()[:3], "Average,,,,,80,-1", *(",".join(line.split(",")[::-1]) for line in (lines()[0], *lines()[3:])), "Average,1,5000,,,80,-1"])),
    "tables in two orders, units in a line of their own": ("a.csv", "\r\n".join([*TWO_LINED[:3], *(",".join(line.split(",")[::-1]) for line in (TWO_LINED[0], *TWO_LINED[3:]))])),
    "thousands of turns by comma, decimals too": ("a.csv", text(separator=";", rows=all_numbers(lambda h, v: f"{v:,}" if h == "Spin" else str(v).replace(".", ",")))),
    "thousands of turns by point, decimals too": ("a.csv", text(rows=all_numbers(lambda h, v: f"{v:,}".replace(",", ".") if h == "Spin" else v))),
    "headings with hyphens": ("a.csv", text(headings=[h.replace(" ", "-") for h in HEADINGS])),
    "headings below the club's and the ball's": ("a.csv", "\n".join([",,,,,Head,,,Ball,", lines()[0].replace("Head speed", "speed"), *lines()[1:]])),
    "a workbook, tables in two orders": ("a.xlsx", book(("Shots", [*GRID[:3], [], HEADINGS[::-1], *(row[::-1] for row in ROWS[2:])]))),
    "up and down by letters": ("a.csv", text(rows=with_column("Attack", lambda v: f"{abs(v)} {'U' if v > 0 else 'D'}"))),
    "sides as sentences": ("a.csv", text(rows=with_column("Side", lambda v: f"{abs(v)} yds to the {'right' if v > 0 else 'left'} of target"))),
    "sides in brackets": ("a.csv", text(rows=with_column("Side", lambda v: f"{abs(v)} ({'R' if v > 0 else 'L'})"))),
    "sides behind a comma": ("a.csv", text(separator=";", rows=with_column("Side", lambda v: f"{abs(v)}, {'right' if v > 0 else 'left'}"))),
    "sides before a colon": ("a.csv", text(rows=with_column("Side", lambda v: f"{'R' if v > 0 else 'L'}: {abs(v)}"))),
    "sides as arrows": ("a.csv", text(rows=with_column("Side", lambda v: f"{'→' if v > 0 else '←'} {abs(v)}"))),
    "sides in German": ("a.csv", text(rows=with_column("Side", lambda v: f"{abs(v)} {'rechts' if v > 0 else 'links'}"))),
    "paths from side to side": ("a.csv", text(rows=paths("in-to-out", "out-to-in"))),
    "paths from side to side, before": ("a.csv", text(rows=paths("Inside-out", "Outside-in", before=True))),
    "shots behind a sign": ("a.csv", text(rows=with_column("No", lambda v: f"#{v}"))),
    "shots behind a word": ("a.csv", text(rows=with_column("No", lambda v: f"Shot {v}"))),
    "hands in words": ("a.csv", text(rows=with_column("Plays", {"R": "Right handed", "L": "left-hander"}.get))),
    "hands in German": ("a.csv", text(rows=with_column("Plays", {"R": "Rechtshänder", "L": "Linkshänder"}.get))),
    **{f"times as in {now[0]}": ("a.csv", text(separator=";", rows=timed(now))) for now in zip(*(spoken(v[2]) for v in ROWS), strict=True)},
    "headings with marks": ("a.csv", text(headings=[f"{h}:" for h in HEADINGS])),
    "headings with underscores": ("a.csv", text(headings=[h.replace(" ", "_") for h in HEADINGS])),
    "headings with points": ("a.csv", text(headings=[h.replace(" ", ".") for h in HEADINGS])),
    **{f"units in headings as in Spin{gap}rpm": ("a.csv", text(separator=";", headings=[h + gap + UNITS[h] if h in UNITS else h for h in HEADINGS])) for gap in (", ", " / ", " ", " in ", " - ", ": ")},
    "units in headings in a line of their own": ("a.csv", text(headings=[f'"{h}\n{UNITS[h]}"' if h in UNITS else h for h in HEADINGS])),
    "headings over two lines": ("a.csv", "\n".join([",,,,,Head,,,,", lines()[0].replace("Head speed", "speed"), *lines()[1:]])),
    "headings over two lines, most in the upper": ("a.csv", "\n".join([lines()[0].replace("Head speed", "Head"), ",,,,,speed,,,,", *lines()[1:]])),
    "tables in two orders": ("a.csv", "\n".join([*lines()[:3], "", *(",".join(line.split(",")[::-1]) for line in (lines()[0], *lines()[3:]))])),
    "tables in two orders, two columns changed": ("a.csv", "\n".join([*lines()[:3], "", *(swapped(line) for line in (lines()[0], *lines()[3:]))])),
    "a table at the side": ("a.csv", "\n".join(f"{a},,{b}" for a, b in zip(lines(), ["Club,Mean", "7 I,78", "Driver,91", ",", ",", ","], strict=True))),
    "a heading twice, once over nothing": ("a.csv", "\n".join(f"{line},{'Attack' if n == 0 else ''}" for n, line in enumerate(lines()))),
    "a column twice": ("a.csv", "\n".join(f"{line},{line.split(',')[6]}" for line in lines())),
    "numbered rows without a heading": ("a.csv", "\n".join(f'"{n}",{line}' if n else line for n, line in enumerate(lines(quote=True)))),
    "columns in line, 8-bit code": ("a.prn", "\n".join(line.replace("|", "   ") for line in lines(separator="|", headings=[h.replace("deg", "°") for h in BRACKETED])).encode("cp1252")),
    "columns in line, UTF-16": ("a.prn", "\n".join(line.replace("|", "   ") for line in lines(separator="|")).encode("utf-16")),
    "a workbook, a hidden sheet before": ("a.xlsx", book(("Old", [HEADINGS, *(["Old Data", *row[1:]] for row in ROWS)]), ("Shots", GRID), hidden="Old")),
    "a workbook, units above": ("a.xlsx", book(("Shots", [[UNITS.get(h) for h in HEADINGS], *GRID]))),
    "parquet, texts that do not say so": ("a.parquet", parquet(frame(Club=[v[3].encode() for v in ROWS]))),
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


DELIVERY = MAP[MAP.index("[column.club_speed_mps]") : MAP.index("[column.spin_rpm]")]


def test_a_gap_in_columns_that_stand_in_line_is_a_blank_cell(put):
    aligned = "Bay 3\n\nHead speed   Attack   Path\n90           -3.5     4\n91                    5\n"
    table = cl.read_shots(put("a.prn", aligned), put("m.toml", DELIVERY)).table
    assert table["path_out_deg"].tolist() == [4, 5]
    assert table["attack_up_deg"].isna().tolist() == [False, True]
    assert table["source_row"].tolist() == [4, 5]


def test_a_gap_in_columns_out_of_line_is_told_and_not_guessed(put):
    loose = "Head speed   Attack   Path\n90   -3.5     4\n91      5\n"
    with pytest.raises(cl.DataError, match="Line 3 has 2 cells, the header 3"):
        cl.read_shots(put("a.prn", loose), put("m.toml", DELIVERY))


@pytest.mark.parametrize(
    ("day", "clock"),
    [("%Y-%m-%d", "1899-12-30 %H:%M:%S"), ("%d/%m/%Y", "%H.%M.%S"), ("%Y%m%d", "%H%M%S"), ("%d %b %Y", "%Hh%Mm%Ss"), ("%Y-%m-%d", "T%H:%M:%S")],
)  # fmt: skip
def test_day_and_clock_time_may_stand_in_columns_of_their_own(put, plain, day, clock):
    columns = MAP.replace('"When"', '"Time"') + '[column.session_day]\nheading = "Date"\n'
    rows = [[*row[:2], row[2].strftime(day), row[2].strftime(clock), *row[3:]] for row in ROWS]
    headings = [*HEADINGS[:2], "Date", "Time", *HEADINGS[3:]]
    shots = cl.read_shots(put("a.csv", text(rows=rows, headings=headings)), put("m.toml", columns))
    same(shots.table.drop(columns="session_day"), plain)
    assert not len(shots.flags)


@pytest.mark.parametrize(
    "units",
    ["mph. degs deg. RPM Yds.", "m.p.h. ° º U/min yard", "mi/hr Deg degrees rpm. yrds", "miles grad ° rev/min yd"],
)
def test_units_are_read_as_people_spell_them_wherever_they_stand(put, plain, units):
    spelled = dict(zip(NUMBERS, units.replace("miles", "miles per hour").rsplit(" ", 4), strict=True))
    bare = "\n".join(line for line in MAP.splitlines() if not line.startswith("unit"))
    row = ",".join(spelled.get(h, "") for h in HEADINGS)
    for name, content in (("below", [lines()[0], row, *lines()[1:]]), ("above", [row, *lines()])):
        same(cl.read_shots(put(f"{name}.csv", "\n".join(content)), put("m.toml", bare)).table, plain)


def test_a_total_without_a_unit_does_not_make_the_unit_of_the_shots_missing(put, plain):
    bare = "\n".join(line for line in MAP.splitlines() if not line.startswith("unit"))
    content = text(rows=all_numbers(lambda h, v: f"{v} {UNITS[h]}" if v else "0")) + "Average,,,,,80,-1\n"
    same(cl.read_shots(put("a.csv", content), put("m.toml", bare)).table, plain)


def test_what_another_table_lacks_is_missing_and_what_is_not_read_is_told(put, plain):
    short = [",".join(line.split(",")[:8] + line.split(",")[9:]) for line in lines()]
    shots = cl.read_shots(put("a.csv", "\n".join([*lines()[:3], short[0], *short[3:]])), put("m.toml", MAP))
    assert shots.table["spin_rpm"].isna().tolist() == [False, False, True, True, True]
    same(shots.table.drop(columns="spin_rpm"), plain.drop(columns="spin_rpm"))
    assert any("another order" in note for note in shots.notes)
    shots = cl.read_shots(put("b.csv", "\n".join([*short[:3], "", lines()[0], *lines()[3:]])), put("m.toml", MAP))
    assert len(shots) == 3 and any("Line 1 holds 9" in note for note in shots.notes)
    two = book(("Monday", GRID[:3]), ("Tuesday", [HEADINGS, *ROWS[2:]]))
    shots = cl.read_shots(put("a.xlsx", two), put("m.toml", MAP))
    assert len(shots) == 2 and any("'Tuesday'" in note for note in shots.notes)


def test_odd_signs_far_down_in_a_file_are_read_as_at_its_top(put):
    rows = [f"{n},{-3 - n % 7}" for n in range(1, 90_001)]
    plain = cl.read_shots(put("plain.csv", "\n".join(["shot,attack_up_deg", *rows]))).table
    for odd in ("\n".join(rows[-9:]) + "\0", "\r".join(rows[-9:])):
        content = "\n".join(["shot,attack_up_deg", *rows[:-9], odd])
        same(cl.read_shots(put("odd.csv", content)).table, plain)
