import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import coachlab as cl
from coachlab.intake.clean import RULES, exclude, include
from coachlab.schema import COLUMNS, RANGE_RULES

GOOD = {
    "club_speed_mps": 36.0,
    "attack_up_deg": -3.0,
    "path_out_deg": 1.0,
    "face_open_deg": 2.0,
    "delivered_loft_deg": 26.0,
    "ball_speed_mps": 48.0,
    "launch_up_deg": 18.0,
    "carry_m": 130.0,
}


def table(*changes, **columns):
    """Return good shots, one for each change, that differ a little from each other."""
    rows = [GOOD | {"attack_up_deg": -3.0 - place / 10} | change for place, change in enumerate(changes)]
    return pd.DataFrame(rows).assign(**columns)


@pytest.mark.parametrize(
    ("change", "column"),
    [
        ({"attack_up_deg": -15.1}, "attack_up_deg"),
        ({"attack_up_deg": 12.1}, "attack_up_deg"),
        ({"path_out_deg": -20.1}, "path_out_deg"),
        ({"face_open_deg": 20.1}, "face_open_deg"),
        ({"club_speed_mps": 9.9, "ball_speed_mps": 10.0}, "club_speed_mps"),
        ({"club_speed_mps": 62.1, "ball_speed_mps": 80.0}, "club_speed_mps"),
        ({"ball_speed_mps": 36 * 0.69}, "speed_ratio"),
        ({"ball_speed_mps": 36 * 1.57}, "speed_ratio"),
        ({"launch_up_deg": -5.1}, "launch_up_deg"),
        ({"launch_up_deg": 60.1}, "launch_up_deg"),
        ({"carry_m": -0.1}, "carry_m"),
        ({"carry_m": 320.1}, "carry_m"),
        ({"path_out_deg": -13.0, "face_open_deg": 12.1}, "face_to_path_deg"),
    ],
)
def test_a_reading_that_cannot_be_sets_its_shot_aside(change, column):
    shots = cl.clean_shots(table({}, change, {}))
    assert shots.table["read_ok"].tolist() == [True, False, True]
    flag = shots.flags.iloc[0]
    assert (flag["source_row"], flag["column"], flag["rule"]) == (2, column, "out of range")
    assert not COLUMNS[column].low <= flag["value"] <= COLUMNS[column].high
    assert shots.counts["set_aside"] == 1


def test_every_range_rule_is_looked_at():
    assert {"attack_up_deg", "path_out_deg", "face_open_deg", "club_speed_mps", "speed_ratio", "launch_up_deg", "carry_m", "face_to_path_deg"} == set(RANGE_RULES)  # fmt: skip


@pytest.mark.parametrize("name", [name for name in RANGE_RULES if name in GOOD])
def test_the_ends_of_a_range_belong_to_it(name):
    column = COLUMNS[name]
    shots = cl.clean_shots(pd.DataFrame({name: [column.low, column.high]}))
    assert shots.table["read_ok"].all()
    assert len(shots.flags) == 0


def test_a_missing_reading_is_no_misread():
    shots = cl.clean_shots(table({"attack_up_deg": np.nan, "ball_speed_mps": np.nan}))
    assert shots.table["read_ok"].all()


def test_other_readings_outside_their_range_only_flag():
    shots = cl.clean_shots(table({}, {}, spin_rpm=[6000.0, 16000.0]))
    assert shots.table["read_ok"].all()
    assert shots.flags[["source_row", "column", "rule", "value"]].to_numpy().tolist() == [
        [2, "spin_rpm", "unusual", 16000.0]
    ]


def test_the_same_speed_attack_and_path_twice_running_is_flagged():
    same = {"attack_up_deg": -3.0}
    shots = cl.clean_shots(table(same, same | {"carry_m": 99.0}, {}, same, session=["v1"] * 4, shot=[1, 2, 3, 4]))
    assert shots.flags[["source_row", "rule"]].to_numpy().tolist() == [[2, "stuck reading"]]
    assert shots.table["read_ok"].all()


def test_a_new_session_may_begin_as_the_last_one_ended():
    same = {"attack_up_deg": -3.0}
    shots = cl.clean_shots(table(same, same | {"carry_m": 99.0}, session=["v1", "v2"]))
    assert len(shots.flags) == 0


def test_missing_readings_are_not_stuck():
    shots = cl.clean_shots(table({"club_speed_mps": np.nan}, {"club_speed_mps": np.nan}, attack_up_deg=-3.0))
    assert "stuck reading" not in set(shots.flags["rule"])


def test_the_same_shot_twice_is_flagged_the_second_time():
    shots = cl.clean_shots(table({}, {}, {"attack_up_deg": -3.0}, session="v1", shot=[1, 2, 1]))
    assert shots.flags[["source_row", "shot", "rule"]].to_numpy().tolist() == [[3, 1, "duplicate shot"]]
    assert shots.table["read_ok"].all()


def test_two_shots_alike_under_two_numbers_are_two():
    shots = cl.clean_shots(table({}, {}, {"attack_up_deg": -3.0}, session="v1", shot=[1, 2, 3]))
    assert len(shots.flags) == 0


def test_a_loft_below_the_attack_is_flagged():
    shots = cl.clean_shots(table({"delivered_loft_deg": -4.0, "attack_up_deg": -3.0}))
    assert shots.flags["rule"].tolist() == ["loft below attack"]
    assert shots.table["read_ok"].all()


