"""For whom, and against which other cue: the shift by swing pattern (M3) and between cues (M2)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import stats

from coachlab import claims
from coachlab.cues.blocks import block_table
from coachlab.cues.ladder import base_formula
from coachlab.cues.parts import Part, cue_parts
from coachlab.cues.pattern import named_patterns
from coachlab.cues.shift import many, show_cues
from coachlab.cues.table import outcome_of
from coachlab.errors import FitError
from coachlab.mixed.estimates import contrasts
from coachlab.mixed.fit import Fit, fit_mixed
from coachlab.schema import OUTCOMES, show_club
from coachlab.settings import Settings
from coachlab.units import shown

STEEPER = {"attack_up_deg": "steeper", "path_out_deg": "further in"}
"""The side of a pattern towards which its slope is told: the negative side of the measure."""


@dataclass(frozen=True, eq=False)
class PatternShifts:
    """How the shift of a cue depends on the student's own pattern.

    Attributes
    ----------
    table : DataFrame
        ``cue pattern at estimate se df low high students``: the shift at three places of the pattern scale.
    slopes : DataFrame
        ``cue estimate se df low high students``: the extra shift for each degree of the pattern measure.
    fits, grades, notes, names : dict
        By cue: the model, the evidence grade, sentences on what could not be asked, the name on a page.
    outcome, club, measure, level : str, str, str, float
        What was asked; ``measure`` is the screening measure taken as the pattern.
    settings : Settings
        The academy's thresholds that were used.
    """

    table: pd.DataFrame
    slopes: pd.DataFrame
    fits: dict[str, Fit]
    grades: dict[str, str]
    notes: dict[str, tuple[str, ...]]
    names: dict[str, str]
    outcome: str
    club: str
    measure: str
    level: float
    settings: Settings

    def claim(self, cue: str) -> list[str]:
        """Return what may be said of one cue: the slope where the design allows it, else why not."""
        if cue not in set(self.slopes["cue"]):
            return [note for note in self.notes.get(cue, ()) if claims.matches(note, "all")]
        if self.grades[cue] != "A":
            return [claims.say("all", "no pattern at grade", {"cue": self.names[cue], "grade": self.grades[cue]})]
        row = self.slopes.set_index("cue").loc[cue]
        unit = replace(shown(self.outcome, self.settings.units), digits=2)
        values = {
            "cue": self.names[cue],
            "club": show_club(self.club),
            "outcome": OUTCOMES[self.outcome],
            "estimate": unit.text(-row["estimate"], sign=True),
            "pattern": OUTCOMES[self.measure],
            "side": STEEPER[self.measure],
            "level": f"{self.level:.0%}".replace("%", " %"),
            "low": unit.number(-row["high"], sign=True),
            "high": unit.text(-row["low"], sign=True),
            "students": int(row["students"]),
        }
        clear = row["low"] > 0 or row["high"] < 0
        return [claims.say("A", "pattern" if clear else "pattern open", values)]

    def sentences(self) -> list[str]:
        """Return what may be said, cue by cue."""
        return [*(said for cue in self.names for said in self.claim(cue)), *many(len(self.slopes), self.level)]

    def text(self) -> str:
        """Return all sentences as one text."""
        return " ".join(self.sentences())

    def _repr_html_(self) -> str:
        return self.table.to_html(index=False, escape=True, float_format="{:.2f}".format)


@dataclass(frozen=True, eq=False)
class CueContrasts:
    """Cues against each other: ``table`` has ``a b estimate se df low high students`` (a minus b)."""

    table: pd.DataFrame
    fit: Fit
    outcome: str
    level: float
    notes: tuple[str, ...] = ()

    def text(self) -> str:
        """Return in one sentence how many pairs can be told apart."""
        apart = ((self.table["low"] > 0) | (self.table["high"] < 0)).sum()
        return (
            f"{apart} of {len(self.table)} pairs of cues have an interval of their difference that leaves out zero; "
            "of the others it cannot be said which moves more."
        )

    def _repr_html_(self) -> str:
        return self.table.to_html(index=False, escape=True, float_format="{:.2f}".format)


def pattern_shifts(
    table: pd.DataFrame,
    cues: Sequence[str] | None = None,
    settings: Settings | None = None,
    level: float = 0.95,
    parts: Mapping[str, Part] | None = None,
) -> PatternShifts:
    """Return each cue's shift at three places of the pattern scale, and its slope along the scale (M3).

    The pattern is continuous: no student is put into a box, and none is split off at a median. It needs screened
    students, twenty by default; a cue with fewer has no rows and a note.

    Parameters
    ----------
    table : DataFrame
        From `model_table`.
    cues : sequence of str or None
        Which cues; None: all in the table.
    settings : Settings or None
        The academy's thresholds.
    level : float
        Level of the intervals.
    parts : mapping or None
        The table cut by cue, where `cue_shifts` has done so already (``shifts.parts``).
    """
    settings = settings or Settings()
    outcome = outcome_of(table)
    measure = str(table["pattern_of"].iloc[0])
    club = str(table["club"].iloc[0])
    parts = cue_parts(table, settings) if parts is None else parts
    asked = list(cues) if cues is not None else list(parts)
    places = named_patterns(table, measure)
    rows: list[tuple] = []
    slopes: list[tuple] = []
    fits: dict[str, Fit] = {}
    grades: dict[str, str] = {}
    notes: dict[str, tuple[str, ...]] = {}
    names = show_cues(table, asked)
    for cue in asked:
        part, remarks = parts[cue], list(parts[cue].remarks)
        grades[cue] = part.grade.grade
        mine = part.blocks[part.blocks["pattern"].notna()]
        students = mine["student"].nunique()
        if grades[cue] == "D":
            notes[cue] = (*remarks, claims.say("all", "no pattern at grade", {"cue": names[cue], "grade": "D"}))
            continue
        if students < settings.pattern_students:
            said = {"cue": names[cue], "students": students, "needed": settings.pattern_students}
            notes[cue] = (*remarks, claims.say("all", "no pattern", said))
            continue
        formula = base_formula(mine, outcome, remarks, part.rows).replace("~ on", "~ on + pat_c + on_pat")
        known = part.rows[part.rows["pat_c"].notna()]
        # the product as a column of its own: reading it from the formula would cost as much as half the fit
        fit = fit_mixed(formula, known.assign(on_pat=known["on"] * known["pat_c"]))
        slope = np.array([[name == "on_pat" for name in fit.terms]], float)
        shift = np.array([[name == "on" for name in fit.terms]], float)
        found = fit.inference.linear(
            np.vstack([shift + places["pat_c"].to_numpy()[:, None] * slope, slope]), "satterthwaite", level
        )
        df = np.minimum(found["df"], students - 2)
        half = stats.t.ppf((1 + level) / 2, df) * found["se"]
        low, high = found["estimate"] - half, found["estimate"] + half
        answers = list(zip(found["estimate"], found["se"], df, low, high, strict=True))
        for name, at, answer in zip(places["pattern"], places["at"], answers, strict=False):
            rows.append((cue, name, at, *answer, students))
        slopes.append((cue, *answers[-1], students))
        fits[cue], notes[cue] = fit, tuple(remarks)
    tail = ["estimate", "se", "df", "low", "high", "students"]
    return PatternShifts(
        pd.DataFrame(rows, columns=["cue", "pattern", "at", *tail]),
        pd.DataFrame(slopes, columns=["cue", *tail]),
        fits,
        grades,
        notes,
        names,
        outcome,
        club,
        measure,
        level,
        settings,
    )


def between_cues(table: pd.DataFrame, settings: Settings | None = None, level: float = 0.95) -> CueContrasts:
    """Return every pair of cues against each other, from one model of all lessons (M2).

    Each student's own slope and each student's own answer to each cue are in the model, the latter with one SD for
    setup and one for intent cues. Headline shifts come from `cue_shifts`, cue by cue.

    Raises
    ------
    FitError
        If the table holds fewer than two cues.
    """
    settings = settings or Settings()
    outcome = outcome_of(table)
    blocks = block_table(table)
    cues = sorted(blocks.loc[blocks["on"] > 0, "cue"].unique())
    if len(cues) < 2:
        raise FitError(
            f"Cues were to be compared in {outcome}.",
            f"The table holds {len(cues)} cue.",
            "Make the table with two cues or more.",
        )
    remarks: list[str] = []
    base = base_formula(blocks, outcome, remarks, table)
    families = [name for name in ("on_setup", "on_intent") if table[name].any()]
    own = "".join(f" + (0 + {name} | student:cue)" for name in families)
    formula = base.replace("~ on", "~ cue", 1).replace("(1 + on | student)", f"(1 + on | student){own}")
    fit = fit_mixed(formula, table)
    found = contrasts(fit, "cue", against=None, level=level).table
    found = found[(found["a"] != "plain") & (found["b"] != "plain")].reset_index(drop=True)
    counts = blocks[blocks["on"] > 0].groupby("cue")["student"].agg(set)
    found["students"] = [len(counts[a] & counts[b]) for a, b in zip(found["a"], found["b"], strict=True)]
    kept = ["a", "b", "estimate", "se", "df", "low", "high", "students"]
    return CueContrasts(found[kept], fit, outcome, level, tuple(remarks))
