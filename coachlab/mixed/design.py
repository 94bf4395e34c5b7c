"""A table and a formula become numbers: the rows coded, and their cross-products."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse

from coachlab.errors import FitError, FormulaError, need
from coachlab.mixed.coding import Coding, check_names, evaluate, learn_coding, names_in, ones_in
from coachlab.mixed.formula import read_formula

LARGEST = 1e100  # squares, and sums of many of them, must stay finite
COLLAPSE_FROM = 4000  # below this many rows, finding the distinct ones costs more than it saves


@dataclass(frozen=True, eq=False)
class Design:
    """Rows of a data set as coded, the same ones held once.

    x, z        distinct rows of the fixed part (patterns, p) and of what varies (patterns, k)
    pattern     which of them each row has
    cell        which combination of group levels (and stratum) each row has
    levels      labels of each group column
    codes       level of each group column in each cell
    stratum     stratum of the residual of each cell; `strata` its labels
    weights     shape (n,) or None
    kept        which rows of the table are used
    response    shape (n,), not centred
    means       sum and count of each column of numbers in the model; `binary` those that hold 0 and 1 alone
    """

    coding: Coding
    x: np.ndarray
    z: np.ndarray
    pattern: np.ndarray | None
    cell: np.ndarray
    levels: dict[str, np.ndarray]
    codes: dict[str, np.ndarray]
    stratum: np.ndarray
    strata: tuple[str, tuple]
    weights: np.ndarray | None
    kept: np.ndarray
    response: np.ndarray
    means: dict[str, tuple[float, int]]
    binary: frozenset[str]


def lay_out(
    formula: str, data: pd.DataFrame, weights=None, residual_by: str | None = None, every_level: bool = False
) -> Design:
    """Read the columns that a formula names, drop rows with gaps, and code the rest.

    Parameters
    ----------
    formula : str
        As in `read_formula`.
    data : DataFrame
        One row an observation.
    weights : str or array, shape (n,), optional
        Column or values; the residual variance of a row is sigma^2 / weight.
    residual_by : str, optional
        Column whose levels have each their own residual SD.
    every_level : bool
        Keep categories of the fixed part that do not occur, for parts that are added later.

    Raises
    ------
    FormulaError
        If a column does not exist or an expression cannot be evaluated.
    FitError
        If no row is left, or a column holds an infinite number.
    """
    parsed = read_formula(formula)
    asked = f"fitting {formula}"
    if not isinstance(data, pd.DataFrame):
        raise FitError(asked, f"the data are {type(data).__name__}, not a table", "Pass a pandas DataFrame.")
    lefts = [bar.left for bar in parsed.bars]
    inner = tuple(dict.fromkeys(name for text in (parsed.fixed, *lefts) for name in names_in(text)))
    groups = tuple(dict.fromkeys(name for bar in parsed.bars for name in bar.group))
    need(residual_by, (str, type(None)), asked, "residual_by", "Name one column, or give None.", FitError)
    by = () if residual_by is None else (residual_by,)
    outer = names_in(parsed.response)
    by_weight = (weights,) if isinstance(weights, str) else ()
    check_names((*outer, *inner, *groups, *by, *by_weight), data, asked)

    columns = {name: _read(data[name], asked) for name in dict.fromkeys((*outer, *inner, *by_weight))}
    labels = {name: _read_labels(data[name]) for name in dict.fromkeys((*groups, *by))}
    kept = np.ones(len(data), bool)
    for column in columns.values():
        kept &= ~np.isnan(column) if isinstance(column, np.ndarray) else column[0] >= 0
    for codes, _ in labels.values():
        kept &= codes >= 0
    weight = columns[weights] if isinstance(weights, str) else weights
    if weight is not None:
        weight, positive = _read_weights(weight, len(data), asked)
        kept &= positive
    if not kept.any():
        found = f"the table has {len(data)} rows, none of them complete" if len(data) else "the table has no rows"
        names = ", ".join(dict.fromkeys((*outer, *inner, *groups)))
        raise FitError(asked, found, f"Give rows in which all of these are filled: {names}.")
    if not kept.all():
        weight = None if weight is None else weight[kept]
        columns = {n: c[kept] if isinstance(c, np.ndarray) else (c[0][kept], c[1]) for n, c in columns.items()}
        labels = {name: (codes[kept], levels) for name, (codes, levels) in labels.items()}
    columns = {n: c if isinstance(c, np.ndarray) or every_level else _used(*c) for n, c in columns.items()}
    labels = {name: _used(*pair) for name, pair in labels.items()}

    response = _response(parsed, columns, asked)
    pattern, first = _patterns([columns[name] for name in inner], int(kept.sum()))
    variables = {name: _take(columns[name], first) for name in inner}
    coding, x, z = learn_coding(parsed, variables, asked)
    if pattern is not None and any(getattr(s, "transform_state", None) for s in coding.specs.values()):
        pattern = None  # such a function looks at all rows at once: their mean, their spread
        coding, x, z = learn_coding(parsed, {name: _take(columns[name], None) for name in inner}, asked)
    if not (np.isfinite(x).all() and np.isfinite(z).all()):
        bad = [n for n, column in zip(coding.x_names, x.T, strict=True) if not np.isfinite(column).all()]
        raise FitError(
            asked,
            f"{', '.join(bad) or 'a random term'} is not a number in some rows",
            "Check the function in the formula: a logarithm needs positive numbers.",
        )
    for names, matrix in ((coding.x_names, x), (coding.z_names, z)):
        large = np.abs(matrix).max(axis=0, initial=0.0) > LARGEST
        if large.any():
            found = f"{names[int(large.argmax())]} holds numbers too large to be squared"
            raise FitError(asked, found, "Give the column in another unit.")
    cell, where = cells([labels[name] for name in (*groups, *by)])
    codes = {name: labels[name][0][where] for name in groups}
    stratum = labels[residual_by][0][where] if residual_by is not None else np.zeros(len(where), int)
    strata = (residual_by, tuple(labels[residual_by][1])) if residual_by is not None else ("", ("residual",))
    count = None if pattern is None else np.bincount(pattern, minlength=len(first))
    means = {n: _mean(v, count) for n, v in variables.items() if isinstance(v, np.ndarray)}
    levels = {name: labels[name][1] for name in groups}
    binary = frozenset(n for n, v in variables.items() if n in means and ((v == 0) | (v == 1)).all())
    return Design(coding, x, z, pattern, cell, levels, codes, stratum, strata, weight, kept, response, means, binary)


def cross_products(design: Design, centre: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Cross-products of a design and its response, centred.

    Returns
    -------
    cross : array, shape (cells, k, k + p + 1)
        z'[z x y] of each cell.
    top : array, shape (strata, p + 1, p + 1)
        [x y]'[x y] of each stratum.
    """
    x, z, n, size = centred(design, centre), design.z, len(design.response), len(design.stratum)
    k, p = z.shape[1], x.shape[1]
    pattern = np.arange(n) if design.pattern is None else design.pattern
    weight = np.ones(n) if design.weights is None else design.weights
    cross = np.empty((size, k, k + p + 1))
    both = np.concatenate([z, x], axis=1)
    counted = sparse.csr_matrix((weight, (design.cell, pattern)), shape=(size, len(z)))
    for j in range(k):
        cross[:, j, :-1] = counted @ (z[:, j, None] * both)
    top = np.zeros((len(design.strata[1]), p + 1, p + 1))
    for s, mine in enumerate(_by_stratum(design)):
        total = mine if design.pattern is None else np.bincount(pattern, mine, len(z))
        top[s, :p, :p] = x.T @ (total[:, None] * x)
    respond(design, centre, cross, top)
    return cross, top


