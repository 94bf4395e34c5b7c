"""How far each cue moves an outcome from the student's own plain swing, over many students.

The shift is the student's cue mean minus the same student's plain mean, same lesson, same club. The student is the
unit of evidence: every model here has a cue slope for each student, and every N that is shown counts students.
"""

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from coachlab import claims
from coachlab.cues.blocks import paired_means
from coachlab.cues.grade import Grade
from coachlab.cues.ladder import LEAST_STUDENTS, Answer, Ladder, fit_shift
from coachlab.cues.parts import Part, cue_parts
from coachlab.cues.table import outcome_of
from coachlab.cues.verdict import study_verdict
from coachlab.errors import DataError, need_share
from coachlab.mixed.fit import Fit
from coachlab.mixed.newcomer import new_level, tested_coverage
from coachlab.schema import OUTCOMES, show_club
from coachlab.settings import Settings
from coachlab.units import shown
from coachlab.worth.useful import flown_settings, say_useful

COLUMNS = ("cue", "estimate", "se", "df", "low", "high", "students", "verdict", "grade")
SPREAD = ("cue", "slope_sd", "see_low", "see_high", "own_low", "own_high", "shots", "df_model", "model", "rung")
USUAL_SPREADS = {
    "attack_up_deg": 1.0,
    "path_out_deg": 1.5,
    "face_open_deg": 1.0,
    "face_to_path_deg": 1.0,
    "club_speed_mps": 0.5,
    "carry_m": 4.0,
}
"""How far students may differ in their answer to a cue without surprise, in the outcome's unit; all assumed."""


