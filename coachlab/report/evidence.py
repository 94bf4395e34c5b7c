"""`Evidence`: everything that one report says, computed once and kept together."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from coachlab.cues.compare import PatternShifts, pattern_shifts
from coachlab.cues.shift import CueShifts, cue_shifts
from coachlab.cues.table import flow, model_table
from coachlab.errors import DataError
from coachlab.intake.study import Study
from coachlab.report.declared import FILE, Declared, read_declared
from coachlab.schema import FAMILIES, OUTCOMES, show_club
from coachlab.settings import Settings, cards_or_none


@dataclass(frozen=True, eq=False)
class Evidence:
    """What the lessons of a study show of one club and one primary outcome; small groups are already left out.

    Attributes
    ----------
    study : Study
        The files, as read.
    declared : Declared
        The academy's own words.
    outcome, club, level : str, str, float
        What was asked.
    table : DataFrame
        The model table of the primary outcome.
    shifts : CueShifts
        The primary outcome, without the cues of fewer students than a small group.
    others : dict of str to CueShifts
        Every other outcome that the files hold, by name.
    patterns : PatternShifts
        For whom: the shift against the screening pattern, of the cues with evidence grade A.
    flow : DataFrame
        From rows to modelled shots.
    hidden : tuple of str
        Cues that are not shown because fewer students than a small group hit them.
    """

    study: Study
    declared: Declared
    outcome: str
    club: str
    level: float
    table: pd.DataFrame
    shifts: CueShifts
    others: dict[str, CueShifts]
    patterns: PatternShifts
    flow: pd.DataFrame
    hidden: tuple[str, ...]

    @property
    def settings(self) -> Settings:
        """The academy's settings."""
        return self.study.settings

    @property
    def cues(self) -> list[str]:
        """The cues that are shown."""
        return [str(cue) for cue in self.shifts.table["cue"]]

    @property
    def students(self) -> int:
        """Students in the models."""
        return int(self.table["student"].nunique())

    def name(self, cue: str) -> str:
        """Return how a cue is written: its id, and its name where the card has another."""
        return cue_name(self.study.cues, cue)

    def __repr__(self) -> str:
        return f"<Evidence on {self.outcome} with {self.club}: {self.students} students, {', '.join(self.cues)}>"

    def _repr_html_(self) -> str:
        return self.shifts._repr_html_()


def gather_evidence(
    study: Study,
    outcome: str = "attack_up_deg",
    club: str = "iron-7",
    others: Sequence[str] | None = None,
    level: float = 0.95,
) -> Evidence:
    """Return what a study shows of one club: the primary outcome, the other outcomes, and for whom.

    Parameters
    ----------
    study : Study
        From `read_study`.
    outcome : str
        The one primary outcome, a key of `schema.OUTCOMES`.
    club : str
        One club.
    others : sequence of str or None
        The other outcomes to show; None: all that the files hold.
    level : float
        Level of the intervals.

    Raises
    ------
    DataError
        If the files lack what is asked for, or fewer students than a small group hit this club.
    """
    cards = cards_or_none(study.cues)
    table = model_table(study.shots, outcome=outcome, club=club, cues=cards)
    least = study.settings.small_group_students
    students = table["student"].nunique()
    if students < least:
        raise DataError(
            f"A report on {show_club(club)} {OUTCOMES[outcome]} was asked for.",
            f"Fewer than {least} students hit it with and without a cue; a report would point at persons.",
            "Report a club that more students hit, or wait for more lessons.",
            club=club,
        )
    declared = read_declared(study.folder)
    found = set(table.loc[table["on"] > 0, "cue"].astype("str"))
    if declared.primary_cue and declared.primary_cue not in found:
        raise DataError(
            f"{FILE} was read for the report.",
            f"primary_cue is {declared.primary_cue!r}; {show_club(club)} was hit with: {', '.join(sorted(found))}.",
            "Name one of these, or leave primary_cue out.",
            key="primary_cue",
        )
    shifts = _by_card(cue_shifts(table, study.settings, level=level), study.cues)
    study = replace(study, settings=shifts.settings)  # with what the flight model says of this club
    hidden = tuple(str(row.cue) for row in shifts.table.itertuples() if row.students < least)
    rest = [name for name in OUTCOMES if name != outcome] if others is None else list(others)
    more = {}
    for name in rest:
        if others is None and not _holds(study.shots.analysed, name):
            continue
        part = model_table(study.shots, outcome=name, club=club, cues=cards)
        more[name] = without_small(cue_shifts(part, study.settings, level=level), least)
    shown = without_small(shifts, least)
    sure = [cue for cue, grade in shown.grades.items() if grade.grade == "A"]
    return Evidence(
        study,
        declared,
        outcome,
        club,
        level,
        table,
        shown,
        more,
        pattern_shifts(table, cues=sure, settings=study.settings, level=level, parts=shifts.parts),
        flow(study.shots, table),
        hidden,
    )