def respond(design: Design, centre: np.ndarray, cross: np.ndarray, top: np.ndarray) -> None:
    """Write the cross-products with the response into the last column of `cross` and the borders of `top`."""
    x, z, y = centred(design, centre), design.z, design.response - centre[-1]
    size, pattern = len(z), design.pattern
    weighed = y if design.weights is None else design.weights * y
    for j in range(z.shape[1]):
        values = z[:, j] if pattern is None else z[pattern, j]
        cross[:, j, -1] = np.bincount(design.cell, values * weighed, len(cross))
    for s, mine in enumerate(_by_stratum(design)):
        each = mine * y
        paired = each if pattern is None else np.bincount(pattern, each, size)
        top[s, :-1, -1] = top[s, -1, :-1] = np.einsum("i,ij->j", paired, x)
        top[s, -1, -1] = np.einsum("i,i->", each, y)


def centred(design, centre):
    """Distinct rows of the fixed part, centred."""
    x = design.x - centre[:-1]
    if design.coding.intercept is not None:
        x[:, design.coding.intercept] = 1.0
    return x


def _by_stratum(design):
    """Weight of each row in each stratum of the residual."""
    weight = np.ones(len(design.response)) if design.weights is None else design.weights
    strata = len(design.strata[1])
    if strata == 1:
        return [weight]
    row = design.stratum[design.cell]
    return [(row == s) * weight for s in range(strata)]


