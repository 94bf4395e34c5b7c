"""From blocks to single shots: the swing, the ball, the sensor and what goes wrong between them.

What the ball does follows from the delivery by the package's own strike and flight.
"""

from dataclasses import dataclass

import numpy as np

from coachlab.academy.assumptions import HEADS, Assumptions
from coachlab.academy.ball import kept_speed, read_ball, struck
from coachlab.physics.arc import ARCS, path_from_arc

STEEPEST_DEG = 30.0  # a head cannot come in or leave steeper; far outside the range of a believable reading

MEASURED = (
    "club_speed_mps",
    "attack_up_deg",
    "path_out_deg",
    "face_open_deg",
    "delivered_loft_deg",
    "ball_speed_mps",
    "launch_up_deg",
    "launch_out_deg",
    "spin_rpm",
    "spin_tilt_deg",
    "carry_m",
    "side_out_m",
    "peak_m",
    "land_angle_deg",
    "flight_s",
)


@dataclass(frozen=True, eq=False)
class Blocks:
    """What the shots of a run of blocks have in common; every field has shape (blocks,).

    ``attack``, ``azimuth``, ``face`` and ``speed`` are the block's own level (degrees, m/s); ``spread`` multiplies the
    shot SDs (skill times the cue's own ratio), ``skill`` those of speed; ``first`` is the number of its first shot in
    the session, ``start_s`` when it began, in seconds after the session.
    """

    shots: np.ndarray
    head: np.ndarray
    attack: np.ndarray
    azimuth: np.ndarray
    face: np.ndarray
    speed: np.ndarray
    incline: np.ndarray
    loft: np.ndarray
    usual_attack: np.ndarray
    spread: np.ndarray
    skill: np.ndarray
    mishit: np.ndarray
    first: np.ndarray
    start_s: np.ndarray

    def part(self, rows: slice) -> "Blocks":
        """Return a run of the blocks."""
        return Blocks(**{name: values[rows] for name, values in vars(self).items()})


