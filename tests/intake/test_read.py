import zipfile

import numpy as np
import openpyxl
import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake import body
from coachlab.privacy import process_key, pseudonym
from coachlab.schema import LATERAL
from coachlab.units import MPH_MPS, YARD_M

HEAD = "Head speed,Attack,Path\n"
MAP = (
    "".join(
        f'[column.{column}]\nheading = "{heading}"\nunit = "{unit}"\n'
        for column, heading, unit in [
            ("club_speed_mps", "Head speed", "mph"),
            ("attack_up_deg", "Attack", "deg"),
            ("path_out_deg", "Path", "deg"),
        ]
    )
    + 'positive = "right"\n'
)
ONE = '[column.{0}]\nheading = "{1}"\n'


def only(column, heading="X", **more):
    lines = [f'{key} = "{value}"' for key, value in more.items()]
    return f'[column.{column}]\nheading = "{heading}"\n' + "\n".join(lines) + "\n"


def account(shots):
    n = shots.counts
    assert n.raw == n.shots + n.rejects
    assert n.shots == n.analysed + n.set_aside
    lines = [*shots.table["source_row"], *shots.rejects["source_row"]]
    assert sorted(lines) == sorted(shots.raw["source_row"])
    return n.raw, n.shots, n.rejects


def test_a_file_becomes_shots_in_our_own_units(read):
    shots = read(HEAD + "90,-3.5,4\n")
    row = shots.table.iloc[0]
    assert row["club_speed_mps"] == pytest.approx(90 * MPH_MPS)
    assert (row["attack_up_deg"], row["path_out_deg"]) == (-3.5, 4)
    assert (row["source"], row["source_row"], row["hand"]) == ("bay.csv", 2, "R")
    assert bool(row["read_ok"]) and not row["excluded"]
    assert account(shots) == (1, 1, 0)


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_separator_and_encoding_are_found_out(read, separator, encoding):
    text = "Übung am Morgen\n" + HEAD.replace(",", separator) + separator.join(["90", "-3.5", "4"]) + "\n"
    shots = read(text, encoding=encoding)
    assert shots.table["path_out_deg"].tolist() == [4]
    assert shots.table["source_row"].tolist() == [3]


@pytest.mark.parametrize("ends", ["\r\n", "\r", "\n"])
def test_every_kind_of_line_end_is_one(read, ends):
    shots = read((HEAD + "90,-3.5,4\n\n91,-3,5\n").replace("\n", ends))
    assert shots.table["source_row"].tolist() == [2, 4]


def test_what_is_no_shot_is_a_reject_with_its_rule(read):
    shots = read(
        "Bay 3\nprinted at noon\n\nWho,Head speed,Attack,Path\n,[mph],[deg],[deg]\nx,90,-3.5,4\n\nx,,,\n ,no read,-,\n,,,\n"
        "Who,Head speed,Attack,Path\nx,92,-3,4\nAverage,91,-3,4\nMax,92,-3,4\n",
    )
    assert dict(zip(shots.rejects["source_row"], shots.rejects["rule"], strict=True)) == {
        5: "units row",
        8: "no reading",
        9: "no reading",
        11: "repeated heading",
        13: "total",
        14: "total",
    }
    assert shots.table["source_row"].tolist() == [6, 12]
    assert account(shots) == (8, 2, 6)


def test_raw_is_the_file_as_it_stands(read):
    shots = read("Note,Head speed,Attack,Path\n average ,90.0,−3.50,\nsoft,91,-3,abc\nsoft,91,-3,4\n")
    assert shots.raw["Attack"].tolist() == ["−3.50", "-3", "-3"]
    assert shots.raw["Note"].tolist() == [" average ", "soft", "soft"]
    assert shots.raw["Path"].tolist() == ["", "abc", "4"]


def test_a_word_of_praise_is_no_total(read):
    shots = read("Head speed,Attack,Path,Strike\n90,-3.5,4,average\n91,-3,4,total\n")
    assert account(shots) == (2, 2, 0)


def test_a_person_called_max_is_no_total(read):
    columns = only("student", "Who") + only("shot", "No") + only("attack_up_deg", "Attack", unit="deg")
    shots = read("Who,No,Attack\nMax,1,-3\nMax,2,-4\nAverage,,-3.5\nMax,,-3\n", columns)
    assert shots.rejects["source_row"].tolist() == [4, 5]


def test_a_reject_keeps_session_and_shot_where_the_line_says_them(read):
    columns = only("session", "Visit") + only("shot", "No.") + only("attack_up_deg", "Attack", unit="deg")
    shots = read("Visit,No.,Attack\nv1,1,-3\nv1,2,\nTotal,,-3\n", columns)
    lost = shots.rejects.set_index("source_row")
    assert lost.loc[3, ["session", "shot", "rule"]].tolist() == ["v1", 2, "no reading"]
    assert lost.loc[4, ["session", "shot"]].isna().all()


