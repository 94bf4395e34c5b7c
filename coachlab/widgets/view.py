"""What the explorer shows for one choice: a value made without any panel, so that it can be read and tested."""

from collections.abc import Iterable, MutableMapping
from dataclasses import dataclass, replace
from typing import TypeVar

import pandas as pd

from coachlab.cues.compare import PatternShifts, pattern_shifts
from coachlab.cues.pattern import default_pattern
from coachlab.cues.shift import CueShifts, cue_shifts
from coachlab.cues.table import flow, model_table
from coachlab.intake.shots import Shots
from coachlab.plots import (
    describe_paired,
    describe_patterns,
    describe_shift_against_pattern,
    describe_shifts,
)
from coachlab.plots.look import in_order
from coachlab.schema import show_club
from coachlab.settings import Settings
from coachlab.widgets.advice import CAUTION, listed, next_steps

_Answers = TypeVar("_Answers", CueShifts, PatternShifts)


@dataclass(frozen=True)
class Choice:
    """What was asked of the explorer.

    Parameters
    ----------
    outcome, club : str
        A key of `schema.OUTCOMES` and of `schema.CLUBS`.
    family : str
        ``setup``, ``intent``, or empty for all cues.
    cue : str
        One cue to look at closely; empty for all.
    pattern : str or None
        The screening measure; None: the usual one for the outcome.
    coach : str
        One coach's lessons; empty for all.
    direction : {1, -1} or None
        Which way is wanted; None: as each cue card says.
    """

    outcome: str = "attack_up_deg"
    club: str = "iron-7"
    family: str = ""
    cue: str = ""
    pattern: str | None = None
    coach: str = ""
    direction: int | None = None

    @property
    def measure(self) -> str:
        """The pattern's column."""
        return self.pattern or default_pattern(self.outcome)


@dataclass(frozen=True, eq=False)
class ExplorerView:
    """Everything that the panel shows for one choice.

    Attributes
    ----------
    choice : Choice
        What was asked.
    shifts, patterns : CueShifts or None, PatternShifts or None
        What the picture draws; None where nothing may be shown.
    picture : str
        The picture in words.
    claims : DataFrame
        ``cue sentence``: what may be said of each cue, from the closed list, in the order of the picture.
    general : tuple of str
        What holds for all of it: how many coaches and intervals, of whom it speaks.
    grades : DataFrame
        ``cue grade reason``: one row a reason.
    flow : DataFrame
        From raw rows to modelled shots: ``step shots students``.
    account : str
        The four counts in one sentence.
    hidden : tuple of str
        What is not shown, and why.
    notes : DataFrame
        ``cue note``: what was left out or is to be minded.
    next_steps : tuple of str
        What to do with it.
    caution : str
        Bodies and range, where a coach would act.
    """

    choice: Choice
    shifts: CueShifts | None
    patterns: PatternShifts | None
    picture: str
    claims: pd.DataFrame
    general: tuple[str, ...]
    grades: pd.DataFrame
    flow: pd.DataFrame
    account: str
    hidden: tuple[str, ...]
    notes: pd.DataFrame
    next_steps: tuple[str, ...]
    caution: str = CAUTION


def explorer_view(
    shots: Shots,
    choice: Choice | None = None,
    cues: pd.DataFrame | None = None,
    settings: Settings | None = None,
    known: MutableMapping | None = None,
) -> ExplorerView:
    """Return what the explorer shows for one choice, all of it computed here and nothing in the panel.

    A coach with fewer students than a verdict needs is not shown alone, and a cue tried by fewer students than the
    academy's small-group limit is not shown at all; `hidden` says so.

    Parameters
    ----------
    shots : Shots
        Cleaned shots with their lesson log joined.
    choice : Choice or None
        What is asked; None: 7-iron attack, all cues.
    cues : DataFrame or None
        The cue cards; None: ids only.
    settings : Settings or None
        The academy's thresholds.
    known : mutable mapping or None
        Tables and answers found so far, kept by whoever asks often: another family or a closer look costs no model.

    Raises
    ------
    DataError
        If no lesson fits the choice, or a column that it needs is missing.
    """
    choice, settings = choice or Choice(), settings or Settings()
    known = {} if known is None else known
    table = _table(shots, choice, cues, known)
    if choice.coach and table["student"].nunique() < settings.verdict_students:
        return _nothing(shots, choice, _coach_hidden(choice, settings))
    shifts, patterns = _answers(table, choice, settings, known)
    names, hidden = _shown(table, shifts, choice, settings)
    if not names:
        return _nothing(shots, choice, *hidden)
    names = in_order(names, cues)
    shifts, patterns = _only(shifts, names), _only(patterns, names)
    claims = [(shifts.names[cue], said) for cue in names for said in (*shifts.claim(cue), *patterns.claim(cue))]
    return ExplorerView(
        choice,
        shifts,
        patterns,
        _in_words(shifts, patterns, choice, cues),
        _rows("sentence", claims),
        tuple(shifts.of_all()),
        _grades(shifts, names),
        flow(shots, _lessons(table, names)),
        shots.text(),
        tuple(hidden),
        _rows("note", ((shifts.names[cue], note) for cue in names for note in shifts.notes[cue])),
        next_steps(shifts, names),
    )


