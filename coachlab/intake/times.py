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
_TIDY = (
    (re.compile(r"^'"), ""),
    (re.compile(r"[年月]"), "-"),
    (re.compile(r"日"), " "),
    (re.compile(r"(\d\.)\s+(?=\d)"), r"\1"),
    (re.compile(r"^[^\W\d]+(?:[.,]\s*|\s+)(?=\d{1,4}[./-]\d|\d{1,2}\.?\s+[^\W\d])"), ""),  # the day of the week
    (re.compile(r"\b([ap])\.?\s?m\.?\s+(\d[\d:.]*)$", re.IGNORECASE), r"\2 \1m"),
    (re.compile(r"(\d)h(\d{2})m?(?:(\d{2})s?)?$"), r"\1:\2:\3"),
    (re.compile(r":$"), ""),
    (re.compile(r"^(\d{1,2}:\d{2}[\d:.]*(?:\s*[ap]m)?),?\s+(\d.*)$", re.IGNORECASE), r"\2 \1"),
    (re.compile(r"(?<=\d)[.,]?\s+(?:-|at|um|à|a las|kl\.?|·|\|)\s+(?=\d{1,2}\D)"), " "),
)
"""How people write a moment otherwise than by numbers in order, and what is put in its place."""
_MONTHS = {
    word: number
    for number, words in enumerate(
        ("jan ene gen", "feb fév fev", "mar mär mrz", "apr avr abr", "may mai maj mag", "jun juin giu", "jul juil lug",
         "aug aoû aou ago", "sep set", "oct okt ott out", "nov", "dec déc dez dic"), 1
    )
    for word in words.split()
}  # fmt: skip
_DAY_MONTH = re.compile(
    r"(\d{1,2})(?:\.|st|nd|rd|th)?[\s/-]*(?:de\s)?([^\W\d]{3,12})\.?,?[\s/-]*(?:de\s)?(\d{4}|\d{2})(?!\d),?\s*(\d.*)?"
)
_PACKED = re.compile(r"(\d{4})(\d{2})(\d{2})[T _-]?(\d{2})(\d{2})(\d{2})?")
_DOTTED = re.compile(r"(\d{1,2})[.-](\d{2})(?:[.-](\d{2})(?:\.\d+)?)?(\s*[ap]m)?", re.IGNORECASE)
_OF_DAY = re.compile(r"(\d{1,2})[.-]?(\d{2})[.-]?(\d{2})|(\d{1,2})[.-](\d{2})")
"""A clock time as it can only be told where the day stands in a column of its own."""
_EPOCHS = np.array(["1899-12-30", "1899-12-31", "1900-01-01", "1904-01-01"], dtype="M8[D]")
"""The days at which spreadsheets and databases begin to count: what stands at one of them is a clock time."""
_COUNTED = (
    # numbers from, to; how long one of them is; the moment at 0; what it is called
    (2e4, 8e4, 86_400e6, "1899-12-30", "days since 1899-12-30, as spreadsheets count"),
    (9e8, 4.2e9, 1e6, "1970-01-01", "seconds since 1970"),
    (9e11, 4.2e12, 1e3, "1970-01-01", "milliseconds since 1970"),
    (9e14, 4.2e15, 1.0, "1970-01-01", "microseconds since 1970"),
)
_NUMBERS = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4}|\d{2})(?!\d)(?:[T,_]?\s*(\d.*))?")
_YEAR_FIRST = re.compile(r"(\d{4})[./-](\d{1,2})[./-](\d{1,2})(?!\d)(?:[T,_.]?\s*(\d.*))?")
_CLOCK = re.compile(r"T?\d{1,2}:\d{2}(:\d{2}(?:[.,]\d+)?)?(\s*[ap]\.?m\.?)?", re.IGNORECASE)
_WORDY = re.compile(r"[a-z]{3}.*\d{4}|\d{4}.*[a-z]{3}", re.IGNORECASE)
_OFFSET = r"\d[T ]\s*\d.*[+-]\s*\d"
"""A time zone that is written in none of these ways: with one of them no column of times could be read at all."""
_TRUE = frozenset({"true", "yes", "y", "1", "x"})
_FALSE = frozenset({"false", "no", "n", "0"})


