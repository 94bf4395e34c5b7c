"""Free and earned: how much of a path shift the arc gives with the change of attack, and how much turning it takes.

Attack and path hang together by the arc (`physics.arc`). Each student's own pair of shifts is split, so that the
interval of a part comes from students as that of any shift does; the incline of the arc is an assumption of its own,
and its band is shown beside the interval, never mixed into it.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from coachlab import claims
from coachlab.cues.ladder import LEAST_STUDENTS
from coachlab.errors import DataError
from coachlab.schema import show_club
from coachlab.settings import Settings
from coachlab.units import Shown, shown

PARTS = ("attack", "path", "free", "earned")
COLUMNS = (
    "cue", "part", "estimate", "se", "df", "low", "high", "band_low", "band_high", "students", "grade",
)  # fmt: skip
STUDENT_COLUMNS = (
    "cue", "student", "attack_from_deg", "attack_to_deg", "path_shift_deg",
    "free_deg", "free_flat_deg", "free_steep_deg", "free_se_deg",
    "earned_deg", "earned_flat_deg", "earned_steep_deg", "earned_se_deg", "incline_deg",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class FreeEarned:
    """The attack and path shift of every cue, the path shift in its two parts; degrees, up and out positive.

    Attributes
    ----------
    table : DataFrame
        Four rows a cue, one a part (`PARTS`): `COLUMNS`. ``estimate`` is the mean over students with its interval (t,
        students less one); ``band_low`` and ``band_high`` are the estimate for an incline ``band_deg`` either way. Free
        and earned add up to path. A cue of fewer than six students, or of grade D, has no estimate.
    students : DataFrame
        One row a student and cue: `STUDENT_COLUMNS`. ``*_se_deg`` is one student's error from how blocks of one kind
        differ, over all students together; missing where nobody has two blocks of a kind. ``*_flat_deg`` and
        ``*_steep_deg`` are for an incline ``band_deg`` lower and higher.
    wobble_df : dict
        By cue: the degrees of freedom of these errors.
    hidden : tuple of str
        Cues that are left out since fewer students than a small group tried them.
    names, club, incline_deg, measured, band_deg, level, settings
        What was asked; ``incline_deg`` is the head's typical one, taken where a student's own was not ``measured``
        (the number of students with an own one).
    """

    table: pd.DataFrame
    students: pd.DataFrame
    wobble_df: dict[str, int]
    hidden: tuple[str, ...]
    names: dict[str, str]
    club: str
    incline_deg: float
    measured: int
    band_deg: float
    level: float
    settings: Settings

    @property
    def cues(self) -> list[str]:
        """The cues in the table's order."""
        return list(dict.fromkeys(self.table["cue"]))

    def sentences(self) -> list[str]:
        """Return what may be said, from the closed list: one sentence a cue, then what the split rests on."""
        said = [self.claim(cue) for cue in self.cues]
        if self.hidden:
            said.append(claims.say("all", "split hidden", {"least": self.settings.small_group_students}))
        return [*said, claims.say("all", "split basis", self._basis())]

    def claim(self, cue: str) -> str:
        """Return what may be said of one cue."""
        rows = self.table[self.table["cue"] == cue].set_index("part")
        path, grade = rows.loc["path"], str(rows["grade"].iloc[0])
        values = {
            "cue": self.names[cue],
            "club": show_club(self.club),
            "students": int(path["students"]),
            "needed": LEAST_STUDENTS,
            "grade": grade,
            "level": f"{self.level * 100:g} %",
        }
        if grade == "D":
            return claims.say("all", "split at grade", values)
        if not np.isfinite(path["estimate"]):
            return claims.say("all", "few", values)
        unit = shown("path_out_deg", self.settings.units)
        for part in PARTS:
            values[part] = unit.text(rows.loc[part, "estimate"], sign=True)
            values[f"{part}_low"] = unit.number(rows.loc[part, "low"], sign=True)
            values[f"{part}_high"] = unit.text(rows.loc[part, "high"], sign=True)
        values["band"] = unit.span(rows.loc["earned", "band_low"], rows.loc["earned", "band_high"], sign=True)
        values["incline"] = f"{self.band_deg:g}°"
        return claims.say(grade, "split", values)

    def of_student(self, student: str) -> pd.DataFrame:
        """Return one student's own splits, one row a cue, with the ``level`` ends of each part.

        Columns ``cue attack path free free_low free_high earned earned_low earned_high``, degrees; the ends are missing
        where a lesson had one block of each kind only.

        Raises
        ------
        DataError
            If the student has no lesson with plain and cue shots of this club.
        """
        mine = self.students[self.students["student"].astype("str") == str(student)]
        if not len(mine):
            raise DataError(
                f"Free and earned of student {student} with {show_club(self.club)} were asked for.",
                "There is no lesson of theirs with enough plain and cue shots of that club.",
                "Choose another club or student; `students` lists those who have one.",
                student=str(student),
            )
        df = np.array([self.wobble_df[cue] for cue in mine["cue"]], float)
        t = stats.t.ppf((1 + self.level) / 2, np.where(df > 0, df, np.nan))
        return pd.DataFrame(
            {
                "cue": mine["cue"].to_numpy(),
                "attack": (mine["attack_to_deg"] - mine["attack_from_deg"]).to_numpy(),
                "path": mine["path_shift_deg"].to_numpy(),
                **{
                    name: mine[f"{part}_deg"].to_numpy() + sign * t * mine[f"{part}_se_deg"].to_numpy()
                    if sign
                    else mine[f"{part}_deg"].to_numpy()
                    for part in ("free", "earned")
                    for name, sign in ((part, 0), (f"{part}_low", -1), (f"{part}_high", 1))
                },
            }
        )

    def student_sentences(self, student: str) -> list[str]:
        """Return one student's own splits in sentences; they say what was measured, and nothing of other students."""
        unit = shown("path_out_deg", self.settings.units)
        said = [claims.say("all", "split of ones", {})]
        for row in self.of_student(student).itertuples():
            values = {
                "cue": self.names[row.cue],
                "level": f"{self.level * 100:g} %",
                **{part: unit.text(getattr(row, part), sign=True) for part in PARTS},
                "low": unit.number(row.earned_low, sign=True),
                "high": unit.text(row.earned_high, sign=True),
            }
            known = np.isfinite(row.earned_low)
            said.append(claims.say("all", "split of one" if known else "split of one, no error", values))
        return said

    def text(self) -> str:
        """Return all sentences as one text."""
        return " ".join(self.sentences())

    def __repr__(self) -> str:
        return f"<FreeEarned with {self.club}: {', '.join(self.cues)}>"

    def _repr_html_(self) -> str:
        unit = shown("path_out_deg", self.settings.units)
        rows = []
        for cue in self.cues:
            part = self.table[self.table["cue"] == cue].set_index("part")
            line: dict[str, object] = {"cue": self.names[cue]}
            for name in PARTS:
                line[f"{name} ({unit.unit})"] = _with_ends(unit, *part.loc[name, ["estimate", "low", "high"]])
            band = part.loc["earned"]
            line[f"earned if the incline is {self.band_deg:g}° off"] = (
                f"{unit.number(band['band_low'], sign=True)} to {unit.number(band['band_high'], sign=True)}"
                if np.isfinite(band["estimate"])
                else "–"
            )
            line["students"] = int(part["students"].iloc[0])
            line["grade"] = part["grade"].iloc[0]
            rows.append(line)
        said = "".join(f"<p>{sentence}</p>" for sentence in self.sentences()[-1:])
        return pd.DataFrame(rows).to_html(index=False, escape=True) + said

    def _basis(self) -> dict[str, object]:
        total = int(self.students["student"].nunique())
        own = f"measured for {self.measured} of {total} students, " if self.measured else ""
        return {
            "club": show_club(self.club),
            "incline": f"{own}{self.incline_deg:g}° assumed{' for the rest' if self.measured else ''}",
            "band": f"{self.band_deg:g}°",
            "level": f"{self.level * 100:g} %",
        }


def _with_ends(unit: Shown, value: float, low: float, high: float) -> str:
    if not np.isfinite(value):
        return "–"
    number, *ends = (unit.number(each, sign=True) for each in (value, low, high))
    return f"{number} ({' to '.join(ends)})"
