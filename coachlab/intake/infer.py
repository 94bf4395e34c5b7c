"""What the ball says about the club: loft and face as inferred, in a table of their own, never among the measured."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from coachlab.errors import DataError
from coachlab.intake.findings import sound
from coachlab.intake.plain import plain_table
from coachlab.intake.shots import Shots, is_usable, shots_table
from coachlab.physics.inverse import ERRORS, infer_club
from coachlab.physics.launch import Launch, check_launch
from coachlab.schema import CLUBS

INFERRED_COLUMNS = (
    "source", "source_row", "student", "session", "shot", "club", "inferred_loft_deg", "loft_error_deg",
    "inferred_face_deg", "face_error_deg", "why_not",
)  # fmt: skip

BALL = ("ball_speed_mps", "launch_up_deg", "launch_out_deg", "spin_rpm", "spin_tilt_deg")
"""The readings that it takes."""

_NO_READING, _NO_CLUB, _NO_FACE = "a reading of the ball is missing", "no club is said", "ball and spin fit no face"
_SET_ASIDE = "the shot is set aside"

BALL_ONLY: tuple[str, ...] = (
    "From the ball alone an academy may learn how fast, how high, where and with which spin the ball starts, and, "
    "where the flight is measured, how far and how far beside it lands: all of these are measured.",
    "It may show loft and face as inferred: where the face pointed at the spot that met the ball. With a driver that "
    "spot's own curve makes up most of the error, {driver_loft:g} degrees of loft and {driver_face:g} of face (rms); "
    "a flat iron's is {iron_loft:g} and {iron_face:g}, a wedge's {wedge_loft:g} and {wedge_face:g}, with a typical "
    "sensor.",
    "It may not show attack: inferred from the ball it would be off by {driver_attack:g} degrees with a driver, "
    "{iron_attack:g} with an iron and {wedge_attack:g} with a wedge, which is more than most cues move it. More shots "
    "do not mend that, because part of the error, how the face springs back, is the same in every shot.",
    "It may not show path, face to path or the turn of the arc either: path alone would be off by {driver_path:g} "
    "degrees with a driver. Nor may it say which cue moves them; for that the club must be measured.",
    "A cue can still be judged by what the ball does, as by its carry, without saying what the club did.",
)
"""What an academy with ball data only may and may not learn."""


@dataclass(frozen=True, eq=False)
class InferredShots:
    """Loft and face of many shots as the ball tells them, beside their typical errors.

    Attributes
    ----------
    table : DataFrame
        One row a shot: `INFERRED_COLUMNS`; player frame. ``loft_error_deg`` and ``face_error_deg`` are root mean
        squares of one shot; ``why_not`` says why a shot has none, and is empty where it has.
    compared : int
        Shots whose face and loft were measured too.
    loft_gap_deg, face_gap_deg : float
        Root mean square of inferred less measured over those; missing without any. It holds the error of both.
    """

    table: pd.DataFrame
    compared: int
    loft_gap_deg: float
    face_gap_deg: float

    def sentences(self) -> list[str]:
        """Return how many shots were told, how far off they may be, and what ball data alone may and may not say."""
        told = int((self.table["why_not"] == "").sum())
        said = [f"Loft and face are inferred from the ball for {told:,} of {len(self.table):,} shots."]
        reasons = self.table.loc[self.table["why_not"] != "", "why_not"].value_counts()
        if len(reasons):
            said.append(f"Not for the rest: {', '.join(f'{why} ({n:,})' for why, n in reasons.items())}.")
        if self.compared:
            said.append(
                f"In {self.compared:,} shots the club was measured too: inferred and measured differ by "
                f"{self.loft_gap_deg:.1f} degrees of loft and {self.face_gap_deg:.1f} of face (rms, the errors of "
                "both in it)."
            )
        return [*said, *ball_only()]

    def text(self) -> str:
        """Return all sentences as one text."""
        return " ".join(self.sentences())

    def __repr__(self) -> str:
        return f"<InferredShots: {self.sentences()[0]}>"

    def _repr_html_(self) -> str:
        shown = self.table[self.table["why_not"] == ""].groupby("club", observed=True)
        rows = shown.agg(
            shots=("source_row", "size"),
            loft=("inferred_loft_deg", "mean"),
            loft_error=("loft_error_deg", "first"),
            face=("inferred_face_deg", "mean"),
            face_error=("face_error_deg", "first"),
        ).reset_index()
        rows.columns = [
            "club",
            "shots",
            "loft, mean (°)",
            "of one shot ±",
            "face, mean (°, open plus)",
            "of one shot ± ",
        ]
        head = rows.round(1).to_html(index=False, escape=True) if len(rows) else ""
        return head + "".join(f"<p>{sentence}</p>" for sentence in self.sentences())


def infer_delivery(shots: Shots | pd.DataFrame) -> InferredShots:
    """Return loft and face of each shot as the ball tells them, in a table beside the measured ones.

    Parameters
    ----------
    shots : Shots or DataFrame
        Shots with ``club`` and ball speed, both start directions, spin and its tilt; not changed. Attack, path and
        speed of the head are left out on purpose: see `BALL_ONLY`.

    Raises
    ------
    DataError
        If a column that it takes is not there.
    """
    table = plain_table(shots_table(shots, "A delivery was to be told from the ball."))
    missing = [name for name in (*BALL, "club") if name not in table]
    if missing:
        raise DataError(
            "Loft and face were to be inferred from the ball.",
            f"The shots have no column {', '.join(missing)}.",
            f"It takes {', '.join(BALL)} and club: map them, or do without.",
            column=missing[0],
        )
    ball = [table[name].to_numpy(dtype=float, na_value=np.nan) for name in BALL]
    codes, clubs = pd.factorize(table["club"])
    head = np.array([CLUBS.get(str(club), "") for club in clubs] + [""], dtype=object)[codes]
    why = np.asarray(check_launch(*ball), dtype=object).reshape(-1)
    why[np.isnan(ball).any(axis=0)] = _NO_READING
    why[head == ""] = _NO_CLUB
    why[~is_usable(table).to_numpy()] = _SET_ASIDE
    loft, face, loft_error, face_error = np.full((4, len(table)), np.nan)
    for kind, errors in ERRORS.items():
        rows = np.flatnonzero((head == kind) & (why == ""))
        if not len(rows):
            continue
        found = infer_club(Launch(*(values[rows] for values in ball)), kind)
        loft[rows], face[rows] = found.delivered_loft_deg, found.face_open_deg
        told = np.isfinite(loft[rows])
        why[rows[~told]] = _NO_FACE
        loft_error[rows[told]], face_error[rows[told]] = errors["delivered_loft_deg"], errors["face_open_deg"]
    keys = {name: table[name].to_numpy() if name in table else None for name in INFERRED_COLUMNS[:6]}
    if keys["source_row"] is None:
        keys["source_row"] = np.arange(1, len(table) + 1)
    result = pd.DataFrame(keys).assign(
        inferred_loft_deg=loft,
        loft_error_deg=loft_error,
        inferred_face_deg=face,
        face_error_deg=face_error,
        why_not=pd.array(why, dtype="str"),
    )
    gaps = [
        seen - sound(table[name].to_numpy(dtype=float, na_value=np.nan))
        if name in table
        else np.full(len(table), np.nan)
        for name, seen in (("delivered_loft_deg", loft), ("face_open_deg", face))
    ]
    both = ~np.isnan(gaps).any(axis=0)
    rms = [float(np.sqrt(np.mean(gap[both] ** 2))) if both.any() else np.nan for gap in gaps]
    return InferredShots(result[list(INFERRED_COLUMNS)], int(both.sum()), *rms)


def ball_only() -> list[str]:
    """Return what an academy with ball data only may and may not learn, in sentences with their errors."""
    words = {"delivered_loft_deg": "loft", "face_open_deg": "face", "attack_up_deg": "attack", "path_out_deg": "path"}
    numbers = {
        f"{head}_{words[name]}": error
        for head, errors in ERRORS.items()
        for name, error in errors.items()
        if name in words
    }
    return [sentence.format_map(numbers) for sentence in BALL_ONLY]