def test_a_mapped_shot_keeps_the_files_own_number(read):
    columns = only("shot", "No.") + only("attack_up_deg", "Attack", unit="deg")
    shots = read("No.,Attack\n17,-3\n12,-4\n", columns)
    assert shots.table["shot"].tolist() == [17, 12]
    assert shots.table["shot"].dtype == np.int64


def test_a_cell_that_is_no_number_is_missing_and_flagged(read):
    shots = read(HEAD + "90,-3.5,4\n91,oops,5\n92,n/a,5\n93,-2,4\n94,-2.2,4\n")
    assert shots.table["attack_up_deg"].isna().tolist() == [False, True, True, False, False]
    assert shots.flags[["source_row", "column", "rule", "value"]].to_numpy().tolist() == [
        [3, "attack_up_deg", "no number", "oops"],
        [4, "attack_up_deg", "no number", "n/a"],
    ]
    assert account(shots) == (5, 5, 0)


def test_a_flag_names_the_shot(read):
    columns = only("shot", "No.") + only("attack_up_deg", "Attack", unit="deg") + only("carry_m", "Carry", unit="m")
    shots = read("No.,Attack,Carry\n7,x,100\n8,-3,101\n9,-3,102\n", columns)
    assert shots.flags["shot"].tolist() == [7]


def test_a_column_that_only_says_there_is_no_value_is_no_wrong_map(read):
    shots = read(HEAD + "90,-,4\n91,-,5\n92,-3,5\n")
    assert len(shots.flags) == 0
    assert any("attack_up_deg says that there is no value in 2 of 3" in note for note in shots.notes)


def test_a_column_of_text_where_numbers_are_due_is_wrongly_mapped(refused):
    error = refused(HEAD + "90,soft,4\n91,hard,5\n92,-3,5\n", kind=cl.MapError)
    assert "bay.csv" in error.asked and "'Attack'" in error.asked
    assert "Row 2" in error.found and "2 of 3" in error.found
    assert error.facts["column"] == "attack_up_deg"


def test_a_file_of_one_measure_that_is_text_is_refused(refused):
    assert "no number" in refused("X\nsoft\nhard\n", only("carry_m", unit="m"), kind=cl.MapError).found


def test_lines_without_reading_do_not_make_a_column_look_wrong(read):
    shots = read(HEAD + "90,-3,4\nno read,no read,no read\nno read,no read,no read\nno read,no read,no read\n")
    assert account(shots) == (4, 1, 3)


# units


def test_a_unit_in_the_cell_goes_before_the_maps_before_the_units_row_before_the_brackets(read):
    text = "Speed [km/h],No\nm/s,\n10,1\n10 mph,2\n"
    column = ONE.format("club_speed_mps", "Speed")
    mapped = read(text, column + 'unit = "kmh"\n')
    assert mapped.table["club_speed_mps"].tolist() == pytest.approx([10 / 3.6, 10 * MPH_MPS])
    assert any("the map's kmh was used" in note for note in mapped.notes)
    assert read(text, column).table["club_speed_mps"].tolist() == pytest.approx([10, 10 * MPH_MPS])
    bracket = read(text.replace("m/s,\n", ""), column)
    assert bracket.table["club_speed_mps"].tolist() == pytest.approx([10 / 3.6, 10 * MPH_MPS])


def test_a_unit_in_the_heading_that_is_not_the_maps_is_told(read):
    shots = read("Head speed [km/h],Attack,Path\n90,-3,4\n")
    assert any("'Head speed [km/h]' gives kmh; the map's mph was used" in note for note in shots.notes)


def test_no_unit_anywhere_is_an_error(refused):
    error = refused("Carry,No\n150,1\n", only("carry_m", "Carry"), kind=cl.MapError)
    assert "No unit" in error.found and "yd" in error.do
    assert error.facts["column"] == "carry_m"


def test_units_in_every_cell_are_enough(read):
    shots = read("Carry\n150 yd\n140m\n", only("carry_m", "Carry"))
    assert shots.table["carry_m"].tolist() == pytest.approx([150 * YARD_M, 140])


def test_a_unit_of_the_wrong_kind_in_the_file_is_an_error(refused):
    assert "wrong kind" in refused("Carry [mph]\n150\n", only("carry_m", "Carry"), kind=cl.MapError).found


def test_a_unit_of_the_wrong_kind_in_a_cell_is_no_number(read):
    shots = read(
        "Carry,Peak\n150 yd,20\n140 mph,20\n130 yd,20\n", only("carry_m", "Carry") + only("peak_m", "Peak", unit="m")
    )
    assert shots.flags["value"].tolist() == ["140 mph"]


