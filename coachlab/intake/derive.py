"""What follows from a shot's own columns, and from its place among others; nothing here is stored.

Each function takes a table of shots and returns a Series on its index. A derived reading is worked out from its parts
where both are there, and is the device's own elsewhere, if it reports one.
"""

import numpy as np
import pandas as pd

from coachlab.errors import DataError
from coachlab.physics.arc import ARCS, arc_azimuth, arc_bottom_fwd
from coachlab.schema import CLUBS


def face_to_path_deg(table: pd.DataFrame) -> pd.Series:
    """Return face minus path in degrees; plus is open to the path."""
    return _or_reported(table, "face_to_path_deg", _parts(table, "face_open_deg", "path_out_deg", np.subtract))


def speed_ratio(table: pd.DataFrame) -> pd.Series:
    """Return ball speed over club speed; missing where the head did not move."""
    ratio = _parts(table, "ball_speed_mps", "club_speed_mps", np.divide)
    return _or_reported(table, "speed_ratio", ratio.where(np.isfinite(ratio)))


def arc_azimuth_deg(table: pd.DataFrame) -> pd.Series:
    """Return which way the arc's plane points in degrees, out being plus; by the measured incline, or the club's usual.

    Missing where the attack is as steep as the arc itself, as only a misread can be.
    """
    path, attack, incline = _column(table, "path_out_deg"), _column(table, "attack_up_deg"), _incline(table)
    can = path.notna() & _possible(attack, incline)
    found = pd.Series(np.nan, index=table.index)
    found[can] = arc_azimuth(path[can].to_numpy(), attack[can].to_numpy(), incline[can].to_numpy())
    return _or_reported(table, "arc_azimuth_deg", found)


def arc_bottom_fwd_mm(table: pd.DataFrame) -> pd.Series:
    """Return how far ahead of the ball the head is lowest, in millimetres; negative is behind it.

    By the measured incline, or the club's usual. Missing as `arc_azimuth_deg`, and where the club is not known.
    """
    attack, incline = _column(table, "attack_up_deg"), _incline(table)
    radius = _heads(table).map({head: arc.radius_m for head, arc in ARCS.items()}).astype(float)
    can = radius.notna() & _possible(attack, incline)
    found = pd.Series(np.nan, index=table.index)
    found[can] = arc_bottom_fwd(attack[can].to_numpy(), incline[can].to_numpy(), radius[can].to_numpy())
    return _or_reported(table, "arc_bottom_fwd_mm", found)


def shot_in_session(table: pd.DataFrame) -> pd.Series:
    """Return the place of each shot in its session from 1, by shot number, by row where there is none."""
    return _place(table, "session")


def shot_in_block(table: pd.DataFrame) -> pd.Series:
    """Return the place of each shot in its block from 1, by shot number, by row where there is none."""
    return _place(table, "block")


def session_number(table: pd.DataFrame) -> pd.Series:
    """Return which of the student's sessions a shot belongs to, from 1 in the order of their days.

    Sessions of one day follow the time of their first shot where it is known, and the table otherwise.
    """
    _need(table, "student", "session", "session_day")
    keys = ["session_day", *(["struck_at"] if "struck_at" in table else [])]
    visits = table[["student", "session", *keys]].sort_values(keys, kind="stable").drop_duplicates("session")
    number = visits.groupby("student", observed=True).cumcount() + 1
    by_session = pd.Series(number.to_numpy(float), index=visits["session"].astype("str"))
    return table["session"].astype("str").map(by_session).rename("session_number")


def previous_cue(table: pd.DataFrame) -> pd.Series:
    """Return the cue of the block before in the same session; missing in a session's first block."""
    _need(table, "session", "block", "block_index", "cue")
    blocks = table[["session", "block", "block_index", "cue"]].dropna(subset="block").drop_duplicates("block")
    blocks = blocks.sort_values(["session", "block_index"], kind="stable")
    before = blocks["cue"].astype("str").groupby(blocks["session"].astype("str")).shift()
    by_block = pd.Series(before.array, index=blocks["block"].astype("str"))
    return table["block"].astype("str").map(by_block).rename("previous_cue")


def _parts(table: pd.DataFrame, one: str, other: str, of: np.ufunc) -> pd.Series:
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):  # of misreads without end, or of none
        return pd.Series(of(_column(table, one).to_numpy(), _column(table, other).to_numpy()), index=table.index)


def _column(table: pd.DataFrame, name: str) -> pd.Series:
    return table[name].astype(float) if name in table else pd.Series(np.nan, index=table.index)


def _or_reported(table: pd.DataFrame, name: str, derived: pd.Series) -> pd.Series:
    derived = derived.rename(name)
    return derived.fillna(table[name].astype(float)) if name in table else derived


def _heads(table: pd.DataFrame) -> pd.Series:
    clubs = table["club"].astype("str") if "club" in table else pd.Series(None, index=table.index, dtype="str")
    return clubs.map(CLUBS)


def _incline(table: pd.DataFrame) -> pd.Series:
    usual = _heads(table).map({head: arc.incline_deg for head, arc in ARCS.items()}).astype(float)
    measured = _column(table, "arc_incline_deg")
    return measured.where((measured >= 1) & (measured <= 90)).fillna(usual)  # no club swings flat on the ground


def _possible(attack: pd.Series, incline: pd.Series) -> pd.Series:
    return attack.notna() & incline.notna() & (attack.abs() < incline)


def _place(table: pd.DataFrame, group: str) -> pd.Series:
    _need(table, group)
    groups = table.groupby(group, observed=True, sort=False)
    if "shot" in table and table["shot"].notna().all():
        return groups["shot"].rank(method="first").rename(f"shot_in_{group}")
    return (groups.cumcount() + 1.0).where(table[group].notna()).rename(f"shot_in_{group}")


def _need(table: pd.DataFrame, *names: str) -> None:
    missing = [name for name in names if name not in table]
    if missing:
        raise DataError(
            "A shot's place among others was asked for.",
            f"The table has no column {', '.join(missing)}.",
            "Join the lesson log first: join_log(shots, log).",
            column=missing[0],
        )
