"""A table that was handed over as it is, each of our columns brought into the one kind that its name asks for."""

import numbers
from decimal import Decimal

import numpy as np
import pandas as pd
import pyarrow as pa

from coachlab.errors import DataError
from coachlab.intake.cells import Cells
from coachlab.intake.times import read_times, read_truths
from coachlab.schema import COLUMNS, check

_COUNTED = ("shots_logged", "shots_missing")
_USUAL = {"read_ok": True, "excluded": False}
_ASKED = "A table was taken for shots."


def plain_table(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table in our own names with numbers, times, flags and labels as the reader of files makes them.

    Parameters
    ----------
    table : DataFrame
        Not changed; columns of other names are left alone.

    Returns
    -------
    DataFrame
        Rows counted from 0. Times without their zone: the device's own clock. A blank ``read_ok`` or ``excluded`` is
        what it is without the column.

    Raises
    ------
    DataError
        If a column stands there twice or under a heading in levels, or a cell is no number, flag or row where one is
        due.
    """
    check_headings(table, _ASKED)
    table = table.set_axis(table.columns.astype("object"), axis=1).reset_index(drop=True)
    kinds = {name: COLUMNS[name].kind for name in table.columns if isinstance(name, str) and name in COLUMNS}
    kinds |= {name: "count" for name in _COUNTED if name in table}
    counted = [name for name, kind in kinds.items() if kind in ("number", "count")]
    table = table.assign(**{name: _plain_numbers(table[name]) for name in counted})
    check("shots", table, where="The table")
    read = {"number": _as_numbers, "count": _as_numbers, "flag": _as_flags, "time": _as_times, "day": _as_times}
    return table.assign(**{name: read.get(kind, _as_labels)(table[name]) for name, kind in kinds.items()})


def check_headings(table: pd.DataFrame, asked: str) -> None:
    """Refuse a table in which a column stands twice, or under a heading in levels."""
    twice = dict.fromkeys(map(str, table.columns[table.columns.duplicated()]))
    if table.columns.nlevels > 1 or twice:
        found = f"Twice: {', '.join(twice)}." if twice else "Its headings have several levels."
        raise DataError(asked, found, "Let each column stand once, under one plain name.")


def _plain_numbers(values: pd.Series) -> pd.Series:
    """Return a column whose numbers are floats, and whose other cells are texts or missing."""
    if isinstance(values.dtype, np.dtype) and values.dtype.kind in "iuf":
        return values.astype(float) if values.dtype.itemsize < 4 else values
    if pd.api.types.is_any_real_numeric_dtype(values) or pd.api.types.is_bool_dtype(values):
        return pd.Series(values.to_numpy(dtype=float, na_value=np.nan), index=values.index)
    return pd.Series([_plain_number(value) for value in values], index=values.index, dtype="object")


def _plain_number(value: object) -> object:
    if _is_missing(value):
        return None
    if isinstance(value, numbers.Real | Decimal | np.bool_):
        try:
            return float(value)
        except (OverflowError, ValueError):
            return np.inf
    return _text(value)


def _as_numbers(values: pd.Series) -> pd.Series:
    found = values if values.dtype != "object" else pd.to_numeric(values, errors="coerce").astype(float)
    if values.name == "source_row":
        whole = (found == found.round()) & (found.abs() < 2**53)
        _refuse(values, ~whole, "is no row of a file")
        return found.astype("int64")
    return found


def _as_flags(values: pd.Series) -> pd.Series:
    if isinstance(values.dtype, np.dtype) and values.dtype.kind == "b":
        return values
    truths, odd = read_truths(_as_labels(values))
    _refuse(values, odd, "is neither yes nor no")
    usual = _USUAL.get(str(values.name))
    return truths if usual is None else truths.fillna(usual).astype(bool)


def _as_times(values: pd.Series) -> pd.Series:
    if isinstance(values.dtype, pd.DatetimeTZDtype):
        values = values.dt.tz_localize(None)
    if values.dtype.kind == "M":
        return values.astype("M8[us]")
    texts = [_text(value) or "" for value in values]
    return pd.Series(read_times(Cells(pa.array(texts, pa.string())))[0], index=values.index)


def _as_labels(values: pd.Series) -> pd.Series:
    of = values.cat.categories.dtype if isinstance(values.dtype, pd.CategoricalDtype) else values.dtype
    if isinstance(of, pd.StringDtype) and of.na_value is np.nan:
        return values
    return pd.Series([_text(value) for value in values], index=values.index, dtype="str")


def _text(value: object) -> str | None:
    """Return a value as a text that can be written (half a sign cannot), or None where it is missing."""
    if isinstance(value, pd.Timestamp):
        value = value.tz_localize(None).to_datetime64()  # which can be written in any year
    return None if _is_missing(value) else str(value).encode("utf-8", "replace").decode()


def _is_missing(value: object) -> bool:
    return value is None or value is pd.NA or value is pd.NaT or (isinstance(value, float) and value != value)


def _refuse(values: pd.Series, bad: pd.Series, what: str) -> None:
    if bad.any():
        row = int(bad.to_numpy().argmax())
        raise DataError(
            _ASKED,
            f"Row {row}, column {values.name}: {values.iloc[row]!r:.60} {what} ({int(bad.sum())} such rows).",
            "Correct that cell.",
            column=values.name,
            row=row,
        )
