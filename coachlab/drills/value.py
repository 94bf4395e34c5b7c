"""What an exercise, a question and its marking are; numbers in their own units, words and units only at the edge."""

import html
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from coachlab.drills.worlds import Controls, Worlds
from coachlab.units import Shown

GROUPS: Mapping[str, str] = {
    "start": "Start line",
    "curve": "Curve",
    "distance": "Height and distance",
    "arc": "Attack and path, tied by the arc",
    "strike": "Where on the face",
    "air": "Wind, air and the slope of the numbers",
}
"""The six groups of exercises, and how they are said."""

KINDS: Mapping[str, str] = {
    "forward": "from delivery to flight",
    "backward": "from flight to delivery",
    "mend": "the smallest change that mends it",
    "causes": "the same flight from different causes",
}
"""The four kinds of question."""

PARTS = 6
"""How many parts of the flight page can be hidden; with all of them hidden it is not shown."""

Case = dict[str, float | str]
"""The numbers that one variant of an exercise draws."""


@dataclass(frozen=True)
class Option:
    """One answer to choose from: its words, the delivery behind it, and what choosing it wrongly tells.

    ``link`` is the cause-effect link that was missed by whoever chooses it, ``words`` say so.
    """

    text: str
    words: str = ""
    link: str = ""
    controls: Controls | None = None


@dataclass(frozen=True)
class Slip:
    """A number that a usual misunderstanding leads to, the link that it misses, and what to say of it."""

    value: float
    words: str
    link: str = ""


@dataclass(frozen=True, eq=False)
class Question:
    """One variant of an exercise: what is asked, what is right under every model, and what to look at.

    Attributes
    ----------
    exercise, seed, variant : str, int, int
        The same three give the same question.
    group, kind, link : str
        Keys of `GROUPS`, `KINDS` and `links.LINKS`.
    text : str
        What is asked, in plain words.
    given : tuple of (str, str)
        What is known of the shot: label and value with its unit.
    options : tuple of Option
        What to choose from; empty where a number is asked for.
    right : int
        Place of the right option; -1 where a number is asked for.
    answer, low, high : float
        The right number by the default model, and the band that counts as right, in the unit of ``measure`` times its
        factor (SI, degrees); NaN for a choice. The band holds the answer of every model, and a margin for what can be
        said without an instrument.
    slips : tuple of Slip
        Wrong numbers with a known cause; all outside the band.
    measure : Shown or None
        How the number is shown.
    sides : tuple of str
        What plus and minus are called, as in ``("right", "left")``; empty where the number has no side.
    before, after : dict or None
        Controls of the flight page: what may be seen before the answer (None: nothing), and what shows the answer.
    hidden : tuple of str
        Parts of the page that would give the answer away.
    why, look : str
        Why it is so, with this variant's numbers, and what to look at on the page.
    found : ndarray
        What was found under each model: numbers, shape (worlds,), or 1 right, -1 wrong, 0 unclear for each option,
        shape (options, worlds).
    case : dict
        The numbers that were drawn.
    """

    exercise: str
    seed: int
    variant: int
    group: str
    kind: str
    link: str
    text: str
    given: tuple[tuple[str, str], ...]
    why: str
    look: str
    after: Controls
    before: Controls | None = None
    hidden: tuple[str, ...] = ()
    options: tuple[Option, ...] = ()
    right: int = -1
    answer: float = np.nan
    low: float = np.nan
    high: float = np.nan
    slips: tuple[Slip, ...] = ()
    measure: Shown | None = None
    sides: tuple[str, ...] = ()
    found: np.ndarray = field(default_factory=lambda: np.empty(0), repr=False)
    case: Case = field(default_factory=dict, repr=False)

    def say(self, value: float) -> str:
        """Return a number as this question shows it, with its unit and its side.

        >>> from coachlab.drills import drill
        >>> drill("start-1", seed=0).say(-2.0)
        '2.0° left'
        """
        if self.measure is None:
            return ""
        if not self.sides:
            return self.measure.text(value)
        side = "" if not round(value * self.measure.factor, self.measure.digits) else f" {self.sides[int(value < 0)]}"
        return self.measure.text(abs(value)) + side

    def say_band(self) -> str:
        """Return what counts as right, the smaller amount first, as in ``3.8° to 6.2° left``.

        >>> from coachlab.drills import drill
        >>> drill("arc-2", seed=2).say_band()
        '3.6° to 5.8° up'
        """
        if self.measure is None:
            return ""
        if self.low * self.high < 0:
            return f"{self.say(self.low)} to {self.say(self.high)}"
        near, far = sorted((self.low, self.high), key=abs)
        number = self.measure.number(abs(near)) + ("°" if self.unit == "°" else "")
        return f"{number} to {self.say(far)}"

    @property
    def unit(self) -> str:
        """The unit of the answer, empty for a choice."""
        return self.measure.unit if self.measure else ""

    def text_of_answer(self) -> str:
        """Return the right answer in words; a number with the band that counts as right."""
        if self.options:
            return self.options[self.right].text
        return f"{self.say(self.answer)} (anything from {self.say_band()} counts)"

    @property
    def seen(self) -> bool:
        """Whether the flight page may stand beside the question before it is answered."""
        return self.before is not None and len(self.hidden) < PARTS

    def _repr_html_(self) -> str:
        rows = "".join(f"<tr><th>{html.escape(a)}</th><td>{html.escape(b)}</td></tr>" for a, b in self.given)
        letters = "".join(f"<li>{html.escape(option.text)}</li>" for option in self.options)
        asked = f"<ol type='a'>{letters}</ol>" if letters else f"<p>Answer in {html.escape(self.answer_hint())}.</p>"
        return f"<p>{html.escape(self.text)}</p><table>{rows}</table>{asked}"

    def answer_hint(self) -> str:
        """Return what a number is asked in, as in ``degrees, right plus, left minus``."""
        unit = {"°": "degrees", "yd": "yards", "m": "metres", "cm": "centimetres"}.get(self.unit, self.unit)
        return unit + (f", {self.sides[0]} plus, {self.sides[1]} minus" if self.sides else "")


