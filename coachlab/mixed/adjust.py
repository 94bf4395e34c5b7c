"""Kenward-Roger: degrees of freedom and a covariance of the fixed effects that allow for estimated variances."""

from typing import TYPE_CHECKING

import numpy as np

from coachlab.errors import FitError

if TYPE_CHECKING:
    from coachlab.mixed.infer import Inference

WORK = 3e10  # operations for the dense blocks: a second or two


def kenward_roger(inference: "Inference", K: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Variances, adjusted, and degrees of freedom of rows of weights over the estimable columns.

    Parameters
    ----------
    inference : Inference
        A solved problem.
    K : array, shape (r, p)

    Returns
    -------
    variance, df : arrays, shape (r,)

    Raises
    ------
    FitError
        With residual SDs by group, or if crossed factors would need too large a dense matrix.

    References
    ----------
    Kenward, Roger, Biometrics 53 (1997) 983; and Halekoh, Hojsgaard, J. Statistical Software 59 (2014) 9.
    """
    phi, slopes, W, adjusted = _parts(inference)
    L = K @ inference.uncentre
    plain = np.einsum("rp,pq,rq->r", L, phi, L)
    change = np.einsum("rp,npq,rq->nr", L, slopes, L)
    noise = np.einsum("nr,nm,mr->r", change, W, change)
    with np.errstate(divide="ignore"):
        df = np.where(noise > 0, 2.0 * plain**2 / np.where(noise > 0, noise, 1.0), np.inf)
    return np.einsum("rp,pq,rq->r", L, adjusted, L), df


def _parts(inference):
    """Covariance, its slopes by the variance parameters, their covariance, and the adjusted covariance (centred)."""
    problem = inference.problem
    layers, sigma2 = problem.layers, inference.sigma**2
    if problem.strata > 1:
        raise FitError(
            "finding Kenward-Roger degrees of freedom",
            "the residual SD differs by group",
            "Use df='satterthwaite', which allows for that.",
        )
    G, GX, places = _blocks(layers)
    theta = problem.unpack(inference.optimum.x[None])[0][0]
    factors = [layers.factor(t, theta) for t in range(len(problem.terms))]
    psi = np.zeros(G.shape[1:])
    for place, factor in zip(places, factors, strict=True):
        psi[place[:, :, None], place[:, None, :]] = factor @ factor.T
    m, p = G.shape[1], problem.p
    solved = np.linalg.solve(np.eye(m) + G @ psi, np.concatenate([G, GX], axis=2))
    S, H = solved[..., :m] / sigma2, solved[..., m:] / sigma2  # Z' V^-1 Z, Z' V^-1 X
    phi = sigma2 * inference.optimum.point.unscaled[0]
    rows = [
        (place[:, i], place[:, j], sigma2 * (factor @ factor.T)[i, j], t)
        for t, (place, factor) in enumerate(zip(places, factors, strict=True))
        for j in range(place.shape[1])
        for i in range(j, place.shape[1])
    ]
    n = len(rows)
    gamma = np.array([row[2] for row in rows])
    P, Q = np.zeros((n + 1, p, p)), np.zeros((n + 1, n + 1, p, p))
    trace, single = np.zeros((n + 1, n + 1)), np.zeros(n)
    for r, (i, j, _, _) in enumerate(rows):
        one = [(i, j)] if i is j or (i == j).all() else [(i, j), (j, i)]
        for a, b in one:
            P[r] -= np.einsum("blp,blq->pq", H[:, a], H[:, b])
            single[r] += S[:, a, b].sum()
        for s, (k, h, _, _) in enumerate(rows[: r + 1]):
            two = [(k, h)] if (k == h).all() else [(k, h), (h, k)]
            for a, b in one:
                for c, d in two:
                    inner = S[:, b[:, None], c]
                    Q[r, s] += np.einsum("blp,blq->pq", H[:, a], inner @ H[:, d])
                    trace[r, s] += (S[:, a[:, None], d] * inner).sum()
            Q[s, r], trace[s, r] = Q[r, s].T, trace[r, s]
    # The residual's share follows from sigma^2 I = V - sum of gamma G.
    inverse = np.linalg.inv(phi)
    P[n] = -(inverse + np.tensordot(gamma, P[:n], 1)) / sigma2
    for s in range(n):
        Q[s, n] = -(P[s] + np.tensordot(gamma, Q[s, :n], 1)) / sigma2
        Q[n, s] = Q[s, n].T
        trace[s, n] = trace[n, s] = (single[s] - gamma @ trace[s, :n]) / sigma2
    Q[n, n] = -(P[n] + np.tensordot(gamma, Q[:n, n], 1)) / sigma2
    trace[n, n] = ((problem.moments.rows - gamma @ single) / sigma2 - gamma @ trace[:n, n]) / sigma2
    held = problem.sigma_held is not None
    free = [r for r in range(n) if problem.terms[rows[r][3]].group not in problem.fixed] + [n] * (not held)
    P, Q = P[free], Q[np.ix_(free, free)]
    spread = phi @ P
    both = np.einsum("rpq,sqp->rs", spread, spread)
    information = trace[np.ix_(free, free)] - 2.0 * np.einsum("pq,rsqp->rs", phi, Q) + both
    curve = np.abs(np.linalg.eigvalsh(information)).min(initial=np.inf)
    W = 2.0 * (np.linalg.inv(information) if curve > 1e-10 else np.linalg.pinv(information))
    U = np.einsum("rs,rspq->pq", W, Q - np.einsum("rpq,sqt->rspt", P, spread))
    return phi, spread @ phi, W, phi + 2.0 * phi @ (0.5 * (U + U.T)) @ phi


def _blocks(layers):
    """Z'Z and Z'X of each outermost unit, (units, m, m) and (units, m, p), and where the effects of each term stand."""
    wide = layers.layers[-1]
    homes, ranks, low, lows = [], [], 0, []
    for layer in layers.layers:
        home = np.arange(wide.units) if layer is wide else layer.outer[-1][3]
        count = np.bincount(home, minlength=wide.units)
        homes.append(home)
        ranks.append(np.arange(layer.units) - (np.cumsum(count) - count)[home])
        lows.append(low)
        low += int(count.max()) * layer.m
    m, p = low, layers.top.shape[-1] - 1
    if wide.units * m * m * (m + p) > WORK:
        raise FitError(
            "finding Kenward-Roger degrees of freedom",
            f"the crossed random effects need dense blocks of {m} x {m}",
            "Use df='satterthwaite'; with so many levels the two hardly differ.",
        )
    G, GX = np.zeros((wide.units, m, m)), np.zeros((wide.units, m, p))
    for at, layer in enumerate(layers.layers):
        rows = layer.rows[0]
        own = lows[at] + ranks[at][:, None] * layer.m + np.arange(layer.m)
        home = homes[at][:, None, None]
        G[home, own[:, :, None], own[:, None, :]] = rows[..., : layer.m]
        GX[home[..., 0], own] = rows[..., -p - 1 : -1]
        for j, start, stop, parent, _ in layer.outer:
            far = lows[j] + ranks[j][parent][:, None] * layers.layers[j].m + np.arange(stop - start)
            cross = rows[..., layer.m + start : layer.m + stop]
            G[home, own[:, :, None], far[:, None, :]] = cross
            G[home, far[:, :, None], own[:, None, :]] = cross.swapaxes(1, 2)
    places = []
    for t, term in enumerate(layers.terms):
        at = next(i for i, layer in enumerate(layers.layers) if t in layer.terms)
        layer = layers.layers[at]
        units = np.arange(int(ranks[at].max()) + 1)[:, None, None]
        slot = np.arange(layer.slots[layer.terms.index(t)])[:, None]
        place = lows[at] + units * layer.m + layer.offset[t] + slot * term.size + np.arange(term.size)
        places.append(place.reshape(-1, term.size))
    return G, GX, places
