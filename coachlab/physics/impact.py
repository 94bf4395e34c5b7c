"""The strike: a rigid ball and a rigid head meet at one point for an instant.

Everything follows from the impulse at that point: speed, start direction, spin and, off the centre, the turn that the
head gives the ball. Head properties are typical values, not those of any make; the tangential restitution `e_t` of a
head is the least known of them and stays adjustable.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from coachlab.errors import FlightError
from coachlab.physics.launch import BALL_KG, BALL_RADIUS_M, INERTIA_SHARE, Launch, direction, launch_from
from coachlab.physics.ops import (
    Number,
    as_numbers,
    common_length,
    count_of,
    first_reason,
    length_of,
    must_be,
    refuse,
    said,
)

BALL_INERTIA_KGM2 = INERTIA_SHARE * BALL_KG * BALL_RADIUS_M**2
E_LOSS_PER_MPS = 0.0029
"""How much restitution a faster strike loses, for each m/s along the face's normal."""

G_CM2 = 1e-7  # kg m² in a g cm²


@dataclass(frozen=True)
class Head:
    """A kind of club head: kg, m/s, mm, g cm²; typical values, assumed.

    ``e_ref`` is the restitution at the normal speed ``v_ref_mps``, at most ``e_max``; ``e_t`` the tangential
    restitution (0: the ball leaves rolling on the face; below: it keeps slipping; above: the face springs back);
    ``e_t_span`` the values that cannot be excluded; ``mu`` the friction; ``depth_mm`` from the centre of mass to the
    face; the inertias are about the roll, the heel-toe and the vertical axis; ``bulge_mm`` is the radius of bulge and
    of roll.
    """

    mass_kg: float
    e_ref: float
    v_ref_mps: float
    e_max: float
    e_t: float
    e_t_span: tuple[float, float]
    mu: float
    depth_mm: float
    inertia_gcm2: tuple[float, float, float]
    bulge_mm: float = np.inf


HEADS: Mapping[str, Head] = MappingProxyType(
    {
        "driver": Head(0.200, 0.83, 48.8, 0.87, -0.15, (-0.3, 0.1), 0.30, 35.0, (2800.0, 3000.0, 4800.0), 305.0),
        "iron": Head(0.262, 0.80, 37.0, 0.85, 0.10, (0.0, 0.2), 0.40, 8.0, (2200.0, 700.0, 2600.0)),
        "wedge": Head(0.300, 0.78, 28.0, 0.85, 0.10, (0.0, 0.2), 0.40, 6.0, (2400.0, 900.0, 3000.0)),
    }
)
"""The one table of heads. The spans of ``e_t`` are assumed."""


@dataclass(frozen=True, eq=False)
class Delivery:
    """How the club comes to the ball: numbers, or arrays of shape (n,); a number goes with arrays. Player frame.

    Attributes
    ----------
    club_speed_mps : float or array
        Speed of the head, m/s.
    attack_up_deg, path_out_deg : float or array
        Its direction: up, and out.
    face_open_deg, delivered_loft_deg : float or array
        Where the centre of the face points: open, and up.
    strike_toe_mm, strike_high_mm : float or array
        Where the ball is met, from the point opposite the head's centre of mass.

    Raises
    ------
    FlightError
        If a delivery cannot strike a ball (no speed, a value missing, loft not above attack), naming the first such
        shot. `check_delivery` finds all of them in a table beforehand.
    """

    club_speed_mps: ArrayLike
    attack_up_deg: ArrayLike
    path_out_deg: ArrayLike
    face_open_deg: ArrayLike
    delivered_loft_deg: ArrayLike
    strike_toe_mm: ArrayLike = 0.0
    strike_high_mm: ArrayLike = 0.0

    def __post_init__(self) -> None:
        asked = "A delivery was given."
        numbers = as_numbers(asked, {item.name: getattr(self, item.name) for item in fields(self)})
        reason = first_reason(numbers, _broken)
        refuse(asked, numbers, reason, "Correct it; in a table, use only the shots for which check_delivery is empty.")
        for name, value in numbers.items():
            object.__setattr__(self, name, value)

    @property
    def length(self) -> int | None:
        """How many shots, or None for one delivery of plain numbers."""
        return length_of(*(getattr(self, item.name) for item in fields(self)))


