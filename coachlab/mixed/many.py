"""Many responses of one model fitted at once: each has its own parameters, all share the calls of NumPy."""

from copy import copy
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from coachlab.errors import FitError
from coachlab.mixed.problem import Point, Problem
from coachlab.mixed.solve import FIELDS, Optimum, curvature, minimise, stopped

CLOSE = 1e-9  # expected fall of the criterion at which a simulated response counts as fitted
MOST_STEPS = 40
LIFT = 0.25  # relative SD from which a search starts where the fitted model has none; at 0 the gradient vanishes
LONGEST = 2.0  # of a step, in relative SDs
AT_ONCE = 400_000  # numbers in the layers of a batch; more leaves the cache


class Batch(Protocol):
    """Several data sets for one model."""

    @property
    def count(self) -> int:
        """How many."""
        ...

    def together(self, problem: Problem, which: np.ndarray) -> Problem:
        """Problem of some of the data sets, evaluated each at its own parameters."""
        ...

    def alone(self, problem: Problem, i: int) -> Problem:
        """Problem of one data set, as a fit of its own has it."""
        ...


@dataclass(frozen=True, eq=False)
class Responses:
    """Responses of the same rows, from `draw`: z'y, shape (cells, k, count), and [x y]'[x y], (count, strata, q, q)."""

    cross: np.ndarray
    top: np.ndarray

    @property
    def count(self) -> int:
        """How many."""
        return len(self.top)

    def together(self, problem: Problem, which: np.ndarray) -> Problem:
        """Problem of some of the responses."""
        other = copy(problem)
        cross = self.cross[:, :, which] * problem.scale[:, None]
        other.layers = problem.layers.answer_many(cross, self.top[which])
        return other

    def alone(self, problem: Problem, i: int) -> Problem:
        """Problem of one response."""
        m = problem.moments
        cross, top = m.cross.copy(), m.top.copy()
        cross[:, :, -1] = self.cross[:, :, i]
        top[np.ix_(range(problem.strata), problem.columns, problem.columns)] = self.top[i]
        return problem.answer(replace(m, cross=cross, top=top))


@dataclass(eq=False)
class Many:
    """Several data sets of one model as fitted.

    x        shape (count, parameters): optima, in the arrangement of the problem
    point    criterion and fixed effects there, a row each
    failed   why a data set could not be fitted, by its place
    """

    problem: Problem
    batch: Batch
    x: np.ndarray
    point: Point
    failed: dict[int, str]

    def alone(self, i: int) -> tuple[Problem, Optimum]:
        """Problem and optimum of one data set, as a fit of its own has them."""
        problem = self.batch.alone(self.problem, i)
        return problem, stopped(problem, self.x[i], _rows(self.point, slice(i, i + 1)))


