"""The fit of a mixed model: what was estimated, how sure, and what to mind."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from coachlab.errors import FitError, need
from coachlab.mixed.checks import remarks
from coachlab.mixed.design import Design, check_response, lay_out
from coachlab.mixed.infer import Inference
from coachlab.mixed.moments import Moments, sum_again, sum_up
from coachlab.mixed.problem import Problem
from coachlab.mixed.show import coefficients_html, coefficients_text, fit_html, fit_text
from coachlab.mixed.solve import Record, minimise


@dataclass(frozen=True, eq=False)
class Coefficients:
    """Fixed effects of a fit.

    table   columns term, estimate, se, df, low, high, p; a row of NaN is a term that is not estimable
    df      how the degrees of freedom were found
    level   of the intervals
    """

    table: pd.DataFrame
    df: str
    level: float

    def text(self) -> str:
        """One sentence a term: estimate, interval, degrees of freedom."""
        return coefficients_text(self)

    def _repr_html_(self) -> str:
        return coefficients_html(self)


@dataclass(frozen=True, eq=False)
class Fit:
    """Fitted mixed model.

    problem   the model as evaluated, with the moments it was fitted to
    inference what follows from the optimum
    design    the coded rows, if the fit was made from a table; `refit` uses them
    """

    problem: Problem
    inference: Inference
    design: Design | None

    @property
    def formula(self) -> str:
        """Formula as written."""
        return self.problem.moments.formula

    @property
    def reml(self) -> bool:
        """Whether the restricted likelihood was used."""
        return self.problem.reml

    @property
    def criterion(self) -> float:
        """-2 log likelihood, restricted with ``reml=True``; constants as in lme4."""
        return float(self.inference.optimum.point.value[0])

    @property
    def loglik(self) -> float:
        """Log likelihood, restricted with ``reml=True``."""
        return -0.5 * self.criterion

    @property
    def sigma(self) -> float:
        """Residual SD, in the response's unit; with ``residual_by`` that of the first level."""
        return self.inference.sigma

    @property
    def record(self) -> Record:
        """How the search for the optimum went."""
        return self.inference.optimum.record

    @property
    def singular(self) -> bool:
        """Whether some direction of a random term is estimated without variance."""
        return self.record.singular

    @property
    def converged(self) -> bool:
        """Whether the search ended at a minimum."""
        return self.record.converged

    @property
    def terms(self) -> tuple[str, ...]:
        """Names of the fixed coefficients, those not estimable included."""
        return self.problem.moments.coding.x_names

    @property
    def covariance(self) -> pd.DataFrame:
        """Covariance of the fixed coefficients; NaN for those not estimable."""
        whole = np.full((len(self.terms), len(self.terms)), np.nan)
        whole[np.ix_(self.problem.kept, self.problem.kept)] = self.inference.covariance
        return pd.DataFrame(whole, index=self.terms, columns=self.terms)

    def coefficients(self, df: str = "satterthwaite", level: float = 0.95) -> Coefficients:
        """Estimates of the fixed effects with intervals and degrees of freedom.

        Parameters
        ----------
        df : {"satterthwaite", "kenward-roger", "residual"}
            How the degrees of freedom are found; Kenward-Roger also widens the standard errors. It rests on the
            restricted likelihood: with ``reml=False`` its standard errors and df are of the model fitted anew by that.
        level : float
            Level of the intervals, between 0 and 1.

        Returns
        -------
        Coefficients
            ``.table`` with columns term, estimate, se, df, low, high, p. A coefficient that is not estimable has NaN.

        References
        ----------
        Kuznetsova, Brockhoff, Christensen, J. Statistical Software 82 (2017) 13 (Satterthwaite); Kenward, Roger,
        Biometrics 53 (1997) 983.
        """
        weights = np.eye(len(self.terms))
        kept = self.problem.kept
        found = self.inference.linear(weights[kept], df, level, checked=True)
        columns = {name: np.full(len(self.terms), np.nan) for name in found}
        for name, values in found.items():
            columns[name][kept] = values
        return Coefficients(pd.DataFrame({"term": self.terms, **columns}), df, level)

    @cached_property
    def components(self) -> pd.DataFrame:
        """Variances and covariances of the random terms and the residual: one row each.

        Columns group, term, other, variance_or_cov, sd_or_corr. A row without `other` is a variance and its SD; with
        `other` a covariance and the correlation (NaN where an SD is 0).
        """
        rows: list[tuple] = []
        for term, covariance in zip(self.problem.terms, self._covariances, strict=True):
            sd = np.sqrt(np.diag(covariance))
            for i, name in enumerate(term.names):
                rows.append((term.group, name, None, covariance[i, i], sd[i]))
            for i in range(term.size):
                for j in range(i + 1, term.size):
                    size = sd[i] * sd[j]
                    value = covariance[i, j]
                    rows.append((term.group, term.names[i], term.names[j], value, value / size if size > 0 else np.nan))
        for name, sd in self._residual_sds:
            rows.append(("residual", name, None, sd**2, sd))
        return pd.DataFrame(rows, columns=["group", "term", "other", "variance_or_cov", "sd_or_corr"])

    @cached_property
    def _covariances(self):
        """Covariance matrix of each random term."""
        return [self.sigma**2 * factor @ factor.T for factor in self.problem.factors_at(self.inference.optimum.x)]

    @property
    def _residual_sds(self):
        strata = self.problem.moments.strata
        if len(strata[1]) == 1:
            return [(None, self.sigma)]
        first = len(self.problem.free)
        ratios = np.exp(np.r_[0.0, self.inference.optimum.x[first : first + len(strata[1]) - 1]])
        return [(str(label), self.sigma * ratio) for label, ratio in zip(strata[1], ratios, strict=True)]

    def effects(self, group: str) -> pd.DataFrame:
        """Random effects of one grouping factor: how far each level lies from the mean, shrunken.

        Parameters
        ----------
        group : str
            The factor as in the formula, such as ``"student"`` or ``"a:b"``.

        Returns
        -------
        DataFrame
            Columns level, term, estimate (conditional mode) and sd (conditional, the parameters taken as known).

        Raises
        ------
        FitError
            If the model has no such factor.
        """
        mine = [t for t, term in enumerate(self.problem.terms) if term.group == group]
        if not mine:
            known = ", ".join(dict.fromkeys(term.group for term in self.problem.terms))
            raise FitError(f"effects of {group!r}", "the model has no such grouping factor", f"It has: {known}.")
        names = [name for t in mine for name in self.problem.terms[t].names]
        estimate = np.concatenate([self.inference.modes[t] for t in mine], axis=1)
        variance = [np.einsum("lii->li", self.inference.mode_covariances[t]) for t in mine]
        labels = self.problem.labels[self.problem.terms[mine[0]].factor]
        return pd.DataFrame(
            {
                "level": np.repeat(np.array(labels, object), len(names)),
                "term": np.array(names * len(labels), object),
                "estimate": estimate.ravel(),
                "sd": np.sqrt(np.maximum(np.concatenate(variance, axis=1), 0.0)).ravel(),
            }
        ).astype({"level": "str", "term": "str"})

    def refit(self, response: Sequence[float], start: bool = True) -> "Fit":
        """Fit of the same model to another response of the same rows; formula and coding are not read again.

        Parameters
        ----------
        response : array, shape (n,)
            One value for each row that was used, in their order.
        start : bool
            Start from this fit's optimum.

        Raises
        ------
        FitError
            If the fit was made from moments, which hold no rows, or a value is missing.
        """
        asked = f"refitting {self.formula}"
        try:
            values = np.asarray(response, float)
        except (TypeError, ValueError) as err:
            raise FitError(asked, "the response is not all numbers", "Give one finite number a row.") from err
        if self.design is None:
            raise FitError(asked, "this fit was made from moments", "Fit the table itself.")
        if values.shape != self.design.response.shape or not np.isfinite(values).all():
            raise FitError(
                asked,
                f"the response has shape {values.shape} or gaps; {len(self.design.response)} rows were used",
                "Give one finite number a row.",
            )
        check_response(self.design.coding.formula.response, values, asked)
        design = replace(self.design, response=values)
        problem = self.problem.answer(sum_again(self.problem.moments, design))
        old = self.inference.optimum
        near = start and not self.singular
        if not near:
            problem.layers.arrange([tuple(range(term.size)) for term in problem.terms])
        found = minimise(problem, old.x, old.hessian) if near else minimise(problem)
        return Fit(problem, Inference(problem, found), design)

    @cached_property
    def checks(self) -> tuple[str, ...]:
        """What to mind about this fit, a sentence each; empty if nothing."""
        return tuple(remarks(self))

    def text(self) -> str:
        """Fit as text: what was asked of which rows, estimates, spreads between levels, what to mind."""
        return fit_text(self)

    def __repr__(self) -> str:
        state = "singular" if self.singular else "converged" if self.converged else "not converged"
        return f"<Fit of {self.formula}: {self.problem.moments.rows} rows, criterion {self.criterion:.2f}, {state}>"

    def _repr_html_(self) -> str:
        return fit_html(self)


