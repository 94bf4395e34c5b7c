"""The rows behind a fit: what the model says of each, and new responses drawn from it.

The mixed model equations are solved here once more, as one sparse system at the fitted covariance parameters, for many
responses at once. The system is in relative random effects, so that it has a solution where an SD is estimated as 0.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

from coachlab.errors import FitError
from coachlab.mixed.design import Design
from coachlab.mixed.fit import Fit

AT_ONCE = 2_000_000  # numbers of responses that are held together
PORTION = 20_000  # rows whose leverages are found together


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows that a fit used, n of them, in the order of the table.

    fit       the fit; `design` its coded rows
    at        shape (n,): which row of the table each was
    x         shape (n, p): its fixed columns, centred, those that are estimable
    z         of each random term: shape (n, size)
    level     of each random term: level of the row in its grouping factor
    spread    shape (n,): residual SD of the row relative to the fit's sigma
    response  shape (n,), centred as the columns are
    """

    fit: Fit
    design: Design
    at: np.ndarray
    x: np.ndarray
    z: tuple[np.ndarray, ...]
    level: tuple[np.ndarray, ...]
    spread: np.ndarray
    response: np.ndarray

    @property
    def n(self) -> int:
        """How many rows."""
        return len(self.response)

    @cached_property
    def _parts(self) -> list[sparse.csr_array]:
        """Columns of each random term, effects relative: variance of each is sigma^2."""
        problem = self.fit.problem
        parts = []
        for t, factor in enumerate(problem.factors_at(self.fit.inference.optimum.x)):
            size = factor.shape[0]
            values = self.z[t] @ factor
            column = self.level[t][:, None] * size + np.arange(size)
            pointer = np.arange(0, values.size + 1, size)
            shape = (self.n, size * len(problem.labels[problem.terms[t].factor]))
            parts.append(sparse.csr_array((values.ravel(), column.ravel(), pointer), shape=shape))
        return parts

    @cached_property
    def _system(self):
        """Columns of fixed and random part, each row over its residual SD, and the factored equations."""
        columns = sparse.hstack([sparse.csr_array(self.x), *self._parts]).tocsr()
        whole = sparse.csr_array(sparse.diags_array(1.0 / self.spread) @ columns)
        p, size = self.x.shape[1], whole.shape[1]
        prior = sparse.diags_array(np.r_[np.zeros(p), np.ones(size - p)])
        equations = sparse.csc_matrix(whole.T @ whole + prior)
        return whole, splu(equations, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})

    def solve(self, responses: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Solutions, shape (effects, k), and conditional residuals, shape (n, k), of responses of shape (n, k)."""
        whole, factored = self._system
        scaled = responses / self.spread[:, None]
        found = factored.solve(np.ascontiguousarray(whole.T @ scaled))
        return found, (scaled - whole @ found) * self.spread[:, None]

    def effects(self, solutions: np.ndarray) -> list[np.ndarray]:
        """Conditional modes of each random term, shape (levels, size, k), from solutions of `solve`."""
        found, at = [], self.x.shape[1]
        for factor, part in zip(self.fit.problem.factors_at(self.fit.inference.optimum.x), self._parts, strict=True):
            size = factor.shape[0]
            relative = solutions[at : at + part.shape[1]].reshape(-1, size, solutions.shape[1])
            found.append(np.einsum("ij,ljk->lik", factor, relative))
            at += part.shape[1]
        return found

    def part(self, solutions: np.ndarray, groups: Sequence[str] = ()) -> np.ndarray:
        """Sum of what the random terms of some groups add to each row, shape (n, k), from solutions of `solve`."""
        total, at = np.zeros((self.n, solutions.shape[1])), self.x.shape[1]
        for term, part in zip(self.fit.problem.terms, self._parts, strict=True):
            if term.group in groups:
                total += part @ solutions[at : at + part.shape[1]]
            at += part.shape[1]
        return total

    def fixed(self, solutions: np.ndarray) -> np.ndarray:
        """Sum of each row's fixed part, shape (n, k), from solutions of `solve`."""
        return self.x @ solutions[: self.x.shape[1]]

    def draw(self, sets: int, rng: np.random.Generator) -> np.ndarray:
        """Draw responses around the fixed part, shape (n, sets): random effects and residuals as fitted."""
        drawn = self.spread[:, None] * rng.standard_normal((self.n, sets))
        for part in self._parts:
            drawn += part @ rng.standard_normal((part.shape[1], sets))
        return self.fit.sigma * drawn

    @cached_property
    def marginal_variance(self) -> np.ndarray:
        """Variance of each row under the model, shape (n,), the fixed part taken as known."""
        own = sum((part.multiply(part).sum(axis=1) for part in self._parts), np.zeros(self.n))
        return self.fit.sigma**2 * (own + self.spread**2)

    @cached_property
    def leverage(self) -> np.ndarray:
        """Share of each row's residual variance that fitting takes away, shape (n,), 0 to 1."""
        inference, design = self.fit.inference, self.design
        x = design.x if design.pattern is None else design.x[design.pattern]
        found = np.empty(self.n)
        for start in range(0, self.n, PORTION):
            rows = slice(start, start + PORTION)
            known = {t: (level[rows], z[rows]) for t, (level, z) in enumerate(zip(self.level, self.z, strict=True))}
            found[rows] = inference.predict(x[rows], known, {}, None)[1]
        return np.clip(found / (self.fit.sigma * self.spread) ** 2, 0.0, 1.0 - 1e-9)


def rows_of(fit: Fit, asked: str) -> Rows:
    """Rows that a fit used.

    Raises
    ------
    FitError
        If the fit was made from moments, which hold no rows.
    """
    design, problem = fit.design, fit.problem
    if design is None:
        raise FitError(
            f"{asked} of {fit.formula}",
            "the fit was made from moments, which hold sums and no rows",
            "Fit the table itself. Moments alone give coefficients, contrasts, predictions, random effects and how the "
            "search ended; residuals, envelopes, neighbours, spread by a column, leaving out a group and simulated "
            "sets need the rows.",
        )
    m = problem.moments
    pattern = np.arange(len(design.response)) if design.pattern is None else design.pattern
    x = (design.x - m.centre[:-1])[:, problem.kept][pattern]
    z = tuple(design.z[:, list(term.columns)][pattern] for term in problem.terms)
    level = tuple(problem.codes[term.factor][design.cell] for term in problem.terms)
    variance = np.ones(len(pattern)) if design.weights is None else 1.0 / design.weights
    _, weights, _ = problem.unpack(fit.inference.optimum.x[None])
    if weights is not None:
        variance = variance / weights[0, design.stratum[design.cell]]
    at = np.flatnonzero(design.kept)
    return Rows(fit, design, at, x, z, level, np.sqrt(variance), design.response - m.centre[-1])


def in_portions(rows: Rows, sets: int) -> list[int]:
    """How many responses are held together, portion by portion, so that memory stays bounded."""
    each = max(1, AT_ONCE // rows.n)
    return [min(each, sets - start) for start in range(0, sets, each)]
