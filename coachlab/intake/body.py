"""The cells of a text below its header, read in blocks.

A quick reader takes blocks whose lines all have as many cells as there are headings. Only a block with an odd line
(blank, short, long) is looked at line by line.
"""

import csv
import io
import os
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import BinaryIO

import numpy as np
import pyarrow as pa
import pyarrow.csv

from coachlab.intake.cells import Cells

_BLOCK = 1 << 22
_SMALL = 1 << 15
_FEW, _MANY = pa.dictionary(pa.int32(), pa.string()), pa.string()
"""How a column is read: its distinct texts once, or, where nearly each is another (times), as they stand."""
_CORES = os.cpu_count() or 1

_Part = tuple[np.ndarray | None, pa.Array]
"""One block of a column: for each row the place of its word, and the words; no places where each row is a word."""
_Block = tuple[list[_Part], np.ndarray, np.ndarray]
"""The columns of one block, the line of each row counted from 0, and the lines with too many cells."""


class OutOfOrder(Exception):
    """The quick reader does not fit this file's quotes or line ends."""


class OddSigns(Exception):
    """Far down in the file stand signs or line ends that the block reader does not know."""


def read_body(
    stream: BinaryIO, line: int, width: int, separator: str
) -> tuple[tuple[Cells, ...], np.ndarray, np.ndarray]:
    """Return the columns of a text below its header, the line of each row, and which rows have too many cells.

    Parameters
    ----------
    stream : binary file
        Stands at the start of the first line below the header.
    line, width : int
        The number of that line in its file; how many headings there are.
    separator : str
        One sign.

    Raises
    ------
    OutOfOrder, OddSigns, UnicodeDecodeError, pyarrow.ArrowInvalid
        If the text is to be read in another way.
    """
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
            raise OddSigns
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
                raise OutOfOrder
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
        raise OutOfOrder


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
            raise OddSigns
        try:
            cells = next(csv.reader(io.StringIO(text, newline=""), delimiter=separator), [])
        except csv.Error as err:
            raise OutOfOrder from err
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
        raise OutOfOrder
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
