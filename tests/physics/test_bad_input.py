"""Whatever is put in, a shot flies in finite numbers or one error says in three lines which shot cannot, and why."""

import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import coachlab as cl
from coachlab.errors import FlightError
from coachlab.physics.air import air_density, pressure_at
from coachlab.physics.arc import arc_bottom_fwd, path_from_arc
from coachlab.physics.ops import said

DELIVERY = {
    "club_speed_mps": 40.0, "attack_up_deg": -2.0, "path_out_deg": 1.0, "face_open_deg": 0.0,
    "delivered_loft_deg": 14.0, "strike_toe_mm": 0.0, "strike_high_mm": 0.0,
}  # fmt: skip
LAUNCH = {
    "ball_speed_mps": 60.0, "launch_up_deg": 12.0, "launch_out_deg": 0.0, "spin_rpm": 2600.0, "spin_tilt_deg": 2.0,
}  # fmt: skip
AIR = {
    "temperature_c": 20.0, "altitude_m": 0.0, "pressure_pa": None, "humidity": 0.5, "tail_mps": 1.0, "cross_mps": 0.0,
}  # fmt: skip
SHOWN = ("carry_m", "side_m", "peak_m", "flight_s", "land_angle_deg", "land_speed_mps", "land_spin_rpm")

odd_numbers = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from([0, -1, 0.0, -0.0, 1e308, 5e-324, 90, -90, 180, 10**400]),
    st.integers(-100, 100),
)
odd_values = st.one_of(
    odd_numbers,
    st.lists(odd_numbers, max_size=3),
    st.lists(odd_numbers, max_size=3).map(tuple),
    st.sampled_from(["x", "", "7", None, True, b"3", 1 + 2j, {"a": 1}, [[1.0, 2.0]], pd.NA, np.array("x")]),
    st.lists(st.floats(-20, 60), max_size=3).map(lambda values: pd.Series(values, index=range(7, 7 + len(values)))),
    st.integers(-20, 60).map(np.int64),
    st.floats(-20, 60).map(np.float32),
    st.floats(-20, 60).map(np.array),
)


def is_clear(error):
    """One error of three parts, without the name of a type of the machine in it."""
    text = str(error)
    return (
        len(text.splitlines()) == 3 and all((error.asked, error.found, error.do)) and not re.search("np\\.|int64", text)
    )


def flies_or_says_why(ask):
    """The whole way of a shot, in finite numbers, or a clear error."""
    try:
        flight = ask()
        run = cl.roll_out(flight)
    except FlightError as error:
        assert is_clear(error), str(error)
        return
    for name in SHOWN:
        assert np.isfinite(getattr(flight, name)).all(), name
    assert np.isfinite(run.total_m).all() and np.isfinite(run.run_m).all()
    assert np.shape(run.total_m) == np.shape(flight.carry_m)
    told = cl.infer_club(flight.launch, "driver")
    # a face is told for each shot, or the shot says that it slipped or fits none
    assert (np.isfinite(told.attack_up_deg) | np.asarray(told.slipped) | ~np.isfinite(told.face_open_deg)).all()
    assert "nan" not in flight.text() + run.text() + told.text()


@settings(max_examples=150, deadline=None)
@given(name=st.sampled_from(sorted(DELIVERY)), value=odd_values, head=st.sampled_from(["driver", "iron", "wedge"]))
def test_any_delivery_flies_or_is_refused_in_words(name, value, head):
    flies_or_says_why(lambda: cl.fly(cl.strike(cl.Delivery(**(DELIVERY | {name: value})), head)))


@settings(max_examples=150, deadline=None)
@given(name=st.sampled_from(sorted(LAUNCH)), value=odd_values)
def test_any_launch_flies_or_is_refused_in_words(name, value):
    flies_or_says_why(lambda: cl.fly(cl.Launch(**(LAUNCH | {name: value}))))


@settings(max_examples=100, deadline=None)
@given(name=st.sampled_from(sorted(AIR)), value=odd_values)
def test_any_air_is_flown_through_or_refused_in_words(name, value):
    flies_or_says_why(lambda: cl.fly(cl.Launch(**LAUNCH), cl.Air(**(AIR | {name: value}))))


@settings(max_examples=60, deadline=None)
@given(value=odd_values)
def test_whatever_is_asked_of_the_choices_is_answered_or_refused_in_words(value):
    ball = cl.Launch(**LAUNCH)
    for ask in (
        lambda: cl.fly(ball, aero=value),
        lambda: cl.fly(ball, cl.Air(profile=value)),
        lambda: cl.fly(cl.strike(cl.Delivery(**DELIVERY), value)),
        lambda: cl.fly(cl.strike(cl.Delivery(**DELIVERY), e_t=value)),
        lambda: cl.fly(value),
        lambda: cl.fly(cl.strike(value)),
        lambda: cl.roll_out(value),
        lambda: cl.infer_club(value),
    ):
        try:
            ask()
        except FlightError as error:
            assert is_clear(error), str(error)