def test_a_second_units_row_holds_for_the_lines_below_it(read):
    shots = read("Carry\nyd\n100\nCarry\nm\n100\n", only("carry_m", "Carry"))
    assert shots.table["carry_m"].tolist() == pytest.approx([100 * YARD_M, 100])


@pytest.mark.parametrize(
    ("column", "unit", "factor"),
    [
        ("club_speed_mps", "mph", MPH_MPS),
        ("club_speed_mps", "kmh", 1 / 3.6),
        ("club_speed_mps", "mps", 1),
        ("carry_m", "yd", YARD_M),
        ("carry_m", "ft", 0.3048),
        ("strike_toe_mm", "in", 25.4),
        ("strike_toe_mm", "cm", 10),
        ("strike_toe_mm", "mm", 1),
        ("spin_rpm", "rpm", 1),
        ("flight_s", "s", 1),
    ],
)
def test_each_unit_is_converted(read, column, unit, factor):
    shots = read("X\n8\n", only(column, unit=unit))
    assert shots.table[column].tolist() == pytest.approx([8 * factor])


# decimals


@pytest.mark.parametrize(
    ("cell", "number"),
    [
        ("1.234,5", 1234.5),
        ("1 234,5", 1234.5),
        ("2.450", 2450),
        ("−12,5", -12.5),
        ("–12,5", -12.5),
        ("+12,5", 12.5),
        (",5", 0.5),
        ("12,", 12),
    ],
)
def test_decimal_commas_are_settled_by_a_column_that_leaves_no_choice(read, cell, number):
    columns = only("spin_rpm", "Spin", unit="rpm") + only("attack_up_deg", "Attack", unit="deg")
    shots = read(f"Spin;Attack\n{cell};-3,5\n3000;-4,25\n", columns)
    assert shots.table["spin_rpm"].tolist() == [number, 3000]
    assert shots.table["attack_up_deg"].tolist() == [-3.5, -4.25]


def test_a_decimal_point_is_settled_likewise(read):
    columns = only("spin_rpm", "Spin", unit="rpm") + only("attack_up_deg", "Attack", unit="deg")
    shots = read("Spin;Attack\n2,450;-3.5\n", columns)
    assert shots.table["spin_rpm"].tolist() == [2450]


def test_a_map_may_settle_the_decimal_mark(read):
    column = only("spin_rpm", "Spin", unit="rpm")
    assert read("Spin;No\n2.450;1\n", 'decimal = ","\n' + column).table["spin_rpm"].tolist() == [2450]
    assert read("Spin;No\n2.450;1\n", 'decimal = "."\n' + column).table["spin_rpm"].tolist() == [2.45]


def test_a_mark_that_nothing_settles_is_assumed_and_said(read):
    shots = read("Spin;No\n2.450;1\n", only("spin_rpm", "Spin", unit="rpm"))
    assert shots.table["spin_rpm"].tolist() == [2450]
    assert any("decimal mark" in note for note in shots.notes)
    believable = read("Speed;No\n41.203;1\n", only("club_speed_mps", "Speed", unit="mps"))
    assert believable.table["club_speed_mps"].tolist() == [41.203]


def test_a_map_with_the_wrong_decimal_mark_is_refused(refused):
    error = refused("Attack;Path\n-3.5;4\n-3.1;4\n", 'decimal = ","\n' + only("attack_up_deg", "Attack", unit="deg"))
    assert "decimal mark" in error.found and "auto" in error.do


def test_the_odd_cell_with_the_other_mark_is_read_and_flagged(read):
    shots = read("Attack;No\n-3,5;1\n-3,1;2\n-2.9;3\n", only("attack_up_deg", "Attack", unit="deg"))
    assert shots.table["attack_up_deg"].tolist() == [-3.5, -3.1, -2.9]
    assert shots.flags["rule"].tolist() == ["other decimal mark"]


def test_decimal_commas_between_commas_are_told_and_not_guessed(refused):
    error = refused(HEAD + "90,5,-3,5,4,5\n91,5,-3,5,4,5\n")
    assert "more cells" in error.found and "Line 2" in error.found


def test_quoted_cells_hold_separators_line_ends_and_quotes(read):
    shots = read('"Head\nspeed",Attack,Path,Note\n"90,5","-3,5","4,0","said ""soft""\nthen hit"\n91,-3,4,plain\n')
    assert shots.table["club_speed_mps"].tolist() == pytest.approx([90.5 * MPH_MPS, 91 * MPH_MPS])
    assert shots.table["source_row"].tolist() == [3, 5]
    assert shots.raw["Note"].tolist() == ['said "soft"\nthen hit', "plain"]


def test_an_inch_mark_is_no_quote(read):
    shots = read('Strike,Note\n0.5",ok\n-0.25",ok\n', only("strike_toe_mm", "Strike"))
    assert shots.table["strike_toe_mm"].tolist() == pytest.approx([12.7, -6.35])


