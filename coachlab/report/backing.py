"""Sections on how it was calculated, and whom it speaks of."""

import platform
from importlib.metadata import version

import numpy as np
import pandas as pd

from coachlab.cues.shift import by_note
from coachlab.mixed.newcomer import tested
from coachlab.report.evidence import Evidence
from coachlab.report.page import Page
from coachlab.report.words import counted, general, listed, useful, what
from coachlab.schema import COLUMNS, OUTCOMES, RANGE_RULES, show_club
from coachlab.units import shown

_NAMES = {"speed_ratio": "ball speed over club speed", "launch_up_deg": "launch"}
_PACKAGES = ("coachlab", "numpy", "scipy", "pandas", "formulaic", "matplotlib")


def methods(evidence: Evidence) -> Page:
    """Return the model of each cue, how intervals were made, the rules for readings, versions, data fingerprint."""
    shifts = evidence.shifts
    unit = shown(evidence.outcome, evidence.settings.units)
    spread = shifts.spread.set_index("cue")
    rows = [
        {
            "cue": evidence.name(str(row.cue)),
            "model": spread.loc[row.cue, "model"],
            "rungs": ", ".join(shifts.ladders[str(row.cue)].table["rung"]) or "–",
            "students": int(row.students),
            "shots": f"{spread.loc[row.cue, 'shots']:,}",
            "df": "–" if not np.isfinite(row.df) else f"{row.df:.1f}",
            "SD between students": unit.text(spread.loc[row.cue, "slope_sd"]),
        }
        for row in shifts.table.itertuples()
    ]
    ranges = [_believable(name, evidence.settings.units) for name in RANGE_RULES]
    said = (
        "Each cue has a linear mixed model of its own lessons, fitted by restricted maximum likelihood: on is 0 in "
        "plain and 1 in cue shots; every student has a start and a shift of their own; period and the logarithm of "
        "the shot's number take up warm-up and drift where the order allows it. Period and carry-over from block to "
        "block were treated so from the start, not tested and then chosen.",
        "Where lessons cannot carry the whole model it steps down, and the rungs that it passed are shown: a, the full "
        "model; b, start and shift of a student uncorrelated; c, no term for days, where each student came once; d, "
        "means of blocks; e, one difference for each student. Every rung keeps each student's own shift.",
        f"Intervals at {evidence.level * 100:g} % use t with Satterthwaite's degrees of freedom, at most the number "
        "of students less one. The range of what a next student shows comes from the students' own differences and "
        "holds the chance of a lesson's few blocks. The range of that student's own average shift leaves that chance "
        "out; how far students differ is itself unsure there. " + _tested(evidence.settings.spread_students),
        "Measures stand in the player's frame: up, out and open are plus; left-handers are mirrored once, when the "
        f"file is read. A shot outside a believable range is set aside: {'; '.join(ranges)}.",
        f"The smallest useful shift of {what(evidence)} is {useful(evidence, shifts)}. A cue is useful where the "
        "estimate reaches it the wanted way and the lower end of the 80 % interval lies above half of it; too small "
        "where the 90 % interval lies inside it both ways; the wrong way where the one-sided 90 % bound lies beyond "
        "zero; else not yet clear.",
        f"Made with {', '.join(f'{name} {version(name)}' for name in _PACKAGES)}, Python {platform.python_version()}. "
        f"Data: {counted(len(evidence.study.files), 'file')}, fingerprint {evidence.study.fingerprint}.",
    )
    return Page(
        "methods",
        "How it was calculated",
        said,
        table=pd.DataFrame(rows) if rows else None,
        caption=f"The model of each cue, and how much its shift differs between students; {what(evidence)}",
        after=tuple(f"{listed(map(evidence.name, cues))}: {note}" for note, cues in by_note(shifts.notes).items()),
    )


def limits(evidence: Evidence) -> Page:
    """Return what the report does not cover, and why each cue has its evidence grade."""
    said = (
        f"Only {show_club(evidence.club)} was looked at here, and only while the cue was in place.",
        "Students were those who came to these lessons; nobody drew them from all players.",
    )
    rows = [
        {"cue": evidence.name(cue), "grade": grade.grade, "why": " ".join(grade.reasons)}
        for cue, grade in evidence.shifts.grades.items()
    ]
    return Page(
        "limits",
        "Limits",
        said,
        claims=general(evidence.shifts),
        table=pd.DataFrame(rows) if rows else None,
        caption="Why each cue has its evidence grade",
    )


def _tested(least: int) -> str:
    """Return how often ranges of a next student's own shift held in simulated studies, over all that was tested."""
    table = tested()
    mine = table[(table["kind"] == "new level") & (table["nominal"] == 0.9) & (table["levels"] >= least)]
    sizes = listed(f"{size:g}" for size in sorted(mine["levels"].unique()))
    low, high = (f"{100 * share:.0f}" for share in (mine["coverage"].min(), mine["coverage"].max()))
    return (
        f"In simulated studies of {sizes} students, {mine['studies'].min():,} of each kind, such ranges of nominally "
        f"90 % held {low} to {high} % of new students, most where students differ least."
    )


def _believable(column: str, system: str) -> str:
    """Return the range of a believable reading, as in ``attack −15 to 12°``."""
    rule, unit = COLUMNS[column], shown(column, system)
    name = OUTCOMES.get(column, _NAMES.get(column, column))
    low, high = (f"{end * unit.factor:.3g}".replace("-", "−") for end in (rule.low, rule.high))
    return f"{name} {low} to {high}{'' if unit.unit in ('', '°') else ' '}{unit.unit}"
