"""What is true in a simulated academy: the mean shift of each offered cue, and the spread that a study of it meets."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from coachlab.academy.assumptions import HEADS, Assumptions, Spread
from coachlab.academy.ball import usual_carry
from coachlab.academy.cards import CueTruth
from coachlab.academy.players import PARTS, Players, cue_shift, draw_players
from coachlab.physics.arc import ARCS, path_from_arc
from coachlab.schema import CLUBS, OUTCOMES

DRAWS = 100_000
TRUTH_SEED = 8_003  # the truth is an expectation: its draws do not depend on the academy's seed


def true_shifts(
    truths: Mapping[str, CueTruth],
    families: Mapping[str, str],
    clubs: Sequence[str],
    a: Assumptions,
    coach_z: np.ndarray,
    shares: np.ndarray,
) -> pd.DataFrame:
    """Return the expected shift of each offered cue over fresh students: ``cue``, ``club``, ``outcome``, ``value``.

    Parameters
    ----------
    truths, families : mapping
        What each cue does, and its family, by cue.
    clubs : sequence of str
        The clubs.
    a : Assumptions
        The numbers.
    coach_z : array, shape (coaches, cues, parts)
        The academy's own coaches.
    shares : array, shape (coaches,)
        Their shares of the students; scaled to sum to 1.

    Notes
    -----
    Draws are centred, and compliance enters by its exact share: the error left is that of the arc's curvature alone.
    """
    rows = []
    for cue, club, draws in _offers(truths, families, clubs, a, coach_z, shares):
        rows += [(cue, club, outcome, float(np.mean(draws[outcome][0]))) for outcome in OUTCOMES]
    return pd.DataFrame(rows, columns=["cue", "club", "outcome", "value"])


def effective_spread(
    truths: Mapping[str, CueTruth],
    families: Mapping[str, str],
    clubs: Sequence[str],
    a: Assumptions,
    coach_z: np.ndarray,
    shares: np.ndarray,
) -> pd.DataFrame:
    """Return ``cue``, ``club``, ``outcome``, ``slope_sd``, ``block_sd``, ``shot_sd``; arguments as `true_shifts`.

    Attack, path, face, face to path and club speed. Shot SDs leave out fatigue and gross misreads, which a range rule
    sets aside; the lag-1 correlation is in, as it weighs on the mean of a block of nine shots.
    """
    rows = []
    for cue, club, draws in _offers(truths, families, clubs, a, coach_z, shares):
        players, head = draws["players"]
        ignored = a.ignored(families[cue])
        shot = _shot_variance(truths[cue], ignored, players, head, a)
        block = _block_variance(players, head, a.block)
        for outcome, variance in block.items():
            mean, changing = draws[outcome]
            # a block's shift is done, or only in part: what is left of that within a student is block noise of the cue
            noise = variance + np.mean(changing) / 2
            spread = [float(np.std(mean)), float(np.sqrt(noise)), float(np.sqrt(shot[outcome]))]
            rows.append((cue, club, outcome, *spread))
    return pd.DataFrame(rows, columns=["cue", "club", "outcome", "slope_sd", "block_sd", "shot_sd"])


def student_shifts(
    truths: Mapping[str, CueTruth],
    families: Mapping[str, str],
    clubs: Sequence[str],
    a: Assumptions,
    players: Players,
    slope_z: np.ndarray,
    coach_z: np.ndarray,
    names: Sequence[str],
) -> pd.DataFrame:
    """Return each player's own expected shift: ``student``, ``cue``, ``club``, ``outcome``, ``value``.

    ``slope_z`` and ``coach_z`` have shape (students, cues, parts): every player's own answers, and their coach's ways.
    """
    parts = []
    for number, cue in enumerate(truths):
        for club in clubs:
            draws = _outcomes(truths[cue], families[cue], club, a, players, slope_z[:, number], coach_z[:, number])
            parts += [
                pd.DataFrame(
                    {"student": names, "cue": cue, "club": club, "outcome": outcome, "value": draws[outcome][0]}
                )
                for outcome in OUTCOMES
            ]
    return pd.concat(parts, ignore_index=True)


def _offers(truths, families, clubs, a, coach_z, shares):  # noqa: ANN001, ANN202
    """Give (cue, club, draws) over fresh students."""
    rng = np.random.default_rng(TRUTH_SEED)
    players = draw_players(DRAWS, a, rng, centred=True)
    coach = np.repeat(np.arange(len(shares)), _quota(shares, DRAWS))
    for number, (cue, truth) in enumerate(truths.items()):
        own = rng.standard_normal((DRAWS, len(PARTS)))
        own -= own.mean(axis=0)
        for club in clubs:
            draws = _outcomes(truth, families[cue], club, a, players, own, coach_z[coach, number])
            yield cue, club, draws | {"players": (players, HEADS.index(CLUBS[club]))}


def _outcomes(
    truth: CueTruth, family: str, club: str, a: Assumptions, players: Players, own: np.ndarray, coach: np.ndarray
) -> dict:
    """Return by outcome each player's expected shift, and its variance from block to block (done or hardly done)."""
    head = HEADS.index(CLUBS[club])
    usual, incline = players.usual[:, head], players.incline_deg[:, head]
    shift = cue_shift(truth, family, head, a, usual[:, 0], own, coach)
    parts = [usual, usual + shift, usual + a.ignored_effect * shift]
    before, done, part = (_delivery(each, incline) for each in parts)
    carries = _carries(parts, usual[:, 0], incline, head, a, players)
    before["carry_m"] = carries[0]
    for delivery, carry in ((done, carries[1]), (part, carries[2])):
        # nothing shifted is exactly nothing, whatever the last digit of a flight
        delivery["carry_m"] = np.where((shift == 0).all(axis=1), carries[0], carry)
    ignored = a.ignored(family)
    result = {}
    for outcome in OUTCOMES:
        whole, hardly = done[outcome] - before[outcome], part[outcome] - before[outcome]
        mean = (1 - ignored) * whole + ignored * hardly
        result[outcome] = (mean, ignored * (1 - ignored) * (whole - hardly) ** 2)
    return result