def read_times(cells: Cells, day_known: bool = False) -> tuple[np.ndarray, np.ndarray, np.ndarray, str]:
    """Return times by word, times of day by word, which words are neither, and a note on what was assumed.

    The times are those of the device's own clock; a time zone behind them is left out. ``03/04/2026`` is read day
    first, unless the column itself says otherwise; where the day is known from elsewhere, ``14.05.30`` is a clock time.

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
            times, of_day = _without_epochs(cells.typed.astype("M8[us]"), of_day)
            return times, of_day, np.zeros(cells.size, dtype=bool), ""
        times, of_day, note = _counted(np.asarray(cells.typed, dtype=float))
        return times, of_day, np.isnat(times) & np.isnat(of_day) & ~cells.blank, note
    blank = cells.blank
    if cells.iso_times is not None:
        times, of_day = _without_epochs(cells.iso_times, of_day)
        return times, of_day, np.zeros(cells.size, dtype=bool), ""
    plain = cells.trimmed
    numbers = np.asarray(
        pc.match_substring_regex(plain, r"^(?:0|[1-9]\d*)(?:[.,]\d+)?$").to_numpy(zero_copy_only=False), bool
    )
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
    texts, clocks, doubt = _rewrite(words.iloc[slow].tolist(), day_known)
    of_day[slow] = clocks
    read[slow] = _moments(pd.Series(texts, dtype="str"), "mixed")
    times, of_day = _without_epochs(np.where(counted, times, read), of_day)
    return times, of_day, np.isnat(times) & np.isnat(of_day) & ~blank, " ".join(filter(None, [note, doubt]))


def _without_epochs(times: np.ndarray, of_day: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return times and times of day, those that stand at the beginning of a calendar among the latter."""
    old = times < _EPOCHS[-1] + 1
    if not old.any():
        return times, of_day
    days = times.astype("M8[D]")
    old &= np.isin(days, _EPOCHS)
    return np.where(old, np.datetime64("NaT"), times), np.where(old, times - days, of_day)


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


def _rewrite(words: list[str], day_known: bool) -> tuple[list[str | None], np.ndarray, str]:
    """Return days as year-month-day, and clock times without a day apart, so that nothing is left to guess."""
    clocks = np.full(len(words), np.timedelta64("NaT"), dtype="m8[us]")
    texts: list[str | None] = [None] * len(words)
    # no time is longer, and on a text of any length the patterns could take for ever
    words = [_tidied(word) if len(word) <= 80 else "" for word in words]
    if day_known:
        words = [_as_clock(word) for word in words]
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
        elif (found := _DAY_MONTH.fullmatch(word)) and (month := _month_of(found[2])):
            year = found[3] if len(found[3]) == 4 else f"20{found[3]}"
            texts[place] = f"{year}-{month:02}-{found[1]:0>2} {_colons(found[4])}".strip()
        elif word.casefold() not in NOTHING and _WORDY.search(word):
            texts[place] = word
    unsure = bool(first) and max(first) <= 12 and max(second) <= 12
    return texts, clocks, "Days such as 03/04/2026 are read as the 3rd of April." if unsure else ""


def _tidied(word: str) -> str:
    if any(form.fullmatch(word) for form in (_NUMBERS, _YEAR_FIRST, _CLOCK)):
        return word
    for pattern, instead in _TIDY:
        word = pattern.sub(instead, word)
    return word.strip()


def _as_clock(word: str) -> str:
    found = _OF_DAY.fullmatch(word.zfill(6) if word.isdecimal() and len(word) == 5 else word)
    return ":".join(filter(None, found.groups())) if found else word


def _month_of(word: str) -> int | None:
    plain = word.casefold()
    return _MONTHS.get(plain[:4]) or _MONTHS.get(plain[:3])


def _colons(clock: str | None) -> str:
    """Return the time behind a day as the reader of times takes it."""
    clock = (clock or "").strip()
    if found := _DOTTED.fullmatch(clock):
        clock = ":".join(filter(None, found.groups()[:3])) + (found[4] or "")
    return re.sub(r"([ap])\.?m\.?$", r"\1m", clock, flags=re.IGNORECASE).replace(",", ".")


def _clock(word: str) -> np.timedelta64:
    at = pd.to_datetime(f"2000-01-01 {word.lstrip('T').replace(',', '.')}", errors="coerce")
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
