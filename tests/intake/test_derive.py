import numpy as np
import pandas as pd
import pytest

from coachlab.errors import DataError
from coachlab.intake import derive
from coachlab.physics.arc import arc_azimuth


def test_a_derived_reading_comes_from_its_parts_and_from_the_device_where_they_are_missing():
    table = pd.DataFrame({"face_open_deg": [3.0, np.nan], "path_out_deg": [1.0, 1.0], "face_to_path_deg": [9.0, -2.0]})
    assert derive.face_to_path_deg(table).tolist() == [2.0, -2.0]
    assert table["face_to_path_deg"].tolist() == [9.0, -2.0]


def test_a_speed_ratio_needs_a_moving_head():
    ratio = derive.speed_ratio(pd.DataFrame({"ball_speed_mps": [50.0, 50.0], "club_speed_mps": [40.0, 0.0]}))
    assert ratio.iloc[0] == 1.25
    assert np.isnan(ratio.iloc[1])


def test_the_arc_is_worked_out_by_the_measured_incline_or_the_clubs_usual_one():
    table = pd.DataFrame(
        {
            "club": ["iron-7", "driver", "iron-7", None],
            "attack_up_deg": [-4.0, -4.0, -4.0, -4.0],
            "path_out_deg": [0.0, 0.0, 0.0, 0.0],
            "arc_incline_deg": [np.nan, np.nan, 50.0, np.nan],
        }
    )
    azimuth = derive.arc_azimuth_deg(table)
    assert azimuth.iloc[:3].tolist() == pytest.approx(
        [arc_azimuth(0, -4, 58), arc_azimuth(0, -4, 47), arc_azimuth(0, -4, 50)]
    )
    assert np.isnan(azimuth.iloc[3])
    # low point ahead of the ball for a downward strike: radius x sin 4 / sin 58, in millimetres
    assert derive.arc_bottom_fwd_mm(table).iloc[0] == pytest.approx(
        1450 * np.sin(np.radians(4)) / np.sin(np.radians(58))
    )


def test_a_misread_attack_has_no_arc():
    table = pd.DataFrame({"club": ["iron-7"], "attack_up_deg": [70.0], "path_out_deg": [0.0]})
    assert derive.arc_azimuth_deg(table).isna().all()
    assert derive.arc_bottom_fwd_mm(table).isna().all()


def test_shots_are_counted_by_number_or_else_by_row():
    table = pd.DataFrame({"session": ["v1", "v1", "v2", "v1"], "block": ["a", "b", "c", "a"], "shot": [5, 9, 1, 7]})
    assert derive.shot_in_session(table).tolist() == [1, 3, 1, 2]
    assert derive.shot_in_block(table).tolist() == [1, 1, 1, 2]
    assert derive.shot_in_session(table.drop(columns="shot")).tolist() == [1, 2, 1, 3]


def test_sessions_are_numbered_by_day_for_each_student():
    table = pd.DataFrame(
        {
            "student": ["s1", "s1", "s2", "s1"],
            "session": ["v3", "v1", "v2", "v1"],
            "session_day": pd.to_datetime(["2026-11-09", "2026-11-02", "2026-11-01", "2026-11-02"]),
        }
    )
    assert derive.session_number(table).tolist() == [2, 1, 1, 1]


def test_the_previous_cue_is_that_of_the_block_before():
    table = pd.DataFrame(
        {
            "session": ["v1", "v1", "v1", "v2"],
            "block": ["v1/2", "v1/1", "v1/3", "v2/1"],
            "block_index": [2, 1, 3, 1],
            "cue": ["S1", "plain", "plain", "I1"],
        }
    )
    before = derive.previous_cue(table)
    assert before.isna().tolist() == [False, True, False, True]
    assert before.dropna().tolist() == ["plain", "S1"]


def test_without_a_log_there_is_no_place_in_a_block():
    with pytest.raises(DataError, match="block"):
        derive.shot_in_block(pd.DataFrame({"shot": [1]}))
