"""Words that stand in a file: headings, their bracketed units, clubs; what counts in them and what does not."""

import re
from collections.abc import Iterable, Mapping, Sequence
from difflib import get_close_matches

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
_BRACKET = re.compile(r"^(.*?)\s*[\[({]([^\[\](){}]*)[\])}]\s*$", re.DOTALL)


def without_unit(text: object) -> str:
    """Return a heading without its bracketed unit; brackets that hold no unit stay.

    >>> without_unit("Path [deg]"), without_unit("Speed (club)")
    ('Path', 'Speed (club)')
    """
    return str(text) if heading_unit(text) is None else _BRACKET.match(str(text))[1]  # type: ignore[index]


def heading_unit(text: object) -> str | None:
    """Return the unit that stands in brackets at the end of a heading, or None."""
    found = _BRACKET.match(str(text)) if len(str(text)) <= _LONGEST else None
    return read_unit(found[2]) if found and found[1].strip() else None


def find_heading(wanted: str, headings: Sequence[str]) -> list[int]:
    """Return the places at which a heading stands, the bracketed unit counting only where that settles it."""
    exact = [place for place, heading in enumerate(headings) if plain_heading(heading) == plain_heading(wanted)]
    if exact:
        return exact
    bare = plain_heading(without_unit(wanted))
    return [place for place, heading in enumerate(headings) if plain_heading(without_unit(heading)) == bare]


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
