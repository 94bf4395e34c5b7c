"""Spreadsheets (XLSX, ODS) and Parquet files as pages."""

import io
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from typing import TypeVar

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import python_calamine

from coachlab.errors import DataError, MapError
from coachlab.intake.archive import PACKED, Source
from coachlab.intake.books import Span, check_book, check_cells
from coachlab.intake.cells import Cells
from coachlab.intake.headings import close_to
from coachlab.intake.pages import HEAD_LINES, Page, Wanted, count_wanted, no_header, page_of_lines, too_wide
from coachlab.intake.tables import full_header, said_above
from coachlab.settings import Settings

_Read = TypeVar("_Read")


def read_sheet(source: Source, wanted: Wanted, sheet: str | None, settings: Settings) -> Page:
    """Return the page of a spreadsheet; errors as `files.read_page` says them."""
    asked = f"{source.name} was opened as a spreadsheet."
    data = source.read()
    spans = check_book(source.name, data, settings) if data.startswith(PACKED) else {}
    book, names = _calm(asked, source.name, lambda: _open_book(data))
    if sheet is not None and sheet not in names:
        raise MapError(
            asked,
            f"No sheet {sheet!r}{close_to(sheet, names)}; found: {', '.join(map(repr, names))}.",
            "Correct the key sheet in the map.",
            path=source.name,
            sheet=sheet,
        )
    tried: list[list[list]] = []
    counts: dict[str, int] = {}
    best: tuple[int, str, int, list[list], list[Span]] | None = None
    for name in [sheet] if sheet is not None else _seen_first(book):
        lines, merged = _sheet_of(book, name, spans.get(names.index(name), []), asked, source.name)
        tried.append(lines)
        for place, line in enumerate(lines[: HEAD_LINES[-1]]):
            count = count_wanted(line, wanted)
            if count and (best is None or count > best[0]):
                best = (count, name, place, lines, merged)
        counts[name] = max((count_wanted(line, wanted) for line in lines[: HEAD_LINES[0]]), default=0)
    if best is None:
        raise no_header(
            source.name, wanted, [line for lines in tried for line in lines[: HEAD_LINES[-1]]], path=source.name
        )
    _, name, place, lines, merged = best
    if len(lines[place]) > settings.largest_columns:
        raise too_wide(source.name, len(lines[place]), settings)
    body = _filled_down(lines, place, merged)
    rows = np.arange(place + 2, len(lines) + 1)
    below = body[0] if body else []
    header, under = full_header(lines[place - 1] if place else [], lines[place], below, wanted)
    page = page_of_lines(source.name, header, body[under:], place + 1, rows[under:], sheet=name)
    notes = [note] if (note := said_above(lines[: place + 1], place, wanted)) else []
    beside = [repr(other) for other, count in counts.items() if other != name and count * 2 > max(counts.values())]
    if beside:
        notes.append(f"Sheet {name!r} is read; {', '.join(beside)} with the same headings is not: name it in the map.")
    return replace(page, notes=tuple(notes))


def book_lines(source: Source, settings: Settings) -> dict[str, list[list]]:
    """Return the cells of each sheet of a spreadsheet, line by line."""
    asked = f"{source.name} was opened as a spreadsheet."
    data = source.read()
    spans = check_book(source.name, data, settings) if data.startswith(PACKED) else {}
    book, names = _calm(asked, source.name, lambda: _open_book(data))
    return {
        name: _sheet_of(book, name, spans.get(place, []), asked, source.name)[0] for place, name in enumerate(names)
    }


def _seen_first(book: python_calamine.CalamineWorkbook) -> list[str]:
    """Return the names of the sheets, those that are hidden last."""
    hidden = {about.name for about in book.sheets_metadata if about.visible != python_calamine.SheetVisibleEnum.Visible}
    return sorted(book.sheet_names, key=lambda name: name in hidden)


def _open_book(data: bytes) -> tuple[python_calamine.CalamineWorkbook, list[str]]:
    book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
    return book, list(book.sheet_names)


def _calm(asked: str, name: str, read: Callable[[], _Read]) -> _Read:
    """Return what a call of the spreadsheet reader gives; whatever it makes of a damaged file is one error."""
    try:
        return read()
    except python_calamine.PasswordError as err:
        raise DataError(asked, "It is locked by a password.", "Save it without one.", path=name) from err
    except (python_calamine.CalamineError, OSError, ValueError, OverflowError) as err:
        raise _unreadable(asked, name, err) from err
    except BaseException as err:
        if type(err).__name__ != "PanicException":  # how the reader's own language reports a fault of the program
            raise
        raise _unreadable(asked, name, err) from err


def _unreadable(asked: str, name: str, err: BaseException) -> DataError:
    return DataError(asked, f"It cannot be read ({err}).", "Save it again as XLSX, or as CSV.", path=name)


