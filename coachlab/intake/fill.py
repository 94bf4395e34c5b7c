"""The columns of the shots table, filled from the cells of a page; remarks and rejects with them."""

import os
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial

import numpy as np
import pandas as pd

from coachlab import privacy
from coachlab.errors import CoachlabError, MapError
from coachlab.intake.cells import Cells, Numbers
from coachlab.intake.columns import ColumnMap, read_hand
from coachlab.intake.headings import find_heading, heading_unit, read_club
from coachlab.intake.pages import Page
from coachlab.intake.rows import RULES, SHOT, unit_of_words
from coachlab.intake.shots import FLAG_COLUMNS, REJECT_COLUMNS
from coachlab.intake.times import read_times, read_truths
from coachlab.intake.write import plain_cell
from coachlab.schema import COLUMNS, LATERAL, PHASES, TABLES
from coachlab.units import factor_to_column, units_for

Fault = Callable[[CoachlabError], None]
PEOPLE = {"student": "s", "coach": "c"}
"""The columns that hold people, each with the letter of its pseudonyms."""

MANY = 500_000
"""From how many shots on a label is a category."""

ORDER = (*TABLES["shots"], *TABLES["derived"], "hand", "session_day", "phase", "cue")


@dataclass(eq=False)
class Intake:
    """A file on its way in: what its columns are, which lines are shots, the remarks so far."""

    page: Page
    columns: ColumnMap
    places: Mapping[str, int]
    keep: np.ndarray
    replaced: Mapping[int, list[str | None]]
    key: bytes
    notes: list[str] = field(default_factory=list)
    flags: list[tuple[np.ndarray, str, str, list]] = field(default_factory=list)

    def cells(self, column: str) -> Cells:
        """Return the cells of a mapped column, of all lines."""
        return self.page.cells[self.places[column]]

    def rows(self, column: str, by_word: np.ndarray) -> np.ndarray:
        """Return a value for each shot from a value for each word of a column."""
        spread = self.cells(column).spread(by_word)
        return spread if self.keep.all() else spread[self.keep]

    def codes(self, column: str) -> np.ndarray:
        """Return the place of each shot's word among the words of a column."""
        cells = self.cells(column)
        codes = np.arange(len(self.page)) if cells.codes is None else cells.codes
        return codes if self.keep.all() else codes[self.keep]

    def flag(self, column: str, rule: str, by_word: np.ndarray) -> None:
        """Note a remark on the shots at which one of these words of a column stands."""
        if not by_word.any():
            return
        cells = self.cells(column)
        rows = np.flatnonzero(cells.spread(by_word) & self.keep)
        if len(rows):
            words = rows if cells.codes is None else cells.codes[rows]
            self.flags.append((rows, column, rule, cells.texts(np.asarray(words, dtype=np.int64))))

    def build_flags(self, table: pd.DataFrame) -> pd.DataFrame:
        """Return the remarks as the table `Shots.flags`, in the order of the file."""
        if not self.flags:
            return pd.DataFrame({name: [] for name in FLAG_COLUMNS}, dtype="object")
        shots = np.cumsum(self.keep) - 1
        rows = np.concatenate([rows for rows, *_ in self.flags])
        flags = pd.DataFrame(
            {
                "source": self.page.name,
                "source_row": self.page.rows[rows],
                "shot": table["shot"].to_numpy()[shots[rows]] if "shot" in table else np.nan,
                "column": np.concatenate([np.full(len(rows), column, dtype=object) for rows, column, *_ in self.flags]),
                "rule": np.concatenate([np.full(len(rows), rule, dtype=object) for rows, _, rule, _ in self.flags]),
                "value": pd.Series([text for *_, texts in self.flags for text in texts], dtype="object"),
            }
        )
        flags = flags.astype({"source": "str", "column": "str", "rule": "str"})
        return flags.sort_values("source_row", kind="stable", ignore_index=True)


