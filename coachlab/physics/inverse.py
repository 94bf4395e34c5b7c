"""From the ball back to the club: what ball data alone say about face, loft, direction and speed of the head.

The impulse of a ball is known from its flight alone, and so, exactly and without any head data, is the face's normal
where it was met. The rest takes the head's mass, restitution and friction, and a strike in the centre: see `ERRORS`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from coachlab.errors import FlightError
from coachlab.physics.impact import Head, contact_matrix, face_frame, head_of, restitution
from coachlab.physics.launch import (
    BALL_KG,
    BALL_RADIUS_M,
    INERTIA_SHARE,
    RPM_RAD,
    Launch,
    angles_of,
    direction,
    spin_axis,
)
from coachlab.physics.ops import Number, as_numbers, common_length, count_of, length_of, must_be, plain, said

ERRORS: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "driver": MappingProxyType(
            {
                "delivered_loft_deg": 1.2,
                "face_open_deg": 1.7,
                "attack_up_deg": 3.5,
                "path_out_deg": 2.7,
                "club_speed_mps": 1.9 * 0.44704,
            }
        ),
        "iron": MappingProxyType({"delivered_loft_deg": 0.4, "face_open_deg": 0.4, "attack_up_deg": 3.6}),
        "wedge": MappingProxyType({"delivered_loft_deg": 0.5, "face_open_deg": 0.6, "attack_up_deg": 4.0}),
    }
)
"""Root mean square errors with typical sensor noise and strikes off the centre, by head; only the stated ones.

