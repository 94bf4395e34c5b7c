"""Free and earned: how much of a path shift the arc gives with the change of attack, and how much turning it takes.

Attack and path hang together by the arc (`physics.arc`). Each student's own pair of shifts is split, so that the
interval of a part comes from students as that of any shift does; the incline of the arc is an assumption of its own,
and its band is shown beside the interval, never mixed into it.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from coachlab import claims
from coachlab.cues.ladder import LEAST_STUDENTS
from coachlab.cues.parts import Part, cue_parts
from coachlab.cues.shift import show_cues
from coachlab.cues.table import model_table
from coachlab.errors import DataError
from coachlab.intake.shots import Shots, is_usable
from coachlab.physics.arc import ARCS, path_from_arc
from coachlab.schema import CLUBS, show_club
from coachlab.settings import Settings
from coachlab.units import Shown, shown
from coachlab.worth.arc import INCLINE_BAND_DEG

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
        values["band_low"] = unit.number(rows.loc["earned", "band_low"], sign=True)
        values["band_high"] = unit.text(rows.loc["earned", "band_high"], sign=True)
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
        said = []
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


def free_and_earned(
    shots: Shots | pd.DataFrame,
    club: str = "iron-7",
    cues: pd.DataFrame | list[str] | None = None,
    incline_deg: float | None = None,
    band_deg: float = INCLINE_BAND_DEG,
    settings: Settings | None = None,
    level: float = 0.95,
) -> FreeEarned:
    """Return every cue's path shift in the part that came free with the attack change and the part that was earned.

    Parameters
    ----------
    shots : Shots or DataFrame
        Cleaned shots with their lesson log joined.
    club : str
        One club.
    cues : DataFrame, list of str or None
        As `model_table`.
    incline_deg : float or None
        Incline of everybody's arc from the ground, degrees; None: each student's own where ``arc_incline_deg`` was
        measured (mean of their plain shots), else the head's typical one.
    band_deg : float
        How far the incline may be off; everybody's at once.
    settings : Settings or None
        The academy's.
    level : float
        Level of the intervals.

    Returns
    -------
    FreeEarned

    Raises
    ------
    DataError
        If attack, path or the lesson log is missing, no lesson fits, or the incline, its band or the level is out of
        range.

    Notes
    -----
    free = -(change of asin(tan attack / tan incline)) from the student's plain to cue mean of attack; earned = path
    shift - free, which is the turn of the arc's azimuth. Means of students' own splits, with t intervals on students
    less one; the mixed models of `cue_shifts` give the same path shift up to their weighting of lost blocks.
    """
    settings = settings or Settings()
    asked = f"Free and earned parts of path shifts with {show_club(club)} were asked for."
    if club not in CLUBS:
        raise DataError(
            asked, f"{club!r} is no club of ours.", "Choose one of schema.CLUBS, as in 'iron-7'.", club=club
        )
    if not 0 < level < 1:
        raise DataError(asked, f"level is {level!r}.", "Give a level between 0 and 1, as .95.")
    usual = ARCS[CLUBS[club]].incline_deg if incline_deg is None else incline_deg
    if not 0 <= band_deg < usual <= 90 - band_deg:
        raise DataError(
            asked,
            f"The incline is {usual!r} degrees, with a band of {band_deg!r}.",
            "Give an incline in degrees between the band and 90 less the band.",
        )
    tables = [model_table(shots, outcome, club, cues) for outcome in ("attack_up_deg", "path_out_deg")]
    attack, path = (cue_parts(table, settings) for table in tables)
    own = {} if incline_deg is not None else _own_inclines(shots, club)
    rows, students, wobble, hidden = [], [], {}, []
    for cue in [cue for cue in path if cue in attack]:
        grade = max(attack[cue].grade.grade, path[cue].grade.grade)
        blocks = _both(attack[cue], path[cue])
        mine, df = _students(cue, blocks, usual, own, band_deg)
        count = len(mine) if grade != "D" else int(blocks["student"].nunique())
        if count < settings.small_group_students:
            hidden.append(cue)
            continue
        rows += _rows(cue, mine, count, grade, level)
        students.append(mine)
        wobble[cue] = df
    kept = list(wobble)
    together = pd.concat(students, ignore_index=True) if students else pd.DataFrame(columns=list(STUDENT_COLUMNS))
    return FreeEarned(
        pd.DataFrame(rows, columns=[*COLUMNS]),
        together,
        wobble,
        tuple(hidden),
        show_cues(tables[1], kept),
        club,
        float(usual),
        len(set(own) & set(together["student"])),
        float(band_deg),
        level,
        settings,
    )


def _with_ends(unit: Shown, value: float, low: float, high: float) -> str:
    if not np.isfinite(value):
        return "–"
    number, *ends = (unit.number(each, sign=True) for each in (value, low, high))
    return f"{number} ({' to '.join(ends)})"


def _both(attack: Part, path: Part) -> pd.DataFrame:
    """Return one row a block with both means: ``student on attack path``."""
    first = attack.blocks[["block", "student", "on", "mean"]].rename(columns={"mean": "attack"})
    return first.merge(path.blocks[["block", "mean"]].rename(columns={"mean": "path"}), on="block")


def _own_inclines(shots: Shots | pd.DataFrame, club: str) -> dict[str, float]:
    """Return the mean measured incline of each student's plain shots with the club; empty where none was measured."""
    table = shots.table if isinstance(shots, Shots) else shots
    if "arc_incline_deg" not in table:
        return {}
    rows = is_usable(table) & (table["club"].astype("str") == club) & table["arc_incline_deg"].between(30, 80)
    rows &= table["phase"].astype("str").isin(("screen", "plain"))
    means = table[rows].groupby(table["student"].astype("str"))["arc_incline_deg"].mean()
    return {str(student): float(value) for student, value in means.items()}