def build_table(intake: Intake, numbers: Mapping[str, Numbers], states: np.ndarray, fault: Fault) -> pd.DataFrame:
    """Return the table of shots, in our own units and in the player's frame."""
    n = int(intake.keep.sum())
    columns: dict[str, object] = {}
    for name, prefix in PEOPLE.items():
        ids = intake.replaced.get(intake.places.get(name, -1))
        _fill_label(
            intake,
            columns,
            name,
            n,
            partial(_ids_of, prefix=prefix, key=intake.key) if ids is None else partial(_already, ids),
        )
    for name in ("session", "block", "cue"):
        _fill_label(intake, columns, name, n)
    clubs = intake.columns.club_names
    _fill_label(intake, columns, "club", n, lambda texts: [read_club(text, clubs) for text in texts], "unknown club")
    phases = {phase: phase for phase in PHASES}
    _fill_label(intake, columns, "phase", n, lambda texts: [phases.get(t.casefold()) for t in texts], "unknown phase")
    _fill_times(intake, columns, n)
    left = _fill_hands(intake, columns, n)
    readings: dict[str, Future[np.ndarray]] = {}
    with ThreadPoolExecutor(os.cpu_count()) as pool:  # millions of numbers, column by column
        for name, read in numbers.items():
            if name == "shot":
                broken = (read.value != np.round(read.value)) | (np.abs(read.value) > COLUMNS[name].high)
                broken &= np.isfinite(read.value)
                read.odd[broken], read.value[broken] = True, np.nan
                columns[name] = _counted(intake.rows(name, read.value))
            else:
                factors = _factors(intake, name, read, states, fault)
                readings[name] = pool.submit(_readings, intake, name, read, left, *factors)
            _flag_numbers(intake, name, read)
    columns |= {name: values.result() for name, values in readings.items()}
    columns["read_ok"] = np.ones(n, dtype=bool)
    _fill_exclusions(intake, columns, n)
    columns["source"] = _constant(intake.page.name, n)
    columns["source_row"] = intake.page.rows if intake.keep.all() else intake.page.rows[intake.keep]
    return pd.DataFrame({name: columns[name] for name in ORDER if name in columns}, copy=False)


def _constant(text: str, n: int) -> object:
    return _labels([text], np.zeros(n, dtype=np.int8))


def _labels(words: list[str | None], codes: np.ndarray) -> object:
    """Return a word for each shot: texts, or categories where texts by the million would fill the memory."""
    texts = pd.array(words, dtype="str")
    if len(codes) <= MANY:
        return texts.take(codes)
    places, distinct = pd.factorize(texts)
    return pd.Categorical.from_codes(places.astype(np.int32)[codes], pd.Index(distinct), validate=False)


def _ids_of(texts: list[str], prefix: str, key: bytes) -> list[str | None]:
    ids = privacy.pseudonyms(pd.Series(texts, dtype="str"), key, prefix)
    return ids.astype(object).where(ids.notna(), None).tolist()


def _already(words: list[str | None], texts: list[str]) -> list[str | None]:
    """Return words that are known already in place of the texts they stand for."""
    return words


def _fill_label(
    intake: Intake,
    columns: dict[str, object],
    name: str,
    n: int,
    read: Callable[[list[str]], list[str | None]] | None = None,
    rule: str = "",
) -> None:
    """Fill a column of labels from its cells, and where they are blank from what the map says for the whole file."""
    given = intake.columns.given.get(name)
    if given is not None and name in PEOPLE:
        given = _ids_of([given], PEOPLE[name], intake.key)[0]
    if name not in intake.places:
        if given is not None:
            columns[name] = _constant(given, n)
        return
    cells = intake.cells(name)
    texts = cells.trimmed.to_pylist()
    if intake.columns.own:
        texts = [plain_cell(text) for text in texts]
    blank = cells.blank
    words = read(texts) if read is not None else texts
    missing = np.array([word is None or word != word for word in words], dtype=bool)
    if rule:
        intake.flag(name, rule, missing & ~blank)
    filled = [
        given if empty else None if none else word for word, empty, none in zip(words, blank, missing, strict=True)
    ]
    columns[name] = _labels(filled, intake.codes(name))


def _fill_hands(intake: Intake, columns: dict[str, object], n: int) -> np.ndarray | None:
    """Fill the column hand; return which shots are a left-hander's, or None if none is."""
    given = intake.columns.given.get("hand")
    _fill_label(intake, columns, "hand", n, lambda texts: [read_hand(text) for text in texts], "unknown hand")
    if "hand" not in columns:
        intake.notes.append("No hand is said anywhere: right-handed is assumed.")
        columns["hand"] = _constant("R", n)
        return None
    hands = pd.Series(columns["hand"])
    unsaid = hands.isna()
    if unsaid.any():
        assumed = given or "R"
        if given is None:
            intake.notes.append(f"{int(unsaid.sum())} shots say no hand: right-handed is assumed.")
        hands = hands.astype("str").fillna(assumed)
        columns["hand"] = hands.array
    left = (hands == "L").to_numpy(dtype=bool)
    return left if left.any() else None