def test_a_line_with_too_many_cells_is_a_reject_and_a_short_one_is_filled(read):
    shots = read(HEAD + "90,-3,4\n91,-3\n92,-3,4,5\n93,-3,4,,\n94,-2,1\n")
    assert dict(zip(shots.rejects["source_row"], shots.rejects["rule"], strict=True)) == {4: "more cells than headings"}
    assert shots.table["path_out_deg"].tolist()[:1] == [4]
    assert np.isnan(shots.table["path_out_deg"].iloc[1])
    assert account(shots) == (5, 4, 1)


# headings


@pytest.mark.parametrize("heading", ["HEAD SPEED", "  head speed ", "Head speed (mph)", "head  Speed [mph]"])
def test_headings_match_whatever_their_case_blanks_and_unit(read, heading):
    assert read(f"{heading},Attack,Path\n90,-3,4\n").table["club_speed_mps"].notna().all()


def test_brackets_that_hold_no_unit_are_part_of_the_heading(read):
    text = "Speed (club),Speed (ball)\n90,120\n"
    shots = read(text, only("ball_speed_mps", "Speed (ball)", unit="mph"))
    assert shots.table["ball_speed_mps"].tolist() == pytest.approx([120 * MPH_MPS])


def test_the_first_heading_of_a_list_that_is_there_is_taken(read):
    column = '[column.carry_m]\nheading = ["Flight", "Length", "Carry"]\nunit = "m"\n'
    assert read("Carry,Length\n1,2\n", column).table["carry_m"].tolist() == [2]


def test_a_mapped_heading_that_is_missing_shows_what_is_close(refused):
    error = refused("Headspeed,Attack,Path\n90,-3,4\n", kind=cl.MapError)
    assert "'Head speed'" in error.found and "'Headspeed' is close" in error.found
    assert error.facts["column"] == "club_speed_mps"


def test_a_mapped_heading_that_stands_twice_is_refused(refused):
    error = refused("Head speed,Attack,attack [deg],Path,Attack\n90,-3,-3,4,-2\n", kind=cl.MapError)
    assert "stands 2 times" in error.found and "columns 2, 5" in error.found


def test_a_heading_that_stands_twice_but_nobody_asked_for_is_no_matter(read):
    shots = read("Note,Head speed,Attack,Path,Note\na,90,-3,4,b\n")
    assert shots.raw[["Note", "Note (2)"]].to_numpy().tolist() == [["a", "b"]]


def test_a_file_of_another_map_says_what_stands_in_it(refused):
    error = refused("Time,Length\n1,2\n3,4\n", kind=cl.MapError)
    assert "'Time', 'Length'" in error.found


@pytest.mark.parametrize("text", [HEAD, HEAD + "\n\n", HEAD + "mph,deg,deg\n", HEAD + HEAD, HEAD + ",,\n"])
def test_a_header_without_lines_of_shots_is_refused(refused, text):
    assert "Line 1 is the header" in refused(text).found


def test_an_unknown_separator_is_told(refused):
    assert "comma, semicolon, tab or pipe" in refused("Head speed->Attack->Path\n90->-3->4\n", kind=cl.MapError).found


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"", "empty"),
        (b"\n\n  \n", "blank"),
        (b"%PDF-1.7 ...", "document"),
        (b"<!DOCTYPE html><html>", "web page"),
        (b'{"a": 1}', "JSON"),
        (b"PK\x03\x04 broken", "cannot be read"),
        (b"PAR1 broken", "cannot be read"),
    ],
)
def test_a_file_that_is_no_table_is_refused(put, content, found):
    with pytest.raises(cl.DataError, match=found) as caught:
        cl.read_shots(put("odd.csv", content))
    assert "odd.csv" in str(caught.value)


def test_a_file_that_is_not_there_and_a_folder_are_refused(tmp_path):
    with pytest.raises(cl.DataError, match=r"none\.csv"):
        cl.read_shots(tmp_path / "none.csv")
    with pytest.raises(cl.DataError, match="folder"):
        cl.read_shots(tmp_path)


# sides and hands


@pytest.mark.parametrize(
    ("cell", "right_hander"),
    [("12.3 R", 12.3), ("12.3R", 12.3), ("R 12.3", 12.3), ("12.3 L", -12.3), ("left 12.3", -12.3), ("0 L", 0), ("12.3 out", 12.3), ("12.3 ° L", -12.3)],
)  # fmt: skip
def test_a_side_in_the_cell_wins_over_the_map(read, cell, right_hander):
    columns = only("path_out_deg", "Path", unit="deg", positive="left")
    assert read(f"Path,No\n{cell},1\n", columns).table["path_out_deg"].tolist() == [right_hander]


def test_a_side_letter_is_the_worlds_and_the_players_words_are_not(read):
    columns = 'hand = "L"\n' + only("path_out_deg", "Path", unit="deg", positive="out")
    shots = read("Path,No\n12.3 R,1\n12.3 out,2\n12.3,3\n", columns)
    assert shots.table["path_out_deg"].tolist() == [-12.3, 12.3, 12.3]


