"""What each line of a file is: a shot, or one of the lines that are none."""

import re
from collections.abc import Iterable, Mapping

import numpy as np
import pyarrow.compute as pc

from coachlab.intake.cells import Cells, Numbers
from coachlab.intake.pages import Page
from coachlab.units import read_unit

SHOT = 0
RULES = ("", "units row", "repeated heading", "total", "no reading", "more cells than headings")
"""Why a line is no shot; a line's state is a place in this tuple."""

_SURE = (
    r"(?:grand\s+|sub)?totals?|sum|averages?|avg|mean|median|summary|consistency|std\.?|stdev|"
    r"(?:std|st|standard)\.?\s*dev(?:\.|iation)?|ø|summe|gesamt|mittelwert|durchschnitt|moyenne|promedio"
)
_UNSURE = r"max(?:imum)?|min(?:imum)?|sd|count|n|best|range|variance|var"
_TOTAL = re.compile(rf"(?:{_SURE})\W*(?:\(.*\)|\d.*)?", re.IGNORECASE)
_TOTAL_START = re.compile(rf"(?:{_SURE})(?!\w).*", re.IGNORECASE)
_MAYBE_TOTAL = re.compile(rf"(?:{_UNSURE})\W*(?:\(.*\)|\d.*)?", re.IGNORECASE)
_KEYS = ("shot", "struck_at", "club", "session", "student")


def find_states(
    page: Page, places: Mapping[str, int], numbers: Mapping[str, Numbers], headings: np.ndarray
) -> np.ndarray:
    """Return for each line its place in `RULES`, 0 for a shot.

    Parameters
    ----------
    page : Page
        The file.
    places : mapping of str to int
        Our column -> its place among the headings.
    numbers : mapping of str to Numbers
        What the words of each column of readings say.
    headings : bool array
        Which lines repeat the headings.
    """
    states = np.zeros(len(page), dtype=np.int8)
    has_number = np.zeros(len(page), dtype=bool)
    for name, read in numbers.items():
        by_word = ~np.isnan(read.value)
        has_number |= True if by_word.all() else page.cells[places[name]].spread(by_word)
        if has_number.all():
            break
    states[~has_number] = RULES.index("no reading")
    totals = _find_totals(page, places, set(numbers))
    states[totals] = RULES.index("total")
    states[_find_unit_rows(page, places, numbers) & ~has_number] = RULES.index("units row")
    states[headings] = RULES.index("repeated heading")
    states[page.long] = RULES.index("more cells than headings")
    return states


def unit_of_words(cells: Cells, odd: np.ndarray) -> dict[int, str]:
    """Return the words that name a unit and nothing else, by their place."""
    which = np.flatnonzero(odd)
    units = {int(place): read_unit(text) for place, text in zip(which, cells.texts(which), strict=True)}
    return {place: unit for place, unit in units.items() if unit is not None}


def _find_unit_rows(page: Page, places: Mapping[str, int], numbers: Mapping[str, Numbers]) -> np.ndarray:
    units = np.zeros(len(page), dtype=np.int16)
    others = np.zeros(len(page), dtype=np.int16)
    for name, read in numbers.items():
        if not read.odd.any():
            continue
        cells = page.cells[places[name]]
        named = np.zeros(cells.size, dtype=bool)
        named[list(unit_of_words(cells, read.odd))] = True
        units += cells.spread(named)
        others += cells.spread(read.odd & ~named & ~read.nothing)
    return (units > 0) & (units >= others)


def is_total(text: str) -> bool:
    """Return whether a text that stands first in its line says that the line is a total."""
    return len(text) <= 200 and (_TOTAL_START.fullmatch(text) or _MAYBE_TOTAL.fullmatch(text)) is not None


def _find_totals(page: Page, places: Mapping[str, int], readings: set[str]) -> np.ndarray:
    """Find lines that sum up others.

    A word such as "average" makes a line a total where it stands in the line's first filled cell or in a mapped
    label; not in a column of remarks. A short word such as "max" may be a name: it counts only below a total, or
    in a line that names neither shot, time, club nor session.
    """
    by_place = {place: name for name, place in places.items()}
    keys = {name: place for name, place in places.items() if name in _KEYS}
    sure = np.zeros(len(page), dtype=bool)
    maybe = np.zeros(len(page), dtype=bool)
    first = np.ones(len(page), dtype=bool)
    for place, cells in enumerate(page.cells):
        name = by_place.get(place)
        if name not in ("cue", "phase", "block") and cells.words is not None and cells.iso_times is None:
            label = name is not None and name not in readings
            found, unsure = _total_words(cells, whole=label)
            if found.any():
                sure |= cells.spread(found) & (True if label else first | _all_blank(page, keys.values()))
            if unsure.any():
                here = cells.spread(unsure) & (True if label else first)
                others = [at for key, at in keys.items() if key not in (name, "student")]
                sure |= here & (True if name in readings else _all_blank(page, others))
                maybe |= here
        if first.any():
            blank = cells.blank
            first &= cells.spread(blank) if blank.any() else False
    for row in np.flatnonzero(maybe & ~sure):
        sure[row] = row > 0 and sure[row - 1]
    return sure


def _total_words(cells: Cells, whole: bool) -> tuple[np.ndarray, np.ndarray]:
    trimmed = cells.trimmed
    likely = pc.match_substring_regex(trimmed, rf"^(?:{_SURE}|{_UNSURE})", ignore_case=True)
    found, unsure = np.zeros(cells.size, dtype=bool), np.zeros(cells.size, dtype=bool)
    which = np.flatnonzero(likely.to_numpy(zero_copy_only=False))
    for place, text in zip(which, cells.texts(which), strict=True):
        if len(text) > 200:  # a sentence, and no label
            continue
        found[place] = (_TOTAL if whole else _TOTAL_START).fullmatch(text) is not None
        unsure[place] = _MAYBE_TOTAL.fullmatch(text) is not None
    return found, unsure


def _all_blank(page: Page, places: Iterable[int]) -> np.ndarray:
    """Return which lines are blank in all of these columns; none where there is no such column."""
    places = list(places)
    blank = np.full(len(page), bool(places))
    for place in places:
        blank &= page.cells[place].spread(page.cells[place].blank)
    return blank
