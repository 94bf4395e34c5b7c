"""Pictures of values. They compute nothing, draw every interval, and each has a sentence that says what it shows."""

from coachlab.plots.costs import describe_costs, plot_costs
from coachlab.plots.diagnostics import describe_diagnostics, describe_look, plot_diagnostics
from coachlab.plots.earned import describe_free_and_earned, plot_free_and_earned
from coachlab.plots.flow import describe_flow, plot_flow
from coachlab.plots.looks import LOOK_PICTURES
from coachlab.plots.patterns import (
    describe_patterns,
    describe_shift_against_pattern,
    plot_patterns,
    plot_shift_against_pattern,
)
from coachlab.plots.shifts import describe_shifts, plot_shifts
from coachlab.plots.students import describe_paired, plot_paired

__all__ = [
    "LOOK_PICTURES",
    "describe_costs",
    "describe_diagnostics",
    "describe_flow",
    "describe_free_and_earned",
    "describe_paired",
    "describe_look",
    "describe_patterns",
    "describe_shift_against_pattern",
    "describe_shifts",
    "plot_costs",
    "plot_diagnostics",
    "plot_flow",
    "plot_free_and_earned",
    "plot_paired",
    "plot_patterns",
    "plot_shift_against_pattern",
    "plot_shifts",
]
