"""The evidence grade of a set of lessons: computed from how they were done, never typed in.

A randomised crossover, B alternating baseline, C plain before-after or cues chosen by the coach, D log only.
"""

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from coachlab.cues.blocks import Lesson, block_table, lessons_of
from coachlab.errors import DataError
from coachlab.settings import Settings

GRADES = ("A", "B", "C", "D")
_MEANING = {
    "A": "plain and cue in random order, drawn by the kit, in the same lesson",
    "B": "plain and cue in turn, several times, in the same lesson",
    "C": "plain before cue, or a cue that the coach chose",
    "D": "a log only: counts and ranges, no comparison",
}
_UNDRAWN = "The order was not drawn by the kit, or the draw was not logged."
_BARE = "Fewer than 60 % of the cue lessons hold plain shots of the same student: no own baseline."
_UNSCREENED = "Lowered: there is no separate screening block, so the baseline also served to choose the cue."
_SILENT = "Lowered: the cue was compared with saying nothing."
_SEED = (
    "The log's order_plan is filled in and order_seed is not: if the kit drew the order (draw_orders), write the "
    "draw's seed there."
)
_FILL = {
    _UNDRAWN: "If the kit drew the order (draw_orders), the log names it in order_plan, and its seed in order_seed.",
    _BARE: "Where a block was the student's plain swing, the log's phase says plain.",
    _UNSCREENED: "Where the lesson began with a block to see the pattern, the log's phase says screen for it.",
    _SILENT: "Where the plain wording was said, the log's cue says plain for that block.",
}
"""By reason: which column of the lesson log to fill in, where it is only the log that lacks it."""


@dataclass(frozen=True, eq=False)
class Grade:
    """An evidence grade with the facts that led to it.

    Attributes
    ----------
    grade : str
        A, B, C or D.
    reasons : tuple of str
        Sentences: first what the lessons reach, then what keeps them from more, then what lowers the grade.
    facts : mapping
        What was counted in the design columns.
    """

    grade: str
    reasons: tuple[str, ...]
    facts: Mapping[str, object]

    @property
    def table(self) -> pd.DataFrame:
        """The facts as a table: ``fact``, ``value``."""
        return pd.DataFrame({"fact": list(self.facts), "value": [str(value) for value in self.facts.values()]})

    def fill(self) -> tuple[str, ...]:
        """Return which columns of the lesson log would raise the grade if they were filled in and were true."""
        said = [_FILL[reason] for reason in self.reasons if reason in _FILL]
        if _UNDRAWN in self.reasons and float(str(self.facts["orders planned (share of lessons)"])) >= 0.95:
            said[said.index(_FILL[_UNDRAWN])] = _SEED
        return tuple(said)

    def text(self) -> str:
        """Return the grade and its reasons in sentences."""
        return f"Evidence grade {self.grade} ({_MEANING[self.grade]}). " + " ".join(self.reasons)

    def __repr__(self) -> str:
        return f"<Grade {self.grade}: {' '.join(self.reasons)}>"

    def _repr_html_(self) -> str:
        items = "".join(f"<li>{html.escape(reason)}</li>" for reason in self.reasons)
        return f"<p><b>Evidence grade {self.grade}</b>: {_MEANING[self.grade]}.</p><ul>{items}</ul>"


def evidence_grade(table: pd.DataFrame, settings: Settings | None = None) -> Grade:
    """Return the evidence grade of a model table, with its reasons.

    Parameters
    ----------
    table : DataFrame
        From `model_table`: needs ``student``, ``session``, ``block``, ``period`` and ``on``; uses ``order_plan``,
        ``order_seed``, ``offered``, ``phase``, ``cue``, ``cue_version``, ``feedback_shown``, ``screened``,
        ``shots_logged`` and ``shots_missing`` where they are there. What is not logged counts as not done.
    settings : Settings or None
        For the least number of students and of shots in a block.

    Raises
    ------
    DataError
        If the table holds no shot, or is no model table.

    References
    ----------
    At least three changes of phase with five shots each for an alternating baseline follows the usual minimum of
    single-case designs (Kratochwill et al. 2010).
    """
    if isinstance(table, pd.DataFrame) and not len(table):
        raise DataError(
            "An evidence grade was asked for.",
            "The table holds no shot.",
            "Make it with model_table(shots, outcome, club), with a cue that was used.",
        )
    return grade_blocks(block_table(table), settings)


def grade_blocks(blocks: pd.DataFrame, settings: Settings | None = None) -> Grade:
    """Return the evidence grade of blocks from `block_table`; see `evidence_grade`."""
    settings = settings or Settings()
    facts = _facts(blocks, settings.block_shots)
    grade, reasons = _reached(facts, settings)
    for reason in _lowering(blocks, facts):
        if grade != "D":
            grade = GRADES[GRADES.index(grade) + 1]
        reasons.append(reason)
    return Grade(grade, tuple(reasons), facts)


