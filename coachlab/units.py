"""Units: which suffix means which unit, how to convert, and how to show a number in yards or metres.

Inside the package every value stands in the unit of its column's suffix. Conversion happens at the two
edges only: when a file is read, and when a number is shown.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from coachlab.errors import DataError

SUFFIXES: dict[str, str] = {
    "_mps": "m/s",
    "_m": "m",
    "_mm": "mm",
    "_deg": "°",
    "_rpm": "rpm",
    "_s": "s",
    "_c": "°C",
    "_pa": "Pa",
    "_0_10": "0-10",
    "_day": "day",
    "_at": "time",
    "_ratio": "ratio",
    "_prob": "probability",
}
"""Every suffix that a column name may end in; a column without one is declared a label in `schema`."""

YARD_M = 0.9144
FOOT_M = 0.3048
MPH_MPS = 0.44704

_FACTORS: dict[str, tuple[str, float]] = {
    # unit as written in a column map -> (what it measures, factor to our own unit of that measure)
    "mps": ("speed", 1.0),
    "kmh": ("speed", 1 / 3.6),
    "mph": ("speed", MPH_MPS),
    "m": ("length", 1.0),
    "cm": ("length", 0.01),
    "mm": ("length", 0.001),
    "yd": ("length", YARD_M),
    "ft": ("length", FOOT_M),
    "in": ("length", 0.0254),
    "deg": ("angle", 1.0),
    "rpm": ("spin", 1.0),
    "s": ("time", 1.0),
    "%": ("share", 0.01),
    "pa": ("pressure", 1.0),
    "hpa": ("pressure", 100.0),
    "c": ("temperature", 1.0),
}

_SPELLINGS: dict[str, str] = {
    "m/s": "mps",
    "m s-1": "mps",
    "ms-1": "mps",
    "km/h": "kmh",
    "kph": "kmh",
    "kmph": "kmh",
    "km/hr": "kmh",
    "mi/h": "mph",
    "mi/hr": "mph",
    "miles/h": "mph",
    "miles/hour": "mph",
    "m.p.h": "mph",
    "m/sec": "mps",
    "meters/second": "mps",
    "metres/second": "mps",
    "yds": "yd",
    "yard": "yd",
    "yards": "yd",
    "yrd": "yd",
    "yrds": "yd",
    "feet": "ft",
    "foot": "ft",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "″": "in",
    "”": "in",
    "centimeters": "cm",
    "centimetres": "cm",
    "millimeters": "mm",
    "millimetres": "mm",
    "meter": "m",
    "meters": "m",
    "metre": "m",
    "metres": "m",
    "°": "deg",
    "º": "deg",
    "degree": "deg",
    "degrees": "deg",
    "degs": "deg",
    "grad": "deg",
    "r/min": "rpm",
    "1/min": "rpm",
    "min-1": "rpm",
    "rev/min": "rpm",
    "revs/min": "rpm",
    "u/min": "rpm",
    "tr/min": "rpm",
    "/min": "rpm",
    "r.p.m": "rpm",
    "sec": "s",
    "secs": "s",
    "second": "s",
    "seconds": "s",
    "percent": "%",
    "°c": "c",
}

_MEASURE_OF_SUFFIX: dict[str, tuple[str, float]] = {
    # our suffix -> (what it measures, factor from our unit to the unit of _FACTORS)
    "_mps": ("speed", 1.0),
    "_m": ("length", 1.0),
    "_mm": ("length", 0.001),
    "_deg": ("angle", 1.0),
    "_rpm": ("spin", 1.0),
    "_s": ("time", 1.0),
    "_pa": ("pressure", 1.0),
    "_c": ("temperature", 1.0),
}


def read_unit(text: str) -> str | None:
    """Return the one spelling used here of a unit as people write it, or None if it is no unit.

    >>> read_unit("km/h"), read_unit(" Yards "), read_unit("furlong")
    ('kmh', 'yd', None)
    """
    plain = re.sub(r"\s+", " ", str(text)).strip().strip("[](){}<>（）").strip().lower()
    plain = plain.rstrip(".").replace(" per ", "/").replace(" / ", "/")
    plain = _SPELLINGS.get(plain, plain)
    return plain if plain in _FACTORS else None


def suffix_of(column: str) -> str | None:
    """Return the unit suffix in which a column's name ends, or None for a label.

    >>> suffix_of("carry_m"), suffix_of("strike_toe_mm"), suffix_of("club")
    ('_m', '_mm', None)
    """
    fitting = [suffix for suffix in SUFFIXES if column.endswith(suffix)]
    return max(fitting, key=len) if fitting else None


def units_for(column: str) -> list[str]:
    """Return the units that a column's values may be written in; empty for a label or a bare number."""
    measure = _MEASURE_OF_SUFFIX.get(suffix_of(column) or "")
    if measure is None:
        return ["%"] if column == "humidity" else []
    return [unit for unit, (what, _) in _FACTORS.items() if what == measure[0]]


