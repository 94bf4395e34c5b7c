"""What no device writes and a file can hold all the same: each was found by a search, and broke something once."""

import io
import zipfile

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

import coachlab as cl
from coachlab.intake.clock import find_offset
from coachlab.intake.decide import read_decisions
from coachlab.intake.findings import LARGEST, counted
from coachlab.intake.journal import read_log
from coachlab.intake.ledger import open_ledger
from coachlab.intake.signs import find_turned
from coachlab.intake.written import read_ledger
from coachlab.settings import read_cues, read_settings

PLAYED = "attack_up_deg,path_out_deg,session,shot,struck_at\n"
LOG = "session,first_shot,last_shot,phase,cue\n"


def lesson(rows=8):
    lines = [f"{-3 + n % 3},{n % 5},v1,{n + 1},2026-11-03 10:{n:02d}:00\n" for n in range(rows)]
    return PLAYED + "".join(lines)


def refused(ask, *parts):
    with pytest.raises(cl.CoachlabError) as caught:
        ask()
    error = caught.value
    assert error.asked and error.found and error.do
    assert all(part in str(error) for part in parts), str(error)


def parquet(**columns):
    stream = io.BytesIO()
    pq.write_table(pa.table({"attack_up_deg": [-3.0, 2.0], **columns}), stream)
    return stream.getvalue()


def test_a_reading_that_no_sum_of_squares_holds_counts_in_no_audit(put):
    turned = np.random.default_rng(1).normal(0, 4, 120)
    rows = [f"{a:.2f},{a:.2f},{a:.2f},{-a:.2f},v1,s1\n" for a in turned]
    rows[7] = "1,1,1e160,1e308,v1,s1\n"
    head = "launch_out_deg,face_open_deg,spin_tilt_deg,side_out_m,session,student\n"
    shots = cl.clean_shots(cl.read_shots(put("a.csv", head + "".join(rows))))
    assert shots.analysed["side_out_m"].max() == 1e308
    assert counted(shots)["side_out_m"].abs().max() < LARGEST
    assert counted(shots)["side_out_m"].isna().sum() == 1
    without = cl.clean_shots(cl.read_shots(put("b.csv", head + "".join(rows[:7] + rows[8:]))))
    assert cl.audit_shots(shots).looked == cl.audit_shots(without).looked
    names = head.split(",")[:4]
    for one in (shots, without):
        table = counted(one)
        turned = find_turned({name: table[name].to_numpy() for name in names}, np.zeros(len(table), int))
        assert turned.columns == pytest.approx({"side_out_m": 0.125})  # or all the other three: sides alone do not tell


@pytest.mark.parametrize("number", ["9.223372036854776e+18", "9007199254740993", "-9e15"])
def test_a_shot_number_that_no_counter_reaches_makes_no_gap(put, number):
    text = lesson().replace(",v1,4,", f",v1,{number},") + "1,2,v1,,\n"
    shots = cl.clean_shots(cl.read_shots(put("a.csv", text)))
    gaps = cl.cleaning_report(shots).tables["gaps"]
    assert gaps[["first", "last", "missing"]].to_numpy().tolist() == [[1, 8, 1]]
    joined = cl.join_log(shots, put("log.csv", LOG + "v1,1,8,plain,plain\n"))
    assert joined.table["shots_missing"].dropna().unique().tolist() == [1]
    assert joined.table["shot"].isna().sum() == 2


def test_a_log_without_one_shot_of_a_table_has_no_gaps():
    table = pd.DataFrame({"attack_up_deg": np.array([], float), "session": [], "shot": np.array([], float)})
    assert not len(cl.cleaning_report(cl.clean_shots(table)).tables["gaps"])


@pytest.mark.parametrize("number", ["1e300", "9223372036854775808", "10000000"])
def test_a_log_that_names_a_shot_no_counter_reaches_is_refused(put, number):
    refused(lambda: read_log(put("log.csv", LOG + f"v1,1,{number},plain,plain\n")), "last_shot", "no shot number")


