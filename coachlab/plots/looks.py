"""Looks at the answer on one cue: blocks, students, one left out, screening, flow, model, the real among simulated.

No student is named in any picture.
"""

import textwrap
from collections.abc import Callable

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from coachlab.cues.diagnose import Diagnostics
from coachlab.cues.looks import RUNGS, part_name
from coachlab.plots.flow import plot_flow
from coachlab.plots.look import (
    INK,
    PALETTE,
    QUIET,
    SMALL,
    axes_of,
    dot,
    legend_above,
    level_text,
    shift_ground,
    value_label,
)
from coachlab.plots.residuals import (
    framed,
    mark_of,
    nothing,
    plot_drift,
    plot_effects,
    plot_neighbours,
    plot_residuals,
    plot_wobble,
)
from coachlab.schema import OUTCOMES
from coachlab.units import shown

_STEPS = {"time": "period and shot number left out", "one block": "no term for blocks"}


def plot_blocks(diagnostics: Diagnostics, ax: Axes | None = None) -> Axes:
    """Draw every block's mean with its interval, a student's blocks joined in the order they were hit; return the axes.

    Students stand side by side from the lowest plain mean to the highest. Look 1.
    """
    ax = framed(ax)
    d, unit = diagnostics, shown(diagnostics.outcome, diagnostics.settings.units)
    marker, colour = mark_of(d)
    blocks = d.seen.blocks.sort_values(["student", "session", "period"], kind="stable")
    order = {name: place for place, name in enumerate(d.seen.students.sort_values("plain")["student"])}
    for name, rows in blocks.groupby("student", observed=True):
        n = len(rows)
        x = order[name] + (np.arange(n) - (n - 1) / 2) * min(0.2, 0.7 / max(n - 1, 1))
        mean, low, high = (rows[column].to_numpy() * unit.factor for column in ("mean", "low", "high"))
        on = rows["on"].to_numpy() > 0
        ax.plot(x, mean, color=QUIET, linewidth=0.9, zorder=1)
        ax.vlines(x, low, high, colors=list(np.where(on, colour, "0.55")), linewidth=0.9, zorder=1)
        ax.plot(x[~on], mean[~on], linestyle="", marker="o", markersize=4, color=INK, markerfacecolor="white", zorder=2)
        ax.plot(x[on], mean[on], linestyle="", marker=marker, markersize=4, color=colour, zorder=3)
    ax.set_xticks([])
    ax.set_xlim(-0.8, len(order) - 0.2)
    ax.set_ylabel(value_label(d.outcome, d.club, d.settings.units))
    ax.set_xlabel(f"{len(order)} students, from the lowest plain mean to the highest; each one's blocks in their order")
    bars = Line2D([], [], color=QUIET, linewidth=1, label=f"{level_text(d.level)} interval of a block's mean")
    legend_above(ax, [dot("o", INK, "plain block", filled=False), dot(marker, colour, f"with {d.name}"), bars], 3)
    return ax


def plot_student_shifts(diagnostics: Diagnostics, ax: Axes | None = None) -> Axes:
    """Draw each student's shift as it was seen and as the model shrinks it, with intervals; return the axes. Look 2."""
    ax = axes_of(ax)
    d, unit = diagnostics, shown(diagnostics.outcome, diagnostics.settings.units)
    _, colour = mark_of(d)
    shift_ground(ax, d.outcome, d.club, d.settings)
    rows = d.seen.students.sort_values("shift", kind="stable")
    place = np.arange(len(rows))
    raw, low, high = (rows[name].to_numpy() * unit.factor for name in ("shift", "low", "high"))
    ax.hlines(place - 0.17, low, high, colors="0.65", linewidth=1, zorder=1)
    ax.plot(raw, place - 0.17, linestyle="", marker="o", markersize=3.5, color=QUIET, markerfacecolor="white", zorder=2)
    handles = [dot("o", QUIET, "as seen", filled=False)]
    if rows["shrunken"].notna().all():
        drawn, low, high = (
            rows[name].to_numpy() * unit.factor for name in ("shrunken", "shrunken_low", "shrunken_high")
        )
        ax.hlines(place + 0.17, low, high, colors=colour, linewidth=1.4, zorder=2)
        ax.plot(drawn, place + 0.17, linestyle="", marker="o", markersize=3.5, color=colour, zorder=3)
        handles.append(dot("o", colour, "as modelled"))
    ax.axvline(d.answer.estimate * unit.factor, color=colour, linewidth=1, linestyle=(0, (4, 2)), zorder=1)
    handles.append(Line2D([], [], color=colour, linewidth=1, linestyle=(0, (4, 2)), label="average"))
    ax.set_yticks([])
    ax.set_ylabel("students, by shift")
    legend_above(ax, handles, 3)
    return ax


