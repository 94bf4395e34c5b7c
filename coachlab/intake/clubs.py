"""Clubs as people shorten them: the usual letters and numbers of the trade."""

import re

from coachlab.intake.headings import read_club
from coachlab.schema import CLUBS


def guess_club(text: str) -> str | None:
    """Return the club that a short word may mean, or None.

    >>> guess_club("7i"), guess_club("I7"), guess_club("P wedge"), guess_club("56°")
    ('iron-7', 'iron-7', 'wedge-pw', 'wedge-56')
    """
    plain = " ".join(re.findall(r"[a-z]+|\d+", str(text).casefold()))
    known = read_club(text, {})
    if known:
        return known
    if plain in ("d", "dr", "drv", "driver", "w 1", "1 w", "1 wood"):
        return "driver"
    letters, number = set(re.findall(r"[a-z]+", plain)), re.findall(r"\d+", plain)
    for words, kind in (
        ({"w", "wd", "wood", "fairway", "fw"}, "wood"),
        ({"h", "hy", "hyb", "hybrid", "rescue", "utility"}, "hybrid"),
        ({"i", "ir", "iron", "irn"}, "iron"),
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
