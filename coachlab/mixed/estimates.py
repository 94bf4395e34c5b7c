"""Questions to a fit: means of a factor, differences between its levels, predictions."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from coachlab.errors import FitError, need, need_share
from coachlab.mixed.coding import code_new
from coachlab.mixed.fit import Fit
from coachlab.mixed.newcomer import tested_words
from coachlab.mixed.show import estimates_html, estimates_text

ADJUSTMENTS = (None, "holm", "bonferroni")
GRID_LIMIT = 2_000_000  # rows of the reference grid


@dataclass(frozen=True, eq=False)
class Estimates:
    """Answers of one kind, a row each.

    table     fixed columns; a row of NaN is not estimable
    question  what was asked, in words
    level     of the intervals
    notes     what to mind
    """

    table: pd.DataFrame
    question: str
    level: float
    notes: tuple[str, ...] = ()

    def text(self) -> str:
        """One sentence a row, and what to mind."""
        return estimates_text(self)

    def _repr_html_(self) -> str:
        return estimates_html(self)


def means(
    fit: Fit, factor: str, by: str | Sequence[str] | None = None, df: str = "satterthwaite", level: float = 0.95
) -> Estimates:
    """Marginal means of a factor: other factors averaged with equal weights, numbers held at their mean.

    Parameters
    ----------
    fit : Fit
        A fitted model.
    factor : str
        A column of the fixed part. A column of numbers counts as a factor if it holds 0 and 1 alone.
    by : str or list of str, optional
        Columns within whose levels the means are taken.
    df : {"satterthwaite", "kenward-roger", "residual"}
        How the degrees of freedom are found.
    level : float
        Level of the intervals.

    Returns
    -------
    Estimates
        ``.table`` with columns level, by, estimate, se, df, low, high. Where the data do not determine a mean, as with
        an empty combination, its row is NaN.

    Raises
    ------
    FitError
        If the column is not in the fixed part.

    References
    ----------
    Searle, Speed, Milliken, The American Statistician 34 (1980) 216.
    """
    names = _by(by)
    grid = _grid(fit, factor, names)
    rows = [(label, where, weights) for where, labels in grid for label, weights in labels]
    found = fit.inference.linear(np.array([weights for _, _, weights in rows]), df, level)
    table = pd.DataFrame({"level": _words(r[0] for r in rows), "by": _words(r[1] for r in rows)})
    for name in ("estimate", "se", "df", "low", "high"):
        table[name] = found[name]
    return Estimates(table, f"Means of {factor}", level, _notes(fit, factor, names, table))


def contrasts(
    fit: Fit,
    factor: str,
    against: str | None = None,
    by: str | Sequence[str] | None = None,
    df: str = "satterthwaite",
    adjust: str | None = None,
    level: float = 0.95,
) -> Estimates:
    """Differences between the marginal means of a factor: each level minus one, or every pair.

    Parameters
    ----------
    fit : Fit
        A fitted model.
    factor : str
        A column of the fixed part.
    against : str, optional
        Level that is subtracted from each other one; None or ``"pairwise"``: all pairs, the later level minus the
        earlier.
    by : str or list of str, optional
        Columns within whose levels the differences are taken.
    df : {"satterthwaite", "kenward-roger", "residual"}
        How the degrees of freedom are found.
    adjust : {None, "holm", "bonferroni"}
        Adjustment of p for the number of differences within each level of `by`. Intervals are never adjusted.
    level : float
        Level of the intervals.

    Returns
    -------
    Estimates
        ``.table`` with columns a, b, by, estimate (a minus b), se, df, low, high, p, p_adjusted.

    Raises
    ------
    FitError
        If the column or the level does not exist, or the adjustment is unknown.
    """
    asked = f"contrasts of {factor!r}"
    if adjust not in ADJUSTMENTS:
        raise FitError(asked, f"adjust={adjust!r}", "Choose 'holm', 'bonferroni' or None.")
    names = _by(by)
    rows = []
    for where, labels in _grid(fit, factor, names):
        known = [label for label, _ in labels]
        if against in (None, "pairwise") and "pairwise" not in known:
            pairs = [(j, i) for i, j in combinations(range(len(labels)), 2)]
        elif str(against) in known:
            base = known.index(str(against))
            pairs = [(i, base) for i in range(len(labels)) if i != base]
        else:
            raise FitError(asked, f"{factor!r} has no level {against!r}", f"Levels: {', '.join(known)}.")
        rows += [(labels[i][0], labels[j][0], where, labels[i][1] - labels[j][1]) for i, j in pairs]
    if not rows:
        raise FitError(asked, f"{factor!r} has a single level", "A difference needs two.")
    found = fit.inference.linear(np.array([row[3] for row in rows]), df, level)
    table = pd.DataFrame({name: _words(row[i] for row in rows) for i, name in enumerate(("a", "b", "by"))})
    for name, values in found.items():
        table[name] = values
    table["p_adjusted"] = np.nan
    for _, family in table.groupby("by", dropna=False, sort=False):
        table.loc[family.index, "p_adjusted"] = _adjusted(family["p"].to_numpy(), adjust)
    return Estimates(table, f"Differences between levels of {factor}", level, _notes(fit, factor, names, table))


def predictions(
    fit: Fit,
    new: pd.DataFrame,
    include: str | Sequence[str] = (),
    new_levels: str | Sequence[str] = (),
    residual: str = "none",
    shots: int | None = None,
    level: float = 0.95,
) -> Estimates:
    """Responses expected of new rows, with intervals for what is asked: a mean, a known level, a new one, single rows.

    Parameters
    ----------
    fit : Fit
        A fitted model.
    new : DataFrame, n rows
        The columns of the fixed part, of the random terms asked for, and of the groups in `include`.
    include : str or sequence of str
        Grouping factors whose known effects are used; their levels must have been in the data.
    new_levels : str or sequence of str
        Grouping factors that are drawn anew: their variance is in the interval. Factors in neither stay at their mean.
    residual : {"none", "mean", "one"}
        Residual variance in the interval: none, that of the mean of `shots` rows, or that of one row.
    shots : int, optional
        Rows in the mean, with ``residual="mean"``.
    level : float
        Level of the intervals.

    Returns
    -------
    Estimates
        ``.table``, indexed as `new`, with columns estimate, se, df, low, high. `se` is the root of the whole variance
        asked for; `df` follows Satterthwaite for that variance. A row with a gap has NaN.

    Raises
    ------
    FitError
        If a group or a level is unknown, levels do not belong together, or `shots` does not fit `residual`.

    References
    ----------
    Henderson, Biometrics 31 (1975) 423, for the variance with known effects.
    """
    need(fit, Fit, "predictions of a fit", "fit", "Pass what fit_mixed(formula, data) gives.", FitError)
    asked = f"predictions of {fit.formula}"
    need(new, pd.DataFrame, asked, "new", "Give a table with the columns of the model.", FitError)
    problem, coding = fit.problem, fit.problem.moments.coding
    include, drawn = _by(include), _by(new_levels)
    if residual not in ("none", "mean", "one"):
        raise FitError(asked, f"residual={residual!r}", "Choose 'none', 'mean' or 'one'.")
    if (residual == "mean") != (shots is not None) or (shots is not None and shots < 1):
        raise FitError(asked, f"residual={residual!r} with shots={shots!r}", "Give shots=n with residual='mean' alone.")
    for group in (*include, *drawn):
        if group not in problem.factors or (group in include and group in drawn):
            raise FitError(
                asked,
                f"{group!r} is no group of the model, or known and new at once",
                f"Groups: {', '.join(problem.factors)}.",
            )
    need_share(level, asked, error=FitError)
    terms = [t for t, term in enumerate(problem.terms) if term.group in (*include, *drawn)]
    lefts = [coding.formula.bars[t].left for t in terms]
    x, z, gap = code_new(coding, new, lefts, asked)
    known, fresh = {}, {}
    for t in terms:
        term, own = problem.terms[t], z[coding.formula.bars[t].left]
        if term.group in drawn:
            fresh[t] = own
        else:
            known[t] = (_levels_of(problem, term, new, asked), own)
    weight = None
    if residual != "none":
        weight = _residual_of(problem, new, asked) / (shots or 1)
    found = fit.inference.predict(x, known, fresh, weight)
    if found is None:
        raise FitError(
            asked,
            f"some rows combine levels of {', '.join(include)} that never met in the data",
            "Give each row levels that belong together, such as a session and its own student.",
        )
    estimate, variance, df = found
    se = np.sqrt(variance)
    half = stdtrit(df, 0.5 + 0.5 * level) * se
    table = pd.DataFrame(
        {"estimate": estimate, "se": se, "df": df, "low": estimate - half, "high": estimate + half}, index=new.index
    )
    able = fit.inference.estimable(x) & ~gap
    table.loc[~able] = np.nan
    notes: tuple[str, ...] = ()
    if not able.all():
        notes = ("Rows without an estimate have a gap or are not estimable.",)
    if drawn and residual == "none":
        fewest = min(len(problem.labels[problem.factors.index(group)]) for group in drawn)
        notes += tested_words("predictions", level, fewest)
    return Estimates(table, "Predictions", level, notes)


def _levels_of(problem, term, new, asked):
    """Level of each new row in a grouping factor that was in the data."""
    m = problem.moments
    columns = []
    for name in term.group.split(":"):
        if name not in new.columns:
            raise FitError(
                asked, f"the new rows have no column {name!r}", f"Add it, or leave {term.group} out of include."
            )
        place = {label: i for i, label in enumerate(m.levels[name].tolist())}
        columns.append([place.get(label, -1) for label in new[name].tolist()])
    place = {tuple(row): i for i, row in enumerate(problem.members[term.factor].tolist())}
    level = np.array([place.get(row, -1) for row in zip(*columns, strict=True)], int)
    if (level < 0).any():
        row = new.index[int(np.flatnonzero(level < 0)[0])]
        raise FitError(
            asked,
            f"row {row!r} has a level of {term.group} that the fit has not seen",
            f"Put {term.group!r} in new_levels instead of include.",
            row=row,
        )
    return level


def _residual_of(problem, new, asked):
    """Which stratum's residual each new row has, shape (n, strata)."""
    by, labels = problem.moments.strata
    if len(labels) == 1:
        return np.ones((len(new), 1))
    if by not in new.columns or not set(new[by].tolist()) <= set(labels):
        raise FitError(
            asked,
            f"the residual SD goes by {by!r}, which the new rows lack or hold other levels of",
            f"Add the column with levels among {', '.join(map(str, labels))}.",
        )
    return (new[by].to_numpy()[:, None] == np.array(labels, object)).astype(float)


