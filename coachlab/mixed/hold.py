"""Problems with one spread held: at nothing, or at a given SD; for tests of a spread and for its profile."""

from copy import copy

import numpy as np

from coachlab.errors import FitError
from coachlab.mixed.problem import Problem


def find(problem: Problem, group: str, effect: str, asked: str) -> tuple[int, int]:
    """Which random term has an effect over a group, and which of its effects that is.

    Raises
    ------
    FitError
        If the model has no such effect, or its SD is held fixed.
    """
    places = {(term.group, name): (t, i) for t, term in enumerate(problem.terms) for i, name in enumerate(term.names)}
    if (group, effect) not in places:
        listed = ", ".join(f"{name} over {of}" for of, name in places)
        raise FitError(asked, f"the model has no random effect {effect!r} over {group!r}", f"It has: {listed}.")
    if group in problem.fixed:
        raise FitError(asked, f"the SD over {group!r} is held fixed", "Fit the model without fixed= for that group.")
    return places[group, effect]


def empty(problem: Problem, x: np.ndarray, t: int, effect: int) -> tuple[Problem, np.ndarray]:
    """Return the same model without variance of one effect, and parameters near `x`.

    The effect enters the Cholesky factor of its term last, and its row there is 0.
    """
    size = problem.terms[t].size
    other, factors = _ordered(problem, x, t, [*(i for i in range(size) if i != effect), effect])
    first, at, row = problem.layers.first_parameter[t], 0, []
    for length in range(size, 0, -1):  # the last entry of each column
        at += length
        row.append(first + at - 1)
    other.free = np.setdiff1d(problem.free, row)
    factors[t][effect] = 0.0
    theta = other.layers.parameters_of(factors)
    return other, np.concatenate([theta[other.free], x[len(problem.free) :]])


def led(problem: Problem, x: np.ndarray, t: int, effect: int) -> tuple[Problem, np.ndarray]:
    """Return the same model with one effect first in its term, so that a parameter is its relative SD; and `x` so."""
    others = [i for i in range(problem.terms[t].size) if i != effect]
    other, factors = _ordered(problem, x, t, [effect, *others])
    return other, np.concatenate([other.layers.parameters_of(factors)[other.free], x[len(problem.free) :]])


def at_sd(problem: Problem, x: np.ndarray, sigma: float, t: int, effect: int) -> tuple[Problem, np.ndarray]:
    """Return the same model with the SD of one effect held, which `set_sd` sets; and the other parameters near `x`."""
    other, near = led(problem, x, t, effect)
    other.free = np.setdiff1d(problem.free, [problem.layers.first_parameter[t]])
    other.held = problem.held.copy()
    other.profiled, other.sized = False, problem.sigma_held is None
    near = np.delete(near, np.searchsorted(problem.free, problem.layers.first_parameter[t]))
    if other.sized and not problem.sized:
        near = np.append(near, np.log(sigma))
    return other, near


def set_sd(problem: Problem, t: int, effect: int, sd: float) -> None:
    """Hold the SD of the leading effect of a term, as `at_sd` made it, at a value in the response's unit."""
    term = problem.terms[t]
    problem.held[problem.layers.first_parameter[t]] = sd / problem.scale[term.columns[effect]]


def _ordered(problem, x, t, order):
    """Copy of the problem with the effects of a term in a given order, there to stay; and its relative factors."""
    other = copy(problem)
    orders = list(problem.layers.orders)
    orders[t] = tuple(order)
    other.layers, other.movable = problem.layers.rearranged(orders), False
    return other, problem.layers.factors(problem.unpack(x[None])[0][0])
