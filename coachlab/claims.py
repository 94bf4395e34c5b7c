"""What may be said at which evidence grade: a closed list of sentences, and nothing outside it.

Every sentence about a cue that a page or a report shows is made here, so that no wording claims more than the
lessons can carry. `matches` holds a finished text against the list.
"""

import re
from collections.abc import Mapping

from coachlab.errors import DataError

_MOVES: dict[str, tuple[str, str, str]] = {
    # outcome -> (causal verb up, causal verb down, state word pair); what follows "..." stands after the outcome
    "attack_up_deg": ("raised", "lowered", "higher|lower"),
    "path_out_deg": ("moved ... outward", "moved ... inward", "further out|further in"),
    "face_open_deg": ("opened", "closed", "more open|more closed"),
    "face_to_path_deg": ("opened", "closed", "more open|more closed"),
    "club_speed_mps": ("raised", "lowered", "higher|lower"),
    "carry_m": ("lengthened", "shortened", "longer|shorter"),
}

_BASIS = "({level} interval {low} to {high}; {students} students, {shots} shots)"
_BASIS_DRAWN = "({level} interval {low} to {high}; {shots} shots, random order)"
_BASIS_OPEN = "({level} interval; best estimate {estimate}; {students} students, {shots} shots)"
_NOT_SEPARATED = (
    "Without a comparison we cannot separate the cue from warm-up, practice or regression to the mean: not yet clear."
)
_SEEN = (
    "In the next similar student, a lesson of this kind would show between {low} and {high} "
    "(90 % range for what is seen, chance included)."
)
_SPLIT = (
    "{cue}: {club} path differed from plain by {path} on average ({level} interval {path_low} to {path_high}; "
    "{students} students, evidence grade {grade}). Attack differed by {attack}, and on the same arc that alone makes "
    "{free} (free); the other {earned} ({earned_low} to {earned_high}) is earned by turning the arc, {band} "
    "if the incline is {incline} off."
)
_OWN = (
    "That student's own average shift, the chance of single blocks taken away, is expected between {low} and {high} "
    "({tested})."
)

TEMPLATES: dict[str, dict[str, str]] = {
    "A": {
        "moved": "In {students} students of {academy}, {cue} {verb} {club} {outcome}{way} by {estimate} on average "
        f"against the plain instruction {_BASIS_DRAWN}.",
        "open": "In {students} students of {academy}, the average change of {club} {outcome} with {cue} "
        "against the plain instruction could be anywhere from {low} to {high} ({level} interval; best estimate "
        "{estimate}; {shots} shots, random order): not yet clear.",
        "leaning": "In {students} students of {academy}, the average change of {club} {outcome} with {cue} "
        "against the plain instruction could be anywhere from {low} to {high} ({level} interval; best estimate "
        "{estimate}; {shots} shots, random order); zero is just inside, and by the rule of the "
        "study the verdict is: {verdict}.",
        "small": "In {students} students of {academy}, {cue} had no useful effect on average on "
        "{club} {outcome}: the 90 % interval {low} to {high} lies inside ±{useful} "
        "({shots} shots, random order).",
        "seen": _SEEN,
        "own": _OWN,
        "split": _SPLIT,
        "pattern": "With {cue}, the change of {club} {outcome} grows by {estimate} for each degree that a student's "
        "own {pattern} is {side} ({level} interval {low} to {high}; {students} students).",
        "pattern open": "With {cue}, the change of {club} {outcome} for each degree that a student's own {pattern} is "
        "{side} could be anywhere from {low} to {high} ({level} interval; {students} students): not yet clear.",
        "between": "{cue} and {other} differ in {club} {outcome} by {estimate} "
        "({level} interval {low} to {high}; {students} students).",
    },
    "B": {
        "moved": "{club} {outcome} was {state} by {estimate} on average while {cue} was in place "
        f"{_BASIS}: consistent with an effect of the cue.",
        "open": "While {cue} was in place the average change of {club} {outcome} could be anywhere "
        f"from {{low}} to {{high}} {_BASIS_OPEN}: not yet clear.",
        "leaning": "While {cue} was in place the average change of {club} {outcome} could be anywhere "
        f"from {{low}} to {{high}} {_BASIS_OPEN}; zero is just inside, and by the rule of the study the verdict is: "
        "{verdict}.",
        "small": "While {cue} was in place {club} {outcome} hardly differed on average: the 90 % interval {low} to "
        "{high} lies inside ±{useful} ({students} students, {shots} shots): too small to matter.",
        "seen": _SEEN,
        "own": _OWN,
        "split": _SPLIT,
    },
    "C": {
        "moved": "{club} {outcome} was {state} by {estimate} with {cue} than in the plain shots of the same lessons "
        f"{_BASIS}. {_NOT_SEPARATED}",
        "open": "With {cue} the average difference of {club} {outcome} from the plain shots of the same lessons "
        f"could be anywhere from {{low}} to {{high}} {_BASIS_OPEN}. {_NOT_SEPARATED}",
        "split": f"{_SPLIT} {_NOT_SEPARATED}",
    },
    "D": {
        "count": "{cue}: {shots} shots of {students} students with {club} are logged; "
        "without an own baseline they are counted and not compared.",
    },
    "all": {
        "few": "{cue}: {students} students hit {club} with and without it; "
        "at least {needed} are needed before a mean change is printed.",
        "population": "This speaks of the students of {academy}, in these lessons and on this surface, while the cue "
        "was in place; it says nothing about other players, about learning or about scores.",
        "many": "{tests} intervals are shown here; with no true difference anywhere, about {chance} of them "
        "would still leave out zero.",
        "useful own": "The smallest useful shift of {club} {outcome}, {useful}, is the academy's own setting.",
        "useful flown": "The smallest useful shift of {club} {outcome}, {useful}, comes from the flight model: about "
        "what moves the ball by {distance} {along}, at a typical delivery with {speed}; nothing that a cue did is in "
        "it{limit}.",
        "useful default": "The smallest useful shift of {club} {outcome}, {useful}, is the usual one, assumed until "
        "the academy sets its own.",
        "split at grade": "{cue}: at evidence grade {grade} there is no own baseline to split a path shift from.",
        "split hidden": "Cues tried by fewer than {least} students are not split; a small group can give a person "
        "away.",
        "split basis": "Free is what the arc of a {club} makes of the change of attack with nothing else changed; "
        "earned is the rest, which takes turning the arc. Incline of the arc from the ground: {incline}. The range in "
        "brackets is the {level} interval over students; the last one is what the split would be with everybody's "
        "incline {band} flatter or steeper. Averages here are of each student's own difference, all students alike, so "
        "that free and earned add up; the main result's averages are the model's, which weighs students by their "
        "blocks and takes out what goes with the order of blocks, and may differ a little.",
        "split of ones": "This student's own lessons; how sure each is comes from how this academy's blocks of one "
        "kind differ.",
        "split of one": "{cue}: this student's path differed by {path} and attack by {attack}; {free} of the path is "
        "free, {earned} earned ({level} interval {low} to {high}).",
        "split of one, no error": "{cue}: this student's path differed by {path} and attack by {attack}; {free} of the "
        "path is free, {earned} earned; one block of each kind cannot tell how sure that is.",
        "coaches": "With {coaches} coaches the spread between coaches is not in the interval.",
        "one coach": "With one coach, or none logged, the spread between coaches is not in the interval.",
        "no pattern at grade": "Whether {cue} suits one pattern more than another "
        "is not said at evidence grade {grade}.",
        "no pattern": "Whether {cue} suits one pattern more than another cannot be said: of the students who hit with "
        "and without it, {students} also have a screening block, and {needed} are needed.",
    },
}