@dataclass(frozen=True)
class Exercise:
    """One of the 24 exercises: how a variant is drawn, solved under every model, and put into words.

    ``draw`` gives a variant's numbers, ``solve`` what is right under each model (see `Question.found`), ``ask`` the
    question in words and in a system of units.
    """

    name: str
    kind: str
    link: str
    title: str
    draw: Callable[[np.random.Generator], Case]
    solve: Callable[[Case, Worlds], np.ndarray]
    ask: Callable[[Case, np.ndarray, str], "Asked"]

    @property
    def group(self) -> str:
        """The group it belongs to, a key of `GROUPS`."""
        return self.name.partition("-")[0]


@dataclass(frozen=True, eq=False)
class Asked:
    """What an exercise says of one variant, before it is known whether every model agrees.

    ``slack`` is what is added at both ends of a number's band, ``widest`` how far the models may lie apart;
    ``shuffled`` says that the options have no natural order.
    """

    text: str
    given: tuple[tuple[str, str], ...]
    why: str
    look: str
    after: Controls
    before: Controls | None = None
    hidden: tuple[str, ...] = ()
    options: tuple[Option, ...] = ()
    slips: tuple[Slip, ...] = ()
    measure: Shown | None = None
    sides: tuple[str, ...] = ()
    shuffled: bool = False
    slack: float = 0.0
    widest: float = np.inf


@dataclass(frozen=True)
class Marking:
    """A marked answer.

    ``link`` is the cause-effect link that the answer speaks for: the question's own where it is right, the one that was
    missed where it is not. ``before`` are the controls of the flight to compare the right one with: the chosen
    delivery where a wrong one was chosen among several, the question's own otherwise.
    """

    question: Question = field(repr=False)
    answer: float | str
    right: bool
    link: str
    verdict: str
    why: str
    look: str
    before: Controls | None = field(default=None, repr=False)

    def text(self) -> str:
        """Return verdict, cause and what to look at, in sentences."""
        return " ".join((self.verdict, self.why, self.look))

    def _repr_html_(self) -> str:
        return "".join(f"<p>{html.escape(part)}</p>" for part in (self.verdict, self.why, self.look))
