"""What a shift of the delivery is worth to one student, split and with its spread; windows and smallest useful shifts.

Everything here is this model's answer about one delivery, never a promise: what loft does when the attack changes, how
the face springs and how the ball flies are assumptions, and each answer carries them.
"""

from coachlab.worth.arc import PathSplit, split_path
from coachlab.worth.cost import COST_COLUMNS, Costs, costliest
from coachlab.worth.gain import shift_worth
from coachlab.worth.useful import UsefulShifts, flown_settings, say_useful, useful_shifts
from coachlab.worth.value import COLUMNS, SPREAD_COLUMNS, Worth
from coachlab.worth.window import Window, student_windows, target_window

__all__ = [
    "COLUMNS",
    "COST_COLUMNS",
    "SPREAD_COLUMNS",
    "Costs",
    "PathSplit",
    "UsefulShifts",
    "Window",
    "Worth",
    "costliest",
    "flown_settings",
    "say_useful",
    "shift_worth",
    "split_path",
    "student_windows",
    "target_window",
    "useful_shifts",
]
