"""The page of all twelve looks at the model of one cue, and what each picture shows in words."""

from matplotlib.figure import Figure, SubFigure

from coachlab.cues.diagnose import Diagnostics
from coachlab.cues.looks import GOOD, LOOK, NAMES, NOTE
from coachlab.plots.look import INK, PALETTE, QUIET
from coachlab.plots.looks import LOOK_PICTURES

LAYOUT: dict[int, tuple[int, float]] = {
    1: (6, 3.2),
    2: (2, 3.3),
    3: (2, 3.3),
    4: (2, 3.3),
    5: (2, 2.8),
    6: (2, 2.8),
    7: (2, 2.8),
    8: (3, 3.1),
    9: (3, 3.1),
    10: (3, 3.2),
    11: (3, 3.2),
    12: (6, 1.9),
}
"""Place of each look on the page: how many of six columns, and the height in inches; six columns are `WIDE`."""
WIDE = 12.4
SIGNS = {LOOK: "▲ look", NOTE: "note"}
"""How a sign is shown; nothing to mind is shown by nothing."""


def plot_diagnostics(diagnostics: Diagnostics, figure: Figure | None = None) -> Figure:
    """Draw all twelve looks on one page, always in the same places, the blocks large on top; return the figure.

    Parameters
    ----------
    diagnostics : Diagnostics
        From `diagnose`.
    figure : Figure or None
        Where to draw; None: a new one.
    """
    rows = [(1,), (2, 3, 4), (5, 6, 7), (8, 9), (10, 11), (12,)]
    heights = [LAYOUT[row[0]][1] + 0.35 for row in rows]
    figure = figure or Figure(figsize=(WIDE, sum(heights)))
    figure.set_layout_engine("constrained", h_pad=0.1, w_pad=0.08)
    parts = figure.subfigures(len(rows), 1, height_ratios=heights, squeeze=False)[:, 0]
    for part, row in zip(parts, rows, strict=True):
        shares = [LAYOUT[number][0] for number in row]
        places = part.subfigures(1, len(row), width_ratios=shares, squeeze=False)[0]
        for place, number in zip(places, row, strict=True):
            _head(place, diagnostics, number)
            LOOK_PICTURES[number - 1](diagnostics, ax=place.subplots())
    return figure


def draw_look(diagnostics: Diagnostics, number: int, figure: Figure | None = None) -> Figure:
    """Draw one look by itself, in the size that it has on the page; return the figure.

    Parameters
    ----------
    diagnostics : Diagnostics
        From `diagnose`.
    number : int
        1 to 12.
    figure : Figure or None
        Where to draw; None: a new one.
    """
    columns, height = LAYOUT[number]
    figure = figure or Figure()
    figure.clear()
    figure.set_size_inches(WIDE * columns / 6 - 0.2, height)
    figure.set_layout_engine("constrained")
    LOOK_PICTURES[number - 1](diagnostics, ax=figure.subplots())
    return figure


def describe_look(diagnostics: Diagnostics, number: int) -> str:
    """Return what the picture of a look shows: what a good one looks like, and what this one shows."""
    row = diagnostics.table.set_index("number").loc[number]
    return (
        f"Look {number}, {NAMES[number - 1]}, for {diagnostics.question}. A good one: {GOOD[number - 1]} "
        f"This one ({row['sign']}): {row['found']}. {row['remark']}"
    )


def describe_diagnostics(diagnostics: Diagnostics) -> str:
    """Return what the page shows, in sentences."""
    return f"Twelve looks at the model of {diagnostics.question}. {diagnostics.text()}"


def _head(place: SubFigure, diagnostics: Diagnostics, number: int) -> None:
    """Put number, name and sign above a picture."""
    sign = diagnostics.table.set_index("number").loc[number, "sign"]
    place.suptitle(f"{number}  {NAMES[number - 1]}", x=0.01, ha="left", fontsize=11.5, fontweight="bold", color=INK)
    if sign in SIGNS:
        colour = PALETTE[3] if sign == LOOK else QUIET
        place.text(0.985, 0.975, SIGNS[sign], ha="right", va="top", fontsize=10.5, color=colour)
