"""What lies in a study's folder, which map is whose, and the key of its pseudonyms, the same in every run."""

import hashlib
import hmac
from collections.abc import Iterable, Sequence
from pathlib import Path

from coachlab.errors import MapError
from coachlab.intake.columns import ColumnMap
from coachlab.intake.decide import NAME as DECISIONS
from coachlab.intake.journal import is_log
from coachlab.privacy import KEY_FILE, read_key

CUES, ACADEMY, REPORT = "cues.toml", "academy.toml", "report.toml"
EXPORTS = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xls", ".ods", ".parquet")
"""What an export is called; a file with another ending is one where a map of its name stands beside it."""
ACCOUNTS = ("rejects.csv", "remarks.csv")
"""What `save_shots` lays beside the table; no exports, should the folder be read as a study."""
_NO_EXPORTS = (".toml", ".md", ".html", ".htm", ".pdf", ".png", ".jpg", ".jpeg", ".json", ".ipynb", ".py", ".key")
_PURPOSE = b"pseudonyms of a coachlab study"
"""Keeps the key apart from a study's fingerprint, which is made of the same files and is printed."""


def list_folder(folder: Path) -> tuple[list[Path], list[Path], list[Path]]:
    """Return the files of a folder that are seen, and which of them are exports and lesson logs; hidden ones are not.

    Logs are what begins with ``log-``, and tables without a map of their own whose headings are those of a log.
    """
    there, exports, logs = _by_name(folder)
    mapped = {path.stem for path in there if path.suffix.lower() == ".toml"}
    told = [path for path in exports if path.stem not in mapped and is_log(path)]
    return there, [path for path in exports if path not in told], sorted([*logs, *told])


def _by_name(folder: Path) -> tuple[list[Path], list[Path], list[Path]]:
    """Return files, exports and logs as their names tell them."""
    there = sorted(path for path in folder.iterdir() if path.is_file() and path.name[0] not in ".~")
    mapped = {path.stem for path in there if path.suffix.lower() == ".toml"}
    tables = [
        path
        for path in there
        if path.suffix.lower() in EXPORTS or (path.stem in mapped and path.suffix.lower() not in _NO_EXPORTS)
    ]
    tables = [path for path in tables if path.name not in ACCOUNTS]
    logs = [path for path in tables if path.name.lower().startswith("log-")]
    return there, [path for path in tables if path not in logs and path.name != DECISIONS], logs


def list_maps(there: Iterable[Path]) -> list[Path]:
    """Return those files of a folder that are column maps."""
    return [path for path in there if path.suffix.lower() == ".toml" and path.name not in (CUES, ACADEMY, REPORT)]


def pair_maps(folder: Path, exports: Sequence[Path], maps: Sequence[Path]) -> dict[Path, ColumnMap | None]:
    """Return each export's map: of the same name, or the only one there is, or none (our own names).

    Raises
    ------
    MapError
        If a map belongs to no export and an export has no map, or a map is wrong.
    """
    stems = {export.stem for export in exports}
    by_stem = {path.stem: path for path in maps}
    if len(maps) == 1 and maps[0].stem not in stems:
        by_stem = dict.fromkeys(stems, maps[0])
    lone = sorted(set(by_stem) - stems)
    bare = [export.name for export in exports if export.stem not in by_stem]
    if lone and bare:
        raise MapError(
            f"The exports of {folder} were paired with their column maps.",
            f"No map is called like {', '.join(bare)}; no export is called like "
            f"{', '.join(by_stem[one].name for one in lone)}.",
            "Give each map the name of its export, as in bay-3.toml for bay-3.csv.",
            path=str(folder),
        )
    read = {path: ColumnMap.from_toml(path) for path in set(by_stem.values())}
    return {export: read.get(by_stem.get(export.stem, Path())) for export in exports}


def map_beside(path: str | Path) -> Path | None:
    """Return the map of a file's own name beside it, or None."""
    path = Path(path)
    beside = path.with_suffix(".toml")
    return beside if path.name and beside.is_file() and beside != path else None


def pseudonym_key(folder: str | Path, files: Sequence[Path] = ()) -> tuple[bytes, str]:
    """Return the key of a folder's pseudonyms, and a sentence on where it comes from.

    It is the one in ``pseudonyms.key`` where the academy keeps that file there (64 hex digits, kept apart from what is
    handed on). Else it is made of the contents of all exports in the folder: whoever has these files has the names in
    them anyway, and nobody else can guess it.

    Parameters
    ----------
    folder : path
        A study's folder.
    files : sequence of Path
        Files beyond the folder's exports that are read with it, as a zip.

    Raises
    ------
    DataError
        If ``pseudonyms.key`` is damaged.
    """
    folder = Path(folder)
    path = folder / KEY_FILE
    if path.is_file():
        return read_key(path), f"Pseudonyms are made with the key in {KEY_FILE}."
    exports = _by_name(folder)[1] if folder.is_dir() else []  # by name, so that the key of a folder stays as it was
    known = {one.resolve() for one in exports}
    more = [one for one in files if one.resolve() not in known and one.is_file()]
    told = (
        "Pseudonyms are made from what the exports in the folder hold: the same in every run until an export is "
        f"added or changed; with a {KEY_FILE} in the folder they stay."
    )
    return _key_from([*exports, *more]), told


def key_for(files: Sequence[Path]) -> tuple[bytes, str]:
    """Return the key with which some files are read, and a sentence on it: that of their folder where they have one.

    Files of one folder get that folder's key (`pseudonym_key`), so that they can be combined with what was read from
    the same folder before. Files of several folders have no key in common unless all keep the same ``pseudonyms.key``.

    Parameters
    ----------
    files : sequence of Path
        Exports, zips, or folders.
    """
    folders = list(dict.fromkeys((path if path.is_dir() else path.parent).resolve() for path in files))
    plain = [path for path in files if path.is_file()]
    if len(folders) == 1:
        key, told = pseudonym_key(folders[0], plain)
        inside = {path.resolve() for path in _by_name(folders[0])[1]} if folders[0].is_dir() else set()
        if any(path.resolve() not in inside for path in plain) and not (folders[0] / KEY_FILE).is_file():
            told = (
                "Pseudonyms are made from these files, one of which is no export that stands in the folder by itself: "
                f"with those of another run they cannot be combined; with a {KEY_FILE} in the folder they can."
            )
        return key, told
    kept = [folder / KEY_FILE for folder in folders if (folder / KEY_FILE).is_file()]
    keys = {read_key(path) for path in kept}
    if len(kept) == len(folders) and len(keys) == 1:
        return keys.pop(), f"Pseudonyms are made with the key in {KEY_FILE}."
    inside_folders = [path for path in files if path.is_dir()]
    every = [*plain, *(one for folder in inside_folders for one in _by_name(folder)[1])]
    return _key_from(every), (
        "The files come from several folders: their pseudonyms cannot be combined with those of another run. The same "
        f"{KEY_FILE} in each folder makes them alike."
    )


def _key_from(files: Sequence[Path]) -> bytes:
    """Return a key that only who has the files can make, whatever their names and order."""
    contents = sorted(hashlib.sha256(path.read_bytes()).digest() for path in files)
    return hmac.digest(_PURPOSE, b"".join(contents), "sha256")