def test_a_day_that_no_calendar_has_is_missing(put):
    far = pa.array([-800_000, 3_000_000], pa.int32()).cast(pa.date32())
    late = pa.array([2**62, 0], pa.int64()).cast(pa.timestamp("us"))
    shots = cl.read_shots(put("a.parquet", parquet(session_day=far, struck_at=late)))
    assert shots.table["session_day"].isna().all()
    assert shots.table["struck_at"].isna().tolist() == [True, False]
    assert cl.propose_map(put("b.parquet", parquet(session_day=far))).text()


def test_a_time_zone_in_a_strange_place_costs_its_own_cell_alone(put):
    times = ["2026-01-01 10:00:05", "2026-01-01 10+02", "20260101T10+03", "2026-01-01 10:00:05-01 10:0"]
    text = "attack_up_deg,struck_at\n" + "".join(f"-{n},{at}\n" for n, at in enumerate(times, 1))
    shots = cl.read_shots(put("a.csv", text))
    assert shots.table["struck_at"].notna().tolist() == [True, False, False, False]
    assert shots.flags["rule"].tolist() == ["no time"] * 3
    assert cl.propose_map(put("b.csv", text)).text()


def test_a_zip_whose_packing_is_damaged_is_refused(put):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_LZMA) as archive:
        archive.writestr("a.csv", lesson(60))
    data = bytearray(stream.getvalue())
    data[60:90] = bytes(255 - byte for byte in data[60:90])
    refused(lambda: cl.read_shots(put("a.zip", bytes(data))), "cannot be read")


@pytest.mark.parametrize("name", ["a.zip", "a.xlsx"])
def test_a_zip_that_holds_a_member_of_no_name_at_all_is_refused(put, name):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("xl/workbook.xml" if name == "a.xlsx" else "b.csv", lesson())
        archive.writestr(zipfile.ZipInfo(""), "x")
    refused(lambda: cl.read_shots(put(name, stream.getvalue())), "cannot be read")


def test_a_member_of_a_zip_whose_name_is_blank_is_read(put):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("\u2003", lesson())
        archive.writestr("a.csv", PLAYED + "4,4,v2,1,\n")
    assert set(cl.read_shots(put("a.zip", stream.getvalue())).table["source"]) == {"a.zip/no name", "a.zip/a.csv"}


@pytest.mark.parametrize(
    ("line", "part"),
    [
        ("club_names.x = [1, 2]", "is no club"),
        ("club_names.x = {a = 1}", "is no club"),
        (f"hand = 1{'0' * 5000}", "not valid TOML"),
    ],
)
def test_a_map_that_holds_what_no_map_can_is_refused(put, line, part):
    whole = f'{line}\n[column.attack_up_deg]\nheading = "Attack"\nunit = "deg"\n'
    refused(lambda: cl.ColumnMap.from_toml(put("a.toml", whole)), part)


def test_a_log_by_time_is_no_log_by_number(put):
    shots = cl.clean_shots(cl.read_shots(put("a.csv", lesson())))
    log = put("log.csv", "session,starts_at,phase,cue\nv1,2026-11-03 10:00,plain,plain\n")
    refused(lambda: read_ledger(log, open_ledger(shots, "v1")), "by time")


def test_a_log_in_another_encoding_opens_as_it_is_read(put):
    shots = cl.clean_shots(cl.read_shots(put("a.csv", lesson())))
    log = put("log.csv", (LOG.replace("cue\n", "cue,bay\n") + "v1,1,8,plain,plain,Süd\n").encode("cp1252"))
    assert [block.last_shot for block in read_ledger(log, open_ledger(shots, "v1")).blocks] == [8]


