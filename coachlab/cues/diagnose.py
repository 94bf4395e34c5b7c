"""Can the answer on one cue be trusted: twelve looks at the model behind it, each with a number, a limit, a picture."""

import html
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from coachlab.cues.blocks import paired_means
from coachlab.cues.compare import pattern_shifts
from coachlab.cues.ladder import LEAST_STUDENTS, Answer, fit_shift
from coachlab.cues.looks import LOOK, Look, look_at
from coachlab.cues.parts import Part, cue_parts
from coachlab.cues.seen import Seen, judge, see
from coachlab.cues.shift import show_cues
from coachlab.cues.table import flow, outcome_of
from coachlab.errors import DataError, need_share
from coachlab.intake.shots import Shots
from coachlab.schema import OUTCOMES, show_club
from coachlab.settings import Settings
from coachlab.units import shown


@dataclass(frozen=True, eq=False)
class Diagnostics:
    """Twelve looks at the model of one cue.

    Attributes
    ----------
    table : DataFrame
        One row a look: ``number check found limit sign remark``. ``sign`` is fine, note (worth knowing), look (to be
        looked into) or not possible. No student is named.
    seen : Seen
        What the pictures draw; students by pseudonym.
    answer : Answer
        The model of the cue, with its ladder.
    part : Part
        The lessons of the cue.
    flow : DataFrame
        From rows to the shots of this model: ``step shots students``.
    cue, name, outcome, club, level, verdict : str, str, str, str, float, str
        What was asked, and the verdict on it.
    settings : Settings
        The academy's thresholds and units.
    seed : int
        Of the simulated sets: the same gives the same page.
    """

    table: pd.DataFrame
    seen: Seen
    answer: Answer
    part: Part
    flow: pd.DataFrame
    cue: str
    name: str
    outcome: str
    club: str
    level: float
    verdict: str
    settings: Settings
    seed: int

    @property
    def question(self) -> str:
        """What the page is about, as in ``7-iron attack with I2 rafter``."""
        return f"{show_club(self.club)} {OUTCOMES[self.outcome]} with {self.name}"

    def brief(self) -> str:
        """Return the shift, and which looks ask for more, in two sentences."""
        looks = self.table[self.table["sign"] == LOOK]
        unit = shown(self.outcome, self.settings.units)
        base = (
            f"{self.question[0].upper()}{self.question[1:]}: shift {unit.text(self.answer.estimate, sign=True)}, "
            f"{len(self.seen.students)} students, evidence grade {self.part.grade.grade}."
        )
        if not len(looks):
            return f"{base} None of the twelve looks asks for more."
        names = ", ".join(f"{row.check} ({row.number})" for row in looks.itertuples())
        return f"{base} {len(looks)} of twelve looks {'asks' if len(looks) == 1 else 'ask'} for more: {names}."

    def text(self) -> str:
        """Return the same with the remark of each look that asks for more."""
        looks = self.table[self.table["sign"] == LOOK]
        return " ".join([self.brief(), *(f"Look {row.number}: {row.remark}" for row in looks.itertuples())])

    def __repr__(self) -> str:
        looks = ", ".join(self.table.loc[self.table["sign"] == LOOK, "check"]) or "nothing"
        return f"<Diagnostics of {self.question}: to look into {looks}>"

    def _repr_html_(self) -> str:
        rows = self.table.assign(sign=[f"{row.sign}" for row in self.table.itertuples()])
        return f"<p>{html.escape(self.text())}</p>{rows.to_html(index=False, escape=True)}"


