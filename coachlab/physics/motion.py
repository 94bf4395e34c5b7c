"""How a ball moves through the air: the forces, the step, the landing.

Fixed steps of Runge-Kutta 4, Hermite interpolation for the landing and the peak. Many shots fly all in step; a shot
that has landed leaves the batch. One set of formulas serves plain floats and arrays (`ops`). Axes: forward, left, up.
"""

import math
from typing import Any, NamedTuple

import numpy as np

from coachlab.errors import FlightError
from coachlab.physics.aero import Coefficients
from coachlab.physics.air import GRAVITY_MPS2, ROUGHNESS_M, WIND_REFERENCE_M
from coachlab.physics.launch import BALL_RADIUS_M
from coachlab.physics.ops import ARRAY, PLAIN, Ops

STEP_S = 0.05
FIRST_STEP_S, STEP_GROWTH = 0.0025, 1.3  # in a wind that grows with height: it changes fastest at the ground
_LOG_SHARE = 1 / math.log1p(WIND_REFERENCE_M / ROUGHNESS_M)
LONGEST_S = 120.0


class World(NamedTuple):
    """What stays the same for a shot while it flies; each a number or an array."""

    axis_x: Any
    axis_y: Any
    axis_z: Any
    drag_per_m: Any  # rho A / 2m
    reynolds_per_mps: Any
    decay_per_m: Any
    wind_x: Any
    wind_y: Any
    grows: bool
    model: Coefficients
    ops: Ops


class Landing(NamedTuple):
    """Where, how high, when and how a ball came down: m, s, m/s, rad/s."""

    x: Any
    y: Any
    peak: Any
    time: Any
    vx: Any
    vy: Any
    vz: Any
    spin: Any


State = tuple[Any, Any, Any, Any, Any, Any, Any]
"""x, y, z (m), their velocities (m/s), spin (rad/s)."""


def _accelerate(z: Any, vx: Any, vy: Any, vz: Any, spin: Any, world: World) -> tuple[Any, Any, Any, Any]:
    """Return the acceleration (m/s²) and the spin's rate of change."""
    ops = world.ops
    wind_x, wind_y = world.wind_x, world.wind_y
    if world.grows:
        share = ops.log1p(ops.maximum(z, 0.0) * (1 / ROUGHNESS_M)) * _LOG_SHARE
        wind_x, wind_y = wind_x * share, wind_y * share
    rx, ry = vx - wind_x, vy - wind_y
    speed = ops.maximum(ops.sqrt(rx * rx + ry * ry + vz * vz), 1e-9)
    cx = world.axis_y * vz - world.axis_z * ry
    cy = world.axis_z * rx - world.axis_x * vz
    cz = world.axis_x * ry - world.axis_y * rx
    across = ops.maximum(ops.sqrt(cx * cx + cy * cy + cz * cz), 1e-9)
    ratio = BALL_RADIUS_M * spin * across / (speed * speed)
    drag, lift = world.model(ratio, world.reynolds_per_mps * speed, ops)
    force = world.drag_per_m * speed
    slow, bend = force * drag, force * speed * lift / across
    return (
        bend * cx - slow * rx,
        bend * cy - slow * ry,
        bend * cz - slow * vz - GRAVITY_MPS2,
        -world.decay_per_m * speed * spin,
    )


def _step(state: State, h: float, world: World) -> State:
    """Take one step of Runge-Kutta 4; positions need no stages of their own but the height, for the wind."""
    x, y, z, vx, vy, vz, w = state
    half = 0.5 * h
    ax1, ay1, az1, dw1 = _accelerate(z, vx, vy, vz, w, world)
    vz2 = vz + half * az1
    ax2, ay2, az2, dw2 = _accelerate(z + half * vz, vx + half * ax1, vy + half * ay1, vz2, w + half * dw1, world)
    vz3 = vz + half * az2
    ax3, ay3, az3, dw3 = _accelerate(z + half * vz2, vx + half * ax2, vy + half * ay2, vz3, w + half * dw2, world)
    ax4, ay4, az4, dw4 = _accelerate(z + h * vz3, vx + h * ax3, vy + h * ay3, vz + h * az3, w + h * dw3, world)
    sixth, square = h / 6, h * h / 6
    return (
        x + h * vx + square * (ax1 + ax2 + ax3),
        y + h * vy + square * (ay1 + ay2 + ay3),
        z + h * vz + square * (az1 + az2 + az3),
        vx + sixth * (ax1 + 2 * (ax2 + ax3) + ax4),
        vy + sixth * (ay1 + 2 * (ay2 + ay3) + ay4),
        vz + sixth * (az1 + 2 * (az2 + az3) + az4),
        w + sixth * (dw1 + 2 * (dw2 + dw3) + dw4),
    )


def _next_step_s(now: float, world: World, step_s: float = STEP_S) -> float:
    if not world.grows:
        return step_s
    return min(STEP_S, FIRST_STEP_S + now * (STEP_GROWTH - 1))


def _hermite(p0: Any, v0: Any, p1: Any, v1: Any, h: float, s: Any) -> tuple[Any, Any]:
    """Return position and velocity at the share s of a step, from both ends' positions and velocities."""
    rise = p1 - p0
    c2 = 3 * rise - h * (2 * v0 + v1)
    c3 = h * (v0 + v1) - 2 * rise
    return p0 + s * (h * v0 + s * (c2 + s * c3)), v0 + s * (2 * c2 + 3 * s * c3) / h


