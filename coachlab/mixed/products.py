"""Products of many small matrices at once, and sums of them: what the elimination is made of."""

from copy import copy

import numpy as np
from scipy import sparse

AT_ONCE = 30_000  # numbers of a portion of units
UNTHREADED = 250_000  # multiplications in one product


def inverse(D, factor):
    """W = (D + Psi^-1)^-1, Q = (I + Psi D)^-1 and the log-determinant of I + Psi D summed over units.

    Closed forms for one and two effects: they have no subtraction of like numbers, hold for a singular Psi = L L',
    and are far quicker over thousands of units than one call of LAPACK each.
    """
    m = D.shape[-1]
    L = factor[:, None]
    if m == 1:
        det = 1.0 + L * L * D
        Q = 1.0 / det
        return L * L * Q, Q, np.log(det[..., 0, 0]).sum(axis=1)
    if m == 2:
        a, b, c, g = L[..., 0, 0], L[..., 1, 0], L[..., 1, 1], L[..., 0, 1]
        p, r, s = a * a + g * g, a * b + c * g, b * b + c * c
        d, e, f = D[..., 0, 0], D[..., 0, 1], D[..., 1, 1]
        psi, dd = (a * c - b * g) ** 2, np.maximum(d * f - e * e, 0.0)
        det = 1.0 + p * d + 2.0 * r * e + s * f + psi * dd
        W, Q = np.empty((*det.shape, 2, 2)), np.empty((*det.shape, 2, 2))
        W[..., 0, 0], W[..., 1, 1] = p + psi * f, s + psi * d
        W[..., 0, 1] = W[..., 1, 0] = r - psi * e
        Q[..., 0, 0], Q[..., 1, 1] = 1.0 + r * e + s * f, 1.0 + p * d + r * e
        Q[..., 0, 1], Q[..., 1, 0] = -(p * e + r * f), -(r * d + s * e)
        W /= det[..., None, None]
        Q /= det[..., None, None]
        return W, Q, np.log(det).sum(axis=1)
    A = turn(L) @ (D @ L)
    A[..., range(m), range(m)] += 1.0
    C = np.linalg.cholesky(A)
    half = np.linalg.inv(C) @ turn(L)
    W = turn(half) @ half
    Q = -W @ D
    Q[..., range(m), range(m)] += 1.0
    return W, Q, 2.0 * np.log(C[..., range(m), range(m)]).sum(axis=(1, 2))


