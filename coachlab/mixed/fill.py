"""Cross-products of the cells summed into the rows of every layer."""

import numpy as np


def fill_rows(layers, cross: np.ndarray) -> list[np.ndarray]:
    """Rows of every layer, shape (units, m, columns), from cross-products z'[z x y], shape (cells, k, k + q)."""
    result, k = [], cross.shape[1]
    for layer in layers.layers:
        rows = np.zeros(layer.rows.shape[1:])
        low = rows.shape[2] - (cross.shape[2] - k)
        for t in layer.terms:
            mine = _pick(cross, 1, layers.terms[t].columns)
            _add(layers, rows, mine[:, :, k:], layer, t, None, low)
            for s in layer.terms:
                _add(layers, rows, _pick(mine, 2, layers.terms[s].columns), layer, t, (layer, s), 0)
            for j, start, _, _, _ in layer.outer:
                wide = layers.layers[j]
                for s in wide.terms:
                    values = _pick(mine, 2, layers.terms[s].columns)
                    _add(layers, rows, values, layer, t, (wide, s), layer.m + start)
        result.append(rows)
    return result


def fill_responses(layers, cross: np.ndarray) -> list[np.ndarray]:
    """Sum z'y of some responses, shape (cells, k, responses), into arrays (units, m, responses), a layer each."""
    result = []
    for layer in layers.layers:
        rows = np.zeros((layer.units, layer.m, cross.shape[2]))
        for t in layer.terms:
            _add(layers, rows, _pick(cross, 1, layers.terms[t].columns), layer, t, None, 0)
        result.append(rows)
    return result


def _add(layers, rows, values, layer, t, other, low):
    """Sum `values` of the cells into the rows of term `t` and the columns of the other term."""
    slot, size = _slot(layers, layer, t), layers.terms[t].size
    high = values.shape[2]
    if other is None:
        far = None
    else:
        wide, s = other
        far, low = _slot(layers, wide, s), low + wide.offset[s]
    first = layer.offset[t]
    if slot is None and far is None:
        block = rows[:, first : first + size, low : low + high]
        if len(values) == layer.units:
            block[...] = values
        else:
            np.add.reduceat(values, layer.starts, axis=0, out=block)
        return
    row = first + np.arange(size) + (0 if slot is None else slot[:, None] * size)
    column = low + np.arange(high) + (0 if far is None else far[:, None] * high)
    row, column = np.atleast_2d(row), np.atleast_2d(column)
    flat = (layer.uid[:, None, None] * rows.shape[1] + row[:, :, None]) * rows.shape[2] + column[:, None, :]
    np.add.at(rows.reshape(-1), flat.ravel(), values.ravel())


def _slot(layers, layer, t):
    """Slot of each cell, or None where all stand in the first."""
    if layer.slots[layer.terms.index(t)] == 1:
        return None
    factor = layers.terms[t].factor
    return layers.slot[factor][layers.codes[factor]]


def _pick(a, axis, columns):
    """Entries along one axis; without a copy where they lie side by side."""
    first, last = columns[0], columns[-1] + 1
    if tuple(columns) == tuple(range(first, last)):
        return a[(slice(None),) * axis + (slice(first, last),)]
    return np.take(a, columns, axis)
