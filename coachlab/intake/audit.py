"""What is wrong with a file before anybody uses it, and whether a log keeps only a coach's best shots."""

from dataclasses import dataclass
from html import escape
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import stats

from coachlab.errors import CoachlabError, DataError, need_share
from coachlab.intake.clean import MISREAD, clean_shots
from coachlab.intake.clean import RULES as CLEANING
from coachlab.intake.clubs import UNKNOWN_CLUB, guess_club, say_unknown_club, unknown_clubs
from coachlab.intake.columns import ColumnMap, read_map
from coachlab.intake.headings import find_heading
from coachlab.intake.journal import Log, log_paths, read_log
from coachlab.intake.read import read_all
from coachlab.intake.shots import Shots
from coachlab.schema import COLUMNS
from coachlab.settings import Settings

LEAST_DIFFERENCE = 0.05
"""How much more of the cue shots than of the plain ones must be missing before anybody is warned; an assumption."""

CHECK_COLUMNS = ("severity", "row", "column", "rule", "what", "do")
AUDIT_COLUMNS = ("coach", "cue_shots", "cue_missing_share", "plain_missing_share", "p", "warned")


@dataclass(frozen=True, eq=False)
class LoggingAudit:
    """Whether shots are missing from cue blocks more often than from plain ones, coach by coach.

    Attributes
    ----------
    table : DataFrame
        ``coach``; ``cue_shots``, the shots that the cue blocks span; the shares of shots that are missing in cue and in
        plain blocks; ``p``, one-sided; ``warned``.
    level : float
        One minus the chance that a coach who leaves out nothing on purpose is warned.
    """

    table: pd.DataFrame
    level: float

    def text(self) -> str:
        """Return who is warned and why, in sentences."""
        warned = self.table[self.table["warned"]]
        if not len(self.table):
            return "No cue block is logged: there is nothing to audit."
        if not len(warned):
            if not self.table[["cue_missing_share", "plain_missing_share"]].to_numpy().any():
                return (
                    "No shot number is missing in any block: every ball was kept, or the export has no counter that "
                    "could show a gap."
                )
            return "No coach's cue blocks miss more shots than chance allows."
        return " ".join(
            f"Coach {row.coach}: {row.cue_missing_share:.0%} of the shots in cue blocks are missing, "
            f"{row.plain_missing_share:.0%} in plain blocks (p = {row.p:.2g}): the log looks like best shots only."
            for row in warned.itertuples()
        )

    def __repr__(self) -> str:
        return f"<LoggingAudit: {self.text()}>"

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.text())}</p>" + self.table.to_html(index=False)


def audit_logging(shots: Shots, level: float = 0.95) -> LoggingAudit:
    """Return whether a coach's log looks like best shots only, by the gaps in the shot numbers.

    A number within a block's range that is neither shot nor reject is a gap: the ball was struck, and its row was
    left out. In cue blocks there should be as few as in the coach's plain and sham blocks.

    Parameters
    ----------
    shots : Shots
        Joined with the log (`join_log`).
    level : float
        One minus the chance that an honest coach is warned.

    Raises
    ------
    DataError
        If the log is not joined, or `level` is no share.

    Notes
    -----
    Fisher's exact test, one-sided, of missing and present shots in cue against plain blocks; besides, the shares must
    differ by `LEAST_DIFFERENCE`. A coach without plain blocks is compared with everybody's. An export whose shots are
    not numbered by the device shows no gaps, so nobody is warned.
    """
    need_share(level, "An audit of the logs was asked for.")
    table = shots.table
    missing = [name for name in ("block", "phase", "shots_logged", "shots_missing") if name not in table]
    if missing:
        raise DataError(
            "An audit of the logs was asked for.",
            f"The shots have no column {', '.join(missing)}.",
            "Join the lesson log first: join_log(shots, log).",
            column=missing[0],
        )
    blocks = table.drop_duplicates("block").dropna(subset=["block", "shots_logged"])
    coach = blocks["coach"].astype("str").fillna("unknown") if "coach" in blocks else "unknown"
    counts = pd.DataFrame({"coach": coach, "cue": (blocks["phase"].astype("str") == "cue")})
    counts["missing"] = blocks["shots_missing"].astype(float)
    counts["present"] = blocks["shots_logged"].astype(float) - counts["missing"]
    counts = counts[blocks["phase"].astype("str").isin(["cue", "plain", "sham"])]
    total = counts.groupby(["coach", "cue"])[["missing", "present"]].sum()
    everybody = total[~total.index.get_level_values("cue")].sum()
    rows = []
    for name in total.index.get_level_values("coach").unique():
        if (name, True) not in total.index:
            continue
        cue = total.loc[(name, True)]
        plain = total.loc[(name, False)] if (name, False) in total.index else everybody
        p = stats.fisher_exact([cue.tolist(), plain.tolist()], alternative="greater").pvalue if plain.sum() else np.nan
        share = cue["missing"] / cue.sum()
        plain_share = plain["missing"] / plain.sum() if plain.sum() else np.nan
        warned = bool(p < 1 - level and share - plain_share >= LEAST_DIFFERENCE)
        rows.append((name, int(cue.sum()), share, plain_share, p, warned))
    return LoggingAudit(pd.DataFrame(rows, columns=list(AUDIT_COLUMNS)), level)


