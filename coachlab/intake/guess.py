"""`propose_map`: which heading is which column, in which unit and which way, each guess with its reason."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pandas as pd
from scipy.optimize import linear_sum_assignment

from coachlab.errors import need
from coachlab.intake.archive import find_sources
from coachlab.intake.clubs import guess_club
from coachlab.intake.columns import READINGS, ColumnMap, Mapped, read_hand
from coachlab.intake.headings import plain_heading, read_club, without_unit
from coachlab.intake.proposal import PROPOSAL_COLUMNS, MapProposal
from coachlab.intake.sample import Looked, look_at
from coachlab.intake.settle import Guess, converted, fit_of, settle_sides, settle_units
from coachlab.intake.times import read_times
from coachlab.intake.words import SPEAKS, speaks_for
from coachlab.privacy import process_key, pseudonym
from coachlab.schema import COLUMNS, LATERAL, PHASES
from coachlab.settings import Settings
from coachlab.units import factor_to_column, units_for

LEAST_SCORE = 0.6
"""What a guess must reach before it is made; a heading below it is left to the user."""


def propose_map(
    path: str | Path,
    known_maps: Iterable[ColumnMap | str | Path] | str | Path = (),
    settings: Settings | None = None,
) -> MapProposal:
    """Return a proposed column map of a file, each guess with its confidence, its reason and five cells to look at.

    Headings are taken apart into plain words; units come from brackets, a row of units or the cells, else from what
    puts the numbers where they belong; sides from what physics ties together (`signs.find_turned`). Nothing is saved.

    Parameters
    ----------
    path : path
        As `read_shots` takes it; of a zip or folder the first table.
    known_maps : maps, their paths, or a folder of them
        Maps that were made for other files: a heading that stands in one of them is understood as there.
    settings : Settings, optional
        The limits; the defaults without.

    Raises
    ------
    DataError
        If the file cannot be read, or no line looks like a header.
    MapError
        If a known map is wrong.
    """
    need(path, (str, Path), "A column map was to be proposed.", "path", "Give the path of an export.")
    settings = settings or Settings()
    source = find_sources(path, settings)[0][0]
    page, looked, mark = look_at(source, settings)
    known = _known(known_maps)
    aliases = {alias: club for one in _maps(known_maps) for alias, club in one.club_names.items()}
    guesses = _assign(looked, known, aliases)
    guesses = settle_units(guesses, looked)
    values = {guess.column: guess.values for guess in guesses if guess.column in READINGS and guess.values is not None}
    guesses, warnings = settle_sides(guesses, looked, values)
    rows = []
    for one, guess in zip(looked, guesses, strict=True):
        shown = _samples(one, guess.column)
        rows.append(
            (one.heading, guess.column, guess.unit, guess.positive, round(guess.confidence, 2), guess.reason, shown)
        )
    clubs = next((one for one, guess in zip(looked, guesses, strict=True) if guess.column == "club"), None)
    for guess, one in zip(guesses, looked, strict=True):
        if guess.column in READINGS and len(units_for(guess.column)) > 1 and not one.unit:
            warnings.append(f"No unit stands at {one.heading!r}: {guess.unit} is a guess from its numbers.")
    table = pd.DataFrame(rows, columns=list(PROPOSAL_COLUMNS))
    named = _club_names(clubs, aliases) if clubs is not None else {}
    return MapProposal(source.name, table, MappingProxyType(named), tuple(warnings), page.sheet)


def _maps(known: Iterable[ColumnMap | str | Path] | str | Path) -> list[ColumnMap]:
    if isinstance(known, str | Path):
        place = Path(known)
        known = sorted(place.glob("*.toml")) if place.is_dir() else [place]
        settings = ("academy.toml", "cues.toml", "report.toml")
        known = [path for path in known if path.name not in settings]
    return [one if isinstance(one, ColumnMap) else ColumnMap.from_toml(one) for one in known]


def _known(known_maps: Iterable[ColumnMap | str | Path] | str | Path) -> dict[str, tuple[str, Mapped, str]]:
    """Return for each plain heading of the known maps its column, as it is mapped there, and by which map."""
    found: dict[str, tuple[str, Mapped, str]] = {}
    for one in _maps(known_maps):
        for column, mapped in one.columns.items():
            for heading in mapped.headings:
                found[plain_heading(without_unit(heading))] = (column, mapped, one.name)
    return found


def _assign(looked: list[Looked], known: Mapping, aliases: Mapping[str, str]) -> list[Guess]:
    columns = list(SPEAKS)
    scores = np.full((len(looked), len(columns)), -1.0)
    made: dict[tuple[int, int], Guess] = {}
    for row, one in enumerate(looked):
        for place, column in enumerate(columns):
            score, guess = _score(one, column, known, aliases)
            scores[row, place] = score
            made[row, place] = guess
    rows, places = linear_sum_assignment(-(np.maximum(scores, 0) ** 1.5))
    guesses = [Guess() for _ in looked]
    for row, place in zip(rows, places, strict=True):
        if scores[row, place] < LEAST_SCORE:
            continue
        others = np.delete(scores[row], place).max(initial=0.0)
        rivals = np.delete(scores[:, place], row).max(initial=0.0)
        margin = scores[row, place] - max(others, 0.8 * rivals)
        guess = made[row, place]
        sure = guess.confidence or float(np.clip(0.35 * scores[row, place] + 0.5 * margin, 0.05, 0.95))
        guesses[row] = replace(guess, confidence=sure)
    return guesses


def _score(one: Looked, column: str, known: Mapping, aliases: Mapping[str, str]) -> tuple[float, Guess]:
    plain = plain_heading(without_unit(one.heading))
    if plain == column:
        return 3.0, Guess(column, one.unit or _own_unit(column), _own_side(column), 0.98, "our own name", one.values)
    if plain in known:
        if known[plain][0] != column:
            return -1.0, Guess()
        mapped, name = known[plain][1], known[plain][2]
        unit = mapped.unit or one.unit
        return 2.5, Guess(
            column, unit, mapped.positive or "", 0.97, f"so it is mapped in {name}", converted(one, column, unit)
        )
    words = float(np.clip(speaks_for(one.heading, column), -1.5, 1.3))
    if column not in READINGS:
        look, why = _label_look(one, column, aliases)
        if look < 0 or words + look < 0.4 or (look == 0 and words < 0.5):
            return -1.0, Guess()
        said = " and ".join(filter(None, ["its words" if words > 0.3 else "", why])) or "its words"
        return words + look, Guess(column, reason=said)
    if one.numbers < 0.5 or words < -0.4:
        return -1.0, Guess()
    units = units_for(column)
    if one.unit and one.unit not in units:
        return -1.0, Guess()
    best = (-1.0, "")
    for unit in [one.unit] if one.unit else units or [""]:
        best = max(best, (fit_of(converted(one, column, unit), column), unit))
    fit, unit = best
    if fit < 0:
        return -1.0, Guess()
    named = 0.3 if one.unit else 0.0
    because = ["its words"] if words > 0.3 else []
    because += [f"the unit {one.unit} in {one.unit_from}"] if one.unit else []
    because += ["numbers as this column has them"] if fit > 0.3 else []
    return words + named + fit, Guess(
        column, unit, reason=", ".join(because) or "nothing else fits", values=converted(one, column, unit)
    )


def _own_unit(column: str) -> str:
    sizes = {unit: factor_to_column(unit, column) for unit in units_for(column)}
    return next((unit for unit, size in sizes.items() if size == 1), "")


def _own_side(column: str) -> str:
    return COLUMNS[column].positive if column in LATERAL else ""


def _label_look(one: Looked, column: str, aliases: Mapping[str, str]) -> tuple[float, str]:
    """Return how much like a label the cells look (-1: not at all), and why."""
    texts = list(dict.fromkeys(one.texts))[:200]
    if not texts:
        return -1.0, ""
    if column == "club":
        hits = np.mean([guess_club(text) is not None or read_club(text, aliases) is not None for text in texts])
        numbers = one.numbers > 0.9 and not any(read_club(text, aliases) for text in texts)
        return (0.9, "cells that name clubs") if hits > 0.6 and not numbers else (-1.0, "")
    if column == "hand":
        said = np.mean([read_hand(text) is not None for text in one.texts])
        return (0.9, "cells that say right or left") if said > 0.9 else (-1.0, "")
    if column == "phase":
        said = np.mean([text.casefold() in PHASES for text in one.texts])
        return (0.9, "cells that name phases") if said > 0.9 else (-1.0, "")
    if column in ("struck_at", "session_day"):
        if one.numbers > 0.5 and speaks_for(one.heading, column) < 0.5:
            return -1.0, ""
        times, of_day, odd, _ = read_times(one.cells)
        good = (~np.isnat(times) | ~np.isnat(of_day)).sum() > 0.7 * max((~one.cells.blank).sum(), 1)
        if not good or odd.mean() > 0.3:
            return -1.0, ""
        known = times[~np.isnat(times)]
        clock = len(known) < len(times) / 2 or bool((known != known.astype("M8[D]").astype("M8[us]")).any())
        return (0.7, "cells that are times") if clock == (column == "struck_at") else (0.05, "cells that are days")
    if column == "shot":
        values = one.values[np.isfinite(one.values)]
        whole = len(values) and (values == np.round(values)).all() and (values >= 0).all()
        steps = np.diff(values) if len(values) > 1 else np.ones(1)
        if not whole or (np.abs(steps) > 1000).any():
            return -1.0, ""
        return (0.5, "numbers that count up") if (steps == 1).mean() > 0.6 else (-0.3, "")
    if any(len(text) > 60 for text in texts) or any("." in t or "," in t for t in texts[:5] if one.numbers > 0.9):
        return -1.0, ""
    repeated = len(set(one.texts)) < max(len(one.texts) * 0.6, 2)
    return (0.15, "") if repeated else (0.0, "")


def _samples(one: Looked, column: str) -> str:
    texts = list(one.texts[:5])
    if column in ("student", "coach"):
        texts = [pseudonym(text, process_key(), column[0]) for text in texts]
    elif not column and one.numbers < 0.5:
        return "(texts)"
    return " · ".join(texts)


def _club_names(one: Looked, aliases: Mapping[str, str]) -> dict[str, str]:
    named = {}
    for text in sorted(set(one.texts)):
        if read_club(text, {}) is None:
            club = read_club(text, aliases) or guess_club(text)
            if club:
                named[text] = club
    return named
