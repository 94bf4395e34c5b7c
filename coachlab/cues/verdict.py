"""The verdict on a cue over many students: useful, wrong way, too small, or not yet clear."""

import numpy as np
from scipy import stats

VERDICTS = ("useful", "wrong way", "too small", "not yet clear")


def study_verdict(
    shift: float, se: float, df: float, useful: float, students: int, grade: str, least_students: int = 8
) -> str:
    """Return the verdict on an average shift, already turned so that plus is the wanted way.

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
    if shift + one_sided_90 < 0:
        return "wrong way"
    if shift - one_sided_90 > useful / 2 and shift >= useful:
        return "useful"
    if -useful < shift - two_sided_90 and shift + two_sided_90 < useful:
        return "too small"
    return "not yet clear"
