"""Responses drawn from a fitted model, as the sums of products that a fit needs: no row is made.

What a shot-by-shot simulation would sum up is drawn at once. Of independent errors with variance sigma^2 the products
z'e of a cell are normal with covariance sigma^2 z'z; given them x'e is normal about its regression on them with what
x'x leaves; and what e'e has beyond both is chi-square on the degrees of freedom that are left. This is exact, and costs
the number of cells instead of the number of rows.
"""

from dataclasses import dataclass

import numpy as np

from coachlab.mixed.problem import Problem

RANK = 1e-10  # share of the largest direction below which a direction of a cell's z'z holds nothing but rounding


@dataclass(frozen=True, eq=False)
class Truth:
    """Parameters to draw from.

    beta      shape (p,), of the centred columns that are estimable
    factors   one a term, with F F' the covariance of its effects in the response's unit
    sigmas    residual SD of each stratum
    """

    beta: np.ndarray
    factors: list[np.ndarray]
    sigmas: np.ndarray


@dataclass(frozen=True, eq=False)
class Source:
    """Moments of a problem split so that errors can be drawn from them.

    cross      (cells, k, k + p): z'[z x]
    root       (cells, k, k): a root of z'z; `alive` (cells, k) its columns that are not 0
    slope      (cells, k, p): x'e on the drawn directions
    rest       (strata, p, p): a root of what x'x leaves; `clear` (strata, p) its columns that are not 0
    spare      (strata,): degrees of freedom left for e'e
    """

    problem: Problem
    cross: np.ndarray
    root: np.ndarray
    alive: np.ndarray
    slope: np.ndarray
    rest: np.ndarray
    clear: np.ndarray
    spare: np.ndarray


def source(problem: Problem) -> Source:
    """Prepare the moments of a problem for drawing."""
    m, p = problem.moments, problem.p
    k = m.cross.shape[1]
    columns = [*range(k), *(k + np.array(problem.kept, int))]
    cross = m.cross[:, :, columns]
    size, axes = np.linalg.eigh(cross[:, :, :k])
    alive = size > RANK * np.maximum(size[:, -1:], 1e-300)
    size = np.where(alive, size, 0.0)
    root = axes * np.sqrt(size)[:, None, :]
    with np.errstate(divide="ignore"):
        inverse = np.where(alive, 1.0 / np.sqrt(np.where(alive, size, 1.0)), 0.0)
    slope = (axes * inverse[:, None, :]).swapaxes(1, 2) @ cross[:, :, k:]
    rest, clear, spare = [], [], []
    for s in range(problem.strata):
        mine = m.stratum == s
        used = slope[mine].reshape(-1, p)
        whole = m.top[s][np.ix_(problem.kept, problem.kept)]
        left, turn = np.linalg.eigh(whole - used.T @ used)
        clear.append(left > RANK * max(float(np.trace(whole)), 1e-300))
        rest.append(turn * np.sqrt(np.where(clear[s], left, 0.0)))
        spare.append(max(int(m.count[s]) - int(alive[mine].sum()) - int(clear[s].sum()), 0))
    return Source(problem, cross, root, alive, slope, np.array(rest), np.array(clear), np.array(spare))


def draw(source: Source, truth: Truth, count: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Draw responses.

    Returns
    -------
    cross : array, shape (cells, k, count)
        z'y of each cell.
    top : array, shape (count, strata, p + 1, p + 1)
        [x y]'[x y] of each stratum.
    """
    problem = source.problem
    m, p = problem.moments, problem.p
    cells, k = source.root.shape[:2]
    effect = np.zeros((cells, k, count))  # sum of the random effects that act in a cell
    for t, factor in enumerate(truth.factors):
        term = problem.terms[t]
        drawn = rng.standard_normal((len(problem.labels[term.factor]), term.size, count))
        shift = np.einsum("ij,ljn->lin", factor, drawn)
        effect[:, list(term.columns)] += shift[problem.codes[term.factor]]
    sigma = truth.sigmas[m.stratum]
    raw = (sigma[:, None] * source.alive)[:, :, None] * rng.standard_normal((cells, k, count))
    error = np.einsum("cij,cjn->cin", source.root, raw)  # z'e
    zz, zx = source.cross[:, :, :k], source.cross[:, :, k:]
    fixed = np.einsum("cip,p->ci", zx, truth.beta)
    cross = fixed[:, :, None] + np.einsum("cij,cjn->cin", zz, effect) + error
    top = np.empty((count, problem.strata, p + 1, p + 1))
    for s in range(problem.strata):
        mine = m.stratum == s
        whole = m.top[s][np.ix_(problem.kept, problem.kept)]
        more = (truth.sigmas[s] * source.clear[s])[:, None] * rng.standard_normal((p, count))
        left = truth.sigmas[s] ** 2 * rng.chisquare(source.spare[s], count) if source.spare[s] else np.zeros(count)
        xe = np.einsum("cip,cin->pn", source.slope[mine], raw[mine]) + source.rest[s] @ more
        ee = np.einsum("cin,cin->n", raw[mine], raw[mine]) + np.einsum("pn,pn->n", more, more) + left
        xb = np.einsum("cip,cin->pn", zx[mine], effect[mine])
        be = np.einsum("cin,cin->n", effect[mine], error[mine])
        bb = np.einsum("cin,cij,cjn->n", effect[mine], zz[mine], effect[mine], optimize=True)
        mean = whole @ truth.beta
        xy = mean[:, None] + xb + xe
        yy = truth.beta @ mean + 2.0 * truth.beta @ (xb + xe) + bb + 2.0 * be + ee
        top[:, s, :p, :p] = whole
        top[:, s, :p, p] = top[:, s, p, :p] = xy.T
        top[:, s, p, p] = yy
    return cross, top
