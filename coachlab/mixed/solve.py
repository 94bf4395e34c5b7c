"""The criterion of a mixed model from its moments, its exact gradient, and the search for its minimum."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import pandas as pd

from coachlab.errors import FitError
from coachlab.mixed.design import cells
from coachlab.mixed.layers import Layers, Term
from coachlab.mixed.moments import Moments

ALIASED = 1e-10  # squared share of a column that the columns before it leave unexplained
SINGULAR = 1e-4  # relative SD below which a direction counts as empty; lme4's limit
STEP = 2e-7  # of the finite differences of the exact gradient; parameters are scaled to be near 1
DONE = 1e-10  # expected fall of the criterion at which the search ends
MOST_STEPS = 60
APPROACHES = 3  # scoring steps before the search; each saves about two Newton steps
SHRINK = 0.1  # most that a scoring step may take off a variance, so that it is not lost to a poor start
CHEAP_FROM = 60_000  # numbers in all layers from which a start with held fixed effects pays
FEW_COLUMNS = 6
START_UNITS = 400  # units of the widest factor from which a large problem starts
BATCH_NUMBERS = 1_500_000  # numbers held at once by a batch of evaluations; beyond, single ones keep to the cache


@dataclass(frozen=True)
class Record:
    """How the search for the optimum went.

    start, end    covariance parameters (relative Cholesky factors, as lme4's theta)
    evaluations   evaluations of the criterion with its gradient
    gradient      largest absolute derivative at the end
    singular      whether some direction of a random term has no variance
    converged     whether the end is a minimum
    why           the same in words
    """

    start: tuple[float, ...]
    end: tuple[float, ...]
    evaluations: int
    gradient: float
    singular: bool
    converged: bool
    why: str


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
        columns = [*self.kept, len(total) - 1]
        k = m.cross.shape[1]
        mean_square = np.einsum("cjj->j", m.cross[:, :, :k]) / max(m.rows, 1)
        if (mean_square == 0).any():
            name = m.coding.z_names[int(np.flatnonzero(mean_square == 0)[0])]
            raise FitError(self.asked, f"{name!r} is 0 in every row", "Leave it out of the random terms.")
        self.scale = 1.0 / np.sqrt(mean_square) if self.given_scale is None else self.given_scale
        self._read_terms()
        self.check_counts()
        cross = m.cross[:, :, [*range(k), *(k + np.array(columns))]] * self.scale[:, None]
        cross[:, :, :k] *= self.scale
        top = m.top[:, columns][:, :, columns]
        self.layers = Layers(cross, top, self.codes, self.terms, m.stratum)
        self._read_fixed()

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
        state, top, _ = self.layers.eliminate(factors, weights)
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
        for t, (trace, score) in enumerate(self.layers.scores(state, factors, seed)):
            first, last = self.layers.first_parameter[t : t + 2]
            at = np.searchsorted(self.free, first)
            if at == len(self.free) or self.free[at] != first:
                continue
            k = self.terms[t].size
            if k == 1:
                total = float((trace * trace).sum())
                old = float(theta[0, first]) ** 2
                new = old - float(score.sum()) / total if total > 0 else old
                x[at] = np.sqrt(max(new, SHRINK * old))
                continue
            order = list(self.layers.orders[t])
            information = np.einsum("uij,ukl->ikjl", trace, trace).reshape(k * k, k * k)
            step = np.linalg.lstsq(information, -score.sum(axis=0).ravel(), rcond=1e-10)[0].reshape(k, k)
            factor = self.layers.factor(t, theta[0])
            covariance = factor @ factor.T
            size, axes = np.linalg.eigh(covariance + 0.5 * (step + step.T))
            size = np.maximum(size, SHRINK * max(size[-1], np.linalg.eigvalsh(covariance)[0]))
            covariance = ((axes * size) @ axes.T)[np.ix_(order, order)]
            x[at : at + last - first] = np.linalg.cholesky(covariance)[_triangle(k)]
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
            return self._evaluate(x)
        parts = [self._evaluate(x[i : i + at_once]) for i in range(0, len(x), at_once)]
        return Point(*(np.concatenate([getattr(p, name) for p in parts]) for name in Point.__dataclass_fields__))

    def _evaluate(self, x):
        theta, weights, sigma = self.unpack(x)
        factors = self.layers.factors_of(theta)
        state, top, logdet = self.layers.eliminate(factors, weights)
        p, nu = self.p, self.nu
        C = np.linalg.cholesky(top)
        diagonal = C[:, range(p), range(p)]
        inverse = np.linalg.inv(C[:, :p, :p])
        beta = (inverse.swapaxes(1, 2) @ C[:, p, :p, None])[..., 0]
        unscaled = inverse.swapaxes(1, 2) @ inverse
        rss = C[:, p, p] ** 2
        value = logdet - self.moments.log_weight
        if self.reml:
            value = value + 2.0 * np.log(diagonal).sum(axis=1)
        if self.profiled:
            sigma = np.sqrt(rss / nu)
        value = value + nu * np.log(2.0 * np.pi * sigma**2) + rss / sigma**2
        ahead = np.concatenate([-beta, np.ones((len(x), 1))], axis=1) / sigma[:, None]
        seed = ahead[:, :, None] * ahead[:, None, :]
        if self.reml:
            seed[:, :p, :p] += unscaled
        slope, _, by_weight = self.layers.trace_back(state, factors, seed, strata=self.strata > 1)
        gradient = slope[:, self.free]
        if self.strata > 1:
            count = self.moments.count[1:]
            value = value - np.log(weights[:, 1:]) @ count
            gradient = np.concatenate([gradient, 2.0 * count - 2.0 * by_weight[:, 1:] * weights[:, 1:]], axis=1)
        if self.sized:
            by_sigma = 2.0 * nu - 2.0 * rss / sigma**2 - (slope * self.held).sum(axis=1) / sigma
            gradient = np.concatenate([gradient, by_sigma[:, None]], axis=1)
        return Point(value, gradient, rss, sigma, beta, unscaled)

    def theta(self, x: np.ndarray) -> np.ndarray:
        """Relative Cholesky factors of the columns as given, one after the other as lme4 does."""
        parts = []
        for t, factor in enumerate(self.factors_at(x)):
            lower = _lower(factor)
            parts.append(lower[_triangle(self.terms[t].size)])
        return np.concatenate(parts)

    def factors_at(self, x: np.ndarray) -> list[np.ndarray]:
        """Factors F, one a term, with sigma^2 F F' the covariance of its effects."""
        theta = self.unpack(x[None])[0][0]
        return [
            self.layers.factor(t, theta) * self.scale[list(term.columns)][:, None] for t, term in enumerate(self.terms)
        ]

    def arrange(self, x: np.ndarray) -> np.ndarray:
        """Let the effect with the largest variance lead in each term; the same parameters in that order."""
        theta = self.unpack(x[None])[0][0]
        factors = [self.layers.factor(t, theta) for t in range(len(self.terms))]
        orders = [tuple(np.argsort(-(factor**2).sum(axis=1), kind="stable").tolist()) for factor in factors]
        parts = []
        for factor, order in zip(factors, orders, strict=True):
            lower = _lower(factor[list(order)])
            parts.append(lower[_triangle(len(order))])
        self.layers.arrange(orders)
        return np.concatenate([np.concatenate(parts)[self.free], x[len(self.free) :]])


@dataclass(eq=False)
class Optimum:
    """End of the search: the parameters, the criterion there, and how it was reached."""

    problem: Problem
    x: np.ndarray
    point: Point  # the first of its batch is at x
    record: Record

    @cached_property
    def around(self) -> Point:
        """The criterion at x and one small step along each parameter."""
        return self.point if len(self.point.value) == len(self.x) + 1 else _around(self.problem, self.x)

    @property
    def hessian(self) -> np.ndarray:
        """Second derivatives of the criterion."""
        return _hessian(self.around)


def minimise(problem: Problem, start: np.ndarray | None = None, hessian: np.ndarray | None = None) -> Optimum:
    """Minimum of the criterion.

    A large problem is first solved for some units with the fixed effects held at least squares, which costs a fraction;
    its optimum and curvature leave a few steps for the whole. With `start` and `hessian` those of a like problem serve.
    """
    n, before = problem.size, 0
    if start is None:
        x = problem.start()
        if n and problem.cost > CHEAP_FROM and problem.p > FEW_COLUMNS:
            part, share = _without_fixed(problem)
            easy = Problem(part, False, problem.fixed, problem.scale)
            for _ in range(APPROACHES):
                x = easy.approach(x)
            near = minimise(easy, easy.arrange(x))
            problem.layers.arrange(easy.layers.orders)
            growth = np.sqrt(_growth(problem, share))
            found = _follow(problem, near.x, near.hessian * np.outer(growth, growth))
            if found is not None:
                return found
            x, before = near.x, near.record.evaluations
            problem.layers.arrange([tuple(range(term.size)) for term in problem.terms])
        for _ in range(APPROACHES if n else 0):
            x = problem.approach(x)
        start = problem.arrange(x)
    elif hessian is not None and n:
        found = _follow(problem, start, hessian)
        if found is not None:
            return found
    return _search(problem, start, before)


def _without_fixed(problem):
    """Moments of the residuals of least squares for some units, with no fixed columns; and of how many times more."""
    m, kept = problem.moments, problem.kept
    k, total = m.cross.shape[1], m.top.sum(axis=0)
    size = np.sqrt(np.diag(total)[kept])
    beta = np.linalg.solve(total[np.ix_(kept, kept)] / np.outer(size, size), total[kept, -1] / size) / size
    ahead = np.append(-beta, 1.0)
    columns = [*kept, len(total) - 1]
    rest = m.cross[:, :, [k + j for j in columns]] @ ahead
    top = ahead @ m.top[:, columns][:, :, columns] @ ahead
    coding = replace(m.coding, x_names=())
    cross = np.concatenate([m.cross[:, :, :k], rest[:, :, None]], axis=2)
    wide = next(layer for layer in reversed(problem.layers.layers) if layer.units > 1)
    every = max(1, wide.units // START_UNITS)
    cells = np.sort(problem.layers.order[wide.uid % every == 0])
    share = wide.units / len(np.unique(wide.uid[wide.uid % every == 0]))
    codes = {name: pd.factorize(code[cells], sort=True)[0] for name, code in m.codes.items()}
    levels = {name: labels[np.unique(m.codes[name][cells])] for name, labels in m.levels.items()}
    part = replace(
        m,
        coding=coding,
        levels=levels,
        codes=codes,
        stratum=m.stratum[cells],
        cross=cross[cells],
        top=top[:, None, None] / share,
        centre=np.zeros(1),
        ones=None,
        count=m.count / share,
    )
    return part, share


def _growth(problem, share):
    """How many times more the whole says about each parameter: crossed factors have their levels in every part."""
    inside = {f for layer in problem.layers.layers if layer.units > 1 for f in layer.factors}
    growth = np.full(problem.size, share)
    for t, term in enumerate(problem.terms):
        first, last = np.searchsorted(problem.free, problem.layers.first_parameter[t : t + 2])
        growth[first:last] = share if term.factor in inside else 1.0
    return growth


def _follow(problem, x, hessian):
    """Search from a point near the optimum with the curvature of a like problem, or None if they prove too unlike."""
    first = x.copy()
    here = problem.evaluate(x[None])
    for evaluations in range(1, 16):
        if not np.isfinite(here.value[0]) or np.linalg.eigvalsh(hessian)[0] <= 0:
            return None
        step = -np.linalg.solve(hessian, here.gradient[0])
        fall = -0.5 * float(step @ here.gradient[0])
        if fall < 0.01 * DONE:  # the curvature is not quite this problem's own
            return _ended(problem, first, x, here, evaluations, True, "the criterion cannot fall further")
        there = problem.evaluate((x + step)[None])
        for _ in range(3):
            if there.value[0] < here.value[0] + 1e-12 * abs(here.value[0]):
                break
            step = 0.3 * step
            there = problem.evaluate((x + step)[None])
        else:
            return None
        change = there.gradient[0] - here.gradient[0]
        if change @ step > 0:  # BFGS
            turned = hessian @ step
            hessian = hessian + np.outer(change, change) / (change @ step) - np.outer(turned, turned) / (step @ turned)
        x, here = x + step, there
    return None


def _search(problem, x, before):
    """Newton steps within a trust radius.

    The curvature is the difference of exact gradients. It knows a saddle, which a gradient alone does not: the
    derivative vanishes wherever a variance is 0, so a search along the gradient can stop there above the optimum.
    """
    n = problem.size
    first, radius, evaluations = x.copy(), 1.0, before + n + 1
    here = _around(problem, x)
    if not np.isfinite(here.value[0]):
        raise FitError(
            problem.asked,
            "the criterion has no finite value at the start",
            "Look for values of extreme size in the response and the columns, or for columns that are nearly the same.",
        )
    converged, why = n == 0, "no parameter to search" if n == 0 else f"no end after {MOST_STEPS} steps"
    for _ in range(MOST_STEPS if n else 0):
        step, fall = _newton(here.gradient[0], _hessian(here), radius)
        if fall < DONE:
            leave = _off_the_boundary(problem, x, here)
            if leave is None:
                converged, why = True, "the criterion cannot fall further"
                break
            step = leave - x
        ahead = _upright(problem, x + step)
        there = _around(problem, ahead)
        evaluations += n + 1
        gain = here.value[0] - there.value[0]
        if gain >= -1e-9 * max(1.0, abs(here.value[0])) * (fall < 1e-6) and np.isfinite(gain):
            if fall < 1e-6 and gain <= 0 and np.abs(there.gradient[0]).max() >= np.abs(here.gradient[0]).max():
                converged, why = True, "rounding hides any further fall"
                break
            length = float(np.linalg.norm(step))
            if gain > 0.75 * fall and length > 0.9 * radius:
                radius *= 3.0
            elif gain < 0.25 * fall and fall > 1e-6:
                radius = 0.5 * length
            x, here = ahead, there
        else:
            radius = 0.25 * min(radius, float(np.linalg.norm(step)))
            if radius < 1e-9:
                why = "no step makes the criterion fall"
                break
    return _ended(problem, first, x, here, evaluations, converged, why)


def _ended(problem, first, x, here, evaluations, converged, why):
    singular = bool(_lowest(problem, x) < SINGULAR)
    slope = float(np.abs(here.gradient[0]).max()) if len(x) else 0.0
    ends = (tuple(problem.theta(each).tolist()) for each in (first, x))
    return Optimum(problem, x, here, Record(*ends, evaluations, slope, singular, converged, why))


def stand_at(problem: Problem, theta: np.ndarray) -> Optimum:
    """Hold the problem at given covariance parameters, as `Record` writes them, instead of at its minimum."""
    parts = []
    for t, term in enumerate(problem.terms):
        first, last = problem.layers.first_parameter[t : t + 2]
        row, _ = _triangle(term.size)
        parts.append(np.asarray(theta, float)[first:last] / problem.scale[list(term.columns)][row])
    problem.layers.arrange([tuple(range(term.size)) for term in problem.terms])
    x = np.concatenate(parts)[problem.free]
    here = _around(problem, x)
    slope = float(np.abs(here.gradient[0]).max())
    record = Record(tuple(theta), tuple(theta), len(x) + 1, slope, _lowest(problem, x) < SINGULAR, False, "held there")
    return Optimum(problem, x, here, record)


def _upright(problem, x):
    """Parameters turned so that the diagonals of all Cholesky factors are positive; the criterion is the same."""
    theta = np.zeros(problem.layers.parameters)
    theta[problem.free] = x[: len(problem.free)]
    for t, term in enumerate(problem.terms):
        at = problem.layers.first_parameter[t]
        for length in range(term.size, 0, -1):
            if theta[at] < 0:
                theta[at : at + length] *= -1.0
            at += length
    return np.concatenate([theta[problem.free], x[len(problem.free) :]])


def _around(problem, x):
    """Criterion at x and one small step along each parameter."""
    points = np.vstack([x, x + STEP * np.eye(len(x))])
    try:
        with np.errstate(all="ignore"):  # a step too far gives no number, and is taken back
            return problem.evaluate(points)
    except np.linalg.LinAlgError:
        bad = np.full((len(points), problem.size), np.nan)
        nan = np.full(len(points), np.inf)
        return Point(nan, bad, nan, nan, bad, bad)


def _hessian(point):
    change = (point.gradient[1:] - point.gradient[0]) / STEP
    return 0.5 * (change + change.T)


def _newton(gradient, hessian, radius):
    """Step downhill no longer than the radius, and the fall it promises.

    Along directions that curve downwards the step follows the gradient away from the saddle.
    """
    curve, axes = np.linalg.eigh(hessian)
    along = axes.T @ gradient
    floor = 1e-8 * max(1.0, np.abs(curve).max())
    size = np.maximum(np.abs(curve), floor)
    step = -along / size
    if np.linalg.norm(step) > radius:
        shift = 0.0
        low, high = 0.0, np.linalg.norm(along) / radius + size.max()
        for _ in range(60):
            shift = 0.5 * (low + high)
            if np.linalg.norm(along / (size + shift)) > radius:
                low = shift
            else:
                high = shift
        step = -along / (size + high)
    fall = -(along @ step + 0.5 * (curve * step) @ step)
    return axes @ step, float(fall)


def _off_the_boundary(problem, x, here):
    """Parameters moved off a zero variance where the criterion falls that way, or None."""
    hessian = _hessian(here)
    curve, axes = np.linalg.eigh(hessian)
    if curve[0] > -1e-4 * max(1.0, np.abs(curve).max()):
        return None
    return x + 0.1 * axes[:, 0]


def _lowest(problem, x):
    """Smallest relative SD, given those before it, of any free random term."""
    sizes = [
        np.diag(_lower(factor)).min()
        for term, factor in zip(problem.terms, problem.factors_at(x), strict=True)
        if term.group not in problem.fixed
    ]
    return min(sizes, default=np.inf)


def _lower(factor):
    """Lower triangle L with L L' = F F', its diagonal not negative; F may be singular."""
    turned = np.linalg.qr(factor.T)[1].T
    return turned * np.where(np.diag(turned) < 0, -1.0, 1.0)


def _triangle(size):
    """Rows and columns of a lower triangle, column by column."""
    column, row = np.triu_indices(size)
    return row, column


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