def test_unit_and_side_may_both_stand_in_a_cell(read):
    shots = read("Side\n10 yd L\nR 10 m\n", only("side_out_m", "Side", positive="right"))
    assert shots.table["side_out_m"].tolist() == pytest.approx([-10 * YARD_M, 10])


def test_a_minus_and_a_side_contradict_each_other(read):
    shots = read(
        "Side,Peak\n-10 L,20\n10 R,20\n9 R,20\n",
        only("side_out_m", "Side", positive="right", unit="m") + only("peak_m", "Peak", unit="m"),
    )
    assert np.isnan(shots.table["side_out_m"].iloc[0])
    assert shots.flags["value"].tolist() == ["-10 L"]


def test_right_and_left_are_mirrored_for_a_left_hander_and_the_players_words_are_not(read):
    text = "Hand,X\nR,3\nL,3\n"
    hand = only("hand", "Hand")
    for word, expected in [("right", [3, -3]), ("left", [-3, 3]), ("out", [3, 3]), ("in", [-3, -3])]:
        shots = read(text, hand + only("path_out_deg", unit="deg", positive=word))
        assert shots.table["path_out_deg"].tolist() == expected
    for word, expected in [("right", [3, -3]), ("open", [3, 3]), ("closed", [-3, -3])]:
        shots = read(text, hand + only("face_open_deg", unit="deg", positive=word))
        assert shots.table["face_open_deg"].tolist() == expected


def test_flipping_the_hand_and_every_sideways_number_changes_nothing(read):
    rng = np.random.default_rng(3)
    measures = ["attack_up_deg", "carry_m", *LATERAL]
    columns = only("hand", "Hand") + "".join(
        only(
            name,
            name.upper(),
            unit="m" if name.endswith("_m") else "deg",
            **({"positive": "left"} if name in LATERAL else {}),
        )
        for name in measures
    )
    numbers = pd.DataFrame(
        rng.normal(0, 5, (20, len(measures))).round(1) + 0.0, columns=[name.upper() for name in measures]
    )
    hands = rng.choice(["R", "L"], 20)
    flipped = numbers.copy()
    flipped[[name.upper() for name in LATERAL]] *= -1
    one = read(numbers.assign(Hand=hands).to_csv(index=False), columns).table
    other = read(flipped.assign(Hand=np.where(hands == "R", "L", "R")).to_csv(index=False), columns).table
    pd.testing.assert_frame_equal(one[measures], other[measures])
    assert (one["hand"] != other["hand"]).all()
    assert one["attack_up_deg"].tolist() == numbers["ATTACK_UP_DEG"].tolist()


def test_exactly_the_lateral_columns_are_mirrored(read):
    assert set(LATERAL) == {
        "path_out_deg", "face_open_deg", "face_to_path_deg", "launch_out_deg", "side_out_m", "spin_tilt_deg", "arc_azimuth_deg",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("word", "hand"), [("R", "R"), ("lh", "L"), ("Left", "L"), ("RH", "R"), ("right", "R"), ("l", "L")]
)
def test_a_hand_may_be_written_in_several_ways(read, word, hand):
    shots = read(f"Hand,Attack\n{word},-3\n", only("hand", "Hand") + only("attack_up_deg", "Attack", unit="deg"))
    assert shots.table["hand"].tolist() == [hand]
    assert shots.notes == ()


def test_the_maps_hand_holds_where_no_cell_says_one(read):
    columns = 'hand = "L"\n' + only("hand", "Hand") + only("attack_up_deg", "Attack", unit="deg")
    assert read("Hand,Attack\nR,-3\n,-3\n", columns).table["hand"].tolist() == ["R", "L"]


def test_no_hand_anywhere_is_assumed_right_and_said(read):
    shots = read(HEAD + "90,-3,4\n")
    assert shots.table["hand"].tolist() == ["R"]
    assert any("right-handed is assumed" in note for note in shots.notes)


def test_other_directions_follow_the_map(read):
    for column, word, sign in [
        ("attack_up_deg", "down", -1),
        ("attack_up_deg", "up", 1),
        ("land_angle_deg", "up", -1),
        ("strike_toe_mm", "heel", -1),
        ("strike_high_mm", "low", -1),
        ("arc_bottom_fwd_mm", "behind", -1),
    ]:
        unit = "deg" if column.endswith("deg") else "mm"
        assert read("X\n3\n", only(column, unit=unit, positive=word)).table[column].tolist() == [3 * sign]


# labels


