"""What each number of a student's delivery costs, in one picture."""

import numpy as np
from matplotlib.axes import Axes

from coachlab.plots.look import PALETTE, QUIET, axes_of, dot, legend_above
from coachlab.schema import OUTCOMES, show_club
from coachlab.units import shown
from coachlab.worth.cost import Costs
from coachlab.worth.model import LOFTS

_MARKS = {"refitted": ("o", PALETTE[0]), "held": ("s", PALETTE[1]), "rises": ("D", PALETTE[2])}


def plot_costs(costs: Costs, ax: Axes | None = None) -> Axes:
    """Draw one row a number, the costliest on top, with its range under each assumption about loft; return the axes.

    Parameters
    ----------
    costs : Costs
        From `costliest`.
    ax : Axes or None
        Where to draw; None: new axes.
    """
    ax = axes_of(ax)
    unit = shown("carry_m", costs.settings.units)
    lofts = list(dict.fromkeys(costs.table["loft"]))
    steps = (np.arange(len(lofts)) - (len(lofts) - 1) / 2) * 0.22
    for loft, step in zip(lofts, steps, strict=True):
        rows = costs.table[costs.table["loft"] == loft].set_index("number").loc[list(costs.ranking)]
        values = rows[["gain_m", "low_m", "high_m"]].to_numpy(float) * unit.factor
        places = np.arange(len(rows)) + step
        marker, colour = _MARKS[loft]
        ax.hlines(places, values[:, 1], values[:, 2], colors=colour, linewidth=2, zorder=2)
        ax.plot(values[:, 0], places, linestyle="", marker=marker, color=colour, markersize=7, zorder=3)
    ax.axvline(0, color=QUIET, linewidth=1, zorder=1)
    by = costs.table.drop_duplicates("number").set_index("number")["along"]
    labels = [f"{OUTCOMES[name]}\n({'carry' if by[name] == 'carry' else 'sideways'})" for name in costs.ranking]
    ax.set_yticks(range(len(labels)), labels)
    ax.set_ylim(len(labels) - 0.4, -0.6)
    ax.set_xlabel(f"what it costs with the {show_club(costs.club)}, within reach ({unit.unit})")
    legend_above(ax, [dot(*_MARKS[loft], f"with {LOFTS[loft]}") for loft in lofts], ncols=1)
    return ax


def describe_costs(costs: Costs) -> str:
    """Return what `plot_costs` shows, in sentences."""
    numbers = ", ".join(OUTCOMES[name] for name in costs.ranking)
    lofts = "; ".join(LOFTS[loft] for loft in dict.fromkeys(costs.table["loft"]))
    return (
        f"What each number costs with the {show_club(costs.club)} within the student's reach, with ranges, the largest "
        f"on top: {numbers}. Under these assumptions: {lofts}. {costs.text()}"
    )
