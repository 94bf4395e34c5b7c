"""Cross-products laid out in layers, from the finest grouping factor to the widest, and their elimination.

A layer holds units that do not meet each other: all blocks, all sessions, all students. Each unit has a few random
effects; its row of cross-products reaches its own effects, those of the wider units around it, and the fixed columns
with the response. Eliminating layer after layer leaves the small fixed part (a sparse Cholesky factorisation whose
pattern is known in advance). Factors that are neither nested in one another share a layer by
*slots*; factors that cross the widest one form the last layer, whose single unit is dense.

Everything works on a batch of parameter vectors at once, axis 0, so that finite differences of the exact gradient and
sets of simulated responses cost few calls of NumPy.
"""

from copy import copy

import numpy as np

from coachlab.errors import FitError
from coachlab.mixed.plan import plan
from coachlab.mixed.products import Leaf, carry, inverse, times, turn, weigh

LEAF_FROM = 10_000  # numbers in the finest layer from which sums are prepared
DENSE_LIMIT = 800  # dense random effects in one unit: 800^3 flops are a quarter second an evaluation


class Layers:
    """Moments of one data set, ready for evaluation at any covariance parameters.

    Parameters
    ----------
    cross : array, shape (cells, k, k + q)
        z'[z x y] of each cell, a cell being a combination of levels that occurs.
    top : array, shape (strata, q, q)
        [x y]'[x y] of each stratum of the residual.
    stratum : array, shape (cells,)
        Stratum of each cell.
    codes : list of arrays, shape (cells,)
        Level of each factor in each cell.
    terms : list of Term
    """

    def __init__(self, cross, top, codes, terms, stratum):
        self.terms, self.top = terms, top
        self.levels = [int(code.max()) + 1 for code in codes]
        self.first_parameter = np.cumsum([0] + [t.size * (t.size + 1) // 2 for t in terms])
        order, self.layers = plan(codes, self.levels, terms, top.shape[-1])
        self.order, self.codes, self.stratum = order, [code[order] for code in codes], stratum[order]
        self._place()
        self.arrange([tuple(range(term.size)) for term in terms])
        self.load(cross, top)

    @property
    def parameters(self) -> int:
        """Number of covariance parameters."""
        return int(self.first_parameter[-1])

    def _place(self):
        """Give each term its columns, each level its unit and slot, each parameter its spots."""
        self.unit, self.slot = {}, {}
        last = len(self.layers) - 1
        width = 0
        for at in range(last, -1, -1):
            layer = self.layers[at]
            for factor in layer.factors:
                code, n = self.codes[factor], self.levels[factor]
                unit = np.zeros(n, int)
                unit[code] = layer.uid
                if layer.units == n:
                    slot = np.zeros(n, int)
                else:
                    rank = np.argsort(unit, kind="stable")
                    slot = np.empty(n, int)
                    slot[rank] = np.arange(n) - np.searchsorted(unit[rank], np.arange(layer.units))[unit[rank]]
                self.unit[factor], self.slot[factor] = unit, slot
            for t, slots in zip(layer.terms, layer.slots, strict=True):
                size, layer.offset[t] = self.terms[t].size, layer.m
                layer.m += size * slots
            if layer.m > DENSE_LIMIT:
                names = " and ".join(dict.fromkeys(self.terms[t].group for t in layer.terms))
                raise FitError(
                    "fitting crossed grouping factors",
                    f"{names} would need {layer.m} effects to be solved densely, more than {DENSE_LIMIT}",
                    "Leave out the smaller of the crossed terms, or give each level of the larger factor its own fit.",
                )
            low = 0
            for j in range(at + 1, last + 1):
                wide = self.layers[j]
                parent = wide.uid[layer.starts]
                starts = np.flatnonzero(np.r_[True, parent[1:] != parent[:-1]])
                layer.outer.append((j, low, low + wide.m, parent, starts))
                low += wide.m
            width = low
            layer.rows = np.empty((1, layer.units, layer.m, layer.m + width + self.top.shape[-1]))

    def arrange(self, orders):
        """Set the order in which the effects of each term enter its Cholesky factor.

        The effect with the largest variance goes first: if it came after one without variance, its own variance would
        be split between two parameters that can turn into each other, and the search would follow a curved valley.
        """
        self.orders = orders
        for layer in self.layers:
            spots, params = [], []
            for t, slots in zip(layer.terms, layer.slots, strict=True):
                size, order = self.terms[t].size, orders[t]
                for slot in range(slots):
                    base = layer.offset[t] + slot * size
                    spots += [(base + order[i]) * layer.m + base + j for j in range(size) for i in range(j, size)]
                    params += range(self.first_parameter[t], self.first_parameter[t + 1])
            layer.spots, layer.params = np.array(spots, int), np.array(params, int)

    def factor(self, t, theta):
        """Relative covariance factor of term `t`, shape (size, size), rows in the order of its effects."""
        size, order = self.terms[t].size, self.orders[t]
        result = np.zeros((size, size))
        at = self.first_parameter[t]
        for j in range(size):
            result[list(order[j:]), j] = theta[at : at + size - j]
            at += size - j
        return result

    def load(self, cross, top):
        """Fill in the cross-products; the layout stays."""
        self.top = top
        cross = cross[self.order]
        if len(top) == 1:
            filled = [self._rows(cross)]
        else:
            filled = [self._rows(cross * (self.stratum == s)[:, None, None]) for s in range(len(top))]
        for at, layer in enumerate(self.layers):
            layer.rows = filled[0][at][None] if len(filled) == 1 else np.stack([rows[at] for rows in filled])
        fine = self.layers[0]
        large = fine.m == 1 and len(top) == 1 and fine.rows.size > LEAF_FROM
        self.leaf = Leaf(fine, top.shape[-1]) if large else None

    def answer(self, cross, top):
        """Layers of another response, from its cross-products with what varies, shape (cells, k, 1)."""
        other, cross = copy(self), cross[self.order]
        other.top, other.layers = top, [copy(layer) for layer in self.layers]
        for layer in other.layers:
            layer.rows = layer.rows.copy()
            layer.rows[..., -1] = 0.0
            for s, rows in enumerate(layer.rows):
                mine = cross if len(top) == 1 else cross * (self.stratum == s)[:, None, None]
                for t in layer.terms:
                    self._add(rows, _pick(mine, 1, self.terms[t].columns), layer, t, None, rows.shape[2] - 1)
        if self.leaf is not None:
            other.leaf = self.leaf.answer(other.layers[0].rows[0, :, 0, -1])
        return other

    def _rows(self, cross):
        """Rows of every layer from the cells' cross-products."""
        result, k = [], cross.shape[1]
        for layer in self.layers:
            rows = np.zeros(layer.rows.shape[1:])
            low = rows.shape[2] - self.top.shape[-1]
            for t in layer.terms:
                mine = _pick(cross, 1, self.terms[t].columns)
                self._add(rows, mine[:, :, k:], layer, t, None, low)
                for s in layer.terms:
                    self._add(rows, _pick(mine, 2, self.terms[s].columns), layer, t, (layer, s), 0)
                for j, start, _, _, _ in layer.outer:
                    for s in self.layers[j].terms:
                        values = _pick(mine, 2, self.terms[s].columns)
                        self._add(rows, values, layer, t, (self.layers[j], s), layer.m + start)
            result.append(rows)
        return result

    def _add(self, rows, values, layer, t, other, low):
        """Sum `values` of the cells into the rows of term `t` and the columns of the other term."""
        slot, size = self._slot(layer, t), self.terms[t].size
        high = values.shape[2]
        if other is None:
            far = None
        else:
            wide, s = other
            far, low = self._slot(wide, s), low + wide.offset[s]
        first = layer.offset[t]
        if slot is None and far is None:
            rows[:, first : first + size, low : low + high] += np.add.reduceat(values, layer.starts, axis=0)
            return
        row = first + np.arange(size) + (0 if slot is None else slot[:, None] * size)
        column = low + np.arange(high) + (0 if far is None else far[:, None] * high)
        row, column = np.atleast_2d(row), np.atleast_2d(column)
        flat = (layer.uid[:, None, None] * rows.shape[1] + row[:, :, None]) * rows.shape[2] + column[:, None, :]
        np.add.at(rows.reshape(-1), flat.ravel(), values.ravel())

    def _slot(self, layer, t):
        """Slot of each cell, or None where all stand in the first."""
        if layer.slots[layer.terms.index(t)] == 1:
            return None
        factor = self.terms[t].factor
        return self.slot[factor][self.codes[factor]]

    def factors_of(self, x):
        """Cholesky factor of every layer's covariance, a list of arrays (batch, m, m), from parameters (batch, n)."""
        result = []
        for layer in self.layers:
            factor = np.zeros((len(x), layer.m * layer.m))
            factor[:, layer.spots] = x[:, layer.params]
            result.append(factor.reshape(-1, layer.m, layer.m))
        return result

    def eliminate(self, factors, weights=None):
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
            rows, top = [layer.rows for layer in self.layers], self.top
        else:
            rows = [np.tensordot(weights, layer.rows, 1) for layer in self.layers]
            top = np.tensordot(weights, self.top, 1)
        logdet, state = 0.0, []
        for at, layer in enumerate(self.layers):
            m = layer.m
            own, reach = rows[at][..., :m], rows[at][..., m:]
            W, Q, part = inverse(own, factors[at])
            logdet = logdet + part
            if at == 0 and self.leaf is not None and weights is None:
                parts, last = self.leaf.weigh(W[..., 0, 0])
            else:
                parts, last = weigh(layer, reach, W, top.shape[-1])
            for (j, *_), part in zip(layer.outer, parts, strict=True):
                rows[j] = rows[j] - part
            top = top - last
            state.append((own, reach, W, Q))
        return state, top, logdet

    def trace_back(self, state, factors, seed, own=False, strata=False):
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
        return self._trace(state, factors, seed, own, strata)[:3]

    def scores(self, state, factors, seed):
        """Slopes with respect to each level's own covariance matrix: a list of arrays (batch, n, size, size)."""
        changes = self._trace(state, factors, seed, False, False, each=True)[3]
        result = []
        for t, term in enumerate(self.terms):
            at = next(i for i, layer in enumerate(self.layers) if t in layer.terms)
            layer = self.layers[at]
            first = layer.offset[t] + term.size * np.arange(layer.slots[layer.terms.index(t)])
            place = first[:, None] + np.arange(term.size)
            blocks = changes[at][:, :, place[:, :, None], place[:, None, :]]
            result.append(blocks.reshape(len(seed), -1, term.size, term.size))
        return result

    def _trace(self, state, factors, seed, own, strata, each=False):
        batch = len(seed)
        changes = [None] * len(self.layers)
        by_weight = np.tensordot(seed, self.top, axes=([1, 2], [1, 2])) if strata else None
        gradient = np.zeros((batch, self.parameters))
        carried = [None] * len(self.layers)
        blocks = [None] * len(self.layers)
        q = seed.shape[-1]
        for at in range(len(self.layers) - 1, -1, -1):
            layer = self.layers[at]
            D, R, W, Q = state[at]
            if at == 0 and layer.m == 1 and not (own or strata or each):
                # Units without a need of their own derivatives: only sums weighted by Q^2 count.
                square = Q * Q
                weighed = self.leaf.weigh(square[..., 0, 0]) if self.leaf else weigh(layer, R, square, q)
                change = (D * Q).sum(axis=(1, 2, 3)) - np.einsum("bij,bij->b", seed, weighed[1])
                for (j, start, stop, *_), part in zip(layer.outer, weighed[0], strict=True):
                    twice = np.where(np.arange(part.shape[-1]) < stop - start, 1.0, 2.0)
                    change -= np.einsum("buij,buij->b", carried[j], part * twice)
                slope = 2.0 * change[:, None, None] * factors[0]
                np.add.at(gradient, (slice(None), layer.params), slope.reshape(batch, -1)[:, layer.spots])
                continue
            NR, WN = carry(R, W, *self._above(layer, R, seed, carried), strata or at)
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
                by_weight = by_weight + np.tensordot(carried[at] * twice, layer.rows, axes=([1, 2, 3], [1, 2, 3]))
        return gradient, blocks, by_weight, changes

    def _above(self, layer, R, seed, carried):
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

    def effects(self, state, beta):
        """Conditional modes: a list of arrays (batch, units, m), from the fixed effects, shape (batch, p)."""
        ahead = np.concatenate([-beta, np.ones((len(beta), 1))], axis=1)
        found = [None] * len(self.layers)
        for at in range(len(self.layers) - 1, -1, -1):
            layer = self.layers[at]
            _, R, W, _ = state[at]
            right = np.einsum("bumk,bk->bum", R[..., R.shape[-1] - len(ahead[0]) :], ahead, optimize=False)
            for j, low, high, parent, _ in layer.outer:
                right = right - np.einsum("bumk,buk->bum", R[..., low:high], found[j][:, parent])
            found[at] = np.einsum("bumk,buk->bum", W, right)
        return found

    def errors(self, state, unscaled, units, picks, x):
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
        for at, layer in enumerate(self.layers):
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

    def by_level(self, t, found):
        """Entries of term `t`, one row a level, out of one layer's arrays (units, m[, m])."""
        at = next(i for i, layer in enumerate(self.layers) if t in layer.terms)
        layer, term = self.layers[at], self.terms[t]
        column = layer.offset[t] + self.slot[term.factor][:, None] * term.size + np.arange(term.size)
        unit = self.unit[term.factor]
        if found[at].ndim == 2:
            return found[at][unit[:, None], column]
        return found[at][unit[:, None, None], column[:, :, None], column[:, None, :]]


def _pick(a, axis, columns):
    """Entries along one axis; without a copy where they lie side by side."""
    first, last = columns[0], columns[-1] + 1
    if tuple(columns) == tuple(range(first, last)):
        return a[(slice(None),) * axis + (slice(first, last),)]
    return np.take(a, columns, axis)
