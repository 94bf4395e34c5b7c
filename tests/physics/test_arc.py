"""The arc against its own geometry, drawn in space, and against the sizes that its formulas print."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coachlab.errors import FlightError
from coachlab.physics.arc import ARCS, arc_azimuth, arc_bottom_fwd, path_from_arc

ROUNDING = 1e-9  # degrees: far above the rounding of a double, far below any sensor


def velocity_on_the_arc(azimuth, incline, past_low_point):
    """Head direction (forward, out, up) on a circle that leans in space, written without the module's formulas."""
    a, i, p = np.radians([azimuth, incline, past_low_point])
    along = np.array([np.cos(a), np.sin(a), 0.0])
    across = np.array([np.sin(a), -np.cos(a), 0.0])  # towards the player, who stands on the in side
    up_the_plane = np.cos(i) * across + np.sin(i) * np.array([0.0, 0.0, 1.0])
    return np.cos(p) * along + np.sin(p) * up_the_plane


@pytest.mark.parametrize("past", [-12.0, -4.0, 0.0, 3.0, 9.0])
@pytest.mark.parametrize("azimuth", [-6.0, 0.0, 5.0])
@pytest.mark.parametrize("incline", [47.0, 58.0, 75.0])
def test_path_agrees_with_a_circle_drawn_in_space(azimuth, incline, past):
    forward, out, up = velocity_on_the_arc(azimuth, incline, past)
    attack = np.degrees(np.arcsin(up))
    path = np.degrees(np.arctan2(out, forward))
    assert path_from_arc(azimuth, attack, incline) == pytest.approx(path, abs=ROUNDING)
    assert arc_azimuth(path, attack, incline) == pytest.approx(azimuth, abs=ROUNDING)
    low_mm = arc_bottom_fwd(attack, incline, 1.45)
    assert low_mm == pytest.approx(-1450 * np.sin(np.radians(past)), abs=1e-6)


@given(
    st.floats(-20, 20),
    st.floats(-29, 29),
    st.floats(30, 90),
)
def test_azimuth_and_path_are_inverse(path, attack, incline):
    there = arc_azimuth(path, attack, incline)
    assert path_from_arc(there, attack, incline) == pytest.approx(path, abs=ROUNDING)


@given(st.floats(-20, 20), st.floats(-29, 29), st.floats(30, 90))
def test_the_mirrored_arc_has_the_mirrored_turn(azimuth, attack, incline):
    turn = azimuth - path_from_arc(azimuth, attack, incline)
    assert path_from_arc(-azimuth, -attack, incline) == pytest.approx(-azimuth + turn, abs=ROUNDING)


@pytest.mark.parametrize(("head", "centimetres"), [("driver", 3.8), ("iron", 3.0), ("wedge", 2.7)])
def test_a_degree_of_attack_moves_the_low_point_by_the_printed_centimetres(head, centimetres):
    arc = ARCS[head]
    moved = arc_bottom_fwd(-0.5, arc.incline_deg, arc.radius_m) - arc_bottom_fwd(0.5, arc.incline_deg, arc.radius_m)
    assert moved / 10 == pytest.approx(centimetres, abs=0.05)  # half of the last digit printed


def test_seven_degrees_up_with_a_driver_cost_27_cm_and_six_and_a_half_degrees_of_path():
    arc = ARCS["driver"]
    low = arc_bottom_fwd(np.array([-3.0, 4.0]), arc.incline_deg, arc.radius_m)
    assert (low[0] - low[1]) / 10 == pytest.approx(27, abs=0.5)
    path = path_from_arc(0.0, np.array([-3.0, 4.0]), arc.incline_deg)
    assert path[1] - path[0] == pytest.approx(-6.5, abs=0.05)


def test_a_level_strike_is_at_the_low_point_and_follows_the_arc():
    assert arc_bottom_fwd(0.0, 58.0, 1.45) == 0.0
    assert str(arc_bottom_fwd(0.0, 58.0, 1.45)) == "0.0"
    assert path_from_arc(2.5, 0.0, 58.0) == 2.5


def test_numbers_stay_numbers_and_arrays_arrays():
    assert type(arc_azimuth(0, -4, 58)) is float
    both = arc_azimuth(np.zeros(3), np.array([-4.0, np.nan, 4.0]), 58)
    assert both.shape == (3,)
    assert np.isnan(both[1])
    assert both[0] == -both[2]


@pytest.mark.parametrize("incline", [0.0, -10.0, 91.0])
def test_an_incline_that_is_none_is_refused(incline):
    with pytest.raises(FlightError, match="arc_incline_deg is"):
        arc_azimuth(0.0, 0.0, incline)


def test_an_attack_as_steep_as_the_plane_is_refused_and_named():
    with pytest.raises(FlightError, match=r"Attack -61 at position 1 .*58 degrees") as caught:
        path_from_arc(0.0, np.array([-4.0, -61.0]), 58.0)
    assert caught.value.facts["row"] == 1


def test_a_radius_that_is_none_is_refused():
    with pytest.raises(FlightError, match="arc_radius_m is 0"):
        arc_bottom_fwd(-3.0, 58.0, 0.0)
