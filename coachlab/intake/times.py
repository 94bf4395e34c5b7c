"""What the cells of a file say as times and as true or false."""

import re

import numpy as np
import pandas as pd
import pyarrow.compute as pc

from coachlab.intake.cells import NOTHING, Cells

_ZONES = (
    (r"(\d|[AaPp]\.?[Mm]\.?)\s*(?:\([^()]*\)|\[[^\[\]]*\])$", r"\1"),
    (r"(\d|[AaPp]\.?[Mm]\.?)\s*(?:[zZ]|[A-Z]{3,5}|(?:UTC|GMT)\s*[+-]\s*\d{1,2}(?::?\d{2})?|[A-Z][a-z]+/\w+)$", r"\1"),
    (r"(:\d{2}(?:[.,]\d+)?)\s*[+-]\d{2}(?::?\d{2})?$", r"\1"),
    (r"(:\d{2}:\d{2}):(\d{3})$", r"\1.\2"),
    (r"(\d)\s*(?:Uhr|uhr|hrs?|h)$", r"\1"),
)
"""How a time zone is written behind a time, and what is left of it; and what else times do without."""
_PACKED = re.compile(r"(\d{4})(\d{2})(\d{2})[T ]?(\d{2})(\d{2})(\d{2})?")
_DOTTED = re.compile(r"(\d{1,2})\.(\d{2})(?:\.(\d{2}))?")
_COUNTED = (
    # numbers from, to; how long one of them is; the moment at 0; what it is called
    (2e4, 8e4, 86_400e6, "1899-12-30", "days since 1899-12-30, as spreadsheets count"),
    (9e8, 4.2e9, 1e6, "1970-01-01", "seconds since 1970"),
    (9e11, 4.2e12, 1e3, "1970-01-01", "milliseconds since 1970"),
    (9e14, 4.2e15, 1.0, "1970-01-01", "microseconds since 1970"),
)
_NUMBERS = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4}|\d{2})(?:[T,]?\s*(\d.*))?")
_YEAR_FIRST = re.compile(r"(\d{4})[./-](\d{1,2})[./-](\d{1,2})(?:[T,]?\s*(\d.*))?")
_CLOCK = re.compile(r"\d{1,2}:\d{2}(:\d{2}(?:[.,]\d+)?)?(\s*[ap]\.?m\.?)?", re.IGNORECASE)
_WORDY = re.compile(r"[a-z]{3}.*\d{4}|\d{4}.*[a-z]{3}", re.IGNORECASE)
_OFFSET = r"\d[T ]\s*\d.*[+-]\s*\d"
"""A time zone that is written in none of these ways: with one of them no column of times could be read at all."""
_TRUE = frozenset({"true", "yes", "y", "1", "x"})
_FALSE = frozenset({"false", "no", "n", "0"})


def read_times(cells: Cells) -> tuple[np.ndarray, np.ndarray, np.ndarray, str]:
    """Return times by word, times of day by word, which words are neither, and a note on what was assumed.

    The times are those of the device's own clock; a time zone behind them is left out. ``03/04/2026`` is read day
    first, unless the column itself says otherwise.

    Returns
    -------
    times : datetime64[us] array, shape (k,)
    of_day : timedelta64[us] array, shape (k,)
        Where a word holds a clock time without a day.
    odd : bool array, shape (k,)
    note : str
    """
    times = np.full(cells.size, np.datetime64("NaT"), dtype="M8[us]")
    of_day = np.full(cells.size, np.timedelta64("NaT"), dtype="m8[us]")
    if cells.words is None:
        if cells.typed is not None and cells.typed.dtype.kind == "M":
            return cells.typed.astype("M8[us]"), of_day, np.zeros(cells.size, dtype=bool), ""
        times, of_day, note = _counted(np.asarray(cells.typed, dtype=float))
        return times, of_day, np.isnat(times) & np.isnat(of_day) & ~cells.blank, note
    blank = cells.blank
    if cells.iso_times is not None:
        return cells.iso_times, of_day, np.zeros(cells.size, dtype=bool), ""
    plain = cells.trimmed
    numbers = np.asarray(pc.match_substring_regex(plain, r"^\d+(?:[.,]\d+)?$").to_numpy(zero_copy_only=False), bool)
    counted, note = np.zeros(cells.size, dtype=bool), ""
    if numbers.any():
        values = np.full(cells.size, np.nan)
        values[numbers] = [float(text.replace(",", ".")) for text in cells.texts(np.flatnonzero(numbers))]
        times, of_day, note = _counted(values)
        counted = ~(np.isnat(times) & np.isnat(of_day))
    for pattern, left in _ZONES:
        if pc.any(pc.match_substring_regex(plain, pattern)).as_py():
            plain = pc.replace_substring_regex(plain, pattern, left)
    words = pd.Series(pd.array(plain, dtype="str")).mask(pd.Series(counted))
    read = _moments(words, "ISO8601")
    slow = np.flatnonzero(np.isnat(read) & ~blank & ~counted)
    texts, clocks, doubt = _rewrite(words.iloc[slow].tolist())
    of_day[slow] = clocks
    read[slow] = _moments(pd.Series(texts, dtype="str"), "mixed")
    times = np.where(counted, times, read)
    return times, of_day, np.isnat(times) & np.isnat(of_day) & ~blank, " ".join(filter(None, [note, doubt]))


