"""`bring_shots`: from files to one clean, joined table; `save_shots`: that table in a folder, with its account."""

import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

import pandas as pd

from coachlab.errors import CoachlabError, DataError, need
from coachlab.intake.clean import clean_shots
from coachlab.intake.clock import find_offset
from coachlab.intake.columns import ColumnMap
from coachlab.intake.combine import combine_shots
from coachlab.intake.decide import apply_decisions
from coachlab.intake.folder import ACCOUNTS, key_for, list_folder, list_maps, map_beside, pair_maps
from coachlab.intake.journal import Log, read_log
from coachlab.intake.log import join_log
from coachlab.intake.many import Progress, read_many
from coachlab.intake.read import read_shots
from coachlab.intake.shots import Shots
from coachlab.intake.write import csv_text, write_bytes
from coachlab.settings import Settings, read_settings

KINDS = ("parquet", "csv")
_PACKED = (".zip", ".gz")


def bring_shots(
    files: str | Path | Sequence[str | Path],
    maps: ColumnMap | str | Path | Mapping[str, ColumnMap | str | Path] | None = None,
    log: Log | None = None,
    cues: pd.DataFrame | str | Path | None = None,
    decisions: pd.DataFrame | str | Path | None = None,
    settings: Settings | None = None,
    set_clock: bool = False,
    tell: Callable[[str], None] | None = None,
    progress: Progress | None = None,
) -> Shots:
    """Return the shots of some files, cleaned, each counted once, joined with the log, a person's decisions applied.

    Parameters
    ----------
    files : sequence of paths
        Exports, zips or folders of them. Of a folder the exports are taken as a study takes them, and the zips; its
        logs and cards are left alone.
    maps : map, its path, or mapping of file name to them, optional
        One map for all files, or one for each. Without, a map of the file's own name beside it (``bay-3.toml``; in
        a folder that is named, the only one there too), else the file is in our own names.
    log, cues : optional
        As `join_log` takes them.
    decisions : path or DataFrame, optional
        As `apply_decisions` takes them.
    settings : Settings, optional
        The limits; without, those of ``academy.toml`` beside the first file, or the defaults.
    set_clock : bool
        Whether a difference between the device's clock and that of a log by time is taken out (`find_offset`).
    tell : callable or None
        Called with one sentence a step.
    progress : callable or None
        Called with how many files are read and how many there are; several are read at once.

    Notes
    -----
    Pseudonyms are made with the key of the files' folder (`folder.key_for`): what is brought from one folder in several
    runs can be combined, and with a study of it, unless its exports have changed between; files of several folders, or
    of a zip, only where ``pseudonyms.key`` says with which key.

    Raises
    ------
    MapError, DataError
        If a file, its map, the log or a decision cannot be used.
    """
    asked, due = "Shots were to be brought in.", "Give a list of paths: exports, zips or folders of them."
    need(files, Iterable, asked, "files", due)
    files = [files] if isinstance(files, str | Path) else list(files)
    for file in files:
        need(file, (str, Path), asked, "one of the files", due)
    paths = [Path(file) for file in files]
    if not paths:
        raise DataError(asked, "No file was given.", "Name at least one.")
    say = tell or (lambda sentence: None)
    limits = settings or settings_near(paths[0])
    key, of_key = key_for(paths)
    by_file = _with_maps(paths, maps)

    def read(path: Path) -> Shots:
        return clean_shots(read_shots(path, by_file[path], key, limits))

    for place, logs in logs_near(paths).items() if log is None else ():
        say(f"Lesson logs in {place} that were not named, and so are left alone: {_named(logs)}.")
    parts = read_many(list(by_file), read, progress)
    for path, part in zip(by_file, parts, strict=True):
        say(f"{path.name}: {part.text()}")
    shots = combine_shots(parts)
    for note in shots.notes:
        say(note)
    if log is not None:
        offset = find_offset(shots, log, key) if set_clock else 0.0
        if offset:
            say(f"The device's clock is {offset:g} s ahead of the log's: taken out.")
        shots = clean_shots(join_log(shots, log, cues, key, offset))
        outside = int(shots.table["phase"].isna().sum())
        say(f"{shots.table['block'].nunique():,} blocks joined; {outside:,} shots in none.")
    if {"student", "coach"} & set(shots.table.columns):
        say(of_key)
    if decisions is not None:
        shots = apply_decisions(shots, decisions)
        say(f"Decisions applied: {shots.text()}")
    return shots


