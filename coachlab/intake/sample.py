"""A file of which nothing is known yet: where its table begins, and what its columns look like."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coachlab.errors import DataError
from coachlab.intake.archive import BOOK, PACKED, PARQUET, Source
from coachlab.intake.cells import ACROSS, DECIDES, SIDES, Cells, number_of, plain_number, split_words
from coachlab.intake.encoding import decoded, eight_bits, encoding_of
from coachlab.intake.files import read_page
from coachlab.intake.findings import sound
from coachlab.intake.headings import heading_unit
from coachlab.intake.lines import ODD_SEPARATORS, SEPARATORS, split_cells
from coachlab.intake.pages import Page
from coachlab.intake.sheets import book_lines, parquet_headings
from coachlab.settings import Settings
from coachlab.units import read_unit

ROWS = 3000
"""How many lines are looked at."""
_HEAD = 1 << 19
_LIKE_NUMBER = re.compile(
    r"(?:[a-zA-Z]{0,5}\s)?[+\-−–]?\s?[\d.,]*\d[\d.,:'’ \-/T]*(?:[eE][+-]?\d+)?\s*[a-zA-Z°\"%/]{0,6}(?:\s[a-zA-Z]+)?"
)
_PARTS = re.compile(r"(?:([^\W\d]+):?\s?)?([+-]?\s?[\d.,' ]*\d(?:[eE][+-]?\d+)?)\s*(.*)")
_WAYS = SIDES | {"outward": 1, "inward": -1, "open": 1, "closed": -1, "up": 1, "down": -1, "toe": 1, "heel": -1}


@dataclass(frozen=True, eq=False)
class Looked:
    """What one column of a file looks like.

    Attributes
    ----------
    heading : str
        As the file has it.
    texts : tuple of str
        Its cells, without units row and blank ones.
    values : float array, shape (n,)
        Its numbers in the file's own unit and by the sides in its cells, row by row; missing where there is none.
    unit : str
        From the brackets, a row of units or the cells; empty where none stands.
    unit_from : str
        Where the unit stands.
    sided : bool
        Whether its cells name a side.
    cells : Cells
        The column itself.
    """

    heading: str
    texts: tuple[str, ...]
    values: np.ndarray
    unit: str
    unit_from: str
    sided: bool
    cells: Cells

    @property
    def numbers(self) -> float:
        """The share of its filled cells that are numbers."""
        return float(np.isfinite(self.values).sum() / len(self.texts)) if self.texts else 0.0


def look_at(source: Source, settings: Settings) -> tuple[Page, list[Looked], str]:
    """Return the page of a file, what its columns look like, and the decimal mark.

    Raises
    ------
    DataError
        If no line looks like a header with numbers below it.
    """
    with source.open() as stream:
        start = stream.read(16)
    sheet, data = None, source
    if start.startswith((PACKED, BOOK)):
        found = {name: _header_of(lines) for name, lines in book_lines(source, settings).items()}
        sheet = max(found, key=lambda name: found[name][0])
        headings = found[sheet][1]
    elif start.startswith(PARQUET):
        headings = parquet_headings(source)
    else:
        with source.open() as stream:
            head = stream.read(_HEAD)
        if len(head) == _HEAD:
            head = head[: head.rfind(b"\n") + 1] or head
        data = Source(source.name, data=head)
        lines = _text_of(head).splitlines(keepends=True)[:200]
        headings = max(
            (_header_of([cells for _, _, cells in split_cells(lines, one)]) for one in (*SEPARATORS, *ODD_SEPARATORS)),
            key=lambda one: one[0],
        )[1]
    if not headings:
        raise DataError(
            f"{source.name} was looked at for its headings.",
            "No line looks like a header with numbers below it.",
            "Give the export as CSV, XLSX, ODS or Parquet, with its headings.",
            path=source.name,
        )
    page = read_page(data, {str(place): (name,) for place, name in enumerate(headings)}, sheet, settings)
    mark = _mark_of(page)
    return page, [_look(page, place, mark) for place in range(len(page.headings)) if page.headings[place]], mark


def _text_of(head: bytes) -> str:
    encoding = encoding_of(head)
    if encoding == "utf-8":
        try:
            return head.decode("utf-8-sig")
        except UnicodeDecodeError:
            encoding = eight_bits(head)
    return decoded(head, encoding).replace("\r\n", "\n").replace("\r", "\n").replace("\0", "")


def _header_of(lines: Sequence[Sequence[object]]) -> tuple[float, list[str]]:
    """Return how much like a header the best line looks, and its cells: words that stand above numbers."""
    shown = [[str(cell if cell is not None else "").strip()[:100] for cell in line] for line in lines[:60]]
    best: tuple[float, list[str]] = (0.0, [])
    for place, cells in enumerate(shown[:40]):
        below = [line for line in shown[place + 1 : place + 26] if any(line)]
        words = [bool(cell) and not _LIKE_NUMBER.fullmatch(cell) for cell in cells]
        if not below or not any(words):
            continue
        above = 0
        for column in np.flatnonzero(words):
            under = [line[column] for line in below if column < len(line) and line[column]]
            above += sum(bool(_LIKE_NUMBER.fullmatch(cell)) for cell in under) * 2 > max(len(under), 1)
        units = sum(read_unit(cell) is not None for cell in cells)
        score = above + 0.1 * sum(words) - 0.5 * units
        if score > best[0] + 1e-9:
            best = score, [cell for cell in cells if cell]
    return best


def _mark_of(page: Page) -> str:
    votes = dict.fromkeys(DECIDES, 0)
    for cells in page.cells:
        if cells.words is not None:
            for mark, pattern in DECIDES.items():
                votes[mark] += sum(bool(re.match(pattern, text)) for text in cells.trimmed.to_pylist()[:ROWS])
    if votes["."] == votes[","]:
        return "," if page.separator == ";" else "."
    return max(votes, key=votes.__getitem__)


def _look(page: Page, place: int, mark: str) -> Looked:
    cells, heading = page.cells[place], page.headings[place]
    n = min(len(page), ROWS)
    if cells.words is None and cells.typed is not None:
        timed = cells.typed.dtype.kind == "M"
        values = np.full(n, np.nan) if timed else np.asarray(cells.spread(cells.typed)[:n], dtype=float)
        filled = tuple(text for value in cells.spread(cells.typed)[:n] if (text := str(value)) not in ("nan", "NaT"))
        unit = heading_unit(heading) or ""
        return Looked(heading, filled, sound(values), unit, "the brackets" if unit else "", False, cells)
    by_word = cells.trimmed.to_pylist()
    typed = cells.typed if cells.typed is not None else np.full(len(by_word), np.nan)
    read = [_parts_of(text, number, mark) for text, number in zip(by_word, typed, strict=True)]
    places = np.arange(len(page)) if cells.codes is None else cells.codes
    rows = [int(one) for one in places[:n]]
    values = np.array([read[row][0] for row in rows])
    in_cells = [read[row][1] for row in rows if read[row][1]]
    unit, unit_from = (heading_unit(heading) or heading_unit(heading.replace("_", " ")) or ""), "the heading"
    if unit and heading.rstrip().endswith((")", "]")):
        unit_from = "the brackets"
    first = [by_word[row] for row in rows[:3]]
    row_unit = next((known for text in first if (known := read_unit(text)) and text), None)
    if not unit and row_unit:
        unit, unit_from = row_unit, "a row of units"
    if in_cells and len(in_cells) * 2 > len(rows):
        unit, unit_from = max(set(in_cells), key=in_cells.count), "the cells"
    named = [not text or read_unit(text) is not None for text in by_word]
    texts = tuple(by_word[row] for row in rows if not named[row])
    sided = sum(read[row][2] for row in rows) * 4 > len(rows)
    return Looked(heading, texts, sound(values), unit, unit_from if unit else "", sided, cells)


def _parts_of(text: str, typed: float, mark: str) -> tuple[float, str, bool]:
    """Return number, unit and whether a side is named, of one cell."""
    if typed == typed:
        return float(typed), "", False
    if len(text) > 100:
        return np.nan, "", False
    text = plain_number(text)
    for across, way in ACROSS:
        text = across.sub(f"{way}ward", text)
    found = _PARTS.fullmatch(text)
    if found is None:
        return np.nan, "", False
    before, digits, after = found.groups()
    number = number_of(digits.replace(" ", ""), mark)
    words = [*split_words(before or ""), *split_words(after)]
    side = next((_WAYS[word.casefold()] for word in words if word.casefold() in _WAYS), 0)
    rest = " ".join(word for word in words if word.casefold() not in _WAYS)
    unit = (read_unit(rest) or "") if rest else ""
    if number is None or (rest and not unit):
        return np.nan, "", False
    return number * (side or 1), unit, bool(side)
