"""A lesson log by time: which shots each block holds, and whether the device's clock and the log's go alike."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from coachlab.errors import DataError
from coachlab.intake.findings import Findings, found
from coachlab.intake.journal import read_log
from coachlab.intake.match import find_sessions, places_of
from coachlab.intake.shots import Shots
from coachlab.privacy import process_key

LAST_BLOCK_S = 1800.0
"""How long the last block of a session goes on where the log does not say when it ended."""
LEAST_OFFSET_S = 60.0
LEAST_GAIN = 0.1
"""How much better shots and blocks must go together by another clock before this one is called wrong (of 2 in all)."""
SOON_S, PAUSE_S = 60.0, 45.0

_MOST_SHOTS = 5000
_APART_S = 40 * 86_400.0
_COARSE = np.unique(np.concatenate([np.arange(-26, 26.01, 0.25) * 3600, np.arange(-180, 181) * 60.0]))
_FINE = np.arange(-120, 121, 5.0)


def find_offset(shots: Shots, log: str | Path | pd.DataFrame | Sequence[str | Path], key: bytes | None = None) -> float:
    """Return how many seconds the device's clock is ahead of a log by time; 0 where the log has no times.

    The offset under which most shots fall into blocks of their session, from a day behind to a day ahead. Where as many
    fall in as they stand, it is 0.

    Parameters
    ----------
    shots : Shots
        With struck_at.
    log : path, folder, sequence of paths, or DataFrame
        As `join_log` takes it, with ``starts_at`` and, as far as kept, ``ends_at``.
    key : bytes, optional
        The key with which the shots were read, if it was not the process's own.
    """
    journal = read_log(log)
    return _offset(*_laid_out(shots, journal, key))[0] if "starts_at" in journal else 0.0


def audit_clock(
    shots: Shots, log: str | Path | pd.DataFrame | Sequence[str | Path], key: bytes | None = None
) -> Findings:
    """Return whether the device's clock differs from the log's: in the time of day, or in the day.

    Parameters
    ----------
    shots, log, key
        As `find_offset`; a log by shot number with ``session_day`` shows a wrong day only.
    """
    journal = read_log(log)
    if "struck_at" not in shots.table:
        return found([], "Clock: the shots have no times.")
    if "starts_at" in journal:
        offset, gain = _offset(*_laid_out(shots, journal, key))
        looked = "Clock: the log's times were held against the device's."
        if abs(offset) < LEAST_OFFSET_S or gain < LEAST_GAIN:
            return found([], looked)
        way = "ahead of" if offset > 0 else "behind"
        return found(
            [
                (
                    "clock", "the log", "struck_at",
                    f"the device's clock is {_length(offset)} {way} the log's: so set, shots and blocks go together.",
                    f"Join with clock_offset_s={offset:g}, or set the clock.", round(gain / LEAST_GAIN, 2),
                )
            ],
            looked,
        )  # fmt: skip
    if "session_day" not in journal or "session" not in shots.table:
        return found([], "Clock: the log says neither times nor days.")
    first = shots.table.groupby(shots.table["session"].astype("str"))["struck_at"].min().dt.floor("D")
    days = journal.drop_duplicates("session").set_index("session")["session_day"]
    apart = (first - days.reindex(first.index)).dt.days.dropna()
    wrong = apart[apart != 0]
    looked = f"Clock: days of {len(apart)} sessions were held against the device's."
    if not len(apart) or len(wrong) < max(LEAST_GAIN * len(apart), 1):
        return found([], looked)
    usual = int(wrong.mode().iloc[0])
    what = f"{len(wrong)} of {len(apart)} sessions were struck on another day than the log says, most by {usual} days."
    do = "Set the device's clock, or correct session_day in the log."
    return found([("clock", "the log", "struck_at", what, do, round(len(wrong) / len(apart) / LEAST_GAIN, 2))], looked)


def ranges_by_time(
    journal: pd.DataFrame,
    names: pd.Index,
    of_shot: np.ndarray,
    shot: np.ndarray,
    struck_at: pd.Series,
    clock_offset_s: float = 0.0,
) -> pd.DataFrame:
    """Return a log by time as a log by shot number: first_shot and last_shot of each block.

    Parameters
    ----------
    journal : DataFrame
        The log, with ``starts_at``.
    names : Index
        Its sessions.
    of_shot, shot : array, shape (n,)
        Place of each shot's session among them, and its number.
    struck_at : Series, shape (n,)
        When it was struck, by the device's clock.
    clock_offset_s : float
        How many seconds that clock is ahead of the log's.

    Raises
    ------
    DataError
        If blocks overlap, or in one of them no shot was struck.
    """
    blocks = _intervals(journal, names)
    at = struck_at.to_numpy().astype("M8[us]")
    known = (of_shot >= 0) & ~np.isnat(at) & ~np.isnan(shot)
    line = np.where(known, _line(at, of_shot, blocks["begin"]) - clock_offset_s, np.nan)
    place = np.searchsorted(blocks["start"], line, side="right") - 1
    inside = known & (place >= 0)
    inside[inside] = (line[inside] <= blocks["end"][place[inside]]) & (blocks["of"][place[inside]] == of_shot[inside])
    numbers = pd.Series(shot[inside]).groupby(place[inside])
    low, high = (getattr(numbers, name)().reindex(range(len(journal))) for name in ("min", "max"))
    journal = journal.iloc[blocks["order"]].copy()
    if low.isna().any():
        empty = int(np.flatnonzero(low.isna())[0])
        row, session = journal.index[empty], journal["session"].iloc[empty]
        mine = at[known & (of_shot == names.get_loc(session))]
        said = f"{mine.min()} to {mine.max()}".replace("T", " ") if len(mine) else "no times"
        raise DataError(
            f"Row {row} of the lesson log was joined with the shots.",
            f"Session {session!r}: no shot was struck from {journal['starts_at'].iloc[empty]:%H:%M:%S} on, before the "
            f"block ended; the device has {said}.",
            "Correct the time, or look whether the two clocks differ: audit_clock(shots, log).",
            row=row,
            session=session,
        )
    journal["first_shot"], journal["last_shot"] = low.to_numpy("int64"), high.to_numpy("int64")
    return journal


def _intervals(journal: pd.DataFrame, names: pd.Index) -> dict[str, np.ndarray]:
    """Return the blocks in order on one line of seconds, on which each session has a stretch of its own."""
    of = names.get_indexer(journal["session"]).astype(np.int64)
    start = journal["starts_at"].to_numpy().astype("M8[us]")
    begin = journal.groupby("session", sort=False)["starts_at"].min().reindex(names).to_numpy().astype("M8[us]")
    at = _line(start, of, begin)
    order = np.argsort(at, kind="stable")
    of, at = of[order], at[order]
    end = np.full(len(at), np.nan)
    if "ends_at" in journal:
        end = _line(journal["ends_at"].to_numpy().astype("M8[us]")[order], of, begin)
    following = np.append(at[1:], np.inf)
    same = np.append(of[1:] == of[:-1], False)
    end = np.where(np.isnan(end), np.where(same, following - 1e-6, at + LAST_BLOCK_S), end)
    over = np.flatnonzero(same & (end > following))
    if len(over):
        one, other = journal.index[order][over[0]], journal.index[order][over[0] + 1]
        raise DataError(
            f"Row {other} of the lesson log was read.",
            f"Its block starts before that of row {one} ends.",
            "Correct starts_at and ends_at: a shot belongs to one block.",
            row=other,
        )
    return {"start": at, "end": end, "of": of, "order": order, "begin": begin}


def _line(at: np.ndarray, of: np.ndarray, begin: np.ndarray) -> np.ndarray:
    """Return seconds since the session began by the log, on the session's own stretch of the line."""
    seconds = (at - begin[of]) / np.timedelta64(1, "s")
    return of * _APART_S + np.clip(seconds, -_APART_S / 3, _APART_S / 3)


