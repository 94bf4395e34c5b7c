"""Sums of products that stand for a table: all that a mixed model needs, and they add."""

import json
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from coachlab.errors import FitError, need
from coachlab.mixed.coding import Coding, code_levels, ones_of
from coachlab.mixed.design import Design, cells, centre_of, cross_products, lay_out, respond
from coachlab.mixed.formula import read_formula

FORMAT = 1
_MOMENTS = "Add moments to moments: make those of the other rows with moments(formula, rows)."


@dataclass(frozen=True, eq=False)
class Moments:
    """Cross-products of a table for one formula. Those of parts add up to those of the whole.

    coding      what was learnt from the data: names, levels
    levels      labels of each group column
    codes       level of each group column in each cell; a cell is a combination of levels that occurs
    stratum     residual stratum of each cell; `strata` its column and labels
    cross       shape (cells, k, k + p + 1): z'[z x y] of each cell
    top         shape (strata, p + 1, p + 1): [x y]'[x y]
    centre      shape (p + 1,): what was subtracted from the fixed columns and the response
    ones        shape (p,): how the fixed columns make a column of ones; None if they do not
    count       rows in each stratum
    log_weight  sum of the logarithms of the weights
    dropped     rows left out because something was missing
    means       sum and count of each column of numbers in the model; `binary` those that hold 0 and 1 alone
    """

    coding: Coding
    levels: dict[str, np.ndarray]
    codes: dict[str, np.ndarray]
    stratum: np.ndarray
    strata: tuple[str, tuple]
    cross: np.ndarray
    top: np.ndarray
    centre: np.ndarray
    ones: np.ndarray | None
    count: np.ndarray
    log_weight: float
    dropped: int
    means: dict[str, tuple[float, int]]
    binary: frozenset[str]

    @property
    def formula(self) -> str:
        """Formula as written."""
        return self.coding.formula.text

    @property
    def rows(self) -> int:
        """How many rows these moments stand for."""
        return int(self.count.sum())

    def __repr__(self) -> str:
        sizes = ", ".join(f"{len(labels)} {name}" for name, labels in self.levels.items())
        widest = min(self.levels, key=lambda name: len(self.levels[name]))
        each = self.size_bytes / len(self.levels[widest]) / 1000
        return f"<Moments of {self.rows} rows for {self.formula}: {sizes}; {each:.1f} kB a {widest}>"

    @property
    def size_bytes(self) -> int:
        """Bytes of the sums and codes, in memory and in a saved file alike; more rows of the same cells add none."""
        codes = sum(code.nbytes for code in self.codes.values())
        return codes + sum(a.nbytes for a in (self.cross, self.top, self.stratum, self.centre, self.count))

    def __add__(self, other: object) -> "Moments":
        """Moments of both sets of rows together."""
        need(other, Moments, f"adding moments of {self.formula}", "the other part", _MOMENTS, FitError)
        return _add(self, other)  # type: ignore[arg-type]

    def __radd__(self, other: object) -> "Moments":
        """Let `sum` start from 0."""
        if isinstance(other, int) and other == 0:
            return self
        raise FitError(f"adding moments of {self.formula}", f"the other part is {other!r:.60}", _MOMENTS)

    def save(self, path: str | os.PathLike) -> None:
        """Write the moments to one file (NumPy's .npz); `Moments.load` reads them back.

        Parameters
        ----------
        path : path
            The file; replaced if it exists.

        Raises
        ------
        FitError
            If the file cannot be written.
        """
        meta = {
            "format": FORMAT,
            "formula": self.formula,
            "factors": {name: [_plain(v) for v in levels] for name, levels in self.coding.factors.items()},
            "numbers": list(self.means),
            "binary": sorted(self.binary),
            "strata": [self.strata[0], [_plain(v) for v in self.strata[1]]],
            "log_weight": self.log_weight,
            "dropped": self.dropped,
            "groups": {name: [_plain(v) for v in labels] for name, labels in self.levels.items()},
        }
        arrays = {f"code_{i}": codes for i, codes in enumerate(self.codes.values())}
        arrays["meta"] = np.array(json.dumps(meta))
        for name in ("stratum", "cross", "top", "centre", "count"):
            arrays[name] = getattr(self, name)
        arrays["ones"] = np.empty(0) if self.ones is None else self.ones
        arrays["means"] = np.array(list(self.means.values()), float).reshape(-1, 2)
        try:
            with open(path, "wb") as file:
                np.savez(file, **arrays)  # type: ignore[arg-type]  # stub takes the arrays for allow_pickle
        except OSError as err:
            asked = f"saving moments as {os.fspath(path)}"
            found = f"that is not possible ({err.strerror})"
            raise FitError(
                asked, found, "Name a file in a folder that is there and may be written.", path=path
            ) from err

    @classmethod
    def load(cls, path: str | os.PathLike) -> "Moments":
        """Moments that `save` wrote.

        Parameters
        ----------
        path : path
            The file.

        Raises
        ------
        FitError
            If the file is not one that `save` wrote.
        """
        asked = f"reading moments from {os.fspath(path)}"
        try:
            with np.load(path, allow_pickle=False) as file:
                held = {name: file[name] for name in file.files}
            meta = json.loads(str(held["meta"]))
            if meta["format"] != FORMAT:
                raise KeyError("format")
        except (ValueError, KeyError, EOFError, OSError) as err:
            if isinstance(err, FileNotFoundError):
                raise FitError(asked, "there is no such file", "Check the path.", path=path) from err
            raise FitError(
                asked, "the file does not hold moments of this version", "Make them anew with moments(formula, data)."
            ) from err
        coding = code_levels(read_formula(meta["formula"]), meta["factors"], meta["numbers"])
        return cls(
            coding=coding,
            levels={name: np.array(labels) for name, labels in meta["groups"].items()},
            codes={name: held[f"code_{i}"] for i, name in enumerate(meta["groups"])},
            stratum=held["stratum"],
            strata=(meta["strata"][0], tuple(meta["strata"][1])),
            cross=held["cross"],
            top=held["top"],
            centre=held["centre"],
            ones=held["ones"] if held["ones"].size else None,
            count=held["count"],
            log_weight=meta["log_weight"],
            dropped=meta["dropped"],
            means={name: (float(s), int(n)) for name, (s, n) in zip(meta["numbers"], held["means"], strict=True)},
            binary=frozenset(meta["binary"]),
        )


