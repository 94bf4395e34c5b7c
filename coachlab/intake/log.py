"""`join_log`: the coach's lesson log laid beside the shots. Which block, phase and cue each shot belongs to."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from coachlab.errors import DataError, need
from coachlab.intake.clock import need_times, ranges_by_time
from coachlab.intake.headings import close_to
from coachlab.intake.journal import CARD_COLUMNS, read_log
from coachlab.intake.match import (
    OVERRUN,
    check_ranges,
    check_students,
    count_present,
    find_blocks,
    find_sessions,
    ids_of,
    number_shots,
    places_of,
    refuse_unknown_sessions,
)
from coachlab.intake.shots import Shots
from coachlab.privacy import process_key
from coachlab.schema import PLAIN, TABLES
from coachlab.settings import cards_or_none, read_cues

BLOCK_COLUMNS = (*(name for name in TABLES["blocks"] if name != "session"), *CARD_COLUMNS)
SESSION_COLUMNS = tuple(name for name in TABLES["sessions"] if name != "session")
TESTS = ("plain", "cue", "sham")
"""The phases that are counted as periods."""

_MANY = 1_000_000
_OUTSIDE = " shots stand in no block of the log: their phase is missing."
_UNNUMBERED = " shots have no number although others of their session have one: they stand in no block."


def join_log(
    shots: Shots,
    log: str | Path | pd.DataFrame | Sequence[str | Path],
    cues: pd.DataFrame | str | Path | None = None,
    key: bytes | None = None,
    clock_offset_s: float = 0.0,
) -> Shots:
    """Return the shots with block, phase and cue beside each, and what the log says of the session.

    Shots belong to the block of their session whose range, first to last, holds their number; shots without a number
    are counted in the order of the file. For sessions that this log names, what an earlier join has said is replaced.

    Parameters
    ----------
    shots : Shots
        Not changed.
    log : path, folder, sequence of paths, or DataFrame
        One row a block: session, first_shot, last_shot, phase, cue; as far as kept also student, coach, session_day,
        bay, device, surface, indoors, ball_type, feedback_shown, block, block_index, period, cue_version, offered,
        followed_0_10, order_plan, order_seed, pain_0_10, rest_s. Without ``block`` it is ``session/block_index``;
        without ``block_index`` and ``period`` blocks are counted. Lines above the header are skipped. In place of
        first_shot and last_shot a log may say starts_at and, where it is known, ends_at.
    cues : DataFrame or path, optional
        Cue cards (`read_cues`, or the path of cues.toml): family, moves and direction come from there.
    key : bytes, optional
        The key with which the shots were read, if it was not the process's own.
    clock_offset_s : float
        For a log by time: how many seconds the device's clock is ahead of the log's (`find_offset`).

    Returns
    -------
    Shots
        ``table`` with the log's columns of `schema.TABLES` "blocks" and "sessions", ``shots_logged`` (how many numbers
        the range spans) and ``shots_missing`` (how many of them are neither shot nor reject). A shot outside every
        block has no phase; how many there are stands in ``notes``.

    Raises
    ------
    DataError
        If the log lacks a column, holds an unknown phase, ranges that overlap or that the device has no shot of, a
        session that is not there, two students in one session, or a cue without a card.
    """
    need(shots, Shots, "A lesson log was to be joined.", "shots", "Give what read_shots or clean_shots return.")
    journal = read_log(log)
    key = key if key is not None else process_key()
    table = shots.table.copy(deep=False)
    rejects = shots.rejects.copy(deep=False)
    if "session" not in table:
        table["session"] = find_sessions(table, journal, key)
    journal = _add_ids(journal, table, key)
    names = pd.Index(journal["session"].unique())
    of_shot, of_reject = places_of(table["session"], names), places_of(rejects["session"], names)
    refuse_unknown_sessions(journal, table, names, of_shot)
    table["shot"], rejects["shot"], unnumbered = number_shots(table, rejects, of_shot, of_reject)
    if "first_shot" not in journal:
        need_times(table)
        numbers = table["shot"].to_numpy(dtype=float)
        journal = ranges_by_time(journal, names, of_shot, numbers, table["struck_at"], clock_offset_s)
    journal = _count_blocks(_add_cards(journal, cues))
    here = np.concatenate([table["shot"].to_numpy(dtype=float), rejects["shot"].to_numpy(dtype=float, na_value=np.nan)])
    there = np.concatenate([of_shot, of_reject])
    block = find_blocks(journal, names, there, here)
    notes = check_ranges(journal, names, there, here, block)
    span = (journal["last_shot"] - journal["first_shot"] + 1).astype("int64")
    journal["shots_logged"] = span
    journal["shots_missing"] = span - count_present(there, here, block, len(journal))
    check_students(journal, table, of_shot)
    block = block[: len(table)]
    known = of_shot >= 0
    people = ("student",) if "student" not in table or table["student"].isna().any() else ()
    for name in (*people, *SESSION_COLUMNS):
        if name in journal and journal[name].notna().any():
            first = journal.groupby("session", sort=False)[name].first().reindex(names)
            values = _take(first, of_shot, len(table))
            if name != "student" and not (journal.groupby("session")[name].nunique(dropna=False) <= 1).all():
                values = _merge(_take(journal[name], block, len(table)), values, block >= 0)
            table[name] = _merge(values, table.get(name), known & pd.Series(values).notna().to_numpy())
    for name in (*BLOCK_COLUMNS, "shots_logged", "shots_missing"):
        if name in journal:
            table[name] = _merge(_take(journal[name], block, len(table)), table.get(name), known)
        elif name in table:
            table[name] = table[name].where(~known)
    outside = int(table["phase"].isna().sum())
    kept = [note for note in shots.notes if not note.endswith((_OUTSIDE, _UNNUMBERED)) and OVERRUN not in note]
    notes += [f"{outside:,}{_OUTSIDE}"] if outside else []
    notes += [f"{unnumbered:,}{_UNNUMBERED}"] if unnumbered else []
    return replace(shots, table=table, rejects=rejects, notes=(*kept, *notes))


def _add_ids(journal: pd.DataFrame, table: pd.DataFrame, key: bytes) -> pd.DataFrame:
    """Return the log with pseudonyms for students and coaches; two students in one session are refused."""
    journal = journal.copy()
    for name, prefix in (("student", "s"), ("coach", "c")):
        if name in journal:
            journal[name] = ids_of(journal[name], table.get(name), prefix, key)
    if "student" in journal:
        first = journal.groupby("session", sort=False)["student"].transform("first")
        other = journal["student"].notna() & (journal["student"] != first)
        if other.any():
            row = other.idxmax()
            session = journal.loc[row, "session"]
            raise DataError(
                f"Row {row} of the lesson log was read.",
                f"Session {session!r} has two students: {first[row]} in row "
                f"{journal.index[journal['session'] == session][0]}, {journal.loc[row, 'student']} in row {row}.",
                "Give each visit of each student a session of its own.",
                row=row,
                session=session,
            )
    return journal


def _add_cards(journal: pd.DataFrame, cues: pd.DataFrame | str | Path | None) -> pd.DataFrame:
    """Return the log with family, moves and direction of each cue's card."""
    cards = cards_or_none(cues if cues is None or isinstance(cues, pd.DataFrame) else read_cues(cues))
    if cards is None:
        return journal
    cards = cards.drop_duplicates("cue").set_index("cue")
    known = list(dict.fromkeys([*map(str, cards.index), PLAIN]))
    strange = journal["cue"].notna() & ~journal["cue"].isin(known)
    if strange.any():
        row = strange.idxmax()
        cue = journal.loc[row, "cue"]
        raise DataError(
            f"Row {row} of the lesson log was read.",
            f"The cue {cue!r} has no card{close_to(str(cue), known)}; there are cards for: {', '.join(known)}.",
            "Correct the log, or add a card to cues.toml.",
            row=row,
            cue=cue,
        )
    journal = journal.copy()
    for name in CARD_COLUMNS:
        if name in cards:
            journal[name] = journal["cue"].map(cards[name])
    return journal


