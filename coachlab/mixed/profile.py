"""Profile intervals of the SDs of a fit: how far each may be moved before the criterion has risen too much."""

from copy import copy
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.special import ndtri

from coachlab.errors import FitError, need, need_share
from coachlab.mixed.fit import Fit
from coachlab.mixed.hold import at_sd, empty, set_sd
from coachlab.mixed.solve import search

FARTHEST = 60  # doublings of an SD after which the criterion is called flat


@dataclass(frozen=True, eq=False)
class Profile:
    """Intervals of the SDs of a fit.

    table   columns group, term, sd, low, high; `low` 0 where no spread at all is within the interval, `high` infinite
            where the data set no upper limit
    level   of the intervals
    reml    whether the restricted likelihood was profiled
    """

    table: pd.DataFrame
    level: float
    reml: bool

    def text(self) -> str:
        """Return one sentence an SD."""
        return " ".join(
            f"SD of {row.term or 'the'} over {row.group} {row.sd:.3g} ({100 * self.level:.3g} % interval {row.low:.3g} "
            f"to {row.high:.3g})."
            for row in self.table.fillna({"term": ""}).itertuples(index=False)
        ).replace("SD of the over residual", "Residual SD")

    def _repr_html_(self) -> str:
        return self.table.fillna({"term": ""}).to_html(index=False, float_format="{:.4g}".format)


def profile_spread(fit: Fit, level: float = 0.95) -> Profile:
    """Profile likelihood intervals of all SDs of a fit.

    Each SD is held at values around its estimate while all else is fitted anew; the interval ends where the criterion
    has risen by the quantile of chi-square with one degree of freedom. Correlations: see `bootstrap`.

    Parameters
    ----------
    fit : Fit
        From `fit_mixed`, from moments too. With `residual_by` the residual SDs are left out: see `bootstrap`.
    level : float
        Level of the intervals, between 0 and 1.

    Returns
    -------
    Profile
        ``.table`` with columns group, term, sd, low, high, in the response's unit.

    Raises
    ------
    FitError
        If the fit did not converge.

    References
    ----------
    Bates, Maechler, Bolker, Walker, J. Statistical Software 67 (2015) 1, section 5.1; there the likelihood is never
    the restricted one, here it is the fit's own.
    """
    need(fit, Fit, "profiling the SDs of a fit", "fit", "Pass what fit_mixed(formula, data) gives.", FitError)
    asked = f"profiling the SDs of {fit.formula}"
    need_share(level, asked, error=FitError)
    if not fit.converged:
        raise FitError(asked, "the fit did not converge", "Simplify its random terms first.")
    problem, rows = fit.problem, []
    rise = float(ndtri(0.5 + 0.5 * level)) ** 2
    variances = fit.components[fit.components["other"].isna()]
    at = iter(variances["sd_or_corr"])
    for t, term in enumerate(problem.terms):
        for effect, name in enumerate(term.names):
            sd = next(at)
            if term.group not in problem.fixed:
                rows.append((term.group, name, sd, *_ends(fit, t, effect, sd, rise)))
    if problem.strata == 1 and problem.sigma_held is None:
        rows.append(("residual", None, fit.sigma, *_residual_ends(fit, rise)))
    return Profile(pd.DataFrame(rows, columns=["group", "term", "sd", "low", "high"]), level, fit.reml)


def _ends(fit, t, effect, sd, rise):
    """Return the ends of the interval of one effect's SD."""
    problem, x, least = fit.problem, fit.inference.optimum.x, fit.criterion
    held, near = at_sd(problem, x, fit.sigma, t, effect)
    without, start = empty(problem, x, t, effect)
    nothing = search(without, start).point.value[0] - least
    warm = {"x": near}

    def risen(value):
        set_sd(held, t, effect, value)
        found = search(held, warm["x"])
        warm["x"] = found.x
        return found.point.value[0] - least - rise

    scale = fit.sigma * problem.scale[problem.terms[t].columns[effect]]
    tiny = 1e-3 * (sd or scale)
    low = 0.0 if nothing <= rise else _crossing(risen, tiny, max(sd, tiny))
    warm["x"] = near
    return low, _beyond(risen, max(sd, 0.05 * scale), sd)


def _residual_ends(fit, rise):
    problem, least = copy(fit.problem), fit.criterion
    problem.profiled, problem.sized, problem.movable = False, False, False
    near = fit.inference.optimum.x[: fit.problem.size - fit.problem.sized]
    warm = {"x": near, "sigma": fit.sigma}

    def risen(value):
        problem.sigma_held = value
        found = search(problem, warm["x"] * warm["sigma"] / value)  # parameters are relative to sigma
        warm.update(x=found.x, sigma=value)
        return found.point.value[0] - least - rise

    low = _crossing(risen, 0.05 * fit.sigma, fit.sigma)
    warm.update(x=near, sigma=fit.sigma)
    return low, _beyond(risen, fit.sigma, fit.sigma)


def _crossing(risen, low, high):
    """Where the criterion has risen by as much as allowed, between a point below and one within the interval."""
    if risen(low) <= 0:
        return low
    return float(brentq(risen, low, high, xtol=1e-6 * high, rtol=1e-6))


def _beyond(risen, first, inside):
    """Do the same above the estimate, where no point beyond is known yet."""
    low, high = inside, 1.3 * first
    for _ in range(FARTHEST):
        if risen(high) > 0:
            return float(brentq(risen, low, high, xtol=1e-6 * high, rtol=1e-6)) if low else _from_zero(risen, high)
        low, high = high, 1.5 * high
    return np.inf


def _from_zero(risen, high):
    """Upper end where the estimate itself is 0, which a logarithmic scale cannot start from."""
    low = high
    while risen(low) > 0:
        low *= 0.5
    return float(brentq(risen, low, high, xtol=1e-6 * high, rtol=1e-6))
