"""Looks at what the model of one cue leaves over: residuals, their spread, drift, neighbours, random effects."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from coachlab.cues.diagnose import Diagnostics
from coachlab.cues.looks import NEIGHBOURS, part_name, show_r
from coachlab.mixed.envelope import Envelope
from coachlab.plots.look import (
    FAMILY_MARKS,
    INK,
    NO_FAMILY,
    PALETTE,
    QUIET,
    SMALL,
    axes_of,
    dot,
    legend_above,
    level_text,
)
from coachlab.schema import show_club
from coachlab.units import shown

_FRAME = 3.0
"""SDs either side of zero that a picture of single residuals shows."""


def plot_residuals(diagnostics: Diagnostics, ax: Axes | None = None) -> Axes:
    """Draw the ordered residuals against a normal sample, with the band of simulated studies.

    Look 3. Returns the axes.
    """
    ax = framed(ax)
    if diagnostics.seen.residual is None:
        return nothing(ax)
    _quantiles(ax, diagnostics.seen.residual, 3)
    ax.set_xlabel("shots of a normal spread (in SDs)")
    ax.set_ylabel("shots here (in SDs)")
    _band_legend(ax, diagnostics.seen.residual)
    return ax


def plot_wobble(diagnostics: Diagnostics, ax: Axes | None = None) -> Axes:
    """Draw the residual SD of the club, of plain and cue shots, and of each student, with intervals; return the axes.

    Look 4.
    """
    ax = axes_of(ax)
    d, unit = diagnostics, shown(diagnostics.outcome, diagnostics.settings.units)
    if d.seen.spreads is None:
        return nothing(ax)
    _, colour = mark_of(d)
    club, side = (d.seen.spreads[name].table for name in ("club", "side"))
    students = d.seen.spreads["student"].table.sort_values("sd")
    side = side.set_index("level").loc[["plain", "with the cue"]].reset_index()
    groups = [(club, INK, "o"), (side.iloc[:1], INK, "o"), (side.iloc[1:], colour, "o"), (students, "0.55", ".")]
    gap, at, ticks = 2.2, 0.0, []
    for rows, ink, marker in groups:
        step = gap if marker == "o" else 1.0
        place = at + step * np.arange(len(rows))
        sd, low, high = (rows[name].to_numpy() * unit.factor for name in ("sd", "low", "high"))
        ax.hlines(place, low, high, colors=ink, linewidth=1.8 if marker == "o" else 1.0, zorder=2)
        ax.plot(sd, place, linestyle="", marker="o", markersize=5 if marker == "o" else 3, color=ink, zorder=3)
        ticks.append(place.mean())
        at = place[-1] + (gap if len(ticks) != 3 else gap + 0.6)
    ax.axvline(club["sd"].iloc[0] * unit.factor, color=QUIET, linewidth=1, zorder=1)
    ax.set_yticks(ticks, [show_club(d.club), "plain", "with cue", f"{len(students)} students"])
    ax.set_ylim(at, -gap)
    ax.set_xlim(left=0)
    ax.set_xlabel(f"SD of single shots ({unit.unit})")
    return ax


def plot_drift(diagnostics: Diagnostics, ax: Axes | None = None) -> Axes:
    """Draw residuals against the shot's number: means of runs with intervals, and what a slope would make.

    Period, warm-up and blocks take their part of a slope, so that what is left of it is no straight line.

    Look 5. Returns the axes.
    """
    ax = framed(ax)
    d, unit = diagnostics, shown(diagnostics.outcome, diagnostics.settings.units)
    if d.seen.by_slope is None or d.seen.by_shot is None or d.seen.shots is None:
        return nothing(ax)
    shots, runs, line = d.seen.shots, d.seen.by_shot, d.seen.by_slope
    reach = _FRAME * shots["residual"].std() * unit.factor
    number, left = shots["shot_in_session"].to_numpy(float), shots["residual"].to_numpy() * unit.factor
    ax.plot(number, left, linestyle="", marker=".", markersize=2, color="0.75", zorder=1, rasterized=True)
    x = line["shot"].to_numpy()
    middle, low, high = (line[name].to_numpy() * unit.factor for name in ("mean", "low", "high"))
    ax.fill_between(x, low, high, color=PALETTE[0], alpha=0.25, linewidth=0, zorder=2)
    ax.plot(x, middle, color=PALETTE[0], linewidth=1.6, zorder=3)
    values = runs[["mean", "low", "high"]].to_numpy() * unit.factor
    ax.vlines(runs["shot"], values[:, 1], values[:, 2], colors=INK, linewidth=1.2, zorder=4)
    ax.plot(runs["shot"], values[:, 0], linestyle="", marker="o", markersize=4, color=INK, zorder=5)
    ax.axhline(0, color=QUIET, linewidth=0.8, zorder=2)
    ax.set_ylim(-reach, reach)
    beyond = int((np.abs(left) > reach).sum())
    ax.set_xlabel("shot's number" + (f" ({beyond} off the frame)" if beyond else ""))
    ax.set_ylabel(f"residual ({unit.unit})")
    slope = Line2D([], [], color=PALETTE[0], label=f"a slope, {level_text(d.level)} band")
    legend_above(ax, [dot("o", INK, "mean of a run"), slope])
    return ax


def plot_neighbours(diagnostics: Diagnostics, ax: Axes | None = None) -> Axes:
    """Draw each shot's residual against the one before it in its block, with the line of their correlation.

    Look 6. Returns the axes.
    """
    ax = framed(ax)
    d = diagnostics
    if d.seen.neighbours is None or d.seen.shots is None:
        return nothing(ax)
    shots, n = d.seen.shots.sort_values(["block", "shot_in_session"], kind="stable"), d.seen.neighbours
    value = shots["standardised"].to_numpy()
    pair = shots["block"].astype("str").to_numpy()[1:] == shots["block"].astype("str").to_numpy()[:-1]
    before, after = value[:-1][pair], value[1:][pair]
    ax.plot(before, after, linestyle="", marker=".", markersize=2.5, color="0.7", zorder=1, rasterized=True)
    x = np.array([-_FRAME, 0.0, _FRAME])
    ax.fill_between(
        x, np.minimum(n.low * x, n.high * x), np.maximum(n.low * x, n.high * x), color=PALETTE[0], alpha=0.2
    )
    ax.plot(x, n.rho * x, color=PALETTE[0], linewidth=1.8, zorder=3)
    for limit in (-NEIGHBOURS, NEIGHBOURS):
        ax.plot(x, limit * x, color=INK, linewidth=1, linestyle=(0, (1, 2)), zorder=2)
    ax.set(xlim=(-_FRAME, _FRAME), ylim=(-_FRAME, _FRAME))
    beyond = int(((np.abs(before) > _FRAME) | (np.abs(after) > _FRAME)).sum())
    ax.set_xlabel("the shot before (in SDs)" + (f" ({beyond} off the frame)" if beyond else ""))
    ax.set_ylabel("a shot (in SDs)")
    legend_above(
        ax,
        [
            Line2D([], [], color=PALETTE[0], label=f"r {show_r(n.rho)}, {level_text(d.level)} band"),
            Line2D([], [], color=INK, linestyle=(0, (1, 2)), label=f"limit ±{NEIGHBOURS:g}"),
        ],
    )
    return ax


def plot_effects(diagnostics: Diagnostics, ax: Axes | None = None) -> Axes:
    """Draw the ordered random effects of each part of the model with the bands of simulated studies; return the axes.

    Look 7. Each part has small axes of its own inside.
    """
    ax = framed(ax)
    effects = diagnostics.seen.effects
    if not effects:
        return nothing(ax)
    n = len(effects)
    ends = [end for each in effects.values() for name in ("low", "high", "observed") for end in each.table[name]]
    ax.set_xticks([])
    ax.set_yticks([])
    ax.spines[:].set_visible(False)
    lines = 1 if n < 4 else 2
    reach = max(each.table["normal"].max() for each in effects.values()) + 0.2
    columns = -(-n // lines)
    for place, (key, each) in enumerate(effects.items()):
        line, column = divmod(place, columns)
        box = (column / columns + 0.01, 1 - (line + 1) / lines, 1 / columns - 0.05, 0.92 / lines - 0.06 * (lines - 1))
        small = framed(ax.inset_axes(box))
        _quantiles(small, each, 3 if lines == 1 else 2)
        small.set_ylim(min(ends) - 0.2, max(ends) + 0.2)
        if lines == 2:  # one scale serves the whole column
            small.set_xlim(-reach, reach)
        small.set_title(part_name(*key).removeprefix("students' "), fontsize=SMALL, color=INK, pad=2)
        small.tick_params(labelleft=column == 0, labelbottom=line == lines - 1, labelsize=SMALL - 1)
    ax.set_xlabel("normal sample (in SDs)", labelpad=16)
    ax.set_ylabel("here (in SDs)", labelpad=26)
    return ax


def framed(ax: Axes | None) -> Axes:
    """Return axes with both lines and ticks."""
    ax = axes_of(ax)
    ax.spines["left"].set_visible(True)
    ax.tick_params(axis="y", length=3)
    return ax


def nothing(ax: Axes, why: str = "not to be had from this model") -> Axes:
    """Say in the axes that there is nothing to draw."""
    ax.spines[:].set_visible(False)
    ax.set_xticks([])
    ax.set_yticks([])
    ax.text(0.5, 0.5, why, transform=ax.transAxes, ha="center", va="center", fontsize=SMALL, color=QUIET)
    return ax


def mark_of(diagnostics: Diagnostics) -> tuple[str, str]:
    """Return marker and colour of the cue's family."""
    blocks = diagnostics.part.blocks
    family = blocks.loc[blocks["on"] > 0, "family"].iloc[0] if "family" in blocks else ""
    return FAMILY_MARKS.get(str(family), NO_FAMILY)


def _quantiles(ax: Axes, envelope: Envelope, size: float) -> None:
    table = envelope.table
    outside = (table["observed"] < table["low"]) | (table["observed"] > table["high"])
    ax.fill_between(table["normal"], table["low"], table["high"], color=PALETTE[0], alpha=0.18, linewidth=0, zorder=1)
    ax.plot(table["normal"], table["middle"], color=PALETTE[0], linewidth=1, zorder=2)
    for side, marker, ink in ((~outside, "o", INK), (outside, "D", PALETTE[3])):
        rows = table[side]
        ax.plot(rows["normal"], rows["observed"], linestyle="", marker=marker, markersize=size, color=ink, zorder=3)


def _band_legend(ax: Axes, envelope: Envelope) -> None:
    band = f"{level_text(envelope.level)} band of simulated studies"
    handles: list = [Patch(color=PALETTE[0], alpha=0.25, label=band)]
    if envelope.outside:
        handles.append(dot("D", PALETTE[3], "out"))
    legend_above(ax, handles, len(handles))
