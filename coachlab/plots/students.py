"""Every student's own plain and cue mean, for one cue."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from coachlab.cues.shift import CueShifts
from coachlab.plots.look import (
    FAMILY_MARKS,
    INK,
    NO_FAMILY,
    SMALL,
    axes_of,
    dot,
    families_of,
    legend_above,
    level_text,
    value_label,
)
from coachlab.schema import OUTCOMES, show_club
from coachlab.units import shown


def plot_paired(shifts: CueShifts, cue: str, cues: pd.DataFrame | None = None, ax: Axes | None = None) -> Axes:
    """Draw each student's plain mean and cue mean joined by a line, and their mean with interval; return the axes.

    Students stand from the least to the greatest screening pattern, without names; those without a screening block
    come last. At the right the students' mean plain value, and the average shift with its interval set on top of it.

    Parameters
    ----------
    shifts : CueShifts
        From `cue_shifts`.
    cue : str
        Which cue.
    cues : DataFrame or None
        The cue cards, for the family's mark.
    ax : Axes or None
        Where to draw; None: new axes.
    """
    ax = axes_of(ax)
    ax.spines["left"].set_visible(True)
    ax.tick_params(axis="y", length=3)
    unit = shown(shifts.outcome, shifts.settings.units)
    rows = _ordered(shifts, cue)
    plain, cued = rows["plain"].to_numpy() * unit.factor, rows["cued"].to_numpy() * unit.factor
    place = np.arange(len(rows))
    marker, colour = FAMILY_MARKS.get(families_of(cues).get(cue, ""), NO_FAMILY)
    ax.vlines(place, plain, cued, colors=colour, linewidth=1.2, zorder=1)
    ax.plot(place, plain, linestyle="", marker="o", markersize=5, color=INK, markerfacecolor="white", zorder=2)
    ax.plot(place, cued, linestyle="", marker=marker, markersize=5, color=colour, zorder=3)
    answer = shifts.table.set_index("cue").loc[cue]
    beside = len(rows) + 1
    ax.set_xticks([])
    if len(rows) and np.isfinite(answer["estimate"]):
        start = plain.mean()
        estimate, low, high = (start + answer[name] * unit.factor for name in ("estimate", "low", "high"))
        ax.axvline(len(rows), color="0.85", linewidth=1)
        ax.plot(beside, start, marker="o", markersize=8, color=INK, markerfacecolor="white", zorder=2)
        ax.vlines(beside + 0.6, low, high, colors=colour, linewidth=3)
        ax.plot(beside + 0.6, estimate, marker=marker, markersize=8, color=colour, zorder=3)
        ax.set_xticks([beside + 0.3], ["mean"])
    ax.tick_params(axis="x", length=0)
    ax.set_xlim(-0.8, beside + 1.6)
    ax.set_ylabel(value_label(shifts.outcome, shifts.club, shifts.settings.units))
    ax.set_xlabel(f"{len(rows)} students, {_order_words(rows)}", fontsize=SMALL)
    legend_above(ax, [dot("o", INK, "plain", filled=False), dot(marker, colour, f"with {shifts.names[cue]}")])
    return ax


def describe_paired(shifts: CueShifts, cue: str) -> str:
    """Return what `plot_paired` shows, in sentences."""
    unit = shown(shifts.outcome, shifts.settings.units)
    rows = _ordered(shifts, cue)
    more = int((rows["shift"] > 0).sum())
    answer = shifts.table.set_index("cue").loc[cue]
    said = (
        f"Plain and cue mean of {show_club(shifts.club)} {OUTCOMES[shifts.outcome]} of {len(rows)} students with "
        f"{shifts.names[cue]}, {_order_words(rows)}: {more} rose and {len(rows) - more} did not."
    )
    if not np.isfinite(answer["estimate"]):
        return said
    return (
        f"{said} The average shift is {unit.text(answer['estimate'], sign=True)} ({level_text(shifts.level)} interval "
        f"{unit.number(answer['low'], sign=True)} to {unit.number(answer['high'], sign=True)})."
    )


def _ordered(shifts: CueShifts, cue: str) -> pd.DataFrame:
    rows = shifts.students[shifts.students["cue"] == cue]
    return rows.sort_values(["pattern", "plain"], na_position="last", kind="stable")


def _order_words(rows: pd.DataFrame) -> str:
    return "lowest to highest at screening" if rows["pattern"].notna().any() else "lowest to highest plain"
