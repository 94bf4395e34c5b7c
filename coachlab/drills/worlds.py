"""What may be true of ball, face and arc: every answer is computed under all of it, and must be right under all.

Four published models of how a ball drags and lifts, the grips of the face that cannot be excluded, and a player's own
incline of the arc. A world is one choice of each; the first is the default model's.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from coachlab.academy.assumptions import Assumptions
from coachlab.physics.aero import ENSEMBLE
from coachlab.physics.air import Air
from coachlab.physics.arc import ARCS
from coachlab.physics.flight import fly
from coachlab.physics.impact import HEADS, Delivery, strike
from coachlab.physics.launch import Launch
from coachlab.schema import CLUBS

Controls = dict[str, float | str]
"""A delivery and its air by the names of the flight page's controls; SI, degrees, player frame."""

WIDEST_GRIP = (-0.3, 0.1)
"""Tangential restitution that cannot be excluded for any head; a head's own span is added to it."""

INCLINE_BAND_DEG = 3.0
"""How far a player's incline may lie from the typical one: that of `worth.arc`, as a test compares; to import it would
load the distributions of SciPy, half of the wait for the first question."""

_DELIVERY = (
    "club_speed_mps", "attack_up_deg", "path_out_deg", "face_open_deg", "delivered_loft_deg", "strike_toe_mm",
    "strike_high_mm",
)  # fmt: skip
_AIR = ("temperature_c", "altitude_m", "tail_mps", "cross_mps")
_LAUNCH = ("ball_speed_mps", "launch_up_deg", "launch_out_deg", "spin_rpm", "spin_tilt_deg")
_FLIGHT = ("carry_m", "side_m", "peak_m")

_FLOWN: dict[tuple, np.ndarray] = {}
_MOST_FLOWN = 2000
"""How many balls are remembered; a question flies a few dozen."""


@dataclass(frozen=True)
class Worlds:
    """Which models an answer is computed under.

    ``grips`` is how many values of the tangential restitution are tried, the head's own first; ``coarse`` flies in long
    steps, whose carry lies within 0.05 yd.
    """

    aeros: tuple[str, ...] = ENSEMBLE
    grips: int = 3
    incline_band_deg: float = INCLINE_BAND_DEG
    coarse: bool = True

    def grips_of(self, head: str) -> np.ndarray:
        """Return the tangential restitutions of a head, its own first, then evenly over what cannot be excluded."""
        low, high = HEADS[head].e_t_span
        ends = min(low, WIDEST_GRIP[0]), max(high, WIDEST_GRIP[1])
        return np.array([HEADS[head].e_t, *np.linspace(*ends, self.grips - 1)])

    def inclines_of(self, head: str) -> np.ndarray:
        """Return the inclines of a head's arc, the typical one first, then the ends of the band."""
        return ARCS[head].incline_deg + self.incline_band_deg * np.array([0.0, -1.0, 1.0])


PLAIN = Worlds(aeros=ENSEMBLE[:1])
"""The default model of flight: for the numbers that a question says, and for a first look at a draw."""


def usual(club: str, **changes: float | str) -> Controls:
    """Return a club as a mid-handicap adult swings it, straight at the target in still air, with some controls changed.

    >>> usual("driver", face_open_deg=2.0)["delivered_loft_deg"]
    14.0
    """
    mine = Assumptions().heads[CLUBS[club]]
    straight = dict.fromkeys(("path_out_deg", "face_open_deg", "strike_toe_mm", "strike_high_mm"), 0.0)
    return {
        "club": club,
        "club_speed_mps": float(mine.speed_men),
        "attack_up_deg": mine.attack,
        "delivered_loft_deg": mine.loft,
        **straight,
        "temperature_c": 20.0,
        "altitude_m": 0.0,
        "tail_mps": 0.0,
        "cross_mps": 0.0,
        **changes,
    }


def started(shots: Sequence[Controls], worlds: Worlds) -> dict[str, np.ndarray]:
    """Return how the balls of k deliveries leave the face, each measure of shape (k, grips)."""
    found = {name: np.empty((len(shots), worlds.grips)) for name in _LAUNCH}
    for head, at in _by_head(shots).items():
        launch = _struck([shots[each] for each in at], head, worlds)
        for name, values in found.items():
            values[at] = np.reshape(getattr(launch, name), (len(at), worlds.grips))
    return found


