"""The cue cards of the running example, and what each cue truly does in a simulated academy."""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import pandas as pd

from coachlab.errors import DataError, need

_ATTACK, _PATH = "attack_up_deg", "path_out_deg"


@dataclass(frozen=True)
class CueTruth:
    """What a cue does when it is done: mean shifts (degrees, m/s), and how they vary.

    ``per_deg_steeper`` is added to the attack shift for each degree by which a student is steeper than the mean;
    ``spread_ratio`` multiplies the shot-to-shot SDs of attack, azimuth and face; ``slope_ratio`` and ``coach_ratio``
    multiply the SDs between students and coaches, in every outcome.
    """

    attack_up_deg: float = 0.0
    arc_azimuth_deg: float = 0.0
    face_open_deg: float = 0.0
    club_speed_mps: float = 0.0
    per_deg_steeper: float = 0.0
    spread_ratio: float = 1.0
    slope_ratio: float = 1.0
    coach_ratio: float = 1.0


TRUTHS: Mapping[str, CueTruth] = {
    "S1": CueTruth(attack_up_deg=1.4, face_open_deg=-0.4),
    "S2": CueTruth(arc_azimuth_deg=1.6, face_open_deg=0.4),
    "S3": CueTruth(attack_up_deg=0.8, arc_azimuth_deg=1.4, face_open_deg=0.3, club_speed_mps=-0.3, spread_ratio=1.05),
    "I1": CueTruth(attack_up_deg=-1.3, spread_ratio=0.92),
    "I2": CueTruth(1.6, 0.7, 0.8, -0.2, per_deg_steeper=0.25, spread_ratio=1.15),
    "I3": CueTruth(attack_up_deg=0.4, arc_azimuth_deg=2.4, face_open_deg=1.2, spread_ratio=1.08),
    "I4": CueTruth(slope_ratio=0.0, coach_ratio=0.0),
}
"""The running example's cues as done, all assumed: I1 goes the wrong way for steep players, I2 depends on the
pattern and costs face and spread, I4 is a true null."""

CUES = pd.DataFrame(
    [
        ("S1", "ball-forward", "setup", "Play it one ball-width nearer your lead foot.", _ATTACK, 1),
        ("S2", "foot-back", "setup", "Draw your trail foot back by a hand's length.", _PATH, 1),
        ("S3", "shoulder-up", "setup", "Stand with your lead shoulder a touch higher.", f"{_ATTACK} {_PATH}", 1),
        ("I1", "coin-ahead", "intent", "There's a coin four fingers past the ball. Clip that too.", _ATTACK, -1),
        ("I2", "rafter", "intent", "Start it over the far rafter.", _ATTACK, 1),
        ("I3", "plank-right", "intent", "Swing the head along the plank that points right of the flag.", _PATH, 1),
        ("I4", "soft-hum", "intent", "Hum softly through the swing.", "", 1),
        ("plain", "plain", "none", "Just hit your normal shot to the flag.", "", 1),
    ],
    columns=["cue", "name", "family", "card_text", "moves", "direction"],
).assign(version="1", clubs="", exclusions="")[
    ["cue", "name", "version", "family", "card_text", "moves", "direction", "clubs", "exclusions"]
]  # fmt: skip
"""The cue cards of the running example, as `settings.read_cues` returns them."""


def cue_truths(cues: pd.DataFrame, changes: Mapping[str, CueTruth | Mapping[str, float]] | None) -> dict[str, CueTruth]:
    """Return the truth of each cue on the cards, with the changes asked for.

    Parameters
    ----------
    cues : DataFrame
        Cue cards.
    changes : mapping or None
        By cue: a whole `CueTruth`, or only the fields to change.

    Raises
    ------
    DataError
        If a cue or a field is unknown, or a cue has no truth.
    """
    asked = "The truth of an academy's cues was given."
    need(changes, (Mapping, type(None)), asked, "truths", 'Give it by cue, as in {"I2": {"attack_up_deg": 0}}.')
    changes = changes or {}
    missing = [name for name in ("cue", "family") if name not in cues]
    if missing:
        raise DataError(asked, f"The cue cards have no column {missing[0]}.", "Give cards as read_cues does.")
    ids = [cue for cue, family in zip(cues["cue"], cues["family"], strict=True) if family != "none"]
    known = [item.name for item in fields(CueTruth)]
    for cue, change in changes.items():
        if cue not in ids:
            raise DataError(
                asked, f"Cue {cue!r} is none of {', '.join(ids)}.", "Use the id of one of its cues.", cue=cue
            )
        wrong = [] if isinstance(change, CueTruth) else [name for name in change if name not in known]
        if wrong:
            raise DataError(asked, f"Cue {cue}: {wrong[0]!r} is unknown.", f"Use one of {', '.join(known)}.", cue=cue)
    truths = {}
    for cue in ids:
        change = changes.get(cue, {})
        if isinstance(change, CueTruth):
            truths[cue] = change
        elif cue in TRUTHS or change:
            truths[cue] = replace(TRUTHS.get(cue, CueTruth()), **change)
        else:
            raise DataError(asked, f"Nothing says what cue {cue} does.", "Give it in truths=.", cue=cue)
    return truths
