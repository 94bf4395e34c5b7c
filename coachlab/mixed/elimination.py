"""Elimination of all random effects, layer after layer, and what is carried back through it.

Everything works on a batch of parameter vectors at once, axis 0, so that finite differences of the exact gradient and
sets of simulated responses cost few calls of NumPy.
"""

import numpy as np

from coachlab.mixed.products import carry, inverse, times, turn, weigh


def eliminate(layers, factors, weights=None):
    """Eliminate all random effects.

    Parameters
    ----------
    factors : list of arrays
        From `factors_of`.
    weights : array, shape (batch, strata), optional
        Inverse residual variance of each stratum, relative to the first.

    Returns
    -------
    state : list of (rows, W, Q, D)
        A layer each, for `trace_back`.
    top : array, shape (batch, q, q)
        The Schur complement of the fixed columns and the response.
    logdet : array, shape (batch,)
    """
    if weights is None:
        rows, top = [layer.rows for layer in layers.layers], layers.top
    else:
        rows = [_over_strata(layers, weights, layer.rows) for layer in layers.layers]
        top = _over_strata(layers, weights, layers.top)
    logdet, state = 0.0, []
    for at, layer in enumerate(layers.layers):
        m = layer.m
        own, reach = rows[at][..., :m], rows[at][..., m:]
        W, Q, part = inverse(own, factors[at])
        logdet = logdet + part
        if at == 0 and layers.leaf is not None and weights is None:
            parts, last = layers.leaf.weigh(W[..., 0, 0])
        else:
            parts, last = weigh(layer, reach, W, top.shape[-1])
        for (j, *_), part in zip(layer.outer, parts, strict=True):
            rows[j] = rows[j] - part
        top = top - last
        state.append((own, reach, W, Q))
    return state, top, logdet


def trace_back(layers, state, factors, seed, own=False, strata=False):
    """Gradient of a function of the log-determinant and the final block, carried back through the elimination.

    Parameters
    ----------
    state : list
        From `eliminate`.
    seed : array, shape (batch, q, q)
        Symmetric derivative with respect to the final block; the log-determinant has derivative 1.
    own : bool
        Also the derivatives with respect to each unit's own block (with a seed of 0 these are the conditional
        covariances of the random effects over sigma^2).
    strata : bool
        Also the derivatives with respect to the weights of the strata.

    Returns
    -------
    gradient : array, shape (batch, parameters)
    blocks : list of arrays (batch, units, m, m), or of None
    by_weight : array, shape (batch, strata), or None
    """
    return _trace(layers, state, factors, seed, own, strata)[:3]


def scores(layers, state, factors, seed):
    """Slopes with respect to each level's own covariance matrix: a list of arrays (batch, n, size, size)."""
    changes = _trace(layers, state, factors, seed, False, False, each=True)[3]
    result = []
    for t, term in enumerate(layers.terms):
        at = next(i for i, layer in enumerate(layers.layers) if t in layer.terms)
        layer = layers.layers[at]
        first = layer.offset[t] + term.size * np.arange(layer.slots[layer.terms.index(t)])
        place = first[:, None] + np.arange(term.size)
        blocks = changes[at][:, :, place[:, :, None], place[:, None, :]]
        result.append(blocks.reshape(len(seed), -1, term.size, term.size))
    return result


def _trace(layers, state, factors, seed, own, strata, each=False):
    batch = len(seed)
    changes = [None] * len(layers.layers)
    by_weight = _by_strata(layers, seed, layers.top) if strata else None
    gradient = np.zeros((batch, layers.parameters))
    carried = [None] * len(layers.layers)
    blocks = [None] * len(layers.layers)
    q = seed.shape[-1]
    for at in range(len(layers.layers) - 1, -1, -1):
        layer = layers.layers[at]
        D, R, W, Q = state[at]
        if at == 0 and layer.m == 1 and not (own or strata or each):
            # Units without a need of their own derivatives: only sums weighted by Q^2 count.
            square = Q * Q
            weighed = layers.leaf.weigh(square[..., 0, 0]) if layers.leaf else weigh(layer, R, square, q)
            change = (D * Q).sum(axis=(1, 2, 3)) - np.einsum("bij,bij->b", seed, weighed[1])
            for (j, start, stop, *_), part in zip(layer.outer, weighed[0], strict=True):
                twice = np.where(np.arange(part.shape[-1]) < stop - start, 1.0, 2.0)
                change -= np.einsum("buij,buij->b", carried[j], part * twice)
            slope = 2.0 * change[:, None, None] * factors[0]
            np.add.at(gradient, (slice(None), layer.params), slope.reshape(batch, -1)[:, layer.spots])
            continue
        NR, WN = carry(R, W, *_above(layer, R, seed, carried), strata or at)
        QN = times(turn(Q), times(NR, Q))
        changes[at] = times(D, Q) - QN
        change = changes[at].sum(axis=1)
        slope = (change + turn(change)) @ factors[at]
        slope = slope.reshape(batch, -1)[:, layer.spots]
        np.add.at(gradient, (slice(None), layer.params), slope)
        if own or strata or at:
            blocks[at] = W + times(W, times(NR, W))
        if strata or at:
            np.negative(WN, out=WN)
            WN[..., : layer.m] = blocks[at]
            carried[at] = WN
        if strata:
            twice = np.where(np.arange(carried[at].shape[-1]) < layer.m, 1.0, 2.0)
            by_weight = by_weight + _by_strata(layers, carried[at] * twice, layer.rows)
    return gradient, blocks, by_weight, changes


