"""Sections on what was found: the summary, each cue's shift, for whom, the other outcomes, and what to try next."""

import math

import numpy as np
import pandas as pd
from scipy import stats

from coachlab.claims import matches, state
from coachlab.cues.shift import CueShifts
from coachlab.cues.verdict import say_verdict
from coachlab.report.evidence import Evidence
from coachlab.report.page import Page, draw
from coachlab.report.words import (
    between,
    counted,
    design,
    general,
    grades,
    listed,
    told,
    useful,
    verdicts,
    what,
)
from coachlab.schema import OUTCOMES, show_club
from coachlab.units import shown

CAUTION = (
    "Ask before every lesson: pain today from 0 to 10, where, and surgery or a flare within three months. At 3 or "
    "more, or with trouble of wrist, elbow, back or hip: no cue that tilts, widens the stance or hits down, and half "
    "the swings.",
    "If it hurts, stop: end the block and write it down. New, severe or spreading pain, pain at night, numbness or "
    "weakness: stop, and see a licensed clinician. This report compares cues; it does not diagnose or treat.",
    "Warm up the body, then short swings. At most {adult} full swings a session for adults, 40 for juniors and those "
    "coming back, 30 with the driver.",
    "On the range: one hitter a bay, nobody ahead of the line; lay sticks, planks and coins where neither club nor "
    "ball can throw them; check mat edges, net and balls; protect ears and eyes indoors; mind lightning outdoors. The "
    "local rules go first.",
    "Under 18, or the local age: only with a guardian's written consent and the child's own yes, and never one adult "
    "alone with one child.",
)
"""What to mind before anyone tries a cue."""


def summary(evidence: Evidence) -> Page:
    """Return question, design, students and shots, the main shift with its interval, the grade and one limitation."""
    shifts, primary = evidence.shifts, evidence.declared.primary_cue
    said = [
        f"Question: how far does each cue move {what(evidence)} from the student's own plain swing in the same lesson?",
        f"Design: {design(evidence)}, {counted(evidence.students, 'student')}, {counted(len(evidence.table), 'shot')}. "
        f"{grades(shifts)}",
    ]
    if primary in evidence.cues:
        said.append(f"Chosen before the first shot as the one main contrast: {evidence.name(primary)} against plain.")
        claims = told(shifts, [primary])
    else:
        said.append("No cue was named before the first shot as the main contrast, so all stand side by side.")
        claims = told(shifts, evidence.cues, first_only=True)
    limit = evidence.declared.limitation or (
        "The shots were struck while the cue was in place; what is kept on a later day is another question."
    )
    after = [verdicts(evidence)] if evidence.cues else []
    return Page("summary", "Summary", tuple(said), claims=claims, after=(*after, f"One limitation: {limit}"))


def result(evidence: Evidence) -> Page:
    """Return the main result: every cue's average shift with its interval, students, verdict and grade."""
    from coachlab.plots import describe_shifts, plot_shifts

    shifts, cards = evidence.shifts, evidence.study.cues
    said = [
        "The shift is the mean with the cue minus the same student's plain mean, same lesson, same club. Less than "
        f"{useful(evidence, shifts)} either way is too small to matter. {grades(shifts)}"
    ]
    if evidence.hidden:
        said.append(
            f"Not shown, since fewer than {evidence.settings.small_group_students} students hit with them: "
            f"{listed(map(evidence.name, evidence.hidden))}."
        )
    return Page(
        "result",
        "Main result",
        tuple(said),
        pictures=(
            draw(
                plot_shifts,
                shifts,
                cards,
                alt=describe_shifts(shifts, cards),
                height_in=1.6 + 0.34 * max(len(evidence.cues), 3),
            ),
        ),
        table=shift_rows(evidence, shifts),
        caption=f"Average shift of {what(evidence)} by cue",
        claims=(*told(shifts, evidence.cues), *general(shifts)),
    )


