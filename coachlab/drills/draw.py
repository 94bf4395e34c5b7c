"""How a question is drawn: anew, until one answer holds under every model."""

from collections.abc import Mapping
from dataclasses import replace
from difflib import get_close_matches

import numpy as np

from coachlab.drills import air, arc, curve, distance, start, strike
from coachlab.drills.value import Asked, Case, Exercise, Question
from coachlab.drills.worlds import PLAIN, Worlds
from coachlab.errors import DataError, need
from coachlab.settings import Settings

EXERCISES: Mapping[str, Exercise] = {
    exercise.name: exercise for module in (start, curve, distance, arc, strike, air) for exercise in module.EXERCISES
}
"""All exercises by name, in their order."""

MOST_DRAWS = 60
"""How often a variant may be drawn anew before the exercise is called broken."""

_MARGIN = 0.15
"""How far outside its band a wrong number must lie, as a share of the band's width."""


def drill(exercise: str, seed: int | None = None, variant: int = 0, settings: Settings | None = None) -> Question:
    """Return a question to answer before the ball flies: one variant of one exercise.

    The numbers are drawn anew until the right answer is right, and each wrong one wrong, under every aerodynamic model
    of the ensemble, every grip of the face that cannot be excluded, and three degrees of incline either way.

    Parameters
    ----------
    exercise : str
        One of the 24, as ``"start-1"``; `drills.EXERCISES` lists them.
    seed : int or None
        The same seed and variant give the same question; None: a new one.
    variant : int
        Which variant of that seed, from 0, without end.
    settings : Settings or None
        The academy's, for yards or metres.

    Raises
    ------
    DataError
        If there is no such exercise, or seed or variant is no whole number from 0.

    Examples
    --------
    >>> question = drill("curve-1", seed=3)
    >>> question.text
    'This 7-iron is struck in the centre. Which way does the ball curve in the air?'
    >>> question.options[question.right].text
    'To the right'
    """
    chosen, seed, variant = _checked(exercise, seed, variant)
    rng = np.random.default_rng([seed, variant, list(EXERCISES).index(exercise)])
    units = (settings or Settings()).units
    for _ in range(MOST_DRAWS):
        case = chosen.draw(rng)
        first = chosen.solve(case, PLAIN)
        if first.ndim == 2 and not one_right(first):
            continue  # what one model disputes, all do; it costs a quarter
        found = chosen.solve(case, Worlds())
        if np.isfinite(found).all() and (found.ndim == 1 or one_right(found)):
            asked = chosen.ask(case, found, units)
            if found.ndim == 2 or promised(found, asked):
                if asked.shuffled:
                    order = rng.permutation(len(asked.options))
                    found, asked = found[order], replace(asked, options=tuple(asked.options[at] for at in order))
                return _question(chosen, seed, variant, case, found, asked)
    raise DataError(
        f"A variant of exercise {exercise} was drawn (seed {seed}, variant {variant}).",
        f"None of {MOST_DRAWS} draws has one answer that holds under every model.",
        "Take another seed, and please report this one.",
    )


def one_right(found: np.ndarray) -> bool:
    """Return whether one option is right under every model, and every other one wrong under every model."""
    return bool(np.sum(np.all(found == 1, axis=1)) == 1 and np.sum(np.all(found == -1, axis=1)) == len(found) - 1)


def promised(found: np.ndarray, asked: Asked) -> bool:
    """Return whether the models lie near enough together for a number, and every known wrong one outside its band."""
    low, high = band(found, asked)
    margin = _MARGIN * (high - low)
    outside = [slip.value < low - margin or slip.value > high + margin for slip in asked.slips]
    return bool(np.ptp(found) <= asked.widest and all(outside))


def band(found: np.ndarray, asked: Asked) -> tuple[float, float]:
    """Return the ends of what counts as right: every model's answer, and what can be said without an instrument."""
    return float(found.min()) - asked.slack, float(found.max()) + asked.slack


def _question(chosen: Exercise, seed: int, variant: int, case: Case, found: np.ndarray, asked: Asked) -> Question:
    low, high = band(found, asked) if not asked.options else (np.nan, np.nan)
    return Question(
        exercise=chosen.name,
        seed=seed,
        variant=variant,
        group=chosen.group,
        kind=chosen.kind,
        link=chosen.link,
        text=asked.text,
        given=asked.given,
        why=asked.why,
        look=asked.look,
        after=asked.after,
        before=asked.before,
        hidden=asked.hidden,
        options=asked.options,
        right=int(np.argmax(found[:, 0])) if asked.options else -1,
        answer=float(found[0]) if not asked.options else np.nan,
        low=low,
        high=high,
        slips=asked.slips,
        measure=asked.measure,
        sides=asked.sides,
        found=found,
        case=case,
    )


def _checked(exercise: str, seed: int | None, variant: int) -> tuple[Exercise, int, int]:
    asked = "A question was asked for."
    need(exercise, str, asked, "exercise", f"Choose one of {', '.join(EXERCISES)}.")
    if exercise not in EXERCISES:
        close = get_close_matches(str(exercise), EXERCISES, n=1)
        hint = f" {close[0]!r} is close." if close else ""
        raise DataError(asked, f"There is no exercise {exercise!r}.{hint}", f"Choose one of {', '.join(EXERCISES)}.")
    if seed is None:
        seed = int(np.random.default_rng().integers(2**31))
    for name, value in (("seed", seed), ("variant", variant)):
        if isinstance(value, bool) or not isinstance(value, int | np.integer) or value < 0:
            raise DataError(asked, f"{name} is {value!r}.", "Give a whole number from 0.", argument=name)
    return EXERCISES[exercise], int(seed), int(variant)
