"""Text files: their encoding, separator and header found, their cells read in blocks.

A quick reader takes blocks whose lines all have as many cells as there are headings. Only a block with an odd line
(blank, short, long) is looked at line by line, and a file whose quotes are in disorder is read slowly as a whole.
"""

import codecs
import csv
import io
import os
import re
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from typing import BinaryIO

import numpy as np
import pyarrow as pa
import pyarrow.csv

from coachlab.errors import DataError, MapError
from coachlab.intake.archive import Source
from coachlab.intake.cells import Cells
from coachlab.intake.encoding import HEAD, decoded, eight_bits, encoding_of
from coachlab.intake.headings import plain_heading
from coachlab.intake.pages import HEAD_LINES, Page, Wanted, count_wanted, no_header, page_of_lines, too_wide
from coachlab.intake.tables import full_header, is_numbered, said_above, spans_of
from coachlab.settings import Settings

SEPARATORS = (",", ";", "\t", "|")
ODD_SEPARATORS = (":", "^", "~", "/", "\\", "#", "!", "&", "*", "=", "\x1f", "\x1e", "\x01", "¦", "§", " ")
"""Looked at where none of the usual ones parts the headings."""
_BLOCK = 1 << 22
_SMALL = 1 << 15
_FEW, _MANY = pa.dictionary(pa.int32(), pa.string()), pa.string()
"""How a column is read: its distinct texts once, or, where nearly each is another (times), as they stand."""
_CORES = os.cpu_count() or 1

_Part = tuple[np.ndarray | None, pa.Array]
"""One block of a column: for each row the place of its word, and the words; no places where each row is a word."""
_Block = tuple[list[_Part], np.ndarray, np.ndarray]
"""The columns of one block, the line of each row counted from 0, and the lines with too many cells."""


class _OutOfOrder(Exception):
    """The quick reader does not fit this file's quotes or line ends."""


class _OddSigns(Exception):
    """Far down in the file stand signs or line ends that the block reader does not know."""


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
            except _OddSigns:
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
    except (MapError, UnicodeDecodeError, _OddSigns):
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
        cells, rows, long = _read_body(stream, last_row + 1, len(headings), separator)
    except (_OutOfOrder, pa.ArrowInvalid):
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


def _read_body(
    stream: BinaryIO, line: int, width: int, separator: str
) -> tuple[tuple[Cells, ...], np.ndarray, np.ndarray]:
    parts: list[list[_Part]] = [[] for _ in range(width)]
    numbers: list[np.ndarray] = []
    long: list[np.ndarray] = []

    def join(place: int) -> Cells:
        blocks, parts[place] = parts[place], []
        return _joined(blocks)

    with ThreadPoolExecutor(_CORES) as pool:
        for lines, (block, rows, too_long) in _read_blocks(stream, width, separator, pool):
            for part, one in zip(parts, block, strict=True):
                part.append(one)
            numbers.append(rows + line)
            long.append(too_long + line)
            line += lines
        cells = tuple(pool.map(join, range(width)))
    rows = np.concatenate(numbers) if numbers else np.zeros(0, dtype=np.int64)
    long_rows = np.concatenate(long) if long else np.zeros(0, dtype=np.int64)
    pa.default_memory_pool().release_unused()
    return cells, rows, np.flatnonzero(np.isin(rows, long_rows))


def _read_blocks(
    stream: BinaryIO, width: int, separator: str, pool: ThreadPoolExecutor
) -> Iterator[tuple[int, _Block]]:
    """Yield the lines and the cells of each block in order, the next blocks being read meanwhile."""
    kinds, looked = [_FEW] * width, False
    ahead: deque[tuple[int, Future[_Block]]] = deque()
    try:
        for block, inside in _blocks(stream, separator.encode()):
            lines = int(np.count_nonzero(np.frombuffer(block, dtype=np.uint8) == ord("\n")))  # quicker than bytes.count
            ahead.append((lines, pool.submit(_read_block, block, lines, inside, kinds, separator)))
            if not looked:
                kinds, looked = _kinds_of(ahead[0][1].result()), True
            if len(ahead) > _CORES:
                yield ahead[0][0], ahead.popleft()[1].result()
        while ahead:
            yield ahead[0][0], ahead.popleft()[1].result()
    finally:
        for _, task in ahead:  # what comes after a fault is not waited for
            task.cancel()


