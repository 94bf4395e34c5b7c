"""How a ball leaves the face, and the ball itself."""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from coachlab.errors import FlightError
from coachlab.physics.ops import Number, as_numbers, first_reason, length_of, plain, refuse

BALL_KG = 0.04593
BALL_RADIUS_M = 0.04267 / 2
INERTIA_SHARE = 0.40
"""The ball's moment of inertia is this times mass times radius squared."""

RPM_RAD = 2 * np.pi / 60

_TILT_SLACK = 1e-12  # a round trip through the unit axis may end a rounding above 1


@dataclass(frozen=True, eq=False)
class Launch:
    """How a ball starts: numbers, or arrays of shape (n,); a number goes with arrays. Player frame.

    Attributes
    ----------
    ball_speed_mps : float or array
        Speed of the ball, m/s, above 0.
    launch_up_deg, launch_out_deg : float or array
        Vertical and horizontal start direction, degrees.
    spin_rpm : float or array
        Rate of spin, turns a minute, 0 or more; backspin (a ball that rolls over the face upwards cannot be written).
    spin_tilt_deg : float or array
        Elevation of the spin axis above the horizon, degrees; plus curves out. The axis is perpendicular to the
        ball's start direction, so its size is at most 90 less the launch angle.

    Raises
    ------
    FlightError
        If a shot cannot fly, naming the first such shot. `check_launch` finds all of them in a table beforehand.
    """

    ball_speed_mps: ArrayLike
    launch_up_deg: ArrayLike
    launch_out_deg: ArrayLike
    spin_rpm: ArrayLike
    spin_tilt_deg: ArrayLike

    def __post_init__(self) -> None:
        asked = "A launch was given."
        numbers = as_numbers(asked, {item.name: getattr(self, item.name) for item in fields(self)})
        reason = first_reason(numbers, _broken)
        refuse(asked, numbers, reason, "Correct it; in a table, fly only the shots for which check_launch is empty.")
        for name, value in numbers.items():
            object.__setattr__(self, name, value)

    @property
    def length(self) -> int | None:
        """How many shots, or None for one launch of plain numbers."""
        return length_of(*(getattr(self, item.name) for item in fields(self)))


def check_launch(
    ball_speed_mps: ArrayLike,
    launch_up_deg: ArrayLike,
    launch_out_deg: ArrayLike,
    spin_rpm: ArrayLike,
    spin_tilt_deg: ArrayLike,
) -> str | np.ndarray:
    """Return why each launch cannot fly, and an empty text where it can.

    For tables with gaps: a `Launch` refuses a missing value, so that none travels on unseen. Choose the shots that can
    fly first, and keep the reasons of the others.

    Parameters
    ----------
    ball_speed_mps, launch_up_deg, launch_out_deg, spin_rpm, spin_tilt_deg : float or array, shape (n,)
        As `Launch`.

    Returns
    -------
    str or ndarray of str, shape (n,)

    Raises
    ------
    FlightError
        If the arrays have different lengths.

    Examples
    --------
    >>> check_launch(70.0, 12.0, 0.0, 2600.0, 0.0)
    ''
    >>> check_launch([70.0, 0.0], 12.0, 0.0, [float("nan"), 2600.0], 0.0).tolist()
    ['spin_rpm is missing', 'ball_speed_mps is not above 0']
    """
    values = (ball_speed_mps, launch_up_deg, launch_out_deg, spin_rpm, spin_tilt_deg)
    names = [item.name for item in fields(Launch)]
    numbers = as_numbers("Launches were checked.", dict(zip(names, values, strict=True)))
    reason = first_reason(numbers, _broken)
    return str(reason[0]) if length_of(*numbers.values()) is None else reason.astype(str)


def _broken(
    ball_speed_mps: np.ndarray,
    launch_up_deg: np.ndarray,
    launch_out_deg: np.ndarray,
    spin_rpm: np.ndarray,
    spin_tilt_deg: np.ndarray,
) -> dict[str, np.ndarray]:
    """Return which rule of a launch that can fly is broken where."""
    steepest = np.cos(np.radians(launch_up_deg)) + _TILT_SLACK
    tilted = (np.abs(spin_tilt_deg) > 90) | (np.abs(np.sin(np.radians(spin_tilt_deg))) > steepest)
    return {
        "ball_speed_mps is missing": ~np.isfinite(ball_speed_mps),
        "ball_speed_mps is not above 0": ball_speed_mps <= 0,
        "ball_speed_mps is above 120 (was it in mph?)": ball_speed_mps > 120,
        "launch_up_deg is missing or not between -90 and 90": ~(np.abs(launch_up_deg) < 90),
        "launch_out_deg is missing or outside -180 to 180": ~(np.abs(launch_out_deg) <= 180),
        "spin_rpm is missing": ~np.isfinite(spin_rpm),
        "spin_rpm is below 0 or above 20,000": (spin_rpm < 0) | (spin_rpm > 20_000),
        "spin_tilt_deg is missing": ~np.isfinite(spin_tilt_deg),
        "spin_tilt_deg is impossible at this launch (its size is at most 90 less launch_up_deg)": tilted,
    }