def _delivery(parts: np.ndarray, incline: np.ndarray) -> dict:
    attack, azimuth, face, speed = parts.T
    path = np.asarray(path_from_arc(azimuth, attack, incline))
    return {
        "attack_up_deg": attack,
        "path_out_deg": path,
        "face_open_deg": face,
        "face_to_path_deg": face - path,
        "club_speed_mps": speed,
    }


def _carries(
    parts: list[np.ndarray], usual_attack: np.ndarray, incline: np.ndarray, head: int, a: Assumptions, players: Players
) -> list[np.ndarray]:
    """Return each player's carry without noise for each set of parts, with the share that mishits cost taken off."""
    together = np.concatenate(parts)
    attack, azimuth, face, speed = together.T
    path = np.asarray(path_from_arc(azimuth, attack, np.tile(incline, len(parts))))
    loft = a.heads[HEADS[head]].loft + a.loft_between * np.tile(players.loft_deg, len(parts))
    loft += a.loft_per_attack * (attack - np.tile(usual_attack, len(parts)))
    carry = usual_carry(head, a, np.stack([speed, attack, path, face, loft]))
    lost = a.mishit_share(players.handicap) * float(np.mean(a.mishit_carry))
    return [each * (1 - lost) for each in np.split(carry, len(parts))]


def _block_variance(players: Players, head: int, block: Spread) -> dict[str, float]:
    speed = float(np.mean((block.speed * players.usual[:, head, 3]) ** 2))
    return {
        "attack_up_deg": block.attack**2,
        "path_out_deg": block.path**2,
        "face_open_deg": block.face**2,
        "face_to_path_deg": block.face**2 + block.path**2,
        "club_speed_mps": speed,
    }


def _shot_variance(truth: CueTruth, ignored: float, players: Players, head: int, a: Assumptions) -> dict[str, float]:
    """Return the variance of a shot in its block, over plain and cue and over players, times the weight of its lag."""
    numbers, turn = a.heads[HEADS[head]], 1 / np.tan(np.radians(ARCS[HEADS[head]].incline_deg))
    skill = a.skill_ratio(players.handicap) ** 2
    rough = np.mean(skill * (1 + a.mishit_share(players.handicap) * (a.mishit_sd**2 - 1)))
    hardly = 1 + a.ignored_effect * (truth.spread_ratio - 1)
    rough *= (1 + (1 - ignored) * truth.spread_ratio**2 + ignored * hardly**2) / 2
    path = numbers.azimuth_within**2 + (turn * numbers.attack_within) ** 2
    together = numbers.face_path_r * numbers.face_within * np.sqrt(path)
    pace = np.mean(skill * (numbers.speed_within * players.usual[:, head, 3]) ** 2)
    sensor = a.sensor
    lag, lag_face, lag_speed = _lag_weight(a.lag_attack), _lag_weight(a.lag_face), _lag_weight(a.lag_speed)
    return {
        "attack_up_deg": rough * lag * numbers.attack_within**2 + sensor.attack**2,
        "path_out_deg": rough * lag * path + sensor.path**2,
        "face_open_deg": rough * lag_face * numbers.face_within**2 + sensor.face**2,
        "face_to_path_deg": rough * (lag_face * numbers.face_within**2 + lag * (path - 2 * together))
        + sensor.face**2
        + sensor.path**2,
        "club_speed_mps": lag_speed * pace + sensor.speed**2,
    }


def _lag_weight(r: float, shots: int = 9) -> float:
    """Return how much more the mean of a block varies than that of as many shots without a lag."""
    steps = np.arange(1, shots)
    return float(1 + 2 * np.sum((1 - steps / shots) * r**steps))


def _quota(shares: np.ndarray, total: int) -> np.ndarray:
    """Return whole numbers that sum to the total, as near to the shares as can be."""
    edges = np.rint(np.cumsum(shares) / np.sum(shares) * total).astype(int)
    return np.diff(np.concatenate([[0], edges]))