def _students(
    cue: str, blocks: pd.DataFrame, usual: float, own: Mapping[str, float], band: float
) -> tuple[pd.DataFrame, int]:
    """Return each student's own split (means of block means), and the degrees of freedom of its error."""
    both = blocks.groupby("student")["on"].transform("nunique") == 2
    blocks = blocks[both].reset_index(drop=True)
    if not len(blocks):
        return pd.DataFrame(columns=list(STUDENT_COLUMNS)), 0
    kinds = blocks.groupby(["student", "on"])
    means, counts = kinds[["attack", "path"]].mean().unstack("on"), kinds.size().unstack("on")
    names = means.index.astype("str")
    start, end = (means["attack"][on].to_numpy(float) for on in (0.0, 1.0))
    shift = (means["path"][1.0] - means["path"][0.0]).to_numpy(float)
    incline = np.array([own.get(name, usual) for name in names])
    free, flat, steep = (
        np.asarray(path_from_arc(0.0, end, incline + off)) - np.asarray(path_from_arc(0.0, start, incline + off))
        for off in (0.0, -band, band)
    )
    errors, df = _errors(blocks, counts, blocks["student"].astype("str").map(dict(zip(names, incline, strict=True))))
    found = {
        "cue": cue, "student": names, "attack_from_deg": start, "attack_to_deg": end, "path_shift_deg": shift,
        "free_deg": free, "free_flat_deg": flat, "free_steep_deg": steep, "free_se_deg": errors[0],
        "earned_deg": shift - free, "earned_flat_deg": shift - flat, "earned_steep_deg": shift - steep,
        "earned_se_deg": errors[1], "incline_deg": incline,
    }  # fmt: skip
    return pd.DataFrame(found)[list(STUDENT_COLUMNS)], df


def _errors(blocks: pd.DataFrame, counts: pd.DataFrame, incline: pd.Series) -> tuple[list[np.ndarray], int]:
    """Return one student's error of free and of earned, and its degrees of freedom.

    From how blocks of one kind and student differ, all students together: two blocks of one student could not tell it.
    """
    free = pd.Series(np.asarray(path_from_arc(0.0, blocks["attack"].to_numpy(float), incline.to_numpy(float))))
    kind = [blocks["student"], blocks["on"]]
    df = len(blocks) - counts.size
    a_shift = np.sqrt((1 / counts).sum(axis=1).to_numpy(float))
    if not df:
        return [np.full(len(counts), np.nan)] * 2, 0
    off = [each - each.groupby(kind).transform("mean") for each in (free, blocks["path"] - free)]
    return [a_shift * np.sqrt(float((one**2).sum()) / df) for one in off], df


def _rows(cue: str, mine: pd.DataFrame, students: int, grade: str, level: float) -> list[tuple]:
    """Return the four rows of a cue: means over students with t intervals, and their ends over the incline's band."""
    attack = (mine["attack_to_deg"] - mine["attack_from_deg"]).to_numpy(float)
    path = mine["path_shift_deg"].to_numpy(float)
    values = {
        "attack": (attack, attack, attack),
        "path": (path, path, path),
        **{
            part: tuple(mine[f"{part}{end}_deg"].to_numpy(float) for end in ("", "_flat", "_steep"))
            for part in PARTS[2:]
        },
    }
    if grade == "D" or len(mine) < LEAST_STUDENTS:
        return [(cue, part, *[np.nan] * 7, students, grade) for part in PARTS]
    df = len(mine) - 1
    t = float(stats.t.ppf((1 + level) / 2, df))
    rows = []
    for part, each in values.items():
        mean, *ends = (float(one.mean()) for one in each)
        se = float(each[0].std(ddof=1) / np.sqrt(len(mine)))
        rows.append((cue, part, mean, se, df, mean - t * se, mean + t * se, min(ends), max(ends), students, grade))
    return rows
