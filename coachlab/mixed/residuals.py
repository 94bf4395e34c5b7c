"""What a fit leaves over, row by row, and the slope that a further column would get."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from coachlab.errors import FitError
from coachlab.mixed.fit import Fit
from coachlab.mixed.rows import rows_of


@dataclass(frozen=True, eq=False)
class Residuals:
    """Residuals of a fit, one row each.

    table  columns fixed (fixed part), fitted (with the random effects), marginal and conditional (the response less
           either), standardised_marginal and standardised (each over its own SD under the model); indexed by the
           place of the row in the table that was fitted
    """

    table: pd.DataFrame
    sigma: float

    def text(self) -> str:
        """How many, and the largest."""
        far = self.table["standardised"].abs()
        return (
            f"{len(far)} residuals with SD {self.sigma:.3g}; the largest lies {far.max():.1f} SDs out, and "
            f"{100 * (far > 3).mean():.2g} % lie beyond 3 SDs (0.27 % would, were they normal)."
        )

    def _repr_html_(self) -> str:
        return self.table.to_html(float_format="{:.4g}".format, max_rows=10)


@dataclass(frozen=True, eq=False)
class Slope:
    """Coefficient that one more fixed column would get, the covariance parameters held; its interval by groups.

    ``column`` is what the fit leaves of that column, shape (n,): times the estimate it is what the slope would explain
    of the conditional residuals.
    """

    estimate: float
    se: float
    df: float
    low: float
    high: float
    p: float
    level: float
    column: np.ndarray

    @property
    def table(self) -> pd.DataFrame:
        """The same as one row."""
        names = ("estimate", "se", "df", "low", "high", "p")
        return pd.DataFrame([{name: getattr(self, name) for name in names}])

    def text(self) -> str:
        """Say the slope in one sentence."""
        return (
            f"The residuals change by {self.estimate:.3g} a unit ({100 * self.level:g} % interval {self.low:.3g} to "
            f"{self.high:.3g}, df {self.df:.3g})."
        )

    def _repr_html_(self) -> str:
        return self.table.to_html(index=False, float_format="{:.3g}".format)


def residuals(fit: Fit) -> Residuals:
    """Residuals of a fit, conditional and marginal, plain and each over its own SD.

    A conditional residual is what is left beside the fixed part and the random effects of its own groups; its variance
    is sigma^2 less what fitting takes away. A marginal one is what is left beside the fixed part alone.

    Parameters
    ----------
    fit : Fit
        A fit of a table.

    Returns
    -------
    Residuals

    Raises
    ------
    FitError
        If the fit was made from moments.

    References
    ----------
    Henderson, Biometrics 31 (1975) 423, for the variance.
    """
    rows = rows_of(fit, "residuals")
    solutions, left = rows.solve(rows.response[:, None])
    conditional = left[:, 0]
    marginal = rows.response - rows.fixed(solutions)[:, 0]
    # what estimating the fixed part takes off the variance
    beta = np.einsum("ni,ij,nj->n", rows.x, _centred_covariance(fit), rows.x)
    response = rows.response + fit.problem.moments.centre[-1]
    return Residuals(
        pd.DataFrame(
            {
                "fixed": response - marginal,
                "fitted": response - conditional,
                "marginal": marginal,
                "conditional": conditional,
                "standardised_marginal": marginal / np.sqrt(np.maximum(rows.marginal_variance - beta, 1e-300)),
                "standardised": conditional / (fit.sigma * rows.spread * np.sqrt(1.0 - rows.leverage)),
            },
            index=pd.Index(rows.at, name="row"),
        ),
        fit.sigma,
    )


def added_slope(fit: Fit, values: Sequence[float], by: str, level: float = 0.95) -> Slope:
    """Coefficient that a further column would get beside those of the fit, without fitting again.

    Parameters
    ----------
    fit : Fit
        A fit of a table.
    values : array, shape (n,)
        The column, one number for each row that was used.
    by : str
        Grouping factor whose levels are independent of each other; the interval rests on their own slopes, so that it
        holds where spread or slope differ between them (df: levels less one).
    level : float
        Of the interval.

    Raises
    ------
    FitError
        If the fit was made from moments, the column does not fit, or it is a sum of columns that are in the fit.

    References
    ----------
    Liang, Zeger, Biometrika 73 (1986) 13, for the variance by groups.
    """
    asked = f"a further slope of {fit.formula}"
    rows, column = rows_of(fit, "a further slope"), np.asarray(values, float)
    if column.shape != (rows.n,) or not np.isfinite(column).all():
        raise FitError(asked, f"the column has gaps or not {rows.n} values", "Give one finite number a row.")
    if by not in fit.problem.factors:
        raise FitError(asked, f"{by!r} is no group of the model", f"Groups: {', '.join(fit.problem.factors)}.")
    column = column - column.mean()
    solutions, left = rows.solve(np.column_stack([rows.response, column]))
    own = left[:, 1] / rows.spread**2
    information = float(own @ column)
    if information < 1e-8 * float(column @ column) or not information:
        raise FitError(asked, "the column is a sum of those in the fit", "Give one that they do not determine.")
    marginal = rows.response - rows.fixed(solutions)[:, 0]
    f = fit.problem.factors.index(by)
    level_of = fit.problem.codes[f][rows.design.cell]
    score = np.bincount(level_of, own * marginal)
    estimate, n = float(score.sum() / information), len(score)
    score = score - estimate * np.bincount(level_of, own * column)
    se = float(np.sqrt(n / (n - 1) * (score**2).sum()) / information)
    half = stats.t.ppf(0.5 + 0.5 * level, n - 1) * se
    p = float(2 * stats.t.sf(abs(estimate) / se, n - 1)) if se > 0 else np.nan
    return Slope(estimate, se, float(n - 1), estimate - half, estimate + half, p, level, left[:, 1])


def _centred_covariance(fit):
    """Covariance of the coefficients of the centred columns."""
    return fit.sigma**2 * fit.inference.optimum.point.unscaled[0]
