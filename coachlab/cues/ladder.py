"""The model of one cue (M1), and the rungs to step down to where the lessons cannot carry all of it."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from coachlab.cues.blocks import lessons_of
from coachlab.cues.parts import Part
from coachlab.errors import FitError
from coachlab.mixed.fit import Fit, fit_mixed

LEAST_STUDENTS = 6
"""Students with both conditions below which no mean shift is printed."""
NOTHING = 1e-4
"""Of the residual SD: a slope SD below this is no spread (the same limit by which a fit is called singular)."""


@dataclass(frozen=True, eq=False)
class Answer:
    """What the model of one cue gives: the shift, its error, and the model behind it; NaN where none was offered."""

    estimate: float = np.nan
    se: float = np.nan
    df: float = np.nan
    df_model: float = np.nan
    slope_sd: float = np.nan
    model: str = "none"
    fit: Fit | None = None


def fit_shift(part: Part, outcome: str, students: int, remarks: list[str]) -> Answer:
    """Return the average shift of one cue, stepping down the ladder of M1 where the data cannot carry it.

    The cue slope of each student stays on every rung. Remarks are added to the list that is passed.
    """
    if part.grade.grade == "D" or students < LEAST_STUDENTS:
        return Answer()
    formula = base_formula(part.blocks, outcome, remarks)
    fit = fit_mixed(formula, part.rows)
    slope_sd, correlation = _student_part(fit)
    nothing = NOTHING * fit.sigma
    if fit.singular and (slope_sd < nothing or not abs(correlation) < 0.9999):
        remarks.append("The correlation of start and shift could not be told from ±1 or 0 and was left out.")
        formula = formula.replace("(1 + on | student)", "(1 | student) + (0 + on_h | student)")
        fit = fit_mixed(formula, part.rows.assign(on_h=part.rows["on"] - 0.5))
        slope_sd, _ = _student_part(fit)
    if slope_sd < nothing:
        remarks.append("The spread of the shift between students was estimated at zero; the interval keeps N - 1 df.")
    found = fit.inference.linear(np.array([[name == "on" for name in fit.terms]], float), "satterthwaite", 0.95)
    estimate, se, df_model = (float(found[name][0]) for name in ("estimate", "se", "df"))
    if not np.isfinite(estimate):
        raise FitError(
            f"The shift of {outcome} was asked for.",
            "It is not estimable from these lessons.",
            "Check the log's phases.",
        )
    return Answer(estimate, se, min(df_model, students - 1), df_model, slope_sd, formula, fit)


def base_formula(blocks: pd.DataFrame, outcome: str, remarks: list[str]) -> str:
    """Return model M1 for these lessons, without the terms that they cannot separate, each with a remark."""
    lessons = lessons_of(blocks)
    terms = [outcome, "~ on"]
    plain_first = [lesson.both and "cp" not in lesson.states for lesson in lessons]
    if np.mean(plain_first) > 0.95:
        remarks.append("Plain always came before the cue: the shift is not separable from time.")
    else:
        terms.append("+ per_c + lshot_c")
    terms.append("+ (1 + on | student)")
    if len({lesson.student for lesson in lessons}) < len(lessons):
        terms.append("+ (1 | session)")
    sides = pd.factorize(blocks["student"])[0] * 2 + (blocks["on"].to_numpy() > 0)
    if np.median(np.unique(sides, return_counts=True)[1]) > 1:
        terms.append("+ (1 | block)")
    else:
        remarks.append("One block per condition: the spread between students includes block-to-block noise.")
    return " ".join(terms)


def _student_part(fit: Fit) -> tuple[float, float]:
    """Return the SD of the cue slope between students, and its correlation with the start (0 where there is none)."""
    rows = fit.components
    group, term, sd = (rows[name].to_numpy() for name in ("group", "term", "sd_or_corr"))
    mine = group == "student"
    paired = mine & rows["other"].notna().to_numpy()
    slope = mine & ~paired & ((term == "on") | (term == "on_h"))
    return float(sd[slope][0]), float(sd[paired][0]) if paired.any() else 0.0