def centre_of(design: Design) -> tuple[np.ndarray, np.ndarray | None]:
    """Means to subtract from the fixed columns and the response, and how the fixed columns make a column of ones.

    Centring keeps the digits of a response at 1e6 or a covariate such as a year; it is undone exactly at the end.
    """
    p = design.x.shape[1]
    centre = np.zeros(p + 1)
    at = design.coding.intercept
    if at is None:
        ones = ones_in(design.x)
    else:
        count = None if design.pattern is None else np.bincount(design.pattern, minlength=len(design.x))
        centre[:p] = design.x.mean(axis=0) if count is None else count @ design.x / count.sum()
        centre[at] = 0.0
        ones = np.eye(p)[at]
    if ones is not None:
        centre[-1] = design.response.mean()
    return centre, ones


def _read(series, asked):
    """Column as floats, or as (codes, levels) where it holds words."""
    kind = series.dtype
    if isinstance(kind, pd.CategoricalDtype):
        return series.cat.codes.to_numpy(), kind.categories.to_numpy()
    if pd.api.types.is_complex_dtype(kind):
        raise FitError(asked, f"column {series.name!r} holds complex numbers", "Give real numbers.", column=series.name)
    if pd.api.types.is_numeric_dtype(kind) or pd.api.types.is_bool_dtype(kind):
        values = series.to_numpy(float, na_value=np.nan) if series.dtype.kind != "f" else series.to_numpy()
        values = values.astype(float, copy=False)
        if np.isinf(values).any():
            row = series.index[int(np.flatnonzero(np.isinf(values))[0])]
            raise FitError(
                asked,
                f"column {series.name!r} holds an infinite number in row {row!r}",
                "Set it to missing, or leave the row out.",
                column=series.name,
                row=row,
            )
        return values
    if pd.api.types.is_datetime64_any_dtype(kind) or pd.api.types.is_timedelta64_dtype(kind):
        raise FormulaError(asked, f"column {series.name!r} holds dates", "Turn it into a number first, such as days.")
    return _read_labels(series)


def _read_labels(series):
    """Column as (codes, levels), levels in the order of the categories or else sorted."""
    if isinstance(series.dtype, pd.CategoricalDtype):
        return series.cat.codes.to_numpy(), series.cat.categories.to_numpy()
    values = series.to_numpy()
    codes, levels = pd.factorize(values if values.dtype.kind in "iufb" else values.astype(object))
    levels = np.asarray(levels)
    order = np.argsort(levels.astype(str) if levels.dtype.kind == "O" else levels, kind="stable")
    rank = np.empty(len(levels) + 1, np.intp)
    rank[order], rank[-1] = np.arange(len(levels)), -1
    return rank[codes], levels[order]


