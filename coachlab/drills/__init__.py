"""Predict, then see: exercises for trainees, their marking, and which cause-effect links are still weak."""

from coachlab.drills.draw import EXERCISES, drill
from coachlab.drills.links import LINKS
from coachlab.drills.marking import mark
from coachlab.drills.pages import Explanation, explain_flight
from coachlab.drills.progress import Progress, drill_progress
from coachlab.drills.value import GROUPS, KINDS, Exercise, Marking, Question

__all__ = [
    "EXERCISES",
    "GROUPS",
    "KINDS",
    "LINKS",
    "Exercise",
    "Explanation",
    "Marking",
    "Progress",
    "Question",
    "drill",
    "drill_progress",
    "explain_flight",
    "mark",
]
