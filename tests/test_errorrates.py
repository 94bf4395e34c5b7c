"""Errors of the first kind where no cue does anything: 2,000 studies a case, through the way that prints intervals."""

import pytest
from errorrates import rates

pytestmark = pytest.mark.slow

# 2,000 studies: the Monte-Carlo error of a rate of 5 % is half a point, so that the limits lie three of them away


@pytest.mark.parametrize("students", [8, 12, 24])
def test_a_twentieth_is_rejected_where_students_differ_as_usual(students):
    assert 0.035 <= rates(students, 1.0)["rejected"] <= 0.065


@pytest.mark.parametrize("students", [8, 12, 24])
def test_intervals_hold_no_shift_as_often_as_they_say(students):
    assert 0.935 <= 1 - rates(students, 1.0)["rejected"] <= 0.965


@pytest.mark.parametrize("slope_sd", [0.0, 0.3, 0.6])
@pytest.mark.parametrize("students", [8, 12, 24])
def test_no_more_is_rejected_where_students_differ_less(students, slope_sd):
    assert rates(students, slope_sd)["rejected"] <= 0.065


@pytest.mark.parametrize("students", [8, 12])
def test_z_rejects_too_often_with_few_students(students):
    assert rates(students, 1.0)["z"] > 0.065
