"""Which session and block of a lesson log a shot belongs to, by its number; what does not fit is refused."""

import numpy as np
import pandas as pd

from coachlab import privacy
from coachlab.errors import DataError
from coachlab.intake.combine import COPY
from coachlab.intake.headings import close_to
from coachlab.schema import COLUMNS

OVERRUN = "The log goes beyond the device's last shot"
_STEP = 10_000_000
"""More than any shot number: session and shot make one whole number."""


def find_sessions(table: pd.DataFrame, journal: pd.DataFrame, key: bytes) -> pd.Series:
    """Return the session of each shot where no file says it: the log's only one, or that of the student and day."""
    asked = "Shots that name no session were joined with a lesson log."
    visits = journal.drop_duplicates("session")
    if len(visits) == 1:
        return pd.Series([visits["session"].iloc[0]] * len(table), index=table.index, dtype="str")
    day = table["session_day"] if "session_day" in table else table.get("struck_at")
    if day is None or "session_day" not in journal:
        raise DataError(
            asked,
            f"The log has {len(visits)} sessions, and neither session nor day says which shot belongs to which.",
            "Map the session, or a day (session_day or struck_at) and add session_day to the log.",
            column="session",
        )
    keys = {"day": day.dt.floor("D")}
    named = {"day": visits["session_day"]}
    if "student" in table and "student" in journal:
        keys["student"] = table["student"]
        named["student"] = ids_of(visits["student"], table.get("student"), "s", key)
    lookup = pd.DataFrame({**named, "session": visits["session"]}).reset_index(drop=True)
    twice = lookup.duplicated([*named], keep=False)
    if twice.any():
        row = lookup[twice].iloc[0]
        raise DataError(
            asked,
            f"On {row['day']:%Y-%m-%d} the log has more than one session that may be meant ({row['session']!r}, ...).",
            "Map the session: student and day do not tell them apart.",
            column="session",
        )
    found = pd.DataFrame(keys).merge(lookup, how="left", on=[*keys])
    return pd.Series(found["session"].astype("str").array, index=table.index)


def places_of(sessions: pd.Series, names: pd.Index) -> np.ndarray:
    """Return the place of each row's session among the log's, -1 for another."""
    codes, words = pd.factorize(sessions)
    places = names.get_indexer(pd.Index(words).astype("str")) if len(words) else np.zeros(0, dtype=int)
    return np.append(places, -1)[codes]


def refuse_unknown_sessions(journal: pd.DataFrame, table: pd.DataFrame, names: pd.Index, of_shot: np.ndarray) -> None:
    """Refuse a log that names a session of which there is no shot."""
    empty = np.setdiff1d(np.arange(len(names)), of_shot)
    if len(empty):
        session = names[empty[0]]
        row = journal.index[journal["session"] == session][0]
        known = [str(name) for name in table["session"].dropna().unique()]
        shown = ", ".join(map(repr, known[:8])) + (", ..." if len(known) > 8 else "")
        more = f" ({len(empty)} such sessions)" if len(empty) > 1 else ""
        raise DataError(
            f"Row {row} of the lesson log was joined with the shots.",
            f"No shot has its session {session!r}{close_to(session, known)}{more}; the shots have {shown or 'none'}.",
            "Correct the session in the log, or read the export in which it stands.",
            row=row,
            session=session,
        )


def number_shots(
    table: pd.DataFrame, rejects: pd.DataFrame, of_shot: np.ndarray, of_reject: np.ndarray
) -> tuple[pd.Series, pd.Series, int]:
    """Return the numbers of shots and rejects; a session without any number is counted in the order of its file."""
    numbers = table["shot"] if "shot" in table else pd.Series(np.nan, index=table.index)
    numbers, lost = (
        one.where(one.between(0, COLUMNS["shot"].high)) for one in (numbers, rejects["shot"].astype(float))
    )  # a number that no counter reaches is misread
    blank = numbers.isna().to_numpy()
    if not blank.any():
        return numbers, lost, 0
    counted = np.unique(of_shot[~blank])
    count = (of_shot >= 0) & ~np.isin(of_shot, counted)
    copied = np.zeros(len(table), dtype=bool)
    if "excluded_reason" in table:  # a copy is no further ball: the shots after it would move on
        copied = table["excluded_reason"].astype("str").fillna("").str.startswith(COPY).to_numpy(dtype=bool)
        count &= ~copied
    count_lost = (of_reject >= 0) & ~np.isin(of_reject, counted)
    files = pd.concat([table["source"].astype("str")[count], rejects["source"].astype("str")[count_lost]])
    source = pd.factorize(files)[0]
    row = np.concatenate([table["source_row"].to_numpy()[count], rejects["source_row"].to_numpy()[count_lost]])
    session = np.concatenate([of_shot[count], of_reject[count_lost]])
    order = np.lexsort((row, source, session))
    place = np.empty(len(order))
    place[order] = np.arange(len(order))
    ordered = session[order]
    start = np.flatnonzero(np.concatenate([[True], ordered[1:] != ordered[:-1]])) if len(ordered) else order
    run = np.repeat(start, np.diff(np.append(start, len(ordered))))
    place[order] -= run
    values, lost_values = numbers.to_numpy(dtype=float).copy(), lost.to_numpy().copy()
    values[count] = place[: count.sum()] + 1
    lost_values[count_lost] = place[count.sum() :] + 1
    whole = values if np.isnan(values).any() else values.astype(np.int64)
    left_out = int((np.isnan(values) & (of_shot >= 0) & ~copied).sum())
    return pd.Series(whole, index=table.index), pd.Series(lost_values, index=rejects.index), left_out


