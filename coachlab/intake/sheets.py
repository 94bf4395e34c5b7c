"""Spreadsheets (XLSX, ODS) and Parquet files as pages."""

import io
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import python_calamine

from coachlab.errors import DataError, MapError
from coachlab.intake.cells import Cells
from coachlab.intake.headings import close_to
from coachlab.intake.pages import HEAD_LINES, Page, Wanted, count_wanted, no_header, page_of_lines


def read_sheet(path: Path, wanted: Wanted, sheet: str | None) -> Page:
    """Return the page of a spreadsheet; errors as `files.read_page` says them."""
    asked = f"{path.name} was opened as a spreadsheet."
    try:
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(path.read_bytes()))
        names = list(book.sheet_names)
    except python_calamine.PasswordError as err:
        raise DataError(asked, "It is locked by a password.", "Save it without one.", path=path.name) from err
    except (python_calamine.CalamineError, OSError, ValueError) as err:
        raise DataError(
            asked, f"It cannot be read ({err}).", "Save it again as XLSX, or as CSV.", path=path.name
        ) from err
    if sheet is not None and sheet not in names:
        raise MapError(
            asked,
            f"No sheet {sheet!r}{close_to(sheet, names)}; found: {', '.join(map(repr, names))}.",
            "Correct the key sheet in the map.",
            path=path.name,
            sheet=sheet,
        )
    tried: list[list[list]] = []
    best: tuple[int, str, int, list[list]] | None = None
    for name in [sheet] if sheet is not None else names:
        try:
            lines = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
        except (python_calamine.CalamineError, ValueError):
            continue  # a sheet that holds a chart has no cells
        tried.append(lines)
        for place, line in enumerate(lines[: HEAD_LINES[-1]]):
            count = count_wanted(line, wanted)
            if count and (best is None or count > best[0]):
                best = (count, name, place, lines)
        if best is not None and best[0] == len(wanted):
            break
    if best is None:
        raise no_header(
            path.name, wanted, [line for lines in tried for line in lines[: HEAD_LINES[-1]]], path=path.name
        )
    _, name, place, lines = best
    rows = np.arange(place + 2, len(lines) + 1)
    return page_of_lines(path.name, lines[place], lines[place + 1 :], place + 1, rows, sheet=name)


def read_parquet(path: Path, wanted: Wanted) -> Page:
    """Return the page of a Parquet file, its numbers and times kept as they are; errors as `files.read_page`."""
    asked = f"{path.name} was opened as Parquet."
    try:
        table = pq.read_table(path)
    except (pa.ArrowException, OSError) as err:
        raise DataError(asked, f"It cannot be read ({err}).", "Write it again.", path=path.name) from err
    headings = tuple(map(str, table.column_names))
    if not count_wanted(headings, wanted):
        raise no_header(path.name, wanted, [headings], path=path.name)
    cells = tuple(_cells_of_arrow(column) for column in table.columns)
    return Page(path.name, headings, cells, np.arange(1, table.num_rows + 1), 0)


def _cells_of_arrow(column: pa.ChunkedArray) -> Cells:
    kind = column.type
    if pa.types.is_timestamp(kind) or pa.types.is_date(kind):
        return Cells(None, None, column.to_pandas().to_numpy().astype("M8[us]"))
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind):
        return Cells(None, None, column.to_pandas().to_numpy(dtype=float, na_value=np.nan))
    if pa.types.is_dictionary(kind):
        column = column.cast(kind.value_type)
    if pa.types.is_nested(kind) or pa.types.is_binary(kind):
        column = pa.chunked_array([pa.array(map(str, column.to_pylist()), pa.string())])
    texts = column.cast(pa.string())
    encoded = texts.fill_null("").combine_chunks().dictionary_encode()
    if isinstance(encoded, pa.ChunkedArray):
        encoded = encoded.combine_chunks()
    return Cells(encoded.dictionary, encoded.indices.to_numpy(zero_copy_only=False))
