"""An effect in a level yet to come: its range, with the spread between levels as unsure as the data leave it."""

from copy import copy
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
import pandas as pd
from scipy.special import stdtr, stdtrit

from coachlab.errors import FitError, need, need_share
from coachlab.mixed.fit import Fit
from coachlab.mixed.hold import led
from coachlab.mixed.problem import Point
from coachlab.mixed.sheet import decimals, number
from coachlab.mixed.show import new_level_html
from coachlab.mixed.solve import STEP as SMALL

NODES = 20  # of the spread; more move no end of an interval by a hundredth of its width
SHARP = 4.0  # standard errors from 0 beyond which the spread is weighed around its estimate alone
STEPS = 4  # of the search for the other parameters at each spread
LONGEST = 0.5  # of a step; parameters are near 1
AWAY = 0.1  # least relative SD from which the search starts
HALVINGS = 60  # of the search for an end of the interval


@dataclass(frozen=True, eq=False)
class NewLevel:
    """Range of an effect in a level of a group that is drawn anew.

    table    one row: term, group, levels (in the data), estimate, low, high
    spreads  columns spread, weight, estimate, se: the SDs between levels that were weighed, how much each counts, and
             the mean effect with its standard error at each
    level    nominal level of the range
    scale    scale of the prior of the spread
    """

    table: pd.DataFrame
    spreads: pd.DataFrame
    level: float
    scale: float

    @property
    def low(self) -> float:
        """Lower end."""
        return float(self.table["low"].iloc[0])

    @property
    def high(self) -> float:
        """Upper end."""
        return float(self.table["high"].iloc[0])

    def ends(self, level: float) -> tuple[float, float]:
        """Return the ends of the range at another nominal level."""
        s = self.spreads
        sd = np.hypot(s["spread"], s["se"]).to_numpy()
        weight, mean, df = s["weight"].to_numpy(), s["estimate"].to_numpy(), int(self.table["levels"].iloc[0]) - 1
        low, high = (_quantile(p, weight, mean, sd, df) for p in (0.5 - 0.5 * level, 0.5 + 0.5 * level))
        return low, high

    def chance(self, above: float) -> float:
        """Probability that the effect in a new level lies above a value."""
        s = self.spreads
        away = (s["estimate"] - above) / np.hypot(s["spread"], s["se"])
        return float(s["weight"] @ stdtr(int(self.table["levels"].iloc[0]) - 1, away))

    def text(self) -> str:
        """Range in a sentence, with the coverage that was found in tests."""
        row = self.table.iloc[0]
        digits = decimals(float(np.hypot(self.spreads["spread"], self.spreads["se"]) @ self.spreads["weight"]))
        low, high = number(self.low, digits), number(self.high, digits)
        said = (
            f"{row['term']} in a new level of {row['group']}: {number(row['estimate'], digits)} "
            f"({100 * self.level:.3g} % range {low} to {high}, from {row['levels']} levels)."
        )
        return " ".join([said, *tested_words("new level", self.level, int(row["levels"]))])

    def _repr_html_(self) -> str:
        return new_level_html(self)


@cache
def tested() -> pd.DataFrame:
    """Coverage found in simulated studies, as the table beside the package has it.

    Returns
    -------
    DataFrame
        Columns kind ("new level": a range of `new_level`; "predictions": an interval of `predictions` for a level drawn
        anew), nominal, levels, spread (the true SD between levels, in units of the prior's scale), studies, coverage,
        error (its Monte-Carlo standard error).
    """
    with files("coachlab").joinpath("assets/coverage.csv").open(encoding="utf-8") as file:
        return pd.read_csv(file)


def tested_words(kind: str, nominal: float, levels: int) -> tuple[str, ...]:
    """The coverage that was found for an interval of this kind, in a sentence; nothing where none was tested."""
    found = tested_coverage(kind, nominal, levels)
    if found is None:
        return ()
    usual, least, most = (f"{100 * share:.0f}" for share in found[:3])
    wide = f"{least} to {most} % as the spread is smaller or larger" if least != most else "whatever the spread"
    return (
        f"Tested: such intervals of nominally {100 * nominal:.3g} % held {usual} % of new levels in "
        f"simulated data of {found[3]} levels ({wide}).",
    )


@cache
def tested_coverage(kind: str, nominal: float, levels: int) -> tuple[float, float, float, int] | None:
    """Coverage at a usual spread, the least and the most over all spreads, and the number of levels that was tested.

    The number is the largest one tested that is not above `levels`; None where nothing was tested.
    """
    table = tested()
    mine = table[(table["kind"] == kind) & np.isclose(table["nominal"], nominal) & (table["levels"] <= levels)]
    if not len(mine):
        return None
    mine = mine[mine["levels"] == mine["levels"].max()].set_index("spread")["coverage"]
    return (
        float(mine[1.0]),
        float(mine.min()),
        float(mine.max()),
        int(table.loc[table["levels"] <= levels, "levels"].max()),
    )


