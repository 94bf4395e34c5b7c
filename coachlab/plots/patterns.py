"""For whom: the shift of each cue along the scale of the students' own pattern."""

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from coachlab.cues.compare import STEEPER, PatternShifts
from coachlab.cues.shift import CueShifts
from coachlab.plots.look import (
    FAMILY_MARKS,
    INK,
    NO_FAMILY,
    PALETTE,
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
    value_label,
)
from coachlab.schema import OUTCOMES, show_club
from coachlab.units import shown

_COLOURS = (PALETTE[4], PALETTE[7], PALETTE[2])
_MARKERS = {"attack_up_deg": ("v", "o", "^"), "path_out_deg": ("<", "o", ">")}
_OFFSETS = (-0.22, 0.0, 0.22)


def plot_patterns(
    patterns: PatternShifts, cues: pd.DataFrame | None = None, ax: Axes | None = None, narrow: bool = False
) -> Axes:
    """Draw each cue's shift with interval at three places of the pattern scale; return the axes.

    Rows stand as in `plot_shifts`. A cue about which the pattern cannot be asked (too few screened students, or a
    grade below A) keeps its row and says why.

    Parameters
    ----------
    patterns : PatternShifts
        From `pattern_shifts`.
    cues : DataFrame or None
        The cue cards, for the order of the rows.
    ax : Axes or None
        Where to draw; None: new axes.
    narrow : bool
        Whether names stand above their rows in place of beside them, as on a phone.
    """
    ax = axes_of(ax)
    names = in_order(patterns.names, cues)
    unit, measure = (shown(name, patterns.settings.units) for name in (patterns.outcome, patterns.measure))
    shift_ground(ax, patterns.outcome, patterns.club, patterns.settings)
    row_of = {cue: place for place, cue in enumerate(names)}
    drawn = patterns.table[patterns.table["cue"].map(patterns.grades) == "A"]
    handles = []
    for (pattern, rows), marker, colour, offset in zip(
        drawn.groupby("pattern", sort=False), _MARKERS[patterns.measure], _COLOURS, _OFFSETS, strict=False
    ):
        place = rows["cue"].map(row_of).to_numpy(float) + (0.7 * offset if narrow else offset)
        values = rows[["estimate", "low", "high"]].to_numpy(float) * unit.factor
        ax.hlines(place, values[:, 1], values[:, 2], colors=colour, linewidth=1.6, zorder=2)
        ax.plot(values[:, 0], place, linestyle="", marker=marker, color=colour, markersize=6, zorder=3)
        handles.append(dot(marker, colour, f"{pattern}, {measure.text(rows['at'].iloc[0])}"))
    if handles:
        legend_above(ax, handles, 2 if narrow else 3, f"students whose screening {OUTCOMES[patterns.measure]} is")
    why = {cue: _why_none(patterns, cue) for cue in sorted(set(names) - set(drawn["cue"]))}
    if narrow:
        names_above(ax, names, patterns.names, why)
        ax.set_xlabel(two_lines(ax.get_xlabel()))
        return ax
    paper = {"facecolor": "white", "edgecolor": "none", "pad": 1.5}
    for cue, words in why.items():
        ax.text(
            0.02, row_of[cue], words, transform=ax.get_yaxis_transform(), va="center", fontsize=SMALL, color=QUIET,
            bbox=paper,
        )  # fmt: skip
    cue_rows(ax, names, patterns.names)
    return ax


def describe_patterns(patterns: PatternShifts, cues: pd.DataFrame | None = None) -> str:
    """Return what `plot_patterns` shows, in sentences."""
    unit, measure = (shown(name, patterns.settings.units) for name in (patterns.outcome, patterns.measure))
    said = [
        f"Shift of {show_club(patterns.club)} {OUTCOMES[patterns.outcome]} at three places of the students' screening "
        f"{OUTCOMES[patterns.measure]}, with {level_text(patterns.level)} intervals."
    ]
    found: dict[str, list] = {}
    for row in patterns.table.itertuples():
        found.setdefault(str(row.cue), []).append(row)
    for cue in in_order(patterns.names, cues):
        rows = found.get(cue)
        if rows is None or patterns.grades[cue] != "A":
            said.append(f"{patterns.names[cue]}: {_why_none(patterns, cue)}.")
            continue
        parts = [
            f"{row.pattern} at {measure.text(row.at)}: {unit.text(row.estimate, sign=True)} "
            f"({unit.number(row.low, sign=True)} to {unit.number(row.high, sign=True)})"
            for row in rows
        ]
        said.append(f"{patterns.names[cue]}: {', '.join(parts)}; {rows[0].students} students.")
    return " ".join(said)


