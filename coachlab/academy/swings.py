"""From blocks to single shots: the swing, the ball, the sensor and what goes wrong between them.

The ball is kept simple (launch, ball speed, spin, carry and side from plain proportions, see `Assumptions`); the
delivery is what the simulated academy is about.
"""

from dataclasses import dataclass

import numpy as np

from coachlab.academy.assumptions import HEADS, Assumptions
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
    """Return what the ball did: plain proportions, with the SDs of the carry as assumed."""
    attack, path, face, speed = delivery
    z = rng.standard_normal((7, len(row)))
    loft = of["loft"][head] + 1.5 * blocks.loft[row] + 0.5 * (attack - blocks.usual_attack[row]) + 1.2 * z[0]
    lost = np.where(mishit, rng.uniform(*a.mishit_carry, len(row)), 0.0)
    # a ball that loses a third of its carry has lost about a quarter of its speed
    ball_speed = speed * of["smash"][head] * (1 + 0.012 * z[1]) * (1 - lost) ** 0.7
    share = of["face_share"][head]
    launch_out = share * face + (1 - share) * path + 0.4 * z[2]
    launch_up = of["loft_share"][head] * loft + (1 - of["loft_share"][head]) * attack + 0.4 * z[6]
    spin = of["spin_per_mps"][head] * speed * np.sin(np.radians(np.clip(loft - attack, 2, 80))) * (1 + 0.06 * z[3])
    tilt = np.clip(of["tilt_per_deg"][head] * (face - path) + 1.5 * z[4], -75, 75)
    clean = of["carry"][head] * (speed / of["speed_men"][head]) ** a.carry_power
    gain = of["carry_per_attack_m"][head]
    explained = (of["carry"][head] * a.carry_power * of["speed_within"][head]) ** 2 + (
        gain * of["attack_within"][head]
    ) ** 2
    rest = np.sqrt(np.maximum(of["carry_within"][head] ** 2 - explained, 0.0))
    # of the roughness the carry takes the player's, not the mishit's: that one costs length instead
    wild = rest * rough / np.where(mishit, a.mishit_sd, 1.0)
    carry = np.maximum((clean + gain * (attack - of["attack"][head]) + wild * z[5]) * (1 - lost), 1.0)
    side = carry * (np.sin(np.radians(launch_out)) + of["curve"][head] * np.sin(np.radians(tilt)))
    return {
        "delivered_loft_deg": loft,
        "ball_speed_mps": ball_speed,
        "launch_up_deg": launch_up,
        "launch_out_deg": launch_out,
        "spin_rpm": spin,
        "spin_tilt_deg": tilt,
        "carry_m": carry,
        "side_out_m": side,
    }


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
