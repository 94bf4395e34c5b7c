"""The average shift of every cue in one picture."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from coachlab.cues.shift import CueShifts
from coachlab.cues.verdict import say_verdict
from coachlab.plots.look import (
    BAND,
    FAMILY_MARKS,
    INK,
    NO_FAMILY,
    QUIET,
    SMALL,
    axes_of,
    cue_rows,
    dot,
    families_of,
    in_order,
    legend_above,
    level_text,
    names_above,
    shift_ground,
    two_lines,
)
from coachlab.schema import OUTCOMES, show_club
from coachlab.units import shown


def plot_shifts(
    shifts: CueShifts, cues: pd.DataFrame | None = None, ax: Axes | None = None, narrow: bool = False
) -> Axes:
    """Draw one row a cue, its average shift with interval, beside grade, students and verdict; return the axes.

    The shaded band holds the shifts that are too small to matter; the line at zero is no shift at all. Rows go by
    family and id. A cue without an estimate keeps its row and says so in words.

    Parameters
    ----------
    shifts : CueShifts
        From `cue_shifts`.
    cues : DataFrame or None
        The cue cards, for families; without them every cue has the same mark.
    ax : Axes or None
        Where to draw; None: new axes.
    narrow : bool
        Whether names, grades and verdicts stand above their rows in place of beside them, as on a phone.
    """
    ax = axes_of(ax)
    table = shifts.table.set_index("cue")
    names = in_order(table.index.astype("str"), cues)
    table = table.loc[names]
    unit = shown(shifts.outcome, shifts.settings.units)
    useful = shifts.settings.smallest_useful_shift(shifts.outcome, shifts.club)
    shift_ground(ax, shifts.outcome, shifts.club, shifts.settings)
    family = families_of(cues)
    values = table[["estimate", "low", "high"]].to_numpy(float) * unit.factor
    for kind in dict.fromkeys(family.get(cue, "") for cue in names):
        rows = np.array([place for place, cue in enumerate(names) if family.get(cue, "") == kind])
        marker, colour = FAMILY_MARKS.get(kind, NO_FAMILY)
        ax.hlines(rows, values[rows, 1], values[rows, 2], colors=colour, linewidth=2, zorder=2)
        ax.plot(values[rows, 0], rows, linestyle="", marker=marker, color=colour, markersize=7, zorder=3)
    said = {str(row.Index): _beside(row, shifts.settings.verdict_students) for row in table.itertuples()}
    small = f"{'too small' if narrow else 'too small to matter'} (within {unit.text(useful)})"
    legend_above(ax, _legend({family.get(cue, "") for cue in names}, small, shifts.level))
    if narrow:
        names_above(ax, names, shifts.names, {cue: ", ".join(lines) for cue, lines in said.items()})
        ax.set_xlabel(two_lines(ax.get_xlabel()))
        return ax
    for place, cue in enumerate(names):
        ax.text(
            1.02,
            place,
            "\n".join(said[cue]),
            transform=ax.get_yaxis_transform(),
            va="center",
            fontsize=SMALL,
            color=INK,
            linespacing=1.1,
        )
    cue_rows(ax, names, shifts.names)
    return ax


def describe_shifts(shifts: CueShifts, cues: pd.DataFrame | None = None) -> str:
    """Return what `plot_shifts` shows, in sentences."""
    unit = shown(shifts.outcome, shifts.settings.units)
    useful = unit.text(shifts.settings.smallest_useful_shift(shifts.outcome, shifts.club))
    table = shifts.table.set_index("cue")
    said = [
        f"Average shift of {show_club(shifts.club)} {OUTCOMES[shifts.outcome]} for {len(table)} "
        f"{'cue' if len(table) == 1 else 'cues'}, with {level_text(shifts.level)} intervals; within {useful} either "
        "side of zero a shift is too small to matter."
    ]
    for cue in in_order(table.index.astype("str"), cues):
        row = table.loc[cue]
        what = f"no estimate, {_why_none(row)}"
        if np.isfinite(row["estimate"]):
            verdict = say_verdict(row["verdict"], row["estimate"], row["students"], shifts.settings.verdict_students)
            low, high = (unit.number(row[end], sign=True) for end in ("low", "high"))
            what = f"{unit.text(row['estimate'], sign=True)} ({low} to {high}), {verdict}"
        said.append(f"{shifts.names[cue]}: {what}, grade {row['grade']}, {row['students']} students.")
    return " ".join(said)


def _beside(row: tuple, least_students: int) -> tuple[str, str]:
    verdict = say_verdict(row.verdict, row.estimate, row.students, least_students)  # type: ignore[attr-defined]
    if not np.isfinite(row.estimate):  # type: ignore[attr-defined]
        verdict = _why_none(row._asdict())  # type: ignore[attr-defined]
    return verdict, f"grade {row.grade}, {row.students} students"  # type: ignore[attr-defined]


def _why_none(row: dict | pd.Series) -> str:
    return "counted, not compared" if row["grade"] == "D" else "too few for a mean"


def _legend(kinds: set[str], small: str, level: float) -> list:
    marks = [dot(*FAMILY_MARKS[kind], f"{kind} cue") for kind in FAMILY_MARKS if kind in kinds]
    return [
        *marks,
        Line2D([], [], color=QUIET, linewidth=2, label=f"{level_text(level)} interval"),
        Patch(color=BAND, label=small),
    ]
