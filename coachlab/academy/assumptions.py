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
    """One kind of head in the hands of a mid-handicap adult; degrees, m/s, m. Spreads are SDs.

    ``*_between`` is between students, ``*_within`` between shots of one block at handicap 15; speeds between students
    and carries are a man's; ``speed_within`` is a share of the speed.
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
    face_share: float
    speed_men: float
    speed_women: float
    speed_between: float
    speed_within: float
    carry: float
    carry_within: float
    # the ball, kept simple
    carry_per_attack_m: float
    smash: float
    loft: float
    loft_share: float
    spin_per_mps: float
    tilt_per_deg: float
    curve: float


_DRIVER = HeadNumbers(
    attack=-1.5, attack_between=3.0, attack_within=1.7, azimuth=-2.5, azimuth_between=4.0, azimuth_within=2.1,
    face_between=2.5, face_within=3.0, face_path_r=0.4, face_share=0.80, speed_men=41, speed_women=33,
    speed_between=4.5, speed_within=0.017, carry=178, carry_within=13, carry_per_attack_m=1.8, smash=1.44, loft=14.0,
    loft_share=0.85, spin_per_mps=274, tilt_per_deg=4.3, curve=0.31,
)  # fmt: skip
_IRON = HeadNumbers(
    attack=-3.5, attack_between=2.5, attack_within=1.8, azimuth=-3.0, azimuth_between=3.5, azimuth_within=2.0,
    face_between=2.3, face_within=3.2, face_path_r=0.4, face_share=0.70, speed_men=34, speed_women=28,
    speed_between=3.6, speed_within=0.018, carry=122, carry_within=8, carry_per_attack_m=0.6, smash=1.33, loft=23.5,
    loft_share=0.75, spin_per_mps=389, tilt_per_deg=2.1, curve=0.48,
)  # fmt: skip
_WEDGE = HeadNumbers(
    attack=-5.0, attack_between=2.3, attack_within=1.9, azimuth=-3.0, azimuth_between=3.2, azimuth_within=2.0,
    face_between=2.0, face_within=3.2, face_path_r=0.3, face_share=0.65, speed_men=31, speed_women=26,
    speed_between=3.2, speed_within=0.022, carry=88, carry_within=7, carry_per_attack_m=0.3, smash=1.18, loft=38.0,
    loft_share=0.65, spin_per_mps=378, tilt_per_deg=1.0, curve=0.78,
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
    carry_power: float = 1.3

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
        rows.append(("path", "arc azimuth - asin(tan attack / tan incline)", "G"))
        for name, (words, mark) in _MARKS.items():
            value = getattr(self, name)
            if isinstance(value, Spread):
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
    "face_share": "share of the start direction that is the face's (range over clubs sourced)",
    "speed_men": "club speed, men, m/s",
    "speed_women": "club speed, women, m/s",
    "speed_between": "club speed, SD between men of all handicaps",
    "speed_within": "club speed, SD between shots of a block, share",
    "carry": "carry, men, m",
    "carry_within": "carry, SD between shots without mishits, m",
    "carry_per_attack_m": "carry per degree of attack, m (simple)",
    "smash": "ball speed over club speed (simple)",
    "loft": "delivered loft, deg (simple)",
    "loft_share": "share of the launch angle that is the loft's (simple)",
    "spin_per_mps": "spin, rpm per m/s of club speed and unit of sin(loft - attack) (simple)",
    "tilt_per_deg": "tilt of the spin axis per degree of face to path",
    "curve": "sideways drift per carry and sin(tilt) (simple)",
}
_HEAD_MARKS = {name: "S" if name == "face_share" else "G" if name == "tilt_per_deg" else "A" for name in _HEAD_WORDS}

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
    "setup_slope": (f"SD between students of a setup cue's shift: {_FOUR} m/s", "A"),
    "intent_slope": (f"SD between students of an intent cue's shift: {_FOUR} m/s", "A"),
    "coach": (f"SD between coaches of a cue's shift, drawn for each cue: {_FOUR} m/s", "A"),
    "lag_attack": ("lag-1 correlation within a block, attack and path", "A"),
    "lag_face": ("lag-1 correlation within a block, face", "A"),
    "lag_speed": ("lag-1 correlation within a block, speed", "A"),
    "mishit": ("share of mishits at the handicaps of the next line", "A"),
    "mishit_handicaps": ("handicaps of that line, straight between them", "A"),
    "mishit_sd": ("factor of a mishit on the SDs of attack, azimuth and face", "A"),
    "mishit_carry": ("share of the carry that a mishit loses, from / to", "A"),
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
    "carry_power": ("carry grows with club speed to this power (simple; gives the assumed spread between men)", "A"),
}
