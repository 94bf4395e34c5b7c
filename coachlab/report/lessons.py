"""Sections on the lessons themselves: the head, who took part, the cue cards, the flow of balls, the baseline."""

import re

import pandas as pd

from coachlab.report.checklist import item_rows
from coachlab.report.evidence import Evidence, pooled_groups
from coachlab.report.page import Page, draw
from coachlab.report.words import coach_numbers, counted, design, span_days, what
from coachlab.schema import PLAIN, show_club
from coachlab.units import shown

_GROUPS = {
    "handicap_band": "handicap",
    "age_band": "age",
    "minor": "under age",
    "hand": "plays",
    "coach": "taught by",
}
_GROUP_WORDS = {
    "hand": {"R": "right-handed", "L": "left-handed"},
    "minor": {"True": "under age", "False": "of age"},
}


def title(evidence: Evidence) -> Page:
    """Return the head of the report: the question, the design, the population."""
    table, (_, status) = evidence.table, item_rows(evidence)
    lessons = counted(table["session"].nunique(), "lesson") + span_days(evidence.study.shots.analysed)
    academy = evidence.settings.name
    said = (
        evidence.declared.question,
        f"{academy[:1].upper()}{academy[1:]}: {counted(evidence.students, 'student')}, {lessons}, "
        f"{counted(len(table), 'shot')} in the models, from {counted(len(evidence.study.files), 'file')}.",
        status,
    )
    return Page(
        "title",
        f"Which cue moves {what(evidence)}? A {design(evidence)} in {evidence.students} students of "
        f"{evidence.settings.name}",
        tuple(filter(None, said)),
        banner=evidence.settings.note,
        level=1,
    )


def people(evidence: Evidence) -> Page:
    """Return who took part: students by group, none smaller than the academy's limit."""
    least = evidence.settings.small_group_students
    students = evidence.table["student"].astype("str")
    shots = evidence.study.shots.analysed
    shots = shots[shots["student"].astype("str").isin(set(students))]
    rows: list[tuple[str, str, str]] = []
    for column, words in _GROUPS.items():
        if column not in shots.columns or shots[column].isna().all():
            continue
        counts = _group_counts(shots, column, least, _numbers(evidence))
        if column == "coach":
            counts = counts.sort_index()
        rows += [(words, str(group), str(count)) for group, count in counts.items()]
        if not len(counts):
            rows.append((words, f"not shown: a group would hold fewer than {least}", ""))
    lessons = evidence.table.drop_duplicates("session")["student"].astype("str").value_counts()
    blocks = evidence.table.drop_duplicates("block")["student"].astype("str").value_counts()
    return Page(
        "people",
        "Who took part",
        (
            f"{counted(evidence.students, 'student')} hit {show_club(evidence.club)} with and without a cue, each in "
            f"{_range(lessons, 'lesson')} with {_range(blocks, 'test block')}.",
            f"Groups of fewer than {least} students are put together or not shown. Coaches bear numbers, and no "
            "student is named.",
        ),
        table=pd.DataFrame(rows, columns=["group", "which", "students"]) if rows else None,
        caption="Students in the models, by group",
    )


def cards(evidence: Evidence) -> Page:
    """Return the cue cards word for word, with version and family."""
    known = evidence.study.cues
    wanted = {PLAIN, *evidence.cues, *evidence.hidden}
    rows = [
        (
            evidence.name(str(card.cue)),
            "baseline" if card.cue == PLAIN else card.family,
            f"“{card.card_text}”" if card.card_text else "no words on the card",
            card.version,
        )
        for card in known.itertuples()
        if card.cue in wanted
    ]
    said = [
        "What the coach says, word for word. A setup cue changes the position before the swing; an intent cue changes "
        "what is aimed at, imagined or felt. A changed wording is a new version."
    ]
    bare = sorted(wanted - {PLAIN} - set(known["cue"]))
    if bare:
        said.append(f"Without a card in cues.toml: {', '.join(bare)}.")
    return Page(
        "cards",
        "The cues",
        tuple(said),
        table=pd.DataFrame(rows, columns=["cue", "family", "card", "version"]) if rows else None,
        caption="Cue cards",
        caution=(
            "Before anyone tries one: ask for pain today, and stop if it hurts. The whole list stands in “What to try "
            "next”.",
        ),
    )


