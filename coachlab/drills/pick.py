"""How a variant draws its numbers: round ones, so that they can be said and set on the page."""

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from coachlab.drills.worlds import usual
from coachlab.units import MPH_MPS

_Any = TypeVar("_Any")


def pick(rng: np.random.Generator, low: float, high: float, step: float = 0.5) -> float:
    """Return a number from low to high in steps.

    >>> pick(np.random.default_rng(0), 2.0, 2.0)
    2.0
    """
    return round(low + step * int(rng.integers(round((high - low) / step) + 1)), 6)


def sign(rng: np.random.Generator) -> int:
    """Return 1 or -1."""
    return int(rng.choice((-1, 1)))


def one_of(rng: np.random.Generator, things: Sequence[_Any]) -> _Any:
    """Return one of several things."""
    return things[int(rng.integers(len(things)))]


def head_speed(rng: np.random.Generator, club: str) -> float:
    """Return a head speed in m/s, whole mph, within a tenth of a mid-handicap adult's with this club."""
    own = float(usual(club)["club_speed_mps"]) / MPH_MPS
    return pick(rng, round(0.9 * own), round(1.1 * own), 1.0) * MPH_MPS
