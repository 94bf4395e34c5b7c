"""What may still be in residuals: neighbours that are alike, and a spread that differs from level to level."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from coachlab.errors import FitError
from coachlab.mixed.fit import Fit
from coachlab.mixed.rows import rows_of

_RHO = np.linspace(-0.98, 0.98, 393)


@dataclass(frozen=True, eq=False)
class Neighbours:
    """Correlation of each row's residual with the next of its group.

    r          as it stands: mean product of neighbours over the mean square
    rho        the correlation of one row with the next freed of what taking out each group's own mean does to `r`
    low, high  interval of `rho`, by leaving out one group after the other
    pairs      pairs of neighbours
    """

    r: float
    rho: float
    low: float
    high: float
    pairs: int
    level: float

    @property
    def table(self) -> pd.DataFrame:
        """The same as one row."""
        return pd.DataFrame([{name: getattr(self, name) for name in ("r", "rho", "low", "high", "pairs")}])

    def text(self) -> str:
        """Say the correlation in one sentence."""
        return (
            f"Neighbouring rows correlate by {self.rho:.2f} ({100 * self.level:g} % interval {self.low:.2f} to "
            f"{self.high:.2f}, {self.pairs} pairs; {self.r:.2f} before the group's own mean is allowed for)."
        )

    def _repr_html_(self) -> str:
        return self.table.to_html(index=False, float_format="{:.3g}".format)


@dataclass(frozen=True, eq=False)
class Spread:
    """Residual SD at each level of a column.

    table  columns level, rows, sd, low, high, df
    p      how often levels would differ at least so much if all had one SD
    ratio  typical factor by which a level's SD differs from the common one, chance taken off; 1 where there is none
    """

    table: pd.DataFrame
    column: str
    p: float
    ratio: float
    level: float

    def text(self) -> str:
        """Least and largest SD, and whether chance alone makes such differences."""
        sd = self.table["sd"]
        chance = "" if np.isnan(self.p) else f"; chance alone would differ as much in {100 * self.p:.2g} % of data sets"
        return f"Residual SD by {self.column} from {sd.min():.3g} to {sd.max():.3g} ({len(sd)} levels){chance}."

    def _repr_html_(self) -> str:
        return self.table.to_html(index=False, float_format="{:.4g}".format)


def neighbours(
    values: Sequence[float],
    group: Sequence,
    order: Sequence[float] | None = None,
    by: Sequence | None = None,
    level: float = 0.95,
) -> Neighbours:
    """Correlation of neighbouring values within groups, such as of one shot's residual with the next of its block.

    Taking out the group's own mean, as a random effect does, makes neighbours look less alike: by about 1 / (n - 1) in
    a group of n. So `rho` is found from the differences of neighbours and the scatter within groups, neither of which
    knows the group's mean, for a correlation that falls as rho^lag.

    Parameters
    ----------
    values : array, shape (n,)
        Residuals.
    group : array, shape (n,)
        The group of each.
    order : array, shape (n,), optional
        Order within a group; None: as they stand.
    by : array, shape (n,), optional
        Wider groups that are left out one after the other for the interval; None: the groups themselves.
    level : float
        Of the interval.

    Raises
    ------
    FitError
        If no group has two rows.

    References
    ----------
    von Neumann, Annals of Mathematical Statistics 12 (1941) 367, for the ratio.
    """
    e, g = np.asarray(values, float), pd.factorize(np.asarray(group))[0]
    if not 0 < level < 1:
        raise FitError("correlating neighbours", f"level={level!r}", "The level is a share such as .95.")
    place = np.lexsort([np.arange(len(e)) if order is None else np.asarray(order, float), g])
    e, g = e[place], g[place]
    wide = g if by is None else pd.factorize(np.asarray(by)[place])[0]
    pair = g[1:] == g[:-1]
    if not pair.any():
        raise FitError("correlating neighbours", "no group has two rows", "Give a group with several rows each.")
    first, second = e[:-1][pair], e[1:][pair]
    r = float((first @ second / pair.sum()) / (e @ e / len(e)))

    units, count = int(wide.max()) + 1, np.bincount(g)
    mean = np.bincount(g, e) / count
    steps = np.bincount(wide[1:][pair], 0.5 * (second - first) ** 2, units)
    pairs = np.bincount(wide[1:][pair], minlength=units)
    scatter = np.bincount(wide, (e - mean[g]) ** 2, units)
    groups = np.bincount(wide[np.unique(g, return_index=True)[1]], minlength=units)
    free = np.bincount(wide, minlength=units) - groups
    expected = _ratio(count)

    def rho_of(steps, pairs, scatter, free):
        return np.interp((steps / pairs) / (scatter / free), expected[::-1], _RHO[::-1])

    sums = (steps, pairs, scatter, free)
    rho = float(rho_of(*(each.sum() for each in sums)))
    several, half = pairs > 0, np.nan
    n = int(several.sum())
    if n > 1:
        left = rho_of(*(each.sum() - each[several] for each in sums))
        half = float(stats.t.ppf(0.5 + 0.5 * level, n - 1) * np.sqrt((n - 1) / n * ((left - left.mean()) ** 2).sum()))
    return Neighbours(r, rho, rho - half, rho + half, int(pair.sum()), level)


def spread_by(fit: Fit, column: Sequence, name: str = "column", level: float = 0.95) -> Spread:
    """Residual SD at each level of a column of the rows, with intervals that allow for heavy tails.

    Parameters
    ----------
    fit : Fit
        A fit of a table.
    column : array, shape (n,)
        One label for each row that was used, in their order.
    name : str
        What the column is called.
    level : float
        Of the intervals.

    Raises
    ------
    FitError
        If the fit was made from moments, or the column has another length.

    References
    ----------
    Layard, J. American Statistical Association 68 (1973) 195: the variance of a log SD is (kurtosis - 1) / (4 df).
    """
    rows = rows_of(fit, "residual SD by a column")
    codes, labels = pd.factorize(np.asarray(column, object), sort=True)
    if len(codes) != rows.n or (codes < 0).any():
        raise FitError(
            f"residual SD by {name} of {fit.formula}",
            f"{len(codes)} labels, some of them missing or not, for {rows.n} rows that were used",
            "Give one label for each row that was used.",
        )
    scaled = rows.solve(rows.response[:, None])[1][:, 0] / rows.spread
    df = np.bincount(codes, 1.0 - rows.leverage)
    sd = np.sqrt(np.bincount(codes, scaled**2) / df)
    alike = scaled / (sd[codes] * np.sqrt(1.0 - rows.leverage))
    kurtosis = max(float((alike**4).mean() / (alike**2).mean() ** 2), 1.5)
    se = np.sqrt((kurtosis - 1.0) / (4.0 * df))
    half = stats.norm.ppf(0.5 + 0.5 * level) * se
    table = pd.DataFrame(
        {
            "level": [str(label) for label in labels],
            "rows": np.bincount(codes),
            "sd": sd,
            "low": sd * np.exp(-half),
            "high": sd * np.exp(half),
            "df": df,
        }
    )
    weight = 1.0 / se**2
    log = np.log(sd)
    centre = weight @ log / weight.sum()
    q, free = float(weight @ (log - centre) ** 2), len(sd) - 1
    if not free:
        return Spread(table, name, np.nan, 1.0, level)
    between = max(0.0, (q - free) / (weight.sum() - weight @ weight / weight.sum()))
    return Spread(table, name, float(stats.chi2.sf(q, free)), float(np.exp(np.sqrt(between))), level)


def _ratio(count):
    """Return the expected ratio of neighbours' half squared differences to the scatter within groups by correlation."""
    sizes, times = np.unique(count[count > 1], return_counts=True)
    alike = np.zeros(len(_RHO))
    for n, many in zip(sizes, times, strict=True):
        lag = np.arange(1, n)
        # mean correlation of two rows of a group, times its degrees of freedom
        alike += many * (n - 1) * (2.0 / (n * (n - 1)) * (n - lag)) @ _RHO[None, :] ** lag[:, None]
    return (1.0 - _RHO) / (1.0 - alike / (times @ (sizes - 1)))
