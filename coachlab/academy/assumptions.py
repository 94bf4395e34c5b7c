"""What the simulated academy assumes, number by number, and where each comes from.

Marks: S sourced, A assumed, G derived from geometry. Only a handful are sourced; the table goes with all demo data.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from coachlab.errors import DataError
from coachlab.physics.arc import ARCS

HEADS = ("driver", "iron", "wedge")


@dataclass(frozen=True)
class HeadNumbers:
    """One kind of head in the hands of a mid-handicap adult; degrees, m/s, mm. Spreads are SDs.

    ``*_between`` is between students, ``*_within`` between shots of one block at handicap 15; speeds between students
    are a man's; ``speed_within`` is a share of the speed. ``contact`` is the share of ball speed that what lies between
    face and ball takes away: the SD of a normal distribution of which only one half is used, as nothing is ever gained.
    """

    attack: float
    attack_between: float
    attack_within: float
    azimuth: float
    azimuth_between: float
    azimuth_within: float
    face_between: float
    face_within: float
    face_path_r: float
    speed_men: float
    speed_women: float
    speed_between: float
    speed_within: float
    loft: float
    strike_toe: float
    strike_high: float
    contact: float


_DRIVER = HeadNumbers(
    attack=-1.5, attack_between=3.0, attack_within=1.7, azimuth=-2.5, azimuth_between=4.0, azimuth_within=2.1,
    face_between=2.5, face_within=3.0, face_path_r=0.4, speed_men=41, speed_women=33,
    speed_between=4.5, speed_within=0.017, loft=14.0, strike_toe=9.0,
    strike_high=6.3, contact=0.02,
)  # fmt: skip
_IRON = HeadNumbers(
    attack=-3.5, attack_between=2.5, attack_within=1.8, azimuth=-3.0, azimuth_between=3.5, azimuth_within=2.0,
    face_between=2.3, face_within=3.2, face_path_r=0.4, speed_men=34, speed_women=28,
    speed_between=3.6, speed_within=0.018, loft=23.5, strike_toe=7.0,
    strike_high=5.0, contact=0.04,
)  # fmt: skip
_WEDGE = HeadNumbers(
    attack=-5.0, attack_between=2.3, attack_within=1.9, azimuth=-3.0, azimuth_between=3.2, azimuth_within=2.0,
    face_between=2.0, face_within=3.2, face_path_r=0.3, speed_men=31, speed_women=26,
    speed_between=3.2, speed_within=0.022, loft=38.0, strike_toe=7.0,
    strike_high=5.0, contact=0.05,
)  # fmt: skip


@dataclass(frozen=True)
class Spread:
    """One kind of spread as SDs of attack, path and face (degrees) and speed (m/s, or a share where it says so)."""

    attack: float
    path: float
    face: float
    speed: float

    def azimuth(self, incline_deg: np.ndarray | float, what: str) -> np.ndarray:
        """Return the SD of the arc's azimuth that gives this SD of path beside this SD of attack.

        Raises
        ------
        DataError
            If attack alone already moves the path by more than that.
        """
        free = self.path**2 - (self.attack / np.tan(np.radians(incline_deg))) ** 2
        if np.any(free < -1e-12):
            raise DataError(
                "An academy was to be simulated.",
                f"{what}: path {self.path:g} is less than the arc's geometry makes of attack {self.attack:g}.",
                "Raise the SD of path, or lower that of attack.",
            )
        return np.sqrt(np.maximum(free, 0.0))


@dataclass(frozen=True)
class BallSensor:
    """Random errors of what a device reads of the ball, SDs in degrees and m, or as a share.

    Shares are ``speed``, ``spin``, ``carry``, ``peak`` and ``time``; ``launch`` is for both start directions.
    """

    speed: float = 0.005
    loft: float = 0.8
    launch: float = 0.3
    spin: float = 0.03
    tilt: float = 1.5
    carry: float = 0.01
    side: float = 0.5
    peak: float = 0.02
    land: float = 0.7
    time: float = 0.01


@dataclass(frozen=True)
class Assumptions:
    """Every number behind a simulated academy but the cues' own; change some with `dataclasses.replace`."""

    heads: Mapping[str, HeadNumbers] = field(
        default_factory=lambda: {"driver": _DRIVER, "iron": _IRON, "wedge": _WEDGE}
    )
    incline_sd: float = 2.5
    club_r: float = 0.8  # correlation of one student's usual delivery between kinds of head
    handicap: float = 15.0
    handicap_sd: float = 4.5
    women: float = 0.3
    left: float = 0.08
    speed_per_stroke: float = -0.021
    skill: float = 0.025
    session: Spread = Spread(0.8, 1.0, 0.8, 0.012)
    block: Spread = Spread(0.6, 0.7, 0.5, 0.006)
    sensor: Spread = Spread(0.5, 0.6, 0.8, 0.3)
    ball_sensor: BallSensor = BallSensor()
    loft_between: float = 1.5
    loft_within: float = 1.2
    loft_per_attack: float = 0.5
    setup_slope: Spread = Spread(0.6, 0.7, 0.6, 0.4)
    intent_slope: Spread = Spread(1.1, 1.3, 0.9, 0.8)
    coach: Spread = Spread(0.3, 0.3, 0.2, 0.1)
    lag_attack: float = 0.10
    lag_face: float = 0.05
    lag_speed: float = 0.20
    mishit: tuple[float, float, float] = (0.03, 0.08, 0.14)
    mishit_handicaps: tuple[float, float, float] = (6.0, 15.0, 24.0)
    mishit_sd: float = 3.0
    mishit_carry: tuple[float, float] = (0.10, 0.35)
    gross: float = 0.005
    flipped: float = 0.001
    unread: float = 0.02
    unread_mishit: float = 4.0
    warmup_speed: float = -0.025
    warmup_speed_shots: float = 6.0
    warmup_attack: float = -0.4
    warmup_attack_shots: float = 8.0
    practice: float = 0.05
    tired_after: int = 50
    tired_speed: float = -0.0005
    tired_spread: float = 0.005
    setup_ignored: float = 0.05
    intent_ignored: float = 0.20
    ignored_effect: float = 0.30
    missing_blocks: float = 0.05
    chosen_slope: float = -0.4
    rogue_drops: float = 0.20

    def __post_init__(self) -> None:
        for name in (
            "left",
            "women",
            "gross",
            "flipped",
            "unread",
            "setup_ignored",
            "intent_ignored",
            "missing_blocks",
        ):
            share = getattr(self, name)
            if not 0 <= share < 1:
                raise DataError(
                    "An academy's assumptions were given.",
                    f"{name} is {share!r}; it is a share, from 0 to below 1.",
                    "Write 5 % as 0.05.",
                )

    def slope(self, family: str) -> Spread:
        """Return the SDs between students of a cue's shift, by the cue's family."""
        return self.setup_slope if family == "setup" else self.intent_slope

    def ignored(self, family: str) -> float:
        """Return the share of blocks in which the cue is offered and hardly done."""
        return self.setup_ignored if family == "setup" else self.intent_ignored

    def mishit_share(self, handicap: np.ndarray) -> np.ndarray:
        """Return the share of mishits at a handicap."""
        return np.interp(handicap, self.mishit_handicaps, self.mishit)

    def skill_ratio(self, handicap: np.ndarray) -> np.ndarray:
        """Return the factor on all shot-to-shot SDs at a handicap."""
        return np.exp(self.skill * (handicap - self.handicap))

    def table(self) -> pd.DataFrame:
        """Return the assumptions to print beside the data: ``quantity``, ``value``, ``mark``."""
        rows: list[tuple[str, str, str]] = []
        for name, mark in _HEAD_MARKS.items():
            values = " / ".join(f"{getattr(self.heads[head], name):g}" for head in HEADS)
            rows.append((f"driver / mid iron / wedge: {_HEAD_WORDS[name]}", values, mark))
        inclines = " / ".join(f"{ARCS[head].incline_deg:g}" for head in HEADS)
        rows.append(("driver / mid iron / wedge: arc incline, deg from the ground", inclines, "A"))
        rows.append(("ball and flight", "the package's own strike and flight, indoors at 20 °C", "G"))
        rows.append(("path", "arc azimuth - asin(tan attack / tan incline)", "G"))
        for name, (words, mark) in _MARKS.items():
            value = getattr(self, name)
            if isinstance(value, BallSensor):
                shown = " / ".join(f"{part:g}" for part in vars(value).values())
            elif isinstance(value, Spread):
                shown = f"{value.attack:g} / {value.path:g} / {value.face:g} / {value.speed:g}"
            else:
                shown = " / ".join(f"{part:g}" for part in (value if isinstance(value, tuple) else (value,)))
            rows.append((words, shown, mark))
        return pd.DataFrame(rows, columns=["quantity", "value", "mark"])


