"""The ball of the simulated academy: the package's own strike and flight, and what a device reads of them."""

from collections.abc import Mapping

import numpy as np

from coachlab.academy.assumptions import HEADS, Assumptions, BallSensor
from coachlab.physics.flight import fly
from coachlab.physics.impact import Delivery, head_of, impulse_of
from coachlab.physics.launch import Launch, forward_spin, launch_from

FLOWN = ("carry_m", "side_m", "peak_m", "flight_s", "land_angle_deg")
LAUNCHED = ("ball_speed_mps", "launch_up_deg", "launch_out_deg", "spin_rpm", "spin_tilt_deg")

LEAST_SPIN_LOFT_DEG = 4.0
"""A blow with less between loft and attack is struck as if it had this much: else the ball would go into the ground."""

_FARTHEST_MM = (25.0, 15.0)  # nothing but the face is hit here: a mishit's strike stays on it
_BATCH = 16_384  # what a strike works on stays in the cache
_POORNESS = 0.7  # carry goes with about the 1.4th power of ball speed
_GRID = 2_048
_DEGREE = 3


def struck(
    head: np.ndarray, delivery: Mapping[str, np.ndarray], kept_speed: np.ndarray, coarse: bool = True
) -> dict[str, np.ndarray]:
    """Return launch and flight of shots before any sensor, arrays of shape (n,) by `LAUNCHED` and `FLOWN`.

    Parameters
    ----------
    head : int array, shape (n,)
        Place in `HEADS`.
    delivery : mapping of str to array, shape (n,)
        The fields of `Delivery`. What cannot be struck is brought to where it can: loft to `LEAST_SPIN_LOFT_DEG` above
        the attack; a blow that would send the ball off with forward spin is struck square and in the centre instead.
    kept_speed : array, shape (n,)
        Share of ball speed and spin that a poor contact leaves.
    coarse : bool
        As `fly`.
    """
    found = {name: np.empty(len(head)) for name in (*LAUNCHED, *FLOWN)}
    for place, name in enumerate(HEADS):
        rows = np.flatnonzero(head == place)
        for low in range(0, len(rows), _BATCH):
            part = rows[low : low + _BATCH]
            launch = _launch({key: values[part] for key, values in delivery.items()}, kept_speed[part], name)
            flight = fly(launch, coarse=coarse)
            for key in LAUNCHED:
                found[key][part] = getattr(launch, key)
            for key in FLOWN:
                found[key][part] = getattr(flight, key)
    return found


def _launch(delivery: Mapping[str, np.ndarray], kept_speed: np.ndarray, name: str) -> Launch:
    asked = "Simulated shots were struck."
    attack, path = delivery["attack_up_deg"], np.clip(delivery["path_out_deg"], -50, 50)
    values = [
        np.clip(delivery["club_speed_mps"], 5, 75),
        attack,
        path,
        np.clip(path + np.clip(delivery["face_open_deg"] - path, -50, 50), -58, 58),
        np.clip(delivery["delivered_loft_deg"], attack + LEAST_SPIN_LOFT_DEG, 80.0),
        np.clip(delivery["strike_toe_mm"], -_FARTHEST_MM[0], _FARTHEST_MM[0]),
        np.clip(delivery["strike_high_mm"], -_FARTHEST_MM[1], _FARTHEST_MM[1]),
    ]
    made = head_of(name, asked)
    velocity, spin, _ = impulse_of(Delivery(*values), made, None, asked)
    over = np.flatnonzero(forward_spin(velocity, spin / np.maximum(np.linalg.norm(spin, axis=0), 1e-9)))
    if len(over):
        values[3] = path
        square = Delivery(*(value[over] for value in values[:5]))
        velocity[:, over], spin[:, over], _ = impulse_of(square, made, None, asked)
    return launch_from(velocity * kept_speed, spin * kept_speed, asked)


def kept_speed(lost_carry: np.ndarray) -> np.ndarray:
    """Return the share of ball speed that is left where a poor contact costs about this share of the carry."""
    return (1 - lost_carry) ** _POORNESS


