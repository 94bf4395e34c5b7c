"""Whatever stands in a file: every line is accounted for, and nothing but our own error is raised."""

import numpy as np
import pandas as pd
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

import coachlab as cl
from coachlab.intake.audit import check_file
from coachlab.intake.cells import Cells, read_numbers
from coachlab.intake.pages import cells_of

MAP = """
[club_names]
"7 I" = "iron-7"
[column.student]
heading = "Name"
[column.session]
heading = "Visit"
[column.shot]
heading = "No"
[column.struck_at]
heading = "When"
[column.club]
heading = "Club"
[column.hand]
heading = "Hand"
[column.attack_up_deg]
heading = "Attack"
unit = "deg"
[column.side_out_m]
heading = "Side"
positive = "right"
unit = "yd"
"""
HEADINGS = ["Name", "Visit", "No", "When", "Club", "Hand", "Attack", "Side"]
CELLS = st.sampled_from(
    ["", " ", "-3.5", "4", "−2", "12.3 R", "L 3", "abc", "n/a", "1,234", "1.234,5", "deg", "yd", "Attack", "Side", "Total", "Average",
     "Max", "Robin", "7 I", "R", "L", "2026-11-03", "14:05", "1e999", "nan", "inf", '"', "'", "\t", "#", "=1+1", "ﬀ", "🏌", "\u200b", "0x1F"]
)  # fmt: skip
LINES = st.lists(st.lists(CELLS, min_size=0, max_size=10), max_size=8)
SLOW = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def holds(shots):
    n = shots.counts
    assert n.raw == n.shots + n.rejects
    assert n.shots == n.analysed + n.set_aside
    assert sorted([*shots.table["source_row"], *shots.rejects["source_row"]]) == sorted(shots.raw["source_row"])
    assert shots.flags["source_row"].isin(shots.table["source_row"]).all()
    assert "Robin" not in shots.raw.get("Name", pd.Series(dtype="str")).tolist()


@SLOW
@given(lines=LINES, separator=st.sampled_from([",", ";", "\t", "|"]), ends=st.sampled_from(["\n", "\r\n"]))
@example(lines=[["Robin", "v1", "1", "", "7 I", "R", '"', "4"], []], separator=",", ends="\n")
def test_odd_cells_in_an_export(tmp_path, lines, separator, ends):
    (tmp_path / "m.toml").write_text(MAP)
    text = ends.join(
        separator.join(line) for line in [HEADINGS, ["Robin", "v1", "1", "", "7 I", "R", "-3", "4"], *lines]
    )
    (tmp_path / "bay.csv").write_bytes(text.encode())
    try:
        shots = cl.clean_shots(cl.read_shots(tmp_path / "bay.csv", cl.ColumnMap.from_toml(tmp_path / "m.toml")))
    except cl.CoachlabError:
        return
    holds(shots)


@SLOW
@given(content=st.binary(max_size=200))
def test_odd_bytes_in_a_file(tmp_path, content):
    for prefix in (b"", b"attack_up_deg,path_out_deg\n-3,4\n", b"PK\x03\x04", b"PAR1", b"\xff\xfe"):
        (tmp_path / "own.csv").write_bytes(prefix + content)
        try:
            holds(cl.read_shots(tmp_path / "own.csv"))
        except cl.CoachlabError as err:
            assert err.asked and err.found and err.do
        assert isinstance(check_file(tmp_path / "own.csv").text(), str)


@SLOW
@given(text=st.text(max_size=200))
def test_odd_text_in_a_map(tmp_path, text):
    for prefix in ("", '[column.carry_m]\nheading = "X"\nunit = "m"\n', "column = {carry_m = "):
        (tmp_path / "m.toml").write_bytes((prefix + text).encode("utf-8", "surrogatepass"))
        try:
            cl.ColumnMap.from_toml(tmp_path / "m.toml")
        except cl.MapError as err:
            assert err.asked and err.found and err.do


@settings(max_examples=200, deadline=None)
@given(
    number=st.floats(-9999, 9999).map(lambda value: round(value, 2)),
    mark=st.sampled_from([".", ","]),
    grouped=st.booleans(),
)
def test_a_number_is_read_back_however_it_is_written(number, mark, grouped):
    text = f"{number:,.2f}" if grouped else f"{number:.2f}"
    if mark == ",":
        text = text.translate(str.maketrans(".,", ",."))
    read = read_numbers(cells_of([text, text.replace("-", "−"), f" {text} "]), "carry_m", mark)
    assert np.allclose(read.value, number)
    assert not read.odd.any()


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=20))
def test_any_text_is_a_number_or_is_none(text):
    read = read_numbers(cells_of([text]), "side_out_m", ".", "right")
    assert isinstance(cells_of([text]), Cells)
    assert np.isnan(read.value[0]) == bool(read.odd[0] or read.blank[0])