def plot_left_out(diagnostics: Diagnostics, ax: Axes | None = None) -> Axes:
    """Draw the average shift with each student left out in turn, with intervals; return the axes. Look 8."""
    ax = axes_of(ax)
    d, unit = diagnostics, shown(diagnostics.outcome, diagnostics.settings.units)
    if d.seen.without is None:
        return nothing(ax)
    _, colour = mark_of(d)
    shift_ground(ax, d.outcome, d.club, d.settings)
    rows = d.seen.without.sort_values("estimate", kind="stable")
    other = rows["verdict"].to_numpy() != d.verdict
    place = np.arange(len(rows))
    values = rows[["estimate", "low", "high"]].to_numpy() * unit.factor
    ax.hlines(
        place, values[:, 1], values[:, 2], colors=list(np.where(other, PALETTE[3], "0.7")), linewidth=1.1, zorder=1
    )
    ax.plot(values[~other, 0], place[~other], linestyle="", marker="o", markersize=3.5, color=INK, zorder=3)
    ax.plot(values[other, 0], place[other], linestyle="", marker="D", markersize=4.5, color=PALETTE[3], zorder=3)
    whole = d.answer.estimate * unit.factor
    ax.axvline(whole, color=colour, linewidth=1, linestyle=(0, (4, 2)), zorder=2)
    ax.set_yticks([])
    ax.set_ylabel("without one of the students")
    handles = [
        dot("o", INK, "one left out"),
        Line2D([], [], color=colour, linewidth=1, linestyle=(0, (4, 2)), label="all students"),
    ]
    if other.any():
        handles.insert(1, dot("D", PALETTE[3], "another verdict"))
    legend_above(ax, handles, 3)
    return ax


def plot_screening(diagnostics: Diagnostics, ax: Axes | None = None) -> Axes:
    """Draw each student's shift against the screening value, with the fitted line and the lines of no effect.

    No effect is the level line at zero, since the baseline is a block of its own; dashed stands what no effect would
    look like had the screening block been the baseline (regression to the mean). Look 9. Returns the axes.
    """
    ax = framed(ax)
    d = diagnostics
    s = d.seen.screening
    if s is None:
        return nothing(ax, "fewer than six screened students")
    unit, measure = (shown(name, d.settings.units) for name in (d.outcome, s.measure))
    marker, colour = mark_of(d)
    shift_ground(ax, d.outcome, d.club, d.settings, along="y")
    rows = d.seen.students[d.seen.students["pattern"].notna()]
    at, line, low, high, alone = (
        s.line[name].to_numpy() * factor
        for name, factor in [("at", measure.factor)] + [(n, unit.factor) for n in ("estimate", "low", "high", "alone")]
    )
    ax.fill_between(at, low, high, color=colour, alpha=0.15, linewidth=0, zorder=1)
    ax.plot(at, line, color=colour, linewidth=1.6, zorder=3)
    points = rows["pattern"] * measure.factor, rows["shift"] * unit.factor
    ends = (rows["shift"] - rows["low"]) * unit.factor
    ax.vlines(points[0], points[1] - ends, points[1] + ends, colors="0.8", linewidth=0.8, zorder=1)
    ax.plot(*points, linestyle="", marker=marker, markersize=4, color=colour, alpha=0.8, zorder=2)
    handles = [
        dot(marker, colour, "one student"),
        Line2D([], [], color=colour, label=f"fitted, {level_text(d.level)} band"),
    ]
    if np.isfinite(s.alone):
        ax.plot(at, alone, color=INK, linewidth=1.2, linestyle=(0, (4, 2)), zorder=3)
        handles.append(
            Line2D(
                [],
                [],
                color=INK,
                linewidth=1.2,
                linestyle=(0, (4, 2)),
                label="regression to the mean",
            )
        )
    ax.set_xlabel(f"screening {value_label(s.measure, d.club, d.settings.units)}")
    ax.set_ylabel(f"shift of {OUTCOMES[d.outcome]} ({unit.unit})")
    legend_above(ax, handles, 2)
    return ax


def plot_account(diagnostics: Diagnostics, ax: Axes | None = None) -> Axes:
    """Draw the way from rows to the shots of this model; return the axes. Look 10."""
    return plot_flow(diagnostics.flow, ax)