def kept_in(shots: Shots, coach: str, log: Log | None) -> str:
    """Return in brackets which log files hold the lessons of a coach, so that the academy knows whom to ask.

    Empty without a log of files: lessons then stand in the exports themselves.
    """
    if log is None or isinstance(log, pd.DataFrame):
        return ""
    mine = shots.table["coach"].astype("str") == coach
    lessons = set(shots.table.loc[mine, "session"].dropna().astype("str"))
    names = [path.name for path in log_paths(log) if lessons & set(read_log(path)["session"].astype("str"))]
    return f" (lessons in {', '.join(names)})" if names else ""


@dataclass(frozen=True, eq=False)
class FileCheck:
    """Everything that is wrong with a file and its map, found before anything else is done with it.

    Attributes
    ----------
    name : str
        The file.
    table : DataFrame
        ``severity`` (error: the file cannot be read so; fault: its shots cannot be studied so; set
        aside: a shot that is kept and not analysed; reject: a line that is no shot; flag: a remark on a shot; note),
        ``row`` of the file, ``column``, ``rule``, ``what`` was found, what to ``do``.
    shots : Shots or None
        What was read, if there is no error.
    """

    name: str
    table: pd.DataFrame
    shots: Shots | None = None

    def text(self) -> str:
        """Return what was found in sentences, errors and faults in full, the rest counted."""
        errors = self.table[self.table["severity"].isin(["error", "fault"])]
        parts = [f"{self.name}: {self.shots.text()}" if self.shots is not None else f"{self.name} cannot be read so."]
        parts += [f"{row.what} {row.do}" for row in errors.itertuples()]
        others = self.table[~self.table["severity"].isin(["error", "fault", "note"])]
        for (severity, rule), part in others.groupby(["severity", "rule"], sort=False):
            parts.append(f"{len(part):,} x {rule} ({severity}), first in row {part['row'].iloc[0]}.")
        parts += self.table.loc[self.table["severity"] == "note", "what"].tolist()
        return "\n".join(parts)

    def __repr__(self) -> str:
        return f"<FileCheck: {self.text()}>"

    def _repr_html_(self) -> str:
        lines = "".join(f"<p>{escape(line)}</p>" for line in self.text().split("\n"))
        return lines + self.table.to_html(index=False, na_rep="")


_DO = {
    "units row": "Nothing: its units were used.",
    "repeated heading": "Nothing: it is left out.",
    "total": "Nothing: it is left out.",
    "no reading": "Nothing: it keeps its number, and counts as a ball struck.",
    "more cells than headings": "Put texts that hold the separator into quotes.",
    "no number": "Correct the cell in the file, or leave it: the value is missing.",
    "other decimal mark": "Check the number: the file uses the other mark.",
    "unknown hand": "Write R or L, right or left.",
    "unknown phase": "Use one of the phases of the lesson log.",
    "no day": "Write the day as in 2026-11-03.",
    "no time": "Write the time as in 2026-11-03 14:05:00.",
    MISREAD: "Nothing: it is kept and never analysed.",
}


