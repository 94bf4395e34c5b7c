"""`read_shots`: a file from anywhere becomes `Shots`, each of its lines accounted for."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from coachlab import privacy
from coachlab.errors import CoachlabError, DataError, MapError, command
from coachlab.intake.archive import Source, find_sources
from coachlab.intake.cells import Numbers, read_numbers, settle_marks
from coachlab.intake.columns import MAPPABLE, READINGS, ColumnMap
from coachlab.intake.combine import combine_shots
from coachlab.intake.files import read_page
from coachlab.intake.fill import Fault, Intake, build_rejects, build_table, replace_names
from coachlab.intake.headings import close_to, find_heading
from coachlab.intake.pages import Page
from coachlab.intake.rows import RULES, SHOT, find_states
from coachlab.intake.shots import Shots
from coachlab.intake.tables import find_headings, in_order
from coachlab.schema import COLUMNS
from coachlab.settings import Settings


def read_shots(
    path: str | Path,
    columns: ColumnMap | str | Path | None = None,
    key: bytes | None = None,
    settings: Settings | None = None,
) -> Shots:
    """Return the shots of a file in our own columns, units and signs, with an account of every line.

    Parameters
    ----------
    path : path
        CSV, XLSX, ODS or Parquet; what it is shows in its content. Or a zip or a folder of such files, all of which
        this map fits; shots that stand in several of them are set aside but once (`combine_shots`).
    columns : ColumnMap or path, optional
        Which heading is which column, or the path of such a map; without it the file is in our own names, units
        and signs.
    key : bytes, optional
        What pseudonyms are made with (`privacy.pseudonym`); without it a key that lives as long as the process.
    settings : Settings, optional
        The limits that a file may not go beyond; the defaults without.

    Returns
    -------
    Shots
        ``table`` has the columns of `schema.TABLES["shots"]` that the file knows, the derived ones that it reports,
        and what else the map names (hand, session_day, phase, cue). Names of students and coaches are pseudonyms
        here as in ``raw``. ``read_ok`` is True throughout: `clean_shots`
        judges the readings.

    Raises
    ------
    MapError
        If the map is wrong, or the file does not fit it: a heading is missing or stands twice, a unit is nowhere to
        be found, most cells of a column are no numbers.
    DataError
        If the file cannot be opened, is empty, goes beyond a limit, or holds no lines of shots.
    """
    if isinstance(columns, str | Path):
        columns = ColumnMap.from_toml(columns)
    return read_all(path, columns, _refuse, key, settings)


def read_all(
    path: str | Path,
    columns: ColumnMap | None,
    fault: Fault,
    key: bytes | None = None,
    settings: Settings | None = None,
) -> Shots:
    """Return the shots of a file, a zip or a folder, handing each fault to `fault`."""
    sources, left = find_sources(path, settings)
    shots = combine_shots([build_shots(source, columns, fault, key, settings) for source in sources])
    if left:
        shots = replace(shots, notes=(*shots.notes, f"Left alone: {', '.join(left)}."))
    return shots


def _refuse(fault: CoachlabError) -> None:
    raise fault


def build_shots(
    path: str | Path | Source,
    columns: ColumnMap | None,
    fault: Fault,
    key: bytes | None = None,
    settings: Settings | None = None,
) -> Shots:
    """Return the shots of one table, handing each fault to `fault`, which may raise it or write it down."""
    page, columns, places = _open(path, columns, fault, settings)
    headings, moved = find_headings(page)
    page = in_order(page, headings, moved)
    marked = {name: page.cells[place] for name, place in places.items() if name in READINGS or name == "shot"}
    marks, note = settle_marks(marked, columns.decimal, page.separator)
    numbers = {
        name: read_numbers(cells, name, marks[name], columns.columns[name].positive) for name, cells in marked.items()
    }
    readings = {name: read for name, read in numbers.items() if name in READINGS}
    states = find_states(page, places, readings, headings)
    _check_lines(page, states, fault)
    key = key if key is not None else privacy.process_key()
    intake = Intake(page, columns, places, states == SHOT, replace_names(page, columns, key), key)
    intake.notes += [*page.notes, *_not_taken(page, columns)]
    if note:
        intake.notes.append(note)
    _check_texts(intake, numbers, states, fault)
    table = build_table(intake, numbers, states, fault)
    return Shots(
        table,
        page.frame(intake.replaced),
        build_rejects(intake, states),
        intake.build_flags(table),
        tuple(dict.fromkeys(intake.notes)),
    )


def _open(
    path: str | Path | Source, columns: ColumnMap | None, fault: Fault, settings: Settings | None
) -> tuple[Page, ColumnMap, dict[str, int]]:
    """Return the page, its map, and the place of each mapped column among its headings."""
    if columns is None:
        try:
            page = read_page(path, {name: (name,) for name in MAPPABLE}, settings=settings)
        except MapError as err:
            asked = f"{err.asked.partition(' was ')[0]} was read without a column map."
            looked, _, line = err.found.partition("; the fullest line")
            near = looked.partition("any of them")[2]
            near = near if any(repr(name) in near for name in READINGS) else ""  # 'Plays' for phase is of no help
            bare = f"No line holds one of our own column names{near}; the fullest line{line}"
            raise MapError(asked, bare, _propose(path, str(err.facts.get("path", ""))), **err.facts) from err
        columns = ColumnMap.own_names(page.headings)
    else:
        headings = {name: mapped.headings for name, mapped in columns.columns.items()}
        page = read_page(path, headings, columns.sheet, settings)
    asked = f"{page.where} was read with the column map {columns.name!r}."
    if not columns.readings:
        fault(
            MapError(
                asked,
                f"No measure is mapped; the headings are: {', '.join(map(repr, page.headings))}.",
                _propose(path, page.name) if columns.own else f"Map at least one of: {', '.join(READINGS)}.",
                path=page.name,
            )
        )
    places: dict[str, int] = {}
    for name, mapped in columns.columns.items():
        for heading in mapped.headings:
            found = _without_doubles(find_heading(heading, page.headings), page, columns)
            if len(found) > 1:
                fault(
                    MapError(
                        asked,
                        f"The heading {heading!r} of column {name} stands {len(found)} times in line {page.header_row}"
                        f" (columns {', '.join(str(place + 1) for place in found)}).",
                        "Rename the headings in the file so that each stands once, or map another heading.",
                        path=page.name,
                        column=name,
                        heading=heading,
                        row=page.header_row,
                    )
                )
            if found:
                places[name] = found[0]
                break
        else:
            wanted = " or ".join(map(repr, mapped.headings))
            fault(
                MapError(
                    asked,
                    f"Line {page.header_row} has no heading {wanted} for column {name}"
                    f"{close_to(mapped.headings[0], page.headings)}; "
                    f"found: {', '.join(repr(heading) for heading in page.headings if heading)}.",
                    "Correct the heading in the map, or pass the map that belongs to this file.",
                    path=page.name,
                    column=name,
                    heading=mapped.headings[0],
                    row=page.header_row,
                )
            )
    return page, columns, places


def _without_doubles(found: list[int], page: Page, columns: ColumnMap) -> list[int]:
    """Return the places of a heading without those that bring nothing: blank, a copy, or in a table at the side."""
    if len(found) < 2:
        return found
    found = [place for place in found if not page.cells[place].blank.all()] or found
    first = page.cells[found[0]]
    if all(np.array_equal(first.rows(), page.cells[place].rows()) for place in found[1:]):
        return found[:1]
    table = np.cumsum([not heading for heading in page.headings])  # a column without a heading parts two tables
    mapped = {
        place for one in columns.columns.values() for h in one.headings for place in find_heading(h, page.headings)
    }
    sizes = np.bincount(table[sorted(mapped)])
    fullest = np.flatnonzero(sizes == sizes.max())
    return [place for place in found if table[place] == fullest[0]] or found if len(fullest) == 1 else found


def _propose(path: str | Path | Source, name: str) -> str:
    """Return the next step for a file without a map: the command that proposes one."""
    if isinstance(path, Source):
        path = path.path or name
    words = f"map {path} --out {Path(path).with_suffix('.toml')}"
    return f"Give the file a map of its own name: {command(words)} proposes one."


def _not_taken(page: Page, columns: ColumnMap) -> list[str]:
    """Tell what a file in our own names holds besides: a misspelt name would be lost without a word."""
    if not columns.own:
        return []
    known = (*columns.columns, "read_ok", "excluded", "excluded_reason", "source", "source_row")
    taken = {place for name in known for place in find_heading(name, page.headings)}
    left = [repr(heading) for place, heading in enumerate(page.headings) if heading and place not in taken]
    return [f"Headings that no column takes: {', '.join(left)}."] if left else []


def _check_lines(page: Page, states: np.ndarray, fault: Fault) -> None:
    asked = f"{page.where} was read as a table of shots."
    structure = np.isin(states, [RULES.index(rule) for rule in ("units row", "repeated heading", "total")])
    if structure.all():
        fault(
            DataError(
                asked,
                f"Line {page.header_row} is the header, and no line of shots stands below it.",
                "Export it again, with its shots.",
                path=page.name,
                row=page.header_row,
            )
        )
    elif len(page.long) * 2 > (~structure).sum():
        fault(
            DataError(
                asked,
                f"Line {page.rows[page.long[0]]} and {len(page.long) - 1} more hold more cells than the "
                f"{len(page.headings)} headings.",
                "Export it with semicolons: decimal commas cannot be told from commas between cells.",
                path=page.name,
                row=int(page.rows[page.long[0]]),
            )
        )


def _check_texts(intake: Intake, numbers: Mapping[str, Numbers], states: np.ndarray, fault: Fault) -> None:
    """Refuse a column of which most cells are no number where one is due: it is wrongly mapped."""
    page = intake.page
    structure = np.isin(states, [RULES.index(rule) for rule in ("units row", "repeated heading", "total")])
    due = ~structure & ((states != RULES.index("no reading")) | (len(numbers) == 1))
    for name, read in numbers.items():
        wrong = read.odd & ~read.nothing
        swapped = read.other_mark & (intake.columns.decimal != "auto")
        if not (wrong | swapped).any():
            continue
        cells = intake.cells(name)
        bad, other = cells.spread(wrong), cells.spread(swapped)
        rows = due if (due & ~cells.spread(read.blank)).any() else ~structure
        filled = int((rows & ~cells.spread(read.blank | read.nothing)).sum())
        for wrong_rows, what, do in (
            (bad, "no number", f"Map {name} to the column that holds it ({COLUMNS[name].meaning})."),
            (
                other,
                f"not written with the decimal mark {intake.columns.decimal!r}",
                'Write decimal = "auto" in the map.',
            ),
        ):
            wrong_rows = wrong_rows & rows
            if wrong_rows.sum() * 2 > filled:
                first = int(np.flatnonzero(wrong_rows)[0])
                word = cells.texts(np.array([first if cells.codes is None else int(cells.codes[first])]))[0]
                fault(
                    MapError(
                        f"{page.where}, heading {page.headings[intake.places[name]]!r}, was read as {name}.",
                        f"Row {page.rows[first]} holds {word!r}, which is {what}; so are "
                        f"{int(wrong_rows.sum())} of {filled} cells.",
                        do,
                        path=page.name,
                        column=name,
                        row=int(page.rows[first]),
                    )
                )