def _fill_times(intake: Intake, columns: dict[str, object], n: int) -> None:
    given = intake.columns.given.get("session_day")
    day = np.full(n, np.datetime64(given or "NaT", "us"), dtype="M8[us]")
    if "session_day" in intake.places:
        days, _, odd, note = read_times(intake.cells("session_day"))
        here = intake.rows("session_day", days.astype("M8[D]").astype("M8[us]"))
        day = np.where(np.isnat(here), day, here)
        intake.flag("session_day", "no day", odd | (np.isnat(days) & ~intake.cells("session_day").blank))
        intake.notes += [note] if note else []
    if "session_day" in intake.places or given:
        columns["session_day"] = day
    if "struck_at" in intake.places:
        times, of_day, odd, note = read_times(intake.cells("struck_at"), not np.isnat(day).all())
        at = intake.rows("struck_at", times)
        if (~np.isnat(of_day)).any():
            at = np.where(np.isnat(at), day + intake.rows("struck_at", of_day), at)
            if np.isnat(day).any():
                odd = odd | ~np.isnat(of_day)
        intake.flag("struck_at", "no time", odd)
        intake.notes += [note] if note else []
        columns["struck_at"] = at


def _readings(
    intake: Intake, name: str, read: Numbers, left: np.ndarray | None, factor: float, by_row: np.ndarray | None
) -> np.ndarray:
    """Return a column of readings for each shot, in its own unit and in the player's frame."""
    if factor != 1:
        np.multiply(read.value, factor, out=read.value, where=read.plain)
    values = intake.rows(name, read.value)
    if by_row is not None:
        plain = intake.rows(name, read.plain)
        values[plain] *= by_row[plain]
    if left is not None and name in LATERAL and read.world.any():
        np.subtract(0.0, values, out=values, where=left & intake.rows(name, read.world))
    return values


def _factors(
    intake: Intake, name: str, read: Numbers, states: np.ndarray, fault: Fault
) -> tuple[float, np.ndarray | None]:
    """Return the factor of a column's unit; for each shot apart where units rows within the file differ.

    A unit in a cell goes before the map's, that before a units row, that before the heading's brackets.
    """
    page, mapped = intake.page, intake.columns.columns[name]
    if not units_for(name):
        return 1.0, None
    heading = page.headings[intake.places[name]]
    rows, bracket = _unit_rows(intake, name, read, states), heading_unit(heading)
    if mapped.unit is not None:
        if rows and any(unit != mapped.unit for _, unit in rows):
            intake.notes.append(
                f"Line {page.rows[rows[0][0]]} gives {rows[0][1]} for {heading!r}; the map's {mapped.unit} was used."
            )
        elif bracket and bracket != mapped.unit and not rows:
            intake.notes.append(f"The heading {heading!r} gives {bracket}; the map's {mapped.unit} was used.")
        return factor_to_column(mapped.unit, name), None
    for unit, where in [*((unit, f"Line {page.rows[row]}") for row, unit in rows), (bracket, "The heading")]:
        if unit is not None and unit not in units_for(name):
            fault(
                MapError(
                    f"{page.where}, heading {heading!r}, was read as {name}.",
                    f"{where} gives the unit {unit!r}, which is of the wrong kind.",
                    f"Map another heading, or write one of these units in the map: {', '.join(units_for(name))}.",
                    path=page.name,
                    column=name,
                    unit=unit,
                )
            )
            return 1.0, None
    if len({unit for _, unit in rows}) > 1:
        starts = np.array([row for row, _ in rows])
        factors = np.array([factor_to_column(unit, name) for _, unit in rows])
        by_line = factors[np.maximum(np.searchsorted(starts, np.arange(len(page)), side="right") - 1, 0)]
        return 1.0, by_line[intake.keep]
    unit = rows[0][1] if rows else bracket
    if unit is not None:
        return factor_to_column(unit, name), None
    bare = read.plain & ~np.isnan(read.value) & (read.value != 0)
    if not intake.columns.own and intake.rows(name, bare).any():
        fault(
            MapError(
                f"{page.where}, heading {heading!r}, was read as {name}.",
                "No unit stands anywhere: not in the map, a units row, the heading's brackets or the cells.",
                f"Write unit = one of: {', '.join(units_for(name))} in [column.{name}].",
                path=page.name,
                column=name,
                heading=heading,
            )
        )
    return 1.0, None


