import pytest

import coachlab as cl
from coachlab import units
from coachlab.schema import COLUMNS


@pytest.mark.parametrize(
    ("unit", "column", "factor"),
    [
        ("mph", "club_speed_mps", 0.44704),
        ("km/h", "ball_speed_mps", 1 / 3.6),
        ("yd", "carry_m", 0.9144),
        ("ft", "peak_m", 0.3048),
        ("in", "strike_toe_mm", 25.4),
        ("cm", "arc_bottom_fwd_mm", 10.0),
        ("°", "attack_up_deg", 1.0),
        ("%", "humidity", 0.01),
    ],
)
def test_a_value_is_converted_by_the_defined_factor(unit, column, factor):
    # the factors are exact by definition; only the last bit of a double may differ
    assert units.factor_to_column(unit, column) == pytest.approx(factor, rel=1e-15)


def test_a_unit_of_another_measure_is_refused_with_the_ones_that_fit():
    with pytest.raises(cl.DataError, match=r"club_speed_mps can be read from: mps, kmh, mph"):
        units.factor_to_column("yd", "club_speed_mps")


def test_a_minus_is_a_minus_and_zero_has_no_sign():
    unit = units.shown("attack_up_deg")
    assert unit.text(-3.52) == "−3.5°"
    assert unit.number(-0.04, sign=True) == "0.0"
    assert unit.text(float("nan")) == "–"


def test_metres_and_yards_are_the_only_two_systems():
    assert units.shown("carry_m", "metres").text(100.0) == "100.0 m"
    assert units.shown("carry_m").text(91.44) == "100.0 yd"
    with pytest.raises(cl.DataError, match="yards and metres"):
        units.shown("carry_m", "furlongs")


def test_every_measured_column_can_be_read_from_some_unit():
    for column in COLUMNS.values():
        if column.origin in ("measured", "derived") and column.name != "speed_ratio":
            assert units.units_for(column.name), column.name