def check_delivery(
    club_speed_mps: ArrayLike,
    attack_up_deg: ArrayLike,
    path_out_deg: ArrayLike,
    face_open_deg: ArrayLike,
    delivered_loft_deg: ArrayLike,
    strike_toe_mm: ArrayLike = 0.0,
    strike_high_mm: ArrayLike = 0.0,
) -> str | np.ndarray:
    """Return why each delivery cannot strike a ball, and an empty text where it can.

    Parameters
    ----------
    club_speed_mps, attack_up_deg, path_out_deg, face_open_deg, delivered_loft_deg : float or array, shape (n,)
        As `Delivery`.
    strike_toe_mm, strike_high_mm : float or array, shape (n,)
        As `Delivery`.

    Returns
    -------
    str or ndarray of str, shape (n,)

    Raises
    ------
    FlightError
        If the arrays have different lengths.

    Examples
    --------
    >>> check_delivery(45.0, 3.0, 0.0, 0.0, [14.0, 2.0]).tolist()[1]
    'delivered_loft_deg is not above attack_up_deg, so that the ball would not be struck upwards'
    """
    values = (
        club_speed_mps, attack_up_deg, path_out_deg, face_open_deg, delivered_loft_deg, strike_toe_mm, strike_high_mm,
    )  # fmt: skip
    names = [item.name for item in fields(Delivery)]
    numbers = as_numbers("Deliveries were checked.", dict(zip(names, values, strict=True)))
    reason = first_reason(numbers, _broken)
    return str(reason[0]) if length_of(*numbers.values()) is None else reason.astype(str)


def _broken(
    club_speed_mps: np.ndarray,
    attack_up_deg: np.ndarray,
    path_out_deg: np.ndarray,
    face_open_deg: np.ndarray,
    delivered_loft_deg: np.ndarray,
    strike_toe_mm: np.ndarray,
    strike_high_mm: np.ndarray,
) -> dict[str, np.ndarray]:
    """Return which rule of a delivery that can strike a ball is broken where."""
    apart = np.abs(face_open_deg - path_out_deg)
    downward = delivered_loft_deg <= attack_up_deg
    return {
        "club_speed_mps is missing": ~np.isfinite(club_speed_mps),
        "club_speed_mps is not above 0": club_speed_mps <= 0,
        "club_speed_mps is above 80 (was it in mph?)": club_speed_mps > 80,
        "attack_up_deg is missing or outside -45 to 45": ~(np.abs(attack_up_deg) <= 45),
        "path_out_deg is missing or outside -60 to 60": ~(np.abs(path_out_deg) <= 60),
        "face_open_deg is missing or outside -60 to 60": ~(np.abs(face_open_deg) <= 60),
        "face and path are more than 60 degrees apart": apart > 60,
        "delivered_loft_deg is missing or above 85": ~(delivered_loft_deg <= 85),
        "delivered_loft_deg is not above attack_up_deg, so that the ball would not be struck upwards": downward,
        "strike_toe_mm is missing or off the face (60 mm)": ~(np.abs(strike_toe_mm) <= 60),
        "strike_high_mm is missing or off the face (40 mm)": ~(np.abs(strike_high_mm) <= 40),
    }


def strike(delivery: Delivery, head: str = "driver", e_t: ArrayLike | None = None) -> Launch:
    """Return how the ball leaves a delivery.

    Parameters
    ----------
    delivery : Delivery
        Numbers or arrays of shape (n,).
    head : {"driver", "iron", "wedge"}
        The kind of head.
    e_t : float, array or None
        Tangential restitution; None: the head's own, which is an assumption (a driver's may lie from -0.3 to +0.1).

    Returns
    -------
    Launch

    Raises
    ------
    FlightError
        If there is no such head, `e_t` lies outside -1 to 1, or a ball would leave with forward spin.

    Notes
    -----
    Rigid bodies, one impulse J at the contact: K J = change of the relative velocity there, with restitution along the
    normal and along the face; where the face cannot hold the ball it slips and friction limits J. A known limit: a
    lofted wedge slips in this model when the attack is steep (60 degrees of loft, attack -8: spin falls by a tenth).

    Examples
    --------
    >>> ball = strike(Delivery(45.0, 0.0, 0.0, 0.0, 13.0))
    >>> round(ball.ball_speed_mps, 1), round(ball.launch_up_deg, 1), round(ball.spin_rpm, -1)
    (65.8, 11.1, 2460.0)
    """
    asked = "A strike was asked for."
    must_be(Delivery, delivery, asked)
    velocity, spin, _ = impulse_of(delivery, head_of(head, asked), e_t, asked)
    return launch_from(velocity, spin, asked)


