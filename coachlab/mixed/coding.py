"""What is learnt from the data about the coding of columns, and new rows coded by it."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np
import pandas as pd

from coachlab.errors import FitError, FormulaError
from coachlab.mixed.formula import Formula, split_sum

# A name that is a column: no call, no attribute, no keyword argument.
_NAME = re.compile(r"(?<![\w.])([^\W\d]\w*)(?!\w|\s*[(.]|\s*=[^=])")


@dataclass(frozen=True, eq=False)
class Coding:
    """What was learnt from the data: levels, columns and their coding, so that new rows are coded as the old ones.

    formula    the parsed formula
    factors    levels of each column of words, in order; the first is the base
    x_names    columns of the fixed part
    z_names    columns that vary over groups
    bars       for each random term its columns among `z_names`, and how they are called within it
    specs      coding of each expression: formulaic's, or the terms of a sum of products of plain columns
    """

    formula: Formula
    factors: dict[str, tuple]
    x_names: tuple[str, ...]
    z_names: tuple[str, ...]
    bars: tuple[tuple[tuple[int, ...], tuple[str, ...]], ...]
    specs: dict[str, object]

    @property
    def intercept(self) -> int | None:
        """Place of the column of ones in the fixed part, or None."""
        return self.x_names.index("Intercept") if "Intercept" in self.x_names else None

    @property
    def together(self) -> list[set[str]]:
        """Columns of each term of the fixed part."""
        spec = self.specs[self.formula.fixed]
        if isinstance(spec, tuple):
            return [set(term) for term in spec]
        return [{str(name) for name in names} for names in getattr(spec, "term_variables", {}).values()]

    @property
    def group_columns(self) -> tuple[str, ...]:
        """Columns of which grouping factors are made."""
        return tuple(dict.fromkeys(name for bar in self.formula.bars for name in bar.group))

    @property
    def variables(self) -> tuple[str, ...]:
        """Columns that the fixed part uses, in the order of the formula."""
        return names_in(self.formula.fixed)

    def code_fixed(self, variables: Mapping) -> np.ndarray:
        """Rows of the fixed part, shape (n, p), from columns of numbers or categoricals."""
        return _matrix(self.formula.fixed, variables, self.specs)[1]

    def code_varying(self, variables: Mapping) -> np.ndarray:
        """Rows of all columns that vary over groups, shape (n, k)."""
        return _varying(self.formula, variables, self.specs)[1]


def names_in(text: str) -> tuple[str, ...]:
    """Names of columns that an expression uses, in order."""
    return tuple(dict.fromkeys(_NAME.findall(re.sub(r"'[^']*'|\"[^\"]*\"", "''", text))))


def code_new(coding: Coding, new: pd.DataFrame, lefts: Sequence[str], asked: str):
    """Rows of new data coded as the old ones.

    Returns
    -------
    x : array, shape (n, p)
    z : dict of left side: array, shape (n, size)
    gap : array, shape (n,)
        Rows with something missing, coded with a stand-in.

    Raises
    ------
    FormulaError
        If a column is missing.
    FitError
        If a level was not in the data.
    """
    names = tuple(dict.fromkeys(name for text in (coding.formula.fixed, *lefts) for name in names_in(text)))
    check_names(names, new, asked)
    variables, gap = {}, np.zeros(len(new), bool)
    for name in names:
        if name not in coding.factors:
            values = pd.to_numeric(new[name], errors="coerce").to_numpy(float, na_value=np.nan)
            words = np.isnan(values) & new[name].notna().to_numpy()
            if words.any():
                label = new[name].to_numpy()[words][0]
                raise FitError(
                    asked,
                    f"column {name!r} holds {label!r}, where the fit had numbers",
                    "Give numbers, or a gap.",
                    column=name,
                )
            gap |= ~np.isfinite(values)
            variables[name] = np.where(np.isfinite(values), values, 1.0)
            continue
        place = {label: i for i, label in enumerate(coding.factors[name])}
        codes = np.array([place.get(label, -1) for label in new[name].tolist()], int)
        missing = new[name].isna().to_numpy()
        if (codes[~missing] < 0).any():
            label = new[name].to_numpy()[~missing][codes[~missing] < 0][0]
            known = ", ".join(map(str, coding.factors[name]))
            raise FitError(asked, f"column {name!r} holds {label!r}, which the fit has not seen", f"Known: {known}.")
        gap |= missing
        variables[name] = pd.Categorical.from_codes(np.maximum(codes, 0), categories=list(coding.factors[name]))
    n = len(new)
    x = np.broadcast_to(coding.code_fixed(variables), (n, len(coding.x_names)))
    z = {
        left: np.broadcast_to(_matrix(left, variables, coding.specs)[1], (n, len(own)))
        for left, (_, own) in ((bar.left, pair) for bar, pair in zip(coding.formula.bars, coding.bars, strict=True))
        if left in lefts
    }
    return x, z, gap


def ones_of(coding: Coding, numbers: Mapping) -> np.ndarray | None:
    """How the columns of the fixed part make a column of ones, whatever the rows; None if they do not."""
    p = len(coding.x_names)
    if coding.intercept is not None:
        return np.eye(p)[coding.intercept]
    x = coding.code_fixed(_example(coding.factors, numbers, 4 * p + 40))
    return ones_in(x)


def code_levels(parsed: Formula, factors: Mapping, numbers: Sequence[str]) -> Coding:
    """Coding that data with these levels get, without the data."""
    return learn_coding(parsed, _example(factors, numbers, 40), f"coding {parsed.text}")[0]


def _example(factors, numbers, n):
    """Made-up rows in which every level occurs and numbers are positive and vary."""
    n = max([n, *(2 * len(levels) for levels in factors.values())])
    draw = np.random.default_rng(0)
    example = {name: draw.uniform(1.0, 2.0, n) for name in numbers}
    for name, levels in factors.items():
        codes = draw.permutation(np.resize(np.arange(len(levels)), n))
        example[name] = pd.Categorical.from_codes(codes, categories=list(levels))
    return example


def ones_in(x):
    """How the columns sum to a column of ones, or None."""
    if not x.shape[1]:
        return None
    found = np.linalg.lstsq(x, np.ones(len(x)), rcond=None)[0]
    return found if np.allclose(x @ found, 1.0, rtol=0, atol=1e-9) else None


def check_names(names, data, asked):
    """Refuse a column that the table does not have, with the nearest name."""
    for name in names:
        if name not in data.columns:
            close = get_close_matches(name, [str(c) for c in data.columns], n=1)
            hint = f"Did you mean {close[0]!r}?" if close else f"Columns: {', '.join(map(str, data.columns))}."
            raise FormulaError(asked, f"the table has no column {name!r}", hint, column=name)
        if not data.columns.is_unique and (data.columns == name).sum() > 1:
            raise FormulaError(
                asked, f"the table has several columns {name!r}", "Rename or drop all but one.", column=name
            )


def learn_coding(parsed, variables, asked):
    """Learn the coding of all parts of a formula, and return it with the coded fixed and varying columns."""
    specs: dict[str, object] = {}
    x_names, x = _matrix(parsed.fixed, variables, specs, asked)
    z_names, z, bars = _varying(parsed, variables, specs, asked)
    factors = {n: tuple(v.categories) for n, v in variables.items() if isinstance(v, pd.Categorical)}
    return Coding(parsed, factors, x_names, z_names, bars, specs), x, z


def _varying(parsed, variables, specs, asked=""):
    """Names and columns of all left sides together, each column once, and the place of each term's columns."""
    names: list[str] = []
    columns, bars = [], []
    for bar in parsed.bars:
        own, matrix = _matrix(bar.left, variables, specs, asked)
        if not own:
            raise FormulaError(asked, f"nothing varies in ({bar.left} | {bar.name})", "Write (1 | g) or (0 + x | g).")
        for name, column in zip(own, matrix.T, strict=True):
            if name not in names:
                names.append(name)
                columns.append(column)
        bars.append((tuple(names.index(name) for name in own), own))
    return tuple(names), np.column_stack(columns), tuple(bars)


