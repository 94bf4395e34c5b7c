"""Clubs that stand under another's name: in one session, by the player's other sessions; in a file, by the lofts."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from coachlab.intake.findings import Findings, counted, found
from coachlab.intake.shots import Shots
from coachlab.schema import CLUBS, show_club

SHOWN_BY = ("club_speed_mps", "delivered_loft_deg", "ball_speed_mps", "launch_up_deg", "spin_rpm", "carry_m")
"""What tells clubs apart."""
LEAST_SHOTS, LEAST_OTHERS = 4, 2
"""How many shots of a club a session needs, and how many other sessions of the student with it."""
BORDER = 4.0
"""Root mean square distance from the student's other sessions, in their usual spread, from which a club is doubted."""
LOFT_APART_DEG = 8.0

_IRONS = {1: 16, 2: 18, 3: 20, 4: 23, 5: 26, 6: 29, 7: 33, 8: 37, 9: 41}
_WEDGES = {"pw": 46, "gw": 50, "sw": 55, "lw": 60}


def nominal_loft_deg(club: str) -> float:
    """Return about which loft a club of that name has, in degrees; sets differ by a few.

    >>> nominal_loft_deg("driver"), nominal_loft_deg("iron-7"), nominal_loft_deg("wedge-54")
    (10.5, 33.0, 54.0)
    """
    kind, _, which = club.partition("-")
    if kind == "driver":
        return 10.5
    if kind == "wedge":
        return float(_WEDGES.get(which) or which)
    number = int(which)
    return float(_IRONS[number]) if kind == "iron" else 11.0 + 1.6 * number if kind == "wood" else 10.0 + 4.0 * number


def audit_clubs(shots: Shots) -> Findings:
    """Return sessions, and files, in which clubs seem to stand under each other's names.

    Parameters
    ----------
    shots : Shots
        Cleaned, with club and at least two of `SHOWN_BY`; for single sessions with student and session too.

    Notes
    -----
    A session's shots with a club are held against the student's other sessions: doubted where they lie far from those
    with this club and much nearer to those with another. In a file, more loft must start the ball higher, with more
    spin and less speed, for clubs whose lofts lie `LOFT_APART_DEG` apart.
    """
    table = counted(shots)
    names = [name for name in SHOWN_BY if name in table]
    if "club" not in table or len(names) < 2 or not len(table):
        return found([], "Clubs: this needs the club and at least two readings that tell clubs apart.")
    table = table[table["club"].astype("str").isin(list(CLUBS))]
    rows = list(_turned_files(table, names))
    wrong = {row[1] for row in rows}
    if {"student", "session"} <= set(table.columns):
        rows += _strange_sessions(table[~table["source"].astype("str").isin(wrong)], names)
    return found(rows, f"Clubs: looked at by {', '.join(names)}.")


def _strange_sessions(table: pd.DataFrame, names: list[str]) -> Iterator[tuple]:
    keys = ["student", "session", "club"]
    labels = [table[name].astype("str") for name in keys]
    groups = table[names].astype(float).groupby(labels, sort=False)
    middle = groups.median()[groups.size() >= LEAST_SHOTS]
    if not len(middle):
        return
    player = middle.groupby(level=["student", "club"], sort=False)
    usual = middle - player.transform("median")
    many = player[names[0]].transform("size") > LEAST_OTHERS
    spread = 1.4826 * usual[many].abs().median() if many.any() else usual.abs().median()
    spread = spread.where(spread > 0)
    # far from the middle of all sessions, this one among them: only these are worth the look at the others alone
    doubted = np.sqrt(((usual / spread) ** 2).mean(axis=1)) > BORDER / 2
    for (student, session, club), here in middle[doubted.to_numpy()].iterrows():
        mine = middle.xs(student, level="student")
        mine = mine[mine.index.get_level_values("session") != session]
        far = {}
        for name in mine.index.get_level_values("club").unique():
            others = mine.xs(name, level="club")
            if len(others) >= LEAST_OTHERS:
                far[name] = float(np.sqrt((((here - others.median()) / spread) ** 2).mean()))
        if club not in far or far[club] < BORDER or len(far) < 2:
            continue
        near = min(far, key=far.__getitem__)
        if near != club and far[near] * 2 < far[club]:
            yield (
                "clubs", session, "club",
                f"the shots of {student} with the {show_club(club)} look like those with the {show_club(near)}.",
                "Correct the club in the file, or map another heading.", round(far[club] / BORDER, 2),
            )  # fmt: skip


def _turned_files(table: pd.DataFrame, names: list[str]) -> Iterator[tuple]:
    """Yield files in which the club with more loft is the one that flies lower, faster and with less spin."""
    ways = {name: -1 if name in ("club_speed_mps", "ball_speed_mps", "carry_m") else 1 for name in names}
    who = "student" if "student" in table else "source"
    for source, part in table.groupby(table["source"].astype("str"), sort=False):
        groups = part[names].astype(float).groupby([part[who].astype("str"), part["club"].astype("str")])
        middle = groups.median()[groups.size() >= LEAST_SHOTS]
        clubs = sorted(middle.index.get_level_values(1).unique(), key=nominal_loft_deg)
        for place, low in enumerate(clubs):
            for high in clubs[place + 1 :]:
                if nominal_loft_deg(high) - nominal_loft_deg(low) < LOFT_APART_DEG:
                    continue
                steps = (middle.xs(high, level=1) - middle.xs(low, level=1)).dropna(how="all")
                wrong = [float((steps[name] * way < 0).mean()) for name, way in ways.items()]
                if len(steps) >= 3 and np.mean(wrong) > 0.8:
                    yield (
                        "clubs", source, "club",
                        f"the {show_club(high)} flies like a club of less loft than the {show_club(low)}.",
                        "Look at [club_names] in the map: the two seem to be exchanged.",
                        round(float(np.mean(wrong)) / 0.8, 2),
                    )  # fmt: skip
