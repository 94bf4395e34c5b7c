"""The page of all twelve looks at the model of one cue, and what each picture shows in words."""

from matplotlib.figure import Figure, SubFigure

from coachlab.cues.diagnose import Diagnostics
from coachlab.cues.looks import GOOD, LOOK, NAMES, NOTE
from coachlab.plots.look import INK, PALETTE, QUIET
from coachlab.plots.looks import LOOK_PICTURES

PAGE_IN = (12.0, 19.5)
"""Width and height of the page in inches."""
_ROWS = ((1,), (2, 3, 4), (5, 6, 7), (8, 9), (10, 11), (12,))
_HEIGHTS = (3.2, 3.2, 2.7, 3.0, 2.9, 1.9)
_WIDTHS: dict[tuple[int, ...], tuple[int, ...]] = {(10, 11): (3, 2)}
_MARKS = {LOOK: "▲ look", NOTE: "note"}


def plot_diagnostics(diagnostics: Diagnostics, figure: Figure | None = None) -> Figure:
    """Draw all twelve looks on one page, always in the same places, the blocks large on top; return the figure.

    Parameters
    ----------
    diagnostics : Diagnostics
        From `diagnose`.
    figure : Figure or None
        Where to draw; None: a new one.
    """
    figure = figure or Figure(figsize=PAGE_IN)
    figure.set_layout_engine("constrained", h_pad=0.1, w_pad=0.08)
    parts = figure.subfigures(len(_ROWS), 1, height_ratios=_HEIGHTS, squeeze=False)[:, 0]
    for part, row in zip(parts, _ROWS, strict=True):
        places = part.subfigures(1, len(row), width_ratios=_WIDTHS.get(row, (1,) * len(row)), squeeze=False)[0]
        for place, number in zip(places, row, strict=True):
            _head(place, diagnostics, number)
            LOOK_PICTURES[number - 1](diagnostics, ax=place.subplots())
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
    if sign in _MARKS:
        colour = PALETTE[3] if sign == LOOK else QUIET
        place.text(0.985, 0.975, _MARKS[sign], ha="right", va="top", fontsize=10.5, color=colour)