def _unit_rows(intake: Intake, name: str, read: Numbers, states: np.ndarray) -> list[tuple[int, str]]:
    """Return the units rows that give a unit for a column, each with its place among the lines."""
    lines = np.flatnonzero(states == RULES.index("units row"))
    if not len(lines):
        return []
    cells = intake.cells(name)
    units = unit_of_words(cells, read.odd)
    words = lines if cells.codes is None else cells.codes[lines]
    return [(int(line), units[int(word)]) for line, word in zip(lines, words, strict=True) if int(word) in units]


def _flag_numbers(intake: Intake, name: str, read: Numbers) -> None:
    intake.flag(name, "no number", read.odd & ~read.nothing)
    intake.flag(name, "other decimal mark", read.other_mark)
    if read.nothing.any():
        silent = intake.rows(name, read.nothing)
        if silent.sum() * 2 > len(silent):
            intake.notes.append(f"{name} says that there is no value in {int(silent.sum())} of {len(silent)} shots.")
        else:
            intake.flag(name, "no number", read.nothing)


def _fill_exclusions(intake: Intake, columns: dict[str, object], n: int) -> None:
    """Fill what a person decided: kept from a file in our own names, nothing in any other."""
    columns["excluded"] = np.zeros(n, dtype=bool)
    columns["excluded_reason"] = _constant("", n)
    if not intake.columns.own:
        return
    for name in ("excluded", "excluded_reason"):
        found = find_heading(name, intake.page.headings)
        if found:
            cells = intake.page.cells[found[0]]
            texts = pd.Series(cells.spread(np.array(cells.trimmed.to_pylist(), dtype=object))[intake.keep], dtype="str")
            truths = read_truths(texts)[0].fillna(False).to_numpy(dtype=bool) if name == "excluded" else None
            columns[name] = truths if truths is not None else texts.array


def _counted(values: np.ndarray) -> np.ndarray:
    """Return shot numbers as whole numbers where none is missing."""
    return values if np.isnan(values).any() else values.astype(np.int64)


def build_rejects(intake: Intake, states: np.ndarray) -> pd.DataFrame:
    """Return the lines that are no shot, with session and shot where the line says them."""
    lines = np.flatnonzero(states != SHOT)
    rejects = pd.DataFrame({name: pd.Series(dtype="str") for name in REJECT_COLUMNS}, index=range(len(lines)))
    rejects["source"] = _constant(intake.page.name, len(lines))
    rejects["source_row"] = intake.page.rows[lines]
    rejects["rule"] = pd.array([RULES[state] for state in states[lines]], dtype="str")
    named = states[lines] == RULES.index("no reading")
    session: list[str | None] = [intake.columns.given.get("session") if one else None for one in named]
    shot = np.full(len(lines), np.nan)
    if "session" in intake.places:
        texts = _at(intake, "session", lines)
        session = [(text or given) if one else None for one, text, given in zip(named, texts, session, strict=True)]
    if "shot" in intake.places:
        numbers = pd.to_numeric(pd.Series(_at(intake, "shot", lines), dtype="str"), errors="coerce")
        shot = np.where(named, numbers.to_numpy(dtype=float, na_value=np.nan), np.nan)
    rejects["session"], rejects["shot"] = pd.array(session, dtype="str"), shot
    return rejects


def _at(intake: Intake, name: str, lines: np.ndarray) -> list[str]:
    cells = intake.cells(name)
    return cells.texts(np.asarray(lines if cells.codes is None else cells.codes[lines], dtype=np.int64))


def replace_names(page: Page, columns: ColumnMap, key: bytes) -> dict[int, list[str | None]]:
    """Return pseudonyms for the words of every column under a heading that is mapped to a person."""
    replaced = {}
    for name, prefix in PEOPLE.items():
        if name not in columns.columns:
            continue
        for heading in columns.columns[name].headings:
            for place in find_heading(heading, page.headings):
                replaced[place] = _ids_of(page.cells[place].trimmed.to_pylist(), prefix, key)
    return replaced