@dataclass(frozen=True, eq=False)
class CueShifts:
    """The average shift of each cue, with what stands behind it.

    Attributes
    ----------
    table : DataFrame
        One row a cue: ``cue estimate se df low high students verdict grade``; the outcome's own unit.
    spread : DataFrame
        One row a cue: ``cue``, ``slope_sd`` (student-to-student SD of the shift), ``see_low``, ``see_high`` (90 % range
        of the shift that the next similar student would show in such a lesson), ``own_low``, ``own_high`` (nominal 90 %
        range of that student's own mean shift, the chance of single blocks taken away), ``shots``, ``df_model``,
        ``model``, ``rung`` (of the ladder).
    students : DataFrame
        One row a student and cue: ``cue student coach pattern plain cued shift shots``; means over blocks.
    fits, grades, parts : dict
        By cue: the fitted model (None where none was offered), the evidence grade, the lessons behind both.
    notes : dict
        By cue: sentences on what was left out or to be minded, those of the ladder included.
    ladders : dict
        By cue: the rungs that its model stepped down, and why.
    names : dict
        By cue: what it is called on a page, its id with the name on its card.
    outcome, club, level : str, str, float
        What was asked.
    settings : Settings
        The academy's thresholds that were used.
    """

    table: pd.DataFrame
    spread: pd.DataFrame
    students: pd.DataFrame
    fits: dict[str, Fit | None]
    grades: dict[str, Grade]
    parts: dict[str, Part]
    notes: dict[str, tuple[str, ...]]
    ladders: dict[str, Ladder]
    names: dict[str, str]
    outcome: str
    club: str
    level: float
    settings: Settings

    def sentences(self) -> list[str]:
        """Return what may be said: of each cue from the closed list of its grade, then of all of them."""
        return [*(said for cue in self.table["cue"] for said in self.claim(cue)), *self.of_all()]

    def of_all(self) -> list[str]:
        """Return the sentences that concern no cue alone: coaches, chance, what is useful, the population."""
        said: list[str] = []
        shown_intervals = int(np.isfinite(self.table["estimate"]).sum())
        coaches = self._coaches_left_out()
        if coaches:
            said.append(claims.say("all", "coaches" if coaches > 1 else "one coach", {"coaches": coaches}))
        said += many(shown_intervals, self.level)
        if shown_intervals:
            values = say_useful(self.settings, self.outcome, self.club)
            said.append(claims.say("all", values["kind"], values))
        return [*said, claims.say("all", "population", {"academy": self.settings.name})]

    def _coaches_left_out(self) -> int:
        """Return how many coaches stand behind the cues whose model has no spread between coaches; 0 where all have."""
        answered = set(self.table.loc[np.isfinite(self.table["estimate"]), "cue"])
        left = self.spread.loc[~self.spread["model"].str.contains("| coach)", regex=False), "cue"]
        return self.students.loc[self.students["cue"].isin(answered & set(left)), "coach"].nunique()

    def claim(self, cue: str) -> list[str]:
        """Return the sentences that may be said of one cue, from the closed list of its grade."""
        row = self.table.set_index("cue").loc[cue]
        extra = self.spread.set_index("cue").loc[cue]
        unit = shown(self.outcome, self.settings.units)
        values: dict[str, object] = {
            "academy": self.settings.name,
            "cue": self.names[cue],
            "club": show_club(self.club),
            "outcome": OUTCOMES[self.outcome],
            "students": row["students"],
            "shots": f"{extra['shots']:,}",
            "level": f"{self.level:.0%}".replace("%", " %"),
            "needed": LEAST_STUDENTS,
        }
        if row["grade"] == "D":
            return [claims.say("D", "count", values)]
        if not np.isfinite(row["estimate"]):
            return [claims.say("all", "few", values)]
        clear = row["low"] > 0 or row["high"] < 0
        size = abs(row["estimate"]) if clear else row["estimate"]
        ends = sorted((row["low"], row["high"]))
        if clear and row["high"] < 0:
            ends = [-end for end in reversed(ends)]
        values |= {
            "estimate": unit.text(size, sign=not clear),
            "low": unit.number(ends[0], sign=not clear),
            "high": unit.text(ends[1], sign=not clear),
            "verb": claims.verb(self.outcome, row["estimate"]),
            "way": claims.way(self.outcome, row["estimate"]),
            "verdict": row["verdict"],
            "state": claims.state(self.outcome, row["estimate"]),
        }
        kind = "moved" if clear else "leaning" if row["verdict"] in ("useful", "wrong way") else "open"
        if row["verdict"] == "too small":
            half = stats.t.ppf(0.95, row["df"]) * row["se"]
            values |= {
                "low": unit.number(row["estimate"] - half, sign=True),
                "high": unit.text(row["estimate"] + half, sign=True),
                "useful": unit.text(self.settings.smallest_useful_shift(self.outcome, self.club)),
            }
            kind = "small"
        said = [claims.say(row["grade"], kind, values)]
        if row["grade"] in "AB" and np.isfinite(extra["see_low"]):
            seen = {"low": unit.number(extra["see_low"], sign=True), "high": unit.text(extra["see_high"], sign=True)}
            said.append(claims.say(row["grade"], "seen", seen))
        if row["grade"] in "AB" and np.isfinite(extra["own_low"]):
            own = {"low": unit.number(extra["own_low"], sign=True), "high": unit.text(extra["own_high"], sign=True)}
            said.append(claims.say(row["grade"], "own", own | {"tested": say_tested(row["students"])}))
        return said

    def text(self) -> str:
        """Return all sentences as one text."""
        return " ".join(self.sentences())

    def __repr__(self) -> str:
        return f"<CueShifts of {self.outcome} with {self.club}: {', '.join(self.table['cue'])}>"

    def _repr_html_(self) -> str:
        unit = shown(self.outcome, self.settings.units)
        rows = pd.DataFrame(
            {
                "cue": self.table["cue"],
                f"shift ({unit.unit})": [unit.number(value, sign=True) for value in self.table["estimate"]],
                f"{self.level:.0%} interval": [
                    f"{unit.number(low, sign=True)} to {unit.number(high, sign=True)}"
                    for low, high in zip(self.table["low"], self.table["high"], strict=True)
                ],
                "students": self.table["students"],
                "verdict": self.table["verdict"].replace("", "–"),
                "grade": self.table["grade"],
            }
        )
        notes = "".join(
            f"<li>{html.escape(', '.join(self.names[cue] for cue in cues))}: {html.escape(note)}</li>"
            for note, cues in by_note({cue: self.notes[cue] for cue in self.names}).items()
        )
        return rows.to_html(index=False, escape=True) + (f"<ul>{notes}</ul>" if notes else "")