def fit_many(problem: Problem, start: np.ndarray, batch: Batch) -> Many:
    """Fit several data sets, all from one start.

    Those on which the common search fails are fitted by themselves; what fails then too is counted, never dropped.
    """
    x, curve = _lifted(problem, start)
    point = _blank(problem, batch.count)
    many = Many(problem, batch, np.tile(x, (batch.count, 1)), point, {})
    each = max(1, AT_ONCE // max(problem.cost, 1))
    for first in range(0, batch.count, each):
        part = np.arange(first, min(first + each, batch.count))
        for i in _search_many(many, part, curve):
            _search_alone(many, i)
    return many


def _search_many(many, part, curve):
    """Quasi-Newton steps of all responses of a part at once; returns those that did not end."""
    whole = many.batch.together(many.problem, part)
    place, x = np.arange(len(part)), many.x[part]
    here = _evaluate(whole, place, x)
    hessian = np.tile(curve, (len(part), 1, 1))
    lost = []
    for _ in range(MOST_STEPS):
        step = -np.linalg.solve(hessian, here.gradient[:, :, None])[:, :, 0]
        length = np.linalg.norm(step, axis=1)
        step *= np.minimum(1.0, LONGEST / np.maximum(length, LONGEST))[:, None]
        fall = -0.5 * (step * here.gradient).sum(axis=1)
        done = ~(fall > CLOSE)
        _keep(many, part[place[done]], x[done], _rows(here, done))
        if done.all():
            return lost
        place, x, step, hessian = place[~done], x[~done], step[~done], hessian[~done]
        here = _rows(here, ~done)
        there, moved = _shorten(whole, place, x, step, here)
        lost += part[place[~moved]].tolist()
        place, x, step, hessian = place[moved], x[moved], step[moved], hessian[moved]
        here, there = _rows(here, moved), _rows(there, moved)
        if not len(place):
            return lost
        change = there.gradient - here.gradient
        along = (change * step).sum(axis=1)
        turned = (hessian @ step[:, :, None])[:, :, 0]
        up = along > 0
        size = np.where(up, along, 1.0)[:, None, None]
        by = (step * turned).sum(axis=1)[:, None, None]
        new = hessian + change[:, :, None] * change[:, None, :] / size - turned[:, :, None] * turned[:, None, :] / by
        hessian = np.where(up[:, None, None], new, hessian)
        x, here = x + step, there
    return lost + part[place].tolist()


def _shorten(whole, place, x, step, here):
    """Criterion after the steps, shortened in place until it falls; and where it did."""
    limit = here.value + 1e-12 * np.abs(here.value)
    there = _evaluate(whole, place, x + step)
    for _ in range(4):
        bad = ~(there.value <= limit)
        if not bad.any():
            break
        step[bad] *= 0.3
        again = _evaluate(whole, place[bad], (x + step)[bad])
        for name in FIELDS:
            getattr(there, name)[bad] = getattr(again, name)
    return there, there.value <= limit


def _evaluate(whole, place, x):
    """Criterion of some of the data sets of a part, each at its parameters; infinite where a step went too far."""
    problem = whole if len(place) == len(whole.layers.top) else whole.pick(place)
    try:
        with np.errstate(all="ignore"):
            return problem.evaluate_each(x)
    except np.linalg.LinAlgError:
        if len(place) == 1:
            return _blank(whole, 1)
        parts = [_evaluate(whole, place[i : i + 1], x[i : i + 1]) for i in range(len(place))]
        return Point(*(np.concatenate([getattr(each, name) for each in parts]) for name in FIELDS))


def _blank(problem, count):
    """Point of data sets that have no finite criterion."""
    n, p = problem.size, problem.p
    return Point(*(np.full((count, *size), np.inf) for size in ((), (n,), (), (), (p,), (p, p))))


def _search_alone(many, i):
    try:
        found = minimise(many.batch.alone(many.problem, i))
    except (FitError, np.linalg.LinAlgError) as err:
        many.failed[i] = str(err)
        return
    if not found.record.converged:
        many.failed[i] = f"the search did not converge: {found.record.why}"
        return
    _keep(many, np.array([i]), _as_arranged(many.problem, found)[None], _rows(found.point, slice(0, 1)))


def _as_arranged(problem, found):
    """Parameters of an optimum in the arrangement of another problem: the search may have put other effects first."""
    own = found.problem.layers.factors(found.problem.unpack(found.x[None])[0][0])
    theta = problem.layers.parameters_of(own)
    return np.concatenate([theta[problem.free], found.x[len(problem.free) :]])


def _keep(many, where, x, point):
    many.x[where] = x
    for name in FIELDS:
        getattr(many.point, name)[where] = getattr(point, name)


def _rows(point, which):
    return Point(*(getattr(point, name)[which] for name in FIELDS))


def _lifted(problem, start):
    """Start off every boundary, and a curvature there without downward directions."""
    x = start.copy()
    for t, term in enumerate(problem.terms):
        first = problem.layers.first_parameter[t]
        for length in range(term.size, 0, -1):
            at = np.searchsorted(problem.free, first)
            if at < len(problem.free) and problem.free[at] == first:
                x[at] = max(x[at], LIFT)
            first += length
    size, axes = np.linalg.eigh(curvature(problem, x))
    floor = 1e-3 * max(1.0, np.abs(size).max(initial=0.0))
    return x, (axes * np.maximum(np.abs(size), floor)) @ axes.T