def plot_ladder(diagnostics: Diagnostics, ax: Axes | None = None) -> Axes:
    """Draw the rungs of the model's ladder and the one it stands on, with the spread of each part; return the axes.

    Look 11.
    """
    ax = axes_of(ax)
    d, unit = diagnostics, shown(diagnostics.outcome, diagnostics.settings.units)
    ax.spines[:].set_visible(False)
    passed = list(d.answer.ladder.table["rung"])
    taken = d.answer.ladder.rung
    for place, (rung, words) in enumerate(RUNGS.items()):
        here, size = rung == taken, 9 if rung == taken else 6
        ink, line = (INK, PALETTE[0]) if rung in passed else (QUIET, "0.75")
        ax.plot(0, place, marker="o", markersize=size, color=line, markerfacecolor=line if here else "white")
        weight = "bold" if here else "normal"
        ax.text(0.35, place, f"{rung}  {words}", va="center", fontsize=SMALL, color=ink, fontweight=weight)
    ax.plot([0, 0], [0, len(RUNGS) - 1], color="0.85", zorder=0)
    notes = [_STEPS[rung] for rung in passed if rung in _STEPS]
    if d.answer.fit is not None:
        parts = d.answer.fit.components
        parts = parts[parts["other"].isna()]
        weighed = d.answer.fit.design is not None and d.answer.fit.design.weights is not None
        left = "block means, for each shot" if weighed else "single shots"
        names = [
            left if group == "residual" else part_name(group, term)
            for group, term in zip(parts["group"], parts["term"], strict=True)
        ]
        spreads = [f"{name} {unit.text(sd)}" for name, sd in zip(names, parts["sd_or_corr"], strict=True)]
        ended = "yes" if d.answer.fit.converged else "no"
        notes += [f"spread (SD): {', '.join(spreads)}", f"search ended at a minimum: {ended}"]
    wide = ax.bbox.width > 1.6 * ax.bbox.height
    text = "\n".join(_wrapped(note, 52) for note in notes)
    x, y = (6.0, -0.2) if wide else (-0.15, len(RUNGS) - 0.3)
    ax.text(x, y, text, va="top", fontsize=SMALL, color=INK, linespacing=1.35)
    ax.set(xlim=(-0.3, 12 if wide else 6), ylim=(len(RUNGS) + (0 if wide else 2.2), -0.6), xticks=[], yticks=[])
    return ax


def plot_lineup(diagnostics: Diagnostics, ax: Axes | None = None) -> Axes:
    """Draw the block means of the real lessons among those of simulated ones, without saying which; return the axes.

    Each line is a student's lesson, measured from the student's own mean. Look 12.
    """
    ax = axes_of(ax)
    ax.spines[:].set_visible(False)
    ax.set_xticks([])
    ax.set_yticks([])
    panels = diagnostics.seen.panels
    if panels is None:
        return nothing(ax)
    unit = shown(diagnostics.outcome, diagnostics.settings.units)
    _, colour = mark_of(diagnostics)
    reach = panels["away"].abs().max() * unit.factor * 1.05
    numbers = sorted(panels["panel"].unique())
    columns = len(numbers) if _is_wide(ax) else 3
    lines = int(np.ceil(len(numbers) / columns))
    for number in numbers:
        row, column = divmod(number - 1, columns)
        box = (column / columns, 1 - (row + 1) / lines, 0.94 / columns, 0.86 / lines)
        small = ax.inset_axes(box)
        mine = panels[panels["panel"] == number].sort_values(["session", "period"], kind="stable")
        small.plot(*_joined(mine, unit.factor), color=INK, linewidth=0.6, alpha=0.45)
        on = mine["on"] > 0
        for side, ink in ((~on, QUIET), (on, colour)):
            small.plot(
                mine.loc[side, "period"],
                mine.loc[side, "away"] * unit.factor,
                linestyle="",
                marker="o",
                markersize=1.8,
                color=ink,
            )
        small.set(ylim=(-reach, reach), xticks=[], yticks=[])
        small.spines[:].set_color("0.85")
        small.set_title(str(number), fontsize=SMALL, color=QUIET, pad=1)
    ax.set_xlabel("blocks in their order; height: from the student's own mean", color=QUIET)
    return ax


LOOK_PICTURES: tuple[Callable[..., Axes], ...] = (
    plot_blocks,
    plot_student_shifts,
    plot_residuals,
    plot_wobble,
    plot_drift,
    plot_neighbours,
    plot_effects,
    plot_left_out,
    plot_screening,
    plot_account,
    plot_ladder,
    plot_lineup,
)
"""The pictures in the order of the looks; each takes `Diagnostics` and ``ax``."""


def _joined(rows: pd.DataFrame, factor: float) -> tuple[np.ndarray, np.ndarray]:
    """Periods and heights of all lessons as one line, with a gap between lessons: one artist for all."""
    session = rows["session"].astype("str").to_numpy()
    gaps = np.flatnonzero(session[1:] != session[:-1]) + 1
    return tuple(  # type: ignore[return-value]
        np.insert(values, gaps, np.nan)
        for values in (rows["period"].to_numpy(float), rows["away"].to_numpy(float) * factor)
    )


def _is_wide(ax: Axes) -> bool:
    return ax.bbox.width > 2.5 * ax.bbox.height


def _wrapped(text: str, most: int) -> str:
    return "\n".join(textwrap.wrap(text, most))
