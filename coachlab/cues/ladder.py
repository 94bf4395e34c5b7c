"""The model of one cue (M1), and the rungs to step down to where the lessons cannot carry all of it.

The full model has a start and a shift for each student, and a level for each day and each block. Rungs, in order:

a  all that the lessons justify
b  no correlation of start and shift, the cue coded -.5 and +.5 among students (0 and 1 would force more variance on the
   cue's blocks than on plain ones)
c  no term for the day, where each student came once
d  block means, weighted by their shots, where single shots cannot be fitted
e  one difference for each student, and a paired t

Whatever the rung, every student keeps a shift of their own: without it shots would count as evidence, not students.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import pandas as pd

from coachlab.cues.blocks import lessons_of, paired_means
from coachlab.cues.parts import Part
from coachlab.errors import FitError
from coachlab.mixed.fit import Fit, fit_mixed

LEAST_STUDENTS = 6
"""Students with both conditions below which no mean shift is printed."""
LEAST_COACHES = 5
"""Coaches from whom on the spread between them is in the model."""
NOTHING = 1e-4
"""Of the residual SD: a spread below this is none (the same limit by which a fit is called singular)."""
COLUMNS = ("rung", "formula", "taken", "reason")
PAIRED = "one difference for each student, paired t"

_TIME = (
    "{first} always came before {second}: the shift is not separable from time; period and shot number are left out."
)
_ALIKE = "{names} cannot be told from the cue or do not vary: left out, and the shift is not separable from them."
_COVARIATES = {"per_c": "Period", "lshot_c": "shot number"}
_ONE_BLOCK = (
    "One block per condition: the spread between students includes block-to-block noise, and the term for blocks is "
    "left out."
)
_CORRELATION = "The correlation of start and shift could not be told from ±1 or 0 and was left out."
_ONE_DAY = "Each student came once with this cue: what a day adds cannot be told from the student, no term for days."
_MEANS = "{why}: block means, weighted by their shots, stand in for single shots."
_DIFFERENCES = "{why}: one difference for each student stands in for the model."
_NO_SPREAD = (
    "Students' shifts differ by no more than chance makes; the interval stays as wide as for so many students all the "
    "same (slope SD estimated at zero; the interval keeps N - 1 df)."
)
_NO_BLOCKS = (
    "Blocks of one student differ by no more than chance makes; each student's own shift stays in the model (block SD "
    "estimated at zero)."
)


@dataclass(frozen=True, eq=False)
class Ladder:
    """The rungs that a model stepped down, and why.

    Attributes
    ----------
    table : DataFrame
        ``rung formula taken reason``: a row for each rung passed, in order, the last of them taken. ``rung`` is a to e,
        or ``time`` and ``one block`` for what the order and number of blocks cannot separate.
    remarks : tuple of str
        What was found on the rung taken: a spread estimated at zero.
    """

    table: pd.DataFrame
    remarks: tuple[str, ...] = ()

    @property
    def rung(self) -> str:
        """The letter of the rung taken; empty where no model was offered."""
        letters = [name for name in self.table["rung"] if len(name) == 1]
        return letters[-1] if letters else ""

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why it is not the full model, a sentence a rung, and what was found."""
        return (*self.table["reason"].iloc[1:], *self.remarks)

    def text(self) -> str:
        """Return the rung and its reasons in sentences."""
        if not len(self.table):
            return "No model was offered."
        formula = self.table["formula"].iloc[-1]
        full = ["The full model."] * (len(self.table) == 1)
        return " ".join([f"Rung {self.rung}: {formula}.", *full, *self.reasons])

    def __repr__(self) -> str:
        return f"<Ladder: {self.text()}>"

    def _repr_html_(self) -> str:
        return self.table.to_html(index=False, escape=True)


def _no_ladder() -> Ladder:
    return Ladder(pd.DataFrame({name: [] for name in COLUMNS}))


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
    ladder: Ladder = field(default_factory=_no_ladder)


class Terms(NamedTuple):
    """What stands in a model of one cue; the student's own start and shift always do."""

    time: tuple[str, ...] = ("per_c", "lshot_c")
    apart: bool = False
    session: bool = True
    session_shift: bool = False
    coach: bool = False
    block: bool = True

    def formula(self, outcome: str) -> str:
        """Return the model as the engine reads it."""
        parts = [f"{outcome} ~ on", *self.time]
        parts.append("(1 | student) + (0 + on_h | student)" if self.apart else "(1 + on | student)")
        parts += ["(1 | session)"] * self.session + ["(0 + on | session)"] * self.session_shift
        parts += ["(0 + on | coach)"] * self.coach + ["(1 | block)"] * self.block
        return " + ".join(parts)