def _by_card(shifts: CueShifts, cards: pd.DataFrame) -> CueShifts:
    """Return the shifts by family and id, as the pictures list them; never by size, which would be a ranking."""
    family = dict(zip(cards["cue"], cards["family"], strict=True)) if len(cards) else {}
    rank = {name: place for place, name in enumerate(FAMILIES)}

    def key(cue: pd.Series) -> pd.Series:
        return cue.map(lambda name: (rank.get(family.get(name, ""), len(rank)), str(name)))

    table = shifts.table.sort_values("cue", key=key, kind="stable", ignore_index=True)
    return replace(shifts, table=table, grades={cue: shifts.grades[cue] for cue in table["cue"]})


def without_small(shifts: CueShifts, least: int) -> CueShifts:
    """Return the shifts without the cues that fewer than `least` students hit with and without."""
    kept = [str(row.cue) for row in shifts.table.itertuples() if row.students >= least]

    def of_kept(frame: pd.DataFrame) -> pd.DataFrame:
        return frame[frame["cue"].isin(kept)].reset_index(drop=True)

    return replace(
        shifts,
        table=of_kept(shifts.table),
        spread=of_kept(shifts.spread),
        students=of_kept(shifts.students),
        fits={cue: shifts.fits[cue] for cue in kept},
        grades={cue: shifts.grades[cue] for cue in kept},
        notes={cue: shifts.notes[cue] for cue in kept},
        ladders={cue: shifts.ladders[cue] for cue in kept},
        names={cue: shifts.names[cue] for cue in kept},
    )


def pooled_groups(students: pd.Series, least: int) -> pd.Series:
    """Return how many students stand in each group, small groups put together; empty where that would hide nothing.

    The smallest groups are put together until none that is shown is smaller than `least`, and until no single one can
    be found by subtraction from the total.

    Parameters
    ----------
    students : Series
        The group of each student, one value a student; missing values are a group of their own.
    least : int
        The smallest group that may be shown.

    >>> pooled_groups(pd.Series(["low"] * 9 + ["mid"] * 6 + ["high"] * 2), least=5)
    low          9
    mid, high    8
    Name: count, dtype: int64
    >>> pooled_groups(pd.Series(["R"] * 35 + ["L"] * 3), least=5).empty
    True
    """
    text = students.astype("object").where(students.notna(), "not said").astype("str")
    counts = text.value_counts()
    small = counts.iloc[:0]
    while len(counts) and (counts.iloc[-1] < least or (len(small) and (small.sum() < least or len(small) == 1))):
        small = pd.concat([counts.iloc[-1:], small])
        counts = counts.iloc[:-1]
    if len(small) and len(counts):
        counts.loc[", ".join(small.index)] = small.sum()
    return counts


def cue_name(cards: pd.DataFrame, cue: str) -> str:
    """Return a cue's id, and its name where the card has another.

    >>> cue_name(pd.DataFrame({"cue": ["S1"], "name": ["ball-forward"]}), "S1")
    'S1 ball-forward'
    """
    if "name" not in cards.columns or not (cards["cue"] == cue).any():
        return cue
    name = str(cards.loc[cards["cue"] == cue, "name"].iloc[0])
    return cue if name == cue else f"{cue} {name}"


def _holds(table: pd.DataFrame, outcome: str) -> bool:
    sources = ["face_open_deg", "path_out_deg"] if outcome == "face_to_path_deg" else [outcome]
    if outcome in table.columns:
        sources = [outcome]
    return all(name in table.columns and bool(np.isfinite(table[name].astype(float)).any()) for name in sources)