def save_shots(shots: Shots, folder: str | Path, kind: str = "parquet") -> list[Path]:
    """Write the table of shots, the lines that are none and the remarks into a folder, and return the paths.

    ``shots.parquet`` (or ``shots.csv``) is in our own names and units: `read_shots` takes it without a map. Each file
    appears whole or not at all, and nothing is written before all of it is ready.

    Parameters
    ----------
    shots : Shots
        What to save.
    folder : path
        Where; made if need be. Files of these names are written over.
    kind : {"parquet", "csv"}
        Of the table.

    Raises
    ------
    DataError
        If the folder cannot be written, or there is no such kind.
    """
    need(shots, Shots, "Shots were to be saved.", "shots", "Give what read_shots or bring_shots return.")
    need(folder, (str, Path), "Shots were to be saved.", "folder", "Give the path of a folder.")
    if kind not in KINDS:
        raise DataError("Shots were to be saved.", f"kind is {kind!r}.", f"Choose one of: {', '.join(KINDS)}.")
    table = shots.table.copy(deep=False)
    for name in table.columns[[one.kind == "O" for one in table.dtypes]]:
        table[name] = table[name].astype("str")
    if kind == "parquet":
        stream = io.BytesIO()
        table.to_parquet(stream, index=False)
        content: bytes | str = stream.getvalue()
    else:
        content = csv_text(table)
    whole = {f"shots.{kind}": content, **dict(zip(ACCOUNTS, map(csv_text, (shots.rejects, shots.flags)), strict=True))}
    return [write_bytes(Path(folder) / name, data) for name, data in whole.items()]


def logs_near(paths: Iterable[str | Path]) -> dict[Path, list[Path]]:
    """Return the lesson logs of each folder among some paths, and of the folders in which the others lie.

    Parameters
    ----------
    paths : iterable of paths
        As `bring_shots` takes them; a path that is itself a log is left out.
    """
    given = [Path(path) for path in paths]
    places = dict.fromkeys(path if path.is_dir() else path.parent for path in given)
    found = {place: [log for log in list_folder(place)[2] if log not in given] for place in places if place.is_dir()}
    return {place: logs for place, logs in found.items() if logs}


def speak_of_others(logs: Sequence[Path], shots: Shots) -> bool:
    """Return whether lesson logs hold visits that some shots do not, so that they could not be joined with these."""
    if "session" not in shots.table:
        return False
    mine = set(shots.table["session"].dropna().astype("str"))
    try:
        return any(not set(read_log(log)["session"].astype("str")) <= mine for log in logs)
    except CoachlabError:
        return False  # said in words once it is joined


def _named(logs: Sequence[Path]) -> str:
    return ", ".join(path.name for path in logs)


def settings_near(path: str | Path) -> Settings:
    """Return the settings of ``academy.toml`` beside a file, or in a folder; the defaults where there is none."""
    path = Path(path)
    place = (path if path.is_dir() else path.parent) / "academy.toml"
    return read_settings(place if place.is_file() else None)


def files_in(path: str | Path) -> list[Path]:
    """Return the exports and zips of a folder, or the file itself.

    Raises
    ------
    DataError
        If the folder holds none.
    """
    path = Path(path)
    if not path.is_dir():
        return [path]
    there, exports, logs = list_folder(path)
    found = [one for one in there if one in exports or (one.suffix.lower() in _PACKED and one not in logs)]
    if not found:
        raise DataError(
            f"The folder {path} was asked for as tables of shots.",
            f"It holds none; there are: {', '.join(one.name for one in there[:12]) or 'no files'}.",
            "Name the folder that holds the exports, or one of its files.",
            path=str(path),
        )
    return found


def _with_maps(
    paths: Sequence[Path], maps: ColumnMap | str | Path | Mapping[str, ColumnMap | str | Path] | None
) -> dict[Path, ColumnMap | str | Path | None]:
    """Return each file with its map: as was said, else as a study of its folder pairs them."""
    found: dict[Path, ColumnMap | str | Path | None] = {}
    for path in paths:
        files = files_in(path)
        if isinstance(maps, Mapping):
            found |= {file: maps.get(file.name) for file in files}
        elif maps is not None:
            found |= dict.fromkeys(files, maps)
        elif path.is_dir():
            found |= pair_maps(path, files, list_maps(list_folder(path)[0]))
        else:
            found[path] = map_beside(path)
    return found
