"""Made-up players: how each usually delivers each kind of head, and what a cue does to each of them."""

from dataclasses import dataclass

import numpy as np

from coachlab.academy.assumptions import HEADS, Assumptions
from coachlab.academy.cards import CueTruth
from coachlab.physics.arc import ARCS, path_from_arc

PARTS = ("attack_up_deg", "arc_azimuth_deg", "face_open_deg", "club_speed_mps")
"""What a player's delivery is made of; the path follows from the first two and the arc's incline."""


@dataclass(frozen=True, eq=False)
class Players:
    """Players and their usual delivery.

    ``handicap``, ``left`` and ``woman`` have shape (n,); ``incline_deg`` (n, heads); ``usual`` (n, heads, parts), in
    the order of `HEADS` and `PARTS`; ``loft_deg`` (n,) is added to a head's loft.
    """

    handicap: np.ndarray
    left: np.ndarray
    woman: np.ndarray
    incline_deg: np.ndarray
    usual: np.ndarray
    loft_deg: np.ndarray

    def path(self, head: int | np.ndarray, of: np.ndarray | slice = slice(None)) -> np.ndarray:
        """Return the usual path with a head."""
        usual = self.usual[of, head]
        return np.asarray(path_from_arc(usual[:, 1], usual[:, 0], self.incline_deg[of, head]))


def draw_players(number: int, a: Assumptions, rng: np.random.Generator, centred: bool = False) -> Players:
    """Return fresh players.

    Parameters
    ----------
    number : int
        How many.
    a : Assumptions
        The numbers.
    rng : numpy.random.Generator
        The source of the draw.
    centred : bool
        Whether the draws are shifted to mean 0: an expectation over many players then has next to no error of its own.
    """
    heads = len(HEADS)
    z = rng.standard_normal((number, 7 + 3 * heads))
    if centred:
        z -= z.mean(axis=0)
    woman, left = rng.random(number) < a.women, rng.random(number) < a.left
    handicap = np.clip(a.handicap + a.handicap_sd * z[:, 0], 2, 36)
    own = z[:, 7:].reshape(number, heads, 3)
    delivery = np.sqrt(a.club_r) * z[:, None, 1:4] + np.sqrt(1 - a.club_r) * own
    usual, incline = np.empty((number, heads, len(PARTS))), np.empty((number, heads))
    for column, head in enumerate(HEADS):
        numbers = a.heads[head]
        usual[:, column, 0] = numbers.attack + numbers.attack_between * delivery[:, column, 0]
        usual[:, column, 1] = numbers.azimuth + numbers.azimuth_between * delivery[:, column, 1]
        by_attack = numbers.attack_between / np.tan(np.radians(ARCS[head].incline_deg))
        turned = numbers.azimuth_between * delivery[:, column, 1] - by_attack * delivery[:, column, 0]
        spread = np.hypot(numbers.azimuth_between, by_attack)
        r = numbers.face_path_r
        usual[:, column, 2] = numbers.face_between * (r * turned / spread + np.sqrt(1 - r**2) * delivery[:, column, 2])
        # the slope on handicap is part of the spread between players, not on top of it
        rest = (numbers.speed_between / numbers.speed_men) ** 2 - (a.speed_per_stroke * a.handicap_sd) ** 2
        middle = np.where(woman, numbers.speed_women, numbers.speed_men)
        strokes = a.speed_per_stroke * (handicap - a.handicap)
        usual[:, column, 3] = middle * np.exp(strokes + np.sqrt(max(rest, 0.0)) * z[:, 4])
        incline[:, column] = ARCS[head].incline_deg + a.incline_sd * z[:, 5]
    return Players(handicap, left, woman, incline, usual, z[:, 6])


def cue_shift(
    truth: CueTruth,
    family: str,
    head: int,
    a: Assumptions,
    usual_attack_deg: np.ndarray,
    of_student: np.ndarray,
    of_coach: np.ndarray,
) -> np.ndarray:
    """Return what a cue shifts when it is done, shape (n, parts).

    Parameters
    ----------
    truth, family
        The cue.
    head : int
        Place in `HEADS`.
    a : Assumptions
        The numbers.
    usual_attack_deg : array, shape (n,)
        The players' usual attack with this head.
    of_student, of_coach : array, shape (n, parts)
        Standard normal draws: the player's own answer to the cue, and the coach's way with it.
    """
    name = HEADS[head]
    typical = ARCS[name].incline_deg
    between, coaches = a.slope(family), a.coach
    student_sd = np.array(
        [between.attack, between.azimuth(typical, f"slope SD, {name}"), between.face, between.speed], dtype=float
    )
    coach_sd = np.array([coaches.attack, coaches.azimuth(typical, f"coach SD, {name}"), coaches.face, coaches.speed])
    mean = np.array([truth.attack_up_deg, truth.arc_azimuth_deg, truth.face_open_deg, truth.club_speed_mps])
    shift = mean + truth.slope_ratio * student_sd * of_student + truth.coach_ratio * coach_sd * of_coach
    shift[:, 0] += truth.per_deg_steeper * (a.heads[name].attack - usual_attack_deg)
    return shift