A driver's loft and face are off mostly by the curve of its face; those of the flat faces were worked out with this
model and the same noise. So loft and face may be reported as inferred. Attack, and a driver's path, may not, unless
`e_t` was calibrated on that player and club and the strike was in the centre: their error is larger than most shifts
that a lesson is after.
"""

MAY_BE_REPORTED: tuple[str, ...] = ("delivered_loft_deg", "face_open_deg")
"""What may be shown as inferred from the ball alone."""


@dataclass(frozen=True, eq=False)
class Inferred:
    """What the ball says about the club: numbers, or arrays of shape (n,). Player frame.

    Attributes
    ----------
    face_open_deg, delivered_loft_deg : float or array
        Where the face points at the spot where the ball was met; exact, no head data.
    attack_up_deg, path_out_deg, club_speed_mps : float or array
        For a strike in the centre with the head's assumed numbers; see `ERRORS`. NaN where `slipped`, or where ball
        and spin fit no face.
    slipped : bool or array
        The friction was used up: spin then no longer tells how the head came.
    head : str
    """

    face_open_deg: Number
    delivered_loft_deg: Number
    attack_up_deg: Number
    path_out_deg: Number
    club_speed_mps: Number
    slipped: Any
    head: str

    @property
    def errors(self) -> Mapping[str, float]:
        """The stated root mean square errors for this head, by name."""
        return ERRORS[self.head]

    def text(self) -> str:
        """Return what may be said: loft and face only."""
        known = np.isfinite(self.face_open_deg)
        if not np.any(known):
            return "No face can be inferred from the ball."
        lofts, faces = (np.atleast_1d(value) for value in (self.delivered_loft_deg, self.face_open_deg))
        loft, face = np.nanmean(lofts), np.nanmean(faces)
        many = "" if length_of(self.face_open_deg) is None else "On average, "
        return (
            f"{many}{'i' if many else 'I'}nferred from the ball: loft {loft:.1f} degrees, face {abs(face):.1f} degrees "
            f"{'open' if face >= 0 else 'closed'} (typical errors {self.errors['delivered_loft_deg']:g} and "
            f"{self.errors['face_open_deg']:g} degrees). "
            "Attack and path cannot be told from the ball well enough to be shown."
        )

    def _repr_html_(self) -> str:
        return f"<p>{self.text()}</p>"


def infer_club(launch: Launch, head: str = "driver", e_t: ArrayLike | None = None) -> Inferred:
    """Return what a launch says about the face and, less surely, about the head's way and speed.

    Parameters
    ----------
    launch : Launch
        Measured ball data; numbers or arrays of shape (n,).
    head : {"driver", "iron", "wedge"}
        The kind of head.
    e_t : float, array or None
        Tangential restitution; None: the head's own, which is an assumption.

    Returns
    -------
    Inferred

    Raises
    ------
    FlightError
        If there is no such head, or `e_t` is not above -1.

    Notes
    -----
    sin(angle from ball to normal) = alpha R w / v. Then K J gives the change of velocity at the contact; its part along
    the normal over 1 + e and its part along the face over 1 + e_t are the head's own velocity. Exact for a strike in
    the centre that does not slip.
    """
    asked = "The club was to be inferred from the ball."
    must_be(Launch, launch, asked)
    made = head_of(head, asked)
    tangential = np.asarray(as_numbers(asked, {"e_t": made.e_t if e_t is None else e_t})["e_t"])
    if not np.all((tangential > -1) & (tangential <= 1)):
        raise FlightError(asked, f"e_t is {said(e_t)}.", "It lies above -1 and is at most 1.", argument="e_t")
    length = common_length(launch.length, len(tangential) if tangential.ndim else None)
    n = count_of(length)
    normal, fits = local_normal(launch)
    normal, fits = np.broadcast_to(normal, (3, n)), np.broadcast_to(fits, n)
    speed, up, out = (
        np.broadcast_to(value, n) for value in (launch.ball_speed_mps, launch.launch_up_deg, launch.launch_out_deg)
    )
    loft, face = angles_of(normal)
    J = BALL_KG * speed * direction(up, out)
    velocity, slipped = _head_velocity(J, normal, loft, face, made, tangential)
    attack, path = angles_of(velocity)
    unknown = ~fits | slipped
    return Inferred(
        face_open_deg=plain(np.where(fits, face, np.nan), length),
        delivered_loft_deg=plain(np.where(fits, loft, np.nan), length),
        attack_up_deg=plain(np.where(unknown, np.nan, attack), length),
        path_out_deg=plain(np.where(unknown, np.nan, path), length),
        club_speed_mps=plain(np.where(unknown, np.nan, np.linalg.norm(velocity, axis=0)), length),
        slipped=slipped if length is not None else bool(slipped[0]),
        head=head,
    )


def local_normal(launch: Launch) -> tuple[np.ndarray, np.ndarray]:
    """Return the face's normal where the ball was met (forward, left, up), and whether ball and spin fit any face.

    Shapes (3, n) and (n,); n is 1 for one launch. Exact for one impulse at one point, wherever that is: sin(angle) =
    alpha R w / v, in the plane across the spin axis.
    """
    speed, up, out, spin, tilt = (
        np.broadcast_to(getattr(launch, item.name), count_of(launch.length)) for item in fields(Launch)
    )
    with np.errstate(over="ignore"):  # a ball that hardly moves and spins fits no face
        sine = INERTIA_SHARE * BALL_RADIUS_M * spin * RPM_RAD / speed
    fits = sine < 1
    sine = np.where(fits, sine, 0.0)
    ball = direction(up, out)
    return ball * np.sqrt(1 - sine**2) + np.cross(spin_axis(up, out, tilt), ball, axis=0) * sine, fits


def _head_velocity(
    J: np.ndarray, normal: np.ndarray, loft: np.ndarray, face: np.ndarray, head: Head, e_t: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return the head's velocity for a centred strike with impulses J, and where friction was used up."""
    n0, t, h = face_frame(loft, face)
    K = contact_matrix(normal, n0, t, h, 0.0, 0.0, head)
    du = np.einsum("nij,jn->in", K, J)
    du_n = np.einsum("in,in->n", normal, du)
    # restitution hangs on the speed along the normal, du_n / (1 + e); each round is 20 times closer
    e = np.full_like(du_n, head.e_ref)
    for _ in range(12):
        e = restitution(du_n / (1 + e), head)
    J_n = np.einsum("in,in->n", normal, J)
    slipped = np.linalg.norm(J - J_n * normal, axis=0) >= head.mu * J_n * (1 - 1e-9)
    return du_n / (1 + e) * normal + (du - du_n * normal) / (1 + e_t), slipped
