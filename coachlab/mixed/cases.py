"""Whole levels of a grouping factor drawn with replacement, each draw a level of its own."""

import itertools
from copy import copy
from dataclasses import dataclass, replace

import numpy as np

from coachlab.errors import FitError
from coachlab.mixed.design import Design, centred
from coachlab.mixed.moments import Moments
from coachlab.mixed.problem import Problem

MOST_PADDING = 3  # times as many units as there are


@dataclass(frozen=True, eq=False)
class Parts:
    """Moments of a data set split by the levels of one factor.

    cells       of each level
    top         shape (levels, strata, p + 1, p + 1)
    count       shape (levels, strata): rows
    log_weight  shape (levels,)
    inside      group columns whose levels lie each within one level of the factor
    widest      whether all else of the model lies within levels of the factor, so that draws can be fitted together
    """

    moments: Moments
    by: str
    cells: list[np.ndarray]
    top: np.ndarray
    count: np.ndarray
    log_weight: np.ndarray
    inside: tuple[str, ...]
    widest: bool


def split(problem: Problem, design: Design | None, by: str) -> Parts:
    """Split a design by a grouping factor.

    Raises
    ------
    FitError
        If there are no rows to split, or no such factor.
    """
    asked, moments = f"drawing levels of {by!r} anew", problem.moments
    if by not in moments.levels:
        raise FitError(asked, "the model has no such grouping factor", f"It has: {', '.join(moments.levels)}.")
    if design is None:
        raise FitError(
            asked,
            "this fit was made from moments, which hold the products of the fixed columns for all rows together",
            "Fit the table itself, or draw from the model (by=None).",
        )
    n, strata, p = len(moments.levels[by]), len(moments.strata[1]), len(moments.centre) - 1
    x = centred(design, moments.centre)
    whole = np.column_stack([x if design.pattern is None else x[design.pattern], design.response - moments.centre[-1]])
    weight = np.ones(len(whole)) if design.weights is None else design.weights
    level, stratum = moments.codes[by][design.cell], moments.stratum[design.cell]
    order = np.lexsort([stratum, level])
    cuts = np.searchsorted(level[order] * strata + stratum[order], np.arange(n * strata + 1))
    top, count, log_weight = np.zeros((n * strata, p + 1, p + 1)), np.zeros(n * strata, int), np.zeros(n * strata)
    for i in range(n * strata):
        rows = order[cuts[i] : cuts[i + 1]]
        top[i] = whole[rows].T @ (weight[rows, None] * whole[rows])
        count[i], log_weight[i] = len(rows), np.log(weight[rows]).sum()
    inside = [name for name, code in moments.codes.items() if name != by and _lies_within(code, moments.codes[by])]
    return Parts(
        moments,
        by,
        [np.flatnonzero(moments.codes[by] == i) for i in range(n)],
        top.reshape(n, strata, p + 1, p + 1),
        count.reshape(n, strata),
        log_weight.reshape(n, strata).sum(axis=1),
        tuple(inside),
        _is_widest(problem, by),
    )


def gather(parts: Parts, drawn: np.ndarray) -> Moments:
    """Moments of the levels drawn, shape (levels,); one drawn twice counts as two."""
    m = parts.moments
    cells = np.concatenate([parts.cells[i] for i in drawn])
    turn = np.repeat(np.arange(len(drawn)), [len(parts.cells[i]) for i in drawn])
    codes, levels = {}, {}
    for name, code in m.codes.items():
        if name == parts.by:
            codes[name], levels[name] = (
                turn,
                np.array([f"{m.levels[name][i]} ({at + 1})" for at, i in enumerate(drawn)]),
            )
        elif name in parts.inside:
            n = len(m.levels[name])
            found, codes[name] = np.unique(turn * n + code[cells], return_inverse=True)
            levels[name] = np.array([f"{m.levels[name][key % n]} ({key // n + 1})" for key in found])
        else:
            found, codes[name] = np.unique(code[cells], return_inverse=True)
            levels[name] = m.levels[name][found]
    return replace(
        m,
        codes=codes,
        levels=levels,
        stratum=m.stratum[cells],
        cross=m.cross[cells],
        top=parts.top[drawn].sum(axis=0),
        count=parts.count[drawn].sum(axis=0),
        log_weight=float(parts.log_weight[drawn].sum()),
    )


@dataclass(frozen=True, eq=False)
class Levels:
    """Levels drawn with replacement, shape (count, levels), fitted together."""

    parts: Parts
    drawn: np.ndarray

    @property
    def count(self) -> int:
        """How many draws."""
        return len(self.drawn)

    def together(self, problem: Problem, which: np.ndarray) -> Problem:
        """Problem of some of the draws."""
        other, parts, drawn = copy(problem), self.parts, self.drawn[which]
        times = np.stack([np.bincount(each, minlength=len(parts.cells)) for each in drawn])
        columns = np.ix_(range(len(parts.top)), range(problem.strata), problem.columns, problem.columns)
        top = np.einsum("bl,lsij->bsij", times, parts.top[columns])
        other.count, other.log_weight = times @ parts.count, times @ parts.log_weight
        other.nu = other.count.sum(axis=1) - problem.p * problem.reml
        other.layers = problem.layers.repeated(drawn, top)
        return other

    def alone(self, problem: Problem, i: int) -> Problem:
        """Problem of one draw."""
        found = Problem(gather(self.parts, self.drawn[i]), problem.reml, problem.fixed, problem.scale)
        if found.kept != problem.kept:
            lost = [problem.moments.coding.x_names[j] for j in set(problem.kept) - set(found.kept)]
            raise FitError(
                "fitting levels drawn anew", f"{', '.join(lost)} cannot be estimated from them", "Draw again."
            )
        found.layers.arrange(problem.layers.orders)
        return found


def _is_widest(problem, by):
    """Whether the units of the widest layer are the levels of a factor, and padding does not make them many more."""
    layer = problem.layers.layers[-1]
    if layer.units != len(problem.moments.levels[by]) or by not in [problem.factors[f] for f in layer.factors]:
        return False
    padded = 1
    for _, fine in itertools.pairwise(reversed(problem.layers.layers)):
        padded *= int(np.diff(np.append(fine.outer[0][4], fine.units)).max())
        if padded * layer.units > MOST_PADDING * fine.units:
            return False
    return True


def _lies_within(fine, wide):
    home = np.empty(int(fine.max()) + 1, wide.dtype)
    home[fine] = wide
    return bool((home[fine] == wide).all())