_FORBIDDEN = re.compile(r"\b(works|fixes|proven|significant|significantly|responders?|cures)\b", re.IGNORECASE)


def say(grade: str, kind: str, values: Mapping[str, object]) -> str:
    """Return a sentence of the closed list, filled in.

    Parameters
    ----------
    grade : str
        A, B, C, D, or ``"all"`` for the sentences that every grade may use.
    kind : str
        Which sentence; see `TEMPLATES`.
    values : mapping
        What the sentence names, already written with units.

    Raises
    ------
    DataError
        If the grade does not allow a sentence of this kind, or a value is missing.
    """
    template = TEMPLATES.get(grade, {}).get(kind)
    if template is None:
        raise DataError(
            f"A sentence {kind!r} was asked for at evidence grade {grade}.",
            f"This grade allows: {', '.join(TEMPLATES.get(grade, {})) or 'nothing'}.",
            "Say less, or bring better evidence.",
            grade=grade,
            kind=kind,
        )
    try:
        sentence = template.format_map(values)
    except KeyError as err:
        raise DataError(
            f"The sentence {kind!r} of grade {grade} was asked for.", f"It needs {err}.", "Pass the value.", kind=kind
        ) from None
    return sentence[0].upper() + sentence[1:]


def verb(outcome: str, estimate: float) -> str:
    """Return the verb of cause for a change of an outcome, allowed at grade A only."""
    return _cause(outcome, estimate).partition(" ... ")[0]


def way(outcome: str, estimate: float) -> str:
    """Return what follows the outcome in a sentence of cause, as in ``moved path outward``; empty for most."""
    word = _cause(outcome, estimate).partition(" ... ")[2]
    return f" {word}" if word else ""


def state(outcome: str, estimate: float) -> str:
    """Return the word of state for a difference in an outcome, as in ``higher``."""
    more, less = _MOVES[outcome][2].split("|")
    return more if estimate >= 0 else less


def matches(sentence: str, grade: str) -> bool:
    """Return whether a finished sentence is one that this evidence grade allows.

    >>> matches("Rafter fixes a steep swing.", "A")
    False
    """
    if _FORBIDDEN.search(sentence):
        return False
    allowed = [*TEMPLATES.get(grade, {}).values(), *TEMPLATES["all"].values()]
    return any(re.fullmatch(_pattern(template), sentence, re.IGNORECASE | re.DOTALL) for template in allowed)


def _cause(outcome: str, estimate: float) -> str:
    up, down, _ = _MOVES[outcome]
    return up if estimate >= 0 else down


def _pattern(template: str) -> str:
    parts = re.split(r"\{\w+\}", template)
    return r".{0,120}?".join(re.escape(part) for part in parts)