def moments(
    formula: str,
    data: pd.DataFrame,
    weights: str | Sequence[float] | None = None,
    residual_by: str | None = None,
) -> Moments:
    """Cross-products of a table for a formula, which add over parts of the rows and stand in for the table in a fit.

    Parameters
    ----------
    formula : str
        As for `fit_mixed`. Functions that look at all rows at once (``center(x)``, ``poly(x, 2)``) are refused, since
        they would differ from part to part.
    data : DataFrame, n rows
        One row an observation. Rows with gaps are left out and counted.
    weights : str or array, shape (n,), optional
        Column or values; the residual variance of a row is sigma^2 / weight.
    residual_by : str, optional
        Column whose levels have each their own residual SD.

    Returns
    -------
    Moments
        ``a + b`` and ``sum([...])`` give the moments of all rows. Levels of a column of words may differ from part to
        part as long as the first, the base, is the same.

    Raises
    ------
    FormulaError, FitError
        As `fit_mixed`.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"y": [1.0, 2, 3, 5, 4, 6], "g": list("aabbcc")})
    >>> moments("y ~ 1 + (1 | g)", table[:2]) + moments("y ~ 1 + (1 | g)", table[2:])
    <Moments of 6 rows for y ~ 1 + (1 | g): 3 g; 0.1 kB a g>
    """
    design = lay_out(formula, data, weights, residual_by, every_level=True)
    state = [text for text, spec in design.coding.specs.items() if getattr(spec, "transform_state", None)]
    if state:
        raise FitError(
            f"summing moments for {formula}",
            f"{state[0]!r} depends on all rows at once",
            "Compute that column for the whole table first and name the column in the formula.",
        )
    return sum_up(design)


def sum_up(design: Design) -> Moments:
    """Moments of a design."""
    centre, ones = centre_of(design)
    cross, top = cross_products(design, centre)
    row = design.stratum[design.cell] if len(design.strata[1]) > 1 else np.zeros(len(design.cell), int)
    return Moments(
        coding=design.coding,
        levels=design.levels,
        codes=design.codes,
        stratum=design.stratum,
        strata=design.strata,
        cross=cross,
        top=top,
        centre=centre,
        ones=ones,
        count=np.bincount(row, minlength=len(design.strata[1])),
        log_weight=0.0 if design.weights is None else float(np.log(design.weights).sum()),
        dropped=int((~design.kept).sum()),
        means=design.means,
        binary=design.binary,
    )


def sum_again(moments: Moments, design: Design) -> Moments:
    """Moments of a design that differs from the one of these moments in the response alone."""
    centre, cross, top = moments.centre.copy(), moments.cross.copy(), moments.top.copy()
    if moments.ones is not None:
        centre[-1] = design.response.mean()
    respond(design, centre, cross, top)
    return replace(moments, centre=centre, cross=cross, top=top)


