"""Strikes against the closed form, conservation laws, published figures, and what cannot be struck."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coachlab.errors import FlightError
from coachlab.physics.impact import (
    BALL_INERTIA_KGM2,
    G_CM2,
    HEADS,
    Delivery,
    centred_closed_form,
    check_delivery,
    face_frame,
    head_of,
    impulse_of,
    strike,
)
from coachlab.physics.launch import BALL_KG, BALL_RADIUS_M, direction

MPH_MPS = 0.44704
HEAD_SPEEDS = {"driver": (45.0, 0.0, 13.0), "iron": (36.0, -4.0, 23.0), "wedge": (31.0, -5.0, 42.0)}


@pytest.mark.parametrize("head", HEADS)
@pytest.mark.parametrize("spin_loft", [8.0, 15.0, 27.0, 45.0])
def test_a_centred_strike_follows_the_closed_form(head, spin_loft):
    ball = strike(Delivery(35.0, 0.0, 0.0, 0.0, spin_loft), head)
    along, across, spin = centred_closed_form(35.0, spin_loft, head)
    assert ball.ball_speed_mps == pytest.approx(np.hypot(along, across), rel=1e-10)
    assert ball.spin_rpm * np.pi / 30 == pytest.approx(spin, rel=1e-10)
    assert ball.launch_up_deg == pytest.approx(spin_loft - np.degrees(np.arctan2(across, along)), abs=1e-9)


@pytest.mark.parametrize(("head", "lower"), [("driver", 0.05), ("iron", 0.01)])
def test_the_heads_own_turn_lowers_spin_by_the_printed_share(head, lower):
    made = head_of(head, "")
    bare = BALL_KG / made.mass_kg + 3.5
    turn = BALL_KG * (made.depth_mm / 1000) ** 2 / (made.inertia_gcm2[1] * G_CM2)
    assert turn / (bare + turn) == pytest.approx(lower, abs=0.006)  # half a per cent, as printed


deliveries = st.tuples(
    st.floats(20, 60), st.floats(-6, 6), st.floats(-8, 8), st.floats(-8, 8), st.floats(9, 50), st.floats(-20, 20),
    st.floats(-12, 12), st.sampled_from(sorted(HEADS)), st.floats(-0.3, 0.3),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(deliveries)
def test_momentum_is_kept_energy_is_not_made_and_restitution_holds(values):
    *numbers, head, e_t = values
    made, delivery = head_of(head, ""), Delivery(*numbers)
    velocity, spin, slips = impulse_of(delivery, made, e_t, "")
    J = BALL_KG * velocity
    before = numbers[0] * direction(numbers[1], numbers[2])
    n0, t, h = (part[:, 0] for part in face_frame(np.array([numbers[4]]), np.array([numbers[3]])))
    r_h = (made.depth_mm * n0 + numbers[5] * t + numbers[6] * h) / 1000
    inertia = np.array(made.inertia_gcm2) * G_CM2
    turn_in_head = np.array([axis @ np.cross(r_h, -J) for axis in (n0, t, h)]) / inertia
    club_turn = turn_in_head @ np.array([n0, t, h])
    club = before - J / made.mass_kg
    energy = [
        0.5 * made.mass_kg * before @ before,
        0.5 * made.mass_kg * club @ club
        + 0.5 * np.sum(inertia * turn_in_head**2)
        + 0.5 * BALL_KG * velocity @ velocity
        + 0.5 * BALL_INERTIA_KGM2 * spin @ spin,
    ]
    assert energy[1] < energy[0]
    # after the strike ball and face part along the normal at e times the speed at which they met
    # spin = r_b x J / I tells the part of r_b across J; the part along J follows from the ball's radius
    r_b = BALL_INERTIA_KGM2 * np.cross(J, spin) / (J @ J)
    r_b = r_b - np.sqrt(BALL_RADIUS_M**2 - r_b @ r_b) * J / np.linalg.norm(J)
    normal = -r_b / BALL_RADIUS_M
    apart = velocity + np.cross(spin, r_b) - club - np.cross(club_turn, r_h)
    met = before @ normal
    e = min(made.e_max, made.e_ref - 0.0029 * (met - made.v_ref_mps))
    assert apart @ normal == pytest.approx(e * met, rel=1e-9)
    if not slips:
        slid = -before + met * normal
        assert np.allclose(apart - (apart @ normal) * normal, -e_t * slid, atol=1e-9)


@pytest.mark.parametrize(("head", "degrees"), [("driver", 4.3), ("iron", 2.1), ("wedge", 1.0)])
def test_a_degree_of_face_to_path_tilts_the_axis_as_printed(head, degrees):
    V, attack, loft = HEAD_SPEEDS[head]
    ball = strike(Delivery(V, attack, [0.0, -0.5], [0.0, 0.5], loft), head)
    assert ball.spin_tilt_deg[0] == 0.0
    assert ball.spin_tilt_deg[1] == pytest.approx(degrees, abs=0.15)  # lofts and attacks are not printed with it


def test_the_axis_of_a_centred_strike_is_normal_to_the_plane_of_way_and_face():
    ball = strike(Delivery(40.0, -2.0, 3.0, -4.0, 20.0), "iron")
    axis = np.cross(direction(-2.0, 3.0), direction(20.0, -4.0))
    tilt = -np.degrees(np.arcsin(axis[2] / np.linalg.norm(axis)))
    # the head turns more easily about one of its axes than about the other, which leaves a hundredth of the tilt
    assert ball.spin_tilt_deg == pytest.approx(tilt, rel=0.01)
    a, path, face, loft = np.radians([-2.0, 3.0, -4.0, 20.0])
    low = np.cos(a) * np.sin(loft) * np.cos(path) - np.sin(a) * np.cos(loft) * np.cos(face)
    world = np.degrees(np.arctan(np.cos(a) * np.cos(loft) * np.sin(face - path) / low))
    assert world == pytest.approx(tilt, abs=0.2)


# Published figures (physics, section 6) -------------------------------------------------------------------------------


def test_the_face_decides_most_of_where_the_ball_starts_less_with_loft():
    share = {}
    for head, (V, attack, loft) in HEAD_SPEEDS.items():
        ball = strike(Delivery(V, attack, 0.0, [-0.5, 0.5], loft), head)
        share[head] = ball.launch_out_deg[1] - ball.launch_out_deg[0]
    assert all(0.56 < value < 0.88 for value in share.values())
    assert share["driver"] > share["iron"] > share["wedge"]
    assert share["driver"] == pytest.approx(0.85, abs=0.02)
    assert share["iron"] == pytest.approx(0.78, abs=0.02)
    assert share["wedge"] == pytest.approx(0.68, abs=0.02)


def test_ten_millimetres_to_the_toe_give_two_to_four_turns_a_second_of_side_spin():
    ball = strike(Delivery(45.0, 0.0, 0.0, 0.0, 13.0, strike_toe_mm=10.0))
    assert 2.0 < -ball.spin_rpm / 60 * np.sin(np.radians(ball.spin_tilt_deg)) < 4.3
    assert ball.launch_out_deg > 0  # bulge starts it out, and gear effect brings it back
    assert ball.ball_speed_mps < strike(Delivery(45.0, 0.0, 0.0, 0.0, 13.0)).ball_speed_mps


@pytest.mark.parametrize(("mph", "ball_mph"), [(120, (174.5, 176)), (125, (183, 183))])
def test_ball_speed_of_fast_heads(mph, ball_mph):
    ball = strike(Delivery(mph * MPH_MPS, 3.0, 0.0, 0.0, 13.0)).ball_speed_mps / MPH_MPS
    assert ball_mph[0] * 0.985 < ball < ball_mph[1] * 1.015


def test_a_steep_lofted_wedge_slips_and_loses_about_a_tenth_of_its_spin():
    steep = strike(Delivery(31.0, -8.0, 0.0, 0.0, 60.0), "wedge")
    holds = centred_closed_form(31.0, 68.0, "wedge")[2] * 30 / np.pi
    assert 0.05 < 1 - steep.spin_rpm / holds < 0.2


@pytest.mark.parametrize("head", HEADS)
def test_a_mirrored_delivery_starts_mirrored(head):
    V, attack, loft = HEAD_SPEEDS[head]
    here = strike(Delivery(V, attack, 3.0, -2.0, loft), head)
    there = strike(Delivery(V, attack, -3.0, 2.0, loft), head)
    for name, sign in [("ball_speed_mps", 1), ("launch_up_deg", 1), ("launch_out_deg", -1), ("spin_rpm", 1),
                       ("spin_tilt_deg", -1)]:  # fmt: skip
        assert getattr(there, name) == pytest.approx(sign * getattr(here, name), rel=1e-12, abs=1e-12)


def test_turning_the_whole_world_out_turns_the_start_with_it():
    here, there = (strike(Delivery(40.0, -3.0, 1.0 + turn, -2.0 + turn, 24.0, 5.0, 2.0), "iron") for turn in (0.0, 9.0))
    assert there.launch_out_deg - here.launch_out_deg == pytest.approx(9.0, abs=1e-10)
    assert there.spin_tilt_deg == pytest.approx(here.spin_tilt_deg, abs=1e-10)


# Shapes and bad input -------------------------------------------------------------------------------------------------


def test_numbers_stay_numbers_and_arrays_arrays():
    one = strike(Delivery(45, 0, 0, 1, 13))
    assert all(type(getattr(one, name)) is float for name in ("ball_speed_mps", "launch_out_deg", "spin_tilt_deg"))
    many = strike(Delivery(45, 0, 0, [0.0, 1.0], 13), e_t=[-0.3, 0.1])
    assert many.spin_rpm.shape == (2,)
    assert strike(Delivery(45, 0, 0, 1, 13), e_t=0.1).spin_rpm == pytest.approx(many.spin_rpm[1], rel=1e-12)
    assert strike(Delivery(45, 0, 0, 0, 13), e_t=[-0.3, 0.1]).length == 2


@pytest.mark.parametrize(
    ("delivery", "found"),
    [
        ((0, 0, 0, 0, 13), "club_speed_mps is not above 0"),
        ((100, 0, 0, 0, 13), r"above 80 \(was it in mph\?\)"),
        ((45, 5, 0, 0, 3), "delivered_loft_deg is not above attack_up_deg"),
        ((45, float("nan"), 0, 0, 13), "attack_up_deg is missing"),
        ((45, 0, -40, 40, 13), "face and path are more than 60 degrees apart"),
        ((45, 0, 0, 0, 13, 80), "strike_toe_mm is missing or off the face"),
    ],
)
def test_a_delivery_that_strikes_no_ball_is_refused(delivery, found):
    with pytest.raises(FlightError, match=found) as caught:
        Delivery(*delivery)
    assert len(str(caught.value).splitlines()) == 3
    assert check_delivery(*delivery) != ""


def test_a_table_of_deliveries_can_be_checked_beforehand():
    why = check_delivery([45.0, 45.0, np.nan], [0.0, 14.0, 0.0], 0.0, 0.0, 13.0)
    assert why[0] == "" and "not above attack" in why[1] and why[2] == "club_speed_mps is missing"
    assert check_delivery(45, 0, 0, 0, 13) == ""


def test_unknown_heads_and_impossible_restitution_are_refused():
    with pytest.raises(FlightError, match="Choose one of driver, iron, wedge"):
        strike(Delivery(45, 0, 0, 0, 13), head="putter")
    with pytest.raises(FlightError, match="e_t is 3"):
        strike(Delivery(45, 0, 0, 0, 13), e_t=3)
    with pytest.raises(FlightError, match="2 and 3 shots"):
        strike(Delivery([45, 46], 0, 0, 0, 13), e_t=[0.0, 0.1, 0.1])


def test_a_ball_that_would_leave_with_forward_spin_is_refused_by_name():
    # very high on a driver's face with little spin loft: gear effect wins
    with pytest.raises(FlightError, match=r"Shot 1 \(counted from 0\) would leave with forward spin"):
        strike(Delivery(45.0, 3.0, 0.0, 0.0, [13.0, 4.0], strike_high_mm=[0.0, 25.0]))
