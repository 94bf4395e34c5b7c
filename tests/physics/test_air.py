"""Air against the standard atmosphere and printed values of moist air, and what it refuses."""

import numpy as np
import pytest

from coachlab.errors import FlightError
from coachlab.physics.air import Air, air_density, pressure_at


def test_dry_air_at_sea_level_has_the_density_of_the_standard_atmosphere():
    # the standard's gas constant is 0.04 % off the one of CIPM-2007, which knows the air's composition better
    assert air_density(15.0, 101_325.0, humidity=0.0) == pytest.approx(1.2250, rel=6e-4)


def test_density_agrees_with_the_ideal_gas_of_dry_air_and_vapour():
    # Z lies within 0.05 % of 1; the vapour pressure here is Buck's, good to 0.1 % of a small part
    t, p, h = 30.0, 98_000.0, 0.8
    vapour = h * 611.21 * np.exp(17.502 * t / (240.97 + t))
    ideal = (p - vapour) / (287.05 * (t + 273.15)) + vapour / (461.5 * (t + 273.15))
    assert air_density(t, p, h) == pytest.approx(ideal, rel=1e-3)


def test_moist_air_is_lighter():
    assert air_density(30.0, 101_325.0, humidity=0.9) < air_density(30.0, 101_325.0, humidity=0.1)


@pytest.mark.parametrize(("height", "pascal"), [(0, 101_325), (1000, 89_874.6), (3000, 70_108.5)])
def test_pressure_follows_the_printed_standard_atmosphere(height, pascal):
    assert pressure_at(height) == pytest.approx(pascal, abs=10)  # tables print it for geopotential metres


def test_a_measured_pressure_goes_before_the_altitude():
    assert Air(altitude_m=1600, pressure_pa=101_325.0).density_kgpm3 == Air().density_kgpm3
    assert Air(altitude_m=1600).density_kgpm3 < 0.85 * Air().density_kgpm3


def test_viscosity_is_that_of_printed_tables():
    assert Air(temperature_c=20.0).viscosity_pas == pytest.approx(1.813e-5, rel=2e-3)  # tables differ by 0.2 %


def test_numbers_stay_numbers_and_arrays_arrays():
    assert type(Air().density_kgpm3) is float
    many = Air(temperature_c=[0.0, 20.0], altitude_m=100)
    assert many.density_kgpm3.shape == (2,)
    assert many.length == 2 and Air().length is None


@pytest.mark.parametrize(
    ("wrong", "found"),
    [
        ({"humidity": 55}, "humidity is missing or outside 0 to 1"),
        ({"pressure_pa": 1013}, "pressure_pa is missing or outside 30,000"),
        ({"temperature_c": float("nan")}, "temperature_c is missing"),
        ({"tail_mps": 90}, "tail_mps is missing or above 40"),
        ({"profile": "gusty"}, "profile is 'gusty'"),
        ({"tail_mps": "strong"}, "tail_mps is 'strong', no number"),
        ({"tail_mps": [1.0, 2.0], "cross_mps": [1.0]}, "cross_mps has 1 values, tail_mps has 2"),
        ({"tail_mps": [[1.0, 2.0]]}, r"tail_mps has the shape \(1, 2\)"),
    ],
)
def test_air_that_cannot_be_is_refused_in_one_message(wrong, found):
    with pytest.raises(FlightError, match=found):
        Air(**wrong)


def test_the_message_names_the_shot():
    with pytest.raises(FlightError, match=r"Shot 1 \(counted from 0; 1 of 3 such shots\).*humidity 1.5") as caught:
        Air(humidity=[0.5, 1.5, 0.5])
    assert caught.value.facts["row"] == 1
