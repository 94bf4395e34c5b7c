"""A second opinion: the same model of one cue in statsmodels, side by side, every difference in words.

statsmodels is a general-purpose program by other people. Where both agree, a slip of ours would have to be theirs too.
"""

import html
import warnings
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from coachlab.cues.diagnose import model_of
from coachlab.cues.ladder import Answer
from coachlab.cues.looks import part_name
from coachlab.cues.parts import Part
from coachlab.cues.table import outcome_of
from coachlab.errors import DataError
from coachlab.mixed.fit import Fit
from coachlab.schema import OUTCOMES
from coachlab.settings import Settings
from coachlab.units import Shown, shown

SAME = 0.02
"""Of a standard error, or relative for a spread: two answers nearer than this are called the same."""
OPTIMUM = 0.01
"""Of -2 log likelihood: two optima nearer than this are one."""
_MOST_ROWS = 20_000
"""Rows beyond which the other program would keep a reader waiting for minutes."""
_THE_SAME, _SEARCH = "the same", "a search that did not end"
_WORDS = (
    ("boundary", "a spread lies at its border, 0"),
    ("singular", "a spread lies at its border, 0"),
    ("Retrying", _SEARCH),
    ("trying a different optimizer", _SEARCH),
    ("Gradient optimization failed", _SEARCH),
    ("failed to converge", _SEARCH),
    ("Hessian", "the curvature at its end is not that of a minimum"),
)


@dataclass(frozen=True, eq=False)
class SecondOpinion:
    """Our answer and that of statsmodels, a row each.

    Attributes
    ----------
    table : DataFrame
        ``what ours theirs remark``: numbers as text, in the academy's units. Where the other program gave no answer
        there is one row that says why.
    fitted : bool
        Whether the other program fitted the model.
    agrees : bool
        Whether the shift and its error are the same there.
    question : str
        What both answer.
    """

    table: pd.DataFrame
    fitted: bool
    agrees: bool
    question: str

    def text(self) -> str:
        """Return in a sentence or two whether both agree, and why not where they differ."""
        if not self.fitted:
            return f"No second opinion on {self.question}: {self.table['remark'].iloc[0]}"
        if self.agrees:
            return (
                f"statsmodels gives the same shift and standard error of {self.question}. Its interval is narrower, "
                "since it counts as if the number of students did not matter (z in place of t)."
            )
        said = [f"{row.what}: {row.remark}" for row in self.table.itertuples() if row.remark]
        return f"statsmodels differs on {self.question}. {' '.join(said)}"

    def __repr__(self) -> str:
        state = "agrees" if self.agrees else "differs" if self.fitted else "none"
        return f"<SecondOpinion on {self.question}: {state}>"

    def _repr_html_(self) -> str:
        return f"<p>{html.escape(self.text())}</p>{self.table.to_html(index=False, escape=True)}"


def second_opinion(
    table: pd.DataFrame, cue: str, settings: Settings | None = None, level: float = 0.95
) -> SecondOpinion:
    """Return the model of one cue as statsmodels fits it, beside ours.

    Whatever the other program does, raises or warns, stands in the table in plain words; nothing of it is raised.

    Parameters
    ----------
    table : DataFrame
        From `model_table`.
    cue : str
        One of its cues.
    settings : Settings or None
        The academy's thresholds and units; None: the defaults.
    level : float
        Level of the intervals.

    Returns
    -------
    SecondOpinion

    Raises
    ------
    DataError
        If the cue is not in the table, or has no estimate of ours, or the level is no share.

    References
    ----------
    Lindstrom, Bates, J. American Statistical Association 83 (1988) 1014, which its routine follows.
    """
    settings, outcome = settings or Settings(), outcome_of(table)
    asked = f"A second opinion on {outcome} with {cue} was asked for."
    if not (isinstance(level, int | float) and 0 < level < 1):
        raise DataError(asked, f"level is {level!r}.", "Pass a share between 0 and 1, as in .95.")
    _, part, answer, students = model_of(table, cue, settings, asked)
    unit = shown(outcome, settings.units)
    question = f"{OUTCOMES[outcome]} with {cue}"
    why = _cannot(answer, part)
    if why:
        return _none(question, answer, unit, why)
    try:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            theirs = _fit_there(answer, part)
            found = _side_by_side(answer, students, theirs, unit, level)
    except Exception as err:  # another program's failure is an answer here, never an end
        said = str(err).strip().rstrip(".") or type(err).__name__
        return _none(question, answer, unit, f"statsmodels stopped: {_plain(said)}.")
    words = _warned([str(each.message) for each in caught], bool(theirs.converged))
    ended = ["yes" if end else "no" for end in (answer.fit.converged, theirs.converged)]  # type: ignore[union-attr]
    found.append(("search ended at a minimum", *ended, words))
    rows = pd.DataFrame(found, columns=["what", "ours", "theirs", "remark"])
    near = set(rows["remark"].iloc[:2]) == {_THE_SAME}
    return SecondOpinion(rows, True, near, question)


