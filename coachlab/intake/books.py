"""What a spreadsheet says of its own size, looked at before it is read: a small file may claim billions of cells."""

import re
from collections.abc import Iterator
from xml.parsers import expat

from coachlab.errors import DataError
from coachlab.intake.archive import member_chunks
from coachlab.settings import Settings

Span = tuple[int, int, int]
"""A merged cell: first line, last line, column, counted from 0."""

_COLUMN = re.compile(rb"""\br\s*=\s*["']([A-Za-z]{1,4})\d""")
_ROW = re.compile(rb"""\br\s*=\s*["'](?:[A-Za-z]{1,4})?(\d{1,9})["']""")
_FREE, _LOOSE = 10_000_000, 50
"""How many cells a table may claim whatever it holds, and how many for each that it holds."""
_OVERLAP = 64  # longer than any reference to a cell


def check_cells(name: str, rows: int, columns: int, settings: Settings, held: float | None = None) -> None:
    """Refuse a table of more cells than are allowed, or of far more than stand in the file; return nothing.

    Parameters
    ----------
    name : str
        The file.
    rows, columns : int
        What it claims.
    settings : Settings
        The limits.
    held : float, optional
        How many cells stand in the file itself; a far cell, or one repeated, claims many more.

    Raises
    ------
    DataError
        Naming its size.
    """
    if held is not None and rows * columns > max(_FREE, _LOOSE * held):
        raise DataError(
            f"{name} was opened.",
            f"It claims {rows:,} rows and {columns:,} columns, and nearly all of these cells are empty or repeated.",
            "Delete what stands far out, or save the table by itself.",
            path=name,
            limit="far cells",
        )
    if rows * columns > settings.largest_cells:
        raise DataError(
            f"{name} was opened.",
            f"It has {rows:,} rows and {columns:,} columns, more than {settings.largest_cells:,} cells.",
            "Export the part that is needed, or raise largest_cells in academy.toml.",
            path=name,
            limit="largest_cells",
        )


def check_book(name: str, data: bytes, settings: Settings) -> dict[int, list[Span]]:
    """Refuse a spreadsheet (XLSX, ODS) beyond the limits; return the merged cells of an ODS by the place of its sheet.

    Every member is unpacked once and counted, never kept; far cells are found by their references.

    Raises
    ------
    DataError
        If it unpacks to too much, claims too many cells, is damaged, or is of a kind that cannot be looked into.
    """
    spans: dict[int, list[Span]] = {}
    for member, chunks in member_chunks(name, data, settings):
        if member.lower().endswith(".bin") and "workbook" in member.lower():
            raise DataError(
                f"{name} was opened as a spreadsheet.", "It is a binary workbook.", "Save it as XLSX.", path=name
            )
        if member == "content.xml":
            spans = _look_into_ods(name, chunks, settings)
        elif member.lower().endswith(".xml"):
            _look_into_xlsx(name, chunks, settings)
        else:
            for _ in chunks:
                pass  # counted
    return spans


def _look_into_xlsx(name: str, chunks: Iterator[bytes], settings: Settings) -> None:
    columns: set[bytes] = set()
    rows, held, before = 0, 0, b""
    for chunk in chunks:
        text = before + chunk
        if b"\0" in text[:64]:
            raise DataError(
                f"{name} was opened as a spreadsheet.", "Its text is not UTF-8.", "Save it again as XLSX.", path=name
            )
        here = _COLUMN.findall(text)
        held += len(here)
        columns.update(here)
        rows = max(rows, max(map(int, _ROW.findall(text)), default=0))
        before = text[-_OVERLAP:]
    check_cells(name, rows, max(map(_place, columns), default=0), settings, held)


def _place(letters: bytes) -> int:
    place = 0
    for letter in letters.upper():
        place = place * 26 + letter - 64
    return place


class _Sheets:
    """Counts the cells of an ODS as its elements pass by."""

    def __init__(self, name: str, settings: Settings) -> None:
        self.name, self.settings = name, settings
        self.sheet = -1
        self.cells = self.row = self.rows = self.column = self.filled = self.repeat = self.held = 0
        self.spans: dict[int, list[Span]] = {}

    def start(self, element: str, given: dict[str, str]) -> None:
        kind = element.rpartition(":")[2]
        if element == "table:table":
            self.sheet, self.row = self.sheet + 1, 0
        elif kind == "table-row":
            self.rows = _count(given, "table:number-rows-repeated")
            self.column = self.filled = 0
        elif kind in ("table-cell", "covered-table-cell"):
            self.held += 1
            self.repeat = _count(given, "table:number-columns-repeated")
            self.column += self.repeat
            if any(key.endswith(":value-type") for key in given):
                self.filled = self.column
            over = _count(given, "table:number-rows-spanned")
            if over > 1 and len(self.spans.setdefault(self.sheet, [])) < 100_000:
                self.spans[self.sheet].append((self.row, self.row + over - 1, self.column - 1))
        elif element == "text:p":
            self.filled = self.column

    def end(self, element: str) -> None:
        if element.rpartition(":")[2] == "table-row":
            self.row += self.rows
            self.cells += self.filled * self.rows
            if self.cells > _FREE:
                check_cells(
                    self.name, max(self.cells // max(self.filled, 1), 1), max(self.filled, 1), self.settings, self.held
                )


def _count(given: dict[str, str], key: str) -> int:
    text = given.get(key, "1")
    return max(int(text), 1) if text.isascii() and text.isdigit() and len(text) < 12 else 1


def _look_into_ods(name: str, chunks: Iterator[bytes], settings: Settings) -> dict[int, list[Span]]:
    sheets = _Sheets(name, settings)
    parser = expat.ParserCreate()
    parser.StartElementHandler, parser.EndElementHandler = sheets.start, sheets.end
    try:
        for chunk in chunks:
            parser.Parse(chunk, False)
        parser.Parse(b"", True)
    except expat.ExpatError as err:
        raise DataError(
            f"{name} was opened as a spreadsheet.", f"It is damaged ({err}).", "Save it again.", path=name
        ) from err
    return sheets.spans