def _count_blocks(journal: pd.DataFrame) -> pd.DataFrame:
    """Return the log in the order of sessions and shots, with block, block_index and period where it lacks them."""
    order = pd.Series(pd.factorize(journal["session"])[0], index=journal.index)
    journal = journal.iloc[np.lexsort([journal["first_shot"], order])].copy()
    by_session = journal.groupby("session", sort=False)
    if "block_index" not in journal:
        journal["block_index"] = by_session.cumcount() + 1
    elif journal["block_index"].isna().any():
        journal["block_index"] = journal["block_index"].fillna(by_session.cumcount() + 1)
    if "period" not in journal:
        test = journal["phase"].isin(TESTS)
        journal["period"] = test.astype(int).groupby(journal["session"]).cumsum().astype(float).where(test)
    index = journal["block_index"].astype(float).astype(int).astype("str")
    block = journal["session"] + "/" + index
    journal["block"] = journal["block"].fillna(block) if "block" in journal else block
    twice = journal["block"].duplicated(keep=False)
    if twice.any():
        first, second = journal.index[journal["block"] == journal["block"][twice].iloc[0]][:2]
        raise DataError(
            f"Row {second} of the lesson log was read.",
            f"Its block {journal.loc[second, 'block']!r} stands in row {first} too.",
            "Give each block an id of its own.",
            row=second,
        )
    return journal


def _take(values: pd.Series, places: np.ndarray, rows: int) -> object:
    """Return values by place, missing at -1; labels of very many rows as categories, which take less memory."""
    if rows > _MANY and isinstance(values.dtype, pd.StringDtype):
        codes, words = pd.factorize(values)
        return pd.Categorical.from_codes(np.append(codes, -1)[places], categories=words)
    if values.dtype.kind in "iu" and (places < 0).any():
        values = values.astype(float)
    elif values.dtype == bool:
        values = values.astype("boolean")
    taken = values.array.take(places, allow_fill=True)
    return taken if taken.isna().any() or values.dtype != "boolean" else taken.astype(bool)


def _merge(values: object, before: object, new: np.ndarray) -> object:
    """Return new values where they are due, and elsewhere what stood there."""
    if before is None or new.all():
        return values
    now, then = (pd.Series(getattr(part, "array", part)) for part in (values, before))
    if isinstance(now.dtype, pd.CategoricalDtype) or isinstance(then.dtype, pd.CategoricalDtype):
        now, then = now.astype("str"), then.astype("str")
    return now.where(new, then).array