def _none(question: str, answer: Answer, unit: Shown, why: str) -> SecondOpinion:
    row = {"what": "shift", "ours": _finer(unit).text(answer.estimate, sign=True), "theirs": "–", "remark": why}
    return SecondOpinion(pd.DataFrame([row]), False, False, question)


def _cannot(answer: Answer, part: Part) -> str:
    """Return why the other program cannot fit this model; empty where it can."""
    if answer.fit is None:
        return "Our answer rests on one difference for each student and a paired t: there is no mixed model to compare."
    if answer.fit.design is not None and answer.fit.design.weights is not None:
        return "Our model is of block means weighted by their shots, and its mixed models know no weights."
    if len(part.rows) > _MOST_ROWS:
        return f"Its routine would take minutes with {len(part.rows):,} shots."
    for term in answer.fit.problem.terms:
        if term.group not in ("student", "session", "block"):
            return (
                f"Our model has {part_name(term.group, term.names[0])}, which cross students or hold several of them; "
                "its routine knows one grouping, with parts inside it."
            )
    return ""


def _fit_there(answer: Answer, part: Part):
    """Return the other program's fit."""
    import statsmodels.formula.api as smf  # two seconds of loading that only this page needs

    fit: Fit = answer.fit  # type: ignore[assignment]
    formula = fit.problem.moments.coding.formula
    parts: dict[str, str] = {}
    own = "1"
    for bar in formula.bars:
        group = bar.group[0]
        if group != "student":
            slope = ":on" if bar.left.replace(" ", "") == "0+on" else ""
            parts[f"{group}{' shift' if slope else ''}"] = f"0 + C({group}){slope}"
        elif bar.left.replace(" ", "").startswith("0+"):
            parts["shift"] = bar.left
        else:
            own = bar.left
    rows = part.rows.assign(on_h=part.rows["on"] - 0.5)
    ids = [name for name in ("student", "session", "block") if name in rows]
    rows = rows.astype(dict.fromkeys(ids, "str")).astype(dict.fromkeys(ids, "object"))
    model = smf.mixedlm(
        f"{formula.response} ~ {formula.fixed}", rows, groups="student", re_formula=own, vc_formula=parts or None
    )
    return model.fit(reml=fit.reml)