def cue_shifts(
    table: pd.DataFrame,
    settings: Settings | None = None,
    direction: int | None = None,
    level: float = 0.95,
    scale: float | None = None,
) -> CueShifts:
    """Return the average shift of each cue in a model table, each from a model of its own lessons (M1).

    Parameters
    ----------
    table : DataFrame
        From `model_table`: one outcome, one club, any number of cues.
    settings : Settings or None
        The academy's: the smallest useful shifts that it has not set come from the flight model
        (`worth.useful.flown_settings`). None: no academy, all defaults.
    direction : {1, -1} or None
        Which way is wanted; None: the way each cue is meant to move this outcome. A cue whose card does not name the
        outcome has no wanted way, and is called neither useful nor the wrong way.
    level : float
        Level of the intervals, 0 to 1.
    scale : float or None
        How far students may differ in their answer to a cue without surprise, in the outcome's unit: the scale of the
        prior behind ``own_low`` and ``own_high``; None: that of `USUAL_SPREADS`.

    Returns
    -------
    CueShifts
        Its ``table`` has the columns `COLUMNS`. A cue without an own baseline (grade D) or with fewer than six
        students has no estimate; one with fewer than eight has no verdict.

    Raises
    ------
    DataError
        If the table holds no cue, or an argument is out of range.
    """
    outcome = outcome_of(table)
    club = str(table["club"].iloc[0]) if len(table) else ""
    _refuse(table, outcome, direction, level, scale)
    settings = Settings() if settings is None else flown_settings(settings, club, *_usual_blow(table))
    parts = cue_parts(table, settings)
    rows, spreads, pairs = [], [], []
    fits: dict[str, Fit | None] = {}
    notes: dict[str, tuple[str, ...]] = {}
    ladders: dict[str, Ladder] = {}
    scale = USUAL_SPREADS[outcome] if scale is None else scale
    useful = settings.smallest_useful_shift(outcome, club)
    for cue, part in parts.items():
        grade, mine, remarks = part.grade.grade, part.blocks, list(part.remarks)
        paired = paired_means(mine, cue)
        answer = fit_shift(part, outcome, len(paired), remarks)
        low, high = _interval(answer.estimate, answer.se, answer.df, level)
        verdict = study_verdict(
            answer.estimate,
            answer.se,
            answer.df,
            useful,
            len(paired),
            grade,
            settings.verdict_students,
            direction or _aim(mine),
        )
        seen = raw_range(paired["shift"].to_numpy()) if len(paired) >= settings.spread_students else (np.nan, np.nan)
        students = len(paired) if grade != "D" else mine["student"].nunique()
        rows.append((cue, answer.estimate, answer.se, answer.df, low, high, students, verdict, grade))
        own = _own_range(answer, len(paired), settings.spread_students, scale)
        rung = answer.ladder.rung
        spreads.append((cue, answer.slope_sd, *seen, *own, len(part.rows), answer.df_model, answer.model, rung))
        pairs.append(paired)
        fits[cue], notes[cue], ladders[cue] = answer.fit, tuple(remarks), answer.ladder
    return CueShifts(
        pd.DataFrame(rows, columns=list(COLUMNS)),
        pd.DataFrame(spreads, columns=list(SPREAD)),
        pd.concat(pairs, ignore_index=True),
        fits,
        {cue: part.grade for cue, part in parts.items()},
        parts,
        notes,
        ladders,
        show_cues(table, list(parts)),
        outcome,
        club,
        level,
        settings,
    )


