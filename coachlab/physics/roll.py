"""What a ball does after it lands: bounces, then rolls. Low confidence; shown with 30 % either way, never optimised.

A. R. Penner, "The run of a golf ball", Canadian Journal of Physics 80 (2002) 931: the ball digs a dent, whose front
wall turns the ground against it.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from coachlab.physics.air import GRAVITY_MPS2
from coachlab.physics.flight import Flight
from coachlab.physics.launch import BALL_RADIUS_M, RPM_RAD, spin_axis
from coachlab.physics.ops import Number, length_of, must_be, plain

SPREAD = 0.30
"""How far the run may lie from its value, as a share of it."""

_FRICTION = 0.40
_ROLL_MPS2 = 5 / 7 * 0.131 * GRAVITY_MPS2
_LEAST_REBOUND_M = 0.005
_STEEPEST_DENT_DEG = 35.0
_MOST_BOUNCES = 200


@dataclass(frozen=True, eq=False)
class Run:
    """The run after landing: numbers for one flight, arrays of shape (n,) for many; metres.

    Attributes
    ----------
    run_m : float or array
        Along the direction of landing; negative where backspin draws the ball back.
    low_m, high_m : float or array
        The run with 30 % either way: a model of low confidence, on turf of middling firmness.
    total_m, side_m : float or array
        Straight ground distance from the start to where the ball lies, and how far out of the line that is.
    bounces : int or array
        How often the model lifts it off again, by 5 mm at the least: many hops too low to be seen are among them, so it
        is no number for a page.
    """

    run_m: Number
    low_m: Number
    high_m: Number
    total_m: Number
    side_m: Number
    bounces: Number
    flight: Flight = field(repr=False)

    def text(self) -> str:
        """Return the run in a sentence that says how little is known of it."""
        if not np.size(self.run_m):
            return "No shots."
        if length_of(self.run_m) is not None:
            return f"{np.size(self.run_m):,} runs, {np.mean(self.run_m):.0f} m on average, each uncertain by 30 %."
        return (
            f"Runs about {self.run_m:.0f} m ({self.low_m:.0f} to {self.high_m:.0f} m), {self.total_m:.0f} m in all. "
            "How far a ball runs hangs on the turf; carry is the number to go by."
        )

    def _repr_html_(self) -> str:
        return f"<p>{self.text()}</p>"


def roll_out(flight: Flight) -> Run:
    """Return how far a ball runs after its flight, on level turf of middling firmness.

    Parameters
    ----------
    flight : Flight
        One flight, or many.

    Returns
    -------
    Run
        With 30 % either way; never to be optimised over.

    Notes
    -----
    At each landing the ground is tilted towards the ball by 15.4 degrees times (speed / 18.6 m/s) times (angle from the
    vertical / 44.4 degrees), at most 35; between landings there is no air. When a rebound is under 5 mm high it rolls.

    Examples
    --------
    >>> from coachlab.physics.flight import fly
    >>> from coachlab.physics.launch import Launch
    >>> 10 < roll_out(fly(Launch(70.0, 12.0, 0.0, 2600.0, 0.0))).run_m < 35
    True
    """
    must_be(Flight, flight, "The run of a ball was asked for.")
    length = length_of(flight.carry_m)
    carry, side, fall, speed, rate, out = (
        np.atleast_1d(np.asarray(value, float))
        for value in (
            flight.carry_m, flight.side_m, flight.land_angle_deg, flight.land_speed_mps, flight.land_spin_rpm,
            flight.land_direction_deg,
        )
    )  # fmt: skip
    vx, vy = speed * np.cos(np.radians(fall)), speed * np.sin(np.radians(fall))
    run, bounces = _run(vx, vy, rate * RPM_RAD * _backspin_share(flight, out))
    downrange = np.sqrt(np.maximum(carry**2 - side**2, 0.0)) + run * np.cos(np.radians(out))
    side = side + run * np.sin(np.radians(out))
    spread = SPREAD * np.abs(run)
    return Run(
        run_m=plain(run, length),
        low_m=plain(run - spread, length),
        high_m=plain(run + spread, length),
        total_m=plain(np.hypot(downrange, side), length),
        side_m=plain(side, length),
        bounces=plain(bounces, length),
        flight=flight,
    )


def _backspin_share(flight: Flight, out_deg: np.ndarray) -> np.ndarray:
    """Return how much of the spin is backspin to the direction in which the ball lands."""
    launch = flight.launch
    axis = spin_axis(launch.launch_up_deg, launch.launch_out_deg, launch.spin_tilt_deg).reshape(3, -1)
    out = np.radians(out_deg)
    return -(axis[0] * np.sin(out) + axis[1] * np.cos(out))


def _run(vx: np.ndarray, vy: np.ndarray, spin: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return distance and bounces from the landing's speeds (forward, down; m/s) and backspin (rad/s)."""
    vx, vy, spin = (np.array(value, float) for value in (vx, vy, spin))
    run, bounces = np.zeros_like(vx), np.zeros_like(vx)
    alive = np.arange(len(vx))
    for _ in range(_MOST_BOUNCES):
        vx[alive], up, spin[alive] = _bounce(vx[alive], vy[alive], spin[alive])
        hops = up**2 / (2 * GRAVITY_MPS2) >= _LEAST_REBOUND_M
        alive, up = alive[hops], up[hops]
        if not len(alive):
            break
        run[alive] += 2 * vx[alive] * up / GRAVITY_MPS2
        vy[alive] = up
        bounces[alive] += 1
    return run + np.sign(vx) * vx**2 / (2 * _ROLL_MPS2), bounces


def _bounce(vx: Any, vy: Any, spin: Any) -> tuple[Any, Any, Any]:
    """Return forward speed, upward speed and backspin after one landing."""
    v = np.hypot(vx, vy)
    theta = np.degrees(np.arctan2(vx, vy))  # from the vertical; negative where it comes backwards
    dent = np.radians(np.clip(15.4 * (v / 18.6) * (theta / 44.4), -_STEEPEST_DENT_DEG, _STEEPEST_DENT_DEG))
    along, into = vx * np.cos(dent) - vy * np.sin(dent), vx * np.sin(dent) + vy * np.cos(dent)
    e = np.where(into > 20, 0.12, 0.510 - 0.0375 * into + 0.000903 * into**2)
    slip = along + BALL_RADIUS_M * spin
    slides = 7 * (1 + e) * into * _FRICTION < 2 * np.abs(slip)
    pull = _FRICTION * into * (1 + e) * np.sign(slip)
    rolling = (5 * along - 2 * BALL_RADIUS_M * spin) / 7
    spin = np.where(slides, spin - 5 * pull / (2 * BALL_RADIUS_M), -rolling / BALL_RADIUS_M)
    along = np.where(slides, along - pull, rolling)
    rebound = e * into
    return along * np.cos(dent) - rebound * np.sin(dent), along * np.sin(dent) + rebound * np.cos(dent), spin