def fit_shift(part: Part, outcome: str, students: int, remarks: list[str]) -> Answer:
    """Return the average shift of one cue: fit, look, step down where the data cannot carry the model.

    Parameters
    ----------
    part : Part
        The lessons of one cue.
    outcome : str
        The outcome's column.
    students : int
        Students with both conditions.
    remarks : list of str
        The reasons for the rung taken are added to it.

    Raises
    ------
    FitError
        If not even the students' own differences have an average with an error.
    """
    if part.grade.grade == "D" or students < LEAST_STUDENTS:
        return Answer()
    full, terms, why = _justified(part.blocks, part.rows)
    trouble = _one_value(part.blocks)
    fit = None
    if not trouble:
        fit, terms, trouble = _settle(part.rows, outcome, terms)
    rungs = _passed(full, terms, why, outcome)
    if fit is None:
        fit, terms, again = _settle(_block_means(part.rows, outcome), outcome, terms._replace(block=False), "shots")
        rungs.append(("d", f"{terms.formula(outcome)}, block means weighted by shots", _MEANS.format(why=trouble)))
        trouble = again
    if fit is None:
        rungs.append(("e", PAIRED, _DIFFERENCES.format(why=trouble)))
        estimate, se, df_model, slope_sd = _paired(part, outcome)
    else:
        estimate, se, df_model = _read(fit, outcome)
        slope_sd, _ = _student_part(fit)
    table = pd.DataFrame(rungs, columns=["rung", "formula", "reason"])
    table.insert(2, "taken", np.arange(len(table)) == len(table) - 1)
    ladder = Ladder(table, tuple(_found(fit, slope_sd)))
    remarks += ladder.reasons
    model = table["formula"].iloc[-1]
    return Answer(estimate, se, min(df_model, students - 1), df_model, slope_sd, model, fit, ladder)


def base_formula(blocks: pd.DataFrame, outcome: str, remarks: list[str], rows: pd.DataFrame | None = None) -> str:
    """Return model M1 for these lessons, without the terms that they cannot separate, each with a remark.

    With the rows, covariates that do not vary beside the cue are left out too.
    """
    _, terms, why = _justified(blocks, rows)
    remarks += why.values()
    return terms.formula(outcome)


def _justified(blocks: pd.DataFrame, rows: pd.DataFrame | None) -> tuple[Terms, Terms, dict[str, str]]:
    """Return the full model, what of it the lessons can separate, and the reason for each rung on the way."""
    lessons = lessons_of(blocks)
    on = blocks["on"].to_numpy() > 0
    why: dict[str, str] = {}
    full = terms = Terms(session_shift=_same_cue_twice(blocks, on), coach=_enough_coaches(blocks))
    for first, second, turned in (("Plain", "the cue", "cp"), ("The cue", "plain", "pc")):
        if np.mean([lesson.both and turned not in lesson.states for lesson in lessons]) > 0.95:
            terms, why["time"] = terms._replace(time=()), _TIME.format(first=first, second=second)
    lost = [] if rows is None else _not_separable(rows, terms.time)
    if lost:
        terms = terms._replace(time=tuple(name for name in terms.time if name not in lost))
        why["time"] = _ALIKE.format(names=" and ".join(_COVARIATES[name] for name in lost))
    sides = pd.factorize(blocks["student"])[0] * 2 + on
    if np.median(np.unique(sides, return_counts=True)[1]) <= 1:
        terms, why["one block"] = terms._replace(block=False), _ONE_BLOCK
    if len({lesson.student for lesson in lessons}) == len(lessons):
        terms, why["c"] = terms._replace(session=False, session_shift=False), _ONE_DAY
    return full, terms, why


