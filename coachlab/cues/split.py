"""Each student's own path shift in its free and its earned part, and their means by cue: how `FreeEarned` is made."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy import stats

from coachlab.cues.earned import COLUMNS, PARTS, STUDENT_COLUMNS, FreeEarned
from coachlab.cues.ladder import LEAST_STUDENTS
from coachlab.cues.parts import Part, cue_parts
from coachlab.cues.shift import show_cues
from coachlab.cues.table import model_table
from coachlab.errors import DataError
from coachlab.intake.clubs import refuse_club
from coachlab.intake.shots import Shots, is_usable, shots_table
from coachlab.physics.arc import ARCS, path_from_arc
from coachlab.physics.ops import said
from coachlab.schema import CLUBS
from coachlab.schema import COLUMNS as SCHEMA
from coachlab.settings import Settings
from coachlab.worth.arc import INCLINE_BAND_DEG
from coachlab.worth.model import number


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
    asked = "Free and earned parts of path shifts were asked for."
    refuse_club(asked, club)
    if not 0 < number(asked, "level", level) < 1:
        raise DataError(asked, f"level is {said(level)}.", "Give a level between 0 and 1, as .95.")
    usual = ARCS[CLUBS[club]].incline_deg if incline_deg is None else number(asked, "incline_deg", incline_deg)
    band_deg = number(asked, "band_deg", band_deg)
    if not 0 <= band_deg < usual <= 90 - band_deg:
        raise DataError(
            asked,
            f"The incline is {usual:g} degrees, with a band of {band_deg:g}.",
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
        students += [mine] if len(mine) else []
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


def _both(attack: Part, path: Part) -> pd.DataFrame:
    """Return one row a block with both means: ``student on attack path``."""
    first = attack.blocks[["block", "student", "on", "mean"]].rename(columns={"mean": "attack"})
    return first.merge(path.blocks[["block", "mean"]].rename(columns={"mean": "path"}), on="block")


def _own_inclines(shots: Shots | pd.DataFrame, club: str) -> dict[str, float]:
    """Return the mean measured incline of each student's plain shots with the club; empty where none was measured."""
    table = shots_table(shots, "Measured inclines were looked for.")
    if "arc_incline_deg" not in table:
        return {}
    known = SCHEMA["arc_incline_deg"]
    rows = (
        is_usable(table)
        & (table["club"].astype("str") == club)
        & table["arc_incline_deg"].between(known.low, known.high)
    )
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
