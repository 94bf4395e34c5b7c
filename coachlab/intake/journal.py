"""A coach's lesson log as one checked table, wherever it comes from."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TypeAlias

import numpy as np
import pandas as pd
import pyarrow as pa

from coachlab.errors import CoachlabError, DataError, need
from coachlab.intake.cells import Cells
from coachlab.intake.columns import READINGS
from coachlab.intake.files import read_page
from coachlab.intake.headings import find_heading
from coachlab.intake.pages import Page
from coachlab.intake.plain import check_headings
from coachlab.intake.times import read_times, read_truths
from coachlab.intake.write import plain_cell
from coachlab.schema import COLUMNS, TABLES, check

Log: TypeAlias = str | Path | pd.DataFrame | Sequence[str | Path]
"""How a log may be given."""

REQUIRED = ("session", "first_shot", "last_shot", "phase", "cue")
BY_TIME = ("starts_at", "ends_at")
"""In place of first_shot and last_shot: when a block began and, if it is known, ended; a clock time takes the day of
``session_day``."""
CARD_COLUMNS = ("family", "moves", "direction")
"""What a cue's card says of it."""

KNOWN = tuple(dict.fromkeys((*REQUIRED, *BY_TIME, "student", *TABLES["sessions"], *TABLES["blocks"], *CARD_COLUMNS)))
_FILES = (".csv", ".tsv", ".txt", ".xlsx", ".ods", ".parquet")
_SHEETS, _LARGEST_SHEET = (".xlsx", ".ods"), 300_000
"""A log of a season is smaller; to open every export of a folder would take too long."""


def read_log(log: str | Path | pd.DataFrame | Sequence[str | Path]) -> pd.DataFrame:
    """Return a lesson log as one table of our own columns, each row named by its line and file.

    Parameters
    ----------
    log : path, folder, sequence of paths, or DataFrame
        As `log.join_log` takes it.

    Raises
    ------
    DataError
        If there is no log, a column is missing, or a cell is not what its column needs.
    """
    if isinstance(log, pd.DataFrame):
        check_headings(log, "The lesson log was read.")
        frame = log[[name for name in log.columns if name in KNOWN]].copy()
        frame.index = pd.Index([str(row) for row in log.index])
        check("blocks", log, _required(log.columns), "The lesson log")
    else:
        parts = [_read_file(path) for path in log_paths(log)]
        frame = pd.concat(parts) if parts else pd.DataFrame()
    if not len(frame):
        raise DataError("A lesson log was read.", "It has no rows.", "Write one row for each block of shots.")
    if not frame.index.is_unique:
        frame.index = pd.Index([f"{row} (entry {place})" for place, row in enumerate(frame.index, 1)])
    typed: dict[str, pd.Series] = {}
    for name in sorted(frame.columns, key=lambda name: name in BY_TIME):
        typed[name] = _moments(frame[name], typed.get("session_day")) if name in BY_TIME else _typed(frame[name])
    typed = {name: typed[name] for name in frame.columns}
    journal = pd.DataFrame(typed, index=frame.index)
    by_number = "first_shot" in journal
    for name in ("session", "phase", *(("first_shot", "last_shot") if by_number else ("starts_at",))):
        _refuse(journal, journal[name].isna(), name, "is blank")
    if by_number:
        for name in ("first_shot", "last_shot"):
            whole = journal[name] == journal[name].round()
            _refuse(journal, ~(whole & journal[name].between(0, COLUMNS["shot"].high)), name, "is no shot number")
            journal[name] = journal[name].astype("int64")
        _refuse(journal, journal["last_shot"] < journal["first_shot"], "last_shot", "lies before first_shot")
    elif "ends_at" in journal:
        _refuse(journal, journal["ends_at"] < journal["starts_at"], "ends_at", "lies before starts_at")
    check("sessions", journal, where="The lesson log")
    check("blocks", journal, where="The lesson log")
    _refuse(journal, (journal["phase"] == "cue") & journal["cue"].isna(), "cue", "is blank in a block of phase cue")
    return journal


def _required(columns: Iterable[object]) -> tuple[str, ...]:
    """Return the columns without which a log cannot be read: shot numbers, or times in their place."""
    there = set(map(str, columns))
    if "starts_at" in there and not {"first_shot", "last_shot"} & there:
        return ("session", "starts_at", "phase", "cue")
    return REQUIRED


def log_paths(log: str | Path | Sequence[str | Path]) -> list[Path]:
    """Return the files of a log: those of a folder, or the paths as they are."""
    do = "Give a file, a folder, several of them, or a table with one row a block."
    need(log, (str, Path, Iterable), "A lesson log was to be read.", "log", do)
    if not isinstance(log, str | Path):
        return [path for one in log for path in log_paths(one)]
    path = Path(log)
    if not path.is_dir():
        return [path]
    found = sorted(one for one in path.iterdir() if one.suffix.lower() in _FILES)
    if not found:
        raise DataError(
            f"The folder {path} was asked for its lesson logs.",
            f"It holds none of: {', '.join(_FILES)}.",
            "Put the logs there, or give their paths.",
            path=path.name,
        )
    return found