def spin_axis(launch_up_deg: ArrayLike, launch_out_deg: ArrayLike, spin_tilt_deg: ArrayLike) -> np.ndarray:
    """Return the unit spin axis of a launch, forward, left and up, shape (3,) or (3, n).

    Perpendicular to the start direction, with the tilt as its elevation: (sin t tan a, -sqrt(1 - sin² t - sin² t
    tan² a), -sin t) in the vertical plane of the launch, then turned out with it.
    """
    a, out, t = (np.radians(np.asarray(value, float)) for value in (launch_up_deg, launch_out_deg, spin_tilt_deg))
    along = np.sin(t) * np.tan(a)
    across = -np.sqrt(np.maximum(1 - np.sin(t) ** 2 - along**2, 0.0))
    return np.stack(
        np.broadcast_arrays(
            along * np.cos(out) + across * np.sin(out), across * np.cos(out) - along * np.sin(out), -np.sin(t)
        )
    )


def tilt_of(axis: np.ndarray) -> Number:
    """Return the tilt in degrees of a unit spin axis (forward, left, up), shape (3,) or (3, n)."""
    tilt = -np.degrees(np.arcsin(np.clip(axis[2], -1.0, 1.0))) + 0.0
    return plain(np.atleast_1d(tilt), tilt.shape[0] if np.ndim(tilt) else None)


def direction(up_deg: ArrayLike, out_deg: ArrayLike) -> np.ndarray:
    """Return the unit vector (forward, left, up) of a direction, shape (3,) or (3, n); out is to the right."""
    up, out = np.radians(np.asarray(up_deg, float)), np.radians(np.asarray(out_deg, float))
    level = np.cos(up)
    vector = np.empty((3, *np.broadcast_shapes(up.shape, out.shape)))
    vector[0], vector[1], vector[2] = level * np.cos(out), -level * np.sin(out), np.sin(up)
    return vector


def angles_of(vector: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return how far up and how far out a vector (forward, left, up) points, degrees."""
    up = np.degrees(np.arctan2(vector[2], np.hypot(vector[0], vector[1])))
    return up, np.degrees(np.arctan2(-vector[1], vector[0])) + 0.0


def launch_from(velocity: np.ndarray, spin: np.ndarray, asked: str) -> Launch:
    """Return the launch of ball velocities (m/s) and spin vectors (rad/s), forward, left, up, shape (3,) or (3, n).

    Raises
    ------
    FlightError
        If a ball would leave with forward spin.
    """
    speed, rate = np.linalg.norm(velocity, axis=0), np.linalg.norm(spin, axis=0)
    up, out = angles_of(velocity)
    still = rate < 1e-9  # no spin has no axis: write it level
    axis = np.where(still, spin_axis(up, out, 0.0), spin / np.where(still, 1.0, rate))
    forward = np.flatnonzero(np.atleast_1d(forward_spin(velocity, axis)))
    if len(forward):
        raise FlightError(
            asked,
            f"{'Shot ' + str(forward[0]) + ' (counted from 0)' if np.ndim(speed) else 'The ball'} would leave with "
            "forward spin.",
            "Such a strike cannot be flown here: check loft, attack and strike_high_mm.",
            row=int(forward[0]),
        )
    return Launch(
        *(value if np.ndim(value) else float(value) for value in (speed, up, out, rate / RPM_RAD, tilt_of(axis)))
    )


def forward_spin(velocity: np.ndarray, axis: np.ndarray) -> np.ndarray:
    """Return whether a ball spins forward: its axis then points to the left of its flight, not to the right."""
    _, out = angles_of(velocity)
    return axis[1] * np.cos(np.radians(out)) + axis[0] * np.sin(np.radians(out)) > 1e-9