def new_level(
    fit: Fit, term: str, group: str, scale: float, slope: str | None = None, level: float = 0.95, nodes: int = NODES
) -> NewLevel:
    """Range of a fixed effect, together with its random slope, in a level of a group that is drawn anew.

    A range from the estimated spread alone is too narrow where levels are few, since the spread is then hardly known
    and often estimated as 0. Here every spread counts as much as the data and a prior let it: the restricted likelihood
    along the spread, the other covariance parameters at their best for each, times a half-t density with 3 degrees of
    freedom. At each spread the new effect follows t about the mean effect there, with the spread and the standard error
    of the mean together as its scale, and one degree of freedom less than there are levels.

    Parameters
    ----------
    fit : Fit
        A fitted model; also one fitted by maximum likelihood, whose restricted likelihood is then taken.
    term : str
        A fixed coefficient.
    group : str
        A grouping factor with a random slope for it.
    scale : float
        Scale of the prior of the spread, in the coefficient's unit: a spread that would not surprise.
    slope : str, optional
        How the column is called in the random term; None: as `term`.
    level : float
        Nominal level of the range.
    nodes : int
        At how many spreads the likelihood is taken.

    Returns
    -------
    NewLevel

    Raises
    ------
    FitError
        If the coefficient is not there or not estimable, the group has no such slope, or a number is out of range.

    Notes
    -----
    The other parameters are found anew at each spread, not held: the spread between levels and the noise within them
    (of blocks, say) trade off against each other, and holding the noise would make the spread look better known. They
    are not integrated over; t in place of a normal distribution allows for that.

    References
    ----------
    Gelman, Bayesian Analysis 1 (2006) 515, for half-t priors; Higgins, Thompson, Spiegelhalter, J. Royal Statistical
    Society A 172 (2009) 137, for the predictive distribution.
    """
    asked = f"the range of {term!r} in a new level of {group!r}"
    need(fit, Fit, asked, "fit", "Pass what fit_mixed(formula, data) gives.", FitError)
    if not isinstance(scale, int | float | np.number) or not np.isfinite(scale) or scale <= 0:
        raise FitError(asked, f"scale={scale!r}", "Give a positive spread, in the unit of the coefficient.")
    need_share(level, asked, error=FitError)
    if term not in fit.terms or fit.terms.index(term) not in fit.problem.kept:
        known = ", ".join(name for j, name in enumerate(fit.terms) if j in fit.problem.kept)
        raise FitError(asked, f"{term!r} is no estimable coefficient of {fit.formula}", f"Known: {known}.")
    place = fit.problem.kept.index(fit.terms.index(term))
    own = slope or term
    found = [
        (t, each.names.index(own))
        for t, each in enumerate(fit.problem.terms)
        if each.group == group and own in each.names
    ]
    if not found:
        raise FitError(
            asked, f"no random term lets {own!r} vary over {group!r}", f"Add (0 + {own} | {group}) to the formula."
        )
    spread, weight, estimate, se = _weighed(fit, *found[0], place, scale, nodes)
    levels = len(fit.problem.labels[fit.problem.terms[found[0][0]].factor])
    sd = np.hypot(spread, se)
    ends = [_quantile(p, weight, estimate, sd, levels - 1) for p in (0.5 - 0.5 * level, 0.5 + 0.5 * level)]
    row = (term, group, levels, float(weight @ estimate), *ends)
    return NewLevel(
        pd.DataFrame([row], columns=["term", "group", "levels", "estimate", "low", "high"]),
        pd.DataFrame({"spread": spread, "weight": weight, "estimate": estimate, "se": se}),
        level,
        scale,
    )


def _weighed(fit, t, effect, place, scale, nodes):
    """Spreads, their weights, and the coefficient with its standard error at each."""
    problem, x, at = _led_by(fit, t, effect)
    own = problem.scale[problem.terms[t].columns[effect]]
    if at is None:  # the spread is held at a known value
        points, step = x[None], np.ones(1)
        found = problem.evaluate(points)
    else:
        levels = len(problem.labels[problem.terms[t].factor])
        rough = np.sqrt(levels * fit.inference.covariance[place, place]) / (fit.sigma * own)
        curve = _curve(problem, x)
        points, step = _spread_points(x, at, curve, rough, nodes)
        points, found = _best_others(problem, points, at, curve)
    turn, ones = fit.inference.uncentre[place], fit.inference._ones
    estimate = found.beta @ turn + (0.0 if ones is None else ones[place] * problem.moments.centre[-1])
    se = found.sigma * np.sqrt(np.einsum("p,gpq,q->g", turn, found.unscaled, turn))
    theta = problem.unpack(points)[0]
    spread = found.sigma * own * np.abs(theta[:, problem.layers.first_parameter[t]])
    logs = -0.5 * (found.value - found.value.min()) - 2.0 * np.log1p((spread / scale) ** 2 / 3.0)
    weight = step * np.exp(logs - logs.max())
    return spread, weight / weight.sum(), estimate, se