def test_names_stand_in_no_output(read):
    columns = (
        only("student", "Name")
        + only("coach", "Taught by")
        + only("session", "Visit")
        + only("attack_up_deg", "Attack", unit="deg")
    )
    text = "Name,Taught by,Visit,Attack\nRobin Doe,Kim Roe,v1,-3\nrobin doe,Kim Roe,v1,\nRobin Doe,Kim Roe,v1,soft\nAverage,,,-3\nRobin Doe,Kim Roe,v1,-4\nRobin Doe,Kim Roe,v1,-5\n"
    shots = read(text, columns)
    for part in (shots.table, shots.raw, shots.rejects, shots.flags):
        written = part.to_csv().casefold()
        assert "doe" not in written and "roe" not in written
    assert shots.table["student"].nunique() == shots.table["coach"].nunique() == 1
    assert set(shots.table["student"]) <= set(shots.raw["Name"])
    assert shots.raw["Name"].iloc[0] == shots.raw["Name"].iloc[1]


def test_names_under_a_second_heading_of_the_list_are_hidden_too(read):
    columns = '[column.student]\nheading = ["Name", "Player"]\n' + only("attack_up_deg", "Attack", unit="deg")
    shots = read("Name,Player,Attack\nRobin Doe,Robin Doe,-3\n", columns)
    assert "Doe" not in shots.raw.to_csv()


def test_a_name_for_the_whole_file_is_a_pseudonym_as_in_any_other(read):
    one = read("Attack\n-3\n", 'student = "Robin Doe"\n' + only("attack_up_deg", "Attack", unit="deg"))
    other = read("Name,Attack\nRobin Doe,-3\n", only("student", "Name") + only("attack_up_deg", "Attack", unit="deg"))
    assert one.table["student"].tolist() == other.table["student"].tolist() != ["Robin Doe"]


def test_clubs_are_read_by_the_users_names_and_our_own(read):
    columns = '[club_names]\n"7 I" = "iron-7"\n' + only("club", "Club") + only("attack_up_deg", "Attack", unit="deg")
    shots = read("Club,Attack\n7 i,-3\niron-7,-3\nIron 7,-3\nDriver,2\npitching wedge,-4\nspoon,-3\n", columns)
    assert shots.table["club"].tolist()[:5] == ["iron-7", "iron-7", "iron-7", "driver", "wedge-pw"]
    assert shots.table["club"].isna().tolist() == [False] * 5 + [True]
    assert shots.flags[["column", "rule", "value"]].to_numpy().tolist() == [["club", "unknown club", "spoon"]]


def test_a_map_may_name_what_a_log_would_say(read):
    columns = "".join(only(name, name) for name in ("session", "session_day", "block", "phase", "cue", "coach"))
    columns += only("attack_up_deg", "Attack", unit="deg")
    shots = read("session,session_day,block,phase,cue,coach,Attack\nv1,03.11.2026,b1,Plain,plain,c,-3\n", columns)
    row = shots.table.iloc[0]
    assert row[["session", "block", "phase", "cue"]].tolist() == ["v1", "b1", "plain", "plain"]
    assert row["session_day"] == pd.Timestamp("2026-11-03")
    assert row["coach"].startswith("c-")


def test_what_the_map_says_for_the_file_fills_only_what_the_file_leaves_blank(read):
    columns = (
        'session = "v9"\nclub = "driver"\n' + only("session", "Visit") + only("attack_up_deg", "Attack", unit="deg")
    )
    shots = read("Visit,Attack\nv1,-3\n,-3\n", columns)
    assert shots.table["session"].tolist() == ["v1", "v9"]
    assert shots.table["club"].tolist() == ["driver", "driver"]


@pytest.mark.parametrize(
    ("cells", "times"),
    [
        (["2026-11-03 14:05:00", "2026-11-03T14:05:30Z"], ["2026-11-03 14:05:00", "2026-11-03 14:05:30"]),
        (["03.11.2026 14:05", "13.11.2026 09:00"], ["2026-11-03 14:05", "2026-11-13 09:00"]),
        (["11/03/2026 2:05 PM", "11/13/2026 9:00 AM"], ["2026-11-03 14:05", "2026-11-13 09:00"]),
        (["3 Nov 2026 14:05", "2026/11/13 9:00"], ["2026-11-03 14:05", "2026-11-13 09:00"]),
    ],
)
def test_times_are_read_as_the_column_writes_them(read, cells, times):
    columns = only("struck_at", "When") + only("attack_up_deg", "Attack", unit="deg")
    shots = read("When;Attack\n" + "".join(f"{cell};-3\n" for cell in cells), columns)
    assert shots.table["struck_at"].tolist() == [pd.Timestamp(time) for time in times]


def test_a_clock_time_takes_the_day_of_its_session(read):
    columns = 'session_day = "2026-11-03"\n' + only("struck_at", "At") + only("attack_up_deg", "Attack", unit="deg")
    shots = read("At,Attack\n14:05:00,-3\nlater,-3\n", columns)
    assert shots.table["struck_at"].iloc[0] == pd.Timestamp("2026-11-03 14:05")
    assert shots.flags["rule"].tolist() == ["no time"]


