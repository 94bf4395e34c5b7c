"""Text files: their encoding, separator and header found. A file whose quotes are in disorder is read slowly."""

import codecs
import csv
import io
import re
from dataclasses import replace
from typing import BinaryIO

import numpy as np
import pyarrow as pa

from coachlab.errors import DataError, MapError
from coachlab.intake.archive import Source
from coachlab.intake.body import OddSigns, OutOfOrder, read_body
from coachlab.intake.encoding import HEAD, decoded, eight_bits, encoding_of
from coachlab.intake.headings import plain_heading
from coachlab.intake.pages import HEAD_LINES, Page, Wanted, count_wanted, no_header, page_of_lines, too_wide
from coachlab.intake.tables import full_header, is_numbered, said_above, spans_of
from coachlab.settings import Settings

SEPARATORS = (",", ";", "\t", "|")
ODD_SEPARATORS = (":", "^", "~", "/", "\\", "#", "!", "&", "*", "=", "\x1f", "\x1e", "\x01", "¦", "§", " ")
"""Looked at where none of the usual ones parts the headings."""


def read_lines(source: Source, wanted: Wanted, settings: Settings | None = None) -> Page:
    """Return the page of a text file; errors as `files.read_page` says them."""
    settings = settings or Settings()
    with source.open() as stream:
        head = stream.read(HEAD)
        encoding = encoding_of(head)
        if encoding == "utf-8":
            try:
                codecs.getincrementaldecoder("utf-8")().decode(head)
                return _read_stream(source.name, stream, head, wanted, settings)
            except UnicodeDecodeError:
                encoding = eight_bits(head)
            except OddSigns:
                pass
            except MapError as err:
                return _read_aligned(source.name, source.read(), wanted, settings, err)
    text = decoded(source.read(), encoding)
    if "\r" in text and ("\n" not in text or '"' not in text):
        text = re.sub(r"\r+\n|\r", "\n", text)
    data = text.replace("\0", "").encode("utf-8", "replace")
    try:
        return _read_stream(source.name, io.BytesIO(data), data[:HEAD], wanted, settings)
    except MapError as err:
        return _read_aligned(source.name, data, wanted, settings, err)


def _read_aligned(name: str, data: bytes, wanted: Wanted, settings: Settings, refused: MapError) -> Page:
    """Return the page of a text whose columns stand apart by two blanks or more, if it is one."""
    written = data.decode("utf-8", "replace").split("\n")
    data = re.sub(rb" {2,}", b"\t", re.sub(rb"(?m)^ +| +(?=\r?$)", b"", data))
    try:
        page = _read_stream(name, io.BytesIO(data), data[:HEAD], wanted, settings)
    except (MapError, UnicodeDecodeError, OddSigns):
        raise refused from None
    width = len(page.headings)
    below = [line.rstrip("\r") for line in written[page.header_row - 1 :]]
    spans = spans_of(below)
    rows = [[line[first:last].strip() for first, last in spans] for line in below]
    if tuple(rows[0]) == page.headings and not any("  " in cell for row in rows for cell in row):
        data = "\n".join([*[""] * (page.header_row - 1), *map("\t".join, rows)]).encode()
        return _read_stream(name, io.BytesIO(data), data[:HEAD], wanted, settings)
    for number, line in enumerate(data.split(b"\n")[page.header_row :], page.header_row + 1):
        if line.strip() and line.count(b"\t") != width - 1:
            raise DataError(
                f"{name} was read as columns parted by blanks.",
                f"Line {number} has {line.count(bytes([9])) + 1} cells, the header {width}: a blank cell cannot be "
                "told from a gap.",
                "Export it with commas, semicolons or tabs.",
                path=name,
                row=number,
            )
    return page


def _read_stream(name: str, stream: BinaryIO, head: bytes, wanted: Wanted, settings: Settings) -> Page:
    separator, header, header_row, last_row, note = _find_header(name, head, wanted)
    if len(header) > settings.largest_columns:
        raise too_wide(name, len(header), settings)
    start = 0
    for _ in range(last_row):
        start = head.find(b"\n", start) + 1 or len(head)
    headings = tuple(cell.strip() for cell in header)
    stream.seek(start)
    try:
        cells, rows, long = read_body(stream, last_row + 1, len(headings), separator)
    except (OutOfOrder, pa.ArrowInvalid):
        stream.seek(start)
        page = _read_slowly(name, stream, headings, header_row, last_row, separator)
        return replace(page, notes=note)
    return Page(name, headings, cells, rows, header_row, long, separator, notes=note)


