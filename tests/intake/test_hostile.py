"""Files that mean harm, or are broken beyond what a device would write: one clear error, or every line accounted for."""

import gzip
import io
import re
import resource
import struct
import subprocess
import sys
import time
import zipfile
import zlib

import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import coachlab as cl
from coachlab.intake.archive import plain_name
from coachlab.intake.guess import propose_map
from coachlab.intake.write import csv_text, file_name, neutral, neutral_table, plain_cell, write_bytes
from coachlab.settings import read_settings

OWN = "attack_up_deg,path_out_deg\n-3,4\n"
SMALL = cl.Settings(largest_file_mb=60, largest_unpacked_mb=60, largest_packing_ratio=20, largest_cells=10_000_000)


def zipped(members, kind=zipfile.ZIP_DEFLATED):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", kind) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return stream.getvalue()


def workbook(sheet_xml):
    book = openpyxl.Workbook()
    book.active.append(["attack_up_deg"])
    book.active.append([-3])
    stream = io.BytesIO()
    book.save(stream)
    with zipfile.ZipFile(stream) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    place = "xl/worksheets/sheet1.xml"
    members[place] = sheet_xml(members[place])
    return zipped(members)


def refused(path, *parts, given=SMALL):
    with pytest.raises(cl.CoachlabError) as caught:
        cl.read_shots(path, settings=given)
    error = caught.value
    assert error.asked and error.found and error.do
    for part in parts:
        assert part in str(error), str(error)


def test_a_zip_bomb_is_refused_before_it_fills_the_memory(put):
    zeros = b"attack_up_deg\n" + b"0\n" * 50_000_000
    loose = cl.Settings(largest_unpacked_mb=60, largest_packing_ratio=2000)
    refused(put("bomb.zip", zipped({"a.csv": zeros})), "bomb.zip", "60 MB", "largest_unpacked_mb", given=loose)
    refused(put("bomb.csv.gz", gzip.compress(zeros, 1)), "bomb.csv.gz", "60 MB", given=loose)


def test_many_members_of_a_zip_are_counted_together(put):
    part = b"attack_up_deg\n" + b"0\n" * 5_000_000
    refused(put("many.zip", zipped({f"{n}.csv": part for n in range(9)})), "unpacks to more than")


def test_a_ratio_no_export_has_is_refused_where_the_size_alone_would_pass(put):
    wide = cl.Settings(largest_unpacked_mb=5000, largest_packing_ratio=20)
    refused(put("tight.zip", zipped({"a.csv": b"attack_up_deg\n" + b"0\n" * 30_000_000})), "20 times", given=wide)


def test_a_size_that_the_header_lies_about_is_counted_as_it_comes(put):
    content = b"attack_up_deg\n" + b"0\n" * 50_000_000
    packed = zlib.compressobj(9, zlib.DEFLATED, -15)
    data = packed.compress(content) + packed.flush()
    crc, name = zlib.crc32(b"attack_up_deg\n-3\n"), b"a.csv"
    local = struct.pack("<4s5H3L2H", b"PK\3\4", 20, 0, 8, 0, 33, crc, len(data), 17, len(name), 0) + name + data
    central = struct.pack(
        "<4s6H3L5H2L", b"PK\1\2", 20, 20, 0, 8, 0, 33, crc, len(data), 17, len(name), 0, 0, 0, 0, 0, 0
    )
    end = struct.pack("<4s4H2LH", b"PK\5\6", 0, 0, 1, 1, len(central) + len(name), len(local), 0)
    refused(put("liar.zip", local + central + name + end), "unpacks to more than")


def test_a_workbook_that_unpacks_to_too_much_is_refused(put):
    blow = workbook(lambda xml: xml.replace(b"</sheetData>", b"</sheetData>" + b" " * 100_000_000))
    refused(put("bomb.xlsx", blow), "bomb.xlsx", "unpacks to more than")


def test_a_far_cell_does_not_make_billions_of_them(put):
    far = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
    refused(put("far.xlsx", workbook(lambda xml: xml.replace(b"</sheetData>", far))), "1,048,576 rows", "far out")
    # within the limit of cells, and still far more than stand there
    far = b'<row r="90000"><c r="ALL90000"><v>1</v></c></row></sheetData>'
    refused(
        put("far.xlsx", workbook(lambda xml: xml.replace(b"</sheetData>", far))), "90,000 rows", given=cl.Settings()
    )


def test_a_cell_a_little_off_the_table_is_no_harm(put):
    stray = b'<row r="5000"><c r="AB5000"><v>1</v></c></row></sheetData>'
    shots = cl.read_shots(put("stray.xlsx", workbook(lambda xml: xml.replace(b"</sheetData>", stray))))
    assert shots.table["attack_up_deg"].tolist() == [-3]


