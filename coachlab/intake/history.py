"""Sessions that do not look like their student's others, as when the wrong club was typed in."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

LOOKED_AT = ("club_speed_mps", "attack_up_deg")
LIMIT_SD, LEAST_SHOTS, LEAST_OTHERS = 4.0, 5, 3
"""How far a session's mean may lie from the others; how many shots and how many other sessions that needs."""


def unlike_sessions(table: pd.DataFrame, usable: np.ndarray) -> Iterator[tuple[str, np.ndarray, np.ndarray]]:
    """Yield column, first shot of each session whose mean lies far from the student's others with the club, and means.

    Parameters
    ----------
    table : DataFrame
        Shots; without student, session and club there is nothing to compare.
    usable : bool array, shape (n,)
        The shots that count.

    Yields
    ------
    column : str
    rows : bool array, shape (n,)
    values : float array, shape (n,)
        The session's mean at those rows.

    Notes
    -----
    The spread between a student's sessions is that of the other sessions' means, or, where that is smaller, the
    academy's usual one (median absolute deviation x 1.4826): three sessions alone say little of a spread.
    """
    names = [name for name in LOOKED_AT if name in table]
    if not names or not {"student", "session", "club"} <= set(table.columns) or not usable.any():
        return
    session, club = (pd.factorize(table[name])[0] for name in ("session", "club"))
    known = usable & (session >= 0) & (club >= 0)
    session *= club.max() + 1
    session += club
    session[~known] = -1
    codes, groups = pd.factorize(session)
    first = np.zeros(len(groups), dtype=np.int64)
    first[codes[::-1]] = np.arange(len(table))[::-1]
    student = pd.factorize(table["student"].iloc[first])[0]
    player = np.where((groups >= 0) & (student >= 0), student * (club.max() + 1) + club[first], -1)
    for name in names:
        values = table[name].to_numpy(dtype=float, na_value=np.nan)
        there = known & ~np.isnan(values)
        count = np.bincount(codes[there], minlength=len(groups))
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = np.bincount(codes[there], weights=values[there], minlength=len(groups)) / count
        enough = (count >= LEAST_SHOTS) & (player >= 0)
        far = np.zeros(len(groups), dtype=bool)
        far[enough] = _far(mean[enough], player[enough])
        rows, shown = np.zeros(len(table), dtype=bool), np.full(len(table), np.nan)
        rows[first[far]] = True
        shown[first[far]] = mean[far]
        yield name, rows, shown


def _far(mean: np.ndarray, player: np.ndarray) -> np.ndarray:
    """Return which sessions lie more than `LIMIT_SD` from the same player's others."""
    codes = pd.factorize(player)[0]
    middle = pd.Series(mean).groupby(codes).transform("median").to_numpy()
    size = np.bincount(codes)[codes]
    usual = 1.4826 * np.median(np.abs(mean - middle)[size > 1]) if (size > 1).any() else 0.0
    others = np.maximum(size - 1, 1)
    centred = mean - middle
    total, squares = (np.bincount(codes, weights=centred**power)[codes] for power in (1, 2))
    centre = (total - centred) / others
    variance = (squares - centred**2 - others * centre**2) / np.maximum(others - 1, 1)
    spread = np.maximum(np.sqrt(np.maximum(variance, 0)), usual) * np.sqrt(1 + 1 / others)
    return (size > LEAST_OTHERS) & (np.abs(centred - centre) > LIMIT_SD * spread) & (spread > 0)