def impulse_of(
    delivery: Delivery, head: Head, e_t: ArrayLike | None, asked: str
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return ball velocity (m/s), spin vector (rad/s), both of shape (3,) or (3, n), and whether the ball slipped."""
    tangential = as_numbers(asked, {"e_t": head.e_t if e_t is None else e_t})["e_t"]
    if not np.all(np.abs(tangential) <= 1):
        raise FlightError(asked, f"e_t is {said(e_t)}.", "It lies between -1 and 1; a driver's from -0.3 to 0.1.")
    length = common_length(delivery.length, length_of(tangential))
    n = count_of(length)
    V, attack, path, face, loft, toe, high = (
        np.broadcast_to(getattr(delivery, item.name), n) for item in fields(Delivery)
    )
    n0, t, h = face_frame(loft, face)
    normal = _normal_at(n0, t, h, toe, high, head.bulge_mm)
    K = contact_matrix(normal, n0, t, h, toe, high, head)
    u = -V * direction(attack, path)
    u_n = _dot(normal, u)
    e = restitution(np.abs(u_n), head)
    sticks = -(1 + e) * u_n * normal - (1 + tangential) * (u - u_n * normal)
    J = np.linalg.solve(K, sticks.T[:, :, None])[:, :, 0].T
    J_n = _dot(normal, J)
    J_t = J - J_n * normal
    slips = np.linalg.norm(J_t, axis=0) > head.mu * J_n
    if slips.any():
        along = -(u - u_n * normal)
        s = along / np.maximum(np.linalg.norm(along, axis=0), 1e-12)
        push = normal + head.mu * s
        J_slip = -(1 + e) * u_n / _dot(normal, np.einsum("nij,jn->in", K, push)) * push
        J = np.where(slips, J_slip, J)
    spin = np.cross(-BALL_RADIUS_M * normal, J, axis=0) / BALL_INERTIA_KGM2
    velocity = J / BALL_KG
    return (velocity, spin, slips) if length is not None else (velocity[:, 0], spin[:, 0], slips[0])


def face_frame(loft_deg: np.ndarray, face_deg: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the normal of the face's centre, the level direction to the toe, and the one up the face; (3, n) each."""
    n0 = direction(loft_deg, face_deg)
    t = np.cross(n0, [0.0, 0.0, 1.0], axisa=0, axisc=0)
    t = t / np.linalg.norm(t, axis=0)
    return n0, t, np.cross(t, n0, axis=0)


def contact_matrix(
    normal: np.ndarray,
    n0: np.ndarray,
    t: np.ndarray,
    h: np.ndarray,
    toe_mm: Any,
    high_mm: Any,
    head: Head,
) -> np.ndarray:
    """Return the change of relative velocity at the contact for a unit impulse, 1/kg, shape (n, 3, 3)."""
    r_b = -BALL_RADIUS_M * normal
    r_h = (head.depth_mm * n0 + toe_mm * t + high_mm * h) / 1000
    axes = np.stack([n0, t, h])  # which axis, component, shot
    inverse = np.einsum("a,ain,ajn->nij", 1 / (np.array(head.inertia_gcm2) * G_CM2), axes, axes)
    ball, club = _skew(r_b), _skew(r_h)
    together = (1 / BALL_KG + 1 / head.mass_kg) * np.eye(3)
    return together - ball @ ball / BALL_INERTIA_KGM2 - club @ inverse @ club


def restitution(normal_speed_mps: ArrayLike, head: Head) -> np.ndarray:
    """Return the restitution along the normal at a normal speed in m/s."""
    return np.minimum(head.e_max, head.e_ref - E_LOSS_PER_MPS * (np.asarray(normal_speed_mps, float) - head.v_ref_mps))


def head_of(head: str, asked: str) -> Head:
    """Return the numbers of a kind of head; a `FlightError` where there is none of that name."""
    if not isinstance(head, str) or head not in HEADS:
        raise FlightError(
            asked, f"There is no head {said(head)}.", f"Choose one of {', '.join(HEADS)}.", argument="head"
        )
    return HEADS[head]


def _normal_at(n0: Any, t: Any, h: Any, toe_mm: Any, high_mm: Any, bulge_mm: float) -> np.ndarray:
    """Return the normal where the ball is met: bulge opens it towards the toe, roll turns it up towards the crown."""
    across, up = toe_mm / bulge_mm, high_mm / bulge_mm
    return np.cos(up) * (np.cos(across) * n0 + np.sin(across) * t) + np.sin(up) * h


def _skew(r: np.ndarray) -> np.ndarray:
    """Return the matrices (n, 3, 3) that do a cross product with the vectors (3, n)."""
    x, y, z = r
    zero = np.zeros_like(x)
    return np.moveaxis(np.array([[zero, -z, y], [z, zero, -x], [-y, x, zero]]), -1, 0)


def _dot(a: np.ndarray, b: np.ndarray) -> Any:
    return np.einsum("in,in->n", a, b)


def centred_closed_form(
    club_speed_mps: Number, spin_loft_deg: Number, head: str, e_t: float | None = None
) -> tuple[Any, Any, Any]:
    """Return ball speed along the normal, along the face (m/s) and spin (rad/s) of a centred strike in a level plane.

    `spin_loft_deg` is the angle between the head's direction and the face's normal. For lessons and checks: the
    impulse does the same for any strike.
    """
    made = head_of(head, "The closed form of a centred strike was asked for.")
    tangential = made.e_t if e_t is None else e_t
    delta = np.radians(spin_loft_deg)
    v_n = club_speed_mps * np.cos(delta)
    turn = BALL_KG * (made.depth_mm / 1000) ** 2 / (made.inertia_gcm2[1] * G_CM2)
    along = v_n * (1 + restitution(v_n, made)) / (1 + BALL_KG / made.mass_kg)
    across = club_speed_mps * np.sin(delta) * (1 + tangential) / (1 + BALL_KG / made.mass_kg + 1 / INERTIA_SHARE + turn)
    return along, across, across / (INERTIA_SHARE * BALL_RADIUS_M)