class Leaf:
    """Weighted sums over the units of a large finest layer of one effect each.

    What reaches all units alike (crossed factors, fixed columns) is summed beforehand over units of the same own
    product, which are few where it counts rows; what reaches wider units is a sparse product, without an array of all.
    """

    def __init__(self, layer, q):
        self.reach = layer.rows[0, :, 0, 1:]
        self.crossed = [(start, stop) for _, start, stop, _, starts in layer.outer if len(starts) == 1]
        self.low = low = self.crossed[0][0] if self.crossed else self.reach.shape[1] - q
        q = self.reach.shape[1] - low
        units = len(self.reach)
        same, self.first, kind = np.unique(layer.rows[0, :, 0, 0], return_index=True, return_inverse=True)
        self.last = np.ascontiguousarray(self.reach[:, low:])
        self.kinds, self.order, self.cuts = None, None, None
        if len(same) * 4 <= units and len(same) * q * q < 4e6:
            self.order = order = np.argsort(kind, kind="stable")
            self.cuts = cuts = np.searchsorted(kind[order], np.arange(len(same)))
            groups = [self.last[rows] for rows in np.split(order, cuts[1:])]
            self.kinds = np.stack([_gram(rows, rows) for rows in groups]).reshape(len(same), q * q)
        self.wider = []
        for _, start, stop, _, starts in layer.outer[: len(layer.outer) - len(self.crossed)]:
            width = stop - start
            count = np.repeat(np.diff(np.append(starts, units)), width)
            pointer = np.append(0, np.cumsum(count))
            unit = np.arange(pointer[-1]) + np.repeat(np.repeat(starts, width) - pointer[:-1], count)
            column = np.repeat(np.tile(np.arange(width), len(starts)), count)
            values = self.reach[unit, start + column]
            self.wider.append((unit, pointer, values, np.ascontiguousarray(self.reach[:, start:]), width))

    def answer(self, y):
        """Prepare another response, whose products with each unit's effect are `y`."""
        other = copy(self)
        for name in ("reach", "last"):
            column = getattr(self, name).copy()
            column[:, -1] = y
            setattr(other, name, column)
        if self.kinds is not None:
            q = self.last.shape[1]
            new = np.add.reduceat(other.last[self.order] * y[self.order, None], self.cuts)
            other.kinds = self.kinds.reshape(-1, q, q).copy()
            other.kinds[:, :, -1] = other.kinds[:, -1] = new
            other.kinds = other.kinds.reshape(len(new), -1)
        other.wider = []
        for unit, pointer, values, reach, width in self.wider:
            reach = reach.copy()
            reach[:, -1] = y
            other.wider.append((unit, pointer, values, reach, width))
        return other

    def weigh(self, weights):
        """Weighted sums of products, by wider unit and in all.

        Weights have shape (batch, units) and follow from the own product of a unit.
        """
        q = self.last.shape[1]
        if self.kinds is None:
            last = np.stack([_gram(self.last, w[:, None] * self.last) for w in weights])
        else:
            last = (weights[:, self.first] @ self.kinds).reshape(-1, q, q)
        parts = []
        for unit, pointer, values, reach, width in self.wider:
            shape = (len(pointer) - 1, len(reach))
            found = [sparse.csr_array((values * w[unit], unit, pointer), shape=shape) @ reach for w in weights]
            found = found[0][None] if len(found) == 1 else np.stack(found)
            parts.append(found.reshape(len(weights), -1, width, reach.shape[1]))
        end = 0
        for start, stop in self.crossed:
            start, end = start - self.low, stop - self.low
            parts.append(last[:, None, start:end, start:])
        return parts, last[:, end:, end:]


def weigh(layer, reach, W, q):
    """Parts that the elimination of a layer takes from the rows of each wider layer, and from the final block."""
    if reach.shape[1] * reach.shape[3] > AT_ONCE and all(len(starts) == 1 for *_, starts in layer.outer):
        return _weigh_in_portions(layer, reach, W, q)
    F = times(W, reach)
    parts = [_sum_into(reach[..., low:high], F[..., low:], starts) for _, low, high, _, starts in layer.outer]
    low = reach.shape[-1] - q
    return parts, _sum_into(reach[..., low:], F[..., low:], np.zeros(1, int))[:, 0]


def _weigh_in_portions(layer, reach, W, q):
    """Do as `weigh` where all wider layers are of one unit: one sum, and no array of all products."""
    k = reach.shape[-1]
    total = np.zeros((len(W), k, k))
    for i, weights in enumerate(W):
        right = reach[min(i, len(reach) - 1)]
        for part in portions(reach):
            rows = np.ascontiguousarray(right[part])
            total[i] += _gram(rows.reshape(-1, k), times(weights[part], rows).reshape(-1, k))
    parts = [total[:, None, low:high, low:] for _, low, high, _, _ in layer.outer]
    return parts, total[:, k - q :, k - q :]


