"""Quantiles beside those of data simulated from the fit, and the real data hidden among simulated ones."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy import stats

from coachlab.errors import FitError
from coachlab.mixed.fit import Fit
from coachlab.mixed.rows import Rows, in_portions, rows_of

SETS = 999
SHOWN = 400  # order statistics that are kept of a long sample: the outer ones all, the inner ones thinned
OUTER = 40


@dataclass(frozen=True, eq=False)
class Envelope:
    """Ordered values against those of a normal sample, with the band of simulated sets.

    table   columns normal (quantile of a normal sample), observed, middle, low, high: the band holds a whole simulated
            set in `level` of the cases (simultaneous, not point by point)
    p       share of sets, the real one counted, that leave the middle at least as far as the real one does
    name    what the values are
    n       how many values
    sets    simulated sets

    Each set, the real one too, is divided by its own root mean square: the band is about shape, not about size.
    """

    table: pd.DataFrame
    p: float
    name: str
    n: int
    sets: int
    level: float

    @property
    def outside(self) -> int:
        """Points of the table outside the band."""
        t = self.table
        return int(((t["observed"] < t["low"]) | (t["observed"] > t["high"])).sum())

    def text(self) -> str:
        """Whether the values look as those of the model do."""
        where = "inside" if not self.outside else f"{self.outside} points outside"
        return (
            f"{self.name} ({self.n} values): {where} the {100 * self.level:g} % band of {self.sets} simulated sets; "
            f"{100 * self.p:.2g} % of such sets lie as far out."
        )

    def _repr_html_(self) -> str:
        return self.table.to_html(index=False, float_format="{:.3g}".format, max_rows=10)


@dataclass(frozen=True, eq=False)
class Lineup:
    """The real responses among sets simulated from the fit.

    responses  shape (n, sets + 1), a column each; which one is real stands nowhere in sight
    at         shape (n,): which row of the table each was
    """

    responses: np.ndarray
    at: np.ndarray
    _place: int = field(repr=False)

    @property
    def table(self) -> pd.DataFrame:
        """Responses as a table: a column for each panel, from 1."""
        panels = [f"panel {i + 1}" for i in range(self.responses.shape[1])]
        return pd.DataFrame(self.responses, index=pd.Index(self.at, name="row"), columns=panels)

    def reveal(self) -> int:
        """Panel that holds the real data, counted from 1."""
        return self._place + 1

    def text(self) -> str:
        """Say what to do with it."""
        n = self.responses.shape[1]
        return f"{n} panels, one of them real: if you can pick it, the model misses something that you see."

    def _repr_html_(self) -> str:
        return f"<p>{self.text()}</p>"


def residual_envelope(fit: Fit, sets: int = SETS, seed: int | None = None, level: float = 0.95) -> Envelope:
    """Ordered conditional residuals of a fit, each over its own SD, with the band of sets simulated from it.

    Parameters
    ----------
    fit : Fit
        A fit of a table.
    sets : int
        How many sets are simulated.
    seed : int, optional
        Of the simulation.
    level : float
        Share of simulated sets that lie wholly inside the band.

    Raises
    ------
    FitError
        If the fit was made from moments.
    """
    rows = rows_of(fit, "a residual envelope")
    scale = (fit.sigma * rows.spread * np.sqrt(1.0 - rows.leverage))[:, None]

    def values(responses):
        return [rows.solve(responses)[1] / scale]

    return _envelopes(rows, values, ["residuals"], sets, seed, level)[0]


def effect_envelopes(
    fit: Fit, sets: int = SETS, seed: int | None = None, level: float = 0.95
) -> dict[tuple[str, str], Envelope]:
    """Ordered random effects of each term, by (group, term), with the band of sets simulated from the fit.

    Conditional modes are shrunken, more where a level has few rows; so are those of the simulated sets, whose modes are
    found in the same way. Each is over its own SD: that of the effect less its conditional variance. An effect whose
    SD is estimated as 0 has no envelope.

    Parameters
    ----------
    fit : Fit
        A fit of a table.
    sets, seed, level
        As for `residual_envelope`.

    Raises
    ------
    FitError
        If the fit was made from moments.
    """
    rows, problem = rows_of(fit, "envelopes of random effects"), fit.problem
    factors = problem.factors_at(fit.inference.optimum.x)
    names, scales, keys = [], [], []
    for t, (term, factor) in enumerate(zip(problem.terms, factors, strict=True)):
        whole = fit.sigma**2 * (factor**2).sum(axis=1)
        own = np.einsum("lii->li", fit.inference.mode_covariances[t])
        for i, name in enumerate(term.names):
            left = whole[i] - own[:, i]
            if whole[i] < 1e-8 * fit.sigma**2 or (left <= 1e-12 * whole[i]).any():
                continue
            keys.append((t, i))
            names.append((term.group, name))
            scales.append(np.sqrt(left)[:, None])

    def values(responses):
        found = rows.effects(rows.solve(responses)[0])
        return [found[t][:, i] / scale for (t, i), scale in zip(keys, scales, strict=True)]

    words = [f"{name} of {group}" for group, name in names]
    return dict(zip(names, _envelopes(rows, values, words, sets, seed, level), strict=True))


def simulated(
    fit: Fit,
    statistics: Callable[[Rows, np.ndarray], np.ndarray],
    sets: int = SETS,
    seed: int | None = None,
) -> tuple[np.ndarray, np.ndarray]:
    """Statistics of the real responses, shape (s,), and of sets simulated from the fit, shape (s, sets).

    Parameters
    ----------
    fit : Fit
        A fit of a table.
    statistics : callable
        Takes the rows and responses of shape (n, k), free of the fixed part's estimate or not (what it draws on should
        not depend on the fixed part), and gives an array of shape (s, k).
    sets, seed
        As for `residual_envelope`.
    """
    rows = rows_of(fit, "simulated statistics")
    rng = np.random.default_rng(seed)
    found = [statistics(rows, rows.draw(size, rng)) for size in in_portions(rows, sets)]
    return statistics(rows, rows.response[:, None])[:, 0], np.concatenate(found, axis=1)


def lineup(fit: Fit, sets: int = 8, seed: int | None = None) -> Lineup:
    """Hide the real responses among sets simulated from the fit, for a reader to pick the odd one out.

    Parameters
    ----------
    fit : Fit
        A fit of a table.
    sets : int
        How many sets are simulated beside the real one.
    seed : int, optional
        Of the simulation and the place; `Lineup.reveal` tells the place.

    Raises
    ------
    FitError
        If the fit was made from moments.

    References
    ----------
    Buja et al., Philosophical Transactions A 367 (2009) 4361.
    """
    if sets < 1:
        raise FitError("a line-up of simulated sets", f"sets={sets!r}", "Give at least one.")
    rows = rows_of(fit, "a line-up of simulated sets")
    rng = np.random.default_rng(seed)
    place = int(rng.integers(sets + 1))
    fixed = rows.fixed(rows.solve(rows.response[:, None])[0])
    drawn = fixed + rows.draw(sets, rng)
    real = rows.response[:, None]
    responses = np.concatenate([drawn[:, :place], real, drawn[:, place:]], axis=1)
    return Lineup(responses + fit.problem.moments.centre[-1], rows.at, place)


def envelope_of(observed: Sequence[float], drawn: np.ndarray, name: str = "values", level: float = 0.95) -> Envelope:
    """Ordered values, shape (n,), against simulated sets of them, shape (n, sets).

    The band is the middle of the sets at each place, widened on either side in proportion to how far the sets reach
    there, by the one factor that holds `level` of the sets whole.

    References
    ----------
    Myllymaki et al., J. Royal Statistical Society B 79 (2017) 381: global envelopes by directional quantiles.
    """
    values = np.asarray(observed, float)
    return _envelope(_ordered(values[:, None])[:, 0], _ordered(np.asarray(drawn, float)), len(values), name, level)


def _envelopes(rows, values, names, sets, seed, level):
    if not (isinstance(sets, int) and sets >= 19):
        raise FitError("an envelope of simulated sets", f"sets={sets!r}", "Give at least 19 sets.")
    if not 0 < level < 1:
        raise FitError("an envelope of simulated sets", f"level={level!r}", "The level is a share such as .95.")
    if not names:
        return []
    rng = np.random.default_rng(seed)
    observed = values(rows.response[:, None])
    found: list[list[np.ndarray]] = [[] for _ in names]
    for size in in_portions(rows, sets):
        for each, kept in zip(values(rows.draw(size, rng)), found, strict=True):
            kept.append(_ordered(each))
    return [
        _envelope(_ordered(own)[:, 0], np.concatenate(drawn, axis=1), len(own), name, level)
        for own, drawn, name in zip(observed, found, names, strict=True)
    ]


def _ordered(values):
    """Order statistics of each column over its root mean square, thinned."""
    size = np.sqrt((values**2).mean(axis=0))
    return np.sort(values, axis=0)[_places(len(values))] / np.where(size > 0, size, 1.0)


def _places(n):
    if n <= SHOWN:
        return np.arange(n)
    inner = np.linspace(OUTER, n - 1 - OUTER, SHOWN - 2 * OUTER).round().astype(int)
    return np.r_[np.arange(OUTER), inner, np.arange(n - OUTER, n)]


def _envelope(observed, drawn, n, name, level):
    middle = np.median(drawn, axis=1)
    low, high = np.quantile(drawn, [0.025, 0.975], axis=1)
    below, above = np.maximum(middle - low, 1e-12), np.maximum(high - middle, 1e-12)

    def reach(values):
        away = values - middle.reshape(-1, *[1] * (values.ndim - 1))
        shape = (-1, *[1] * (values.ndim - 1))
        return np.maximum(away / above.reshape(shape), -away / below.reshape(shape)).max(axis=0)

    sets = reach(drawn)
    factor = np.quantile(sets, level)
    p = (1 + int((sets >= reach(observed)).sum())) / (1 + len(sets))
    at = (_places(n) + 0.5) / n
    table = pd.DataFrame(
        {
            "normal": stats.norm.ppf(at),
            "observed": observed,
            "middle": middle,
            "low": middle - factor * below,
            "high": middle + factor * above,
        }
    )
    return Envelope(table, p, name, n, drawn.shape[1], level)
