"""The arc of the head: how attack, path and the turn of the arc hang together, and where the head is lowest.

Near the ball the head moves on an arc in a plane that leans `arc_incline_deg` from the ground and points
`arc_azimuth_deg` out of the target line. Whoever changes the attack changes the path with it, unless the arc turns.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from coachlab.errors import FlightError
from coachlab.physics.ops import said


@dataclass(frozen=True)
class Arc:
    """The typical arc of a kind of head: its radius in metres and its incline from the ground in degrees."""

    radius_m: float
    incline_deg: float


ARCS: Mapping[str, Arc] = MappingProxyType(
    {"driver": Arc(1.60, 47.0), "iron": Arc(1.45, 58.0), "wedge": Arc(1.38, 62.0)}
)
"""The one table of arcs, by head. Typical values, assumed until an academy measures its own."""


def arc_azimuth(path_out_deg: ArrayLike, attack_up_deg: ArrayLike, arc_incline_deg: ArrayLike) -> float | np.ndarray:
    """Return which way the arc's plane points, in degrees, out being positive.

    Parameters
    ----------
    path_out_deg, attack_up_deg : float or array, shape (n,)
        Path and attack, degrees, player frame.
    arc_incline_deg : float or array, shape (n,)
        Incline of the plane from the ground, degrees, above 0 and at most 90.

    Returns
    -------
    float or ndarray
        Degrees; a number for numbers, an array of the common shape otherwise. Missing values stay missing.

    Raises
    ------
    FlightError
        If the incline lies outside 0 to 90, or an attack is as steep as the plane itself.

    Notes
    -----
    Exact for a circle in a plane: azimuth = path + asin(tan attack / tan incline).

    Examples
    --------
    >>> round(arc_azimuth(0.0, -4.0, 58.0), 2)
    -2.5
    """
    path, attack, incline = _numbers(
        path_out_deg=path_out_deg, attack_up_deg=attack_up_deg, arc_incline_deg=arc_incline_deg
    )
    return _plain(path + _turn_deg(attack, incline))


def path_from_arc(
    arc_azimuth_deg: ArrayLike, attack_up_deg: ArrayLike, arc_incline_deg: ArrayLike
) -> float | np.ndarray:
    """Return the path of a head on its arc, in degrees, out being positive: the inverse of `arc_azimuth`.

    Parameters
    ----------
    arc_azimuth_deg, attack_up_deg : float or array, shape (n,)
        Which way the arc's plane points, and the attack; degrees, player frame.
    arc_incline_deg : float or array, shape (n,)
        Incline of the plane from the ground, degrees.

    Raises
    ------
    FlightError
        As `arc_azimuth`.

    Examples
    --------
    Seven degrees more up with a driver swing the path in, unless the arc is turned:

    >>> round(path_from_arc(0.0, 4.0, 47.0) - path_from_arc(0.0, -3.0, 47.0), 1)
    -6.5
    """
    azimuth, attack, incline = _numbers(
        arc_azimuth_deg=arc_azimuth_deg, attack_up_deg=attack_up_deg, arc_incline_deg=arc_incline_deg
    )
    return _plain(azimuth - _turn_deg(attack, incline))


def arc_bottom_fwd(attack_up_deg: ArrayLike, arc_incline_deg: ArrayLike, arc_radius_m: ArrayLike) -> float | np.ndarray:
    """Return how far ahead of the ball the head is lowest, in millimetres; behind it is negative.

    Parameters
    ----------
    attack_up_deg : float or array, shape (n,)
        Attack, degrees.
    arc_incline_deg : float or array, shape (n,)
        Incline of the plane from the ground, degrees.
    arc_radius_m : float or array, shape (n,)
        Radius of the arc, metres, above 0.

    Raises
    ------
    FlightError
        As `arc_azimuth`, and for a radius that is not positive.

    Notes
    -----
    sin attack = sin(angle past the low point) x sin incline; the low point lies radius x sin(that angle) behind.

    Examples
    --------
    >>> round(arc_bottom_fwd(-1.0, ARCS["iron"].incline_deg, ARCS["iron"].radius_m))
    30
    """
    attack, incline, radius = _numbers(
        attack_up_deg=attack_up_deg, arc_incline_deg=arc_incline_deg, arc_radius_m=arc_radius_m
    )
    _check(attack, incline)
    if np.any((radius <= 0) | (radius > 10)):
        raise FlightError(
            "The low point of an arc was asked for.",
            f"arc_radius_m is {radius[(radius <= 0) | (radius > 10)].flat[0]:g}.",
            "Give a radius above 0, in metres; a mid iron's is about 1.45.",
        )
    past = np.sin(np.radians(attack)) / np.sin(np.radians(incline))
    return _plain(-1000.0 * radius * past + 0.0)


def _turn_deg(attack: np.ndarray, incline: np.ndarray) -> np.ndarray:
    """How far the arc has turned between its low point and the ball."""
    _check(attack, incline)
    return np.degrees(np.arcsin(np.tan(np.radians(attack)) / np.tan(np.radians(incline))))


def _numbers(**values: ArrayLike) -> list[np.ndarray]:
    """Return values as arrays of one shape; missing ones stay missing, what is no number or without end is refused."""
    asked = "An arc was asked for."
    found = []
    for name, value in values.items():
        try:
            array = np.asarray(value, dtype=float)
        except (TypeError, ValueError, OverflowError) as err:
            raise FlightError(
                asked, f"{name} is {said(value)}, no number.", "Give a number, or an array of numbers.", argument=name
            ) from err
        if np.isinf(array).any():
            where = int(np.flatnonzero(np.isinf(array))[0])
            raise FlightError(
                asked, f"{name} has no end at position {where}.", "Leave misread shots out first.", row=where
            )
        found.append(array)
    try:
        return list(np.broadcast_arrays(*found))
    except ValueError as err:
        shapes = " and ".join(f"{name} {array.shape}" for name, array in zip(values, found, strict=True))
        raise FlightError(
            asked, f"The shapes do not go together: {shapes}.", "Give arrays of one length, or single numbers."
        ) from err


def _check(attack: np.ndarray, incline: np.ndarray) -> None:
    if np.any((incline <= 0) | (incline > 90)):
        worst = incline[(incline <= 0) | (incline > 90)].flat[0]
        raise FlightError(
            "An arc was asked for.",
            f"arc_incline_deg is {worst:g}; it lies above 0 and is at most 90.",
            "Give the incline of the plane from the ground, in degrees; a mid iron's is about 58.",
        )
    steep = np.abs(attack) >= incline
    if np.any(steep):
        where = int(np.flatnonzero(steep)[0])
        raise FlightError(
            "An arc was asked for.",
            f"Attack {attack.flat[where]:g} at position {where} is as steep as the arc itself, "
            f"which leans {incline.flat[where]:g} degrees ({int(np.sum(steep))} such values).",
            "Leave misread shots out first, or correct the incline.",
            row=where,
        )


def _plain(values: np.ndarray) -> float | np.ndarray:
    return float(values) if np.ndim(values) == 0 else values
