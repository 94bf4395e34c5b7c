"""Notes by the clock: blocks from when they began and ended, and whether the notes' clock and the device's agree.

The offset is found and shown; nothing is moved unless it is asked for.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa

from coachlab.errors import DataError
from coachlab.intake.cells import Cells
from coachlab.intake.files import read_page
from coachlab.intake.headings import find_heading
from coachlab.intake.ledger import Block, Ledger, add_block
from coachlab.intake.times import read_times
from coachlab.schema import PLAIN

NOTE_COLUMNS = ("began", "ended", "phase", "cue", "cue_version", "offered", "followed_0_10", "pain_0_10", "stopped")
FARTHEST_S = 14 * 3600.0
"""Clocks further apart than the widest difference of time zones are another day's notes."""
LEAST_S = 60.0
"""A clock that differs by less than a minute is the hand of whoever wrote the time down."""

_ENOUGH = 0.8
_APART_S = 300.0


@dataclass(frozen=True)
class ClockOffset:
    """How far the notes' clock lies behind the device's.

    Attributes
    ----------
    offset_s : float
        Seconds to add to the notes' times, whole minutes; 0 where the clocks agree or nothing can be said.
    shots, inside, inside_corrected : int
        Shots with a time; how many fall into a noted block as the clocks stand, and once corrected.
    sure : bool
        False where another offset would fit nearly as well.
    """

    offset_s: float
    shots: int
    inside: int
    inside_corrected: int
    sure: bool = True

    @property
    def found(self) -> bool:
        """Whether there is an offset to speak of."""
        return self.offset_s != 0

    def text(self) -> str:
        """Return what was found in a sentence."""
        if not self.found:
            return f"The clocks agree: {self.inside} of {self.shots} shots fall into a noted block."
        way = "behind" if self.offset_s > 0 else "ahead of"
        doubt = "" if self.sure else " Another difference would fit nearly as well, so look at the times yourself."
        return (
            f"The notes' clock seems {_span(abs(self.offset_s))} {way} the device's: corrected, "
            f"{self.inside_corrected} of {self.shots} shots would fall into a noted block; as the clocks stand, "
            f"{self.inside}.{doubt}"
        )


def read_notes(path: str | Path) -> pd.DataFrame:
    """Return notes of a lesson by the clock: one row a block, ``began``, ``ended``, ``phase``, ``cue`` and the like.

    Parameters
    ----------
    path : path
        A table (CSV, XLSX ...) with the headings ``began``, ``ended`` and ``phase`` at least; the others of
        `NOTE_COLUMNS` as far as kept. A time may stand with its day or without.

    Returns
    -------
    DataFrame
        ``began`` and ``ended`` as times; without a day they lie on 1900-01-01.

    Raises
    ------
    DataError
        If a column is missing or a cell is no time.
    """
    page = read_page(path, {name: (name,) for name in NOTE_COLUMNS})
    columns: dict[str, object] = {}
    for name in NOTE_COLUMNS:
        places = find_heading(name, page.headings)
        if not places:
            continue
        cells = page.cells[places[0]]
        words = pd.Series(pd.array(cells.trimmed, dtype="str").take(np.asarray(cells.spread(np.arange(cells.size)))))
        columns[name] = _times(words, page.name, name) if name in ("began", "ended") else words
    missing = [name for name in ("began", "ended", "phase") if name not in columns]
    if missing:
        raise DataError(
            f"{page.where} was read as notes of a lesson.",
            f"No column {missing[0]!r}; found: {', '.join(page.headings)}.",
            "Write when each block began and ended, and its phase.",
            column=missing[0],
        )
    return pd.DataFrame(columns)