def find_blocks(journal: pd.DataFrame, names: pd.Index, session: np.ndarray, shot: np.ndarray) -> np.ndarray:
    """Return the place of each shot's block in the log, -1 where there is none; overlapping ranges are refused."""
    of_block = names.get_indexer(journal["session"]).astype(np.int64)
    first, last = (journal[name].to_numpy(dtype=np.int64) for name in ("first_shot", "last_shot"))
    overlap = np.flatnonzero((of_block[1:] == of_block[:-1]) & (first[1:] <= last[:-1]))
    if len(overlap):
        one, other = journal.index[overlap[0]], journal.index[overlap[0] + 1]
        raise DataError(
            f"Row {other} of the lesson log was joined with the shots.",
            f"Session {journal['session'].iloc[overlap[0]]!r}: shots {first[overlap[0] + 1]} to {last[overlap[0] + 1]} "
            f"overlap with {first[overlap[0]]} to {last[overlap[0]]} of row {one}.",
            "Correct first_shot and last_shot: a shot belongs to one block.",
            row=other,
            session=journal["session"].iloc[overlap[0]],
        )
    can = (session >= 0) & ~np.isnan(shot)
    key = np.where(can, session.astype(np.int64) * _STEP + np.nan_to_num(shot).astype(np.int64), -1)
    place = np.searchsorted(of_block * _STEP + first, key, side="right") - 1
    inside = can & (place >= 0)
    inside[inside] = (of_block[place[inside]] == session[inside]) & (shot[inside] <= last[place[inside]])
    return np.where(inside, place, -1)


def check_ranges(
    journal: pd.DataFrame, names: pd.Index, session: np.ndarray, shot: np.ndarray, block: np.ndarray
) -> list[str]:
    """Refuse a range that the device has no shots for; tell of one that goes a little beyond its last."""
    can = (session >= 0) & ~np.isnan(shot)
    low, high = np.full(len(names), np.inf), np.full(len(names), -np.inf)
    np.minimum.at(low, session[can], shot[can])
    np.maximum.at(high, session[can], shot[can])
    of_block = names.get_indexer(journal["session"])
    first, last = (journal[name].to_numpy() for name in ("first_shot", "last_shot"))
    beyond = last - high[of_block]
    # the last balls of a session may be lost or left out; more than half a block is a wrong number in the log
    wrong = (np.bincount(block[block >= 0], minlength=len(journal)) == 0) | (beyond * 2 > last - first + 1)
    if wrong.any():
        place = int(np.flatnonzero(wrong)[0])
        row, name = journal.index[place], journal["session"].iloc[place]
        raise DataError(
            f"Row {row} of the lesson log was joined with the shots.",
            f"Session {name!r}: the log names shots {first[place]:g} to {last[place]:g}; "
            f"the device has {low[of_block[place]]:g} to {high[of_block[place]]:g}.",
            "Correct first_shot and last_shot, or the session.",
            row=row,
            session=name,
        )
    over = np.flatnonzero(beyond > 0)
    if not len(over):
        return []
    place = over[0]
    return [
        f"{OVERRUN} in {len(over)} sessions, as in {journal['session'].iloc[place]!r}: "
        f"{int(last[place])} against {int(high[of_block[place]])}. Such a block ends with the device's last shot; look "
        "whether shots were not recorded, or the log counts one too many."
    ]


def count_present(session: np.ndarray, shot: np.ndarray, block: np.ndarray, blocks: int) -> np.ndarray:
    """Return how many numbers of each block are there, shot or reject; a number that stands twice counts once."""
    inside = block >= 0
    key = session[inside].astype(np.int64) * _STEP + shot[inside].astype(np.int64)
    of = block[inside]
    if not (np.diff(key) > 0).all():
        key, first = np.unique(key, return_index=True)
        of = of[first]
    return np.bincount(of, minlength=blocks)


def check_students(journal: pd.DataFrame, table: pd.DataFrame, of_shot: np.ndarray) -> None:
    """Refuse a log that gives a session to another student than the shots do."""
    if "student" not in journal or "student" not in table:
        return
    first = journal.groupby("session", sort=False)["student"].first()
    codes, students = pd.factorize(table["student"])
    pairs = pd.DataFrame({"session": of_shot, "student": codes})[(of_shot >= 0) & (codes >= 0)].drop_duplicates()
    names = first.index
    same = first.iloc[pairs["session"]].to_numpy() == np.asarray(students.astype("str"))[pairs["student"]]
    for session, student in pairs[~same].itertuples(index=False):
        said = first.iloc[session]
        if isinstance(said, str) and said != str(students[student]):
            row = journal.index[journal["session"] == names[session]][0]
            raise DataError(
                f"Row {row} of the lesson log was joined with the shots.",
                f"Session {names[session]!r} has two students: {said} in the log, {students[student]} in the shots.",
                "Correct the student or the session in the log.",
                row=row,
                session=names[session],
            )


def ids_of(names: pd.Series, known: pd.Series | None, prefix: str, key: bytes) -> pd.Series:
    """Return people as pseudonyms, those left alone that stand in the shots already."""
    there = frozenset() if known is None else frozenset(map(str, known.dropna().unique()))
    return privacy.pseudonyms(names, key, prefix, there)