def factor_to_column(unit: str, column: str) -> float:
    """Return the number by which a value in `unit` is multiplied to stand in `column`'s own unit.

    Raises
    ------
    DataError
        If the unit is unknown, or measures something else than the column.

    >>> round(factor_to_column("mph", "club_speed_mps"), 5), factor_to_column("cm", "strike_toe_mm")
    (0.44704, 10.0)
    """
    known = read_unit(unit)
    allowed = units_for(column)
    if known is None or known not in allowed:
        raise DataError(
            f"The unit of {column} was given as {unit!r}.",
            f"{column} can be read from: {', '.join(allowed) or 'a bare number only'}.",
            "Write one of these as its unit.",
            column=column,
            unit=unit,
        )
    if suffix_of(column) is None:
        return _FACTORS[known][1]
    return _FACTORS[known][1] / _MEASURE_OF_SUFFIX[suffix_of(column) or ""][1]


@dataclass(frozen=True)
class Shown:
    """How a column's values are shown: ``value * factor`` in ``unit``, with ``digits`` decimals."""

    unit: str
    factor: float = 1.0
    digits: int = 1

    def text(self, value: float, sign: bool = False) -> str:
        """Return a value with its unit, as in ``1.4°`` or ``+12 yd``; a missing one is an en dash.

        >>> Shown("yd", 1 / 0.9144, 0).text(9.144, sign=True)
        '+10 yd'
        """
        number = self.number(value, sign)
        if number == "–":
            return number
        return number + ("" if self.unit == "°" else " ") + self.unit

    def number(self, value: float, sign: bool = False) -> str:
        """Return the number alone, rounded, with a true minus sign, and never a negative zero."""
        if value is None or not np.isfinite(value):
            return "–"
        rounded = round(float(value) * self.factor, self.digits) + 0.0
        return f"{rounded:{'+' if sign and rounded else ''}.{self.digits}f}".replace("-", "−")

    def span(self, low: float, high: float, sign: bool = False) -> str:
        """Return two ends with one unit; with a digit more, or as one number, where they would read alike.

        >>> Shown("yd", 1.0).span(1.2, 2.0), Shown("yd", 1.0).span(2.02, 2.04), Shown("yd", 1.0).span(2, 2)
        ('1.2 to 2.0 yd', '2.02 to 2.04 yd', '2.0 yd')
        """
        finer = Shown(self.unit, self.factor, self.digits + 1)
        for unit in (self, finer):
            if unit.number(low, sign) != unit.number(high, sign):
                return f"{unit.number(low, sign)} to {unit.text(high, sign)}"
        return self.text(high, sign)


def shown(column: str, system: str = "yards") -> Shown:
    """Return how a column is shown in a unit system, ``"yards"`` (yards, mph, feet for height) or ``"metres"``.

    >>> shown("club_speed_mps").text(40.2336)
    '90.0 mph'
    """
    if system not in ("yards", "metres"):
        raise DataError(f"Units were asked for as {system!r}.", "Known are yards and metres.", "Choose one of the two.")
    yards = system == "yards"
    suffix = suffix_of(column)
    table: dict[str | None, Callable[[], Shown]] = {
        "_mps": lambda: Shown("mph", 1 / MPH_MPS, 1) if yards else Shown("m/s", 1.0, 1),
        "_m": lambda: Shown("yd", 1 / YARD_M, 1) if yards else Shown("m", 1.0, 1),
        "_mm": lambda: Shown("mm", 1.0, 0),
        "_deg": lambda: Shown("°", 1.0, 1),
        "_rpm": lambda: Shown("rpm", 1.0, 0),
        "_s": lambda: Shown("s", 1.0, 1),
        "_c": lambda: Shown("°C", 1.0, 0),
        "_pa": lambda: Shown("hPa", 0.01, 0),
    }
    return table[suffix]() if suffix in table else Shown("", 1.0, 2)