def find_offset(ledger: Ledger, notes: pd.DataFrame) -> ClockOffset:
    """Return how far the notes' clock lies behind the device's, by which the most shots fall into a noted block.

    Parameters
    ----------
    ledger : Ledger
        Its shots need times.
    notes : DataFrame
        ``began`` and ``ended``.

    Raises
    ------
    DataError
        If the shots have no times.

    Notes
    -----
    As the notes are slid along, the number of shots inside changes only where a shot meets a block's end: those places
    and the middles between them are all that need be tried. An offset is spoken of if it brings at least three shots
    and a tenth of all more into the blocks, and four in five of all.
    """
    times, began, ended = _seconds(ledger, notes)

    def inside(shift: np.ndarray) -> np.ndarray:
        here = times - shift[:, None]
        hit = (here[:, :, None] >= began) & (here[:, :, None] <= ended)
        # a block that no shot falls into is as bad as the loss of three shots
        return hit.any(axis=2).sum(axis=1) - 3 * (~hit.any(axis=1)).sum(axis=1)

    edges = np.unique(np.concatenate([(times[:, None] - began).ravel(), (times[:, None] - ended).ravel()]))
    edges = edges[np.abs(edges) <= FARTHEST_S]
    now = int(_count(times, began, ended, 0.0))
    if not len(edges):
        return ClockOffset(0.0, len(times), now, now)
    shifts = np.unique(np.concatenate([edges, (edges[1:] + edges[:-1]) / 2]))
    score = np.concatenate([inside(part) for part in np.array_split(shifts, max(len(shifts) // 500, 1))])
    best = shifts[score == score.max()]
    near = best[np.abs(best - best[np.abs(best).argmin()]) <= _APART_S]
    offset = float(np.round((near.min() + near.max()) / 2 / 60) * 60)
    then = int(_count(times, began, ended, offset))
    rivals = shifts[(score >= score.max() - 2) & (np.abs(shifts - offset) > _APART_S)]
    gained = then - now
    if abs(offset) < LEAST_S or gained < max(3, 0.1 * len(times)) or then < _ENOUGH * len(times):
        return ClockOffset(0.0, len(times), now, now)
    return ClockOffset(offset, len(times), now, then, not len(rivals))


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
    times, began, ended = _seconds(ledger, notes)
    shot = ledger.shots.loc[ledger.shots["struck_at"].notna(), "shot"].to_numpy()
    lost = []
    for row, note in enumerate(notes.itertuples(index=False)):
        mine = shot[(times - offset_s >= began[row]) & (times - offset_s <= ended[row])]
        words = {name: getattr(note, name, None) for name in NOTE_COLUMNS[2:]}
        if not len(mine):
            lost.append(f"Note {row + 1} ({words['phase']}): no shot was struck in its time.")
            continue
        ledger = add_block(ledger, _block(int(mine.min()), int(mine.max()), words))
    return ledger, tuple(lost)


def _block(first: int, last: int, words: dict) -> Block:
    given = {name: str(value).strip() for name, value in words.items() if isinstance(value, str) and value.strip()}
    return Block(
        first,
        last,
        given.get("phase", ""),
        given.get("cue", PLAIN),
        given.get("cue_version", "1"),
        given.get("offered", ""),
        _number(given, "followed_0_10"),
        _number(given, "pain_0_10"),
        stopped=given.get("stopped", "").casefold() in ("yes", "true", "1", "x"),
    )


def _number(given: dict[str, str], name: str) -> float | None:
    if name not in given:
        return None
    number = pd.to_numeric(given[name].replace(",", "."), errors="coerce")
    if np.isnan(number):
        raise DataError("A note of a lesson was read.", f"{name} is {given[name]!r}.", "Give 0 to 10.", column=name)
    return float(number)


def _seconds(ledger: Ledger, notes: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return when shots were struck and blocks began and ended, in seconds from the first shot."""
    struck = ledger.shots.get("struck_at")
    if struck is None or not struck.notna().any():
        raise DataError(
            "Notes by the clock were laid beside the shots.",
            "The shots have no times.",
            "Map struck_at, or note the blocks by shot number.",
            column="struck_at",
        )
    start = struck.dropna().iloc[0]
    parts = [struck.dropna()]
    for name in ("began", "ended"):
        when = notes[name]
        bare = when.dt.year == 1900
        parts.append(when.where(~bare, when - pd.Timestamp("1900-01-01") + start.normalize()))
    times, began, ended = ((part - start).dt.total_seconds().to_numpy() for part in parts)
    return times, began, ended


def _count(times: np.ndarray, began: np.ndarray, ended: np.ndarray, shift: float) -> int:
    here = times[:, None] - shift
    return int(((here >= began) & (here <= ended)).any(axis=1).sum())


def _times(words: pd.Series, where: str, name: str) -> pd.Series:
    times, of_day, odd, _ = read_times(Cells(pa.array(words.fillna("").tolist(), pa.string())))
    whole = pd.Series(times).fillna(pd.Timestamp("1900-01-01") + pd.Series(of_day))
    bad = np.flatnonzero(whole.isna() | odd)
    if len(bad):
        raise DataError(
            f"{where} was read as notes of a lesson.",
            f"Row {bad[0] + 1}, column {name}: {words.iloc[bad[0]]!r} is no time.",
            "Write it as in 15:40 or 2026-11-03 15:40.",
            column=name,
            row=int(bad[0]) + 1,
        )
    return whole


def _span(seconds: float) -> str:
    minutes = int(round(seconds / 60))
    hours, rest = divmod(minutes, 60)
    parts = [f"{hours} h"] if hours else []
    return " ".join([*parts, f"{rest} min"] if rest or not hours else parts)