def _over_strata(layers, weights, values):
    """Sum over the strata of the residual, weighted; each point of the batch has values of its own, or all the same."""
    if layers.each:
        return np.einsum("bs,bs...->b...", weights, values)
    return np.tensordot(weights, values, 1)


def _by_strata(layers, slopes, values):
    """Slopes with respect to the weight of each stratum."""
    if layers.each:
        return np.einsum("bi,bsi->bs", slopes.reshape(len(slopes), -1), values.reshape(*values.shape[:2], -1))
    axes = list(range(1, slopes.ndim))
    return np.tensordot(slopes, values, axes=(axes, axes))


def _above(layer, R, seed, carried):
    """Return derivatives by what a layer's units reach: those shared by all units, those of single wider ones."""
    k, q = R.shape[-1], seed.shape[-1]
    shared, single = np.zeros((len(seed), k, k)), []
    shared[:, k - q :, k - q :] = seed
    for j, start, stop, parent, _ in layer.outer:
        if carried[j].shape[1] > 1:
            single.append((start, stop, carried[j], parent))
            continue
        shared[:, start:stop, start:] = carried[j][:, 0]
        shared[:, stop:, start:stop] = turn(carried[j][:, 0, :, stop - start :])
    return shared, single


def effects(layers, state, beta):
    """Conditional modes: a list of arrays (batch, units, m), from the fixed effects, shape (batch, p)."""
    ahead = np.concatenate([-beta, np.ones((len(beta), 1))], axis=1)
    found = [None] * len(layers.layers)
    for at in range(len(layers.layers) - 1, -1, -1):
        layer = layers.layers[at]
        _, R, W, _ = state[at]
        right = np.einsum("bumk,bk->bum", R[..., R.shape[-1] - len(ahead[0]) :], ahead, optimize=False)
        for j, low, high, parent, _ in layer.outer:
            right = right - np.einsum("bumk,buk->bum", R[..., low:high], found[j][:, parent])
        found[at] = np.einsum("bumk,buk->bum", W, right)
    return found


def errors(layers, state, unscaled, units, picks, x):
    """Quadratic forms r' C^-1 r of the mixed model equations, for rows that pick some effects.

    Parameters
    ----------
    state : list
        From `eliminate`.
    unscaled : array, shape (batch, p, p)
        Inverse of the final block of the fixed columns.
    units : list of arrays, shape (n,), or None
        Unit of each row in each layer, for layers from which effects are picked.
    picks : list of arrays, shape (n, m), or None
        Weights of the row's effects there.
    x : array, shape (n, p)
        Weights of the fixed columns.

    Returns
    -------
    array, shape (batch, n); None if a row picks units that do not lie within each other.
    """
    batch, p = unscaled.shape[:2]
    left = [None if pick is None else np.broadcast_to(pick, (batch, *pick.shape)) for pick in picks]
    units, fixed = list(units), np.broadcast_to(x, (batch, *x.shape))
    total = np.zeros((batch, len(x)))
    for at, layer in enumerate(layers.layers):
        if units[at] is None:
            continue
        _, reach, W, _ = state[at]
        R = reach[:, units[at]]
        Wr = np.einsum("bnij,bnj->bni", W[:, units[at]], left[at])
        total += np.einsum("bni,bni->bn", Wr, left[at])
        fill = -np.einsum("bnik,bni->bnk", np.broadcast_to(R, (batch, *R.shape[1:])), Wr)
        for j, low, high, parent, _ in layer.outer:
            wide = parent[units[at]]
            if units[j] is None:
                units[j], left[j] = wide, fill[..., low:high]
            elif (units[j] != wide).any():
                return None
            else:
                left[j] = left[j] + fill[..., low:high]
        low = reach.shape[-1] - p - 1
        fixed = fixed + fill[..., low : low + p]
    return total + np.einsum("bni,bij,bnj->bn", fixed, unscaled, fixed)