def _same_cue_twice(blocks: pd.DataFrame, on: np.ndarray) -> bool:
    """Whether most students had a cue in two lessons, with two blocks of it in each: else it is the student's shift."""
    held = Counter(zip(*(blocks[name].to_numpy()[on] for name in ("student", "cue", "session")), strict=True))
    visits = Counter((student, cue) for student, cue, _ in held)
    often = sum(number >= 2 for number in visits.values())
    return often > 0.5 * len(visits) and sorted(held.values())[len(held) // 2] >= 2


def _enough_coaches(blocks: pd.DataFrame) -> bool:
    """Whether enough coaches with two students or more stand behind these lessons."""
    if "coach" not in blocks:
        return False
    taught = Counter(
        coach for coach, _ in set(zip(blocks["coach"].to_numpy(), blocks["student"].to_numpy(), strict=True))
    )
    return sum(students >= 2 for students in taught.values()) >= LEAST_COACHES


def _not_separable(rows: pd.DataFrame, names: tuple[str, ...]) -> list[str]:
    """Return the covariates that are constant or sums of the cue's column and those before them."""
    kept, lost = [np.ones(len(rows)), rows["on"].to_numpy(float)], []
    for name in names:
        column = rows[name].to_numpy(float)
        left = column - np.column_stack(kept) @ np.linalg.lstsq(np.column_stack(kept), column, rcond=None)[0]
        if np.sum(left**2) <= 1e-8 * max(np.sum(column**2), 1e-300):
            lost.append(name)
        else:
            kept.append(column)
    return lost


def _one_value(blocks: pd.DataFrame) -> str:
    """Return a sentence where a file holds one value for all shots of a block, so that shots have no spread."""
    within, between = blocks["sd"].to_numpy(), blocks["mean"].to_numpy()
    return "The shots of every block hold one value" if within.max() <= 1e-6 * between.std() else ""


def _settle(
    rows: pd.DataFrame, outcome: str, terms: Terms, weights: str | None = None
) -> tuple[Fit | None, Terms, str]:
    """Fit with start and shift correlated, apart where that is singular; None and the trouble where neither ends."""
    for chosen in (terms._replace(apart=False), terms._replace(apart=True)):
        try:
            fit = fit_mixed(chosen.formula(outcome), _coded(rows, chosen), weights=weights)
        except FitError as err:
            return None, chosen, f"The model could not be fitted ({err.found})"
        slope_sd, correlation = _student_part(fit)
        flat = fit.singular and (slope_sd < NOTHING * fit.sigma or not abs(correlation) < 0.9999)
        if fit.converged and (chosen.apart or not flat):
            return fit, chosen, ""
    return None, chosen, f"The search for the model did not end at a minimum ({fit.record.why})"


def _coded(rows: pd.DataFrame, terms: Terms) -> pd.DataFrame:
    return rows.assign(on_h=rows["on"] - 0.5) if terms.apart else rows


def _passed(full: Terms, terms: Terms, why: dict[str, str], outcome: str) -> list[tuple[str, str, str]]:
    """Return the rungs passed so far as ``rung formula reason``, each with what is left of the full model there."""
    if terms.apart:
        why = why | {"b": _CORRELATION}
    rungs, here = [("a", full.formula(outcome), "The full model.")], full
    for rung, names in (
        ("time", ("time",)),
        ("one block", ("block",)),
        ("b", ("apart",)),
        ("c", ("session", "session_shift")),
    ):
        if rung in why:
            here = here._replace(**{name: getattr(terms, name) for name in names})
            rungs.append((rung, here.formula(outcome), why[rung]))
    return rungs


def _block_means(rows: pd.DataFrame, outcome: str) -> pd.DataFrame:
    """Return one row a block: its ids, the means of outcome and covariates, and how many shots."""
    ids = [name for name in ("student", "coach", "session", "block") if name in rows]
    groups = rows.astype(dict.fromkeys(ids, "str")).groupby(ids, sort=False)
    means = groups[[outcome, "on", "per_c", "lshot_c"]].mean()
    return means.assign(shots=groups.size().astype(float)).reset_index()


def _paired(part: Part, outcome: str) -> tuple[float, float, float, float]:
    """Return mean, standard error, df and SD of the students' own differences."""
    shift = paired_means(part.blocks, part.cue)["shift"].to_numpy()
    spread = float(shift.std(ddof=1))
    if not spread > 0:
        raise FitError(
            f"The shift of {outcome} with {part.cue} was asked for.",
            f"All {len(shift)} students have the same difference, {shift[0]:g}: nothing shows how far it may err.",
            "Check whether the file holds measured shots.",
        )
    return float(shift.mean()), spread / np.sqrt(len(shift)), len(shift) - 1.0, spread


def _read(fit: Fit, outcome: str) -> tuple[float, float, float]:
    """Return estimate, standard error and Satterthwaite's df of the shift."""
    found = fit.inference.linear(np.array([[name == "on" for name in fit.terms]], float), "satterthwaite", 0.95)
    estimate, se, df = (float(found[name][0]) for name in ("estimate", "se", "df"))
    if not np.isfinite(estimate):
        raise FitError(
            f"The shift of {outcome} was asked for.",
            "It is not estimable from these lessons.",
            "Check the log's phases.",
        )
    return estimate, se, df


def _found(fit: Fit | None, slope_sd: float) -> Iterator[str]:
    """Sentences on spreads that were estimated at zero."""
    if fit is None:
        return
    if slope_sd < NOTHING * fit.sigma:
        yield _NO_SPREAD
    if any(np.sqrt(covariance[0, 0]) < NOTHING * fit.sigma for _, covariance in _covariances(fit, "block")):
        yield _NO_BLOCKS


def _student_part(fit: Fit) -> tuple[float, float]:
    """Return the SD of the cue slope between students, and its correlation with the start (0 where there is none)."""
    for names, covariance in _covariances(fit, "student"):
        slope = next((i for i, name in enumerate(names) if name in ("on", "on_h")), None)
        if slope is None:
            continue
        sd = np.sqrt(np.diag(covariance))
        if len(names) == 1:
            return float(sd[0]), 0.0
        size = sd[0] * sd[1]
        return float(sd[slope]), float(covariance[0, 1] / size) if size > 0 else np.nan
    return 0.0, 0.0


def _covariances(fit: Fit, group: str) -> list[tuple[tuple[str, ...], np.ndarray]]:
    """Return names and covariance of each random term of a group; `Fit.components` would cost as much as the fit."""
    factors = fit.problem.factors_at(fit.inference.optimum.x)
    return [
        (term.names, fit.sigma**2 * factor @ factor.T)
        for term, factor in zip(fit.problem.terms, factors, strict=True)
        if term.group == group
    ]