def check_file(
    path: str | Path, columns: ColumnMap | str | Path | None = None, settings: Settings | None = None
) -> FileCheck:
    """Return all that is wrong with a file and its map, not only what is found first.

    Parameters
    ----------
    path : path
        As `read_shots` takes it.
    columns : ColumnMap or path, optional
        The file's map; without it the file is in our own names.
    settings : Settings, optional
        The limits; the defaults without.

    Returns
    -------
    FileCheck
        No error is raised for a file or a map that is wrong: it stands in the table.
    """
    faults: list[CoachlabError] = []
    if isinstance(columns, str | Path):
        columns, wrong = read_map(columns)
        faults += wrong
    shots = None
    try:
        shots = read_all(path, columns, faults.append, settings=settings)
    except CoachlabError as err:
        faults.append(err)
    rows = [
        ("error", err.facts.get("row"), err.facts.get("column"), type(err).__name__, f"{err.asked} {err.found}", err.do)
        for err in dict.fromkeys(faults)
    ]
    if shots is not None and not faults:
        shots = clean_shots(shots)
        rows += _clubless(shots)
        rows += _doubts(shots)
        rows += [("note", None, None, "note", note, "Say so in the map if it is not so.") for note in shots.notes]
        rows += _unmapped(shots, columns) if columns is not None else []
    table = pd.DataFrame(rows, columns=list(CHECK_COLUMNS)).astype({"row": "Int64"})
    return FileCheck(Path(path).name, table, None if faults else shots)


def _doubts(shots: Shots) -> list[tuple]:
    rows: list[tuple] = []
    # a club's name that nobody knows is one fault, not a remark on each of its shots
    for flag in shots.flags[shots.flags["rule"] != UNKNOWN_CLUB].itertuples(index=False):
        column = COLUMNS.get(flag.column)
        span = f" ({column.low:g} to {column.high:g})" if column is not None and np.isfinite(column.low) else ""
        severity = "set aside" if flag.rule == MISREAD else "flag"
        value = f"{flag.value:g}" if isinstance(flag.value, float) else repr(flag.value)
        what = f"{value}: {CLEANING[flag.rule]}{span}." if flag.rule in CLEANING else f"{value}: {flag.rule}."
        rows.append((severity, flag.source_row, flag.column, flag.rule, what, _DO.get(flag.rule, "Look at the shot.")))
    for reject in shots.rejects.itertuples(index=False):
        rows.append(("reject", reject.source_row, None, reject.rule, "The line is no shot.", _DO[reject.rule]))
    return sorted(rows, key=lambda row: row[1])


def _clubless(shots: Shots) -> list[tuple]:
    """Tell that no club is known, or which names of clubs are not: no question can be asked of such shots."""
    unknown = unknown_clubs(shots)
    rows: list[tuple] = []
    for name, count in unknown.items():
        first = shots.flags.loc[(shots.flags["rule"] == UNKNOWN_CLUB) & (shots.flags["value"] == name), "source_row"]
        line = f'"{name}" = "{guess_club(name) or "iron-7"}"'
        do = f"Add it under [club_names] in the map, as in {line}."
        rows.append(("fault", first.min(), "club", UNKNOWN_CLUB, say_unknown_club(name, count), do))
    if not unknown and ("club" not in shots.table or shots.table["club"].isna().all()):
        do = 'Map the club as [column.club], or write one club for the whole file into the map, as club = "iron-7".'
        rows.append(("fault", None, "club", "no club", "No column is mapped to the club, so no shot has one.", do))
    return rows


def _unmapped(shots: Shots, columns: ColumnMap) -> list[tuple]:
    """Tell which headings nobody asked for: one of them may have been forgotten."""
    headings = [str(name) for name in shots.raw.columns if name not in ("source", "source_row")]
    taken = {
        place for one in columns.columns.values() for name in one.headings for place in find_heading(name, headings)
    }
    left = [heading for place, heading in enumerate(headings) if place not in taken]
    if not left:
        return []
    what = f"Headings that no column takes: {', '.join(map(repr, left))}."
    return [("note", None, None, "note", what, "Map them if they are needed.")]