@settings(max_examples=100, deadline=None)
@given(value=odd_values, at=st.integers(0, 2))
def test_an_arc_is_worked_out_or_refused_in_words_and_what_is_missing_stays_missing(value, at):
    for ask, usual in (
        (cl.arc_azimuth, [1.0, -3.0, 58.0]),
        (path_from_arc, [1.0, -3.0, 58.0]),
        (arc_bottom_fwd, [-3.0, 58.0, 1.45]),
    ):
        given_ = [*usual]
        given_[at] = value
        try:
            found = np.asarray(ask(*given_), float)
        except FlightError as error:
            assert is_clear(error), str(error)
            continue
        assert not np.isinf(found).any()
        missing = np.isnan(np.broadcast_to(np.asarray(value, float), found.shape))
        assert np.array_equal(np.isnan(found), missing)


@settings(max_examples=60, deadline=None)
@given(value=odd_values)
def test_density_and_pressure_are_finite_or_refused_in_words(value):
    for ask in (
        lambda: pressure_at(value),
        lambda: air_density(value, 101_325.0),
        lambda: air_density(20.0, value),
        lambda: air_density(20.0, 101_325.0, value),
    ):
        try:
            assert np.isfinite(ask()).all()
        except FlightError as error:
            assert is_clear(error), str(error)


@settings(max_examples=12, deadline=None)
@given(value=odd_values)
def test_a_worth_is_finite_or_refused_in_words(value):
    mine = cl.Delivery(34.0, -4.0, 0.0, 0.0, 24.0)
    for ask in (
        lambda: cl.shift_worth(mine, {"attack_up_deg": value}, club="iron-7").table["gain_m"],
        lambda: cl.shift_worth(mine, value, club="iron-7").table["gain_m"],
        lambda: cl.shift_worth(mine, {"path_out_deg": 1.0}, {"path_out_deg": value}, club="iron-7").table["low_m"],
        lambda: cl.split_path(-3.0, value, 1.0, 58.0).earned_deg,
        lambda: cl.split_path(-3.0, 1.0, 1.0, value).earned_deg,
        lambda: cl.target_window(mine, "attack_up_deg", "iron-7", reach=value).low,
        lambda: cl.target_window(mine, value, "iron-7").low,
    ):
        try:
            assert np.isfinite(ask()).all()
        except (FlightError, cl.DataError) as error:
            assert is_clear(error), str(error)


def test_the_error_names_the_shot_and_says_what_it_has():
    with pytest.raises(
        FlightError, match=r"Shot 1 \(counted from 0; 2 of 3 such shots\): ball_speed_mps is not above 0"
    ):
        cl.Launch([60.0, 0.0, -3.0], 12.0, 0.0, 2600.0, 0.0)
    with pytest.raises(FlightError, match="Shot 2 .*delivered_loft_deg is not above attack_up_deg") as caught:
        cl.Delivery([40.0, 40.0, 40.0], [-2.0, 1.0, 5.0], 0.0, 0.0, [14.0, 12.0, 3.0])
    assert caught.value.facts["row"] == 2
    with pytest.raises(FlightError, match="spin_tilt_deg is impossible at this launch"):
        cl.Launch(60.0, 60.0, 0.0, 2600.0, 40.0)
    with pytest.raises(FlightError, match="spin_rpm is missing"):
        cl.Launch(60.0, 12.0, 0.0, float("nan"), 0.0)
    with pytest.raises(FlightError, match="launch_up_deg has 3 values, ball_speed_mps has 2"):
        cl.Launch([60.0, 61.0], [1.0, 2.0, 3.0], 0.0, 2600.0, 0.0)
    with pytest.raises(FlightError, match=r"Give a Launch\."):
        cl.fly((60.0, 12.0))


def test_shapes_come_back_as_they_were_given():
    for value, shape in ((60.0, ()), (np.array(60.0), ()), (60, ()), (np.float32(60), ()), ([60.0], (1,)), ([], (0,))):
        flight = cl.fly(cl.Launch(**(LAUNCH | {"ball_speed_mps": value})))
        assert np.shape(flight.carry_m) == shape
        assert np.shape(cl.roll_out(flight).total_m) == shape
        assert isinstance(flight.text(), str) and isinstance(flight._repr_html_(), str)
    series = cl.fly(cl.Launch(**(LAUNCH | {"ball_speed_mps": pd.Series([50, 60], index=[9, 4])}))).carry_m
    assert type(series) is np.ndarray and series[0] < series[1]


def test_a_value_is_told_as_a_person_would_write_it():
    assert said(np.int64(3)) == "3" and said((np.int64(9), np.float32(0.5))) == "(9, 0.5)"
    assert said(pd.Series([1.0, 2.0])) == "[1.0, 2.0]"
    assert said("x" * 200).endswith("...") and len(said("x" * 200)) == 60