def carry(R, W, shared, single, keep):
    """Products N R' of each unit, and W N after m free columns, where N = R times the derivatives above.

    Parameters
    ----------
    R : array, shape (1 or batch, units, m, k)
    W : array, shape (1 or batch, units, m, m)
    shared : array, shape (batch, k, k)
        Derivatives that are the same for all units.
    single : list of (start, stop, array (batch, wider units, stop - start, k - start), wider unit of each unit)
        Derivatives of the wider units' own rows; their transposed part follows.
    keep : bool
        Whether W N is needed.
    """
    batch, (units, m, k) = len(shared), R.shape[1:]
    NR = np.empty((batch, units, m, m))
    WN = np.empty((batch, units, m, m + k)) if keep else None
    each = max(1, AT_ONCE // (units * m * k))  # points of a batch that go together
    for first in range(0, batch, each):
        some = slice(first, first + each)
        for part in portions(R):
            rows = np.ascontiguousarray(_some(R, some)[:, part])
            N = flat_times(rows, shared[some])
            for start, stop, own, parent in single:
                M = own[some, parent[part]]
                N[..., start:] += times(rows[..., start:stop], M)
                N[..., start:stop] += times_turned(rows[..., stop:], M[..., stop - start :])
            NR[some, part] = times_turned(N, rows)
            if keep:
                WN[some, part, :, m:] = times(_some(W, some)[:, part], N)
    return NR, WN


def _some(a, which):
    """Points of a batch, or the only one, which holds for all."""
    return a if len(a) == 1 else a[which]


def portions(a):
    """Slices of units, shape (batch, units, m, k), so that what is made of them keeps to the cache."""
    each = max(1, AT_ONCE // (a.shape[2] * a.shape[3]))
    return [slice(first, first + each) for first in range(0, a.shape[1], each)]


def turn(a):
    """Transposed over the last two axes."""
    return a.swapaxes(-1, -2)


def times(a, b):
    """Matrix product over the last two axes; by hand for short inner sides, where a call each costs more."""
    inner = a.shape[-1]
    if inner > 3:
        return a @ b
    result = a[..., :, :1] * b[..., :1, :]
    for i in range(1, inner):
        result = result + a[..., :, i : i + 1] * b[..., i : i + 1, :]
    return result


def times_turned(a, b):
    """Product a b' over the last two axes."""
    if a.shape[-2] * b.shape[-2] > 9:
        return a @ turn(b)
    return np.einsum("...ik,...jk->...ij", a, b)


def flat_times(a, b):
    """(batch, units, m, k) times (batch, k, n): one product each batch, the rows in portions."""
    batch, units, m, k = a.shape
    n = b.shape[-1]
    result = np.empty((len(b), units * m, n))
    flat = a.reshape(batch, units * m, k)
    for i, right in enumerate(b):
        left = flat[min(i, batch - 1)]
        whole, each = _portions(len(left), k * n)
        np.matmul(left[:whole].reshape(-1, each, k), right, out=result[i, :whole].reshape(-1, each, n))
        result[i, whole:] = left[whole:] @ right
    return result.reshape(len(b), units, m, n)


def _portions(rows, size):
    """How many rows fall into whole portions, and the rows of one.

    A product of a portion stays below the size from which OpenBLAS uses threads: for ones as thin as these the threads
    wait for each other, on a busy machine for longer than the product takes.
    """
    each = max(1, min(rows, UNTHREADED // max(size, 1)))
    return rows // each * each, each


def _gram(a, b):
    """Product a' b for tall a and b, in portions of rows."""
    whole, each = _portions(len(a), a.shape[1] * b.shape[1])
    left, right = a[:whole].reshape(-1, each, a.shape[1]), b[:whole].reshape(-1, each, b.shape[1])
    return (turn(left) @ right).sum(axis=0) + a[whole:].T @ b[whole:]


def _sum_into(a, b, starts):
    """Product a' b of each unit, summed over the units that lie in one wider unit."""
    units, m = a.shape[1:3]
    if len(starts) == 1:
        a, b = a.reshape(len(a), units * m, -1), b.reshape(len(b), units * m, -1)
        if units * m * a.shape[-1] * b.shape[-1] <= UNTHREADED:
            return (turn(a) @ b)[:, None]
        last = len(a) - 1
        return np.stack([_gram(a[min(i, last)], each) for i, each in enumerate(b)])[:, None]
    product = turn(a) @ b if m > 3 else _turned_times(a, b)
    return product if len(starts) == units else np.add.reduceat(product, starts, axis=1)


def _turned_times(a, b):
    result = a[..., 0, :, None] * b[..., 0, None, :]
    for i in range(1, a.shape[-2]):
        result = result + a[..., i, :, None] * b[..., i, None, :]
    return result
