"""`clean_shots`: which readings can be believed. Nothing is dropped: a misread is set aside, the rest remarked upon."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pandas as pd

from coachlab.errors import DataError, need
from coachlab.intake.agree import air_sentence, disagreements
from coachlab.intake.columns import READINGS
from coachlab.intake.derive import face_to_path_deg, speed_ratio
from coachlab.intake.history import unlike_sessions
from coachlab.intake.plain import plain_table
from coachlab.intake.shots import FLAG_COLUMNS, Shots
from coachlab.physics.air import Air
from coachlab.physics.consistency import CONSISTENCY
from coachlab.schema import COLUMNS, RANGE_RULES

MISREAD, UNUSUAL = "out of range", "unusual"
STUCK, TWICE = "stuck reading", "duplicate shot"
LOFT, REPORTED, UNLIKE = "loft below attack", "reported otherwise", "session unlike the others"
RULES: dict[str, str] = {
    MISREAD: "the value cannot be: the device misread, and the shot is set aside",
    UNUSUAL: "the value lies outside what is believable",
    STUCK: "club speed, attack and path are those of the shot before: the device may have repeated itself",
    TWICE: "the same shot stands there already, reading for reading",
    LOFT: "delivered loft lies below the attack: the ball would start into the ground",
    REPORTED: "the device's own figure does not follow from its parts",
    UNLIKE: "the session's mean lies far from the student's others with this club: was another club used?",
    **CONSISTENCY,
}
"""The rules that `clean_shots` looks at, and what each of them says."""

_Doubt = tuple[str, str, np.ndarray, np.ndarray]
"""Column, rule, the shots in doubt (bool, shape (n,)), the values that the rule is about (shape (n,))."""

USED = "used all the same"
"""The flag of a shot that a person uses whatever a rule says (`decide.restore`)."""

_AGREES = {"face_to_path_deg": (face_to_path_deg, 0.5), "speed_ratio": (speed_ratio, 0.05)}
"""Derived readings that a device may report, and how far rounding of the parts alone can put it off."""


def clean_shots(shots: Shots | pd.DataFrame, air: Air | None = None) -> Shots:
    """Return the shots with the misread ones set aside (``read_ok`` False) and all doubts as flags.

    A reading outside the range of a rule of `schema.RANGE_RULES` sets its shot aside; face to path and speed ratio
    are worked out where both their parts are there. Everything else only flags: other readings outside their
    range, the same club speed, attack and path twice running in a session, the same shot twice, a delivered loft
    below the attack, a reported figure that does not follow from its parts, a session unlike the student's others, and
    readings of club, ball and flight that physics does not let go together (`physics.consistency.CONSISTENCY`; only
    for shots whose club is known and that were read well, and only by the columns that are there).

    Parameters
    ----------
    shots : Shots or DataFrame
        What `read_shots` returned, or a table in our own names and units; not changed.
    air : Air or None
        The air that is assumed where the table does not say it (temperature, pressure or altitude, and wind or a
        roof). Carry is held against the model's flight only in an air that is measured or assumed; a note says which.

    Returns
    -------
    Shots
        Cleaning again in the same air changes nothing. Rows of a table without any reading become rejects.

    Raises
    ------
    DataError
        If a table has no column of readings, or text where numbers are due.
    """
    asked, do = "Shots were to be cleaned.", "Pass what read_shots(file) returned, or a table in our own names."
    need(shots, (Shots, pd.DataFrame), asked, "shots", do)
    if not isinstance(shots, Shots):
        shots = shots_of_table(shots)
    table = shots.table.copy(deep=False)
    read_ok = np.ones(len(table), dtype=bool)
    found: list[_Doubt] = []
    notes = list(shots.notes)
    for name in READINGS:
        values = _judged(table, name)
        if values is None:
            continue
        column = COLUMNS[name]
        outside = (values < column.low) | (values > column.high)
        rule = MISREAD if name in RANGE_RULES else UNUSUAL
        if rule == MISREAD:
            read_ok &= ~outside
        found.append((name, rule, outside, values))
    with ThreadPoolExecutor(1) as beside:  # arithmetic on arrays, during which another look can go on
        others = beside.submit(lambda: [*_consistency(table), *_unlike(table, read_ok)])
        physics = list(disagreements(table, read_ok, air))
        found += [*others.result(), *physics]
    told = air_sentence(table, air)
    notes += [told] if told else []
    for name, rows, values, compared in _reported(table):
        if rows.sum() * 2 > compared:
            notes.append(
                f"{name} as reported does not follow from its parts in {int(rows.sum())} of {compared} shots: "
                "check units and `positive` in the map."
            )
        else:
            found.append((name, REPORTED, rows, values))
    kept = shots.flags[~shots.flags["rule"].isin(list(RULES))]
    table["read_ok"] = read_ok | _decided(table, kept)
    flags = pd.concat([kept, _flags(table, found)], ignore_index=True) if len(kept) else _flags(table, found)
    flags = flags.sort_values(["source", "source_row"], kind="stable", ignore_index=True)
    return replace(shots, table=table, flags=flags, notes=tuple(dict.fromkeys(notes)))


def exclude(shots: Shots, where: pd.Series | np.ndarray, reason: str) -> Shots:
    """Return the shots with some set aside by a person's decision, for a reason that is kept beside them.

    Parameters
    ----------
    shots : Shots
        Not changed.
    where : bool array or Series, shape (n,)
        True for the shots to set aside.
    reason : str
        Why; may not be blank.

    Raises
    ------
    DataError
        If no reason is given, or `where` does not say yes or no for each shot.
    """
    if not reason.strip():
        raise DataError("Shots were to be set aside.", "No reason is given.", "Say why, in a few words.")
    return _decide(shots, where, True, reason.strip())


def include(shots: Shots, where: pd.Series | np.ndarray) -> Shots:
    """Return the shots with a person's decision undone: those that `exclude` set aside come back.

    Raises
    ------
    DataError
        If `where` does not say yes or no for each shot.
    """
    return _decide(shots, where, False, "")


def shots_of_table(table: pd.DataFrame) -> Shots:
    """Return a table in our own names, units and signs as `Shots`; rows without any reading are rejects.

    Raises
    ------
    DataError
        If it has no column of readings, or text where numbers are due.
    """
    readings = [name for name in READINGS if name in table]
    if not readings:
        raise DataError(
            "A table was taken for shots.",
            f"None of its columns is a reading; found: {', '.join(map(str, table.columns)) or 'none'}.",
            f"Name at least one column as we do, as in {', '.join(READINGS[:3])}.",
        )
    table = plain_table(table)
    raw = table.copy(deep=False)
    if "source" not in raw:
        raw["source"] = "table"
    if "source_row" not in raw:
        raw["source_row"] = np.arange(1, len(raw) + 1)
    full = raw.copy(deep=False)
    for name in [*readings, *(["shot"] if "shot" in full else [])]:
        full[name] = pd.to_numeric(full[name], errors="coerce")
    for name, usual in (("read_ok", True), ("excluded", False), ("excluded_reason", "")):
        if name not in full:
            full[name] = usual
    read = np.zeros(len(full), dtype=bool)
    for name in readings:
        read |= full[name].notna().to_numpy()
    lost = full[~read]
    rejects = pd.DataFrame(
        {
            "source": lost["source"].astype("str"),
            "source_row": lost["source_row"],
            "session": lost["session"].astype("str") if "session" in lost else None,
            "shot": lost["shot"].astype(float) if "shot" in lost else np.nan,
            "rule": "no reading",
        }
    )
    flags = pd.DataFrame({name: pd.Series(dtype="object") for name in FLAG_COLUMNS})
    full = full if read.all() else full[read]
    return Shots(full.reset_index(drop=True), raw, rejects.reset_index(drop=True), flags)


def _judged(table: pd.DataFrame, name: str) -> np.ndarray | None:
    """Return the values that a rule looks at, those that follow from others worked out; None if there are none."""
    if name in _AGREES:
        values = _AGREES[name][0](table)
        return values.to_numpy() if values.notna().any() else None
    return table[name].to_numpy(dtype=float, na_value=np.nan) if name in table else None


def _consistency(table: pd.DataFrame) -> Iterator[_Doubt]:
    """Find shots that do not go together with themselves or others: column, rule, rows, values."""
    triple = [name for name in ("club_speed_mps", "attack_up_deg", "path_out_deg") if name in table]
    if len(triple) == 3 and len(table) > 1:
        rows = np.zeros(len(table), dtype=bool)
        rows[1:] = True
        for name in triple:
            values = table[name].to_numpy(dtype=float, na_value=np.nan)
            rows[1:] &= values[1:] == values[:-1]
        rows = _same_session(table, rows)
        yield "club_speed_mps", STUCK, rows, table["club_speed_mps"].to_numpy(dtype=float, na_value=np.nan)
    rows = _duplicates(table)
    yield "shot", TWICE, rows, table["shot"].to_numpy() if "shot" in table else np.full(len(table), np.nan)
    if "delivered_loft_deg" in table and "attack_up_deg" in table:
        loft = table["delivered_loft_deg"].to_numpy(dtype=float, na_value=np.nan)
        yield "delivered_loft_deg", LOFT, loft < table["attack_up_deg"].to_numpy(dtype=float, na_value=np.nan), loft


def _unlike(table: pd.DataFrame, read_ok: np.ndarray) -> Iterator[_Doubt]:
    for name, rows, values in unlike_sessions(table, read_ok & ~table["excluded"].to_numpy(dtype=bool)):
        yield name, UNLIKE, rows, values


def _same_session(table: pd.DataFrame, rows: np.ndarray) -> np.ndarray:
    """Keep the rows whose row before is of the same session, or, where no session is said, of the same file."""
    at = np.flatnonzero(rows)
    here, before = (table.iloc[at - step] for step in (0, 1))
    same = np.ones(len(at), dtype=bool)
    for name in ("session", "source"):
        if name in table:
            one, other = (
                here[name].astype("str").fillna("").to_numpy(),
                before[name].astype("str").fillna("").to_numpy(),
            )
            same &= one == other
    result = np.zeros(len(table), dtype=bool)
    result[at[same]] = True
    return result


def _duplicates(table: pd.DataFrame) -> np.ndarray:
    """Find shots that stand there already: a quick sum of readings finds candidates, all columns decide."""
    readings = [name for name in READINGS if name in table]
    mixed = np.zeros(len(table), dtype=np.uint64)
    for name in [*readings[:6], *(["shot"] if "shot" in table else [])]:
        bits = table[name].to_numpy(dtype=float, na_value=np.nan).view(np.uint64)
        mixed = (mixed ^ bits) * np.uint64(0x9E3779B97F4A7C15)
        mixed ^= mixed >> np.uint64(29)
    ordered = np.sort(mixed)
    twice = ordered[1:][ordered[1:] == ordered[:-1]]
    candidates = np.flatnonzero(np.isin(mixed, twice)) if len(twice) else twice.astype(np.int64)
    names = ["student", "session", "shot", "struck_at", "club"]
    compared = [*(name for name in names if name in table), *readings]
    result = np.zeros(len(table), dtype=bool)
    result[candidates] = table.iloc[candidates][compared].duplicated().to_numpy()
    return result


def _reported(table: pd.DataFrame) -> Iterator[tuple[str, np.ndarray, np.ndarray, int]]:
    """Find reported figures that do not follow from their parts: name, rows, values, how many were compared."""
    for name, (derive, tolerance) in _AGREES.items():
        if name in table:
            values = table[name].to_numpy(dtype=float, na_value=np.nan)
            with np.errstate(over="ignore", invalid="ignore"):  # of misreads without end
                away = np.abs(derive(table.drop(columns=name)).to_numpy() - values)
            yield name, away > tolerance, values, int((~np.isnan(away)).sum())


def _flags(table: pd.DataFrame, doubts: list[_Doubt]) -> pd.DataFrame:
    """Return all doubts as one table: `Shots.flags`."""
    places = [np.flatnonzero(rows) for _, _, rows, _ in doubts]
    at = np.concatenate(places) if places else np.zeros(0, dtype=np.int64)
    here = table[[name for name in ("source", "source_row", "shot") if name in table]].iloc[at]
    counts = [len(place) for place in places]
    named = (np.repeat(np.array([doubt[which] for doubt in doubts], dtype=object), counts) for which in (0, 1))
    columns, rules = (pd.array(words, dtype="str") for words in named)
    values = [value for place, doubt in zip(places, doubts, strict=True) for value in doubt[3][place].tolist()]
    return pd.DataFrame(
        {
            "source": here["source"].astype("str").array,
            "source_row": here["source_row"].to_numpy(),
            "shot": here["shot"].to_numpy() if "shot" in here else np.nan,
            "column": columns,
            "rule": rules,
            "value": pd.Series(values, dtype="object"),
        }
    )


def _decided(table: pd.DataFrame, flags: pd.DataFrame) -> np.ndarray:
    """Return the shots that a person uses whatever a rule says."""
    used = flags[flags["rule"] == USED]
    if not len(used):
        return np.zeros(len(table), dtype=bool)
    wanted = pd.MultiIndex.from_arrays([used["source"].astype("str"), used["source_row"].astype("int64")])
    return pd.MultiIndex.from_arrays([table["source"].astype("str"), table["source_row"]]).isin(wanted)


def chosen_rows(shots: Shots, where: pd.Series | np.ndarray) -> np.ndarray:
    """Return a choice of shots as an array of True and False, shape (n,); refuse one that does not fit."""
    chosen = np.asarray(where)
    if chosen.shape != (len(shots.table),) or chosen.dtype != bool:
        raise DataError(
            "Shots were chosen for a person's decision.",
            f"The choice has shape {chosen.shape} and type {chosen.dtype}; there are {len(shots.table)} shots.",
            "Give True or False for each shot, as in shots.table['shot'] == 12.",
        )
    return chosen


def _decide(shots: Shots, where: pd.Series | np.ndarray, excluded: bool, reason: str) -> Shots:
    chosen = chosen_rows(shots, where)
    table = shots.table.copy(deep=False)
    table["excluded"] = np.where(chosen, excluded, table["excluded"].astype(bool))
    table["excluded_reason"] = table["excluded_reason"].astype("str").where(~chosen, reason)
    return replace(shots, table=table)