def _sheet_of(book, name: str, spans: list[Span], asked: str, file: str) -> tuple[list[list], list[Span]]:
    """Return the lines of a sheet and its merged cells; a heading that is merged over lines stands in the lowest."""

    def read() -> tuple[list[list], list[Span]]:
        try:
            sheet = book.get_sheet_by_name(name)
        except (python_calamine.CalamineError, ValueError):
            return [], []  # a sheet that holds a chart has no cells
        ranges = sheet.merged_cell_ranges or []
        found = spans or [(top, bottom, left) for (top, left), (bottom, _) in ranges if bottom > top]
        return sheet.to_python(skip_empty_area=False), found

    lines, found = _calm(asked, file, read)
    for top, bottom, left in found:
        if bottom < min(len(lines), HEAD_LINES[-1]) and left < min(len(lines[top]), len(lines[bottom])):
            above, here = lines[top][left], lines[bottom][left]
            if here in ("", None) and isinstance(above, str):
                lines[bottom][left] = above
    return lines, found


def _filled_down(lines: list[list], header: int, spans: list[Span]) -> list[list]:
    """Return the lines below the header, a cell that is merged over several of them standing in each."""
    for top, bottom, left in spans:
        if top <= header:
            if header < bottom < len(lines) and left < len(lines[bottom]):
                lines[bottom][left] = ""  # below the header it is a heading no more
            continue
        for row in range(top + 1, min(bottom + 1, len(lines))):
            if left < len(lines[row]) and left < len(lines[top]):
                lines[row][left] = lines[top][left]
    return lines[header + 1 :]


def read_parquet(source: Source, wanted: Wanted, settings: Settings) -> Page:
    """Return the page of a Parquet file, its numbers and times kept as they are; errors as `files.read_page`."""
    headings, cells, rows = _parquet(source, lambda file, size: _table_of(file, size, source.name, settings))
    if not count_wanted(headings, wanted):
        raise no_header(source.name, wanted, [headings], path=source.name)
    return Page(source.name, headings, cells, np.arange(1, rows + 1), 0)


def parquet_headings(source: Source) -> list[str]:
    """Return the headings of a Parquet file; errors as `files.read_page`."""
    return _parquet(source, lambda file, size: [str(name) for name in file.schema_arrow.names])


def _parquet(source: Source, read: Callable[[pq.ParquetFile, int], _Read]) -> _Read:
    """Return what `read` takes from a Parquet file and its size in bytes; a damaged file is one error."""
    try:
        with source.open() as stream:
            size = stream.seek(0, io.SEEK_END)
            stream.seek(0)
            return read(pq.ParquetFile(stream), size)
    except DataError:
        raise
    except (pa.ArrowException, OSError, ValueError) as err:
        asked = f"{source.name} was opened as Parquet."
        raise DataError(asked, f"It cannot be read ({err}).", "Write it again.", path=source.name) from err


def _table_of(
    file: pq.ParquetFile, size: int, name: str, settings: Settings
) -> tuple[tuple[str, ...], tuple[Cells, ...], int]:
    about = file.metadata
    if about.num_columns > settings.largest_columns:
        raise too_wide(name, about.num_columns, settings)
    held = size * settings.largest_packing_ratio / (8 * 50)  # 8 bytes a number, beside the 50 that are free
    check_cells(name, about.num_rows, about.num_columns, settings, held)
    table = file.read()
    table.validate(full=True)  # a damaged page can hold texts that are no UTF-8, or places beyond them
    cells = tuple(_cells_of_arrow(column) for column in table.columns)
    return tuple(map(str, table.column_names)), cells, table.num_rows


def _cells_of_arrow(column: pa.ChunkedArray) -> Cells:
    kind = column.type
    if pa.types.is_timestamp(kind) and kind.tz is not None:
        column = pc.local_timestamp(column)  # the device's own clock
        kind = column.type
    if pa.types.is_timestamp(kind) or pa.types.is_date(kind):
        unit = {pa.date32(): "D", pa.date64(): "ms"}.get(kind) or kind.unit
        whole = column.cast(pa.int32() if unit == "D" else pa.int64()).cast(pa.int64())
        at = whole.fill_null(np.iinfo("int64").min).to_numpy().astype(f"M8[{unit}]")
        days = at.astype("M8[D]")
        told = (days >= np.datetime64("0001-01-01")) & (days <= np.datetime64("9999-12-31"))  # others no calendar has
        return Cells(None, None, np.where(told, at, np.datetime64("NaT")).astype("M8[us]"))
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind):
        return Cells(None, None, column.to_pandas().to_numpy(dtype=float, na_value=np.nan))
    if pa.types.is_dictionary(kind):
        column = column.cast(kind.value_type)
    if pa.types.is_binary(kind) or pa.types.is_large_binary(kind):
        with suppress(pa.ArrowInvalid):  # texts that were written without saying so
            column = column.cast(pa.string())
        kind = column.type
    if pa.types.is_nested(kind) or pa.types.is_binary(kind) or pa.types.is_large_binary(kind):
        column = pa.chunked_array([pa.array(map(str, column.to_pylist()), pa.string())])
    texts = column.cast(pa.string())
    encoded = texts.fill_null("").combine_chunks().dictionary_encode()
    if isinstance(encoded, pa.ChunkedArray):
        encoded = encoded.combine_chunks()
    return Cells(encoded.dictionary, encoded.indices.to_numpy(zero_copy_only=False))
