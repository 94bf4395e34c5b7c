"""Errors of the first kind where no cue does anything: 2,000 studies a case, through the way that prints intervals."""

import numpy as np
import pytest
from errorrates import answers, rates
from studies import answer_of, crossover, part_of, values, with_outcome

# 2,000 studies: the Monte-Carlo error of a rate of 5 % is half a point, so that the limits lie three of them away


@pytest.mark.slow
@pytest.mark.parametrize("students", [8, 12, 24])
def test_a_twentieth_is_rejected_where_students_differ_as_usual(students):
    assert 0.035 <= rates(students, 1.0)["rejected"] <= 0.065


@pytest.mark.slow
@pytest.mark.parametrize("students", [8, 12, 24])
def test_intervals_hold_no_shift_as_often_as_they_say(students):
    assert 0.935 <= 1 - rates(students, 1.0)["rejected"] <= 0.965


@pytest.mark.slow
@pytest.mark.parametrize("slope_sd", [0.0, 0.3, 0.6])
@pytest.mark.slow
@pytest.mark.parametrize("students", [8, 12, 24])
def test_no_more_is_rejected_where_students_differ_less(students, slope_sd):
    assert rates(students, slope_sd)["rejected"] <= 0.065


@pytest.mark.slow
@pytest.mark.parametrize("students", [8, 12])
def test_z_rejects_too_often_with_few_students(students):
    assert rates(students, 1.0)["z"] > 0.065


def test_studies_fitted_together_have_the_answers_of_each_alone():
    rng = np.random.default_rng(3)
    frame = crossover(8)
    lessons = part_of(frame, rng)
    outcomes = [values(frame, rng, 0.3) for _ in range(12)]
    alone = [answer_of(with_outcome(lessons, outcome)) for outcome in outcomes]
    for one, other in zip(alone, answers(lessons, outcomes), strict=True):
        assert other.ladder.rung == one.ladder.rung
        assert other.estimate == pytest.approx(one.estimate, abs=1e-9)
        # ends of two searches
        assert other.se == pytest.approx(one.se, rel=1e-4)
        assert other.df == pytest.approx(one.df, abs=0.02)