def is_log(path: Path) -> bool:
    """Return whether a file that is not called log-... is a lesson log all the same, by its headings.

    The first lines of a text, and small spreadsheets, are looked at: a log has the columns that it needs and no reading
    of a shot. A file that cannot be read is none.
    """
    kind, size = path.suffix.lower(), path.stat().st_size
    if kind not in _FILES or kind == ".parquet" or (kind in _SHEETS and size > _LARGEST_SHEET):
        return False
    try:
        if kind not in _SHEETS:
            with path.open("rb") as file:
                head = file.read(8192).replace(b"\0", b"").lower()  # UTF-16 too
            if not all(word in head for word in (b"session", b"phase", b"cue")):
                return False
        headings = read_page(path, {name: (name,) for name in (*KNOWN, *READINGS)}).headings
    except (CoachlabError, OSError):
        return False
    there = {name for name in (*KNOWN, *READINGS) if find_heading(name, headings)}
    return set(_required(there)) <= there and not there & set(READINGS)


def _read_file(path: Path) -> pd.DataFrame:
    page = read_page(path, {name: (name,) for name in KNOWN})
    columns = {}
    for name in KNOWN:
        places = find_heading(name, page.headings)
        if len(places) > 1:
            raise DataError(
                f"{page.where} was read as a lesson log.",
                f"The heading {name!r} stands {len(places)} times.",
                "Let each column stand once.",
                path=page.name,
                column=name,
            )
        if places:
            columns[name] = _column(page, places[0])
    frame = pd.DataFrame(columns)
    frame.index = pd.Index([f"{row} of {page.name}" for row in page.rows])
    required = _required(frame.columns)
    if any(name not in frame for name in required):
        check("blocks", pd.DataFrame(columns=list(page.headings)), required, f"{page.where}, a lesson log,")
    return frame


def _column(page: Page, place: int) -> pd.Series:
    cells = page.cells[place]
    if cells.words is None and cells.typed is not None:
        return pd.Series(cells.typed)
    words = pd.array([plain_cell(word) for word in cells.trimmed.to_pylist()], dtype="str")
    return pd.Series(words.take(np.asarray(cells.spread(np.arange(cells.size)))))


def _typed(values: pd.Series) -> pd.Series:
    """Return a column of the log in the type that its name asks for; a blank cell is missing."""
    name = str(values.name)
    column = COLUMNS.get(name)
    kind = (
        "count" if name in ("first_shot", "last_shot", "direction") else column.kind if column is not None else "label"
    )
    text = not pd.api.types.is_numeric_dtype(values) and values.dtype.kind != "M"
    if text:
        values = values.astype("str").str.strip().replace("", None)
    if kind in ("number", "count"):
        numbers = pd.to_numeric(values.str.replace(",", ".") if text else values, errors="coerce").astype(float)
        _refuse(values.to_frame(), numbers.isna() & values.notna(), name, "is no number")
        whole = kind == "count" and bool(((numbers == numbers.round()) & (numbers.abs() < 2**53)).all())
        return numbers.astype("int64") if whole else numbers
    if kind == "flag":
        truths, odd = read_truths(values)
        _refuse(values.to_frame(), odd, name, "is neither yes nor no")
        return truths if truths.isna().any() else truths.astype(bool)
    if kind == "day":
        if values.dtype.kind == "M":
            return values.dt.tz_localize(None).astype("M8[us]").dt.floor("D")
        times, _, odd, _ = read_times(Cells(pa.array(values.astype("str").fillna("").tolist(), pa.string())))
        days = pd.Series(times, index=values.index).dt.floor("D")
        _refuse(
            values.to_frame(), pd.Series(odd, index=values.index) | (days.isna() & values.notna()), name, "is no day"
        )
        return days
    if not text:
        written = [None if pd.isna(one) else f"{one:g}" if isinstance(one, float) else str(one) for one in values]
        values = pd.Series(written, index=values.index)
    return values.astype("str")


def _moments(values: pd.Series, day: pd.Series | None) -> pd.Series:
    """Return a column of times; where a cell says a clock time alone, on the day of the session."""
    if values.dtype.kind == "M":
        return values.dt.tz_localize(None).astype("M8[us]")
    texts = values.astype("str").str.strip().fillna("")
    times, of_day, odd, _ = read_times(Cells(pa.array(texts.tolist(), pa.string())))
    clock = ~np.isnat(of_day)
    if clock.any() and day is not None:
        times = np.where(np.isnat(times) & clock, day.to_numpy().astype("M8[us]") + of_day, times)
    found = pd.Series(times, index=values.index)
    what = "is a clock time, and session_day does not say the day" if (clock & found.isna()).any() else "is no time"
    _refuse(
        values.to_frame(), (pd.Series(odd, index=values.index) | found.isna()) & (texts != ""), str(values.name), what
    )
    return found


def _refuse(frame: pd.DataFrame, bad: pd.Series, name: str, what: str) -> None:
    bad = bad.fillna(False).astype(bool)
    if bad.any():
        row = bad.idxmax()
        value = frame[name][bad].iloc[0]
        raise DataError(
            f"Row {row} of the lesson log was read.",
            f"Column {name}: {value!r} {what} ({int(bad.sum())} such rows).",
            "Correct that cell.",
            row=row,
            column=name,
        )