@pytest.mark.parametrize(
    "row",
    [
        '<table:table-row table:number-rows-repeated="1048576"><table:table-cell office:value-type="float" '
        'office:value="1" table:number-columns-repeated="16384"/></table:table-row>',
        '<table:table-row table:number-rows-repeated="1048576"><table:table-cell '
        'table:number-columns-repeated="16384"><text:p>x</text:p></table:table-cell></table:table-row>',
    ],
)
def test_a_repeated_cell_does_not_make_billions_of_them(put, row):
    names = " ".join(f'xmlns:{n}="urn:oasis:names:tc:opendocument:xmlns:{n}:1.0"' for n in ("office", "table", "text"))
    content = (
        f"<office:document-content {names}><office:body><office:spreadsheet><table:table table:name='a'>{row}"
        "</table:table></office:spreadsheet></office:body></office:document-content>"
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    refused(put("far.ods", zipped({"mimetype": kind, "content.xml": content})), "cells", "far out")
    refused(put("far.ods", zipped({"mimetype": kind, "content.xml": content.replace("1048576", "1000")})), "far out")


def test_entities_that_multiply_are_refused(put):
    entities = '<!ENTITY a0 "x">' + "".join(f'<!ENTITY a{n + 1} "{f"&a{n};" * 10}">' for n in range(9))
    content = f"<?xml version='1.0'?><!DOCTYPE d [{entities}]><d>&a9;</d>"
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    refused(put("laugh.ods", zipped({"mimetype": kind, "content.xml": content})))


def test_a_parquet_file_of_endless_equal_values_is_refused_by_its_rows(put):
    column = pa.DictionaryArray.from_arrays(pa.array(np.zeros(20_000_000, np.int8)), pa.array([-3.0]))
    stream = io.BytesIO()
    pq.write_table(pa.table({"attack_up_deg": column.dictionary_decode()}), stream, compression="zstd")
    assert len(stream.getvalue()) < 1_000_000
    refused(put("long.parquet", stream.getvalue()), "20,000,000 rows")


def test_a_huge_file_is_refused_by_its_size(tmp_path):
    with (tmp_path / "huge.csv").open("wb") as stream:
        stream.write(OWN.encode())
        stream.truncate(61_000_000)
    refused(tmp_path / "huge.csv", "61 MB", "60 MB", "largest_file_mb")


@pytest.mark.parametrize("kind", ["csv", "xlsx", "parquet"])
def test_ten_thousand_columns_are_refused_with_their_number(tmp_path, kind):
    frame = pd.DataFrame([range(10_000)] * 3, columns=["attack_up_deg", *(f"c{n}" for n in range(9_999))])
    path = tmp_path / f"wide.{kind}"
    write = {"csv": frame.to_csv, "xlsx": frame.to_excel, "parquet": frame.to_parquet}[kind]
    write(path, index=False)
    refused(path, "10,000 columns", "largest_columns", given=cl.Settings())


def test_limits_stand_in_academy_toml(put):
    limits = read_settings(put("academy.toml", "largest_columns = 2\n"))
    assert limits.largest_columns == 2
    refused(put("own.csv", "attack_up_deg,path_out_deg,carry_m\n-3,4,100\n"), "3 columns", given=limits)
    with pytest.raises(cl.DataError, match="whole number"):
        read_settings(put("academy.toml", "largest_file_mb = 0\n"))


def test_a_study_reads_under_its_academys_limits(tmp_path):
    (tmp_path / "own.csv").write_text("attack_up_deg,path_out_deg,carry_m\n-3,4,100\n")
    (tmp_path / "academy.toml").write_text("largest_columns = 2\n")
    with pytest.raises(cl.DataError, match="largest_columns"):
        cl.read_study(tmp_path)


@pytest.mark.parametrize(
    ("content", "part"),
    [
        (zipped({"a.csv": OWN})[:-30], "cannot be read"),
        (zipped({"in.zip": zipped({"a.csv": OWN})}), "No table is in it"),
        (zipped({"readme.md": "x"}), "No table is in it"),
        (zipped({}), "no files"),
        (gzip.compress(OWN.encode())[:-9], "cannot be read"),
    ],
)
def test_a_zip_without_a_table_or_in_pieces_is_refused(put, content, part):
    refused(put("odd.zip", content), part)


def test_a_locked_zip_says_so(put):
    data = bytearray(zipped({"a.csv": OWN}, zipfile.ZIP_STORED))
    data[6] |= 1
    data[data.index(b"PK\1\2") + 8] |= 1
    refused(put("locked.zip", bytes(data)), "password")


@pytest.mark.parametrize(
    "member", ["../../etc/passwd.csv", "/root/a.csv", "C:\\Windows\\a.csv", "a\x00b.csv", "..\\..\\a.csv", "con.csv"]
)
def test_a_members_path_is_only_a_label(put, tmp_path, member):
    before = {path.name for path in tmp_path.iterdir()}
    shots = cl.read_shots(put("p.zip", zipped({member: OWN, "other.csv": OWN.replace("-3", "-4")})))
    for name in set(shots.table["source"]):
        assert name.startswith("p.zip/") and ".." not in name and "\\" not in name and "\x00" not in name
        assert not re.search(r"/[A-Za-z]:|//", name)
    assert {path.name for path in tmp_path.iterdir()} == before | {"p.zip"}


HARMFUL = ["=1+1", "@SUM(A1)", "+cmd|' /C calc'!A0", "-2+3+cmd|x", "\t=1", "\r=1", "＝1", "=HYPERLINK(\"x\")"]  # fmt: skip


@pytest.mark.parametrize("text", HARMFUL)
def test_no_cell_that_we_write_is_run_as_a_formula(text):
    assert neutral(text) == "'" + text
    assert plain_cell(str(neutral(text))) == text
    table = pd.DataFrame({"session": [text, "v1"], text: [text, "x"], "n": [-3.5, 2]})
    for part in pd.read_csv(io.StringIO(csv_text(table)), dtype=str, keep_default_na=False).stack().tolist():
        assert not re.match(r"[\s]*[=+@＝]|-\D|-\d+\+", part), part
    assert not neutral_table(table).columns[1].startswith(("=", "+", "-", "@", "\t", "\r"))
    assert table["session"].iloc[0] == text


@pytest.mark.parametrize("text", ["-3.5", "+4", "-3,5", "–", "--", "-", "1,234", "-1e-3", "iron-7", "v1", "", "'tis"])
def test_numbers_and_common_words_are_left_as_they_are(text):
    assert neutral(text) == text
    assert plain_cell(text) == text


def test_a_formula_in_a_label_comes_back_from_a_file_of_ours_as_it_was(put):
    shots = cl.read_shots(put("a.csv", "session,attack_up_deg\n'=1+1,-3\n"))
    assert shots.table["session"].tolist() == ["=1+1"]
    again = cl.read_shots(put("b.csv", csv_text(shots.table)))
    assert again.table["session"].tolist() == ["=1+1"]


@pytest.mark.parametrize(
    "name", ["../x", "/etc/passwd", "con", "NUL.txt", "a/b", "a\\b", "..", ".", "", " ", "x" * 300, "a\x00b", "v1. ", "é*?"]
)  # fmt: skip
def test_an_id_as_a_file_name_stays_in_its_folder(tmp_path, name):
    made = file_name(name, ".csv")
    assert made == (tmp_path / made).name and (tmp_path / made).resolve().parent == tmp_path.resolve()
    assert len(made) < 120 and not re.fullmatch(r"(?i)(con|prn|aux|nul)(\..*)?", made)
    write_bytes(tmp_path / made, "x")
    assert [path.name for path in tmp_path.iterdir()] == [made]


def test_different_ids_make_different_file_names():
    names = ["a/b", "a\\b", "a-b", "a:b", "A-b", "", " "]
    assert len({file_name(name) for name in names}) == len(names)


def test_names_that_print_hold_no_control_signs_and_no_way_out():
    assert plain_name("..\\..\\a\x07\u202eb.csv") == "a b.csv"


EXTREMES = ["1e308", "-1e308", "inf", "-inf", "Infinity", "nan", "1e999", "1e-320", "9" * 400, "0x10", "1_000", "１"]


def test_extreme_numbers_are_flagged_or_set_aside_and_stop_nothing(put):
    names = [name for name in cl.read_shots(put("x.csv", OWN)).table.columns if name.endswith(("deg",))]
    from coachlab.intake.columns import READINGS

    lines = [",".join(["student", "session", "club", "shot", *READINGS])]
    for number, text in enumerate(EXTREMES * 3):
        lines.append(",".join([f"s{number % 2}", f"v{number % 4}", "iron-7", str(number), *([text] * len(READINGS))]))
    lines += [",".join(["s1", "v1", "iron-7", str(100 + n), *["3"] * len(READINGS)]) for n in range(12)]
    shots = cl.clean_shots(cl.read_shots(put("extreme.csv", "\n".join(lines))))
    n = shots.counts
    assert names and n.raw == n.shots + n.rejects == 48
    assert not np.isinf(shots.table[[*READINGS]].to_numpy(dtype=float)).any()
    assert shots.analysed[[*READINGS]].abs().max(axis=None) < 1e6 or n.analysed == 0


def test_far_years_and_control_signs_are_read_or_flagged(put):
    times = [
        "9999-12-31 23:59:59",
        "0001-01-01",
        "99999-01-01",
        "2026-02-30",
        "1e20",
        "-1",
        "\x07",
        "24:00:00",
        "2026-13-01",
    ]
    text = "struck_at,session,attack_up_deg\n" + "".join(f"{t},v\x0b{n}\x1b[31m,-{n}\n" for n, t in enumerate(times))
    shots = cl.clean_shots(cl.read_shots(put("a.csv", text)))
    assert len(shots) == len(times)
    assert shots.table["struck_at"].iloc[0] == pd.Timestamp("9999-12-31 23:59:59").as_unit("us")
    flagged = set(shots.flags.loc[shots.flags["rule"] == "no time", "source_row"])
    assert flagged == {
        row for row, at in zip(shots.table["source_row"], shots.table["struck_at"], strict=True) if at is pd.NaT
    }
    assert len(flagged) >= 6


LONG = 60_000


@pytest.mark.parametrize(
    "cell", ["a" + " " * LONG + "b", "1" * LONG, "1," * 40 + " " * LONG + "x", "total" + "(" * LONG, "-" * LONG, "[" * LONG, "9." * LONG]
)  # fmt: skip
def test_a_cell_without_end_takes_no_time_without_end(put, cell):
    # in quotes, as number, label, heading and title: each pattern must stay linear, or the suite would stand still here
    text = f'attack_up_deg,session,"{cell} [deg]"\n-3,v1,x\n"{cell}","{cell}",x\n-4,v2,"{cell}"\n-5,v1,y\n'
    start = time.process_time()
    shots = cl.clean_shots(cl.read_shots(put("a.csv", f'"{cell}"\n' + text)))
    assert shots.counts["raw"] == 4 and shots.table["attack_up_deg"].dropna().tolist() == [-3, -4, -5]
    try:
        propose_map(put("b.csv", text))
    except cl.CoachlabError as err:
        assert err.do
    assert time.process_time() - start < 20  # a quadratic pattern takes minutes; this takes a tenth of a second


def test_a_cell_longer_than_any_is_refused_with_its_line_and_loses_nothing(put):
    text = 'attack_up_deg,note\n-3,a\n"' + "x" * 200_000 + '"\n-4,b\n-5,c "d" e\n'
    refused(put("a.csv", text), "a.csv", "Line 3")


FUZZ = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
CELLS = st.one_of(
    st.sampled_from(["", "-3.5", "4", "1e308", "inf", "=1+1", "\x00", "\x1b", "9999-12-31", "Total", "deg", '"', "'", "\u202e", "－３", "12.3 R", "attack_up_deg"]),
    st.text(max_size=6),
    st.floats().map(str),
)  # fmt: skip
HEADINGS = [
    "attack_up_deg",
    "path_out_deg",
    "side_out_m",
    "struck_at",
    "session",
    "student",
    "club",
    "shot",
    "hand",
    "note",
]


def holds(path):
    try:
        assert cl.propose_map(path, settings=SMALL)
    except cl.CoachlabError as err:
        assert err.asked and err.found and err.do
    try:
        shots = cl.clean_shots(cl.read_shots(path, settings=SMALL))
    except cl.CoachlabError as err:
        assert err.asked and err.found and err.do
        return
    n = shots.counts
    assert n.raw == n.shots + n.rejects and n.shots == n.analysed + n.set_aside
    places = ["source", "source_row"]
    both = pd.concat([shots.table[places], shots.rejects[places]]).astype("str")
    assert sorted(map(tuple, both.to_numpy())) == sorted(map(tuple, shots.raw[places].astype("str").to_numpy()))
    for told in (cl.audit_shots(shots), cl.cleaning_report(shots)):
        assert told.text() and told._repr_html_() and isinstance(told.table, pd.DataFrame)


@FUZZ
@given(
    rows=st.lists(st.lists(CELLS, max_size=12), max_size=10),
    separator=st.sampled_from(",;\t|:^ "),
    encoding=st.sampled_from(["utf-8", "utf-16", "utf-8-sig", "utf-32"]),
    packed=st.sampled_from(["", "zip", "gz"]),
)
def test_any_text_file_is_accounted_for_or_refused(tmp_path, rows, separator, encoding, packed):
    text = "\n".join(separator.join(row) for row in [HEADINGS, *rows])
    data = text.encode(encoding, "surrogatepass")
    data = zipped({"a.csv": data}) if packed == "zip" else gzip.compress(data) if packed else data
    (tmp_path / "own.csv").write_bytes(data)
    holds(tmp_path / "own.csv")


PLAIN_CELLS = st.one_of(st.none(), st.integers(-(2**53), 2**53), st.floats(allow_nan=False, allow_infinity=False), st.booleans(), st.datetimes(), st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"], exclude_characters="\ufffe\uffff"), max_size=8))  # fmt: skip


@FUZZ
@given(rows=st.lists(st.lists(PLAIN_CELLS, max_size=10), max_size=8), cut=st.integers(0, 400), at=st.integers(0, 5000))
def test_any_workbook_whole_or_broken_is_accounted_for_or_refused(tmp_path, rows, cut, at):
    book = openpyxl.Workbook()
    for row in [HEADINGS, *rows]:
        book.active.append([f" {v}" if isinstance(v, str) and v.startswith("=") else v for v in row])
    stream = io.BytesIO()
    book.save(stream)
    data = bytearray(stream.getvalue())
    (tmp_path / "a.xlsx").write_bytes(data)
    holds(tmp_path / "a.xlsx")
    data[at % len(data)] ^= 0x55
    (tmp_path / "a.xlsx").write_bytes(bytes(data[: len(data) - cut]))
    holds(tmp_path / "a.xlsx")


@FUZZ
@given(content=st.binary(max_size=300), seed=st.integers(0, 2**32 - 1))
def test_any_bytes_in_a_parquet_file_or_a_zip_are_refused_or_read(tmp_path, content, seed):
    stream = io.BytesIO()
    pd.DataFrame({"attack_up_deg": [-3.0, 2.0], "note": ["a", "b"]}).to_parquet(stream)
    data = bytearray(stream.getvalue())
    for place in np.random.default_rng(seed).integers(4, len(data) - 8, 3):
        data[place] ^= 0xFF
    for name, bytes_ in (("a.parquet", bytes(data)), ("a.zip", zipped({"a.csv": OWN})[:60] + content)):
        (tmp_path / name).write_bytes(bytes_)
        holds(tmp_path / name)


@pytest.mark.parametrize("text", [b"a\x9e", b"\xff\xff"])
def test_a_parquet_file_whose_texts_are_no_utf_8_is_refused(tmp_path, text):
    stream = io.BytesIO()
    table = pa.table({"attack_up_deg": [-3.0, 2.0], "note": pa.array([b"aa", b"bb"])})
    pq.write_table(table.set_column(1, "note", table["note"].combine_chunks().view(pa.string())), stream)
    (tmp_path / "a.parquet").write_bytes(stream.getvalue().replace(b"aa", text))
    with pytest.raises(cl.DataError, match="cannot be read"):
        cl.read_shots(tmp_path / "a.parquet")


def test_a_damaged_parquet_file_is_refused_where_a_map_is_asked_for(tmp_path):
    stream = io.BytesIO()
    pd.DataFrame({"attack_up_deg": [-3.0, 2.0]}).to_parquet(stream)
    (tmp_path / "a.parquet").write_bytes(stream.getvalue()[:-40] + b"PAR1")
    with pytest.raises(cl.DataError, match="opened as Parquet"):
        cl.propose_map(tmp_path / "a.parquet")


def test_the_memory_stays_bounded_whatever_a_small_file_claims(tmp_path):
    with (
        zipfile.ZipFile(tmp_path / "a.zip", "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("a.csv", "w") as member,
    ):
        member.write(b"attack_up_deg\n")
        for _ in range(40):
            member.write(b"0\n" * 4_000_000)
    far = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
    (tmp_path / "b.xlsx").write_bytes(workbook(lambda xml: xml.replace(b"</sheetData>", far)))
    code = (
        "import re, sys, coachlab as cl\n"
        "for name in sys.argv[1:]:\n"
        "    try:\n        cl.read_shots(name)\n        print('read')\n"
        "    except cl.CoachlabError as err:\n        print('refused')\n"
        "print(int(re.search(r'VmHWM:\\s*(\\d+)', open('/proc/self/status').read())[1]) // 1024)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "a.zip"), str(tmp_path / "b.xlsx")],
        capture_output=True, text=True, timeout=120, check=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (6 << 30, 6 << 30)),
    )  # fmt: skip
    first, second, peak_mb = done.stdout.split()
    assert (first, second) == ("refused", "refused")
    # 320 MB of zeros in a file of .3 MB: refused after 200 times the file, of which one copy may stand in memory
    assert int(peak_mb) < 450