def raw_range(shift: np.ndarray) -> tuple[float, float]:
    """Return the 90 % range of the next student's observed shift, from the raw differences, t with N - 1 df."""
    n = len(shift)
    half = stats.t.ppf(0.95, n - 1) * shift.std(ddof=1) * np.sqrt(1 + 1 / n)
    return shift.mean() - half, shift.mean() + half


def by_note(notes: Mapping[str, Sequence[str]]) -> dict[str, list[str]]:
    """Return the cues of each remark, so that one that concerns several is said once."""
    found: dict[str, list[str]] = {}
    for cue, remarks in notes.items():
        for remark in remarks:
            found.setdefault(remark, []).append(cue)
    return found


def say_tested(students: int) -> str:
    """Return how often the range of a next student's own shift held in tests, for a study of so many students."""
    found = tested_coverage("new level", 0.9, students)
    if found is None:
        return "90 % nominal, untested for so few students"
    usual, *_, tested = found
    return f"90 % nominal, about {100 * usual:.0f} % in tests at N = {tested}"


def many(tests: int, level: float) -> list[str]:
    """Return the sentence on how many intervals would leave out zero by chance; none for a single one."""
    if tests < 2:
        return []
    return [claims.say("all", "many", {"tests": tests, "chance": f"{tests * (1 - level):.1f}"})]


def show_cues(table: pd.DataFrame, cues: Sequence[str]) -> dict[str, str]:
    """Return what each cue is called on a page: its id, with the name on its card where the table knows it."""
    if "cue_name" not in table.columns:
        return {cue: cue for cue in cues}
    first = table.loc[~table["cue"].duplicated(), ["cue", "cue_name"]]
    names = dict(zip(first["cue"].astype("str"), first["cue_name"], strict=True))
    return {cue: cue if pd.isna(names[cue]) or names[cue] == cue else f"{cue} {names[cue]}" for cue in cues}


def _refuse(table: pd.DataFrame, outcome: str, direction: int | None, level: float, scale: float | None) -> None:
    asked = f"Shifts of {outcome} were asked for."
    if direction not in (None, 1, -1):
        raise DataError(asked, f"direction is {direction!r}.", "Pass 1 (up, out), -1 or None.")
    need_share(level, asked)
    if scale is not None and not (isinstance(scale, int | float | np.number) and np.isfinite(scale) and scale > 0):
        raise DataError(asked, f"scale is {scale!r}.", "Pass a spread between students above 0, or None.")
    if not (table["on"] > 0).any():
        raise DataError(asked, "The table holds no cue shots.", "Make it with model_table, with a cue that was used.")
    if table["club"].nunique() > 1:
        raise DataError(asked, "The table holds more than one club.", "Ask for one club at a time.")


def _usual_blow(table: pd.DataFrame) -> tuple[float, float]:
    """Return the students' usual club speed and loft with the club, missing where the table does not know them."""
    names = ("usual_speed_mps", "usual_loft_deg")
    speed, loft = (float(table[name].iloc[0]) if name in table else np.nan for name in names)
    return speed, loft


def _aim(blocks: pd.DataFrame) -> int:
    if "direction" not in blocks or not len(blocks):
        return 1
    return int(blocks["direction"].to_numpy()[blocks["on"].to_numpy() > 0][0])


def _interval(estimate: float, se: float, df: float, level: float) -> tuple[float, float]:
    half = stats.t.ppf((1 + level) / 2, df) * se if np.isfinite(se) else np.nan
    return estimate - half, estimate + half


def _own_range(answer: Answer, students: int, least: int, scale: float) -> tuple[float, float]:
    """Return the range of the next student's own shift; none where block noise cannot be told from their spread."""
    ladder = answer.ladder.table
    if answer.fit is None or students < least or "one block" in set(ladder["rung"]):
        return np.nan, np.nan
    slope = next(name for term in answer.fit.problem.terms for name in term.names if name in ("on", "on_h"))
    found = new_level(answer.fit, "on", "student", scale, slope, level=0.9)
    return found.low, found.high
