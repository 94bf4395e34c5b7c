"""What flights and a student's worth cost, beside SciPy's adaptive integrator on the same forces and the same shots."""

import time

import numpy as np
from scipy.integrate import solve_ivp
from timing import Row, paired

from coachlab.physics.air import Air
from coachlab.physics.flight import fly, start_of
from coachlab.physics.impact import Delivery
from coachlab.physics.launch import Launch
from coachlab.physics.motion import _accelerate
from coachlab.worth import shift_worth

SHOTS, SAMPLE = 100_000, 60
AIR = Air(tail_mps=3.0, cross_mps=2.0)
YARD_M = 0.9144


def measure() -> list[Row]:
    """Time 100,000 flights at once, one flight alone, and the worth of a shift with all its spread."""
    shots = draw(SHOTS, seed=1)
    start = time.perf_counter()
    carry = fly(Launch(*shots), AIR).carry_m
    batch_s = (time.perf_counter() - start) / SHOTS
    sample = shots[:, :SAMPLE]
    start = time.perf_counter()
    usual = [integrate(shot, "RK45", 1e-6) for shot in sample.T]
    usual_s = (time.perf_counter() - start) / SAMPLE
    exact = np.array([integrate(shot, "DOP853", 1e-10) for shot in sample.T])
    ours_off, usual_off = (np.max(np.abs(found - exact)) / YARD_M for found in (carry[:SAMPLE], np.array(usual)))
    one = Launch(*(float(value) for value in (67.0, 11.0, 1.0, 2700.0, 3.0)))
    alone_s, ivp_s = paired(lambda: fly(one, AIR), lambda: integrate((67.0, 11.0, 1.0, 2700.0, 3.0), "RK45", 1e-6))
    mine, shift = (
        Delivery(40.0, -3.0, -2.0, 1.0, 12.0),
        {"attack_up_deg": 4.0, "path_out_deg": 3.0, "club_speed_mps": 0.5},
    )
    errors = {"attack_up_deg": 0.6, "path_out_deg": 0.8, "club_speed_mps": 0.2}
    thousand = draw(1000, seed=2)
    worth_s, plain_s = paired(
        lambda: shift_worth(mine, shift, errors),
        lambda: [fly(Launch(*map(float, shot))) for shot in thousand[:, :100].T],
        5,
    )
    return [
        Row(
            what=f"one of {SHOTS:,} flights at once (carry at most {ours_off:.1g} yd off DOP853)",
            ours_s=batch_s,
            yardstick=f"solve_ivp RK45, rtol 1e-6, shot by shot (at most {usual_off:.1g} yd off)",
            yardstick_s=usual_s,
            aim=1 / 50,
        ),
        Row(what="one flight alone", ours_s=alone_s, yardstick="solve_ivp RK45, rtol 1e-6", yardstick_s=ivp_s, aim=1.5),
        Row(
            what="the worth of one student's shift of three inputs, with its full spread",
            ours_s=worth_s,
            yardstick="100 flights one by one",
            yardstick_s=plain_s,
            aim=5.0,
        ),
    ]


def draw(n: int, seed: int) -> np.ndarray:
    """Launches from chip to drive, shape (5, n)."""
    rng = np.random.default_rng(seed)
    speed = rng.uniform(15, 80, n)
    up = np.maximum(40 - 0.38 * speed + rng.normal(0, 3, n), 2.0)
    spin = np.maximum(speed * (150 - 1.4 * speed) + rng.normal(0, 400, n), 500)
    return np.stack([speed, up, rng.normal(0, 3, n), spin, rng.normal(0, 6, n)])


def integrate(shot: tuple, method: str, tolerance: float) -> float:
    """Return the carry in metres by SciPy, on the forces of the package in plain floats, which is its fastest way."""
    state, world = start_of(Launch(*map(float, shot)), AIR)

    def change(_: float, s: np.ndarray) -> tuple:
        _, _, z, vx, vy, vz, spin = s.tolist()
        return (vx, vy, vz, *_accelerate(z, vx, vy, vz, spin, world))

    def down(t: float, s: np.ndarray) -> float:
        return s[2] if t > 1e-6 else 1.0

    down.terminal, down.direction = True, -1  # type: ignore[attr-defined]
    end = solve_ivp(change, (0, 30), state, method, events=down, rtol=tolerance, atol=tolerance).y_events[0][0]
    return float(np.hypot(end[0], end[1]))