_HEAD_WORDS = {
    "attack": "attack, mean, deg",
    "attack_between": "attack, SD between students",
    "attack_within": "attack, SD between shots of a block",
    "azimuth": "arc azimuth, mean, deg",
    "azimuth_between": "arc azimuth, SD between students",
    "azimuth_within": "arc azimuth, SD between shots of a block",
    "face_between": "face, SD between students, deg (mean 0)",
    "face_within": "face, SD between shots of a block",
    "face_path_r": "correlation of face and path, within a block and between students",
    "speed_men": "club speed, men, m/s",
    "speed_women": "club speed, women, m/s",
    "speed_between": "club speed, SD between men of all handicaps",
    "speed_within": "club speed, SD between shots of a block, share",
    "loft": "delivered loft, deg",
    "strike_toe": "strike across the face, SD between shots, mm",
    "strike_high": "strike up and down the face, SD between shots, mm",
    "contact": "ball speed lost to what lies between face and ball, share (half-normal, SD)",
}
_HEAD_MARKS = dict.fromkeys(_HEAD_WORDS, "A")

_FOUR = "attack deg / path deg / face deg / speed"
_MARKS = {
    "incline_sd": ("arc incline, SD between students, deg", "A"),
    "club_r": ("correlation of a student's usual delivery between kinds of head", "A"),
    "handicap": ("handicap, mean", "A"),
    "handicap_sd": ("handicap, SD", "A"),
    "women": ("share of women", "A"),
    "left": ("share of left-handers", "A"),
    "speed_per_stroke": ("club speed per stroke of handicap, share", "S"),
    "skill": ("shot SDs are multiplied by exp(this x (handicap - mean))", "A"),
    "session": (f"SD between sessions: {_FOUR} as a share", "A"),
    "block": (f"SD between blocks: {_FOUR} as a share", "A"),
    "sensor": (f"random error of the sensor, SD: {_FOUR} m/s", "A"),
    "ball_sensor": (
        "random error of the sensor, SD: ball speed share / loft deg / start up and out deg / spin share / tilt deg / "
        "carry share / side m / peak share / fall deg / time share",
        "A",
    ),
    "loft_between": ("delivered loft, SD between students, deg", "A"),
    "loft_within": ("delivered loft, SD between shots beside what attack brings, deg", "A"),
    "loft_per_attack": ("delivered loft per degree of attack within a student, deg", "A"),
    "setup_slope": (f"SD between students of a setup cue's shift: {_FOUR} m/s", "A"),
    "intent_slope": (f"SD between students of an intent cue's shift: {_FOUR} m/s", "A"),
    "coach": (f"SD between coaches of a cue's shift, drawn for each cue: {_FOUR} m/s", "A"),
    "lag_attack": ("lag-1 correlation within a block, attack and path", "A"),
    "lag_face": ("lag-1 correlation within a block, face", "A"),
    "lag_speed": ("lag-1 correlation within a block, speed", "A"),
    "mishit": ("share of mishits at the handicaps of the next line", "A"),
    "mishit_handicaps": ("handicaps of that line, straight between them", "A"),
    "mishit_sd": ("factor of a mishit on the SDs of attack, azimuth and face", "A"),
    "mishit_carry": ("share of the carry that a mishit loses to a poor contact, about, from / to", "A"),
    "gross": ("share of gross misreads", "A"),
    "flipped": ("share of readings with a flipped sign", "A"),
    "unread": ("share of shots not read", "A"),
    "unread_mishit": ("times as many of the mishits", "A"),
    "warmup_speed": ("warm-up: speed, share at shot 0 (direction sourced)", "A"),
    "warmup_speed_shots": ("warm-up: shots in which that falls to 1/e", "A"),
    "warmup_attack": ("warm-up: attack, deg at shot 0", "A"),
    "warmup_attack_shots": ("warm-up: shots in which that falls to 1/e", "A"),
    "practice": ("practice: attack, deg up per session (existence sourced)", "A"),
    "tired_after": ("fatigue begins after this shot", "A"),
    "tired_speed": ("fatigue: speed, share per shot", "A"),
    "tired_spread": ("fatigue: shot SDs, share per shot", "A"),
    "setup_ignored": ("blocks in which a setup cue is hardly done, share", "A"),
    "intent_ignored": ("blocks in which an intent cue is hardly done, share", "A"),
    "ignored_effect": ("share of the effect that is left then", "A"),
    "missing_blocks": ("test blocks lost, share", "A"),
    "chosen_slope": ("coach-chosen lessons: logit of I2 or S1 per degree of attack above the mean", "A"),
    "rogue_drops": ("share of cue shots that the coach who logs only the best leaves out", "A"),
}