def test_a_reported_figure_that_does_not_follow_is_flagged_or_told_of_all():
    few = cl.clean_shots(table({}, {}, {}, face_to_path_deg=[1.0, 1.0, -1.0]))
    assert few.flags[["source_row", "column", "rule"]].to_numpy().tolist() == [
        [3, "face_to_path_deg", "reported otherwise"]
    ]
    most = cl.clean_shots(table({}, {}, {}, face_to_path_deg=[-1.0, -1.0, -1.0]))
    assert len(most.flags) == 0
    assert any("positive" in note for note in most.notes)


def test_cleaning_again_changes_nothing_and_the_input_stays():
    given_table = table({}, {"attack_up_deg": 31.0}, {}, session="v1", shot=[1, 2, 3])
    before = given_table.copy()
    once = cl.clean_shots(given_table)
    twice = cl.clean_shots(once)
    pd.testing.assert_frame_equal(given_table, before)
    pd.testing.assert_frame_equal(once.table, twice.table)
    pd.testing.assert_frame_equal(once.flags, twice.flags)
    assert once.notes == twice.notes


def test_flags_of_the_reader_stay(read):
    shots = cl.clean_shots(read("Head speed,Attack,Path\n90,x,4\n90,31,4\n90,-3,4\n"))
    assert shots.flags[["source_row", "rule"]].to_numpy().tolist() == [[2, "no number"], [3, "out of range"]]


def test_rows_of_a_table_without_any_reading_are_rejects():
    shots = cl.clean_shots(
        pd.DataFrame({"session": "v1", "shot": [1, 2], "attack_up_deg": [np.nan, -3.0], "carry_m": [np.nan, 120.0]})
    )
    assert shots.rejects[["source_row", "session", "shot", "rule"]].to_numpy().tolist() == [
        [1, "v1", 1.0, "no reading"]
    ]
    assert shots.counts["raw"] == 2


def test_a_table_without_readings_or_with_text_is_refused():
    with pytest.raises(cl.DataError, match="None of its columns is a reading"):
        cl.clean_shots(pd.DataFrame({"attack": [1.0]}))
    with pytest.raises(cl.DataError, match="attack_up_deg"):
        cl.clean_shots(pd.DataFrame({"attack_up_deg": ["low"]}))


def test_numbers_written_as_text_are_numbers():
    assert cl.clean_shots(pd.DataFrame({"attack_up_deg": ["-3.5"]})).table["attack_up_deg"].tolist() == [-3.5]


def test_a_person_sets_aside_with_a_reason_and_takes_it_back():
    shots = cl.clean_shots(table({}, {}, shot=[1, 2]))
    out = exclude(shots, shots.table["shot"] == 2, "ball hit the net")
    assert out.table["excluded"].tolist() == [False, True]
    assert out.table["excluded_reason"].tolist() == ["", "ball hit the net"]
    assert out.counts["set_aside"] == 1 and len(out) == 2
    assert not shots.table["excluded"].any()
    back = include(out, out.table["shot"] == 2)
    pd.testing.assert_frame_equal(back.table, shots.table)
    assert cl.clean_shots(out).table["excluded"].tolist() == [False, True]


def test_a_decision_needs_a_reason_and_a_yes_or_no_for_each_shot():
    shots = cl.clean_shots(table({}, {}))
    with pytest.raises(cl.DataError, match="No reason"):
        exclude(shots, np.array([True, False]), " ")
    with pytest.raises(cl.DataError, match="2 shots"):
        exclude(shots, np.array([True]), "x")
    with pytest.raises(cl.DataError, match="type"):
        include(shots, np.array([1, 0]))


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(*[st.floats(-50, 400) | st.just(float("nan"))] * 4), min_size=1, max_size=20))
def test_whatever_the_numbers_no_shot_gets_lost(rows):
    frame = pd.DataFrame(rows, columns=["club_speed_mps", "attack_up_deg", "path_out_deg", "carry_m"])
    shots = cl.clean_shots(frame)
    n = shots.counts
    assert n.raw == len(frame) == n.shots + n.rejects
    outside = pd.Series(False, index=shots.table.index)
    for name in frame.columns:
        outside |= (shots.table[name] < COLUMNS[name].low) | (shots.table[name] > COLUMNS[name].high)
    assert (shots.table["read_ok"] == ~outside).all()
    assert set(shots.flags["rule"]) <= set(RULES)


def sessions(rng, wrong=None):
    """Return five sessions of ten shots of three students, one of them (by place) struck with a driver by mistake."""
    rows = []
    for visit in range(15):
        speed = 34 + visit % 3 + rng.normal(0, 0.4) + (8 if visit == wrong else 0)
        for shot in range(10):
            rows.append({"student": f"s{visit % 3}", "session": f"v{visit}", "club": "iron-7", "shot": shot + 1, "club_speed_mps": speed + rng.normal(0, 0.6)})  # fmt: skip
    return pd.DataFrame(rows)


def test_a_session_unlike_the_students_others_is_flagged_once(rng):
    assert len(cl.clean_shots(sessions(rng)).flags) == 0
    shots = cl.clean_shots(sessions(rng, wrong=7))
    assert shots.flags[["source_row", "column", "rule"]].to_numpy().tolist() == [
        [71, "club_speed_mps", "session unlike the others"]
    ]
    assert shots.table["read_ok"].all()


def test_another_club_is_another_history(rng):
    table = sessions(rng, wrong=7)
    table.loc[table["session"] == "v7", "club"] = "driver"
    assert len(cl.clean_shots(table).flags) == 0