def _find_header(name: str, head: bytes, wanted: Wanted) -> tuple[str, list[str], int, int, tuple[str, ...]]:
    """Return separator, cells of the header, its first and last line, and a note on what is not read above it."""
    lines = _lines_of(head.decode("utf-8-sig", "replace"))[: HEAD_LINES[-1]]
    if not any(line.strip() for line in lines):
        raise DataError(
            f"{name} was asked for as a table of shots.", "The file is blank.", "Export it again.", path=name
        )
    for depth in HEAD_LINES:
        best: tuple[int, int] = (0, 0)
        header: tuple[str, list[tuple[int, int, list[str]]], int] | None = None
        for separator in (*SEPARATORS, *ODD_SEPARATORS):
            odd = separator in ODD_SEPARATORS
            if odd and best[0] == len(wanted):
                break
            rows = split_cells(lines[:depth], separator)
            for place, (first, _, cells) in enumerate(rows):
                count = count_wanted(cells, wanted)
                if not count or count < best[0]:
                    continue
                if separator == " " and count < len(wanted) and "  " in lines[first - 1].strip():
                    continue  # columns in line, some headings of two words
                # of two separators that find the same headings the one that splits the lines below alike
                below = rows[place + 1 :]
                alike = sum(len(other) == len(cells) for _, _, other in below)
                better = count > best[0] or (
                    alike > best[1] and header is not None and first == header[1][header[2]][0]
                )
                if better and not (odd and (count == best[0] or alike * 2 < len(below))):
                    best, header = (count, alike), (separator, rows, place)
                if count == len(wanted):
                    break
        if header is not None:
            separator, rows, place = header
            every = [cells for _, _, cells in rows]
            above, under_it = every[place - 1] if place else [], every[place + 1] if place + 1 < len(every) else []
            cells, under = full_header(above, every[place], under_it, wanted)
            note = said_above(every, place, wanted)
            first, last, _ = rows[place]
            if is_numbered(lines[last:depth], every[place + 1 :], len(cells)):
                cells = ["", *cells]
            return separator, cells, first, rows[place + under][1], (note,) if note else ()
    _refuse_other_separator(name, lines, wanted)
    split = [split_cells(lines, separator) for separator in SEPARATORS]
    fullest = max(split, key=lambda rows: sum(len(cells) for _, _, cells in rows))
    raise no_header(name, wanted, [cells for _, _, cells in fullest], path=name)


def _lines_of(text: str) -> list[str]:
    lines = text.split("\n")
    return [line.replace("\r", "").replace("\0", "") + "\n" for line in (lines[:-1] if lines[-1] == "" else lines)]


def split_cells(lines: list[str], separator: str, name: str = "", above: int = 0) -> list[tuple[int, int, list[str]]]:
    """Return first line, last line and cells of each row; a quoted cell may run over lines.

    Where a cell is longer than any (131,072 signs), the rows before it; with a name of the file that is refused.
    """
    reader = csv.reader(lines, delimiter=separator, skipinitialspace=separator != "\t")
    rows, before = [], 0
    try:
        for cells in reader:
            rows.append((before + 1, reader.line_num, cells))
            before = reader.line_num
    except csv.Error as err:
        if name:
            raise DataError(
                f"{name} was split into columns.",
                f"Line {above + before + 1} cannot be read ({err}).",
                "Look for a quote that is never closed, or export it again.",
                path=name,
                row=above + before + 1,
            ) from err
    return rows


def _refuse_other_separator(name: str, lines: list[str], wanted: Wanted) -> None:
    """Refuse a file whose header is there, but parted by something that is no separator here."""
    for number, line in enumerate(lines, 1):
        plain = plain_heading(line)
        there = [heading for headings in wanted.values() for heading in headings if plain_heading(heading) in plain]
        if len(there) > 1 and len(there) * 2 > len(wanted):
            raise MapError(
                f"{name} was split into columns.",
                f"Line {number} holds the headings {', '.join(map(repr, there[:4]))}, "
                "but not parted by comma, semicolon, tab or pipe.",
                "Export it with one of these separators.",
                path=name,
                row=number,
            )


def _read_slowly(
    name: str, stream: BinaryIO, headings: tuple[str, ...], header_row: int, last_row: int, separator: str
) -> Page:
    rows = split_cells(_lines_of(stream.read().decode("utf-8", "replace")), separator, name, last_row)
    body = [cells for _, _, cells in rows]
    numbers = np.array([first + last_row for first, _, _ in rows], dtype=np.int64)
    return page_of_lines(name, headings, body, header_row, numbers, separator=separator)