def _kinds_of(block: _Block) -> list[pa.DataType]:
    """Return how the columns of the blocks after this first one are best read."""
    parts, rows, _ = block
    most = max(1000, len(rows) // 2)
    return [_MANY if len(words) > most else _FEW for _, words in parts]


def _joined(blocks: list[_Part]) -> Cells:
    """Return the blocks of one column as one, with the smallest codes that hold them."""
    if not blocks:
        return Cells(pa.array([], pa.string()), np.zeros(0, dtype=np.int16))
    coded = [(codes, words) for codes, words in blocks if codes is not None]
    if len(coded) < len(blocks):
        return Cells(pa.concat_arrays([words if codes is None else words.take(codes) for codes, words in blocks]))
    encoded = pa.concat_arrays([words for _, words in coded]).dictionary_encode()
    kind = np.int16 if len(encoded.dictionary) < _SMALL else np.int32
    places = encoded.indices.to_numpy(zero_copy_only=False).astype(kind)
    joined = np.empty(sum(len(codes) for codes, _ in coded), dtype=kind)
    row = word = 0
    for codes, words in coded:
        joined[row : row + len(codes)] = places[word : word + len(words)][codes]
        row, word = row + len(codes), word + len(words)
    return Cells(encoded.dictionary, joined)


def _parts_of(table: pa.Table) -> list[_Part]:
    return [_part_of(column) for column in table.columns]


def _part_of(column: pa.ChunkedArray) -> _Part:
    """Return one block of a column as codes and words, or as words alone."""
    if column.type == _MANY:
        return None, column.combine_chunks()
    chunk = column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()
    small = np.int16 if len(chunk.dictionary) < _SMALL else np.int32
    return chunk.indices.to_numpy(zero_copy_only=False).astype(small), chunk.dictionary


def _blocks(stream: BinaryIO, separator: bytes) -> Iterator[tuple[bytes, np.ndarray | None]]:
    """Yield whole lines in blocks, and for each byte whether it stands in quotes (None: no quotes)."""
    size = _BLOCK
    while data := stream.read(size):
        if b"\0" in data:
            raise _OddSigns
        ended = len(data) < size
        inside = None
        if b'"' in data:
            codes = np.frombuffer(data, dtype=np.uint8)
            inside = np.logical_xor.accumulate(codes == ord('"'))
            ends = np.flatnonzero((codes == ord("\n")) & ~inside)
            cut = int(ends[-1]) + 1 if len(ends) else 0
        else:
            cut = data.rfind(b"\n") + 1
        if ended:
            if inside is not None and inside[-1]:
                raise _OutOfOrder
            cut = len(data)
        stream.seek(cut - len(data), io.SEEK_CUR)
        if not cut:  # one cell in quotes fills the block
            size *= 2
            continue
        block = data[:cut]
        if not block.isascii():
            block.decode("utf-8")
        if inside is not None:
            inside = inside[:cut]
            _check_quotes(block, inside, separator)
        yield block, inside


def _check_quotes(block: bytes, inside: np.ndarray, separator: bytes) -> None:
    """Refuse quotes that do not open at the start of a cell and close at its end, as an inch mark does."""
    data = np.frombuffer(block, dtype=np.uint8)
    quotes = np.flatnonzero(data == ord('"'))
    edge = np.zeros(256, dtype=bool)
    edge[[ord(separator), ord("\n"), ord("\r"), ord('"')]] = True
    opening, closing = quotes[inside[quotes]], quotes[~inside[quotes]]
    before = np.concatenate([[ord("\n")], data])[opening]
    after = np.concatenate([data, [ord("\n")]])[closing + 1]
    if not (edge[before].all() and edge[after].all()):
        raise _OutOfOrder


def _read_block(
    block: bytes, newlines: int, inside: np.ndarray | None, kinds: list[pa.DataType], separator: str
) -> _Block:
    """Return one block of the file; where all its lines are as wide as the header nothing else is looked at."""
    none, width = np.zeros(0, dtype=np.int64), len(kinds)
    if inside is None:
        odd_lines: list[int] = []
        table = _parse(block, kinds, separator, odd_lines)
        if not odd_lines and table.num_rows == newlines + (not block.endswith(b"\n")):
            return _parts_of(table), np.arange(table.num_rows), none
    data = np.frombuffer(block, dtype=np.uint8)
    out = True if inside is None else ~inside
    ends = np.flatnonzero((data == ord("\n")) & out)
    if not block.endswith(b"\n"):
        ends = np.append(ends, len(block))
    starts = np.concatenate([[0], ends[:-1] + 1])
    separators = np.flatnonzero((data == ord(separator)) & out)
    counts = np.searchsorted(separators, ends) - np.searchsorted(separators, starts)
    lines = np.searchsorted(np.flatnonzero(data == ord("\n")), starts)
    keep = np.ones(len(starts), dtype=bool)
    pieces, done, long = [], 0, []
    for place in np.flatnonzero((counts != width - 1) | (ends - starts <= 1)):
        start, end = starts[place], ends[place]
        pieces.append(block[done:start])
        text = block[start:end].decode().rstrip("\r")
        if "\r" in text and '"' not in text:
            raise _OddSigns
        try:
            cells = next(csv.reader(io.StringIO(text, newline=""), delimiter=separator), [])
        except csv.Error as err:
            raise _OutOfOrder from err
        while cells and not cells[-1].strip():
            cells.pop()
        if not cells:
            keep[place] = False
        elif len(cells) > width:
            long.append(lines[place])
            cells = [*cells[: width - 1], separator.join(cells[width - 1 :])]
        if cells:
            written = io.StringIO()
            csv.writer(written, delimiter=separator, lineterminator="\n", quoting=csv.QUOTE_ALL).writerow(
                cells + [""] * (width - len(cells))
            )
            pieces.append(written.getvalue().encode())
        done = min(end + 1, len(block))
    pieces.append(block[done:])
    odd_lines = []
    table = _parse(b"".join(pieces), kinds, separator, odd_lines)
    if odd_lines or table.num_rows != keep.sum():
        raise _OutOfOrder
    return _parts_of(table), lines[keep], np.array(long, dtype=np.int64)


def _parse(block: bytes, kinds: list[pa.DataType], separator: str, odd_lines: list[int]) -> pa.Table:
    names = [str(place) for place in range(len(kinds))]
    types = dict(zip(names, kinds, strict=True))

    def odd(row: pa.csv.InvalidRow) -> str:
        odd_lines.append(row.actual_columns)
        return "skip"

    if not block:
        return pa.table({name: pa.array([], kind) for name, kind in types.items()})
    return pa.csv.read_csv(
        pa.BufferReader(block),
        read_options=pa.csv.ReadOptions(column_names=names, block_size=len(block) + 1),
        parse_options=pa.csv.ParseOptions(
            delimiter=separator, newlines_in_values=True, ignore_empty_lines=False, invalid_row_handler=odd
        ),
        convert_options=pa.csv.ConvertOptions(column_types=types, null_values=[], strings_can_be_null=False),
    )


def _read_slowly(
    name: str, stream: BinaryIO, headings: tuple[str, ...], header_row: int, last_row: int, separator: str
) -> Page:
    rows = split_cells(_lines_of(stream.read().decode("utf-8", "replace")), separator, name, last_row)
    body = [cells for _, _, cells in rows]
    numbers = np.array([first + last_row for first, _, _ in rows], dtype=np.int64)
    return page_of_lines(name, headings, body, header_row, numbers, separator=separator)