def test_the_clock_is_not_asked_of_shots_without_times(put):
    shots = cl.clean_shots(cl.read_shots(put("a.csv", "attack_up_deg\n-3\n")))
    log = put("log.csv", "session,starts_at,phase,cue\nv1,2026-11-03 10:00,plain,plain\n")
    refused(lambda: find_offset(shots, log), "no times")
    refused(lambda: cl.join_log(shots, log), "no times")


def test_a_log_takes_times_with_a_zone_and_days_as_numbers():
    log = pd.DataFrame({"session": ["v1"], "phase": "plain", "cue": "plain"})
    at = pd.to_datetime(["2026-11-03 10:00"]).tz_localize("Asia/Tokyo")
    assert read_log(log.assign(starts_at=at))["starts_at"].tolist() == [pd.Timestamp("2026-11-03 10:00")]
    numbered = log.assign(first_shot=1, last_shot=2)
    for day in (at, [46329.0]):
        assert read_log(numbered.assign(session_day=day))["session_day"].tolist() == [pd.Timestamp("2026-11-03")]


def test_a_log_in_which_a_column_stands_twice_is_refused():
    log = pd.DataFrame([["v1", 1, 2, "plain", "plain"]], columns=LOG.strip().split(","))
    refused(lambda: read_log(pd.concat([log, log[["cue"]]], axis=1)), "Twice: cue")
    levels = log.set_axis(pd.MultiIndex.from_product([log.columns, [1]]), axis=1)
    refused(lambda: read_log(levels), "several levels")


@pytest.mark.parametrize(
    ("change", "part"),
    [
        ({"source_row": np.nan}, "is no row of a file"),
        ({"source_row": np.inf}, "is no row of a file"),
        ({"source_row": 2**70}, "is no row of a file"),
        ({"decision": "perhaps"}, "is neither"),
        ({"reason": None}, "is blank"),
    ],
)
def test_decisions_in_a_table_are_looked_at_as_those_in_a_file(put, change, part):
    shots = cl.clean_shots(cl.read_shots(put("a.csv", lesson())))
    table = pd.DataFrame([{"source": "a.csv", "source_row": 2, "decision": "set aside", "reason": "rain"}])
    assert cl.apply_decisions(shots, table).counts.set_aside == 1
    refused(lambda: cl.apply_decisions(shots, table.assign(**change)), part)
    refused(lambda: cl.apply_decisions(shots, table.drop(columns=list(change))), "No column")
    assert read_decisions(put("d.csv", "source,source_row,decision,reason\na.csv,2.0,use,x\n"))["source_row"][0] == 2


@pytest.mark.parametrize(
    ("head", "one", "other"), [("surface", "mat", ""), ("indoors", "yes", "no"), ("surface", "mat", "grass")]
)
def test_a_log_may_say_another_thing_in_each_block_though_some_shots_stand_in_none(put, head, one, other):
    shots = cl.clean_shots(cl.read_shots(put("a.csv", lesson())))
    text = LOG.replace("cue\n", f"cue,{head}\n") + f"v1,1,3,plain,plain,{one}\nv1,4,6,cue,S1,{other}\n"
    joined = cl.join_log(shots, put("log.csv", text)).table[head]
    said = {"yes": True, "no": False}
    assert joined.iloc[0] == said.get(one, one) and joined.iloc[7] == said.get(one, one)
    assert joined.isna()[3] if other == "" else joined.iloc[3] == said.get(other, other)


