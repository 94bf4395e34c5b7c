"""The model of one cue (M1), and the rungs to step down to where the lessons cannot carry all of it."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from coachlab.cues.blocks import lesson_table
from coachlab.cues.grade import Grade
from coachlab.errors import FitError
from coachlab.mixed.fit import Fit, fit_mixed

LEAST_STUDENTS = 6
"""Students with both conditions below which no mean shift is printed (methods: minimum data)."""


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


def fit_shift(
    part: pd.DataFrame, blocks: pd.DataFrame, outcome: str, grade: Grade, students: int, remarks: list[str]
) -> Answer:
    """Return the average shift of one cue, stepping down the ladder of M1 where the data cannot carry it.

    The cue slope of each student stays on every rung. Remarks are added to the list that is passed.
    """
    if grade.grade == "D" or students < LEAST_STUDENTS:
        return Answer()
    formula = base_formula(blocks, outcome, remarks)
    fit = fit_mixed(formula, part)
    slope_sd = _slope_sd(fit)
    if fit.singular and (slope_sd == 0 or _perfect_correlation(fit)):
        remarks.append("The correlation of start and shift could not be told from +-1 or 0 and was left out.")
        part = part.assign(on_h=part["on"] - 0.5)
        formula = formula.replace("(1 + on | student)", "(1 | student) + (0 + on_h | student)")
        fit = fit_mixed(formula, part)
        slope_sd = _slope_sd(fit)
    if slope_sd == 0:
        remarks.append("The spread of the shift between students was estimated at zero; the interval keeps N - 1 df.")
    row = fit.coefficients().table.set_index("term").loc["on"]
    if not np.isfinite(row["estimate"]):
        raise FitError(
            f"The shift of {outcome} was asked for.",
            "It is not estimable from these lessons.",
            "Check the log's phases.",
        )
    df = min(float(row["df"]), students - 1)
    return Answer(float(row["estimate"]), float(row["se"]), df, float(row["df"]), slope_sd, formula, fit)


def base_formula(blocks: pd.DataFrame, outcome: str, remarks: list[str]) -> str:
    """Return model M1 for these lessons, without the terms that they cannot separate, each with a remark."""
    lessons = lesson_table(blocks)
    terms = [outcome, "~ on"]
    plain_first = ["".join(sorted(states, reverse=True)) == states for states in lessons["states"]]
    if np.mean(plain_first) > 0.95:
        remarks.append("Plain always came before the cue: the shift is not separable from time.")
    else:
        terms.append("+ per_c + lshot_c")
    terms.append("+ (1 + on | student)")
    if lessons["student"].duplicated().any():
        terms.append("+ (1 | session)")
    sides = pd.factorize(blocks["student"])[0] * 2 + (blocks["on"].to_numpy() > 0)
    if np.median(np.unique(sides, return_counts=True)[1]) > 1:
        terms.append("+ (1 | block)")
    else:
        remarks.append("One block per condition: the spread between students includes block-to-block noise.")
    return " ".join(terms)


def _slope_sd(fit: Fit) -> float:
    rows = fit.components
    mine = rows[(rows["group"] == "student") & rows["term"].isin(["on", "on_h"]) & rows["other"].isna()]
    return float(mine["sd_or_corr"].iloc[0])


def _perfect_correlation(fit: Fit) -> bool:
    rows = fit.components
    pairs = rows[(rows["group"] == "student") & rows["other"].notna()]
    return bool((~(pairs["sd_or_corr"].abs() < 0.9999)).any())
