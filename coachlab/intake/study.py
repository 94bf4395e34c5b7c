"""`read_study`: a folder of exports, maps, logs and cards becomes one table of shots, every step told."""

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from coachlab.errors import DataError, need
from coachlab.intake.agree import has_air
from coachlab.intake.audit import audit_logging, kept_in
from coachlab.intake.clean import clean_shots, exclude
from coachlab.intake.combine import combine_shots
from coachlab.intake.decide import apply_decisions
from coachlab.intake.findings import together
from coachlab.intake.folder import (
    ACADEMY,
    CUES,
    DECISIONS,
    EXPORTS,
    REPORT,
    list_folder,
    list_maps,
    pair_maps,
    pseudonym_key,
)
from coachlab.intake.log import join_log
from coachlab.intake.many import Progress, read_many
from coachlab.intake.narrow import audit_scatter
from coachlab.intake.read import read_shots
from coachlab.intake.scales import audit_units
from coachlab.intake.shots import Shots
from coachlab.intake.signs import audit_hands, audit_signs
from coachlab.intake.swaps import audit_clubs
from coachlab.privacy import KEY_FILE, is_pseudonym, pseudonym
from coachlab.schema import RANGE_RULES, TABLES
from coachlab.scroll import scrolled
from coachlab.settings import Settings, read_cues, read_settings

BEST_SHOTS = "log looks like best shots only"
"""The reason that is kept beside a shot of a coach who was warned."""
MISREAD_ALARM = 0.2
"""Share of a file's shots set aside from which its map is doubted; devices misread a few in a hundred."""
_COUNTS = ("raw", "rejects", "shots", "analysed", "set_aside")


@dataclass(frozen=True, eq=False)
class Study:
    """What a folder holds, read, cleaned and joined.

    Attributes
    ----------
    folder : Path
        Where the files are.
    shots : Shots
        The shots of all exports, joined with all logs; those set aside included.
    cues : DataFrame
        The cue cards.
    settings : Settings
        The academy's thresholds and habits.
    files : DataFrame
        One row an export: ``file map raw rejects shots analysed set_aside``.
    steps : tuple of str
        One sentence a step: what it did, and what it set aside.
    warnings : tuple of str
        What the audit of the logs found, in sentences.
    fingerprint : str
        Twelve hex digits of the SHA-256 of every file that was read: the same files, the same digits.
    """

    folder: Path
    shots: Shots
    cues: pd.DataFrame
    settings: Settings
    files: pd.DataFrame
    steps: tuple[str, ...]
    warnings: tuple[str, ...]
    fingerprint: str
    key: bytes = field(default=b"", repr=False)

    def student_of(self, name: str) -> str:
        """Return the pseudonym that stands for a name in the study's files; an id of ours is left as it is.

        Raises
        ------
        DataError
            If the name is blank, or the study was not read from files.
        """
        name = str(name).strip()
        return name if is_pseudonym(name) else pseudonym(name, self.key)

    def text(self) -> str:
        """Return the steps and the warnings as one text."""
        return " ".join([*self.steps, *self.warnings])

    def __repr__(self) -> str:
        return f"<Study in {self.folder.name}: {len(self.files)} files, {self.shots.text()}>"

    def _repr_html_(self) -> str:
        return scrolled(
            self.files.rename(columns={"set_aside": "set aside"}).to_html(index=False, escape=True),
            80 * self.files.shape[1],
            "the files of the study",
        )


def read_study(
    folder: str | Path,
    set_aside_warned: bool = True,
    tell: Callable[[str], None] | None = None,
    progress: Progress | None = None,
) -> Study:
    """Return what a folder of exports, column maps, lesson logs and cards holds, as one table of shots.

    Parameters
    ----------
    folder : path
        Exports (CSV, XLSX, ODS, Parquet); a column map beside each, named alike (``bay-3.toml`` for ``bay-3.csv``), or
        one for all; logs, whose names begin with ``log-`` or whose headings are a log's; ``cues.toml``;
        ``academy.toml``; ``decisions.csv`` (`apply_decisions`). Maps, logs and the other three may be missing. Hidden
        files are left alone.
    set_aside_warned : bool
        Whether the shots of a coach whose log looks like best shots only (`audit_logging`) are set aside, with that
        reason. A step says so either way.
    tell : callable or None
        Called with the sentence of each step as soon as it is done.
    progress : callable or None
        Called with how many files are read and how many there are; several are read at once.

    Raises
    ------
    MapError, DataError
        If there is no export, or a file cannot be used; the file is named.
    """
    need(folder, (str, Path), "A study was to be read.", "folder", "Give the path of the folder with its files.")
    folder = Path(folder)
    exports, logs, maps, left = _files(folder)
    by_export = pair_maps(folder, exports, maps)
    steps: list[str] = []

    def step(sentence: str) -> None:
        steps.append(sentence)
        if tell is not None:
            tell(sentence)

    key, of_key = pseudonym_key(folder)
    alarms: list[str] = []
    settings_path, cues_path = folder / ACADEMY, folder / CUES
    settings = read_settings(settings_path if settings_path.is_file() else None)
    cues = read_cues(cues_path) if cues_path.is_file() else None
    rows = []

    def read(export: Path) -> Shots:
        return clean_shots(read_shots(export, by_export[export], key, settings))

    parts = read_many(exports, read, progress)
    for export, part in zip(exports, parts, strict=True):
        n = part.counts
        rows.append((export.name, getattr(by_export[export], "name", "own names"), *n[list(_COUNTS)]))
        flags = f", {len(part.flags):,} remarks" if len(part.flags) else ""
        step(
            f"{export.name}: {n.raw:,} rows = {n.shots:,} shots + {n.rejects:,} that are none; {n.set_aside:,} shots "
            f"set aside as misread{flags}."
        )
        alarms += _misread_alarm(export.name, part)
    shots = combine_shots(parts)
    if logs:
        shots = join_log(shots, logs, cues, key)
    if has_air(shots.table):
        shots = clean_shots(shots)  # the log said the air, in which carry can be held against the model
    step(_joined(shots, logs))
    if {"student", "coach"} & set(shots.table.columns):
        step(of_key)
    if left:
        step(f"Left alone, as no export, map or log: {', '.join(path.name for path in left)}.")
    for note in shots.notes:
        step(note)
    shots, warnings = _audit(shots, logs, set_aside_warned)
    audits = (audit_signs, audit_hands, audit_clubs, audit_units)
    found = together([*(audit(shots) for audit in audits), audit_scatter(shots, logs or None)]).table
    warnings = [*alarms, *(f"{row.where}: {row.what} {row.do}" for row in found.itertuples()), *warnings]
    for sentence in warnings:
        step(sentence)
    decided_path = folder / DECISIONS
    if decided_path.is_file():
        before = shots.counts.analysed
        shots = apply_decisions(shots, decided_path)
        step(f"{DECISIONS}: decisions on shots applied; {before:,} were analysed, {shots.counts.analysed:,} are now.")
    beside = (settings_path, cues_path, decided_path)
    everything = [*exports, *logs, *(path for path in maps), *(p for p in beside if p.is_file())]
    return Study(
        folder,
        shots,
        cues if cues is not None else pd.DataFrame(columns=list(TABLES["cues"])),
        settings,
        pd.DataFrame(rows, columns=["file", "map", *_COUNTS]),
        tuple(steps),
        tuple(warnings),
        fingerprint(everything),
        key,
    )


