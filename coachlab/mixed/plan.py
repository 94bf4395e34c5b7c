"""Which grouping factor is eliminated when: the layers of a model, from the nesting found in the data."""

from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True, eq=False)
class Term:
    """Random term: its grouping factor, the columns that vary, and where its levels stand in the layers."""

    group: str
    names: tuple[str, ...]
    columns: tuple[int, ...]  # of the moments' z columns
    factor: int

    @property
    def size(self) -> int:
        """Effects a level."""
        return len(self.names)


@dataclass(eq=False)
class Layer:
    """Units of one kind; `rows` has shape (strata, units, m, m + columns of wider layers + [x y])."""

    units: int
    terms: list[int]
    slots: list[int]
    factors: list[int]
    uid: np.ndarray  # unit of each cell
    starts: np.ndarray  # first cell of each unit
    offset: dict[int, int] = field(default_factory=dict)  # first own column of a term
    m: int = 0
    outer: list[tuple] = field(default_factory=list)  # (layer, low, high, parent, starts) in columns after the own
    rows: np.ndarray = field(default_factory=lambda: np.empty(0))
    spots: np.ndarray = field(default_factory=lambda: np.empty(0, int))  # flat places in the (m, m) factor
    params: np.ndarray = field(default_factory=lambda: np.empty(0, int))  # the parameter that stands there


def plan(codes, levels, terms, q):
    """Order of the cells and the layers, cheapest first choice of the widest nesting factor."""
    used = sorted({term.factor for term in terms})
    nested = {(f, g): _is_nested(codes[f], codes[g], levels[f]) for f in used for g in used}
    size = {f: sum(t.size for t in terms if t.factor == f) for f in used}
    best = None
    for wide in used:
        inside = [f for f in used if nested[f, wide]]
        chain = _chain(inside, wide, levels, nested)
        border = [f for f in used if f not in inside]
        cost = _cost(chain, border, levels, size, codes, q)
        if best is None or cost < best[0]:
            best = cost, chain, border
    _, chain, border = best
    keys = [codes[f] for f, _ in chain]
    order = np.lexsort(keys) if len(keys) > 1 else np.argsort(keys[0], kind="stable")
    layers, change = [], np.zeros(len(order), bool)
    change[0] = True
    for f, packed in reversed(chain):
        code = codes[f][order]
        change = change | np.r_[True, code[1:] != code[:-1]]
        layers.append(_layer(packed, np.cumsum(change) - 1, np.flatnonzero(change), terms, codes, levels, order))
    layers.reverse()
    if border:
        layers.append(_layer(border, np.zeros(len(order), int), np.zeros(1, int), terms, codes, levels, order))
    return order, layers


def _is_nested(fine, wide, levels):
    """Whether each level of `fine` lies within one level of `wide`."""
    home = np.empty(levels, wide.dtype)
    home[fine] = wide
    return bool((home[fine] == wide).all())


def _chain(inside, wide, levels, nested):
    """Layers as (factor of the units, factors in it): the finest by itself as long as it lies within all others."""
    left = sorted(inside, key=lambda f: (-levels[f], f == wide))
    chain = []
    while left and all(nested[left[0], g] for g in left[1:]):
        chain.append((left[0], [left[0]]))
        left = left[1:]
    return chain + ([(wide, left)] if left else [])


def _cost(chain, border, levels, size, codes, q):
    """Rough operations of one evaluation."""
    cost, reach = 0.0, q + sum(size[f] * levels[f] for f in border)
    cost += float(reach - q) ** 3
    for f, packed in reversed(chain):
        m = sum(size[g] * _most(codes[g], codes[f], g == f) for g in packed)
        cost += levels[f] * (m**3 + m * m * reach + m * reach * reach + 50.0 * m)
        reach += m
    return cost


def _most(fine, wide, same):
    """Largest number of levels of `fine` in one level of `wide`."""
    if same:
        return 1
    pairs = np.unique(wide.astype(np.int64) * (int(fine.max()) + 1) + fine)
    return int(np.bincount(pairs // (int(fine.max()) + 1)).max())


def _layer(factors, uid, starts, terms, codes, levels, order):
    mine = [t for f in factors for t, term in enumerate(terms) if term.factor == f]
    slots = []
    for t in mine:
        f = terms[t].factor
        slots.append(1 if levels[f] == len(starts) else _most(codes[f][order], uid, False))
    return Layer(len(starts), mine, slots, list(factors), uid, starts)
