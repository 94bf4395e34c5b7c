"""How an answer is marked: in a band that every model allows, with the link that was missed."""

from dataclasses import replace

import numpy as np

from coachlab.drills.value import Marking, Question, Slip
from coachlab.errors import DataError, need

LETTERS = "abcdefgh"
"""How options are named."""

MOST = {"°": 90, "cm": 200, "yd": 500, "m": 450}
"""Beyond these, in the unit that is asked for, an answer is no ball's and no swing's: it was mistyped, not meant."""


def mark(question: Question, answer: float | str) -> Marking:
    """Return whether an answer is right, why it is so, which link was missed, and what to look at.

    Parameters
    ----------
    question : Question
        As `drill` returns.
    answer : float or str
        For a number: the number in the unit that the question asks in, minus for its second side; a text such as
        ``"4.5"`` or ``"4,5"`` will do. For a choice: the option's letter, ``"a"`` for the first, or its place from 0.

    Returns
    -------
    Marking

    Raises
    ------
    DataError
        If the answer is no number, or one that no ball and no swing can make, or there is no such option.

    Examples
    --------
    >>> from coachlab.drills.draw import drill
    >>> question = drill("arc-2", seed=0)
    >>> mark(question, question.answer).right, mark(question, -question.answer).link
    (True, 'low-point')
    """
    need(question, Question, "An answer was to be marked.", "question", "Give what drill(exercise) returns.")
    return _choice(question, answer) if question.options else _number(question, answer)


def _choice(question: Question, answer: float | str) -> Marking:
    place = LETTERS.find(answer.strip().lower()) if isinstance(answer, str) and len(answer.strip()) == 1 else answer
    if isinstance(place, bool) or not isinstance(place, int | np.integer) or not 0 <= place < len(question.options):
        letters = ", ".join(LETTERS[: len(question.options)])
        raise DataError("An answer was to be marked.", f"It is {answer!r}.", f"Give one of {letters}.", answer=answer)
    chosen, right = question.options[place], question.options[question.right]
    if place == question.right:
        return _made(question, chosen.text, True, question.link, f"Right: “{right.text}”.")
    verdict = f"Not so. {chosen.words} Right is “{right.text}”."
    made = _made(question, chosen.text, False, chosen.link or question.link, verdict)
    if question.kind in ("backward", "causes") and chosen.controls:
        return replace(made, before=chosen.controls, look=f"{made.look} The dashed flight is the one that you chose.")
    return made


def _number(question: Question, answer: float | str) -> Marking:
    shown, asked = number_in(answer), "An answer was to be marked."
    if question.measure is None or not np.isfinite(shown):
        raise DataError(asked, f"It is {answer!r}.", f"Give a number in {question.answer_hint()}.")
    most = MOST[question.unit]
    if abs(shown) > most:
        space = "" if question.unit == "°" else " "
        raise DataError(
            asked,
            f"{abs(shown):g}{space}{question.unit} is more than a ball or a swing can do.",
            f"Give at most {most}{space}{question.unit}; nothing was marked yet.",
        )
    value = shown / question.measure.factor
    said, band = question.say(value), question.say_band()
    if question.low <= value <= question.high:
        verdict = (
            f"Right: you said {said}, the model says {question.say(question.answer)}; anything from {band} counts."
        )
        return _made(question, said, True, question.link, verdict)
    slip = _slip(question, value)
    told = slip.words if slip else _too(question, value)
    verdict = f"Not so: you said {said}, the model says {question.say(question.answer)} ({band} counts). {told}"
    return _made(question, said, False, (slip.link if slip else "") or question.link, verdict)


def number_in(answer: object) -> float:
    """Return the number that an answer says, written as people write it; NaN where it says none.

    >>> number_in(" −4,5 "), number_in("four")
    (-4.5, nan)
    """
    try:
        return float(str(answer).strip().replace("−", "-").replace(",", "."))
    except ValueError:
        return np.nan


def _slip(question: Question, value: float) -> Slip | None:
    """Return the misunderstanding that leads about to this number, if one does."""
    near = min(question.slips, key=lambda slip: abs(slip.value - value), default=None)
    if near is None:
        return None
    edge = question.low if near.value < question.low else question.high
    return near if abs(near.value - value) <= abs(near.value - edge) / 2 else None


def _too(question: Question, value: float) -> str:
    if question.sides and value * question.answer < 0:
        return "That goes the other way."
    return "That is too little." if abs(value) < abs(question.answer) else "That is too much."


def _made(question: Question, answer: str, right: bool, link: str, verdict: str) -> Marking:
    return Marking(question, answer, right, link, verdict, question.why, question.look, question.before)