def read_ball(
    ball: Mapping[str, np.ndarray], loft: np.ndarray, sensor: BallSensor, z: np.ndarray
) -> dict[str, np.ndarray]:
    """Return what a device reads of loft, launch and flight; `z` holds standard normal errors, shape (11, n)."""
    noisy = {name: z[place] for place, name in enumerate(_READ)}
    carry = ball["carry_m"]
    steepest = 90 - np.maximum(ball["launch_up_deg"], 0) - 1  # the axis leans no further at this start
    return {
        "delivered_loft_deg": loft + sensor.loft * noisy["loft"],
        "ball_speed_mps": ball["ball_speed_mps"] * (1 + sensor.speed * noisy["speed"]),
        "launch_up_deg": ball["launch_up_deg"] + sensor.launch * noisy["up"],
        "launch_out_deg": ball["launch_out_deg"] + sensor.launch * noisy["out"],
        "spin_rpm": np.maximum(ball["spin_rpm"] * (1 + sensor.spin * noisy["spin"]), 0.0),
        "spin_tilt_deg": np.clip(ball["spin_tilt_deg"] + sensor.tilt * noisy["tilt"], -steepest, steepest),
        "carry_m": np.maximum(carry * (1 + sensor.carry * noisy["carry"]), 0.0),
        "side_out_m": ball["side_m"] + sensor.side * noisy["side"],
        "peak_m": np.maximum(ball["peak_m"] * (1 + sensor.peak * noisy["peak"]), 0.0),
        "land_angle_deg": np.clip(ball["land_angle_deg"] + sensor.land * noisy["land"], 0.0, 90.0),
        "flight_s": np.maximum(ball["flight_s"] * (1 + sensor.time * noisy["time"]), 0.0),
    }


_READ = ("tilt", "carry", "up", "loft", "speed", "out", "spin", "side", "peak", "land", "time")


def usual_carry(head: int, a: Assumptions, blows: np.ndarray) -> np.ndarray:
    """Return the carry of noise-free blows in metres, shape (n,), with the poorness that an average contact has.

    Parameters
    ----------
    head : int
        Place in `HEADS`.
    a : Assumptions
        The numbers.
    blows : array, shape (5, n)
        Speed (m/s), attack, path, face and delivered loft (degrees).

    Notes
    -----
    Beyond a few thousand blows it is a polynomial of degree 3 in speed, attack, loft and face to path through some
    that are flown: over one population of players carry is that smooth.
    """
    n = blows.shape[1]
    some = np.arange(n) if n <= _GRID else np.linspace(0, n - 1, _GRID).astype(int)
    speed, attack, path, face, loft = blows[:, some]
    zero = np.zeros(len(some))
    blow = {
        "club_speed_mps": speed, "attack_up_deg": attack, "path_out_deg": path, "face_open_deg": face,
        "delivered_loft_deg": loft, "strike_toe_mm": zero, "strike_high_mm": zero,
    }  # fmt: skip
    kept = 1 - a.heads[HEADS[head]].contact * np.sqrt(2 / np.pi)
    flown = struck(np.full(len(some), head), blow, np.full(len(some), kept))["carry_m"]
    if n <= _GRID:
        return flown
    x = np.stack([blows[0], blows[1], blows[4], blows[3] - blows[2]])
    x = (x - x.mean(axis=1, keepdims=True)) / (x.std(axis=1, keepdims=True) + 1e-9)
    weights = np.linalg.lstsq(_terms(x[:, some]).T, flown, rcond=None)[0]
    return np.concatenate([weights @ _terms(x[:, low : low + _GRID]) for low in range(0, n, _GRID)])


def _terms(x: np.ndarray) -> np.ndarray:
    """Return all products of powers up to `_DEGREE` in all, shape (terms, n)."""
    powers = [[np.ones_like(one)] for one in x]
    for one, raised in zip(x, powers, strict=True):
        for _ in range(_DEGREE):
            raised.append(raised[-1] * one)
    rows = []
    for degrees in np.ndindex(*(_DEGREE + 1,) * len(x)):
        if sum(degrees) <= _DEGREE:
            product = powers[0][degrees[0]]
            for place, degree in enumerate(degrees[1:], start=1):
                product = product * powers[place][degree]
            rows.append(product)
    return np.stack(rows)