def flown(shots: Sequence[Controls], worlds: Worlds) -> dict[str, np.ndarray]:
    """Return how the balls of k deliveries leave and fly, each measure of shape (k, aeros x grips).

    Beside the measures of launch and flight: ``curve_m``, how far to the right of its first direction a ball lands.
    A ball that was flown before is not flown again: a question says numbers of the flights that made its answer.
    """
    keys = [tuple(sorted(each.items())) for each in shots]
    rows = []
    for aero in worlds.aeros:
        asked = [(key, aero, worlds.grips, worlds.coarse) for key in keys]
        new = {each: shot for each, shot in zip(asked, shots, strict=True) if each not in _FLOWN}
        if len(_FLOWN) > _MOST_FLOWN:
            _FLOWN.clear()
            new = dict(zip(asked, shots, strict=True))
        for head, at in _by_head(list(new.values())).items():
            mine = [list(new)[each] for each in at]
            _FLOWN.update(zip(mine, _fly([new[each] for each in mine], head, aero, worlds), strict=True))
        rows.append(np.array([_FLOWN[each] for each in asked]))
    measures = np.concatenate(rows, axis=2)  # shot, measure, world
    found = {name: measures[:, at] for at, name in enumerate((*_LAUNCH, *_FLIGHT))}
    downrange = np.sqrt(np.maximum(found["carry_m"] ** 2 - found["side_m"] ** 2, 0.0))
    return found | {"curve_m": found["side_m"] - downrange * np.tan(np.radians(found["launch_out_deg"]))}


def crossing(at: np.ndarray, values: np.ndarray, wanted: float | np.ndarray) -> np.ndarray:
    """Return where values, known at a few places and rising or falling, take a wanted value: shape (worlds,).

    `at` has shape (k,), `values` (k, worlds). The places are joined by a polynomial of order k - 1, which is solved by
    bisection; missing where it does not reach the value between the ends.
    """
    wanted = np.broadcast_to(wanted, values.shape[1])
    roots = []
    for column, goal in zip(values.T, wanted, strict=True):
        line = np.polynomial.Polynomial.fit(at, column - goal, len(at) - 1)
        low, high = float(at.min()), float(at.max())
        rising = line(high) > line(low)
        if line(low) * line(high) > 0:
            roots.append(np.nan)
            continue
        for _ in range(40):
            middle = (low + high) / 2
            low, high = (low, middle) if (line(middle) > 0) == rising else (middle, high)
        roots.append((low + high) / 2)
    return np.array(roots)


def states(clearly_right: np.ndarray, clearly_wrong: np.ndarray) -> np.ndarray:
    """Return 1 where right beyond doubt, -1 where wrong beyond doubt, 0 between."""
    return np.asarray(clearly_right, int) - np.asarray(clearly_wrong, int)


def _fly(shots: Sequence[Controls], head: str, aero: str, worlds: Worlds) -> np.ndarray:
    """Return the measures of launch and flight of deliveries with one head, shape (k, measures, grips)."""
    launch = _struck(shots, head, worlds)
    temperature, altitude, tail, cross = (
        np.repeat([float(each[name]) for each in shots], worlds.grips) for name in _AIR
    )
    flight = fly(launch, Air(temperature, altitude, tail_mps=tail, cross_mps=cross), aero, worlds.coarse)
    values = [getattr(launch, name) for name in _LAUNCH] + [getattr(flight, name) for name in _FLIGHT]
    return np.reshape(np.array(values, float), (len(values), len(shots), worlds.grips)).transpose(1, 0, 2)


def _struck(shots: Sequence[Controls], head: str, worlds: Worlds) -> Launch:
    delivery = Delivery(**{name: np.repeat([float(each[name]) for each in shots], worlds.grips) for name in _DELIVERY})
    return strike(delivery, head, np.tile(worlds.grips_of(head), len(shots)))


def _by_head(shots: Sequence[Mapping]) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for place, each in enumerate(shots):
        found.setdefault(CLUBS[str(each["club"])], []).append(place)
    return found