def diagnose(
    table: pd.DataFrame,
    cue: str,
    settings: Settings | None = None,
    shots: Shots | None = None,
    sets: int = 999,
    seed: int | None = None,
    level: float = 0.95,
) -> Diagnostics:
    """Return twelve looks at the model behind one cue's shift: what was found, against which limit, what it means.

    The model is the one that `cue_shifts` uses for the cue. A look that goes by chance raises its hand in about one
    of a hundred sound studies; neighbouring shots, one student left out, flow and model go by rules of their own.

    Parameters
    ----------
    table : DataFrame
        From `model_table`.
    cue : str
        One of its cues.
    settings : Settings or None
        The academy's thresholds; None: the defaults.
    shots : Shots or None
        The shots that the table was made from, for the whole way from raw rows.
    sets : int
        Sets that are simulated from the model for bands and limits, at least 199.
    seed : int or None
        Of the simulation; None draws one, which the result keeps.
    level : float
        Level of intervals and bands.

    Returns
    -------
    Diagnostics

    Raises
    ------
    DataError
        If the cue is not in the table, has no estimate (grade D, fewer than six students), or an argument is wrong.
    """
    settings = settings or Settings()
    outcome = outcome_of(table)
    asked = f"Looks at the model of {outcome} with {cue} were asked for."
    if isinstance(sets, bool) or not isinstance(sets, int) or sets < 199:
        raise DataError(asked, f"sets is {sets!r}.", "Ask for at least 199, so that one in a hundred can be told.")
    need_share(level, asked)
    mine, part, answer, students = model_of(table, cue, settings, asked)
    if seed is None:
        seed = int(np.random.SeedSequence().generate_state(1)[0])
    club = str(mine["club"].iloc[0])
    verdict = judge(part, settings, outcome, club, students)(answer.estimate, answer.se, answer.df)
    rows = mine.loc[part.rows.index]
    seen = see(part, rows, answer, outcome, club, settings, sets, seed, level)
    seen = _with_pattern(seen, mine, part, settings, level)
    looks = look_at(seen, answer, part, outcome, settings.units, verdict, level)
    return Diagnostics(
        pd.DataFrame(looks, columns=list(Look._fields)),
        seen,
        answer,
        part,
        _flow(shots, table, mine, part, students),
        cue,
        show_cues(mine, [cue])[cue],
        outcome,
        club,
        level,
        verdict,
        settings,
        seed,
    )


def _with_pattern(seen: Seen, mine: pd.DataFrame, part: Part, settings: Settings, level: float) -> Seen:
    """Return the same with the slope that is told under "for whom", where the lessons let it be told."""
    if seen.screening is None or part.grade.grade != "A":
        return seen
    slopes = pattern_shifts(mine, [part.cue], settings, level, {part.cue: part}).slopes
    if not len(slopes):
        return seen
    row = slopes.iloc[0]
    model = float(row["estimate"]), float(row["low"]), float(row["high"])
    return replace(seen, screening=replace(seen.screening, model=model))


def model_of(table: pd.DataFrame, cue: str, settings: Settings, asked: str) -> tuple[pd.DataFrame, Part, Answer, int]:
    """Return the rows of one cue's lessons, their part, the model that `cue_shifts` uses, and how many students.

    Raises
    ------
    DataError
        If the cue is not in the table or has no estimate.
    """
    mine = _lessons_of(table, cue, asked)
    part = cue_parts(mine, settings)[cue]
    students = len(paired_means(part.blocks, cue))
    answer = fit_shift(part, outcome_of(table), students, [])
    if not np.isfinite(answer.estimate):
        raise DataError(
            asked,
            f"It has no estimate: evidence grade {part.grade.grade}, {students} students with and without it.",
            f"Choose a cue with an own baseline and at least {LEAST_STUDENTS} students.",
            cue=cue,
        )
    return mine, part, answer, students


def _lessons_of(table: pd.DataFrame, cue: str, asked: str) -> pd.DataFrame:
    """Return the rows of one cue and the plain rows of its lessons."""
    on = table["on"].to_numpy() > 0
    mine = on & (table["cue"].astype("str") == cue).to_numpy()
    if not mine.any():
        known = ", ".join(sorted(set(table.loc[on, "cue"].astype("str"))))
        raise DataError(asked, f"The table holds no shot with {cue}.", f"Its cues are: {known or 'none'}.", cue=cue)
    if table["club"].nunique() > 1:
        raise DataError(asked, "The table holds more than one club.", "Ask for one club at a time.")
    lessons = table["session"].isin(table.loc[mine, "session"].unique()).to_numpy()
    return table[mine | (~on & lessons)].reset_index(drop=True)


def _flow(shots: Shots | None, table: pd.DataFrame, mine: pd.DataFrame, part: Part, students: int) -> pd.DataFrame:
    """Return the steps from rows to this model, as `plot_flow` draws them."""
    steps = [] if shots is None else flow(shots, table).iloc[:-1].to_dict("records")
    if shots is None:
        steps = [{"step": "test shots of this club", "shots": len(table), "students": table["student"].nunique()}]
    lost = len(part.rows) - len(mine)
    steps += [
        {"step": "lessons with other cues", "shots": len(mine) - len(table), "students": np.nan},
        {"step": "lessons with this cue", "shots": len(mine), "students": mine["student"].nunique()},
        {"step": "short blocks, or no plain beside the cue", "shots": lost, "students": np.nan},
        {"step": "in this model", "shots": len(part.rows), "students": students},
    ]
    return pd.DataFrame(steps, columns=["step", "shots", "students"]).astype({"students": "Int64"})