def _led_by(fit, t, effect):
    """Return the problem by REML with one effect leading its term, the optimum, and which parameter is its spread."""
    problem = copy(fit.problem)
    problem.reml, problem.nu = True, problem.moments.rows - problem.p
    problem, x = led(problem, fit.inference.optimum.x, t, effect)
    at = np.flatnonzero(problem.free == problem.layers.first_parameter[t])
    return problem, x, int(at[0]) if len(at) else None


def _curve(problem, x):
    """Second derivatives of the criterion."""
    around = problem.evaluate(x + np.vstack([np.zeros(len(x)), SMALL * np.eye(len(x))]))
    change = (around.gradient[1:] - around.gradient[0]) / SMALL
    return 0.5 * (change + change.T)


def _spread_points(x, at, curve, rough, nodes):
    """Parameter vectors that differ in the leading one, and the width of spread that each stands for.

    Gauss-Legendre: about the estimate where it is sharp; else from 0 up to eight times the roughest guess of the
    spread, the SD of the effects with their noise, close together near 0.
    """
    u, width = np.polynomial.legendre.leggauss(nodes)
    u, width = 0.5 * (u + 1.0), 0.5 * width
    rest = np.arange(len(x)) != at
    pull = np.linalg.lstsq(curve[np.ix_(rest, rest)], curve[rest, at], rcond=1e-8)[0]
    error = np.sqrt(2.0 / max(curve[at, at] - curve[at, rest] @ pull, 1e-12))
    best = abs(x[at])
    points = np.repeat(x[None], nodes, axis=0)
    if best > SHARP * error:
        low, high = max(best - 7.0 * error, 0.0), best + 9.0 * error
        points[:, at] = low + (high - low) * u
        return points, (high - low) * width
    high = 8.0 * max(best, rough)
    points[:, at] = high * u**2
    return points, 2.0 * high * u * width


def _best_others(problem, points, at, curve):
    """Return the points with every parameter but one moved to the least criterion, and what stands there.

    BFGS, all points at once, from where the curvature at the optimum puts the others.
    """
    rest = np.flatnonzero(np.arange(points.shape[1]) != at)
    if not len(rest):
        return points, problem.evaluate(points)
    points = points.copy()
    start = points[:, rest]
    points[:, rest] = np.where(np.abs(start) < AWAY, AWAY, start)  # the slope vanishes at 0 and would hold the search
    size, axes = np.linalg.eigh(curve[np.ix_(rest, rest)])
    inverse = (axes / np.maximum(size, 0.01 * size.max())) @ axes.T
    inverse = np.repeat(inverse[None], len(points), axis=0)
    here = problem.evaluate(points)
    share = np.ones(len(points))
    for _ in range(STEPS):
        step = -np.einsum("gij,gj->gi", inverse, here.gradient[:, rest])
        step *= (share * np.minimum(1.0, LONGEST / np.maximum(np.linalg.norm(step, axis=1), 1e-300)))[:, None]
        ahead = points.copy()
        ahead[:, rest] += step
        there = problem.evaluate(ahead)
        better = there.value <= here.value
        change = (there.gradient - here.gradient)[:, rest]
        bend = np.einsum("gi,gi->g", change, step)
        learn = better & (bend > 1e-12)
        turned = np.einsum("gij,gj->gi", inverse, change)
        with np.errstate(divide="ignore", invalid="ignore"):
            gain = 1.0 + np.einsum("gi,gi->g", change, turned) / bend
            both = np.einsum("gi,gj->gij", step, turned)
            new = inverse + (
                (gain[:, None, None] * np.einsum("gi,gj->gij", step, step) - both - both.swapaxes(1, 2))
                / bend[:, None, None]
            )
        inverse = np.where(learn[:, None, None], new, inverse)
        points = np.where(better[:, None], ahead, points)
        share = np.where(better, 1.0, 0.3 * share)
        here = Point(*(_where(better, getattr(there, f), getattr(here, f)) for f in Point.__dataclass_fields__))
    return points, here


def _where(which, one, other):
    """Entries of one array for some points of a batch and of another for the rest."""
    return np.where(which.reshape(-1, *[1] * (one.ndim - 1)), one, other)


def _quantile(p, weight, mean, sd, df):
    """Where a mixture of t distributions has the share p below."""
    far = -float(stdtrit(df, min(p, 1.0 - p))) + 1.0
    low, high = float((mean - far * sd).min()), float((mean + far * sd).max())
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if weight @ stdtr(df, (middle - mean) / sd) < p:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
