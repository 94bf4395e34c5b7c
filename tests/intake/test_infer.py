"""What the ball tells of the club stands in a table of its own, with its errors, and goes no further than it may."""

import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake.infer import BALL, INFERRED_COLUMNS, ball_only
from coachlab.physics.inverse import ERRORS


def struck(head, n=300, seed=0):
    """Shots with their true face and loft, struck over the face, and the ball as a typical sensor reads it."""
    rng = np.random.default_rng(seed)
    speed, attack, loft = {"driver": (45, 0, 13), "iron": (34, -4, 23), "wedge": (30, -5, 40)}[head]
    delivery = cl.Delivery(
        rng.normal(speed, 2, n), attack + rng.uniform(-3, 3, n), rng.normal(0, 3, n), rng.normal(0, 3, n),
        loft + rng.uniform(-3, 3, n), 9 * rng.standard_normal(n), 6 * rng.standard_normal(n),
    )  # fmt: skip
    ball = cl.strike(delivery, head)
    noise = dict(zip(BALL, (0.3, 0.3, 0.3, 80, 1.5), strict=True))
    frame = {name: getattr(ball, name) + sd * rng.standard_normal(n) for name, sd in noise.items()}
    club = {"driver": "driver", "iron": "iron-7", "wedge": "wedge-54"}[head]
    table = pd.DataFrame(frame).assign(club=club, student="Q1", session="v1", shot=np.arange(1, n + 1))
    return table, delivery


@pytest.mark.parametrize("head", ERRORS)
def test_inferred_loft_and_face_are_off_by_about_what_is_stated(head):
    table, delivery = struck(head)
    found = cl.infer_delivery(table).table
    for name, true in (("loft", delivery.delivered_loft_deg), ("face", delivery.face_open_deg)):
        error = np.sqrt(np.mean((found[f"inferred_{name}_deg"] - true) ** 2))
        # a third either way: 300 shots, and noise in rpm instead of a share
        assert error == pytest.approx(found[f"{name}_error_deg"].iloc[0], rel=0.35)


def test_the_measured_columns_are_left_alone_and_the_table_stands_apart():
    table, delivery = struck("iron")
    before = table.assign(face_open_deg=delivery.face_open_deg, delivered_loft_deg=delivery.delivered_loft_deg)
    shots = cl.clean_shots(before)
    kept = shots.table.copy()
    found = cl.infer_delivery(shots)
    pd.testing.assert_frame_equal(shots.table, kept)
    assert tuple(found.table.columns) == INFERRED_COLUMNS
    assert not {"attack_up_deg", "path_out_deg", "club_speed_mps"} & set(found.table.columns)
    assert found.compared == len(before)
    assert 0 < found.face_gap_deg < 1
    assert "the club was measured too" in found.text()


def test_shots_that_tell_nothing_say_why():
    table, _ = struck("driver", n=6)
    table.loc[0, "spin_rpm"] = np.nan
    table.loc[1, "club"] = None
    table.loc[2, ["ball_speed_mps", "spin_rpm"]] = [6.0, 15_000.0]
    table.loc[3, "spin_rpm"] = -5.0
    table["read_ok"] = [True] * 4 + [False, True]
    found = cl.infer_delivery(table).table
    why = found["why_not"].tolist()
    assert why[:3] == ["a reading of the ball is missing", "no club is said", "ball and spin fit no face"]
    assert "spin_rpm" in why[3]
    assert why[4:] == ["the shot is set aside", ""]
    assert found["inferred_face_deg"].notna().tolist() == [False] * 5 + [True]
    assert found["face_error_deg"].notna().tolist() == [False] * 5 + [True]
    assert found["source_row"].tolist() == [1, 2, 3, 4, 5, 6]


def test_without_ball_data_the_column_is_named():
    with pytest.raises(cl.DataError, match="no column spin_tilt_deg"):
        cl.infer_delivery(struck("iron")[0].drop(columns="spin_tilt_deg"))


def test_what_ball_data_alone_may_say_is_said_with_the_errors():
    said = " ".join(ball_only())
    assert "{" not in said
    for error in (
        "1.2 degrees of loft and 1.7 of face",
        "3.5 degrees with a driver",
        "3.6 with an iron",
        "2.7 degrees",
    ):
        assert error in said
    assert "may not show attack" in said and "may not show path" in said
    found = cl.infer_delivery(struck("wedge", n=5)[0])
    assert all(sentence in found._repr_html_() for sentence in ball_only())
    assert "5 of 5 shots" in repr(found)


def test_no_shots_are_no_error():
    found = cl.infer_delivery(struck("iron")[0].iloc[:0])
    assert len(found.table) == 0
    assert "0 of 0 shots" in found.text() and "nan" not in found.text()