def _plain(value):
    """Label as JSON takes it."""
    return value.item() if isinstance(value, np.generic) else value


def _add(a: Moments, b: Moments) -> Moments:
    """Moments of all rows; levels and columns are united by name."""
    asked = f"adding moments of {a.formula}"
    if a.formula != b.formula or a.strata[0] != b.strata[0]:
        raise FitError(asked, f"the other moments are of {b.formula}", "Only moments of one formula add.")
    coding = _united_coding(a, b, asked)
    strata = (a.strata[0], _united(a.strata[1], b.strata[1]))
    levels = {name: np.array(_united(tuple(a.levels[name]), tuple(b.levels[name]))) for name in a.levels}
    centre = np.zeros(len(coding.x_names) + 1)
    centre[[*map(coding.x_names.index, a.coding.x_names), -1]] = a.centre
    ones = a.ones if coding is a.coding else ones_of(coding, a.means)
    whole = [_fitted_in(part, coding, levels, strata, centre, ones) for part in (a, b)]
    codes = {name: np.concatenate([part.codes[name] for part in whole]) for name in levels}
    stratum = np.concatenate([part.stratum for part in whole])
    cross = np.concatenate([part.cross for part in whole])
    cell, first = cells([(stratum, strata[1]), *((codes[name], levels[name]) for name in levels)])
    if len(first) < len(cell):
        total = np.zeros((len(first), *cross.shape[1:]))
        np.add.at(total, cell, cross)
        codes, stratum, cross = {name: code[first] for name, code in codes.items()}, stratum[first], total
    return Moments(
        coding=coding,
        levels=levels,
        codes=codes,
        stratum=stratum,
        strata=strata,
        cross=cross,
        top=whole[0].top + whole[1].top,
        centre=centre,
        ones=ones,
        count=whole[0].count + whole[1].count,
        log_weight=a.log_weight + b.log_weight,
        dropped=a.dropped + b.dropped,
        means={name: (a.means[name][0] + b.means[name][0], a.means[name][1] + b.means[name][1]) for name in a.means},
        binary=a.binary & b.binary,
    )


def _united_coding(a, b, asked):
    factors = {}
    for name, one in a.coding.factors.items():
        two = b.coding.factors[name]
        if one[0] != two[0] or ("C(" in a.formula and set(one) != set(two)):
            here, there = (", ".join(map(str, levels)) for levels in (one, two))
            raise FitError(
                asked,
                f"the levels of {name!r} are {here} in one part, {there} in the other",
                "Give the column the same categories, in the same order, in every part.",
            )
        factors[name] = _united(one, two)
    if factors == a.coding.factors:
        return a.coding
    return code_levels(a.coding.formula, factors, list(a.means))


def _fitted_in(part, coding, levels, strata, centre, ones):
    """Moments of a part in the columns, levels and centring of a larger whole."""
    z = [coding.z_names.index(name) for name in part.coding.z_names]
    x = [coding.x_names.index(name) for name in part.coding.x_names]
    k, q = len(coding.z_names), len(coding.x_names) + 1
    wide = [*x, q - 1]
    shift = -centre.copy()
    shift[wide] += part.centre
    move = np.eye(q)
    if ones is not None:
        move[:-1] += np.outer(ones, shift)
    cross = np.zeros((len(part.cross), k, k + q))
    cross[:, np.array(z)[:, None], np.array([*z, *(k + np.array(wide))])] = part.cross
    cross[:, :, k:] = cross[:, :, k:] @ move
    top = np.zeros((len(strata[1]), q, q))
    count = np.zeros(len(strata[1]), int)
    at = np.array([strata[1].index(label) for label in part.strata[1]])
    top[np.ix_(at, wide, wide)] = part.top
    count[at] = part.count
    codes = {}
    for name, labels in levels.items():
        place = {label: i for i, label in enumerate(labels.tolist())}
        codes[name] = np.array([place[label] for label in part.levels[name].tolist()])[part.codes[name]]
    return replace(part, codes=codes, stratum=at[part.stratum], cross=cross, top=move.T @ top @ move, count=count)


def _united(one: tuple, two: tuple) -> tuple:
    """Levels of both, sorted if both are sorted, else those of the first in front."""
    both = one + tuple(level for level in two if level not in set(one))
    return tuple(sorted(both)) if one == tuple(sorted(one)) and two == tuple(sorted(two)) else both
