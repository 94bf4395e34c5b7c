"""What a fitted model says about fixed and random effects: estimates, their covariance, degrees of freedom."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import stdtr, stdtrit

from coachlab.errors import FitError, need_share
from coachlab.mixed.elimination import effects, eliminate, errors, trace_back
from coachlab.mixed.problem import Problem
from coachlab.mixed.solve import STEP, Optimum, minimise

METHODS = ("satterthwaite", "kenward-roger", "residual")
FLAT = 1e-8  # curvature below which a direction of the covariance parameters carries no information; lmerTest's limit


@dataclass(frozen=True, eq=False)
class Inference:
    """Fixed and random effects of a solved problem, in the columns as given."""

    problem: Problem
    optimum: Optimum

    @cached_property
    def sigma(self) -> float:
        """Residual SD (of the first stratum)."""
        return float(self.optimum.point.sigma[0])

    @cached_property
    def uncentre(self) -> np.ndarray:
        """Matrix that turns coefficients of centred columns into those of the columns as given."""
        m, kept = self.problem.moments, self.problem.kept
        turn = np.eye(len(kept))
        ones = self._ones
        if ones is not None:
            turn -= np.outer(ones, m.centre[kept])
        return turn

    @cached_property
    def _ones(self):
        m, kept = self.problem.moments, self.problem.kept
        if m.ones is None:
            return None
        if len(kept) == len(m.ones) or m.coding.intercept is not None:
            return m.ones[kept]
        cross = m.top.sum(axis=0)[:-1, :-1]
        return np.linalg.solve(cross[np.ix_(kept, kept)], (cross @ m.ones)[kept])

    @cached_property
    def beta(self) -> np.ndarray:
        """Estimates of the estimable coefficients, shape (p,)."""
        beta = self.uncentre @ self.optimum.point.beta[0]
        if self._ones is not None:
            beta = beta + self._ones * self.problem.moments.centre[-1]
        return beta

    @cached_property
    def covariance(self) -> np.ndarray:
        """Covariance of the estimable coefficients, shape (p, p)."""
        return self._covariance_at(0)

    def _covariance_at(self, i):
        point = self.optimum.point if i == 0 else self.optimum.around
        sigma = point.sigma[0] if self.problem.profiled else point.sigma[i]
        return sigma**2 * self.uncentre @ point.unscaled[i] @ self.uncentre.T

    @cached_property
    def aliases(self) -> np.ndarray:
        """Each column left out as a sum of those kept: a basis of what cannot be estimated, shape (dropped, all)."""
        m, kept = self.problem.moments, self.problem.kept
        p = len(m.centre) - 1
        dropped = [j for j in range(p) if j not in kept]
        basis = np.zeros((len(dropped), p))
        if not dropped:
            return basis
        shift = np.eye(p)
        if m.ones is not None:
            shift += np.outer(m.ones, m.centre[:-1])
        cross = shift.T @ m.top.sum(axis=0)[:-1, :-1] @ shift
        size = np.sqrt(np.maximum(np.diag(cross), 1e-300))
        alike = cross / np.outer(size, size)
        share = np.linalg.solve(alike[np.ix_(kept, kept)], alike[np.ix_(kept, dropped)])
        basis[:, kept] = (share * size[dropped] / size[kept][:, None]).T
        basis[range(len(dropped)), dropped] = -1.0
        return basis

    def estimable(self, L: np.ndarray) -> np.ndarray:
        """Which rows of weights over all fixed columns, shape (r, all), the data determine."""
        if not len(self.aliases):
            return np.ones(len(L), bool)
        size = np.abs(L).max(axis=1, initial=0.0)[:, None] * np.abs(self.aliases).max(axis=1) + 1e-300
        return (np.abs(L @ self.aliases.T) / size < 1e-6).all(axis=1)

    @cached_property
    def _parameter_covariance(self):
        """Covariance of the covariance parameters (with log sigma where it was profiled), and the jacobian's rows."""
        problem, point = self.problem, self.optimum.around
        hessian = self.optimum.hessian
        n = problem.size
        slopes = [(self._covariance_at(i + 1) - self.covariance) / STEP for i in range(n)]
        if problem.profiled:
            by_rss = -2.0 * (point.rss[1:] - point.rss[0]) / STEP / self.sigma**2
            curve = 4.0 * problem.nu
            hessian = np.block(
                [[hessian + np.outer(by_rss, by_rss) / curve, by_rss[:, None]], [by_rss[None, :], np.array([[curve]])]]
            )
            slopes.append(2.0 * self.covariance)
        curve, axes = np.linalg.eigh(hessian)
        clear = curve > FLAT * max(1.0, curve.max(initial=0.0))
        inverse = (axes[:, clear] / curve[clear]) @ axes[:, clear].T
        return 2.0 * inverse, np.array(slopes)

    def satterthwaite(self, L: np.ndarray) -> np.ndarray:
        """Degrees of freedom of each row of weights over the estimable columns, shape (r, p)."""
        _, slopes = self._parameter_covariance
        variance = np.einsum("rp,pq,rq->r", L, self.covariance, L)
        if not len(slopes):
            return np.full(len(L), np.inf)
        jacobian = np.einsum("rp,npq,rq->nr", L, slopes, L)
        return self.spread(jacobian, variance)

    def linear(self, L: np.ndarray, df: str, level: float, checked: bool = False) -> dict[str, np.ndarray]:
        """Estimate, SE, df, interval and p of rows of weights over all fixed columns; NaN where not estimable.

        With `checked` the rows are taken as they are, the columns left out counting as 0.
        """
        if df not in METHODS:
            raise FitError("finding degrees of freedom", f"df={df!r}", f"Choose one of {', '.join(METHODS)}.")
        need_share(level, "finding an interval", error=FitError)
        able = np.ones(len(L), bool) if checked else self.estimable(L)
        K = L[able][:, self.problem.kept]
        result = {name: np.full(len(L), np.nan) for name in ("estimate", "se", "df", "low", "high", "p")}
        if not able.any():
            return result
        estimate = K @ self.beta
        if df == "kenward-roger":
            from coachlab.mixed.adjust import kenward_roger  # heavier than all else here and rarely asked for

            variance, degrees = kenward_roger(self._restricted, K)
        else:
            variance = np.einsum("rp,pq,rq->r", K, self.covariance, K)
            rest = float(self.problem.moments.rows - self.problem.p)
            degrees = self.satterthwaite(K) if df == "satterthwaite" else np.full(len(K), rest)
        se = np.sqrt(variance)
        half = stdtrit(degrees, 0.5 + 0.5 * level) * se
        with np.errstate(divide="ignore", invalid="ignore"):
            p = 2.0 * stdtr(degrees, -np.abs(estimate) / se)
        for name, values in zip(result, (estimate, se, degrees, estimate - half, estimate + half, p), strict=True):
            result[name][able] = values
        return result

    @cached_property
    def _restricted(self):
        """The same model by restricted likelihood, on which Kenward-Roger rests."""
        if self.problem.reml:
            return self
        problem = Problem(self.problem.moments, True, self.problem.fixed)
        return Inference(problem, minimise(problem))

    def spread(self, slopes: np.ndarray, variance: np.ndarray) -> np.ndarray:
        """Satterthwaite's degrees of freedom of variances, shape (r,), from their slopes, shape (parameters, r)."""
        noise = np.einsum("nr,nm,mr->r", slopes, self._parameter_covariance[0], slopes)
        with np.errstate(divide="ignore"):
            return np.where(noise > 0, 2.0 * variance**2 / np.where(noise > 0, noise, 1.0), np.inf)

    def predict(self, x, known, drawn, residual):
        """Estimate, variance and degrees of freedom of rows with some effects known, some drawn anew.

        Parameters
        ----------
        x : array, shape (n, all fixed columns)
        known : dict of term: (level of each row, z of each row)
        drawn : dict of term: z of each row
        residual : array, shape (n, strata), or None
            Weight of each stratum's residual variance.

        Returns
        -------
        estimate, variance, df : arrays, shape (n,); None if levels do not belong together.
        """
        problem, layers = self.problem, self.problem.layers
        points = np.vstack([self.optimum.x, self.optimum.x + STEP * np.eye(len(self.optimum.x))])
        theta, weights, sigma = problem.unpack(points)
        factors = layers.factors_of(theta)
        state, _, _ = eliminate(layers, factors, weights)
        units, picks = [None] * len(layers.layers), [None] * len(layers.layers)
        kept = x[:, problem.kept]
        estimate = kept @ self.beta
        for t, (level, z) in known.items():
            term = problem.terms[t]
            at = next(i for i, layer in enumerate(layers.layers) if t in layer.terms)
            unit = layers.unit[term.factor][level]
            if units[at] is None:
                units[at], picks[at] = unit, np.zeros((len(x), layers.layers[at].m))
            elif (units[at] != unit).any():
                return None
            column = layers.layers[at].offset[t] + layers.slot[term.factor][level][:, None] * term.size
            picks[at][np.arange(len(x))[:, None], column + np.arange(term.size)] += (
                z * problem.scale[list(term.columns)]
            )
            estimate = estimate + np.einsum("ni,ni->n", z, self.modes[t][level])
        quad = errors(layers, state, self.optimum.around.unscaled, units, picks, kept @ self.uncentre)
        if quad is None:
            return None
        for t, z in drawn.items():
            scaled = z * problem.scale[list(problem.terms[t].columns)]
            for i, point in enumerate(theta):
                quad[i] += ((scaled @ layers.factor(t, point)) ** 2).sum(axis=1)
        if residual is not None:
            quad += residual.sum(axis=1) if weights is None else (1.0 / weights) @ residual.T
        size = np.full(len(points), self.sigma) if problem.profiled else sigma
        variance = size[:, None] ** 2 * quad
        slopes = (variance[1:] - variance[0]) / STEP
        if problem.profiled:
            slopes = np.vstack([slopes, 2.0 * variance[0]])
        return estimate, variance[0], self.spread(slopes, variance[0])

    @cached_property
    def _eliminated(self):
        problem = self.problem
        theta, weights, _ = problem.unpack(self.optimum.x[None])
        factors = problem.layers.factors_of(theta)
        return factors, *eliminate(problem.layers, factors, weights)

    @cached_property
    def modes(self) -> list[np.ndarray]:
        """Conditional modes of the random effects of each term, shape (levels, size)."""
        problem = self.problem
        _, state, _, _ = self._eliminated
        found = [each[0] for each in effects(problem.layers, state, self.optimum.point.beta[:1])]
        return [
            problem.layers.by_level(t, found) * problem.scale[list(term.columns)]
            for t, term in enumerate(problem.terms)
        ]

    @cached_property
    def mode_covariances(self) -> list[np.ndarray]:
        """Conditional covariances of the random effects of each term, shape (levels, size, size)."""
        problem = self.problem
        factors, state, top, _ = self._eliminated
        blocks = [each[0] for each in trace_back(problem.layers, state, factors, np.zeros_like(top), own=True)[1]]
        result = []
        for t, term in enumerate(problem.terms):
            scale = problem.scale[list(term.columns)]
            result.append(self.sigma**2 * problem.layers.by_level(t, blocks) * np.outer(scale, scale))
        return result