def swing(blocks: Blocks, a: Assumptions, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Return every shot that was struck, as measured.

    Returns
    -------
    dict of str to ndarray, shape (shots,)
        ``block`` (row in `blocks`), ``shot`` (number in the session), ``second``, ``read`` (False where the device gave
        nothing), the columns of `MEASURED`, and ``true_attack``, ``true_azimuth``, ``true_path`` before any sensor.
    """
    row = np.repeat(np.arange(len(blocks.shots)), blocks.shots)
    place = np.arange(len(row)) - np.repeat(np.cumsum(blocks.shots) - blocks.shots, blocks.shots)
    shot = blocks.first[row] + place
    head = blocks.head[row]
    of = {name: np.array([getattr(a.heads[name_], name) for name_ in HEADS]) for name in vars(a.heads["iron"])}

    z = _correlated(rng.standard_normal((4, len(row))), place, a, of["face_path_r"][head])
    mishit = rng.random(len(row)) < blocks.mishit[row]
    tired = np.maximum(shot - a.tired_after, 0)
    rough = blocks.spread[row] * (1 + a.tired_spread * tired) * np.where(mishit, a.mishit_sd, 1.0)
    z[:3] *= rough

    warm = a.warmup_attack * np.exp(-shot / a.warmup_attack_shots)
    attack = blocks.attack[row] + warm + of["attack_within"][head] * z[0]
    attack = np.clip(attack, -STEEPEST_DEG, STEEPEST_DEG)
    azimuth = blocks.azimuth[row] + of["azimuth_within"][head] * z[1]
    path = np.asarray(path_from_arc(azimuth, attack, blocks.incline[row]))
    turn = 1 / np.tan(np.radians([ARCS[name].incline_deg for name in HEADS]))[head]
    from_path = of["azimuth_within"][head] * z[1] - turn * of["attack_within"][head] * z[0]
    from_path /= np.hypot(of["azimuth_within"][head], turn * of["attack_within"][head])
    r = of["face_path_r"][head]
    face = blocks.face[row] + of["face_within"][head] * (r * from_path + np.sqrt(1 - r**2) * z[2])
    pace = 1 + a.warmup_speed * np.exp(-shot / a.warmup_speed_shots) + a.tired_speed * tired
    speed = blocks.speed[row] * (pace + of["speed_within"][head] * blocks.skill[row] * z[3])

    measured = _ball(blocks, row, head, of, a, (attack, path, face, speed), rough, mishit, rng)
    noise = rng.standard_normal((4, len(row)))
    measured["attack_up_deg"] = attack + a.sensor.attack * noise[0]
    measured["path_out_deg"] = path + a.sensor.path * noise[1]
    measured["face_open_deg"] = face + a.sensor.face * noise[2]
    measured["club_speed_mps"] = speed + a.sensor.speed * noise[3]
    _misread(measured, a, rng)
    return {
        "block": row,
        "shot": shot,
        "second": blocks.start_s[row] + 28.0 * place + rng.uniform(0, 8, len(row)),
        "read": rng.random(len(row)) >= a.unread * np.where(mishit, a.unread_mishit, 1.0),
        **{name: measured[name] for name in MEASURED},
        "true_attack": attack,
        "true_azimuth": azimuth,
        "true_path": path,
    }


def _correlated(z: np.ndarray, place: np.ndarray, a: Assumptions, r: np.ndarray) -> np.ndarray:
    """Give draws for attack, azimuth, face (the part that is not the path's) and speed their lag-1 correlations."""
    # the face takes r of its movement from the path, which brings the path's own lag with it
    share = float(np.mean(r)) ** 2 if len(r) else 0.0
    own_face = (a.lag_face - share * a.lag_attack) / (1 - share)
    lag = np.array([a.lag_attack, a.lag_attack, own_face, a.lag_speed])[:, None]
    fresh = np.sqrt(1 - lag**2)
    for step in range(1, int(place.max(initial=0)) + 1):
        here = np.flatnonzero(place == step)
        z[:, here] = lag * z[:, here - 1] + fresh * z[:, here]
    return z


def _ball(
    blocks: Blocks,
    row: np.ndarray,
    head: np.ndarray,
    of: dict[str, np.ndarray],
    a: Assumptions,
    delivery: tuple[np.ndarray, ...],
    rough: np.ndarray,
    mishit: np.ndarray,
    rng: np.random.Generator,
) -> dict[str, np.ndarray]:
    """Return what the device reads of loft, ball and flight.

    What stands in the stream of draws stays as it is, so that a seed's deliveries do not change with the sensor of the
    ball: its other errors come from a stream of their own.
    """
    attack, path, face, speed = delivery
    z = rng.standard_normal((7, len(row)))
    lost = np.where(mishit, rng.uniform(*a.mishit_carry, len(row)), 0.0)
    errors = np.concatenate([z[4:], rng.spawn(1)[0].standard_normal((8, len(row)))])
    loft = of["loft"][head] + a.loft_between * blocks.loft[row] + a.loft_within * z[0]
    # a mishit's own cost is the share of carry that it loses: the rest of its blow is the player's usual one
    steady = rough / np.where(mishit, a.mishit_sd, 1.0)
    loft += a.loft_per_attack * (attack - blocks.usual_attack[row])
    kept = (1 - np.minimum(of["contact"][head] * steady * np.abs(z[1]), 0.5)) * kept_speed(lost)
    blow = {
        "club_speed_mps": speed, "attack_up_deg": attack, "path_out_deg": path, "face_open_deg": face,
        "delivered_loft_deg": loft, "strike_toe_mm": of["strike_toe"][head] * steady * z[2],
        "strike_high_mm": of["strike_high"][head] * steady * z[3],
    }  # fmt: skip
    return read_ball(struck(head, blow, kept), loft, a.ball_sensor, errors)


def _misread(measured: dict[str, np.ndarray], a: Assumptions, rng: np.random.Generator) -> None:
    """Spoil some readings in place: gross ones (no rule could believe them) and flipped signs (every rule could)."""
    dice = rng.random(len(measured["attack_up_deg"]))
    gross = np.flatnonzero(dice < a.gross)
    which, sign = rng.integers(4, size=len(gross)), rng.choice([-1.0, 1.0], len(gross))
    far = sign * rng.uniform(42, 60, len(gross))
    for number, name in enumerate(("attack_up_deg", "path_out_deg", "face_open_deg")):
        rows = gross[which == number]
        measured[name][rows] = far[which == number]
    rows = gross[which == 3]
    measured["club_speed_mps"][rows] *= np.where(sign[which == 3] > 0, 2.6, 0.2)
    flipped = np.flatnonzero((dice >= a.gross) & (dice < a.gross + a.flipped))
    which = rng.integers(3, size=len(flipped))
    for number, name in enumerate(("attack_up_deg", "path_out_deg", "face_open_deg")):
        measured[name][flipped[which == number]] *= -1
