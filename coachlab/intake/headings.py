"""Words that stand in a file: headings, their bracketed units, clubs; what counts in them and what does not."""

import re
from collections.abc import Iterable, Mapping, Sequence
from difflib import get_close_matches
from functools import lru_cache

from coachlab.schema import CLUBS, show_club
from coachlab.units import read_unit


def plain_heading(text: object) -> str:
    """Return a heading without what does not count: case, outer and doubled blanks.

    >>> plain_heading("  Head   Speed ")
    'head speed'
    """
    return " ".join(str(text).replace("\ufeff", "").casefold().split())


_LONGEST = 300
"""Longer headings name no unit: on a text of any length the pattern below could take for ever."""
_BRACKET = re.compile(r"^(.*?)\s*[\[({<（]([^\[\](){}<>（）]*)[\])}>）]\s*$", re.DOTALL)
_BEFORE_UNIT = re.compile(r"\s*[,;:/|\n–]\s*|\s+(?:-\s+)?(?:in\s+)?")
_NO_UNITS = ("in", "c")
"""What is a unit only where a sign sets it apart: words such as "in" end many a heading."""


def without_unit(text: object) -> str:
    """Return a heading without the unit at its end; brackets that hold no unit stay.

    >>> without_unit("Path [deg]"), without_unit("Speed (club)"), without_unit("Club speed in m/s")
    ('Path', 'Speed (club)', 'Club speed')
    """
    return _parted(str(text))[0]


def heading_unit(text: object) -> str | None:
    """Return the unit that stands at the end of a heading, in brackets or behind a blank, comma or slash, or None."""
    return _parted(str(text))[1]


@lru_cache(maxsize=4096)
def _parted(text: str) -> tuple[str, str | None]:
    if len(text) > _LONGEST:
        return text, None
    found = _BRACKET.match(text)
    unit = read_unit(found[2]) if found and found[1].strip() else None
    if found and unit:
        return found[1], unit
    bare = text.strip()
    for gap in _BEFORE_UNIT.finditer(bare):
        unit = read_unit(bare[gap.end() :])
        apart = gap[0].strip() or unit not in _NO_UNITS
        if unit and gap.start() and apart and not read_unit(bare[bare.rfind("_") + 1 :]):  # not the s of speed_m/s
            return bare[: gap.start()], unit
    return text, None


@lru_cache(maxsize=4096)
def loose_heading(text: str) -> str:
    """Return a heading without what counts even less: marks between its words and around it.

    >>> loose_heading("'Head_speed':")
    'head speed'
    """
    return " ".join(re.sub(r"[\s_.-]+", " ", plain_heading(text)).strip(" '\"=:*#").split())


def find_heading(wanted: str, headings: Sequence[str]) -> list[int]:
    """Return the places at which a heading stands, its unit and its marks counting only where that settles it."""
    exact = [place for place, heading in enumerate(headings) if plain_heading(heading) == plain_heading(wanted)]
    if exact:
        return exact
    for bare in (without_unit, str):
        loose = loose_heading(bare(wanted))
        found = [place for place, heading in enumerate(headings) if loose_heading(bare(heading)) == loose]
        if found:
            return found
    return []


def plain_club(text: object) -> str:
    """Return a club's name without what does not count: case, blanks, hyphens."""
    return " ".join(re.sub(r"[\s_\-]+", " ", str(text).casefold()).split())


_CLUB_WORDS = {plain_club(word): club for club in CLUBS for word in (club, show_club(club))}


def read_club(text: object, club_names: Mapping[str, str]) -> str | None:
    """Return a club in our vocabulary, by the user's own aliases first, or None if it is no club.

    >>> read_club("7 I", {"7 I": "iron-7"}), read_club(" Iron 7", {}), read_club("rake", {})
    ('iron-7', 'iron-7', None)
    """
    plain = plain_club(text)
    for alias, club in club_names.items():
        if plain_club(alias) == plain:
            return club
    return _CLUB_WORDS.get(plain)


def close_to(word: str, known: Iterable[str]) -> str:
    """Return a hint that names what is close to a word, ready to be put behind it; empty if nothing is."""
    plain = {plain_heading(other): str(other) for other in known}
    found = get_close_matches(plain_heading(word), list(plain), n=1, cutoff=0.6)
    return f"; {plain[found[0]]!r} is close" if found else ""
