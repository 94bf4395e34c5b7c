"""One formula for plain numbers and for arrays, and the shape that arguments may have.

A single flight in NumPy would spend its time on calls, not on numbers: `PLAIN` lets the same formulas run on floats.
"""

import math
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from coachlab.errors import FlightError

Number = float | np.ndarray
"""What a value may be after it was checked: a number, or an array of shape (n,)."""


class Ops(NamedTuple):
    """The functions that a formula needs, for one kind of number."""

    sqrt: Callable[..., Any]
    exp: Callable[..., Any]
    log1p: Callable[..., Any]
    sin: Callable[..., Any]
    minimum: Callable[..., Any]
    maximum: Callable[..., Any]


PLAIN = Ops(math.sqrt, math.exp, math.log1p, math.sin, min, max)
ARRAY = Ops(np.sqrt, np.exp, np.log1p, np.sin, np.minimum, np.maximum)


def said(value: object) -> str:
    """Return a value as a person would write it, without the name of its type: for an error's text.

    >>> said(np.int64(3)), said("spoon"), said(np.array([1.5, 2.5]))
    ('3', "'spoon'", '[1.5, 2.5]')
    """
    text = " ".join(repr(_plainly(value)).split())
    return text if len(text) <= 60 else f"{text[:57]}..."


def _plainly(value: Any) -> Any:
    if type(value) in (list, tuple):
        return type(value)(_plainly(each) for each in value)
    as_list = getattr(value, "tolist", None)  # NumPy's and pandas' kinds have it
    return as_list() if callable(as_list) else value


def must_be(kind: type, value: object, asked: str) -> None:
    """Refuse a value that is not of the kind made for it, as a `Launch`."""
    if not isinstance(value, kind):
        raise FlightError(asked, f"{said(value)} was given.", f"Give a {kind.__name__}.", kind=kind.__name__)


def as_numbers(asked: str, values: Mapping[str, ArrayLike]) -> dict[str, Number]:
    """Return each value as a float or a read-only copy of shape (n,), all arrays of one length.

    Raises
    ------
    FlightError
        Naming the value that is no number, has more than one dimension, or another length than the others.
    """
    found: dict[str, Number] = {}
    length, first = None, ""
    for name, value in values.items():
        try:
            array = np.array(value, dtype=float)
        except (TypeError, ValueError, OverflowError) as err:
            raise FlightError(
                asked, f"{name} is {said(value)}, no number.", "Give a number, or an array of numbers.", argument=name
            ) from err
        if array.ndim > 1:
            raise FlightError(
                asked, f"{name} has the shape {array.shape}.", "Give a number, or one row of numbers.", argument=name
            )
        if array.ndim == 1:
            if length not in (None, len(array)):
                raise FlightError(
                    asked,
                    f"{name} has {len(array)} values, {first} has {length}.",
                    "Give arrays of one length; a single number goes with any of them.",
                    argument=name,
                )
            length, first = len(array), name
            array.setflags(write=False)
        found[name] = array if array.ndim else float(array)
    return found


def length_of(*values: Number) -> int | None:
    """Return the common length of the arrays among some values, or None where all are plain numbers."""
    return common_length(*(len(value) for value in values if isinstance(value, np.ndarray)))


def common_length(*lengths: int | None) -> int | None:
    """Return the one length among some, None standing for plain numbers; a `FlightError` where there are two."""
    different = {length for length in lengths if length is not None}
    if len(different) > 1:
        raise FlightError(
            "Values of several shots were put together.",
            f"They are for {' and '.join(map(str, sorted(different)))} shots.",
            "Give arrays of one length; a single number goes with any of them.",
        )
    return different.pop() if different else None


def count_of(length: int | None) -> int:
    """Return how many shots a length stands for: one where all are plain numbers."""
    return 1 if length is None else length


def first_reason(values: Mapping[str, Number], broken: Callable[..., Mapping[str, np.ndarray]]) -> np.ndarray:
    """Return for each shot the first rule that it breaks, empty where it breaks none.

    `broken` takes all values by name, as arrays of one length, and returns where each rule, a sentence, is broken.
    """
    n = count_of(length_of(*values.values()))
    reason = np.full(n, "", dtype=object)
    with np.errstate(invalid="ignore"):
        for sentence, where in broken(**{name: np.broadcast_to(value, n) for name, value in values.items()}).items():
            reason[(reason == "") & where] = sentence
    return reason


def refuse(asked: str, values: Mapping[str, Number], reason: np.ndarray, do: str) -> None:
    """Raise a `FlightError` for the first shot with a reason; do nothing where there is none."""
    bad = np.flatnonzero(reason != "")
    if not len(bad):
        return
    where = int(bad[0])
    single = length_of(*values.values()) is None
    shown = ", ".join(f"{name} {np.broadcast_to(value, len(reason))[where]:g}" for name, value in values.items())
    at = "" if single else f"Shot {where} (counted from 0; {len(bad)} of {len(reason)} such shots): "
    raise FlightError(asked, f"{at}{reason[where]}. It has {shown}.", do, row=where, reason=str(reason[where]))


def plain(values: np.ndarray, length: int | None) -> Number:
    """Return an array as it is, or its one value as a float where only numbers were given."""
    return values if length is not None else float(values[0])