def plot_shift_against_pattern(
    shifts: CueShifts,
    cue: str,
    patterns: PatternShifts,
    cues: pd.DataFrame | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw each student's shift against the screening pattern, with the fitted line and its band; return the axes.

    The line spans one SD to either side of the students' mean, where `PatternShifts.table` holds its interval; the
    band joins the three intervals, so that it is never narrower than the line's own. The line at zero is no shift.

    Parameters
    ----------
    shifts : CueShifts
        From `cue_shifts`.
    cue : str
        Which cue.
    patterns : PatternShifts
        From `pattern_shifts`; without a line for this cue the students stand alone.
    cues : DataFrame or None
        The cue cards, for the family's mark.
    ax : Axes or None
        Where to draw; None: new axes.
    """
    ax = axes_of(ax)
    ax.spines["left"].set_visible(True)
    ax.tick_params(axis="y", length=3)
    unit, measure = (shown(name, patterns.settings.units) for name in (shifts.outcome, patterns.measure))
    marker, colour = FAMILY_MARKS.get(families_of(cues).get(cue, ""), NO_FAMILY)
    shift_ground(ax, shifts.outcome, shifts.club, shifts.settings, along="y")
    rows = shifts.students[shifts.students["cue"] == cue]
    ax.plot(
        rows["pattern"] * measure.factor,
        rows["shift"] * unit.factor,
        linestyle="",
        marker=marker,
        markersize=5,
        color=colour,
        alpha=0.6,
        zorder=2,
    )
    handles = [dot(marker, colour, "one student")]
    line = _line(patterns, cue)
    if len(line):
        at = line["at"] * measure.factor
        ax.fill_between(at, line["low"] * unit.factor, line["high"] * unit.factor, color=INK, alpha=0.15, linewidth=0)
        ax.plot(at, line["estimate"] * unit.factor, color=INK, linewidth=1.8, zorder=3)
        handles.append(Line2D([], [], color=INK, label=f"fitted, {level_text(patterns.level)} band"))
    else:
        ax.text(0.02, 0.97, f"no line: {_why_none(patterns, cue)}", transform=ax.transAxes, va="top", fontsize=SMALL)
    ax.set_xlabel(f"screening {value_label(patterns.measure, shifts.club, shifts.settings.units)}")
    legend_above(ax, handles)
    return ax


def describe_shift_against_pattern(shifts: CueShifts, cue: str, patterns: PatternShifts) -> str:
    """Return what `plot_shift_against_pattern` shows, in sentences."""
    unit = shown(shifts.outcome, shifts.settings.units)
    rows = shifts.students[(shifts.students["cue"] == cue) & shifts.students["pattern"].notna()]
    said = (
        f"Shift of {show_club(shifts.club)} {OUTCOMES[shifts.outcome]} with {shifts.names[cue]} of {len(rows)} "
        f"students against their screening {OUTCOMES[patterns.measure]}"
    )
    line = _line(patterns, cue)
    if not len(line):
        return f"{said}; no line: {_why_none(patterns, cue)}."
    slope = patterns.slopes.set_index("cue").loc[cue]
    return (
        f"{said}; the fitted line changes by {unit.text(-slope['estimate'], sign=True)} for each degree "
        f"{STEEPER[patterns.measure]} ({level_text(patterns.level)} interval "
        f"{unit.number(-slope['high'], sign=True)} to {unit.number(-slope['low'], sign=True)})."
    )


def _line(patterns: PatternShifts, cue: str) -> pd.DataFrame:
    if patterns.grades.get(cue) != "A":
        return patterns.table.iloc[:0]
    return patterns.table[(patterns.table["cue"] == cue) & patterns.table["estimate"].notna()]


def _why_none(patterns: PatternShifts, cue: str) -> str:
    if patterns.grades[cue] != "A":
        return f"not asked at grade {patterns.grades[cue]}"
    return f"fewer than {patterns.settings.pattern_students} have a screening block"
