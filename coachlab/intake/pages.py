"""A page: one table of a file, cells with their headings, whatever kind of file it was."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
import pandas as pd
import pyarrow as pa

from coachlab.errors import DataError, MapError
from coachlab.intake.cells import Cells
from coachlab.intake.headings import close_to, loose_heading, plain_heading, without_unit
from coachlab.settings import Settings

HEAD_LINES = (40, 500)
"""How far down a header is looked for, at first, and if none is there."""

Wanted = Mapping[str, tuple[str, ...]]
"""For each column the headings under which it may stand."""


@dataclass(frozen=True, eq=False)
class Page:
    """One table of a file: its headings and, below them, its non-blank lines.

    Attributes
    ----------
    name : str
        Name of the file.
    headings : tuple of str
        As the file has them.
    cells : tuple of Cells
        One for each heading.
    rows : int array, shape (n,)
        Line of the file (1 = the first), or record of a Parquet file.
    header_row : int
        Line of the header; 0 for Parquet.
    long : int array
        Places of lines that hold more cells than there are headings; what is too much stands in their last cell.
    separator : str, optional
        Of a text file.
    sheet : str, optional
        Of a spreadsheet.
    notes : tuple of str
        What is not read, or read otherwise than it stands.
    """

    name: str
    headings: tuple[str, ...]
    cells: tuple[Cells, ...]
    rows: np.ndarray
    header_row: int
    long: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=int))
    separator: str | None = None
    sheet: str | None = None
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.rows)

    @property
    def where(self) -> str:
        """The file, and its sheet if it has one, for a message."""
        return f"{self.name}, sheet {self.sheet!r}" if self.sheet else self.name

    def without_blank_lines(self) -> "Page":
        """Return the page without the lines in which every cell is blank."""
        blank = np.ones(len(self), dtype=bool)
        for cells in self.cells:
            if not blank.any():
                return self
            by_word = cells.blank
            blank &= cells.spread(by_word) if by_word.any() else False
        if not blank.any():
            return self
        keep = ~blank
        place = np.cumsum(keep) - 1
        kept = tuple(_pick(one, keep) for one in self.cells)
        long = place[self.long[keep[self.long]]]
        return replace(self, cells=kept, rows=self.rows[keep], long=long)

    def frame(self, replaced: Mapping[int, list[str | None]]) -> pd.DataFrame:
        """Return the lines as a table with ``source`` and ``source_row`` before them.

        Parameters
        ----------
        replaced : mapping of int to list of str, length k
            For a place among the headings other words than the file's (a pseudonym for each name).

        Notes
        -----
        A column with few distinct texts is a pandas Categorical, which takes a quarter of the memory.
        """
        n = len(self)
        columns: dict[str, object] = {
            "source": pd.Categorical.from_codes(np.zeros(n, dtype=np.int8), [self.name]),
            "source_row": self.rows,
        }
        for place, (heading, cells) in enumerate(zip(self.headings, self.cells, strict=True)):
            columns[_unused(heading or f"column {place + 1}", columns)] = _as_raw(cells, replaced.get(place))
        return pd.DataFrame(columns, copy=False)


def _pick(cells: Cells, keep: np.ndarray) -> Cells:
    if cells.codes is not None:
        return Cells(cells.words, cells.codes[keep], cells.typed)
    words = None if cells.words is None else cells.words.filter(pa.array(keep))
    return Cells(words, None, None if cells.typed is None else cells.typed[keep])


def _unused(heading: str, taken: Iterable[str]) -> str:
    if heading in ("source", "source_row"):
        heading += " (of the file)"
    name, number = heading, 2
    while name in taken:
        name, number = f"{heading} ({number})", number + 1
    return name


def _as_raw(cells: Cells, words: list[str | None] | None) -> object:
    if words is None:
        if cells.words is None:
            return cells.typed
        texts = pd.array(cells.words, dtype="str")
    else:
        texts = pd.array(["" if word is None else word for word in words], dtype="str")
    if cells.codes is None:
        return texts
    if len(texts) > max(len(cells.codes) // 2, 1000):
        return texts.take(cells.codes)
    distinct = pd.Index(texts)
    if distinct.is_unique and not distinct.hasnans:
        return pd.Categorical.from_codes(cells.codes, distinct, validate=False)
    return pd.Categorical(texts).take(cells.codes)


def cells_of(values: Sequence[object]) -> Cells:
    """Return a column of a spreadsheet, or of texts, as its distinct cells; numbers keep their type."""
    places: dict[tuple[bool, str], int] = {}
    codes = np.empty(len(values), dtype=np.int32)
    typed: list[float] = []
    for row, value in enumerate(values):
        number = isinstance(value, int | float) and not isinstance(value, bool)
        key = (number, _text_of(value))
        place = places.get(key)
        if place is None:
            place = places[key] = len(places)
            typed.append(float(value) if number else np.nan)  # type: ignore[arg-type]
        codes[row] = place
    words = pa.array([text for _, text in places], type=pa.string())
    return Cells(words, codes, np.array(typed) if not np.isnan(typed).all() else None)


def _text_of(value: object) -> str:
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, float):
        return "" if np.isnan(value) else repr(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return str(value)


def count_wanted(cells: Iterable[object], wanted: Wanted) -> int:
    """Return how many of the wanted columns have a heading among these cells."""
    names = _plain_names(tuple(wanted.items()))
    found: set[str] = set()
    for cell in cells:
        plain = plain_heading(cell)
        if plain in names:
            found.update(names[plain])
        elif plain[:1].isalpha() or plain[:1] in ("'", "=", "*"):  # a number is no heading, and there are many
            found.update(names.get(loose_heading(without_unit(cell)), names.get(loose_heading(plain), ())))
    return len(found)


@lru_cache(maxsize=8)
def _plain_names(wanted: tuple[tuple[str, tuple[str, ...]], ...]) -> dict[str, list[str]]:
    """Return the columns that a plain heading may stand for."""
    names: dict[str, list[str]] = {}
    for column, headings in wanted:
        for heading in headings:
            bare = without_unit(heading)
            for plain in {plain_heading(heading), plain_heading(bare), loose_heading(heading), loose_heading(bare)}:
                names.setdefault(plain, []).append(column)
    return names


def no_header(where: str, wanted: Wanted, lines: Sequence[Sequence[str]], **facts: object) -> MapError:
    """Return the error for a table in which no line holds any wanted heading."""
    widest = max(lines, key=lambda line: sum(bool(str(cell).strip()) for cell in line), default=[])
    shown = [str(cell).strip() for cell in widest if str(cell).strip()]
    names = [heading for headings in wanted.values() for heading in headings]
    hints = [f"{name!r}{close}" for name in names if (close := close_to(name, shown))]
    hint = f" (looked for: {', '.join(hints[:3])})" if hints else ""
    return MapError(
        f"{where} was searched for the headings of the map.",
        f"No line holds any of them{hint}; the fullest line reads: {', '.join(map(repr, shown[:12])) or 'nothing'}.",
        "Correct the headings in the map, or pass the map that belongs to this file.",
        **facts,
    )


def too_wide(where: str, columns: int, settings: Settings) -> DataError:
    """Return the error for a table with more columns than are allowed."""
    return DataError(
        f"{where} was asked for as a table of shots.",
        f"It has {columns:,} columns, more than the {settings.largest_columns:,} that are allowed.",
        "Export the columns that are needed, or raise largest_columns in academy.toml.",
        columns=columns,
    )


def page_of_lines(
    name: str,
    header: Sequence[object],
    body: Sequence[Sequence[object]],
    header_row: int,
    rows: np.ndarray,
    separator: str | None = None,
    sheet: str | None = None,
) -> Page:
    """Return the page of lines that stand in memory, each a sequence of cells."""
    headings = [str(cell).strip() for cell in header]
    width = max((len(headings), *(_filled(line) for line in body))) if sheet else len(headings)
    headings += [""] * (width - len(headings))
    long = np.array([place for place, line in enumerate(body) if _filled(line) > width], dtype=int)
    fitted = [_fit(line, width, separator or ",") for line in body]
    columns = [[line[place] for line in fitted] for place in range(width)]
    return Page(name, tuple(headings), tuple(map(cells_of, columns)), rows, header_row, long, separator, sheet)


def _filled(line: Sequence[object]) -> int:
    return max(
        (place + 1 for place, cell in enumerate(line) if cell not in (None, "") and str(cell).strip()), default=0
    )


def _fit(line: Sequence[object], width: int, separator: str) -> list[object]:
    """Return a line with as many cells as there are headings; what is too much goes into the last."""
    filled = _filled(line)
    cells = list(line[: max(filled, 1)])
    if filled > width:
        return [*cells[: width - 1], separator.join(map(str, cells[width - 1 :]))]
    return cells + [""] * (width - len(cells))