def _table(shots: Shots, choice: Choice, cues: pd.DataFrame | None, known: MutableMapping) -> pd.DataFrame:
    key = ("table", choice.outcome, choice.club, choice.measure, choice.coach)
    if key not in known:
        if choice.coach:
            whole = _table(shots, replace(choice, coach=""), cues, known)
            mine = whole[whole["coach"].astype("str") == choice.coach].copy()
            for name in mine.select_dtypes("category"):
                mine[name] = mine[name].cat.remove_unused_categories()
            known[key] = mine
        else:
            known[key] = model_table(shots, choice.outcome, choice.club, cues, choice.measure)
    return known[key]


def _answers(
    table: pd.DataFrame, choice: Choice, settings: Settings, known: MutableMapping
) -> tuple[CueShifts, PatternShifts]:
    """Return the answers for all cues of a table; each cue has its own model, so a part of them is as good."""
    key = ("answers", choice.outcome, choice.club, choice.measure, choice.coach, choice.direction)
    if key not in known:
        shifts = cue_shifts(table, settings, choice.direction)
        known[key] = shifts, pattern_shifts(table, None, shifts.settings, shifts.level, shifts.parts)
    return known[key]


def _shown(table: pd.DataFrame, shifts: CueShifts, choice: Choice, settings: Settings) -> tuple[list[str], list[str]]:
    """Return which cues are shown, and why others that were asked for are not."""
    on = table.loc[table["on"] > 0, ["cue", "student", "family"]].astype({"cue": "str"}).drop_duplicates()
    tried = on.drop_duplicates("cue").set_index("cue")
    tried["students"] = on["cue"].value_counts()
    asked = tried[(tried["family"] == choice.family) | (choice.family == "")]
    asked = asked[(asked.index == choice.cue) | (choice.cue == "")]
    if not len(asked):
        what = choice.cue or f"a {choice.family} cue"
        return [], [f"No lesson with {show_club(choice.club)} holds {what}."]
    both = shifts.table.set_index("cue")["students"].loc[asked.index]
    least = settings.small_group_students
    # nobody with and without the cue is a log without baseline, which is counted; a few are people one could guess
    small = (asked["students"] < least) | ((both > 0) & (both < least))
    names = list(asked.index[~small])
    return names, [_small_hidden(list(asked.index[small]), settings)] if small.any() else []


def _only(answers: _Answers, names: list[str]) -> _Answers:
    """Return the answers for some of the cues."""
    frames = ("table", "spread", "students") if isinstance(answers, CueShifts) else ("table", "slopes")
    changes: dict = {}
    for name in frames:
        frame = getattr(answers, name)
        changes[name] = frame[frame["cue"].isin(names)].reset_index(drop=True)
    changes["names"] = {cue: answers.names[cue] for cue in names}
    return replace(answers, **changes)


def _lessons(table: pd.DataFrame, names: list[str]) -> pd.DataFrame:
    """Return the rows of some cues and the plain rows of their lessons."""
    mine = table["cue"].isin(names) & (table["on"] > 0)
    return table[mine | ((table["on"] == 0) & table["session"].isin(table.loc[mine, "session"].unique()))]


def _small_hidden(few: list[str], settings: Settings) -> str:
    return (
        f"{listed(few, 'and')}: tried by fewer than {settings.small_group_students} students, so not shown; a small "
        "group can give a person away."
    )


def _coach_hidden(choice: Choice, settings: Settings) -> str:
    return (
        f"{choice.coach} taught fewer than {settings.verdict_students} students with {show_club(choice.club)}. Below "
        "that number no coach is shown alone: the difference would be chance, or harder students."
    )


def _nothing(shots: Shots, choice: Choice, why: str) -> ExplorerView:
    return ExplorerView(
        choice,
        None,
        None,
        "No picture: " + why,
        _rows("sentence", ()),
        (),
        pd.DataFrame({"cue": [], "grade": [], "reason": []}),
        flow(shots, None),
        shots.text(),
        (why,),
        _rows("note", ()),
        ("Choose all coaches, another club or all cues; or log more lessons with plain and cue blocks.",),
    )


def _in_words(shifts: CueShifts, patterns: PatternShifts, choice: Choice, cues: pd.DataFrame | None) -> str:
    if choice.cue:
        parts = [describe_paired(shifts, choice.cue), describe_shift_against_pattern(shifts, choice.cue, patterns)]
    else:
        parts = [describe_shifts(shifts, cues), describe_patterns(patterns, cues)]
    return " ".join(parts)


def _rows(what: str, pairs: Iterable[tuple[str, str]]) -> pd.DataFrame:
    return pd.DataFrame(list(pairs), columns=["cue", what])


def _grades(shifts: CueShifts, names: list[str]) -> pd.DataFrame:
    rows = [
        (shifts.names[cue], shifts.grades[cue].grade, reason) for cue in names for reason in shifts.grades[cue].reasons
    ]
    return pd.DataFrame(rows, columns=["cue", "grade", "reason"])
