"""Many deliveries in, where the ball lands out; what the student's loft does; how a student's shots scatter."""

from collections.abc import Mapping, Sequence

import numpy as np
from scipy import special
from scipy.stats import qmc

from coachlab.academy.assumptions import Assumptions
from coachlab.errors import DataError, FlightError
from coachlab.intake.clubs import club_hint
from coachlab.physics.air import Air
from coachlab.physics.arc import ARCS
from coachlab.physics.flight import fly
from coachlab.physics.impact import Delivery, check_delivery, head_of, impulse_of
from coachlab.physics.launch import forward_spin, launch_from
from coachlab.physics.ops import said
from coachlab.schema import CLUBS

NAMES = (
    "club_speed_mps", "attack_up_deg", "path_out_deg", "face_open_deg", "delivered_loft_deg", "strike_toe_mm",
    "strike_high_mm",
)  # fmt: skip
"""The seven numbers of a delivery, in the order of the arrays here."""

SPEED, ATTACK, PATH, FACE, LOFT, TOE, HIGH = range(7)

LOFTS: Mapping[str, str] = {
    "refitted": "the loft refitted to each delivery",
    "held": "the delivered loft held",
    "rises": "the delivered loft rising with the attack, degree for degree",
    "measured": "the delivered loft as it was measured",
}
"""What loft may do while the attack changes, and how it is said."""

_LARGEST = 1e4  # of degrees, m/s, mm and m
_SPIN_LOFTS = np.arange(3.0, 34.0, 2.0)
_SHOTS = 128


def head_of_club(club: str) -> str:
    """Return the kind of head of a club; a `DataError` where there is no such club."""
    if not isinstance(club, str) or club not in CLUBS:
        raise DataError(
            f"The worth of a shift with {said(club)} was asked for.",
            f"There is no club {said(club)}{club_hint(club)}.",
            "Use a club of the one vocabulary, as driver, iron-7, wedge-54.",
            column="club",
        )
    return CLUBS[club]


def number(asked: str, name: str, value: object) -> float:
    """Return a value as a float; a `DataError` where it is no number that a delivery could have."""
    try:
        found = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        found = np.nan
    if not abs(found) <= _LARGEST:
        raise DataError(asked, f"{name} is {said(value)}.", "Give a number.", argument=name)
    return found


def own_delivery(delivery: Delivery, asked: str) -> np.ndarray:
    """Return a student's own mean delivery as an array in the order of `NAMES`; refuse one of many shots."""
    if not isinstance(delivery, Delivery):
        raise FlightError(asked, f"The delivery is {said(delivery)}.", "Give a Delivery, the student's own mean.")
    if delivery.length is not None:
        raise FlightError(
            asked,
            f"The delivery is that of {delivery.length} shots.",
            "Give the student's own mean delivery with this club.",
        )
    return np.array([getattr(delivery, name) for name in NAMES])


def land(
    cases: Sequence[tuple[np.ndarray, str, float]], head: str, air: Air, aero: str
) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Return carry, side (m) and loft (degrees) of several sets of deliveries, all flown at once.

    Each set is deliveries of shape (7, ...), what loft does, and e_t. A delivery that cannot be flown has NaN.
    """
    grids = [_with_lofts(deliveries) for deliveries, loft, _ in cases if loft == "refitted"]
    e_ts = [e_t for _, loft, e_t in cases if loft == "refitted"]
    refitted = iter([_refit(*each) for each in zip(grids, _fly(grids, e_ts, head, air, aero), strict=True)])
    sets = [next(refitted) if loft == "refitted" else deliveries for deliveries, loft, _ in cases]
    landed = _fly(sets, [e_t for _, _, e_t in cases], head, air, aero)
    return [(carry, side, each[LOFT]) for each, (carry, side) in zip(sets, landed, strict=True)]


def _fly(
    sets: Sequence[np.ndarray], e_ts: Sequence[float], head: str, air: Air, aero: str
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return carry and side of sets of deliveries of shape (7, ...), each set with its own e_t."""
    if not sets:
        return []
    sizes = [each[0].size for each in sets]
    flat, e_t = np.concatenate([each.reshape(7, -1) for each in sets], axis=1), np.repeat(e_ts, sizes)
    landed = np.full((2, flat.shape[1]), np.nan)
    can = np.flatnonzero(check_delivery(*flat) == "")
    asked = "The worth of a shift was asked for."
    velocity, spin, _ = impulse_of(Delivery(*flat[:, can]), head_of(head, asked), e_t[can], asked)
    flies = ~forward_spin(velocity, spin / np.maximum(np.linalg.norm(spin, axis=0), 1e-9))
    flight = fly(launch_from(velocity[:, flies], spin[:, flies], asked), air, aero)
    landed[:, can[flies]] = flight.carry_m, flight.side_m
    ends = np.split(landed, np.cumsum(sizes)[:-1], axis=1)
    return [
        (carry.reshape(each.shape[1:]), side.reshape(each.shape[1:]))
        for each, (carry, side) in zip(sets, ends, strict=True)
    ]


