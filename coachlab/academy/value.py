"""The value that a simulation gives: data as an academy would have them, and the truth that it would not."""

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from coachlab.academy.assumptions import Assumptions
from coachlab.academy.cards import CueTruth
from coachlab.academy.players import Players
from coachlab.academy.truth import effective_spread, student_shifts, true_shifts
from coachlab.errors import DataError
from coachlab.intake.shots import Shots

LOG_COLUMNS = (
    "session", "student", "coach", "session_day", "bay", "device", "surface", "indoors", "ball_type", "feedback_shown",
    "block", "block_index", "period", "phase", "cue", "cue_version", "offered", "followed_0_10", "order_plan",
    "order_seed", "pain_0_10", "rest_s", "first_shot", "last_shot",
)  # fmt: skip
"""The columns of a lesson log as it is written; in memory ``family``, ``moves`` and ``direction`` of the cue follow."""


@dataclass(frozen=True, eq=False)
class Hidden:
    """What nobody at the academy can see: the players, who coaches whom, and their standard normal draws.

    ``coach`` has shape (students,) and counts the coaches; ``slope_z`` (students, cues, parts) is each player's own
    answer to each cue, ``coach_z`` (coaches, cues, parts) each coach's way with it.
    """

    players: Players
    coach: np.ndarray
    slope_z: np.ndarray
    coach_z: np.ndarray


@dataclass(frozen=True, eq=False)
class Academy:
    """A simulated academy: data as an academy would have them, and the truth that it would not.

    Attributes
    ----------
    shots : Shots
        Every shot, joined with the log and cleaned; player frame.
    log : DataFrame
        One row a block that was held: `LOG_COLUMNS`, then ``family``, ``moves`` and ``direction``. A block that was
        planned and lost is not there; the order plan still shows it.
    students : DataFrame
        The table ``students``.
    cues : DataFrame
        The cue cards.
    coaches : DataFrame
        ``coach``, ``students``, ``share`` of the students, ``rogue`` (logs only the best cue shots).
    usual : DataFrame
        Each student's true usual delivery: ``student``, ``club``, ``handicap``, attack, path, face, club speed, and the
        azimuth and incline of the arc.
    clubs : tuple of str
        The clubs of the lessons.
    assumptions, truths
        The numbers behind it.
    seed : int
        The seed; the same arguments and seed give the same academy.
    """

    shots: Shots
    log: pd.DataFrame
    students: pd.DataFrame
    cues: pd.DataFrame
    coaches: pd.DataFrame
    usual: pd.DataFrame
    clubs: tuple[str, ...]
    assumptions: Assumptions
    truths: Mapping[str, CueTruth]
    seed: int
    hidden: Hidden = field(repr=False)

    @cached_property
    def truth(self) -> pd.DataFrame:
        """What is true: ``cue``, ``club``, ``outcome``, ``value``, the mean shift of the offered cue.

        The expectation over fresh students (100,000 noise-free draws, compliance and pattern in), given this academy's
        own coaches by their share of its students.
        """
        return self.truth_among()

    def truth_among(self, coaches: Sequence[str] | None = None) -> pd.DataFrame:
        """Return the truth as `truth` does, given only some of the coaches by their shares.

        Raises
        ------
        DataError
            If none of the coaches is this academy's.
        """
        shares = self.coaches["share"].to_numpy(float)
        if coaches is not None:
            shares = np.where(self.coaches["coach"].isin(list(coaches)), shares, 0.0)
            if shares.sum() == 0:
                raise DataError(
                    "The truth among some coaches was asked for.",
                    f"{', '.join(map(str, coaches)) or 'Nobody'} is none of {', '.join(self.coaches['coach'])}.",
                    "Name coaches of this academy.",
                )
        return true_shifts(self.truths, self._families, self.clubs, self.assumptions, self.hidden.coach_z, shares)

    @cached_property
    def effective(self) -> pd.DataFrame:
        """The SDs that a study meets: ``cue``, ``club``, ``outcome``, ``slope_sd``, ``block_sd``, ``shot_sd``.

        For the closed form variance of a mean shift, (slope^2 + 2 block^2 / B + 2 shot^2 / (B n)) / N: the slope SD
        holds pattern, compliance and coach; the block SD also that a cue is done in one block and not in the next; the
        shot SD also mishits, skill, the cue's spread and the sensor.
        """
        shares = self.coaches["share"].to_numpy(float)
        return effective_spread(self.truths, self._families, self.clubs, self.assumptions, self.hidden.coach_z, shares)

    @cached_property
    def student_truth(self) -> pd.DataFrame:
        """Each student's own mean shift by each cue: ``student``, ``cue``, ``club``, ``outcome``, ``value``.

        With their own coach, compliance at its expectation, and whether or not the student was ever given the cue.
        """
        hidden, names = self.hidden, self.students["student"].tolist()
        coach_z = hidden.coach_z[hidden.coach]
        return student_shifts(
            self.truths, self._families, self.clubs, self.assumptions, hidden.players, hidden.slope_z, coach_z, names
        )

    @property
    def _families(self) -> dict[str, str]:
        return dict(zip(self.cues["cue"], self.cues["family"], strict=True))

    def text(self) -> str:
        """Return what was simulated, in a sentence."""
        return (
            f"A simulated academy: {len(self.students):,} students, {len(self.coaches)} coaches, "
            f"{self.log['session'].nunique():,} visits, {len(self.shots):,} shots; seed {self.seed}. "
            "No real person is in it."
        )

    def __repr__(self) -> str:
        return f"<Academy: {self.text()}>"

    def _repr_html_(self) -> str:
        shown = self.truth.pivot_table(index=["cue", "club"], columns="outcome", values="value", sort=False)
        return f"<p>{html.escape(self.text())}</p>" + shown.round(2).to_html()
