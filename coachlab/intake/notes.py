"""Notes of a lesson by the clock: blocks from when they began and ended, and whether the two clocks go alike.

The difference of the clocks is found and shown; nothing is moved unless it is asked for.
"""

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from coachlab.errors import DataError
from coachlab.intake.clock import LAST_BLOCK_S, LEAST_OFFSET_S, find_offset
from coachlab.intake.journal import read_log
from coachlab.intake.ledger import Ledger, add_block
from coachlab.intake.shots import Shots
from coachlab.intake.written import block_of

LEAST_SHOTS = 3
"""How many more shots must fall into a block by another clock before it is spoken of; besides a tenth of all."""


@dataclass(frozen=True)
class ClockOffset:
    """How far the device's clock is ahead of the notes'.

    Attributes
    ----------
    offset_s : float
        Seconds to add to the notes' times; 0 where the clocks agree or nothing can be said.
    shots, inside, inside_corrected : int
        Shots with a time; how many fall into a noted block as the clocks stand, and once corrected.
    """

    offset_s: float
    shots: int
    inside: int
    inside_corrected: int

    @property
    def found(self) -> bool:
        """Whether there is a difference to speak of."""
        return self.offset_s != 0

    def text(self) -> str:
        """Return what was found in a sentence."""
        if not self.found:
            return f"The clocks agree: {self.inside} of {self.shots} shots fall into a noted block."
        way = "behind" if self.offset_s > 0 else "ahead of"
        return (
            f"The notes' clock seems {_span(abs(self.offset_s))} {way} the device's: corrected, "
            f"{self.inside_corrected} of {self.shots} shots would fall into a noted block; as the clocks stand, "
            f"{self.inside}."
        )


def read_notes(path: str | Path, ledger: Ledger) -> pd.DataFrame:
    """Return the rows of a lesson log by time that speak of a ledger's session, in their order.

    Parameters
    ----------
    path : path
        A log as `join_log` takes it, with ``starts_at`` and, as far as kept, ``ends_at``.
    ledger : Ledger
        The session.

    Returns
    -------
    DataFrame
        ``ends_at`` is filled: a block without it ends where the next begins, the last after half an hour.

    Raises
    ------
    DataError
        If the log cannot be read, has no times, or no row of this session.
    """
    log = read_log(path)
    asked = f"{Path(path).name} was read as notes of session {ledger.session!r} by the clock."
    if "starts_at" not in log:
        raise DataError(asked, "It has no column starts_at.", "Write when each block began, or open it as a log.")
    notes = log[log["session"] == ledger.session].sort_values("starts_at", kind="stable")
    if not len(notes):
        known = ", ".join(map(repr, log["session"].unique()[:8]))
        raise DataError(asked, f"It speaks of {known}.", "Correct the session in the notes.", session=ledger.session)
    following = notes["starts_at"].shift(-1)
    ends = following.fillna(notes["starts_at"].iloc[-1] + pd.Timedelta(seconds=LAST_BLOCK_S))
    notes["ends_at"] = notes["ends_at"].fillna(ends) if "ends_at" in notes else ends
    return notes


def compare_clocks(ledger: Ledger, shots: Shots, notes: pd.DataFrame) -> ClockOffset:
    """Return how far the device's clock is ahead of the notes', if that brings clearly more shots into a noted block.

    Parameters
    ----------
    ledger : Ledger
        The session.
    shots : Shots
        The shots of which it is a part, with struck_at.
    notes : DataFrame
        As `read_notes` returns them.

    Raises
    ------
    DataError
        If the shots have no times.
    """
    struck = _struck(ledger)
    now = _inside(struck, notes, 0.0)
    offset = find_offset(shots, notes)
    then = _inside(struck, notes, offset)
    if abs(offset) < LEAST_OFFSET_S or then - now < max(LEAST_SHOTS, 0.1 * len(struck)):
        return ClockOffset(0.0, len(struck), now, now)
    return ClockOffset(offset, len(struck), now, then)


def blocks_by_time(ledger: Ledger, notes: pd.DataFrame, offset_s: float = 0.0) -> tuple[Ledger, tuple[str, ...]]:
    """Return the ledger with a block for each note, from the first to the last shot struck in its time.

    Parameters
    ----------
    ledger : Ledger
        Its shots need times.
    notes : DataFrame
        As `read_notes` returns them.
    offset_s : float
        Seconds added to the notes' times; 0 leaves them as they are.

    Returns
    -------
    ledger : Ledger
    lost : tuple of str
        The notes in whose time no shot was struck, in sentences: they make no block.

    Raises
    ------
    DataError
        If the shots have no times, or a note does not make a block.
    """
    struck = _struck(ledger)
    shot = ledger.shots.loc[ledger.shots["struck_at"].notna(), "shot"].to_numpy()
    lost = []
    for place, note in enumerate(notes.to_dict("records"), 1):
        at = struck - pd.Timedelta(seconds=offset_s)
        mine = shot[((at >= note["starts_at"]) & (at <= note["ends_at"])).to_numpy()]
        if len(mine):
            spans = {"first_shot": int(mine.min()), "last_shot": int(mine.max())}
            ledger = add_block(ledger, block_of(note | spans))
        else:
            lost.append(f"Note {place} ({note['phase']}): no shot was struck in its time.")
    return ledger, tuple(lost)


def _struck(ledger: Ledger) -> pd.Series:
    struck = ledger.shots.get("struck_at")
    if struck is None or not struck.notna().any():
        raise DataError(
            "Notes by the clock were laid beside the shots.",
            "The shots have no times.",
            "Map struck_at, or note the blocks by shot number.",
            column="struck_at",
        )
    return struck.dropna()


def _inside(struck: pd.Series, notes: pd.DataFrame, offset_s: float) -> int:
    at = (struck - pd.Timedelta(seconds=offset_s)).to_numpy()[:, None]
    return int(((at >= notes["starts_at"].to_numpy()) & (at <= notes["ends_at"].to_numpy())).any(axis=1).sum())


def _span(seconds: float) -> str:
    minutes, rest = divmod(int(round(seconds)), 60)
    hours, minutes = divmod(minutes, 60)
    parts = ((hours, "h"), (minutes, "min"), (rest, "s"))
    return " ".join(f"{count} {unit}" for count, unit in parts if count)
