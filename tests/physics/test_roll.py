"""The run after landing: limits that hold whatever the turf."""

import numpy as np
import pytest

from coachlab.physics.flight import fly
from coachlab.physics.launch import Launch
from coachlab.physics.roll import SPREAD, roll_out

DRIVE, WEDGE = (70.0, 12.0, 0.0, 2600.0, 0.0), (38.0, 30.0, 0.0, 9000.0, 0.0)


def test_a_drive_runs_on_and_a_wedge_hardly():
    drive, wedge = roll_out(fly(Launch(*DRIVE))), roll_out(fly(Launch(*WEDGE)))
    assert 10 < drive.run_m < 40  # what published drives run on fairways
    assert -8 < wedge.run_m < 5
    assert drive.bounces > 3


def test_the_run_is_shown_with_thirty_percent_either_way():
    run = roll_out(fly(Launch(*DRIVE)))
    assert run.high_m - run.run_m == pytest.approx(SPREAD * run.run_m)
    assert run.run_m - run.low_m == pytest.approx(SPREAD * run.run_m)
    assert "hangs on the turf" in run.text() and run.text() in run._repr_html_()


def test_more_backspin_runs_less():
    run = roll_out(fly(Launch(60.0, 15.0, 0.0, [2000.0, 4000.0, 6000.0], 0.0))).run_m
    assert run[0] > run[1] > run[2]


def test_a_straight_ball_adds_its_run_to_its_carry_and_a_curved_one_goes_on_along_its_landing():
    straight = roll_out(fly(Launch(*DRIVE)))
    assert straight.total_m == pytest.approx(straight.flight.carry_m + straight.run_m)
    assert straight.side_m == 0.0
    curved = fly(Launch(70.0, 12.0, 2.0, 2600.0, 8.0))
    run = roll_out(curved)
    out = np.radians(curved.land_direction_deg)
    assert run.side_m - curved.side_m == pytest.approx(run.run_m * np.sin(out))
    assert run.total_m < curved.carry_m + run.run_m


def test_the_mirrored_flight_runs_mirrored():
    runs = roll_out(fly(Launch(60.0, 14.0, [3.0, -3.0], 4000.0, [9.0, -9.0])))
    assert runs.run_m[0] == pytest.approx(runs.run_m[1], rel=1e-9)
    assert runs.side_m[0] == pytest.approx(-runs.side_m[1], rel=1e-9)


def test_numbers_stay_numbers_and_many_are_summed_up():
    assert type(roll_out(fly(Launch(*DRIVE))).total_m) is float
    many = roll_out(fly(Launch([70.0, 60.0], 12.0, 0.0, 2600.0, 0.0)))
    assert many.run_m.shape == (2,)
    assert many.text().startswith("2 runs, ")
    assert roll_out(fly(Launch(*(np.empty(0) for _ in range(5))))).text() == "No shots."