def _by(by):
    need(by, (Iterable, type(None)), "naming columns of a fit", "what was named", "Give one name or several.", FitError)
    return () if by is None else (by,) if isinstance(by, str) else tuple(by)


def _words(values):
    """Column of words, None as a gap."""
    return pd.Series([None if value is None else str(value) for value in values], dtype="str")


def _grid(fit, factor, by):
    """For each level of `by`: its label, and the levels of the factor with their weights over the fixed columns."""
    asked = f"means of {factor!r}"
    need(fit, Fit, asked, "fit", "Pass what fit_mixed(formula, data) gives.", FitError)
    m = fit.problem.moments
    coding = m.coding
    levels = {name: coding.factors[name] for name in coding.variables if name in coding.factors}
    for name in (factor, *by):
        if name in levels:
            continue
        if name not in coding.variables:
            known = ", ".join(coding.variables) or "none"
            raise FitError(asked, f"{name!r} is not in the fixed part of {m.formula}", f"Columns there: {known}.")
        if name not in m.binary:
            raise FitError(
                asked, f"{name!r} is a column of numbers", "Means are of factors; use predictions for chosen values."
            )
        levels[name] = (0.0, 1.0)
    order = [*by, factor, *(name for name in levels if name not in (factor, *by))]
    shape = [len(levels[name]) for name in order]
    n = int(np.prod(shape))
    if n > GRID_LIMIT:
        raise FitError(asked, f"its reference grid has {n} combinations of levels", "Use fewer factors in the model.")
    index = np.indices(shape).reshape(len(shape), n)
    variables = {}
    for name in coding.variables:
        if name not in levels:
            total, count = m.means[name]
            variables[name] = np.full(n, total / count)
        elif name in coding.factors:
            codes = index[order.index(name)]
            variables[name] = pd.Categorical.from_codes(codes, categories=list(levels[name]))
        else:
            variables[name] = np.array(levels[name])[index[order.index(name)]]
    x = np.broadcast_to(coding.code_fixed(variables), (n, len(coding.x_names)))
    x = x.reshape(*shape[: len(by) + 1], -1, x.shape[-1]).mean(axis=-2)
    result = []
    for place in np.ndindex(*shape[: len(by)]):
        parts = [_label(levels[name][i]) for name, i in zip(by, place, strict=True)]
        labels = [(_label(label), x[(*place, i)]) for i, label in enumerate(levels[factor])]
        result.append((", ".join(parts) if parts else None, labels))
    return result


def _label(value):
    return f"{value:g}" if isinstance(value, float) else str(value)


def _adjusted(p, how):
    """Values of p adjusted for their number; gaps stay and do not count."""
    result, real = p.copy(), np.flatnonzero(~np.isnan(p))
    n = len(real)
    if how == "bonferroni":
        result[real] = np.minimum(1.0, p[real] * n)
    elif how == "holm":
        order = real[np.argsort(p[real], kind="stable")]
        result[order] = np.minimum(1.0, np.maximum.accumulate(p[order] * np.arange(n, 0, -1)))
    return result


def _notes(fit, factor, by, table):
    """Sentences on interactions averaged over and on what is not estimable."""
    with_it = set()
    for together in fit.problem.moments.coding.together:
        if factor in together:
            with_it |= together - {factor, *by}
    others = [name for name in fit.problem.moments.coding.variables if name in with_it]
    notes = []
    if others:
        notes.append(
            f"{factor} interacts with {', '.join(others)}: these are averages over {', '.join(others)} and may hide "
            "differences; give by= to see them."
        )
    if table["estimate"].isna().any():
        notes.append("Rows without an estimate are not estimable: the data hold no rows that determine them.")
    return tuple(notes)
