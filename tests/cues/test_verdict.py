import numpy as np
import pytest
from scipy import stats

from coachlab.cues.verdict import VERDICTS, study_verdict


@pytest.mark.parametrize(
    ("shift", "se", "verdict"),
    [
        (1.3, 0.2, "useful"),
        (0.95, 0.02, "too small"),  # sure, and below the smallest useful shift
        (1.3, 0.7, "not yet clear"),  # large enough, not sure enough
        (-0.5, 0.2, "wrong way"),
        (0.0, 0.2, "too small"),
        (0.0, 0.8, "not yet clear"),
    ],
)
def test_a_verdict_follows_from_estimate_and_error(shift, se, verdict):
    assert study_verdict(shift, se, 22, useful=1.0, students=23, grade="A") == verdict


def test_seven_students_get_no_word():
    assert study_verdict(1.3, 0.2, 6, useful=1.0, students=7, grade="A") == ""
    assert study_verdict(1.3, 0.2, 7, useful=1.0, students=8, grade="A") == "useful"


@pytest.mark.parametrize("grade", ["C", "D"])
def test_no_verdict_but_not_yet_clear_below_grade_b(grade):
    assert study_verdict(2.0, 0.1, 30, useful=1.0, students=31, grade=grade) == "not yet clear"
    assert study_verdict(2.0, 0.1, 5, useful=1.0, students=4, grade=grade) == "not yet clear"


def test_the_wrong_way_is_said_with_at_most_the_stated_error():
    # with no true shift, one-sided 90 % bounds err in 10 %; 4,000 draws: Monte-Carlo SE 0.5 points, four of them allowed
    rng = np.random.default_rng(1)
    draws = rng.normal(size=(4000, 12))
    said = [study_verdict(d.mean(), stats.sem(d), 11, useful=9.0, students=12, grade="A") for d in draws]
    assert abs(said.count("wrong way") / 4000 - 0.10) < 0.02
    assert set(said) <= set(VERDICTS)


def test_where_no_way_is_wanted_a_clear_shift_is_neither_useful_nor_wrong():
    for shift in (2.0, -2.0):
        assert study_verdict(shift, 0.2, 22, useful=1.0, students=23, grade="A", direction=0) == ""
    assert study_verdict(0.1, 0.2, 22, useful=1.0, students=23, grade="A", direction=0) == "too small"
    assert study_verdict(0.5, 0.8, 22, useful=1.0, students=23, grade="A", direction=0) == "not yet clear"
    assert study_verdict(-2.0, 0.2, 22, useful=1.0, students=23, grade="A", direction=-1) == "useful"
