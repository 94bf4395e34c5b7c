"""What to mind about a fit, a sentence each."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from coachlab.mixed.solve import SINGULAR

if TYPE_CHECKING:
    from coachlab.mixed.fit import Fit

REST = 1e-7  # residual share of the sum of squares that only a computed response has
ABSORBED = 1e-9  # share of a factor's columns that the fixed part may leave over by rounding


def remarks(fit: "Fit") -> Iterator[str]:
    """Sentences on gaps, terms not estimable, the search, singular terms, ids that repeat, few levels."""
    problem, m = fit.problem, fit.problem.moments
    if m.dropped:
        yield f"{m.dropped} of {m.dropped + m.rows} rows have a gap in a column of the model and were left out."
    dropped = [name for j, name in enumerate(fit.terms) if j not in problem.kept]
    if dropped:
        yield (
            f"Not estimable, since the data do not tell them from the terms before them: {', '.join(dropped)}. "
            "Other terms keep their meaning only with these left out; merge levels or drop an interaction."
        )
    if m.ones is not None and fit.sigma**2 * m.rows < REST * m.top[:, -1, -1].sum():
        yield (
            f"Fixed and random terms together reproduce the response all but exactly (residual SD {fit.sigma:.2g}). "
            "Standard errors mean little; check whether the response was computed from the columns or is a mean."
        )
    elif not fit.converged:
        yield (
            f"The search did not end at a minimum ({fit.record.why}). Do not use these estimates; simplify the random "
            "terms or bring the columns to comparable scales."
        )
    yield from _flat(fit)
    yield from _absorbed(problem)
    yield from _repeated(problem)
    yield from _twice(problem)
    for term in problem.terms:
        n = len(problem.labels[term.factor])
        if n < 5 and term.group not in problem.fixed:
            yield f"The spread over {term.group} rests on {n} levels; its SD is rough."


def _flat(fit):
    """Sentences about random terms without variance in some direction."""
    factors = fit.problem.factors_at(fit.inference.optimum.x)
    for term, factor in zip(fit.problem.terms, factors, strict=True):
        name = f"({' + '.join(term.names)} | {term.group})".replace("Intercept", "1")
        if term.group in fit.problem.fixed:
            continue
        if np.abs(np.diag(np.linalg.qr(factor.T)[1])).min() >= SINGULAR:
            continue
        sd = np.sqrt((factor**2).sum(axis=1))
        empty = [n for n, s in zip(term.names, sd, strict=True) if s < SINGULAR]
        if empty:
            yield (
                f"Singular: the SD of {', '.join(empty)} over {term.group} is estimated as 0; the data show no more "
                f"spread than the residual alone would give. Estimates hold; {name} can be simplified."
            )
        else:
            yield (
                f"Singular: the effects in {name} are estimated as perfectly dependent (a correlation of 1 or -1); "
                f"the data are too few to tell them apart. Degrees of freedom and standard errors are less sure; leave "
                f"the correlation out with || and compare."
            )


def _absorbed(problem):
    """Sentences where the fixed part tells the levels of a factor apart by itself."""
    m, kept = problem.moments, problem.kept
    k = m.cross.shape[1]
    whole = m.top.sum(axis=0)[np.ix_(kept, kept)]
    size = np.sqrt(np.diag(whole))
    for term in problem.terms:
        n = len(problem.labels[term.factor])
        if n > len(kept) or term.group in problem.fixed:
            continue
        for name, column in zip(term.names, term.columns, strict=True):
            own = np.bincount(problem.codes[term.factor], m.cross[:, column, column], n).sum()
            reach = np.zeros((n, len(kept)))
            np.add.at(reach, problem.codes[term.factor], m.cross[:, column, [k + j for j in kept]] / size)
            told = (reach * np.linalg.solve(whole / np.outer(size, size), reach.T).T).sum()
            if told > (1.0 - ABSORBED) * own:
                yield (
                    f"The fixed part already tells the {n} levels of {term.group} apart ({name}): the data say nothing "
                    f"about their spread, and standard errors of those fixed terms mean nothing. Leave one of them out."
                )


def _repeated(problem):
    """Sentences where numbered levels of one factor occur under several of another."""
    single = [(name, problem.codes[f], problem.labels[f]) for f, name in enumerate(problem.factors) if ":" not in name]
    single.sort(key=lambda each: -len(each[2]))
    for at, (fine, codes, labels) in enumerate(single):
        if not all(label[-1:].isdigit() for label in labels):
            continue
        wide = [name for name, others, _ in single[:at] if _crosses(codes, others) and _crosses(others, codes)]
        if wide:
            yield (
                f"Levels of {fine} occur under several levels of {' and '.join(wide)}, so they are taken as crossed. "
                f"If the same id of {fine} under another {wide[0]} is something else, make the ids unique or write "
                f"(1 | {wide[0]}:{fine})."
            )


def _twice(problem):
    """Sentences where two factors divide the rows alike."""
    for i, name in enumerate(problem.factors):
        for j in range(i):
            if _crosses(problem.codes[i], problem.codes[j]) or _crosses(problem.codes[j], problem.codes[i]):
                continue
            yield (
                f"{problem.factors[j]} and {name} divide the rows in the same way: only the sum of their variances is "
                "determined. Leave one of them out."
            )


def _crosses(fine, wide):
    """Whether some level of `fine` occurs under several of `wide`."""
    home = np.empty(int(fine.max()) + 1, wide.dtype)
    home[fine] = wide
    return bool((home[fine] != wide).any())
