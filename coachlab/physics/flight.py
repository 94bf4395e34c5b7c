"""The flight of a golf ball through the air, one shot or a hundred thousand.

Shown values are in the player frame, out positive; how the ball moves stands in `motion`.
"""

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from coachlab.physics.aero import coefficients
from coachlab.physics.air import Air
from coachlab.physics.launch import BALL_KG, BALL_RADIUS_M, INERTIA_SHARE, RPM_RAD, Launch, direction, spin_axis
from coachlab.physics.motion import Landing, State, World, fly_many, fly_one
from coachlab.physics.ops import ARRAY, PLAIN, Number, common_length, count_of, length_of, must_be

SPIN_DECAY = 0.010
"""beta of the spin's decay, dw/dt = -(rho A R beta R / I) |v| w."""

_AREA_M2 = np.pi * BALL_RADIUS_M**2
_INERTIA_KGM2 = INERTIA_SHARE * BALL_KG * BALL_RADIUS_M**2
_BATCH = 16_384  # below it calls cost more than numbers, above it arrays leave the cache
_COARSE_STEP_S = 0.25
_MEASURES = (
    "carry_m", "side_m", "peak_m", "flight_s", "land_angle_deg", "land_speed_mps", "land_spin_rpm",
    "land_direction_deg",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Flight:
    """A flight: numbers for one launch of plain numbers, arrays of shape (n,) otherwise. Player frame.

    Attributes
    ----------
    carry_m : float or array
        Straight ground distance from the ball to where it lands, at the height it left.
    side_m : float or array
        Sideways distance of that point from the target line; out is positive.
    peak_m, flight_s : float or array
        Greatest height, and time in the air.
    land_angle_deg : float or array
        How steeply it falls at landing, below the horizon.
    land_speed_mps, land_spin_rpm, land_direction_deg : float or array
        Speed, spin and horizontal direction (out positive) at landing.
    launch, air, aero
        What was flown.

    A ball that starts at or below the horizon and does not rise lands where it lies: carry 0.
    """

    carry_m: Number
    side_m: Number
    peak_m: Number
    flight_s: Number
    land_angle_deg: Number
    land_speed_mps: Number
    land_spin_rpm: Number
    land_direction_deg: Number
    launch: Launch = field(repr=False)
    air: Air = field(repr=False)
    aero: str = "mean"

    @cached_property
    def track(self) -> np.ndarray:
        """The way through the air, flown again when first asked for.

        A structured array with the fields ``time_s``, ``x_m`` (downrange), ``side_m`` and ``height_m``, of shape
        (steps,), or (steps, n) for n shots; each shot's last row is its landing, after which it is NaN.
        """
        return _track(self.launch, self.air, self.aero)

    def text(self) -> str:
        """Return the flight in a sentence, or the range over its shots."""
        kind = "" if self.aero == "mean" else f" (aerodynamic model {self.aero})"
        if length_of(self.carry_m) is None:
            side = float(self.side_m)
            where = "on the line" if abs(side) < 0.05 else f"{abs(side):.1f} m {'out' if side > 0 else 'in'}"
            return (
                f"Carries {self.carry_m:.1f} m and lands {where}; {self.peak_m:.1f} m high, {self.flight_s:.1f} s in "
                f"the air, falling at {self.land_angle_deg:.0f} degrees{kind}."
            )
        carry = np.asarray(self.carry_m)
        if not len(carry):
            return "No shots."
        ends = f"{carry.min():.1f} to {carry.max():.1f} m"
        return f"{len(carry):,} shots carry {ends}, {carry.mean():.1f} m on average{kind}."

    def _repr_html_(self) -> str:
        if not np.size(self.carry_m):
            return f"<p>{self.text()}</p>"
        cells = "".join(f"<tr><th>{name}</th><td>{np.mean(getattr(self, name)):.1f}</td></tr>" for name in _MEASURES)
        mean = "" if length_of(self.carry_m) is None else f"<caption>means of {np.size(self.carry_m):,} shots</caption>"
        return f"<table>{mean}{cells}</table>"


def fly(launch: Launch, air: Air | None = None, aero: str = "mean", coarse: bool = False) -> Flight:
    """Return the flight of a ball, or of n balls at once.

    Parameters
    ----------
    launch : Launch
        How it starts; numbers or arrays of shape (n,).
    air : Air or None
        The air; None: 20 degrees at the sea, half humid, no wind. Its arrays have the launch's length.
    aero : str
        One of `AERO`; the others than the default show how far an answer hangs on the ball.
    coarse : bool
        Whether many shots are flown in long steps and single precision: carry then lies within 0.05 yd of what it is
        otherwise, in a sixth of the time. For simulated shots by the million; one shot is always flown finely.

    Returns
    -------
    Flight

    Raises
    ------
    FlightError
        If there is no such model, or launch and air are for different numbers of shots.

    Notes
    -----
    Carry lies within 0.02 yd of an adaptive integration of order 8 from chip to drive, in a uniform wind and in one
    that grows with height. Known limits: the drag crisis below a Reynolds number of 70,000 depends on the ball and is
    left out; the carry of wedges is good to about 4 %.

    Examples
    --------
    >>> drive = fly(Launch(70.0, 12.0, 0.0, 2600.0, 0.0))
    >>> round(drive.carry_m), round(drive.land_angle_deg)
    (236, 36)
    """
    must_be(Launch, launch, "A flight was asked for.")
    air = Air() if air is None else air
    must_be(Air, air, "A flight was asked for.")
    length = common_length(launch.length, air.length)
    names = [*_MEASURES]
    if length is None:
        state, world = start_of(launch, air, aero)
        values = dict(zip(names, _shown(*fly_one(state, world)), strict=True))
        values = {name: float(value) for name, value in values.items()}
    else:
        results = np.empty((len(Landing._fields), length))
        for low in range(0, length, _BATCH):
            part = slice(low, min(low + _BATCH, length))
            state, world = start_of(launch, air, aero, part, length)
            results[:, part] = _fly_coarsely(state, world) if coarse else fly_many(state, world)
        values = dict(zip(names, _shown(*results), strict=True))
    return Flight(**values, launch=launch, air=air, aero=aero)


def _fly_coarsely(state: State, world: World) -> np.ndarray:
    """Fly a batch in long steps and single precision; in a wind that grows with height the steps stay as they are."""
    single: dict[str, Any] = {name: np.asarray(getattr(world, name), np.float32) for name in World._fields[:8]}
    x, y, z, vx, vy, vz, spin = (np.asarray(value, np.float32) for value in state)
    return fly_many((x, y, z, vx, vy, vz, spin), world._replace(**single), step_s=_COARSE_STEP_S)


def start_of(
    launch: Launch, air: Air, aero: str = "mean", part: Any = None, length: int | None = None
) -> tuple[State, World]:
    """Return the state at launch and the world, for one shot or for the slice `part` of many."""

    def take(value: Any) -> Any:
        return float(value) if length is None else np.array(np.broadcast_to(value, length)[part])

    up, out = take(launch.launch_up_deg), take(launch.launch_out_deg)
    velocity = direction(up, out) * take(launch.ball_speed_mps)
    axis = spin_axis(up, out, take(launch.spin_tilt_deg))
    density = take(air.density_kgpm3)
    wind_x, wind_y = take(air.tail_mps), -take(air.cross_mps)
    axis_x, axis_y, axis_z = (float(part) if length is None else part for part in axis)
    world = World(
        axis_x,
        axis_y,
        axis_z,
        drag_per_m=density * _AREA_M2 / (2 * BALL_KG),
        reynolds_per_mps=density * 2 * BALL_RADIUS_M / take(air.viscosity_pas),
        decay_per_m=density * _AREA_M2 * BALL_RADIUS_M**2 * SPIN_DECAY / _INERTIA_KGM2,
        wind_x=wind_x,
        wind_y=wind_y,
        grows=air.profile == "log" and bool(np.any(wind_x != 0) or np.any(wind_y != 0)),
        model=coefficients(aero),
        ops=PLAIN if length is None else ARRAY,
    )
    zero = 0.0 if length is None else np.zeros(len(up))
    start = [float(v) if length is None else v for v in velocity]
    return (zero, zero, zero, start[0], start[1], start[2], take(launch.spin_rpm) * RPM_RAD), world


def _track(launch: Launch, air: Air, aero: str) -> np.ndarray:
    length = common_length(launch.length, air.length)
    n = count_of(length)
    state, world = start_of(launch, air, aero, slice(None), n)
    rows: list[tuple] = [(0.0, np.arange(n), *state[:3])]
    found = fly_many(state, world, rows)
    names = ("time_s", "x_m", "side_m", "height_m")
    track = np.full((len(rows), n), np.nan, dtype=[(name, float) for name in names])
    for at, (time, who, x, y, z) in enumerate(rows):
        for name, values in zip(names, (time, x, -y, z), strict=True):
            track[name][at, who] = values
    # the row after a shot's last one in the air is its landing
    last = np.sum(~np.isnan(track["time_s"]), axis=0)
    landing = np.minimum(last, len(rows) - 1)
    for name, values in zip(names, (found[3], found[0], -found[1], np.zeros(n)), strict=True):
        track[name][landing, np.arange(n)] = values
    return track[:, 0] if length is None else track


def _shown(x: Any, y: Any, peak: Any, time: Any, vx: Any, vy: Any, vz: Any, spin: Any) -> tuple[Any, ...]:
    """Return what is shown, in the order of `_MEASURES`."""
    level = np.hypot(vx, vy)
    return (
        np.hypot(x, y),
        -y + 0.0,
        peak,
        time,
        np.degrees(np.arctan2(-vz, level)),
        np.hypot(level, vz),
        spin / RPM_RAD,
        np.degrees(np.arctan2(-vy, vx)) + 0.0,
    )
