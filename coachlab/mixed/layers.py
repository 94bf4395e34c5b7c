"""Cross-products laid out in layers, from the finest grouping factor to the widest, and their elimination.

A layer holds units that do not meet each other: all blocks, all sessions, all students. Each unit has a few random
effects; its row of cross-products reaches its own effects, those of the wider units around it, and the fixed columns
with the response. Eliminating layer after layer leaves the small fixed part (a sparse Cholesky factorisation whose
pattern is known in advance). Factors that are neither nested in one another share a layer by
*slots*; factors that cross the widest one form the last layer, whose single unit is dense.
"""

from copy import copy

import numpy as np

from coachlab.errors import FitError
from coachlab.mixed.fill import fill_responses, fill_rows
from coachlab.mixed.plan import plan
from coachlab.mixed.products import Leaf

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

    def __init__(self, cross, size, top, codes, terms, stratum):
        self.terms, self.top, self.strata = terms, top, len(top)
        self.each = False  # whether each point of a batch has a response of its own
        self.levels = [int(code.max()) + 1 for code in codes]
        self.first_parameter = np.cumsum([0] + [t.size * (t.size + 1) // 2 for t in terms])
        order, self.layers = plan(codes, self.levels, terms, top.shape[-1])
        self.order, self.codes, self.stratum = order, [code[order] for code in codes], stratum[order]
        self._place()
        self.arrange([tuple(range(term.size)) for term in terms])
        self._load(cross[order] if (order[1:] < order[:-1]).any() else cross, size)

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

    def factors(self, theta):
        """Relative covariance factors of all terms."""
        return [self.factor(t, theta) for t in range(len(self.terms))]

    def factor(self, t, theta):
        """Relative covariance factor of term `t`, shape (size, size), rows in the order of its effects."""
        size, order = self.terms[t].size, self.orders[t]
        result = np.zeros((size, size))
        at = self.first_parameter[t]
        for j in range(size):
            result[list(order[j:]), j] = theta[at : at + size - j]
            at += size - j
        return result

    def rearranged(self, orders):
        """Return the same layers with the effects of each term in another order; these stay as they are."""
        other = copy(self)
        other.layers = [copy(layer) for layer in self.layers]
        other.arrange(orders)
        return other

    def parameters_of(self, factors):
        """Covariance parameters, in this arrangement, of relative factors, one a term."""
        turned = [lower(factor[list(order)]) for factor, order in zip(factors, self.orders, strict=True)]
        return np.concatenate([each[triangle(len(each))] for each in turned])

    def _load(self, cross, size):
        """Fill in the cross-products."""
        top = self.top
        filled = [fill_rows(self, mine) for mine in self._by_stratum(cross * size)]
        for at, layer in enumerate(self.layers):
            layer.rows = filled[0][at][None] if len(filled) == 1 else np.stack([rows[at] for rows in filled])
        fine = self.layers[0]
        large = fine.m == 1 and len(top) == 1 and fine.rows.size > LEAF_FROM
        self.leaf = Leaf(fine, top.shape[-1]) if large else None

    def _by_stratum(self, cross):
        """Cross-products of the cells of each stratum, those of the others 0."""
        if self.strata == 1:
            return [cross]
        return [cross * (self.stratum == s)[:, None, None] for s in range(self.strata)]

    def answer(self, cross, top):
        """Layers of another response, from its cross-products with what varies, shape (cells, k, 1)."""
        other = self._copied(top)
        for s, mine in enumerate(self._by_stratum(cross[self.order])):
            for layer, column in zip(other.layers, fill_responses(self, mine), strict=True):
                layer.rows[s, :, :, -1] = column[:, :, 0]
        if self.leaf is not None:
            other.leaf = self.leaf.answer(other.layers[0].rows[0, :, 0, -1])
        return other

    def answer_many(self, cross, top):
        """Layers of several responses, each to be evaluated at its own parameters.

        Parameters
        ----------
        cross : array, shape (cells, k, responses)
            z'y of each response.
        top : array, shape (responses, strata, q, q)
        """
        other, many = self._copied(top[:, 0] if self.strata == 1 else top), len(top)
        other.leaf, other.each = None, True
        columns = [fill_responses(self, mine) for mine in self._by_stratum(cross[self.order])]
        for at, layer in enumerate(other.layers):
            rows = np.repeat(self.layers[at].rows[None], many, axis=0)
            for s, filled in enumerate(columns):
                rows[:, s, ..., -1] = filled[at].transpose(2, 0, 1)
            layer.rows = rows[:, 0] if self.strata == 1 else rows
        return other

    def repeated(self, drawn, top):
        """Layers of several draws of the widest layer's units, shape (draws, units), each unit with all in it.

        Units of a finer layer are padded with empty ones to the same number in every unit around them, so that all
        draws have one layout: an empty unit adds nothing to any sum.
        """
        other, last = copy(self), len(self.layers) - 1
        other.layers, other.leaf, other.each = [copy(layer) for layer in self.layers], None, True
        other.top = top[:, 0] if self.strata == 1 else top
        place, size = np.arange(self.layers[last].units), [1] * (last + 1)
        for at in range(last, -1, -1):
            layer, new = self.layers[at], other.layers[at]
            if at < last:
                parent, starts = next(entry[3:5] for entry in layer.outer if entry[0] == at + 1)
                most = int(np.diff(np.append(starts, layer.units)).max())
                place = place[parent] * most + np.arange(layer.units) - starts[parent]
                size[at] = size[at + 1] * most
            padded = np.zeros((self.strata, self.layers[last].units * size[at], *layer.rows.shape[2:]))
            padded[:, place] = layer.rows
            padded = padded.reshape(self.strata, -1, size[at], *layer.rows.shape[2:])[:, drawn]
            rows = padded.swapaxes(0, 1).reshape(len(drawn), self.strata, -1, *layer.rows.shape[2:])
            new.rows = rows[:, 0] if self.strata == 1 else rows
            new.units = drawn.shape[1] * size[at]
            new.outer = [
                (
                    j,
                    low,
                    high,
                    np.arange(new.units) // (size[at] // size[j]),
                    np.arange(0, new.units, size[at] // size[j]),
                )
                for j, low, high, _, _ in layer.outer
            ]
        return other

    def pick(self, which):
        """Layers of some of several responses; of one alone where `which` is a number."""
        other, alone = copy(self), np.ndim(which) == 0
        other.layers = [copy(layer) for layer in self.layers]
        keep = [which] if alone and self.strata == 1 else which
        other.top = self.top[keep]
        for layer in other.layers:
            layer.rows = layer.rows[keep]
        other.each = not alone
        return other

    def _copied(self, top):
        other = copy(self)
        other.top, other.layers = top, [copy(layer) for layer in self.layers]
        for layer in other.layers:
            layer.rows = layer.rows.copy()
        return other

    def factors_of(self, x):
        """Cholesky factor of every layer's covariance, a list of arrays (batch, m, m), from parameters (batch, n)."""
        result = []
        for layer in self.layers:
            factor = np.zeros((len(x), layer.m * layer.m))
            factor[:, layer.spots] = x[:, layer.params]
            result.append(factor.reshape(-1, layer.m, layer.m))
        return result

    def by_level(self, t, found):
        """Entries of term `t`, one row a level, out of one layer's arrays (units, m[, m])."""
        at = next(i for i, layer in enumerate(self.layers) if t in layer.terms)
        layer, term = self.layers[at], self.terms[t]
        column = layer.offset[t] + self.slot[term.factor][:, None] * term.size + np.arange(term.size)
        unit = self.unit[term.factor]
        if found[at].ndim == 2:
            return found[at][unit[:, None], column]
        return found[at][unit[:, None, None], column[:, :, None], column[:, None, :]]


def lower(factor):
    """Lower triangle L with L L' = F F', its diagonal not negative; F may be singular."""
    turned = np.linalg.qr(factor.T)[1].T
    return turned * np.where(np.diag(turned) < 0, -1.0, 1.0)


def triangle(size):
    """Rows and columns of a lower triangle, column by column."""
    column, row = np.triu_indices(size)
    return row, column