def _used(codes, levels):
    """Codes and levels without those that do not occur."""
    present = np.bincount(codes, minlength=len(levels)) > 0
    if present.all():
        return codes, levels
    return (np.cumsum(present) - 1)[codes], levels[present]


def _read_weights(weights, n, asked):
    values = np.asarray(weights, float)
    if values.shape != (n,):
        raise FitError(asked, f"{values.size} weights for {n} rows", "Give one weight a row.")
    if np.isinf(values).any() or (values < 0).any():
        raise FitError(asked, "a weight is negative or infinite", "Weights are positive numbers; 0 leaves a row out.")
    return values, values > 0


def _response(parsed, columns, asked):
    name = parsed.response
    if isinstance(columns.get(name), np.ndarray):
        values = columns[name]
    elif name in columns:
        raise FitError(asked, f"the response {name!r} holds words", "Give a column of numbers.")
    else:
        variables = {n: _take(columns[n], None) for n in names_in(name)}
        values = evaluate(f"0 + {name}", variables, None, asked)[1]
        if values.shape[1] != 1:
            raise FormulaError(asked, f"the response {name!r} is no single number a row", "Give a column of numbers.")
        values = values[:, 0]
        if not np.isfinite(values).all():
            raise FitError(asked, f"{name} is not a number in some rows", "A logarithm needs positive numbers.")
    check_response(name, values, asked)
    return values


def check_response(name: str, values: np.ndarray, asked: str) -> None:
    """Refuse a response that does not vary, or whose squares leave the range of floating-point numbers."""
    with np.errstate(over="ignore"):
        span = np.ptp(values)
    if len(values) > 1 and span == 0:
        raise FitError(
            asked,
            f"the response {name!r} has the same value in all {len(values)} rows",
            "There is no variation to explain; check the column.",
        )
    if len(values) > 1 and not 1 / LARGEST < span < LARGEST:
        raise FitError(
            asked,
            f"the response {name!r} spans {span:.3g}, too {'large' if span > 1 else 'small'} to be squared",
            "Give it in another unit.",
        )


def _patterns(columns, n):
    """Which distinct row each row is, and where the distinct rows stand first; (None, None): all taken as distinct."""
    if not columns:
        return np.zeros(n, int), np.zeros(1, int)
    if n < COLLAPSE_FROM:
        return None, None
    key, size = np.zeros(n, np.int64), 1
    for column in columns:
        codes, levels = pd.factorize(column) if isinstance(column, np.ndarray) else column
        if len(levels) * size > 2**62 or len(levels) > n // 3:
            return None, None
        key, size = key * len(levels) + codes, size * len(levels)
    pattern, distinct = pd.factorize(key)
    if len(distinct) > n // 3:
        return None, None
    return pattern, _first(pattern, len(distinct))


def cells(pairs: list[tuple]) -> tuple[np.ndarray, np.ndarray]:
    """Cell of each row, a combination of levels that occurs, and where each occurs first."""
    key, size = pairs[0][0].astype(np.int64), len(pairs[0][1])
    for codes, levels in pairs[1:]:
        if size * len(levels) > 2**62:
            key, distinct = pd.factorize(key)
            size = len(distinct)
        key, size = key * len(levels) + codes, size * len(levels)
    cell, distinct = pd.factorize(key)
    return cell, _first(cell, len(distinct))


def _first(codes, n):
    """Where each code occurs first; factorize numbers them in that order."""
    at = np.empty(n, np.intp)
    at[codes[::-1]] = np.arange(len(codes) - 1, -1, -1)
    return at


def _take(column, rows):
    if isinstance(column, np.ndarray):
        return column if rows is None else column[rows]
    codes, levels = column
    return pd.Categorical.from_codes(codes if rows is None else codes[rows], categories=levels)


def _mean(values, count):
    if count is None:
        return float(values.sum()), len(values)
    return float(count @ values), int(count.sum())