def _side_by_side(answer: Answer, students: int, theirs, unit: Shown, level: float) -> list[tuple]:
    """Return the rows of the table."""
    fine = _finer(unit)
    estimate, se = float(theirs.params["on"]), float(theirs.bse["on"])
    t, z = (float(each) for each in (stats.t.ppf(0.5 + level / 2, answer.df), stats.norm.ppf(0.5 + level / 2)))

    def ends(middle: float, half: float) -> str:
        return f"{fine.number(middle - half, sign=True)} to {fine.text(middle + half, sign=True)}"

    away = (estimate - answer.estimate) / answer.se
    moved = _THE_SAME if abs(away) < SAME else f"{abs(away):.2f} of a standard error apart"
    wider = se / answer.se - 1.0
    if not np.isfinite(se):
        error = "it gives none: the curvature at its end is not that of a minimum"
    else:
        error = (
            _THE_SAME if abs(wider) < SAME else f"{abs(100 * wider):.0f} % {'larger' if wider > 0 else 'smaller'} there"
        )
    ours = answer.fit.criterion  # type: ignore[union-attr]
    their_criterion = -2.0 * float(theirs.llf)
    rise = their_criterion - ours
    optimum = (
        "the same optimum"
        if abs(rise) < OPTIMUM
        else f"it stopped {rise:.2g} above our optimum (lower is better): differences below come from that"
        if rise > 0
        else f"it found one lower by {-rise:.2g}: ours is not the best, please report this"
    )
    rows = [
        ("shift", fine.text(answer.estimate, sign=True), fine.text(estimate, sign=True), moved),
        ("standard error", fine.text(answer.se), fine.text(se), error),
        (
            "degrees of freedom",
            f"{answer.df:.1f} (t)",
            "none (z)",
            f"with {students} students t is due; z makes the interval {100 * (1 - z / t):.0f} % too narrow",
        ),
        (f"{100 * level:g} % interval", ends(answer.estimate, t * answer.se), ends(estimate, z * se), ""),
        ("−2 log likelihood", f"{ours:.2f}", f"{their_criterion:.2f}", optimum),
    ]
    for name, mine, other in _spreads(answer.fit, theirs):  # type: ignore[arg-type]
        apart = abs(mine - other)
        same = apart < SAME * max(mine, answer.fit.sigma)  # type: ignore[union-attr]
        rows.append((f"SD of {name}", fine.text(mine), fine.text(other), _THE_SAME if same else "differs"))
    both = answer.fit.components["other"].notna()  # type: ignore[union-attr]
    if both.any() and len(np.atleast_2d(theirs.cov_re)) == 2:
        mine = float(answer.fit.components.loc[both, "sd_or_corr"].iloc[0])  # type: ignore[union-attr]
        start, shift, together = (np.asarray(theirs.cov_re)[place] for place in ((0, 0), (1, 1), (0, 1)))
        other = float(together / np.sqrt(start * shift)) if start * shift > 0 else np.nan
        same = _THE_SAME if abs(mine - other) < 0.05 else "differs; few students say little about it"
        a, b = (f"{each:+.2f}".replace("-", "−") for each in (mine, other))
        rows.append(("correlation of start and shift", a, b, same))
    return rows


def _spreads(fit: Fit, theirs) -> list[tuple[str, float, float]]:
    """Return each SD by its name on a page: ours, theirs."""
    inside = dict(zip(theirs.model.exog_vc.names, np.sqrt(np.maximum(theirs.vcomp, 0.0)), strict=True))
    own = np.sqrt(np.maximum(np.diag(np.atleast_2d(theirs.cov_re)), 0.0))
    rows = []
    parts = fit.components[fit.components["other"].isna()]
    for group, term, sd in zip(parts["group"], parts["term"], parts["sd_or_corr"], strict=True):
        if group == "residual":
            rows.append(("single shots", float(sd), float(np.sqrt(theirs.scale))))
            continue
        slope = term != "Intercept"
        if group == "student":
            other = inside["shift"] if slope and "shift" in inside else own[int(slope)]
        else:
            other = inside[f"{group} shift" if slope else group]
        rows.append((part_name(group, term), float(sd), float(other)))
    return rows


def _warned(messages: list[str], converged: bool) -> str:
    """Return in plain words what the other program warned of."""
    said = list(dict.fromkeys(map(_plain, messages)))
    if _SEARCH in said:
        said.remove(_SEARCH)
        said.insert(0, "only after another way of searching had failed" if converged else "none of its searches ended")
    return "; ".join(said)


def _finer(unit: Shown) -> Shown:
    """Return the unit with one digit more: two programs are compared closer than a coach would read."""
    return Shown(unit.unit, unit.factor, unit.digits + 1)


def _plain(message: str) -> str:
    """Return a warning or an error of the other program in plain words, its own where none are known."""
    for part, words in _WORDS:
        if part.lower() in message.lower():
            return words
    first = message.splitlines()[0]
    return first if len(first) <= 120 else f"{first[:117]}..."
