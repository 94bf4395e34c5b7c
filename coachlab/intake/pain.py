"""The questions about pain that open a lesson, and what the answers allow. It asks and refers; it diagnoses nothing.

The rules are the academy's caution, not medicine: they say what is left out today and when somebody else must look.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from coachlab.errors import DataError
from coachlab.schema import PLAIN
from coachlab.settings import Settings

PLACES = ("back", "hip", "wrist", "elbow", "shoulder", "knee", "neck", "elsewhere")
"""Where it may hurt, in the words of a cue card's exclusions."""
LIMITING = ("back", "hip", "wrist", "elbow")
"""Trouble here limits a lesson whatever its number."""
MILD, SEVERE = 3.0, 7.0
"""From these numbers on a lesson is limited, and stopped; the second is an assumption (severe on a scale of ten)."""

CLINICIAN = "Stop here today, and see a licensed clinician before swinging again."
STOP = "If it hurts, stop: press the button. The block ends, the log keeps that, and nobody is asked to go on."
RANGE = (
    "One hitter to a bay, nobody forward of the line. Lay sticks and marks where neither club nor ball can throw them, "
    "look at mat and net, and follow the range's local rules; outdoors, thunder ends the lesson."
)


@dataclass(frozen=True)
class Pain:
    """What a student answers before the first ball.

    Parameters
    ----------
    pain_0_10 : float
        Pain today, 0 to 10.
    places : tuple of str
        Where, of `PLACES`; empty: nowhere.
    recent : bool
        Surgery, or a flare of an old trouble, within three months.
    alarm : bool
        New, severe or spreading pain, pain at night, numbness or weakness.

    Raises
    ------
    DataError
        If the number is not between 0 and 10, or a place is unknown.
    """

    pain_0_10: float
    places: tuple[str, ...] = ()
    recent: bool = False
    alarm: bool = False

    def __post_init__(self) -> None:
        asked = "A student was asked about pain."
        if isinstance(self.pain_0_10, bool) or not 0 <= self.pain_0_10 <= 10:
            raise DataError(asked, f"The answer is {self.pain_0_10!r}.", "Give a number from 0 to 10.")
        for place in self.places:
            if place not in PLACES:
                raise DataError(asked, f"The place {place!r} is not known.", f"Use {', '.join(PLACES)}.", place=place)


@dataclass(frozen=True)
class Allowance:
    """What a lesson may be today.

    Attributes
    ----------
    may_swing : bool
        False where a licensed clinician should look first.
    limited : bool
        True where cues that load the body, and trying cues out, are left for another day.
    swings, driver_swings : int
        The most full swings of this lesson, and how many of them with the driver.
    sentences : tuple of str
        The same in words.
    """

    may_swing: bool
    limited: bool
    swings: int
    driver_swings: int
    sentences: tuple[str, ...]

    def text(self) -> str:
        """Return what is allowed as one text."""
        return " ".join(self.sentences)


def allow_swings(pain: Pain, settings: Settings | None = None, junior: bool = False) -> Allowance:
    """Return what a lesson may be after the answers about pain.

    Parameters
    ----------
    pain : Pain
        The answers.
    settings : Settings or None
        The academy's caps of full swings.
    junior : bool
        True for a junior, or somebody who comes back after a break: the lower cap.

    Examples
    --------
    >>> allow_swings(Pain(4, ("back",))).swings
    35
    """
    settings = settings or Settings()
    cap = settings.junior_swings if junior else settings.adult_swings
    if pain.alarm or pain.pain_0_10 >= SEVERE:
        why = f"Pain of {pain.pain_0_10:g} is severe." if not pain.alarm else "These are signs to have looked at."
        return Allowance(False, True, 0, 0, (why, CLINICIAN))
    reasons = [f"pain of {pain.pain_0_10:g}"] if pain.pain_0_10 >= MILD else []
    reasons += [f"trouble in the {place}" for place in pain.places if place in LIMITING]
    reasons += ["surgery or a flare within three months"] if pain.recent else []
    if not reasons:
        driver = min(settings.driver_swings, cap)
        return Allowance(True, False, cap, driver, (_cap(cap, driver), STOP))
    cap //= 2
    driver = min(settings.driver_swings // 2, cap)
    return Allowance(
        True,
        True,
        cap,
        driver,
        (
            f"Because of {', '.join(reasons)}: no cue that tilts the body, changes the width of the stance or asks to "
            "hit down, and no trying out of cues.",
            _cap(cap, driver),
            STOP,
        ),
    )


def barred_cues(cues: pd.DataFrame, pain: Pain) -> dict[str, str]:
    """Return the cues that are left out today, each with the reason in a sentence.

    A card is left out if its exclusions name a place that hurts (or ``pain``, and anything limits the lesson), and, in
    a limited lesson, if it is meant to lower attack, which is a cue to hit down. Whether a card tilts the body or
    changes the stance stands in no column: its exclusions must say so.

    Parameters
    ----------
    cues : DataFrame
        Cue cards (`read_cues`).
    pain : Pain
        The answers.
    """
    limited = allow_swings(pain).limited
    barred = {}
    for card in cues.itertuples():
        named = [place for place in str(card.exclusions).split() if place in pain.places]
        if card.cue == PLAIN:
            continue
        if named:
            barred[str(card.cue)] = f"Its card excludes trouble in the {_listed(named)}."
        elif limited and "pain" in str(card.exclusions).split():
            barred[str(card.cue)] = "Its card excludes anybody in pain."
        elif limited and card.direction < 0 and "attack_up_deg" in str(card.moves).split():
            barred[str(card.cue)] = "It asks to hit down, which is left for another day."
    return barred


def _cap(cap: int, driver: int) -> str:
    return f"At most {cap} full swings in this lesson, {driver} of them with the driver."


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
