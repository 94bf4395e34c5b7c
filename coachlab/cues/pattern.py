"""A student's swing pattern, measured in the screening blocks and nowhere else.

The block that showed a student to be steep may not serve as the baseline too: part of what it showed was chance,
and goes away by itself (regression to the mean).
"""

import numpy as np
import pandas as pd

from coachlab.intake.shots import Shots, is_usable, shots_table

NAMES: dict[str, tuple[str, str, str]] = {
    "attack_up_deg": ("steep", "middle", "shallow"),
    "path_out_deg": ("inward", "middle", "outward"),
}
"""Words for a pattern one SD below the students' mean, at it, and one SD above."""


def default_pattern(outcome: str) -> str:
    """Return the measure that is taken as the pattern for an outcome: path for path, attack for the others."""
    return "path_out_deg" if outcome == "path_out_deg" else "attack_up_deg"


def screening_pattern(shots: Shots | pd.DataFrame, club: str, measure: str = "attack_up_deg") -> pd.DataFrame:
    """Return each student's pattern: ``student``, the mean of the measure in screening blocks, ``shots``, ``se``.

    The standard error counts shots only; it leaves out how a student differs from day to day. Students without a
    screening block of the club are not in the table.

    Parameters
    ----------
    shots : Shots or DataFrame
        Joined shots.
    club : str
        The club.
    measure : str
        A measured column; its unit is that of the mean and of ``se``.
    """
    table = shots_table(shots, f"Swing patterns with {club} were asked for.")
    if measure not in table.columns or "phase" not in table.columns:
        return pd.DataFrame({"student": [], measure: [], "shots": [], "se": []})
    screen = (table["phase"].astype("str") == "screen") & (table["club"].astype("str") == club)
    rows = table[screen & is_usable(table)]
    groups = rows.groupby(rows["student"].astype("str"))[measure]
    found = groups.agg(["mean", "count", "std"]).reset_index()
    found["se"] = found.pop("std") / np.sqrt(found["count"])
    return found.rename(columns={"mean": measure, "count": "shots"})[["student", measure, "shots", "se"]]


def named_patterns(table: pd.DataFrame, measure: str) -> pd.DataFrame:
    """Return three places on the pattern scale: ``pattern`` (its name), ``at`` (value), ``pat_c`` (centred value).

    Places are the mean over the students of a model table and one SD to either side; a pattern is a scale, and no
    student is put into a box.
    """
    students = table.drop_duplicates("student")
    centre, spread = students["pattern"].mean(), students["pattern"].std()
    offset = (students["pattern"] - students["pat_c"]).mean()
    at = centre + spread * np.array([-1.0, 0.0, 1.0])
    return pd.DataFrame({"pattern": NAMES[measure], "at": at, "pat_c": at - offset})