def _moments(words: pd.Series, form: str) -> np.ndarray:
    """Return texts as moments, missing where they are none, or none of the device's own clock."""
    plain = words.mask(words.str.contains(_OFFSET, na=False))
    return (
        pd.to_datetime(plain, format=form, errors="coerce", utc=True).dt.tz_localize(None).to_numpy().astype("M8[us]")
    )


def _counted(values: np.ndarray) -> tuple[np.ndarray, np.ndarray, str]:
    """Return numbers as times, or as times of day where they are a share of one; and how they were understood."""
    times = np.full(len(values), np.datetime64("NaT"), dtype="M8[us]")
    of_day = np.full(len(values), np.timedelta64("NaT"), dtype="m8[us]")
    note = ""
    with np.errstate(invalid="ignore"):
        for low, high, size, start, name in _COUNTED:
            rows = (values >= low) & (values < high)
            if rows.any():
                # to the millisecond: a day as a decimal number is not finer
                steps = (np.round(values[rows] * size / 1e3) * 1e3).astype("int64")
                times[rows] = np.datetime64(start, "us") + steps.astype("m8[us]")
                note = f"Numbers where times are due are read as {name}."
        share = (values > 0) & (values < 1)
    of_day[share] = (np.round(values[share] * 86_400e3) * 1e3).astype("int64").astype("m8[us]")
    return times, of_day, note


def _rewrite(words: list[str]) -> tuple[list[str | None], np.ndarray, str]:
    """Return days as year-month-day, and clock times without a day apart, so that nothing is left to guess."""
    clocks = np.full(len(words), np.timedelta64("NaT"), dtype="m8[us]")
    texts: list[str | None] = [None] * len(words)
    # no time is longer, and on a text of any length the patterns could take for ever
    words = [word if len(word) <= 80 else "" for word in words]
    days = [_NUMBERS.fullmatch(word) for word in words]
    first = [int(found[1]) for found in days if found]
    second = [int(found[2]) for found in days if found]
    month_first = any(number > 12 for number in second) and not any(number > 12 for number in first)
    for place, (word, found) in enumerate(zip(words, days, strict=True)):
        if found:
            day, month = (found[2], found[1]) if month_first else (found[1], found[2])
            year = found[3] if len(found[3]) == 4 else f"20{found[3]}"
            texts[place] = f"{year}-{month:0>2}-{day:0>2} {_colons(found[4])}".strip()
        elif found := _YEAR_FIRST.fullmatch(word):
            texts[place] = f"{found[1]}-{found[2]:0>2}-{found[3]:0>2} {_colons(found[4])}".strip()
        elif found := _PACKED.fullmatch(word):
            texts[place] = f"{found[1]}-{found[2]}-{found[3]} {found[4]}:{found[5]}:{found[6] or '00'}"
        elif _CLOCK.fullmatch(word):
            clocks[place] = _clock(word)
        elif word.casefold() not in NOTHING and _WORDY.search(word):
            texts[place] = word
    unsure = bool(first) and max(first) <= 12 and max(second) <= 12
    return texts, clocks, "Days such as 03/04/2026 are read as the 3rd of April." if unsure else ""


def _colons(clock: str | None) -> str:
    """Return the time behind a day as the reader of times takes it."""
    clock = (clock or "").strip()
    if found := _DOTTED.fullmatch(clock):
        return ":".join(filter(None, found.groups()))
    return re.sub(r"([ap])\.?m\.?$", r"\1m", clock, flags=re.IGNORECASE).replace(",", ".")


def _clock(word: str) -> np.timedelta64:
    at = pd.to_datetime(f"2000-01-01 {word.replace(',', '.')}", errors="coerce")
    return np.timedelta64("NaT") if pd.isna(at) else np.timedelta64(at - pd.Timestamp("2000-01-01"), "us")


def read_truths(values: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Return a column as True, False or missing (dtype ``boolean``), and which cells are none of them."""
    if values.dtype == bool or str(values.dtype) == "boolean":
        return values.astype("boolean"), pd.Series(False, index=values.index)
    plain = values.astype("str").str.strip().str.casefold().str.removesuffix(".0")
    truths = pd.Series(pd.NA, index=values.index, dtype="boolean")
    truths[plain.isin(_TRUE)] = True
    truths[plain.isin(_FALSE)] = False
    return truths, truths.isna() & plain.notna() & (plain != "")
