"""The criterion of a mixed model from its moments, and its exact gradient."""

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, field

import numpy as np

from coachlab.errors import FitError
from coachlab.mixed.design import cells
from coachlab.mixed.elimination import eliminate, scores, trace_back
from coachlab.mixed.layers import Layers, lower, triangle
from coachlab.mixed.moments import Moments
from coachlab.mixed.plan import Term

EXACT = 1e-13  # share of the response's sum of squares below which what is left is rounding
ALIASED = 1e-10  # squared share of a column that the columns before it leave unexplained
SHRINK = 0.1  # most that a scoring step may take off a variance, so that it is not lost to a poor start
GROW = 100.0  # most that it may multiply one, where the fixed part leaves the variance without information
BATCH_NUMBERS = 1_500_000  # numbers held at once by a batch of evaluations; beyond, single ones keep to the cache


@dataclass(eq=False)
class Point:
    """Criterion at a batch of parameter vectors, with what falls out of the elimination."""

    value: np.ndarray
    gradient: np.ndarray
    rss: np.ndarray  # penalised residual sum of squares
    sigma: np.ndarray
    beta: np.ndarray  # of the centred columns
    unscaled: np.ndarray  # covariance of beta over sigma^2


@dataclass(eq=False)
class Problem:
    """Mixed model ready to be evaluated.

    Parameters are the lower triangles of the relative Cholesky factors, of columns scaled to a root mean square of 1;
    then the logarithms of the residual SD ratios of the strata after the first; then, if a term's SD is held fixed in
    the outcome's unit, the logarithm of sigma, which cannot be profiled out then.
    """

    moments: Moments
    reml: bool
    fixed: Mapping
    given_scale: np.ndarray | None = None
    movable: bool = field(init=False, default=True)  # whether the effects of a term may change places
    scale: np.ndarray = field(init=False)  # of the columns that vary
    terms: list[Term] = field(init=False)

    def __post_init__(self):
        m = self.moments
        self.asked = f"fitting {m.formula}"
        self.strata = len(m.strata[1])
        total = m.top.sum(axis=0)
        self.kept = _estimable(total[:-1, :-1], m.centre[:-1], m.rows)
        self.p = len(self.kept)
        self.nu = m.rows - self.p * self.reml
        self.count, self.log_weight = m.count, m.log_weight
        self.columns = [*self.kept, len(total) - 1]
        k = m.cross.shape[1]
        mean_square = np.einsum("cjj->j", m.cross[:, :, :k]) / max(m.rows, 1)
        if (mean_square == 0).any():
            name = m.coding.z_names[int(np.flatnonzero(mean_square == 0)[0])]
            raise FitError(self.asked, f"{name!r} is 0 in every row", "Leave it out of the random terms.")
        self.scale = 1.0 / np.sqrt(mean_square) if self.given_scale is None else self.given_scale
        self._read_terms()
        self.check_counts()
        whole = len(self.columns) == len(total)
        cross = m.cross if whole else m.cross[:, :, [*range(k), *(k + np.array(self.columns))]]
        size = np.outer(self.scale, np.append(self.scale, np.ones(len(self.columns))))
        self.layers = Layers(cross, size, self._top(m), self.codes, self.terms, m.stratum)
        self._read_fixed()
        self._check_rest()

    def _check_rest(self):
        """Refuse a response that the fixed part reproduces, since no variance is left to be split."""
        total = self._top(self.moments).sum(axis=0)
        size = np.sqrt(np.diag(total))
        alike = total / np.outer(size, size)
        share = 1.0 - alike[-1, :-1] @ np.linalg.solve(alike[:-1, :-1], alike[:-1, -1])
        if share < EXACT:
            raise FitError(
                self.asked,
                "the fixed part reproduces the response exactly, so that nothing is left to estimate a spread from",
                "Check whether the response was computed from these columns.",
            )

    def _top(self, m):
        """Cross-products of the estimable columns and the response."""
        return m.top[:, self.columns][:, :, self.columns]

    def answer(self, moments: Moments) -> "Problem":
        """Return the same model for moments that differ in the response alone: names, coding and layout stay."""
        other = copy(self)
        other.moments = moments
        other._check_rest()
        other.layers = self.layers.answer(moments.cross[:, :, -1:] * self.scale[:, None], self._top(moments))
        return other

    def pick(self, which: np.ndarray) -> "Problem":
        """Return the problem of some of several data sets, which are evaluated each at its own parameters."""
        other = copy(self)
        other.layers = self.layers.pick(which)
        if np.ndim(self.nu):
            other.nu, other.count, other.log_weight = self.nu[which], self.count[which], self.log_weight[which]
        return other

    def _read_terms(self):
        m = self.moments
        names = list(dict.fromkeys(bar.name for bar in m.coding.formula.bars))
        self.factors, self.codes, self.labels = names, [], []
        self.members = []  # of each factor: the codes of its columns at each level
        for name in names:
            parts = name.split(":")
            if len(parts) == 1:
                self.codes.append(m.codes[name])
                self.labels.append([str(label) for label in m.levels[name].tolist()])
                self.members.append(np.arange(len(m.levels[name]))[:, None])
                continue
            code, first = cells([(m.codes[part], m.levels[part]) for part in parts])
            order = np.lexsort([m.codes[part][first] for part in reversed(parts)])
            rank = np.empty_like(order)
            rank[order] = np.arange(len(order))
            self.codes.append(rank[code])
            at = first[order]
            self.members.append(np.column_stack([m.codes[part][at] for part in parts]))
            columns = [[str(label) for label in m.levels[p][m.codes[p][at]].tolist()] for p in parts]
            self.labels.append([":".join(row) for row in zip(*columns, strict=True)])
        self.terms = [
            Term(bar.name, own, columns, names.index(bar.name))
            for bar, (columns, own) in zip(m.coding.formula.bars, m.coding.bars, strict=True)
        ]

    def check_counts(self):
        """Refuse what the data cannot tell apart."""
        rows = self.moments.rows
        if rows <= self.p + 1:
            raise FitError(
                self.asked, f"{rows} rows for {self.p} fixed coefficients", "Give more rows or a smaller model."
            )
        for term in self.terms:
            n = len(self.labels[term.factor])
            if term.group in self.fixed:
                continue
            if n < 2:
                raise FitError(
                    self.asked,
                    f"{term.group!r} has a single level, {self.labels[term.factor][0]!r}",
                    f"A spread between levels needs several; leave out ({' + '.join(term.names)} | {term.group}).",
                )
            if n * term.size >= rows:
                raise FitError(
                    self.asked,
                    f"({' + '.join(term.names)} | {term.group}) has {n * term.size} effects for {rows} rows, so that "
                    "its spread cannot be told from the residual",
                    "Leave the term out, or use a grouping factor whose levels have several rows each.",
                )

    def _read_fixed(self):
        """Which parameters are free, and the SDs that are held."""
        n = self.layers.parameters
        self.held = np.zeros(n)
        free = np.ones(n, bool)
        self.sigma_held = None
        known = {term.group for term in self.terms} | {"residual"}
        for group, sd in self.fixed.items():
            if group not in known:
                raise FitError(
                    self.asked,
                    f"fixed= names {group!r}, which is no group of the model",
                    f"Groups: {', '.join(sorted(known))}.",
                )
            if not np.isscalar(sd) or not np.isfinite(sd) or sd < 0 or (group == "residual" and sd == 0):
                raise FitError(self.asked, f"fixed[{group!r}] is {sd!r}", "Give one SD, in the outcome's unit.")
            if group == "residual":
                self.sigma_held = float(sd)
                continue
            for t, term in enumerate(self.terms):
                if term.group != group:
                    continue
                if term.size > 1:
                    raise FitError(
                        self.asked,
                        f"fixed[{group!r}] is one SD, the term has {term.size} effects: {', '.join(term.names)}",
                        f"Write the effects as terms of their own: ({' + '.join(term.names)} || {group}).",
                    )
                at = self.layers.first_parameter[t]
                free[at] = False
                self.held[at] = sd / self.scale[term.columns[0]]
        self.free = np.flatnonzero(free)
        self.profiled = not self.held.any() and self.sigma_held is None
        self.sized = self.sigma_held is None and not self.profiled

    @property
    def cost(self) -> int:
        """Numbers that an evaluation touches."""
        return sum(layer.rows[0].size for layer in self.layers.layers)

    @property
    def size(self) -> int:
        """Number of parameters."""
        return len(self.free) + self.strata - 1 + self.sized

    def start(self) -> np.ndarray:
        """Parameters to start from: every SD like the residual's, no correlation, equal strata."""
        x = np.zeros(self.layers.parameters)
        for t, term in enumerate(self.terms):
            x[self.layers.first_parameter[t] + _diagonal(term.size)] = 0.5
        parts = [x[self.free], np.zeros(self.strata - 1)]
        if self.sized:
            top = self.layers.top.sum(axis=0)
            parts.append([0.5 * np.log(max(top[-1, -1], 1e-300) / self.moments.rows)])
        return np.concatenate(parts)

    def approach(self, x: np.ndarray) -> np.ndarray:
        """Parameters nearer to the optimum: a step of Fisher scoring for each random term as if it were alone.

        With one balanced term the step ends at the optimum. Costs as much as two evaluations, without a Hessian.
        """
        theta, weights, sigma = self.unpack(x[None])
        factors = self.layers.factors_of(theta)
        state, top, _ = eliminate(self.layers, factors, weights)
        p = self.p
        unscaled = np.linalg.inv(top[0, :p, :p])
        beta = unscaled @ top[0, :p, p]
        rss = top[0, p, p] - beta @ top[0, :p, p]
        if self.profiled:
            sigma = [np.sqrt(rss / self.nu)]
        seed = np.zeros((2, p + 1, p + 1))
        if self.reml:
            seed[:, :p, :p] = unscaled
        ahead = np.append(-beta, 1.0) / sigma[0]
        seed[1] += np.outer(ahead, ahead)
        x = x.copy()
        for t, (trace, score) in enumerate(scores(self.layers, state, factors, seed)):
            first, last = self.layers.first_parameter[t : t + 2]
            at = np.searchsorted(self.free, first)
            if at == len(self.free) or self.free[at] != first:
                continue
            k = self.terms[t].size
            if k == 1:
                total = float((trace * trace).sum())
                old = float(theta[0, first]) ** 2
                new = old - float(score.sum()) / total if total > 0 else old
                x[at] = np.sqrt(min(max(new, SHRINK * old), GROW * old))
                continue
            order = list(self.layers.orders[t])
            information = np.einsum("uij,ukl->ikjl", trace, trace).reshape(k * k, k * k)
            step = np.linalg.lstsq(information, -score.sum(axis=0).ravel(), rcond=1e-10)[0].reshape(k, k)
            factor = self.layers.factor(t, theta[0])
            covariance = factor @ factor.T
            size, axes = np.linalg.eigh(covariance + 0.5 * (step + step.T))
            sizes = np.linalg.eigvalsh(covariance)
            size = np.clip(size, SHRINK * max(min(size[-1], GROW * sizes[-1]), sizes[0]), GROW * sizes[-1])
            covariance = ((axes * size) @ axes.T)[np.ix_(order, order)]
            x[at : at + last - first] = np.linalg.cholesky(covariance)[triangle(k)]
        if self.sized:
            x[-1] = 0.5 * np.log(rss / self.nu)
        return x

    def unpack(self, x):
        """Relative factors (batch, parameters), weights of the strata or None, and sigma or None."""
        n = len(self.free)
        sigma = None
        if self.sized:
            sigma = np.exp(x[:, -1])
        elif self.sigma_held is not None:
            sigma = np.full(len(x), self.sigma_held)
        theta = np.zeros((len(x), self.layers.parameters))
        theta[:, self.free] = x[:, :n]
        if self.held.any():
            theta += self.held / sigma[:, None]
        weights = None
        if self.strata > 1:
            weights = np.exp(-2.0 * np.concatenate([np.zeros((len(x), 1)), x[:, n : n + self.strata - 1]], axis=1))
        return theta, weights, sigma

    def evaluate(self, x: np.ndarray) -> Point:
        """Criterion and its gradient at a batch of parameters, shape (batch, n)."""
        held = max(layer.rows[0].size for layer in self.layers.layers) * 3
        at_once = max(1, int(BATCH_NUMBERS // held))
        if len(x) <= at_once:
            return self.evaluate_each(x)
        parts = [self.evaluate_each(x[i : i + at_once]) for i in range(0, len(x), at_once)]
        return Point(*(np.concatenate([getattr(p, name) for p in parts]) for name in Point.__dataclass_fields__))

    def evaluate_each(self, x: np.ndarray) -> Point:
        """Criterion and its gradient at a batch of parameters, all in one go; each may have a response of its own."""
        theta, weights, sigma = self.unpack(x)
        factors = self.layers.factors_of(theta)
        state, top, logdet = eliminate(self.layers, factors, weights)
        p, nu = self.p, self.nu
        C = np.linalg.cholesky(top)
        diagonal = C[:, range(p), range(p)]
        inverse = np.linalg.inv(C[:, :p, :p])
        beta = (inverse.swapaxes(1, 2) @ C[:, p, :p, None])[..., 0]
        unscaled = inverse.swapaxes(1, 2) @ inverse
        rss = C[:, p, p] ** 2
        value = logdet - self.log_weight
        if self.reml:
            value = value + 2.0 * np.log(diagonal).sum(axis=1)
        if self.profiled:
            sigma = np.sqrt(rss / nu)
        value = value + nu * np.log(2.0 * np.pi * sigma**2) + rss / sigma**2
        ahead = np.concatenate([-beta, np.ones((len(x), 1))], axis=1) / sigma[:, None]
        seed = ahead[:, :, None] * ahead[:, None, :]
        if self.reml:
            seed[:, :p, :p] += unscaled
        slope, _, by_weight = trace_back(self.layers, state, factors, seed, strata=self.strata > 1)
        gradient = slope[:, self.free]
        if self.strata > 1:
            count = self.count[..., 1:]
            value = value - (np.log(weights[:, 1:]) * count).sum(axis=1)
            gradient = np.concatenate([gradient, 2.0 * count - 2.0 * by_weight[:, 1:] * weights[:, 1:]], axis=1)
        if self.sized:
            by_sigma = 2.0 * nu - 2.0 * rss / sigma**2 - (slope * self.held).sum(axis=1) / sigma
            gradient = np.concatenate([gradient, by_sigma[:, None]], axis=1)
        return Point(value, gradient, rss, sigma, beta, unscaled)

    def theta(self, x: np.ndarray) -> np.ndarray:
        """Relative Cholesky factors of the columns as given, one after the other as lme4 does."""
        turned = [lower(factor) for factor in self.factors_at(x)]
        return np.concatenate([each[triangle(len(each))] for each in turned])

    def factors_at(self, x: np.ndarray) -> list[np.ndarray]:
        """Factors F, one a term, with sigma^2 F F' the covariance of its effects."""
        theta = self.unpack(x[None])[0][0]
        return [
            self.layers.factor(t, theta) * self.scale[list(term.columns)][:, None] for t, term in enumerate(self.terms)
        ]

    def arrange(self, x: np.ndarray) -> np.ndarray:
        """Let the effect with the largest variance lead in each term; the same parameters in that order."""
        if not self.movable:
            return x
        factors = self.layers.factors(self.unpack(x[None])[0][0])
        self.layers.arrange([tuple(np.argsort(-(f**2).sum(axis=1), kind="stable").tolist()) for f in factors])
        return np.concatenate([self.layers.parameters_of(factors)[self.free], x[len(self.free) :]])


def _diagonal(size):
    """Where the diagonal stands in a lower triangle stored column by column."""
    return np.cumsum([0, *range(size, 1, -1)])


def _estimable(cross, centre, rows):
    """Columns that are not sums of those before them, as lme4 keeps them."""
    diagonal = np.diag(cross)
    alive = diagonal > 1e-13 * (diagonal + rows * centre**2)
    size = np.sqrt(np.where(alive, diagonal, 1.0))
    alike = cross / np.outer(size, size)
    if alive.all() and np.linalg.eigvalsh(alike)[:1].sum() > 1e-6 * len(cross):
        return list(range(len(cross)))
    kept: list[int] = []
    for j in np.flatnonzero(alive):
        left = 1.0
        if kept:
            left -= alike[j, kept] @ np.linalg.solve(alike[np.ix_(kept, kept)], alike[kept, j])
        if left > ALIASED:
            kept.append(int(j))
    return kept
