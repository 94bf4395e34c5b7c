"""How a table stands in its file: headings over two lines, units above, columns in line, tables in another order."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import zip_longest

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coachlab.intake.cells import Cells
from coachlab.intake.headings import heading_unit, loose_heading, plain_heading, without_unit
from coachlab.intake.pages import Page, Wanted, cells_of, count_wanted
from coachlab.intake.rows import is_total
from coachlab.units import read_unit

Line = Sequence[object]


def full_header(above: Line, cells: Line, below: Line, wanted: Wanted) -> tuple[list, bool]:
    """Return the cells of a header with what a line above or below adds to them, and whether the one below did.

    A line of units above is put in brackets behind the headings; a line of words goes before headings that stand
    several times, or is joined where more of the wanted headings come of it.
    """
    there = [_text(cell) for cell in above if _text(cell)]
    if len(there) > 1 and all(read_unit(text) for text in there):
        pairs = zip_longest(cells, above[: len(cells)], fillvalue="")
        return [f"{cell} [{_text(unit)}]" if _needs(cell, unit) else cell for cell, unit in pairs], False
    names = [plain_heading(_text(cell)) for cell in cells]
    if len(there) > 1 and len({*names} - {""}) < sum(map(bool, names)):
        cells = [
            f"{_group(above, place)} {cell}".strip() if name and names.count(name) > 1 else cell
            for place, (cell, name) in enumerate(zip(cells, names, strict=True))
        ]
    best = count_wanted(cells, wanted)
    if best < len(wanted):
        for first, second, under in ((above, cells, False), (cells, below, True)):
            both = [" ".join(filter(None, map(_text, pair))) for pair in zip_longest(first, second, fillvalue="")]
            both = [
                _text(cell) if count_wanted([cell], wanted) >= count_wanted([joined], wanted) else joined
                for cell, joined in zip_longest(cells, both, fillvalue="")
            ]
            if count_wanted(both, wanted) > best:
                return both, under
    return list(cells), False


def _group(above: Line, place: int) -> str:
    """Return what a line says above a place, there or last before it: whose speed it is, the club's or the ball's."""
    return next((text for cell in above[place::-1] if (text := _text(cell))), "")


def _text(cell: object) -> str:
    return "" if cell is None else str(cell).strip()


def _needs(cell: object, unit: object) -> bool:
    return bool(_text(cell) and _text(unit)) and heading_unit(cell) is None


def said_above(lines: Sequence[Line], place: int, wanted: Wanted) -> str:
    """Return a note where a line far above the header holds half as many headings: that table is not read."""
    least = max(2, count_wanted(lines[place], wanted) / 2)
    for number, line in enumerate(lines[: max(place - 1, 0)]):
        count = count_wanted(line, wanted)
        if count >= least:
            return (
                f"Line {number + 1} holds {count} of the headings that stand together in line {place + 1}: the table "
                "between them is not read. If it holds shots, put it into a file of its own."
            )
    return ""


def find_headings(page: Page) -> tuple[np.ndarray, np.ndarray]:
    """Return which lines repeat the headings, and which of them in another order."""
    keys: dict[str, int] = {}
    for place, heading in enumerate(page.headings):
        for text in (heading, without_unit(heading)) if heading else ():
            for written in (text, text.replace("\n", "\r\n")):
                keys.setdefault(written.strip().lower(), place)
    place_of = np.array([*keys.values(), -1])
    same, moved = np.zeros(len(page), dtype=np.int16), np.zeros(len(page), dtype=np.int16)
    known = pa.array(list(keys), pa.string())
    for place, cells in enumerate(page.cells):
        if cells.words is None or cells.iso_times is not None:
            continue
        found = pc.index_in(pc.utf8_lower(cells.trimmed), value_set=known)
        if found.null_count < len(found):
            at = place_of[found.fill_null(-1).to_numpy(zero_copy_only=False)]
            here = (at == place) | _named_alike(page, place, at)
            same += cells.spread(here)
            moved += cells.spread((at >= 0) & ~here)
    named = sum(bool(heading) for heading in page.headings)
    other = (moved > 0) & (same + moved > 1) & ((same + moved) * 2 >= named)
    return (same * 2 >= max(named, 1)) | other, other


def _named_alike(page: Page, place: int, at: np.ndarray) -> np.ndarray:
    alike = [one for one, heading in enumerate(page.headings) if heading == page.headings[place]]
    return np.isin(at, alike)


def in_order(page: Page, headings: np.ndarray, moved: np.ndarray) -> Page:
    """Return the page with the lines below headings in another order brought into the order of its own headings."""
    if not moved.any():
        return page
    columns = [_values(cells) for cells in page.cells]
    keys = [loose_heading(without_unit(heading)) for heading in page.headings]
    starts = np.flatnonzero(headings)
    for start, end in zip(starts, [*starts[1:], len(page)], strict=True):
        if not moved[start]:
            continue
        here: dict[str, int] = {}
        for place, column in enumerate(columns):
            here.setdefault(loose_heading(without_unit(column[start])), place)
        here.pop("", None)
        for row in range(start, end):
            old = [column[row] for column in columns]
            if is_total(next((text for cell in old if (text := _text(cell))), "")):
                continue  # its word stands in the first column, whatever that is called
            for column, key in zip(columns, keys, strict=True):
                column[row] = old[here[key]] if key in here else ""
    first = int(page.rows[np.flatnonzero(moved)[0]])
    note = f"From line {first} on the headings stand in another order: the cells below are read by them."
    return replace(page, cells=tuple(map(cells_of, columns)), notes=(*page.notes, note))


def _values(cells: Cells) -> list:
    values = cells.trimmed.to_pylist()
    if cells.typed is not None and cells.words is not None:
        values = [text if np.isnan(number) else float(number) for text, number in zip(values, cells.typed, strict=True)]
    return values if cells.codes is None else [values[code] for code in cells.codes]


def spans_of(lines: list[str]) -> list[tuple[int, int]]:
    """Return the spans of places in which signs stand, those apart that are two blanks or more apart in every line."""
    taken = np.zeros(max(map(len, lines)) + 2, dtype=bool)
    for line in lines:
        taken[: len(line)] |= np.frombuffer(line.encode("utf-32-le", "replace"), dtype=np.uint32) != ord(" ")
    taken[1:-1] |= taken[:-2] & taken[2:]
    edges = np.flatnonzero(np.diff(taken, prepend=False)).tolist()
    return list(zip(edges[::2], edges[1::2], strict=True))


def is_numbered(lines: list[str], rows: list[list[str]], width: int) -> bool:
    """Return whether each row has its number in quotes before the cells, and no heading above it, as R writes it."""
    numbered = [f'"{number}"' for number in range(1, len(lines) + 1)]
    return len(rows) == len(lines) > 0 and all(
        len(row) == width + 1 and line.startswith(start) for line, row, start in zip(lines, rows, numbered, strict=True)
    )