def for_whom(evidence: Evidence) -> Page:
    """Return how the shift of each cue goes with the student's screening pattern; for cues of grade A only."""
    from coachlab.plots import describe_patterns, plot_patterns

    patterns, cards = evidence.patterns, evidence.study.cues
    unit = shown(evidence.outcome, evidence.settings.units)
    measure = shown(patterns.measure, evidence.settings.units)
    places = patterns.table.drop_duplicates("pattern")
    heads = {row.pattern: f"{row.pattern} ({measure.text(row.at)})" for row in places.itertuples()}
    rows = []
    for cue, part in patterns.table.groupby("cue", sort=False):
        told_at = {
            heads[row.pattern]: f"{unit.text(row.estimate, sign=True)} ({between(unit, row.low, row.high)})"
            for row in part.itertuples()
        }
        rows.append({"cue": evidence.name(str(cue)), **told_at, "students": int(part["students"].iloc[0])})
    said = [
        f"The pattern is a student's own {OUTCOMES[patterns.measure]} in a screening block, which is never the "
        "baseline. It is a scale: the named places are the students' mean and one standard deviation either side, and "
        "nobody is put into a box."
    ]
    less = [cue for cue in evidence.cues if cue not in patterns.names]
    if less:
        said.append(f"Not asked for {listed(map(evidence.name, less))}: it takes lessons in random order (grade A).")
    by_cue = {cue: patterns.claim(cue) for cue in evidence.cues if cue in patterns.names}
    claims = tuple(
        ("A", tuple(filter(_allowed, said_of))) for said_of in by_cue.values() if any(map(_allowed, said_of))
    )
    after = dict.fromkeys(sentence for said_of in by_cue.values() for sentence in said_of if not _allowed(sentence))
    if not rows:
        return Page("whom", "For whom", tuple(said), claims=claims, after=tuple(after))
    return Page(
        "whom",
        "For whom",
        tuple(said),
        pictures=(draw(plot_patterns, patterns, cards, alt=describe_patterns(patterns, cards), height_in=4.2),),
        table=pd.DataFrame(rows),
        caption=f"Shift of {what(evidence)} at three places of the pattern, {evidence.level * 100:g} % intervals",
        claims=claims,
        after=tuple(after),
    )


def paired(evidence: Evidence) -> Page:
    """Return each student's own plain and cue mean, one small picture a cue, without names."""
    from coachlab.plots import describe_paired, plot_paired

    shifts, cards = evidence.shifts, evidence.study.cues
    pictures = [
        draw(plot_paired, shifts, cue, cards, alt=describe_paired(shifts, cue), width_in=4.4, height_in=3.0)
        for cue in evidence.cues
    ]
    return Page(
        "paired",
        "Every student's own means",
        (
            "One line a student, from the plain mean to the mean with the cue; lines go both ways by chance too, and "
            "how far students differ beyond chance stands under How it was calculated.",
        ),
        pictures=tuple(pictures),
    )


def beside(evidence: Evidence) -> Page:
    """Return every other outcome that the files hold: what else moved, what must not get worse included."""
    units = {name: shown(name, evidence.settings.units) for name in evidence.others}
    lines = []
    for cue in evidence.cues:
        line = {"cue": evidence.name(cue)}
        for name, shifts in evidence.others.items():
            row, unit = shifts.table.set_index("cue").reindex([cue]).iloc[0], units[name]
            line[f"{OUTCOMES[name]} ({unit.unit})"] = (
                f"{unit.number(row['estimate'], sign=True)} ({unit.number(row['low'], sign=True)} to "
                f"{unit.number(row['high'], sign=True)})"
                if np.isfinite(row["estimate"])
                else "–"
            )
        lines.append(line)
    number = sum(int(np.isfinite(shifts.table["estimate"]).sum()) for shifts in evidence.others.values())
    loss = _speed_losses(evidence)
    return Page(
        "beside",
        "What else moved",
        (
            f"Secondary: {counted(number, 'interval')} beside the main outcome, none adjusted for their number. At "
            f"{evidence.level * 100:g} % about {number * (1 - evidence.level):.0f} of them would miss the truth.",
            loss,
        ),
        table=pd.DataFrame(lines) if lines and evidence.others else None,
        caption=f"Average shifts of other outcomes, {show_club(evidence.club)}, {evidence.level * 100:g} % intervals",
    )


def steadiness(evidence: Evidence) -> Page:
    """Return a second look that needs no model: students' own differences, their median, and one student left out."""
    unit = shown(evidence.outcome, evidence.settings.units)
    model = evidence.shifts.table.set_index("cue")
    lines = []
    for cue in evidence.cues:
        shift = evidence.shifts.students.loc[evidence.shifts.students["cue"] == cue, "shift"].to_numpy(float)
        if len(shift) < 2:
            continue
        half = stats.t.ppf((1 + evidence.level) / 2, len(shift) - 1) * shift.std(ddof=1) / math.sqrt(len(shift))
        without = (shift.sum() - shift) / (len(shift) - 1)
        lines.append(
            {
                "cue": evidence.name(cue),
                "model": unit.text(model.loc[cue, "estimate"], sign=True),
                "mean of differences": f"{unit.text(shift.mean(), sign=True)} "
                f"({between(unit, shift.mean() - half, shift.mean() + half)})",
                "median": unit.text(float(np.median(shift)), sign=True),
                "mean with one student left out": between(unit, without.min(), without.max()),
                "students": len(shift),
            }
        )
    return Page(
        "steadiness",
        "Does it hold another way?",
        (
            "The model beside plainer calculations: each student's own difference of block means, their mean with a "
            "paired t interval, their median, and the range of the mean when any one student is left out.",
        ),
        table=pd.DataFrame(lines) if lines else None,
        caption=f"Shift of {what(evidence)}, calculated in other ways",
    )


