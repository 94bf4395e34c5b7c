"""A coefficient with each level of a grouping factor left out in turn, from sums alone."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from coachlab.errors import FitError
from coachlab.mixed.fit import Fit
from coachlab.mixed.infer import Inference
from coachlab.mixed.problem import Problem
from coachlab.mixed.rows import rows_of
from coachlab.mixed.solve import minimise


@dataclass(frozen=True, eq=False)
class Influence:
    """A fixed coefficient without one level of a grouping factor after the other.

    table     columns level, rows (left out), estimate, se, df, low, high, change (from the whole); a row of NaN is a
              level without which the model cannot be fitted
    estimate  of all rows
    """

    table: pd.DataFrame
    term: str
    group: str
    estimate: float
    level: float

    def text(self) -> str:
        """Least and largest estimate, and whose leaving out moves it most."""
        estimates = self.table["estimate"]
        if estimates.isna().all():
            return f"{self.term} cannot be found with any {self.group} left out."
        far = self.table.loc[self.table["change"].abs().idxmax()]
        return (
            f"{self.term} is {self.estimate:.3g}; with one {self.group} left out it lies between {estimates.min():.3g} "
            f"and {estimates.max():.3g}, farthest without {far['level']}."
        )

    def _repr_html_(self) -> str:
        return self.table.to_html(index=False, float_format="{:.4g}".format)


def leave_out(fit: Fit, group: str, term: str, df: str = "satterthwaite", level: float = 0.95) -> Influence:
    """Estimate of a coefficient with each level of a grouping factor left out.

    Each part is fitted in full, variances too, but from the sums of the whole less those of the level: no row is read
    again, and the search starts at the optimum of the whole with its curvature, a few steps from its end.

    Parameters
    ----------
    fit : Fit
        A fit of a table. Moments alone do not hold each level's own products of the fixed columns.
    group : str
        Grouping factor as in the formula.
    term : str
        Fixed coefficient, a name in ``fit.terms``.
    df : {"satterthwaite", "kenward-roger", "residual"}
        How the degrees of freedom are found.
    level : float
        Of the intervals.

    Raises
    ------
    FitError
        If the fit was made from moments, or group or term is unknown.
    """
    asked = f"leaving out each {group} in {fit.formula}"
    rows = rows_of(fit, f"leaving out each {group}")
    problem = fit.problem
    if group not in problem.factors:
        raise FitError(asked, f"{group!r} is no group of the model", f"Groups: {', '.join(problem.factors)}.")
    if term not in fit.terms:
        raise FitError(asked, f"{term!r} is no fixed coefficient", f"Coefficients: {', '.join(fit.terms)}.")
    f = problem.factors.index(group)
    wanted = np.array([[name == term for name in fit.terms]], float)
    whole = float(fit.inference.linear(wanted, df, level)["estimate"][0])
    found: list[dict] = []
    for held, left in _parts(fit, rows, f):
        row = {name: np.nan for name in ("estimate", "se", "df", "low", "high")}
        try:
            part = _solved(fit, held)
        except FitError:
            part = None  # as when a single level of some factor is left: told by the row of NaN
        if part is not None:
            answer = part.linear(wanted, df, level)
            row = {name: float(answer[name][0]) for name in row}
        found.append({"level": problem.labels[f][len(found)], "rows": left, **row})
    table = pd.DataFrame(found)
    table["change"] = table["estimate"] - whole
    return Influence(table, term, group, whole, level)


def _parts(fit, rows, f):
    """Moments without each level of a factor, and how many rows that leaves out."""
    m, design, code = fit.problem.moments, rows.design, fit.problem.codes[f]
    x = design.x - m.centre[:-1]
    pattern = np.arange(rows.n) if design.pattern is None else design.pattern
    weight = np.ones(rows.n) if design.weights is None else design.weights
    of_row = code[design.cell]
    order = np.argsort(of_row, kind="stable")
    ends = np.searchsorted(of_row[order], np.arange(len(fit.problem.labels[f]) + 1))
    strata = len(m.strata[1])
    for level, (start, stop) in enumerate(zip(ends[:-1], ends[1:], strict=True)):
        mine = order[start:stop]
        both = np.column_stack([x[pattern[mine]], rows.response[mine]])
        stratum = design.stratum[design.cell[mine]]
        top, count = m.top.copy(), m.count.copy()
        for s in range(strata):
            here = both[stratum == s]
            top[s] -= (weight[mine][stratum == s, None] * here).T @ here
            count[s] -= len(here)
        yield _without(m, code == level, top, count, m.log_weight - np.log(weight[mine]).sum()), len(mine)


def _without(m, cut, top, count, log_weight):
    """Moments without some cells; levels and strata that no longer occur go too."""
    kept = ~cut
    present = np.flatnonzero(count > 0)
    levels, codes = {}, {}
    for name, code in m.codes.items():
        used, codes[name] = np.unique(code[kept], return_inverse=True)
        levels[name] = m.levels[name][used]
    return replace(
        m,
        levels=levels,
        codes=codes,
        stratum=np.searchsorted(present, m.stratum[kept]),
        strata=(m.strata[0], tuple(m.strata[1][s] for s in present)),
        cross=m.cross[kept],
        top=top[present],
        count=count[present],
        log_weight=log_weight,
    )


def _solved(fit, held):
    """Inference at the optimum for moments with a part left out."""
    whole, optimum = fit.problem, fit.inference.optimum
    problem = Problem(held, whole.reml, whole.fixed, whole.scale)
    if problem.size != whole.size or fit.singular:
        return Inference(problem, minimise(problem))
    problem.layers.arrange(whole.layers.orders)
    return Inference(problem, minimise(problem, optimum.x, optimum.hessian * held.rows / whole.moments.rows))