def fit_mixed(
    formula: str,
    data: pd.DataFrame | Moments,
    reml: bool = True,
    weights: str | Sequence[float] | None = None,
    residual_by: str | None = None,
    fixed: Mapping[str, float] | None = None,
) -> Fit:
    """Linear mixed-effects model fitted to a table.

    Parameters
    ----------
    formula : str
        As lme4 writes it: ``"y ~ x + (1 + x | g) + (1 | h)"``. ``(x | g)`` means ``(1 + x | g)``; ``(x || g)`` leaves
        the correlation out; ``(1 | a:b)`` groups by combinations; ``(1 | a/b)`` means ``(1 | a) + (1 | a:b)``. Columns
        of words are coded against their first level; true and false count as 1 and 0.
    data : DataFrame or Moments
        One row an observation, or what `moments` made of such rows for the same formula. Rows with gaps are left out
        and counted in ``fit.checks``.
    reml : bool
        Restricted maximum likelihood (the default), or maximum likelihood.
    weights : str or array, shape (n,), optional
        Column or values; the residual variance of a row is sigma^2 / weight.
    residual_by : str, optional
        Column whose levels have each their own residual SD.
    fixed : mapping, optional
        SDs held at given values, in the response's unit, by grouping factor: ``{"cue": .7}``; ``"residual"`` too.

    Returns
    -------
    Fit

    Raises
    ------
    FormulaError
        If the formula cannot be read, or names a column that the table does not have.
    FitError
        If the data cannot tell the parts of the model apart: no rows, one level, as many levels as rows, a constant
        response, an infinite number, or crossed factors too large to be solved.

    Notes
    -----
    The criterion is profiled over fixed effects and residual SD as in lme4 and computed from cross-products of the
    rows; its gradient is exact. See `Record` for how the search ended.

    References
    ----------
    Bates, Maechler, Bolker, Walker, J. Statistical Software 67 (2015) 1.

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> table = pd.DataFrame({"g": np.repeat(list("abcdef"), 4), "x": [0, 1] * 12})
    >>> table["y"] = 2.0 * table["x"] + np.sin(np.arange(24)) + np.repeat([3.0, -1, 2, 0, 1, -2], 4)
    >>> fit = fit_mixed("y ~ x + (1 | g)", table)
    >>> fit.coefficients().table.round(2)[["term", "estimate", "se", "df"]]
            term  estimate    se     df
    0  Intercept      0.55  0.82   5.33
    1          x      1.98  0.29  17.00
    """
    need(
        fixed,
        (Mapping, type(None)),
        f"fitting {formula}",
        "fixed",
        "Give SDs by the name of their term, or None.",
        FitError,
    )
    need(
        reml,
        (bool, np.bool_),
        f"fitting {formula}",
        "reml",
        "Give True (REML) or False (maximum likelihood).",
        FitError,
    )
    design = None
    if isinstance(data, Moments):
        asked = f"fitting {formula} to moments"
        if weights is not None or residual_by is not None:
            raise FitError(asked, "weights or residual_by are part of the moments", "Give them to moments() instead.")
        if "".join(formula.split()) != "".join(data.formula.split()):
            raise FitError(
                asked, f"the moments are of {data.formula}", "Fit that formula, or make moments of this one."
            )
        held = data
    else:
        design = lay_out(formula, data, weights, residual_by)
        held = sum_up(design)
    problem = Problem(held, reml, dict(fixed or {}))
    return Fit(problem, Inference(problem, minimise(problem)), design)