def balls(evidence: Evidence) -> Page:
    """Return the flow of balls from the files to the models, every loss with its reason."""
    from coachlab.plots import describe_flow, plot_flow

    counts = evidence.flow.assign(
        shots=[f"{value:,}".replace("-", "−") for value in evidence.flow["shots"]],
        students=["" if pd.isna(value) else str(value) for value in evidence.flow["students"]],
    )
    return Page(
        "balls",
        "Flow of balls",
        (evidence.study.shots.text(), *(_without_names(text, _numbers(evidence)) for text in evidence.study.warnings)),
        pictures=(draw(plot_flow, evidence.flow, alt=describe_flow(evidence.flow), width_in=6.8, height_in=3.2),),
        table=counts,
        caption="From rows to modelled shots; losses bear a minus",
    )


def baseline(evidence: Evidence) -> Page:
    """Return the plain shots by what came first in the lesson and by period, as means over students."""
    unit = shown(evidence.outcome, evidence.settings.units)
    least = evidence.settings.small_group_students
    table = evidence.table
    first = table.sort_values("period", kind="stable").groupby("session", observed=True)["on"].first()
    plain = table[table["on"] == 0].assign(start=lambda rows: rows["session"].map(first).astype(float))
    rows = []
    for value, words in ((0.0, "lessons that began plain"), (1.0, "lessons that began with a cue")):
        rows.append((words, plain[plain["start"] == value]))
    rows += [(f"plain blocks in place {period:g} of the lesson", part) for period, part in plain.groupby("period")]
    lines = []
    for words, part in rows:
        means = part.groupby("student", observed=True)[evidence.outcome].mean()
        if not len(means):
            continue
        few = len(means) < least
        lines.append(
            {
                "plain shots in": words,
                "students": f"fewer than {least}" if few else str(len(means)),
                "mean of students": "–" if few else unit.text(means.mean()),
                "spread of students (SD)": "–" if few else unit.text(means.std()),
            }
        )
    return Page(
        "baseline",
        "The plain swing",
        (f"Each line is a mean over students of their own mean plain {what(evidence)}, so that nobody counts twice.",),
        table=pd.DataFrame(lines),
        caption="Baseline by order and by period",
    )


def _group_counts(shots: pd.DataFrame, column: str, least: int, numbers: dict[str, str]) -> pd.Series:
    values = shots[column].astype("str").where(shots[column].notna())
    values = values.replace(_GROUP_WORDS.get(column, {}))
    if column == "coach":
        values = values.map(numbers)
    groups = pd.DataFrame({"student": shots["student"].astype("str"), "group": values}).drop_duplicates()
    if not groups["student"].duplicated().any():
        return pooled_groups(groups["group"], least)
    # students who stand in several groups: a pooled count would count them twice, so all are shown or none
    counts = groups["group"].value_counts()
    return counts if (counts >= least).all() else counts.iloc[:0]


def _range(counts: pd.Series, word: str) -> str:
    low, high = int(counts.min()), int(counts.max())
    return counted(low, word) if low == high else f"{low} to {counted(high, word)}"


def _numbers(evidence: Evidence) -> dict[str, str]:
    table = evidence.study.shots.table
    return coach_numbers(table["coach"].dropna()) if "coach" in table.columns else {}


def _without_names(text: str, numbers: dict[str, str]) -> str:
    """Return a sentence that begins with a coach's pseudonym and log with the coach's number in their place."""
    for coach, number in numbers.items():
        text = re.sub(rf"^Coach {re.escape(coach)}( \(lessons in .*?\))?:", f"{number.capitalize()}:", text)
    return text
