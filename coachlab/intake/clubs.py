"""Clubs as people shorten them: the usual letters and numbers of the trade."""

import re

from coachlab.errors import DataError
from coachlab.intake.headings import close_to, read_club
from coachlab.intake.shots import Shots
from coachlab.schema import CLUBS


def guess_club(text: str) -> str | None:
    """Return the club that a short word may mean, or None.

    >>> guess_club("7i"), guess_club("I7"), guess_club("P wedge"), guess_club("56°"), guess_club("Eisen 7")
    ('iron-7', 'iron-7', 'wedge-pw', 'wedge-56', 'iron-7')
    """
    plain = " ".join(re.findall(r"[^\W\d_]+|\d+", str(text).casefold()))
    known = read_club(text, {})
    if known:
        return known
    if plain in ("d", "dr", "drv", "driver", "w 1", "1 w", "1 wood"):
        return "driver"
    letters, number = set(re.findall(r"[^\W\d_]+", plain)), re.findall(r"\d+", plain)
    for words, kind in (
        ({"w", "wd", "wood", "fairway", "fw", "holz", "bois", "madera", "trä"}, "wood"),
        ({"h", "hy", "hyb", "hybrid", "rescue", "utility"}, "hybrid"),
        ({"i", "ir", "iron", "irn", "eisen", "fer", "hierro", "järn"}, "iron"),
    ):
        if letters & words and len(number) == 1 and f"{kind}-{number[0]}" in CLUBS:
            return f"{kind}-{number[0]}"
    for words, which in (
        ({"pw", "p", "pitching", "pitch"}, "pw"), ({"gw", "aw", "gap", "approach", "g"}, "gw"),
        ({"sw", "sand", "s"}, "sw"), ({"lw", "lob", "l"}, "lw"),
    ):  # fmt: skip
        if letters & words and letters <= words | {"wedge", "w"} and not number:
            return f"wedge-{which}"
    if len(number) == 1 and letters <= {"wedge", "w", "deg", "degree", "degrees"} and f"wedge-{number[0]}" in CLUBS:
        return f"wedge-{number[0]}"
    return None


def club_hint(club: object) -> str:
    """Return a hint that names the club which a word may mean, ready to be put behind it; empty if none is near.

    >>> club_hint("7iron"), club_hint("rake")
    ("; 'iron-7' is close", '')
    """
    meant = guess_club(str(club))
    return f"; {meant!r} is close" if meant else close_to(str(club), CLUBS)


def refuse_club(asked: str, club: object) -> None:
    """Refuse what is no club of the vocabulary, naming the one that it may mean."""
    if not isinstance(club, str) or club not in CLUBS:
        found = f"{club!r:.60} is no club of ours{club_hint(club)}."
        raise DataError(asked, found, "Choose one of schema.CLUBS, as in 'iron-7'.", club=club)


UNKNOWN_CLUB = "unknown club"
"""The rule of a remark on a shot whose club's name the map does not translate."""


def unknown_clubs(shots: Shots) -> dict[str, int]:
    """Return the clubs' names that the map does not translate, each with how many shots have it, the most first."""
    names = shots.flags.loc[shots.flags["rule"] == UNKNOWN_CLUB, "value"].astype("str")
    return {str(name): int(count) for name, count in names.value_counts().items()}


def say_unknown_club(name: str, count: int) -> str:
    """Return in a sentence that shots have a club which the map does not translate.

    >>> say_unknown_club("7er Eisen", 756)
    "756 shots have a club named '7er Eisen' that the map does not translate."
    """
    return (
        f"{count:,} {'shot has' if count == 1 else 'shots have'} a club named {name!r} that the map does not translate."
    )