def fingerprint(paths: Iterable[Path]) -> str:
    """Return twelve hex digits that stand for the names and contents of files, whatever their order."""
    whole = hashlib.sha256()
    for path in sorted(paths, key=lambda path: path.name):
        whole.update(path.name.encode() + b"\0" + hashlib.sha256(path.read_bytes()).digest())
    return whole.hexdigest()[:12]


def _files(folder: Path) -> tuple[list[Path], list[Path], list[Path], list[Path]]:
    """Return exports, logs, maps, and the files that are none of them."""
    asked = f"The folder {folder} was read as a study."
    if not folder.is_dir():
        found = "It is a file." if folder.exists() else "There is no such folder."
        raise DataError(asked, found, "Name the folder that holds the exports and the logs.", path=str(folder))
    there, exports, logs = list_folder(folder)
    maps = list_maps(there)
    if not exports:
        raise DataError(
            asked,
            f"It holds no export; there are: {', '.join(path.name for path in there) or 'no files'}.",
            f"Put the device's files there ({', '.join(EXPORTS)}); names that begin with log- are lesson logs.",
            path=str(folder),
        )
    beside = (CUES, ACADEMY, REPORT, DECISIONS, KEY_FILE)
    known = {*exports, *logs, *maps, *(folder / name for name in beside)}
    return exports, logs, maps, [path for path in there if path not in known]


def _joined(shots: Shots, logs: list[Path]) -> str:
    if not logs:
        return "No lesson log (log-*.csv): blocks, phases and cues are those that the exports name."
    outside = int(shots.table["phase"].isna().sum())
    lost = f"; {outside:,} shots stand in no block" if outside else "; every shot stands in a block"
    return (
        f"{', '.join(path.name for path in logs)}: {shots.table['block'].nunique():,} blocks in "
        f"{shots.table['session'].nunique():,} sessions joined{lost}."
    )


def _misread_alarm(name: str, part: Shots) -> list[str]:
    """Return a warning where so many shots of a file are out of range that its map is likelier at fault."""
    share = 1 - part.counts.analysed / max(part.counts.shots, 1)
    if share < MISREAD_ALARM:
        return []
    worst = part.flags.loc[part.flags["column"].isin(RANGE_RULES), "column"].mode()
    column = f", most of them for {worst[0]}" if len(worst) else ""
    return [
        f"{name}: {100 * share:.0f} % of the shots are set aside{column}. So many misreads are unlikely: check "
        "the unit and the positive side of that column in the map."
    ]


def _audit(shots: Shots, logs: list[Path], set_aside_warned: bool) -> tuple[Shots, list[str]]:
    """Return the shots, those of warned coaches set aside where that was asked for, and a sentence on each warning."""
    if "shots_logged" not in shots.table.columns or "coach" not in shots.table.columns:
        return shots, []
    said = []
    found = audit_logging(shots).table
    for row in found[found["warned"]].itertuples():
        mine = (shots.table["coach"].astype("str") == row.coach).to_numpy()
        count = int((mine & shots.usable.to_numpy()).sum())
        what = f"{count:,} shots that could be read"
        where = kept_in(shots, row.coach, logs)
        if set_aside_warned:
            shots = exclude(shots, mine, BEST_SHOTS)
        said.append(
            f"Coach {row.coach}{where}: {row.cue_missing_share * 100:.0f} % of the shots in cue blocks are missing, "
            f"{row.plain_missing_share * 100:.0f} % in plain blocks; the {BEST_SHOTS}. The coach's {what} "
            f"{'are set aside for that reason' if set_aside_warned else 'are used all the same'}."
        )
    return shots, said