def _matrix(text, variables, specs, asked=""):
    """Names and columns of one expression; learns its coding on the first call and keeps to it after."""
    terms = _plain(text, variables)
    if terms is None:
        names, matrix, specs[text] = evaluate(text, variables, specs.get(text), asked)
        return names, matrix
    specs[text] = tuple(terms)
    n = len(next(iter(variables.values()))) if variables else 1
    names, columns = [], []
    for term in terms:
        found = [("", None)]
        for name in term:
            own = _treatment(name, variables[name])
            # The first factor of a product changes quickest, as in formulaic.
            found = [(f"{a}:{b}" if a else b, c if d is None else c * d) for b, c in own for a, d in found]
        names += [name or "Intercept" for name, _ in found]
        columns += [np.ones(n) if column is None else column for _, column in found]
    return tuple(names), np.column_stack(columns) if columns else np.zeros((n, 0))


def _treatment(name, column):
    """Names and columns of one variable: itself, or each level of words after the first."""
    if isinstance(column, np.ndarray):
        return [(name, column)]
    levels, codes = column.categories, np.asarray(column.codes)
    return [(f"{name}[T.{level}]", (codes == i) * 1.0) for i, level in enumerate(levels[1:], 1)]


def _plain(text, variables):
    """Terms of a sum of products of plain columns, each a tuple of names, or None for what formulaic must read.

    Formulaic takes milliseconds for what takes microseconds. Words are coded against their first level wherever the
    model holds the same term without them; elsewhere the coding is its business.
    """
    intercept, terms = True, []
    for sign, part in split_sum(text):
        if part in ("0", "1"):
            intercept = (part == "1") == (sign == "+")
            continue
        if sign == "-":
            return None
        product: list[tuple[str, ...]] = []
        for whole in part.split("*"):
            names = tuple(name.strip() for name in whole.split(":"))
            if len(set(names)) < len(names) or not all(name.isidentifier() and name in variables for name in names):
                return None
            if {name for term in product for name in term} & set(names):
                return None
            product += [names, *(term + names for term in product)]
        for term in product:
            if not any(set(term) == set(other) for other in terms):
                terms.append(term)
    terms = sorted([()] * intercept + terms, key=len)
    known = {frozenset(term) for term in terms}
    words = [(term, n) for term in terms for n in term if not isinstance(variables[n], np.ndarray)]
    if not all(frozenset(term) - {name} in known for term, name in words):
        return None
    return terms


def evaluate(text, variables, spec, asked):
    """Names, columns and coding of an expression by formulaic; with a coding given, new rows by it."""
    import formulaic  # half a second, which sums of products of plain columns do not need
    from formulaic.errors import FormulaicError

    frame = pd.DataFrame(dict(variables))
    try:
        with np.errstate(all="ignore"):  # what is no number is looked for afterwards, by name
            if spec is None:
                matrix = formulaic.model_matrix(text, frame, context={}, output="numpy", na_action="ignore")
            else:
                matrix = spec.get_model_matrix(frame)
    except FormulaicError as err:
        reason = re.sub(r"\x1b\[[0-9;]*m|[⧛⧚]", "", str(err)).split("\n")[0]
        raise FormulaError(
            asked, f"{text!r} cannot be evaluated: {reason}", "Check names and functions in it."
        ) from err
    return tuple(matrix.model_spec.column_names), np.asarray(matrix, float), matrix.model_spec
