"""The way from raw rows to modelled shots, every loss named."""

import pandas as pd
from matplotlib.axes import Axes

from coachlab.plots.look import INK, PALETTE, QUIET, SMALL, axes_of


def plot_flow(flow: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw what was left after each step and what each step lost, with the counts; return the axes.

    Parameters
    ----------
    flow : DataFrame
        From `coachlab.cues.table.flow`: ``step``, ``shots`` (losses negative), ``students``.
    ax : Axes or None
        Where to draw; None: new axes.
    """
    ax = axes_of(ax)
    ax.spines["bottom"].set_visible(False)
    left = 0
    most = max(int(flow["shots"].max()), 1)
    for place, row in enumerate(flow.itertuples()):
        loss = row.shots <= 0 and place > 0
        if loss:
            ax.barh(place, -row.shots, left=left + row.shots, height=0.5, color=PALETTE[3], linewidth=0)
        else:
            ax.barh(place, row.shots, height=0.5, color=PALETTE[9], linewidth=0)
        left = left + row.shots if loss else row.shots
        ax.text(most * 1.02, place, _count(row), va="center", fontsize=SMALL, color=QUIET if loss else INK)
    ax.set_yticks(range(len(flow)), list(flow["step"]))
    for label, shots in zip(ax.get_yticklabels(), flow["shots"], strict=True):
        label.set_color(QUIET if shots <= 0 else INK)
    ax.set_ylim(len(flow) - 0.5, -0.5)
    ax.set_xlim(0, most)
    ax.set_xticks([])
    ax.set_xlabel("rows and shots", color=QUIET)
    return ax


def describe_flow(flow: pd.DataFrame) -> str:
    """Return what `plot_flow` shows, in one sentence."""
    return "From raw to modelled: " + "; ".join(f"{row.step} {_count(row)}" for row in flow.itertuples()) + "."


def _count(row: tuple) -> str:
    count = f"{row.shots:,}".replace("-", "−")  # type: ignore[attr-defined]
    students = row.students  # type: ignore[attr-defined]
    return count if pd.isna(students) else f"{count}, {students} students"