def _peak_in(before: State, after: State, h: float, ops: Ops) -> Any:
    """Return the height where the climb ends within a step, by Newton on the velocity of the interpolant."""
    z0, v0, z1, v1 = before[2], before[5], after[2], after[5]
    c2, c3 = 3 * (z1 - z0) - h * (2 * v0 + v1), h * (v0 + v1) - 2 * (z1 - z0)
    s = v0 / (v0 - v1)
    for _ in range(4):
        slope = 2 * c2 + 6 * s * c3
        s = ops.minimum(ops.maximum(s - (h * v0 + s * (2 * c2 + 3 * s * c3)) / slope, 0.0), 1.0)
    return _hermite(z0, v0, z1, v1, h, s)[0]


def _land(before: State, after: State, h: float, ops: Ops) -> tuple[Any, tuple]:
    """Return the share of a step at which the ball is down, and (x, y, vx, vy, vz, spin) there.

    Newton from the end of the step: the height bends down there, so that it comes to the root from one side, and to
    the later root in a step that also starts on the ground.
    """
    z0, v0, z1, v1 = before[2], before[5], after[2], after[5]
    s = z1 * 0 + 1.0
    for _ in range(8):
        z, vz = _hermite(z0, v0, z1, v1, h, s)
        s = ops.minimum(ops.maximum(s - z / (h * ops.minimum(vz, -1e-9)), 0.0), 1.0)
    x, vx = _hermite(before[0], before[3], after[0], after[3], h, s)
    y, vy = _hermite(before[1], before[4], after[1], after[4], h, s)
    _, vz = _hermite(z0, v0, z1, v1, h, s)
    return s, (x, y, vx, vy, vz, before[6] + s * (after[6] - before[6]))


def _rises(state: State, world: World) -> Any:
    """Return whether the ball leaves the ground at all: it starts upwards, or level with more lift than weight."""
    lift = _accelerate(state[2], *state[3:6], state[6], world)[2]
    return (state[5] > 0) | ((state[5] == 0) & (lift > 0))


def fly_one(state: State, world: World) -> Landing:
    """Fly one shot of plain floats."""
    if not _rises(state, world):
        return Landing(0.0, 0.0, 0.0, 0.0, *state[3:])
    now = peak = 0.0
    while now < LONGEST_S:
        h = _next_step_s(now, world)
        after = _step(state, h, world)
        if state[5] > 0 >= after[5]:
            peak = max(peak, _peak_in(state, after, h, PLAIN))
        if after[2] < 0:
            s, (x, y, vx, vy, vz, spin) = _land(state, after, h, PLAIN)
            return Landing(x, y, peak, now + s * h, vx, vy, vz, spin)
        state, now = after, now + h
    raise _endless()


def fly_many(state: State, world: World, rows: list | None = None, step_s: float = STEP_S) -> np.ndarray:
    """Fly a batch, all in step, into an array of shape (8, n) in the order of `Landing`.

    `rows`, where given, takes (time, who is in the air, x, y, z) of each step. Peaks and landings are collected on the
    way and worked out together at the end: a few at a time they would cost more than the steps.
    """
    n = len(state[0])
    found = np.zeros((len(Landing._fields), n))
    who, down = np.arange(n), ~_rises(state, world)
    found[4:, down] = np.stack(state[3:])[:, down]
    still = n - int(down.sum())
    tops: list[np.ndarray] = []
    lands: list[np.ndarray] = []
    now = 0.0
    while still:
        if still < 0.85 * len(who):  # leaving the batch costs about as much as a step
            up = ~down
            state = tuple(value[up] for value in state)
            world = world._replace(**{name: getattr(world, name)[up] for name in World._fields[:8]})
            who, down = who[up], np.zeros(still, dtype=bool)
        if now >= LONGEST_S:
            raise _endless(int(who[~down][0]))
        h = _next_step_s(now, world, step_s)
        after = _step(state, h, world)
        climbs_no_more = np.flatnonzero((state[5] > 0) & (after[5] <= 0) & ~down)
        if len(climbs_no_more):
            tops.append(_both_ends(state, after, climbs_no_more, who, now, h))
        is_down = np.flatnonzero((after[2] < 0) & ~down)
        if len(is_down):
            lands.append(_both_ends(state, after, is_down, who, now, h))
            down[is_down] = True
            still -= len(is_down)
        state, now = after, now + h
        if rows is not None:
            rows.append((now, who[~down], *(value[~down] for value in state[:3])))
    if tops:
        at = np.concatenate(tops, axis=1)
        np.maximum.at(found[2], at[0].astype(int), _peak_in(tuple(at[3:10]), tuple(at[10:]), at[2], ARRAY))
    if lands:
        at = np.concatenate(lands, axis=1)
        s, (x, y, *motion) = _land(tuple(at[3:10]), tuple(at[10:]), at[2], ARRAY)
        shots = at[0].astype(int)
        found[:2, shots] = x, y
        found[3:, shots] = at[1] + s * at[2], *motion
    return found


def _both_ends(state: State, after: State, which: np.ndarray, who: np.ndarray, now: float, h: float) -> np.ndarray:
    """Return who, when and how long a step is, then the state before and after it; shape (17, shots)."""
    ends = np.empty((3 + 2 * len(state), len(which)))
    ends[0], ends[1], ends[2] = who[which], now, h
    for at, value in enumerate((*state, *after), start=3):
        ends[at] = value[which]
    return ends


def _endless(row: int = 0) -> FlightError:
    return FlightError(
        "A flight was asked for.",
        f"Shot {row} (counted from 0) is still in the air after {LONGEST_S:g} s.",
        "Check its spin and the wind.",
        row=row,
    )