def need_times(table: pd.DataFrame) -> None:
    """Refuse shots without times where a log by time is to be laid beside them."""
    if "struck_at" not in table:
        raise DataError(
            "A lesson log by time was joined with the shots.",
            "The shots have no times.",
            "Map struck_at, or write first_shot and last_shot into the log.",
            column="struck_at",
        )


def _laid_out(shots: Shots, journal: pd.DataFrame, key: bytes | None) -> tuple[np.ndarray, ...]:
    """Return for some shots the seconds since their session began by the log, and the blocks on the same scale."""
    table = shots.table
    need_times(table)
    session = table["session"] if "session" in table else find_sessions(table, journal, key or process_key())
    names = pd.Index(journal["session"].unique())
    of = places_of(session, names)
    blocks = _intervals(journal, names)
    at = table["struck_at"].to_numpy().astype("M8[us]")
    known = (of >= 0) & ~np.isnat(at)
    every = int(known.sum()) // _MOST_SHOTS + 1  # of many sessions every second or third will do, but whole
    some, taken = known & (of % every == 0), blocks["of"] % every == 0
    return _line(at[some], of[some], blocks["begin"]), blocks["start"][taken], blocks["end"][taken]


def _offset(line: np.ndarray, start: np.ndarray, end: np.ndarray) -> tuple[float, float]:
    """Return the offset under which shots and blocks go together best, and how much better than with none (a share).

    A shot counts that falls into a block; as much as all shots together count the blocks that begin in a pause of the
    shots with one soon after, which alone can place blocks whose end is not said.
    """
    if not len(line):
        return 0.0, 0.0
    line = np.sort(line)

    def fit(offset: float) -> float:
        moved = line - offset
        place = np.searchsorted(start, moved, side="right") - 1
        inside = (place >= 0) & (moved <= end[place])
        after = np.searchsorted(moved, start)
        soon = np.append(moved, np.inf)[after] - start < SOON_S
        pause = start - np.append(moved, -np.inf)[after - 1] > PAUSE_S
        return float(inside.mean() + (soon & pause).mean())

    as_it_is = fit(0.0)
    coarse = np.array([fit(offset) for offset in _COARSE])
    best = _COARSE[coarse >= coarse.max() - 1e-9]
    fine = best[np.abs(best).argmin()] + _FINE
    fits = np.array([fit(offset) for offset in fine])
    middle = float(np.median(fine[fits >= fits.max() - 1e-9]))
    gain = float(fits.max()) - as_it_is
    return (round(middle / 5) * 5.0, gain) if gain > 0 else (0.0, 0.0)


def _length(seconds: float) -> str:
    minutes, rest = divmod(abs(round(seconds)), 60)
    hours, minutes = divmod(minutes, 60)
    parts = [(hours, "h"), (minutes, "min"), (rest, "s")]
    return " ".join(f"{count:g} {unit}" for count, unit in parts if count) or "0 s"