def _with_lofts(deliveries: np.ndarray) -> np.ndarray:
    """Return deliveries (7, ...) with each loft that may fit them, shape (7, lofts, ...)."""
    grid = np.repeat(deliveries[:, None], len(_SPIN_LOFTS), axis=1)
    grid[LOFT] = deliveries[ATTACK] + _SPIN_LOFTS.reshape(-1, *(1,) * (deliveries.ndim - 1))
    return grid


def _refit(grid: np.ndarray, landed: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Return the deliveries with the loft of most carry: the top of a parabola through the best three of the grid.

    The top is flat: what this misses of the loft costs under a twentieth of a yard, with a model that has corners
    (`patent`) under a quarter.
    """
    carry, _ = landed
    best = np.clip(np.nanargmax(carry, axis=0), 1, len(_SPIN_LOFTS) - 2)
    below, top, above = (np.take_along_axis(carry, (best + step)[None], axis=0)[0] for step in (-1, 0, 1))
    bend = below - 2 * top + above
    off = np.clip(np.where(bend < 0, 0.5 * (below - above) / np.where(bend < 0, bend, 1.0), 0.0), -1.0, 1.0)
    fitted = grid[:, 0].copy()
    fitted[LOFT] = grid[ATTACK, 0] + _SPIN_LOFTS[best] + off * (_SPIN_LOFTS[1] - _SPIN_LOFTS[0])
    return fitted


def usual_spread(head: str) -> dict[str, float]:
    """Return the shot-to-shot SDs that a mid-handicap adult is assumed to have, by the delivery's names."""
    usual = Assumptions().heads[head]
    slope = 1 / np.tan(np.radians(ARCS[head].incline_deg))
    return {
        "club_speed_mps": usual.speed_within * usual.speed_men,
        "attack_up_deg": usual.attack_within,
        "path_out_deg": float(np.hypot(usual.azimuth_within, slope * usual.attack_within)),
        "face_open_deg": usual.face_within,
        "delivered_loft_deg": 0.0,
        "strike_toe_mm": usual.strike_toe,
        "strike_high_mm": usual.strike_high,
    }


def scatter(head: str, shot_sd: Mapping[str, float]) -> np.ndarray:
    """Return deviations of a student's shots from the mean delivery, shape (7, shots): spread evenly, always the same.

    Path follows attack as on the head's usual arc, and face follows path.
    """
    even = qmc.Sobol(7, scramble=True, rng=np.random.default_rng(7)).random(_SHOTS)
    z = special.ndtri(even).T
    z = (z - z.mean(axis=1, keepdims=True)) / z.std(axis=1, keepdims=True)
    sd = np.array([shot_sd.get(name, 0.0) for name in NAMES])
    slope = 1 / np.tan(np.radians(ARCS[head].incline_deg))
    r_path = -min(slope * sd[ATTACK] / sd[PATH], 0.95) if sd[PATH] > 0 else 0.0
    r_face = Assumptions().heads[head].face_path_r
    z[PATH] = r_path * z[ATTACK] + np.sqrt(1 - r_path**2) * z[PATH]
    z[FACE] = r_face * z[PATH] + np.sqrt(1 - r_face**2) * z[FACE]
    return sd[:, None] * z