def test_figures_that_a_device_derives_are_kept_as_reported(read):
    columns = only("face_to_path_deg", "F2P", unit="deg", positive="right") + only("speed_ratio", "Ratio")
    shots = read("F2P,Ratio\n-1.5,1.38\n", columns)
    assert shots.table[["face_to_path_deg", "speed_ratio"]].iloc[0].tolist() == [-1.5, 1.38]


# our own names


def test_a_file_in_our_own_names_needs_no_map(read):
    shots = read("student,hand,club,attack_up_deg,path_out_deg,carry_m\nRobin,L,iron-7,-3,2,120\n", None)
    row = shots.table.iloc[0]
    assert (row["path_out_deg"], row["carry_m"], row["club"], row["hand"]) == (2, 120, "iron-7", "L")
    assert row["student"] != "Robin"


def test_a_file_in_names_of_its_own_needs_one(refused):
    assert "attack_up_deg" in refused("attack_up,path\n-3,2\n", None, kind=cl.MapError).found


def test_shots_written_down_come_back_the_same(read, tmp_path):
    shots = read(
        "Name,Head speed,Attack,Path\nA,90,-3,4\nB,91,-2,1\n",
        only("student", "Name") + ONE.format("attack_up_deg", "Attack") + 'unit = "deg"\n',
    )
    for name, write in [("own.csv", shots.table.to_csv), ("own.parquet", shots.table.to_parquet)]:
        write(tmp_path / name, index=False)
        again = cl.read_shots(tmp_path / name)
        same = ["student", "attack_up_deg", "hand", "read_ok", "excluded"]
        pd.testing.assert_frame_equal(again.table[same], shots.table[same])


# other kinds of files


@pytest.fixture
def book(tmp_path):
    """Write a workbook, one list of lines for each sheet, and return its path."""

    def book(**sheets):
        workbook = openpyxl.Workbook()
        workbook.remove(workbook.active)
        for name, rows in sheets.items():
            sheet = workbook.create_sheet(name)
            for line in rows:
                sheet.append(line)
        path = tmp_path / "bay.xlsx"
        workbook.save(path)
        return path

    return book


LINES = [["Bay 3"], [], ["Head speed", "Attack", "Path"], [90, -3.5, 4], [], [91.5, "−3", "4.5 L"], ["Average", -3, 4]]


def test_a_workbook_is_read_from_the_first_sheet_that_fits(book, put):

    path = book(About=[["Some notes"], ["Attack", "is an angle"]], Shots=LINES)
    shots = cl.read_shots(path, cl.ColumnMap.from_toml(put("m.toml", MAP)))
    assert shots.table["attack_up_deg"].tolist() == [-3.5, -3]
    assert shots.table["path_out_deg"].tolist() == [4, -4.5]
    assert shots.table["source_row"].tolist() == [4, 6]
    assert shots.rejects["rule"].tolist() == ["total"]
    assert account(shots) == (3, 2, 1)


def test_the_sheet_of_the_map_is_taken_and_must_be_there(book, put):
    path = book(First=LINES, Second=[LINES[2], [80, -5, 1]])
    shots = cl.read_shots(path, cl.ColumnMap.from_toml(put("m.toml", 'sheet = "Second"\n' + MAP)))
    assert shots.table["attack_up_deg"].tolist() == [-5]
    with pytest.raises(cl.MapError, match="'Second' is close"):
        cl.read_shots(path, cl.ColumnMap.from_toml(put("m.toml", 'sheet = "Secnd"\n' + MAP)))


def test_what_a_file_is_shows_in_its_content_and_not_in_its_name(book, put, tmp_path):
    renamed = tmp_path / "bay.csv"
    book(Shots=LINES).rename(renamed)
    columns = cl.ColumnMap.from_toml(put("m.toml", MAP))
    assert len(cl.read_shots(renamed, columns)) == 2
    text = put("bay.xlsx", HEAD + "90,-3,4\n")
    assert len(cl.read_shots(text, columns)) == 1


def test_numbers_of_a_workbook_do_not_settle_the_decimal_mark_of_its_texts(book, put):
    path = book(S=[["Head speed", "Attack", "Path"], [90.5, "-3,5", 4.25], [91.5, "-2,5", "1,5"]])
    shots = cl.read_shots(path, cl.ColumnMap.from_toml(put("m.toml", MAP)))
    assert shots.table["attack_up_deg"].tolist() == [-3.5, -2.5]
    assert shots.table["path_out_deg"].tolist() == [4.25, 1.5]


ODS = """<?xml version="1.0" encoding="UTF-8"?>
<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"
 xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"
 office:version="1.2"><office:body><office:spreadsheet><table:table table:name="Balls">{rows}</table:table>
</office:spreadsheet></office:body></office:document-content>"""


