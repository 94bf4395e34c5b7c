"""Small pieces of sentence that several sections share."""

from collections.abc import Iterable

import numpy as np
import pandas as pd

from coachlab.cues.grade import Grade
from coachlab.cues.shift import CueShifts
from coachlab.cues.verdict import say_verdict
from coachlab.report.evidence import Evidence
from coachlab.schema import OUTCOMES, show_club
from coachlab.units import Shown, shown

DESIGNS = {
    "A": "random-order crossover",
    "B": "alternation of plain and cue",
    "C": "comparison of plain and cue",
    "D": "count of logged lessons",
}
"""What a study of each evidence grade is called in a title; at C `design_of` says more by how it was done."""


def counted(count: int, word: str) -> str:
    """Return a count with its word, as in ``1 lesson`` and ``1,204 shots``.

    >>> counted(1, "lesson"), counted(1204, "shot")
    ('1 lesson', '1,204 shots')
    """
    return f"{count:,} {word if count == 1 else word + 's'}"


def listed(names: Iterable[str]) -> str:
    """Return names as a list in a sentence.

    >>> listed(["S1", "S2", "I1"])
    'S1, S2 and I1'
    """
    names = list(names)
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "none"


def between(unit: Shown, low: float, high: float) -> str:
    """Return an interval as it stands in a table, en dashes where there is none.

    >>> between(Shown("°"), 0.52, 1.7), between(Shown("°"), float("nan"), 1.0)
    ('+0.5 to +1.7°', '–')
    """
    return unit.span(low, high, sign=True) if np.isfinite(low) and np.isfinite(high) else "–"


def what(evidence: Evidence) -> str:
    """Return the club and the primary outcome, as in ``7-iron attack``."""
    return f"{show_club(evidence.club)} {OUTCOMES[evidence.outcome]}"


def useful(evidence: Evidence, shifts: CueShifts) -> str:
    """Return the smallest useful shift with its unit."""
    size = evidence.settings.smallest_useful_shift(shifts.outcome, shifts.club)
    return shown(shifts.outcome, evidence.settings.units).text(size)


def design(evidence: Evidence) -> str:
    """Return what the study is called: by the lowest evidence grade of its cues, so that no title claims too much."""
    grades = list(evidence.shifts.grades.values())
    lowest = max((grade.grade for grade in grades), default="D")
    return _one_name(lowest, [grade for grade in grades if grade.grade == lowest])


def design_of(grade: Grade) -> str:
    """Return what lessons are called by how they were done, claiming no more than their grade carries."""
    if grade.grade != "C":
        return DESIGNS[grade.grade]
    if float(str(grade.facts["cues drawn (share of what was logged)"])) < 0.9:
        return "comparison of plain and a chosen cue"
    if grade.facts["one condition always first"]:
        return "comparison of before and after"
    return "comparison of plain and cue in turn"


def _one_name(letter: str, grades: Iterable[Grade]) -> str:
    """Return the name that lessons of one grade have in common, the grade's own where they differ."""
    names = {design_of(grade) for grade in grades}
    return names.pop() if len(names) == 1 else DESIGNS[letter]


def grades(shifts: CueShifts) -> str:
    """Return the evidence grade of the cues in one sentence."""
    by_grade: dict[str, list[str]] = {}
    for cue, grade in shifts.grades.items():
        by_grade.setdefault(grade.grade, []).append(cue)
    named = {letter: _one_name(letter, [shifts.grades[cue] for cue in cues]) for letter, cues in by_grade.items()}
    parts = [f"{letter} ({named[letter]}) for {listed(cues)}" for letter, cues in sorted(by_grade.items())]
    if len(by_grade) == 1:
        letter = next(iter(by_grade))
        return f"Evidence grade {letter} ({named[letter]})."
    return f"Evidence grade {'; '.join(parts)}."


def reasons(shifts: CueShifts) -> list[str]:
    """Return why the cues have their grades, for each set of reasons, and what in the log would raise them."""
    by_why: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for cue, grade in shifts.grades.items():
        # how many students and blocks there were differs from cue to cue, and is no reason against a better grade
        why = tuple(
            reason for reason in grade.reasons if grade.grade == "D" or " hit plain and cue in the same" not in reason
        )
        by_why.setdefault((grade.grade, why), []).append(cue)
    said = []
    for (letter, why), cues in sorted(by_why.items()):
        whom = "" if len(by_why) == 1 else f" for {listed(cues)}"
        said.append(f"Why {letter}{whom}: {' '.join(why)}")
    return [*said, *dict.fromkeys(line for grade in shifts.grades.values() for line in grade.fill())]


def verdicts(evidence: Evidence) -> str:
    """Return which cues got which verdict, in one sentence, in the order of the cards."""
    found: dict[str, list[str]] = {}
    for row in evidence.shifts.table.itertuples():
        found.setdefault(
            say_verdict(row.verdict, row.estimate, row.students, evidence.settings.verdict_students), []
        ).append(str(row.cue))
    order = ("useful", "too small", "wrong way", "not yet clear", "moved, no way wanted", "none yet")
    said = [f"{verdict}: {listed(found[verdict])}" for verdict in order if verdict in found]
    return f"Verdicts: {'; '.join(said)}."


def told(shifts: CueShifts, cues: Iterable[str], first_only: bool = False) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return what may be said of cues: evidence grade and sentences of each, from the closed list."""
    last = 1 if first_only else None
    return tuple((shifts.grades[cue].grade, tuple(shifts.claim(cue)[:last])) for cue in cues)


def general(shifts: CueShifts) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return what every grade may say of all cues together: coaches, how many intervals, whom this speaks of."""
    of_cues = {sentence for cue in shifts.table["cue"] for sentence in shifts.claim(cue)}
    return tuple(("all", (sentence,)) for sentence in shifts.sentences() if sentence not in of_cues)


def span_days(table: pd.DataFrame) -> str:
    """Return over how many days the lessons went, as a piece of sentence; empty where no day is known."""
    days = pd.to_datetime(table["session_day"], errors="coerce").dropna() if "session_day" in table else pd.Series()
    if not len(days):
        return ""
    return f" over {counted((days.max() - days.min()).days + 1, 'day')}"


def coach_numbers(coaches: Iterable[str]) -> dict[str, str]:
    """Return a number for each coach, in the order in which they come, so that no report names one.

    >>> coach_numbers(["c-7f", "c-1a", "c-7f"])
    {'c-7f': 'coach 1', 'c-1a': 'coach 2'}
    """
    return {coach: f"coach {number}" for number, coach in enumerate(dict.fromkeys(map(str, coaches)), 1)}