def _facts(blocks: pd.DataFrame, least_shots: int) -> dict:
    lessons = lessons_of(blocks[blocks["shots"].to_numpy() >= least_shots])
    complete = [lesson for lesson in lessons if lesson.both]
    on = blocks["on"].to_numpy() > 0
    cues = set(blocks["cue"].to_numpy()[on])
    present = sum(len(lesson.states) for lesson in lessons)
    planned = [
        sum(part in cues or part in ("plain", "sham") for part in lesson.plan.split()) or len(lesson.states)
        for lesson in lessons
    ]
    offered = [how for how in blocks["offered"].to_numpy()[on] if how is not None] if "offered" in blocks else []
    drawn = [bool(lesson.plan and lesson.seed) for lesson in lessons]
    orders = {lesson.plan if all(drawn) else lesson.states for lesson in complete}
    return {
        "students": len(set(blocks["student"])),
        "students with plain and cue in one lesson": len({lesson.student for lesson in complete}),
        "lessons": len(lessons),
        "orders": len(orders),
        "orders planned (share of lessons)": _share([bool(lesson.plan) for lesson in lessons]),
        "orders drawn (share of lessons)": _share(drawn),
        "one condition always first": _one_first(complete),
        "changes of phase (median)": float(np.median([lesson.changes for lesson in complete])) if complete else 0.0,
        "blocks in a lesson (median)": float(np.median([len(lesson.states) for lesson in complete]))
        if complete
        else 0.0,
        "planned blocks present (share)": present / max(sum(planned), 1),
        "cue lessons with an own baseline (share)": _share([lesson.both for lesson in lessons if "c" in lesson.states]),
        "cues drawn (share of what was logged)": _share([how == "drawn" for how in offered]) if offered else np.nan,
    }


def _one_first(lessons: Sequence[Lesson]) -> bool:
    """Whether plain, or the cue, came first in all but a twentieth of the lessons, and never again after the other."""
    return any(_share([turned not in lesson.states for lesson in lessons]) > 0.95 for turned in ("cp", "pc"))


def _share(true: Sequence[bool] | np.ndarray) -> float:
    return float(np.mean(true)) if len(true) else 0.0


def _reached(facts: dict, settings: Settings) -> tuple[str, list[str]]:
    students = facts["students with plain and cue in one lesson"]
    present = facts["planned blocks present (share)"]
    baseline = facts["cue lessons with an own baseline (share)"]
    if students == 0 or baseline < 0.6:
        return "D", [_BARE]
    if present < 0.6:
        return "D", [f"Only {100 * present:.0f} % of the planned blocks are there (60 % needed for any comparison)."]
    chosen = facts["cues drawn (share of what was logged)"]
    if chosen < 0.9:
        return "C", [
            f"In {100 * (1 - chosen):.0f} % of the cue blocks somebody chose the cue for the student: "
            "who gets which cue is mixed up with how they swing."
        ]
    there = f"{100 * present:.0f} % of the planned blocks are there"
    if facts["one condition always first"]:
        return "C", [
            "Plain and cue never change back within a lesson, in one order: the cue is not separable from time."
        ]
    reached = f"{students} students hit plain and cue in the same lesson; {there}."
    short = []
    if facts["orders drawn (share of lessons)"] < 0.95:
        short.append(_UNDRAWN)
    if facts["orders"] < 2:
        short.append("All lessons had the same order.")
    if students < settings.verdict_students:
        short.append(f"Fewer than {settings.verdict_students} students completed both.")
    if present < 0.8:
        short.append(f"Only {there} (80 % needed).")
    if not short:
        return "A", [reached, f"The order was drawn by the kit ({facts['orders']} orders)."]
    if facts["changes of phase (median)"] >= 3:
        return "B", [reached, "Plain and cue alternate in at least four blocks.", *short]
    if facts["orders drawn (share of lessons)"] >= 0.95 and facts["blocks in a lesson (median)"] >= 4:
        return "B", [reached, "The order of each pair of blocks was drawn by the kit.", *short]
    turns = (
        f"Plain and cue change {facts['changes of phase (median)']:g} times in a lesson (3 needed where the order was "
        "not drawn): the cue is not separable from time."
    )
    return "C", [reached, turns, *short]


def _lowering(blocks: pd.DataFrame, facts: dict) -> list[str]:
    reasons = []
    drawn = facts["cues drawn (share of what was logged)"] >= 0.9
    if "screened" in blocks and not drawn and blocks["screened"].mean() < 0.5:
        reasons.append(_UNSCREENED)
    if {"shots_logged", "shots_missing"} <= set(blocks.columns):
        logged, missing = blocks["shots_logged"].sum(), blocks["shots_missing"].sum()
        if logged > 0 and missing / logged > 0.1:
            reasons.append(
                f"Lowered: {100 * (missing / logged):.0f} % of the shot numbers are missing without a reason."
            )
    if (
        "feedback_shown" in blocks
        and _share([shown is True or shown == 1 for shown in blocks["feedback_shown"].to_numpy()]) > 0.1
    ):
        reasons.append("Lowered: students saw their numbers during test blocks.")
    if "cue_version" in blocks:
        cued = blocks["on"].to_numpy() > 0
        pairs = set(zip(blocks["cue"].to_numpy()[cued], blocks["cue_version"].to_numpy()[cued], strict=True))
        if len({pair for pair in pairs if pair[1] is not None}) > len({cue for cue, _ in pairs}):
            reasons.append("Lowered: the wording of the cue changed midway.")
    if "comparator" in blocks:
        said = blocks["comparator"].to_numpy()[blocks["on"].to_numpy() == 0]
        if _share(said == "silence") > 0.1:
            reasons.append(_SILENT)
    return reasons