def ods_cell(value):
    if isinstance(value, str):
        return f'<table:table-cell office:value-type="string"><text:p>{value}</text:p></table:table-cell>'
    return f'<table:table-cell office:value-type="float" office:value="{value}"><text:p>{value}</text:p></table:table-cell>'


def test_an_open_document_is_read(tmp_path, put):
    rows = [["Head speed", "Attack", "Path"], [90, -3.5, 4], [91, "-3", "4 L"]]
    content = "".join(f"<table:table-row>{''.join(map(ods_cell, row))}</table:table-row>" for row in rows)
    path = tmp_path / "bay.ods"
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    manifest = (
        '<?xml version="1.0"?><manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>'
    )
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("mimetype", kind)
        archive.writestr("content.xml", ODS.format(rows=content))
        archive.writestr("META-INF/manifest.xml", manifest)
    shots = cl.read_shots(path, cl.ColumnMap.from_toml(put("m.toml", MAP)))
    assert shots.table["path_out_deg"].tolist() == [4, -4]


def test_parquet_keeps_its_numbers_and_times(tmp_path):
    frame = pd.DataFrame(
        {
            "session": ["v1", "v1", None],
            "shot": [1, 2, 3],
            "struck_at": pd.to_datetime(["2026-11-03 14:05", None, "2026-11-03 14:06"]),
            "attack_up_deg": [-3.25, np.nan, -1.0],
            "carry_m": [120.0, np.nan, 118.5],
        }
    )
    frame.to_parquet(tmp_path / "own.parquet")
    shots = cl.read_shots(tmp_path / "own.parquet")
    assert shots.table["attack_up_deg"].tolist() == [-3.25, -1.0]
    assert shots.table["struck_at"].iloc[0] == pd.Timestamp("2026-11-03 14:05")
    assert shots.rejects[["session", "shot", "rule"]].to_numpy().tolist() == [["v1", 2, "no reading"]]
    assert account(shots) == (3, 2, 1)


def test_the_path_of_a_map_does_as_well_as_the_map(put):
    shots = cl.read_shots(put("bay.csv", HEAD + "90,-3,4\n"), put("m.toml", MAP))
    assert len(shots) == 1


def test_a_long_file_with_an_odd_line_far_down_is_read_whole(put):
    lines = [f"{80 + number % 20},{number % 7 - 5}.5,{number % 9 - 4}" for number in range(500_000)]
    lines[350_000] = ""
    lines[350_001] = "90,-3"
    text = HEAD + "\n".join(lines) + "\n\nAverage,1,2\n"
    assert len(text) > 1 << 22  # more than one block of the reader
    shots = cl.read_shots(put("bay.csv", text), cl.ColumnMap.from_toml(put("m.toml", MAP)))
    assert account(shots) == (500_000, 499_999, 1)
    assert shots.table["source_row"].iloc[350_000] == 350_003
    assert np.isnan(shots.table["path_out_deg"].iloc[350_000])
    assert shots.table["attack_up_deg"].iloc[-1] == 499_999 % 7 - 5 + (0.5 if 499_999 % 7 - 5 >= 0 else -0.5)


def test_what_a_file_in_our_own_names_holds_besides_is_told(read):
    shots = read("attack_up_deg,atack,hand\n-3,1,R\n", None)
    assert shots.notes == ("Headings that no column takes: 'atack'.",)


def test_a_key_of_ones_own_makes_other_pseudonyms(put):
    path = put("own.csv", "student,attack_up_deg\nRobin Doe,-3\n")
    assert cl.read_shots(path, key=b"x" * 32).table["student"].tolist() == [pseudonym("Robin Doe", b"x" * 32)]
    assert cl.read_shots(path).table["student"].tolist() == [pseudonym("Robin Doe", process_key())]


@pytest.mark.parametrize("size", [16, 40, 100])
def test_the_size_of_the_readers_blocks_changes_nothing(read, monkeypatch, size):
    text = "Bay\n" + HEAD.replace("Path", "Path,Note") + (
        '90,-3,4,"a ""long"" remark,\nover two lines"\n\n91,-3.5\n92,-2,abc,x\n93,-1,4,"y"\n,,,\n94,-1,4,z,5\n95,-1,4,ü\n'
    )  # fmt: skip
    whole = read(text)
    monkeypatch.setattr(body, "_BLOCK", size)
    parts = read(text)
    pd.testing.assert_frame_equal(parts.table, whole.table)
    pd.testing.assert_frame_equal(parts.raw.astype("str"), whole.raw.astype("str"))
    pd.testing.assert_frame_equal(parts.rejects, whole.rejects)
    assert whole.table["source_row"].tolist() == [3, 6, 7, 8, 11]
    assert whole.rejects["source_row"].tolist() == [10]