def next_steps(evidence: Evidence) -> Page:
    """Return what to try next by verdict, and what to mind before anyone tries it."""
    lines = [
        {
            "cue": evidence.name(str(row.cue)),
            "verdict": say_verdict(row.verdict, row.estimate, row.students, evidence.settings.verdict_students),
            "next": _advice(evidence, row),
        }
        for row in evidence.shifts.table.itertuples()
    ]
    said = (
        "Compare within the lesson: screen on another day, then plain and cue in drawn order, two blocks of each, at "
        f"least {evidence.settings.block_shots} read shots a block. Judge after the lesson, not during it.",
    )
    caution = tuple(line.format(adult=evidence.settings.adult_swings) for line in CAUTION)
    return Page(
        "next",
        "What to try next",
        said,
        table=pd.DataFrame(lines) if lines else None,
        caption="Next step by cue",
        caution=caution,
    )


def shift_rows(evidence: Evidence, shifts: CueShifts) -> pd.DataFrame:
    """Return the shifts as they are shown: cue, shift, interval, next student, students, verdict, grade."""
    unit = shown(shifts.outcome, shifts.settings.units)
    spread = shifts.spread.set_index("cue")
    rows = [
        {
            "cue": evidence.name(str(row.cue)),
            "shift": unit.text(row.estimate, sign=True),
            f"{shifts.level * 100:g} % interval": between(unit, row.low, row.high),
            "next student shows (90 %)": between(unit, *spread.loc[row.cue, ["see_low", "see_high"]]),
            "students": int(row.students),
            "verdict": say_verdict(row.verdict, row.estimate, row.students, evidence.settings.verdict_students),
            "grade": row.grade,
        }
        for row in shifts.table.itertuples()
    ]
    return pd.DataFrame(rows)


def students_for_an_answer(half: float, students: int, useful_shift: float) -> int:
    """Return about how many students bring an interval's half-width down to half the smallest useful shift.

    The half-width falls with the square root of the number of students; the t factor's own fall is left out, so the
    number is a little high for small studies.

    >>> students_for_an_answer(half=0.8, students=20, useful_shift=1.0)
    52
    """
    return math.ceil(students * (half / (useful_shift / 2)) ** 2)


def _advice(evidence: Evidence, row: tuple) -> str:
    shift, verdict = evidence.shifts, row.verdict  # type: ignore[attr-defined]
    size = evidence.settings.smallest_useful_shift(shift.outcome, shift.club)
    half = (row.high - row.low) / 2  # type: ignore[attr-defined]
    if verdict == "useful":
        way = state(evidence.outcome, row.estimate)  # type: ignore[attr-defined]
        return f"Offer it where {what(evidence)} should be {way}; look at what else moved before keeping it."
    if verdict == "wrong way":
        return "Not for this aim. Keep it for students who need the other way, and compare again there."
    if verdict == "too small":
        return f"Leave it where the aim is {what(evidence)}."
    if say_verdict(verdict, row.estimate, row.students, evidence.settings.verdict_students).startswith("moved"):  # type: ignore[attr-defined]
        return f"It moved {what(evidence)} without being meant to: look whether that helps before keeping it."
    if np.isfinite(half):
        needed = students_for_an_answer(half, row.students, size)  # type: ignore[attr-defined]
        if needed > row.students:  # type: ignore[attr-defined]
            return f"Go on comparing: an interval as narrow as the smallest useful shift takes about {needed} students."
        return "Go on comparing, in drawn order with an own baseline: more students alone would not settle it."
    return "Collect lessons with plain and cue shots of the same student before anything is said."


def _speed_losses(evidence: Evidence) -> str:
    shifts = evidence.others.get("club_speed_mps")
    if shifts is None or evidence.outcome == "club_speed_mps":
        return "Club speed was not measured, so a loss of speed would not be seen here."
    unit = shown("club_speed_mps", evidence.settings.units)
    limit = evidence.settings.smallest_useful_shift("club_speed_mps", evidence.club)
    possible = [str(row.cue) for row in shifts.table.itertuples() if row.low < -limit]
    if not possible:
        return f"For no cue does the interval of club speed reach a loss of {unit.text(limit)}."
    return f"A loss of more than {unit.text(limit)} of club speed cannot be ruled out for {listed(possible)}."


def _allowed(sentence: str) -> bool:
    return matches(sentence, "A")