def test_readings_without_end_or_all_but_none_are_remarks_and_break_no_rule():
    rows = np.random.default_rng(2).normal(0, 1, (40, 4))
    table = pd.DataFrame(rows, columns=["attack_up_deg", "path_out_deg", "face_open_deg", "arc_incline_deg"])
    table = table.assign(arc_incline_deg=60.0, club_speed_mps=38.0, ball_speed_mps=52.0, club="iron-7", session="v1")
    table = table.assign(launch_up_deg=17.0, launch_out_deg=1.0, spin_rpm=6000.0, spin_tilt_deg=2.0, strike_high_mm=1.0)
    odd = {"spin_tilt_deg": 1e308, "arc_incline_deg": 5e-324, "club_speed_mps": 5e-324, "strike_high_mm": 1e308}
    for place, (name, value) in enumerate(odd.items()):
        table.loc[place, name] = value
    table.loc[5, ["face_open_deg", "path_out_deg"]] = 1e308, -1e308
    table.loc[6, ["face_open_deg", "path_out_deg"]] = np.inf
    shots = cl.clean_shots(table)
    assert shots.counts.shots == 40 and shots.table["read_ok"].tolist()[:8] == [
        True,
        True,
        False,
        True,
        True,
        False,
        False,
        True,
    ]
    assert cl.cleaning_report(shots).text()


def test_a_head_that_all_but_stood_leaves_the_remarks_on_other_shots_as_they_are():
    table = pd.DataFrame(
        {"club": "driver", "club_speed_mps": [45.0, 45.0, 5e-324], "ball_speed_mps": [66.0, 52.0, 60.0]}
    )
    table = table.assign(attack_up_deg=1.0, path_out_deg=1.0, face_open_deg=1.0, delivered_loft_deg=14.0)
    table = table.assign(launch_up_deg=12.0, launch_out_deg=1.0, spin_rpm=2600.0, spin_tilt_deg=0.0)
    shots = cl.clean_shots(table)
    assert shots.flags.loc[shots.flags["rule"] == "ball too slow", "source_row"].tolist() == [2]
    assert shots.table["read_ok"].tolist() == [True, True, False]


@pytest.mark.parametrize("number", ["9.223372036854776e+18", "1e200"])
def test_a_shot_number_that_no_counter_reaches_is_a_remark(put, number):
    shots = cl.read_shots(put("a.csv", f"attack_up_deg,shot\n-3,1\n-2,{number}\n"))
    assert shots.table["shot"].isna().tolist() == [False, True]
    assert shots.flags["rule"].tolist() == ["no number"]


def test_a_reading_beyond_every_device_does_not_keep_files_apart(put):
    for name in ("a.csv", "b.csv"):
        put(name, "attack_up_deg,path_out_deg,carry_m\n-3,4,1e308\n-2,1,120\n")
    assert (
        len(cl.bring_shots([put("a.csv", "attack_up_deg,carry_m\n-3,1e308\n"), put("b.csv", "carry_m\n-1e308\n")])) == 2
    )


def test_a_table_of_any_make_is_cleaned():
    table = pd.DataFrame({"attack_up_deg": pd.Series([-3, None, 2], dtype="Int64"), "excluded": [None, True, False]})
    shots = cl.clean_shots(table)
    assert shots.counts.tolist() == [3, 1, 2, 2, 0]
    with pytest.raises(cl.DataError, match="Twice: attack_up_deg"):
        cl.clean_shots(pd.concat([table, table[["attack_up_deg"]]], axis=1))
    assert cl.cleaning_report(shots).text()
    assert np.isnan(shots.raw["attack_up_deg"][1])


@pytest.mark.parametrize(
    "line",
    ["smallest_useful = 3", 'smallest_useful = ["a"]', f"note = 1{'0' * 5000}", f"largest_cells = 0x{'f' * 5000}"],
)
def test_settings_that_are_none_are_refused(put, line):
    with pytest.raises(cl.DataError):
        read_settings(put("academy.toml", line + "\n"))


@pytest.mark.parametrize(
    "line",
    ["moves = 3", "clubs = [1]", "exclusions = [{a = 1}]", "clubs = [[1]]", "moves = 2026-01-01", 'clubs = "driver"'],
)
def test_cards_whose_lists_are_none_are_refused(put, line):
    with pytest.raises(cl.DataError):
        read_cues(put("cues.toml", f'[S1]\nfamily = "setup"\ncard_text = "x"\n{line}\n'))
