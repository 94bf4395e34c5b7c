"""The search for the minimum of a problem's criterion."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from coachlab.errors import FitError
from coachlab.mixed.layers import lower, triangle
from coachlab.mixed.problem import Point, Problem

SINGULAR = 1e-4  # relative SD below which a direction counts as empty; lme4's limit
STEP = 2e-7  # of the finite differences of the exact gradient; parameters are scaled to be near 1
DONE = 1e-10  # expected fall of the criterion at which the search ends
NEGLIGIBLE = 1e-6  # fall of the criterion that changes nothing a reader sees
ROUNDING = 1e-12  # relative
EPSILON = float(np.finfo(float).eps)
MOST_STEPS = 60
APPROACHES = 3  # scoring steps before the search; each saves about two Newton steps
CHEAP_FROM = 60_000  # numbers in all layers from which a start with held fixed effects pays
FEW_COLUMNS = 6
FIELDS = tuple(Point.__dataclass_fields__)
START_UNITS = 400  # units of the widest factor from which a large problem starts


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
class Optimum:
    """End of the search: the parameters, the criterion there, and how it was reached."""

    problem: Problem
    x: np.ndarray
    point: Point  # the first of its batch is at x
    record: Record

    @cached_property
    def around(self) -> Point:
        """The criterion at x and one small step along each parameter."""
        return self.point if len(self.point.value) == len(self.x) + 1 else _around(self.problem, self.x, self.point)

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
        if n and problem.movable and problem.cost > CHEAP_FROM and problem.p > FEW_COLUMNS:
            part, share = _without_fixed(problem)
            easy = Problem(part, False, problem.fixed, problem.scale)
            x = _approach(easy, x)
            near = minimise(easy, easy.arrange(x))
            problem.layers.arrange(easy.layers.orders)
            growth = np.sqrt(_growth(problem, share))
            found = _follow(problem, near.x, near.hessian * np.outer(growth, growth))
            if found is not None:
                return found
            x, before = near.x, near.record.evaluations
            problem.layers.arrange([tuple(range(term.size)) for term in problem.terms])
        start = problem.arrange(_approach(problem, x))
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
    top = ahead @ m.top[:, columns][:, :, columns] @ ahead
    coding = replace(m.coding, x_names=())
    wide = next(layer for layer in reversed(problem.layers.layers) if layer.units > 1)
    every = max(1, wide.units // START_UNITS)
    cells = np.sort(problem.layers.order[wide.uid % every == 0])
    cross = m.cross[cells]
    rest = cross[:, :, [k + j for j in columns]] @ ahead
    cross = np.concatenate([cross[:, :, :k], rest[:, :, None]], axis=2)
    share = wide.units / len(np.unique(wide.uid[wide.uid % every == 0]))
    codes = {name: pd.factorize(code[cells], sort=True)[0] for name, code in m.codes.items()}
    levels = {name: labels[np.unique(m.codes[name][cells])] for name, labels in m.levels.items()}
    part = replace(
        m,
        coding=coding,
        levels=levels,
        codes=codes,
        stratum=m.stratum[cells],
        cross=cross,
        top=top[:, None, None] / share,
        centre=np.zeros(1),
        ones=None,
        count=m.count / share,
    )
    return part, share


def _approach(problem, x):
    """Scoring steps, as far as they lead to numbers."""
    for _ in range(APPROACHES if problem.size and problem.movable else 0):
        try:
            with np.errstate(all="ignore"):
                ahead = problem.approach(x)
        except np.linalg.LinAlgError:
            break
        if not np.isfinite(ahead).all():
            break
        x = ahead
    return x


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
    here = _evaluate(problem, x[None])
    for evaluations in range(1, 16):
        if not np.isfinite(here.value[0]) or np.linalg.eigvalsh(hessian)[0] <= 0:
            return None
        step = -np.linalg.solve(hessian, here.gradient[0])
        fall = -0.5 * float(step @ here.gradient[0])
        # The curvature is not quite this problem's own; less than a unit in the last digit is no fall.
        if fall < max(0.01 * DONE, EPSILON * abs(here.value[0])):
            return _ended(problem, first, x, here, evaluations, True, "the criterion cannot fall further")
        there = _evaluate(problem, (x + step)[None])
        for _ in range(3):
            if there.value[0] < here.value[0] + 1e-12 * abs(here.value[0]):
                break
            step = 0.3 * step
            there = _evaluate(problem, (x + step)[None])
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
        if gain >= -ROUNDING * max(1.0, abs(here.value[0])) * (fall < NEGLIGIBLE) and np.isfinite(gain):
            if fall < 1e-8 and gain <= 0 and np.abs(there.gradient[0]).max() >= np.abs(here.gradient[0]).max():
                converged, why = True, "rounding hides any further fall"
                break
            length = float(np.linalg.norm(step))
            if gain > 0.75 * fall and length > 0.9 * radius:
                radius *= 3.0
            elif gain < 0.25 * fall and fall > 1e-8:
                radius = 0.5 * length
            x, here = ahead, there
        else:
            radius = 0.25 * min(radius, float(np.linalg.norm(step)))
            if radius < 1e-9:
                why = "no step makes the criterion fall"
                break
    if not converged and n and _newton(here.gradient[0], _hessian(here), radius)[1] < NEGLIGIBLE:
        converged, why = True, "the criterion is flat: it cannot fall by as much as counts"
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
        row, _ = triangle(term.size)
        parts.append(np.asarray(theta, float)[first:last] / problem.scale[list(term.columns)][row])
    problem.layers.arrange([tuple(range(term.size)) for term in problem.terms])
    x = np.concatenate(parts)[problem.free]
    here = _around(problem, x)
    slope = float(np.abs(here.gradient[0]).max())
    record = Record(tuple(theta), tuple(theta), len(x) + 1, slope, _lowest(problem, x) < SINGULAR, False, "held there")
    return Optimum(problem, x, here, record)


def search(problem: Problem, start: np.ndarray) -> Optimum:
    """Minimum of the criterion from a start that is near it."""
    return _search(problem, start, 0)


def stopped(problem: Problem, x: np.ndarray, point: Point) -> Optimum:
    """Optimum that another search found."""
    return _ended(problem, x, x, point, 1, True, "the criterion cannot fall further")


def curvature(problem: Problem, x: np.ndarray) -> np.ndarray:
    """Second derivatives of the criterion at given parameters."""
    return _hessian(_around(problem, x))


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


def _around(problem, x, here=None):
    """Criterion at x, where it may be known already, and one small step along each parameter."""
    steps = x + STEP * np.eye(len(x))
    if here is None:
        return _evaluate(problem, np.vstack([x, steps]))
    there = _evaluate(problem, steps)
    return Point(*(np.concatenate([getattr(p, f)[:size] for p, size in ((here, 1), (there, None))]) for f in FIELDS))


def _evaluate(problem, points):
    """Criterion at some points; infinite where a step went too far, which is then taken back."""
    try:
        with np.errstate(all="ignore"):
            return problem.evaluate(points)
    except np.linalg.LinAlgError:
        bad = np.full((len(points), problem.size), np.nan)
        nan = np.full(len(points), np.inf)
        p = problem.p
        return Point(nan, bad, nan, nan, np.full((len(points), p), np.nan), np.full((len(points), p, p), np.nan))


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
        for _ in range(20):
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
        np.diag(lower(factor)).min()
        for term, factor in zip(problem.terms, problem.factors_at(x), strict=True)
        if term.group not in problem.fixed
    ]
    return min(sizes, default=np.inf)
