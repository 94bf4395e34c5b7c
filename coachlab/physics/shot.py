"""One shot from club to landing, with its range over models: what the ball-flight page shows, computed here."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from coachlab.errors import FlightError
from coachlab.physics.aero import ENSEMBLE
from coachlab.physics.air import Air
from coachlab.physics.arc import ARCS, arc_azimuth, arc_bottom_fwd
from coachlab.physics.flight import Flight, fly
from coachlab.physics.impact import Delivery, head_of, impulse_of, strike
from coachlab.physics.launch import Launch, forward_spin, launch_from

FLIGHT = ("carry_m", "side_m", "peak_m", "flight_s", "land_angle_deg")
"""The numbers of a flight that have a range."""

LAUNCH = ("ball_speed_mps", "launch_up_deg", "launch_out_deg", "spin_rpm", "spin_tilt_deg")
"""The numbers of a launch that have a range."""


@dataclass(frozen=True, eq=False)
class Shot:
    """One strike and its flight; ``ranges`` holds the least and the greatest value of each number over the models."""

    delivery: Delivery
    head: str
    launch: Launch
    flight: Flight
    ranges: Mapping[str, tuple[float, float]] = field(repr=False)

    @property
    def face_to_path_deg(self) -> float:
        """How far the face is open to the path, degrees."""
        return float(np.asarray(self.delivery.face_open_deg) - np.asarray(self.delivery.path_out_deg))

    @property
    def arc_azimuth_deg(self) -> float:
        """Which way the head's typical arc points with this attack and path, degrees, out positive."""
        incline = ARCS[self.head].incline_deg
        return float(arc_azimuth(self.delivery.path_out_deg, self.delivery.attack_up_deg, incline))

    @property
    def arc_bottom_fwd_mm(self) -> float:
        """How far ahead of the ball that arc is lowest, mm."""
        arc = ARCS[self.head]
        return float(arc_bottom_fwd(self.delivery.attack_up_deg, arc.incline_deg, arc.radius_m))


def shot_of(delivery: Delivery, head: str = "driver", air: Air | None = None) -> Shot:
    """Return one shot from club to landing, with the range of each number over models of ball and face.

    Parameters
    ----------
    delivery : Delivery
        One delivery of plain numbers.
    head : {"driver", "iron", "wedge"}
        The kind of head.
    air : Air or None
        None: 20 degrees at the sea, no wind.

    Returns
    -------
    Shot
        Its ranges go over the four aerodynamic models of the ensemble times three values of the face's tangential
        restitution, the head's own among them.

    Raises
    ------
    FlightError
        If there is no such head, the ball cannot be struck so, or the delivery is of many shots.

    Examples
    --------
    >>> shot = shot_of(Delivery(45.0, 0.0, 0.0, 0.0, 13.0))
    >>> low, high = shot.ranges["carry_m"]
    >>> low <= shot.flight.carry_m <= high
    True
    """
    asked = "A shot was asked for."
    if delivery.length is not None:
        raise FlightError(asked, f"The delivery is that of {delivery.length} shots.", "Give one delivery at a time.")
    air, made = air or Air(), head_of(head, asked)
    launch = strike(delivery, head)
    e_ts = np.array([made.e_t, *made.e_t_span])
    velocity, spin, _ = impulse_of(delivery, made, e_ts, asked)
    flies = ~forward_spin(velocity, spin / np.maximum(np.linalg.norm(spin, axis=0), 1e-9))
    launches = launch_from(velocity[:, flies], spin[:, flies], asked)
    flights = [fly(launches, air, aero) for aero in ENSEMBLE]
    values = {name: np.asarray(getattr(launches, name)) for name in LAUNCH}
    values |= {name: np.concatenate([np.atleast_1d(getattr(flight, name)) for flight in flights]) for name in FLIGHT}
    ranges = {name: (float(each.min()), float(each.max())) for name, each in values.items()}
    return Shot(delivery, head, launch, fly(launch, air), ranges)
