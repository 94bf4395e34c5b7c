"""What came free with the attack change and what was earned by turning the arc, one row a cue."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from coachlab.cues.earned import FreeEarned
from coachlab.plots.look import INK, PALETTE, QUIET, SMALL, axes_of, cue_rows, dot, in_order, legend_above, level_text
from coachlab.schema import show_club
from coachlab.units import shown

_MARKS = {
    "path": ("o", INK, "whole path shift"),
    "free": ("s", PALETTE[2], "free with the change of attack"),
    "earned": ("D", PALETTE[4], "earned by turning the arc"),
}
_STEP = 0.24


def plot_free_and_earned(split: FreeEarned, cues: pd.DataFrame | None = None, ax: Axes | None = None) -> Axes:
    """Draw each cue's path shift and its two parts with intervals, and the band of the incline; return the axes.

    Thin lines are intervals over students; the broad pale ones are what the part would be for an incline that is off
    either way. A cue without an estimate keeps its row and says so.

    Parameters
    ----------
    split : FreeEarned
        From `free_and_earned`.
    cues : DataFrame or None
        The cue cards, for the order by family; None: by id.
    ax : Axes or None
        Where to draw; None: new axes.
    """
    ax = axes_of(ax)
    names = in_order(split.cues, cues)
    for step, (part, (marker, colour, _)) in zip((-_STEP, 0.0, _STEP), _MARKS.items(), strict=True):
        rows = split.table[split.table["part"] == part].set_index("cue").loc[names]
        values = rows[["estimate", "low", "high", "band_low", "band_high"]].to_numpy(float)
        places = np.arange(len(names)) + step
        ax.hlines(places, values[:, 3], values[:, 4], colors=colour, linewidth=8, alpha=0.25, zorder=2)
        ax.hlines(places, values[:, 1], values[:, 2], colors=colour, linewidth=1.6, zorder=3)
        ax.plot(
            values[:, 0], places, linestyle="", marker=marker, color=colour, markersize=6, zorder=4,
            markerfacecolor="white" if part == "path" else colour,
        )  # fmt: skip
    first = split.table.drop_duplicates("cue").set_index("cue").loc[names]
    for place, row in enumerate(first.itertuples()):
        words = f"grade {row.grade}, {row.students} students"
        if not np.isfinite(row.estimate):
            words = f"{_why_none(str(row.grade))}\n{words}"
        ax.text(
            1.02, place, words, transform=ax.get_yaxis_transform(), va="center", fontsize=SMALL, color=INK,
            linespacing=1.1,
        )  # fmt: skip
    ax.axvline(0, color=QUIET, linewidth=1, zorder=1)
    for place in range(len(names) - 1):
        ax.axhline(place + 0.5, color="0.9", linewidth=0.8, zorder=0)
    cue_rows(ax, names, split.names)
    unit = shown("path_out_deg", split.settings.units).unit
    ax.set_xlabel(f"shift of {show_club(split.club)} path ({unit}; plus is further out)")
    handles = [dot(marker, colour, words, filled=part != "path") for part, (marker, colour, words) in _MARKS.items()]
    handles += [
        Line2D([], [], color=QUIET, linewidth=1.6, label=f"{level_text(split.level)} interval over students"),
        Line2D([], [], color=QUIET, linewidth=8, alpha=0.3, label=f"incline {split.band_deg:g}° flatter to steeper"),
    ]
    legend_above(ax, handles, ncols=2)
    return ax


def describe_free_and_earned(split: FreeEarned, cues: pd.DataFrame | None = None) -> str:
    """Return what `plot_free_and_earned` shows, in sentences."""
    names = in_order(split.cues, cues)
    return (
        f"Average shift of {show_club(split.club)} path for {len(names)} {'cue' if len(names) == 1 else 'cues'}, each "
        "in the part that came free with the change of attack and the part earned by turning the arc, with "
        f"{level_text(split.level)} intervals and the band of the incline. "
        + " ".join(split.claim(cue) for cue in names)
    )


def _why_none(grade: str) -> str:
    return "counted, not split" if grade == "D" else "too few for a mean"
