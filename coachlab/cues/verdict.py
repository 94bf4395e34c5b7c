"""The verdict on a cue over many students: useful, wrong way, too small, or not yet clear."""

import numpy as np
from scipy import stats

VERDICTS = ("useful", "wrong way", "too small", "not yet clear")


def study_verdict(
    shift: float,
    se: float,
    df: float,
    useful: float,
    students: int,
    grade: str,
    least_students: int = 8,
    direction: int = 1,
) -> str:
    """Return the verdict on an average shift.

    Useful: the lower end of the 80 % interval lies above half the smallest useful shift and the estimate reaches it, at
    grade A or B. Wrong way: the one-sided 90 % bound lies below zero. Too small: the 90 % interval lies inside plus and
    minus the smallest useful shift. Anything else, and anything at grade C or D, is not yet clear.

    Parameters
    ----------
    shift, se, df : float
        Estimate, standard error and degrees of freedom.
    useful : float
        The smallest useful shift, in the same unit, positive.
    students : int
        Students with both conditions.
    grade : str
        The evidence grade.
    least_students : int
        Below this number no verdict is given.
    direction : {1, -1, 0}
        The wanted way; 0 where none is wanted: then a shift can be too small or not yet clear, and one that is
        clear gets no word, since whether it is good is not for the shift to say.

    Returns
    -------
    str
        One of `VERDICTS`; empty where no verdict may be given.

    >>> study_verdict(1.3, 0.2, 22, useful=1.0, students=23, grade="A")
    'useful'
    """
    if students < least_students or not np.isfinite(shift):
        return "not yet clear" if grade in ("C", "D") else ""
    if grade in ("C", "D"):
        return "not yet clear"
    one_sided_90 = stats.t.ppf(0.90, df) * se
    two_sided_90 = stats.t.ppf(0.95, df) * se
    if direction == 0:
        small = -useful < shift - two_sided_90 and shift + two_sided_90 < useful
        clear = abs(shift) > stats.t.ppf(0.975, df) * se
        return "too small" if small else "" if clear else "not yet clear"
    shift *= direction
    if shift + one_sided_90 < 0:
        return "wrong way"
    if shift - one_sided_90 > useful / 2 and shift >= useful:
        return "useful"
    if -useful < shift - two_sided_90 and shift + two_sided_90 < useful:
        return "too small"
    return "not yet clear"


def say_verdict(verdict: str, estimate: float, students: int, least_students: int = 8) -> str:
    """Return the verdict as a page shows it, with words where none was given.

    >>> say_verdict("", 1.2, 20)
    'moved, no way wanted'
    """
    if verdict:
        return verdict
    return "moved, no way wanted" if np.isfinite(estimate) and students >= least_students else "none yet"
