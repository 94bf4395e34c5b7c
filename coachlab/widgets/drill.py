"""Predict, then see: a panel that asks, marks, shows the flight, and lets weak links come back."""

import html
from math import isfinite
from pathlib import Path

import anywidget
import ipywidgets as w
import traitlets

from coachlab.drills.draw import EXERCISES
from coachlab.drills.marking import mark, number_in
from coachlab.drills.pages import Explanation, explain_flight
from coachlab.drills.progress import Progress, drill_progress
from coachlab.drills.value import GROUPS, KINDS, Marking, Question
from coachlab.drills.worlds import Controls
from coachlab.errors import CoachlabError, DataError
from coachlab.settings import Settings
from coachlab.widgets.flight import FlightPage, flight_page

_ASSETS = Path(__file__).parents[1] / "assets"


def drill_panel(
    folder: str | Path | None = None,
    group: str = "",
    seed: int | None = None,
    settings: Settings | None = None,
) -> "DrillPanel":
    """Return a panel of exercises in ball flight: predict, answer, then see the flight.

    Parameters
    ----------
    folder : path or None
        Where answers are kept, once the trainee has given a word of their own; None: nothing is kept.
    group : str
        The group to begin with (`drills.GROUPS`); empty: all six in turn.
    seed : int or None
        The same seed and the same answers give the same questions; None: new ones each time.
    settings : Settings or None
        The academy's, for yards or metres.

    Raises
    ------
    DataError
        If there is no such group.
    """
    return DrillPanel(folder, group, seed, settings)


class DrillForm(anywidget.AnyWidget):
    """The form above the flight page: it shows what the panel says and sends what the trainee does."""

    _esm = (_ASSETS / "drill.js").read_text(encoding="utf-8")
    _css = (_ASSETS / "drill.css").read_text(encoding="utf-8")
    groups: traitlets.List = traitlets.List().tag(sync=True)
    group = traitlets.Unicode("").tag(sync=True)
    keeps = traitlets.Bool(False).tag(sync=True)
    student = traitlets.Unicode("").tag(sync=True)
    question = traitlets.Dict().tag(sync=True)
    marking = traitlets.Dict().tag(sync=True)
    page = traitlets.Dict().tag(sync=True)
    trouble = traitlets.Unicode("").tag(sync=True)


class DrillPanel(w.VBox):
    """The panel. ``question``, ``marking``, ``explanation`` and ``progress`` are what it shows; it computes nothing."""

    def __init__(
        self,
        folder: str | Path | None = None,
        group: str = "",
        seed: int | None = None,
        settings: Settings | None = None,
    ) -> None:
        self._folder, self._seed, self._settings = folder, seed, settings or Settings()
        self.progress: Progress = drill_progress()
        self._loose: list[Marking] = []  # answers of this visit that are in no file yet
        self.question: Question = self.progress.next(group or None, seed, self._settings)
        self.marking: Marking | None = None
        self.explanation: Explanation | None = None
        self.form = DrillForm(groups=[["", "All six in turn"], *map(list, GROUPS.items())], group=group)
        self.form.keeps = folder is not None
        self.form.on_msg(self._heard)
        self.flight: FlightPage = flight_page(settings=self._settings)
        self.place = w.VBox([self.flight])  # classes of an anywidget do not change once it is shown
        self.links = w.HTML()
        super().__init__([self.form, self.place, self.links])
        self.place.add_class("drill-place")
        self.add_class("coachlab-panel").add_class("drill-panel")
        self._show_question()

    def who(self, word: str) -> None:
        """Keep the answers, those of this visit too, under the pseudonym of a word, with what was kept before."""
        if not word.strip():
            raise DataError("Answers were to be kept.", "No word was given.", "Type a word that you will remember.")
        self.progress = drill_progress(word, self._folder)
        self.form.student = self.progress.student
        self._keep()

    def ask(self) -> None:
        """Show the next question: weak links first."""
        self.question = self.progress.next(self.form.group or None, self._seed, self._settings)
        self._show_question()

    def answer(self, answer: float | str) -> None:
        """Mark an answer, show why on the flight page, and keep it."""
        if self.marking is not None:
            return
        self.marking = mark(self.question, answer)
        self._see(self.marking.before, self.question.after)
        self.form.marking = {
            "right": self.marking.right,
            "verdict": self.marking.verdict,
            "why": self.marking.why,
            "look": self.marking.look,
            "place": self.question.right,
        }
        self._keep(self.marking)

    def about(self, group: str) -> None:
        """Turn to another group, asking or explaining as before; empty: all six in turn."""
        explaining = self.explanation is not None and group
        self.form.group = group
        if explaining:
            self.explain()
        else:
            self.ask()

    def explain(self) -> None:
        """Show the page that explains the chosen group, with the flight page for its steps."""
        self.explanation = explain_flight(self.form.group or self.question.group, self._settings)
        page = self.explanation
        self.form.page = {
            "title": page.title,
            "question": page.question,
            "steps": [[step.text, step.show] for step in page.steps],
        }
        self.show(0)

    def show(self, step: int) -> None:
        """Show one step of an explanation on the flight page."""
        if self.explanation is not None:
            chosen = self.explanation.steps[step]
            self._see(chosen.before, chosen.after)

    def _keep(self, *new: Marking) -> None:
        """Add answers to the progress; what cannot be written yet waits for the trainee's word, or the next try."""
        self._loose += new
        if not self.progress.student:
            for marking in new:
                self.progress = self.progress.add(marking)
        while self.progress.student and self._loose:
            self.progress = self.progress.add(self._loose[0])
            del self._loose[0]
        self._tell_links()

    def _show_question(self) -> None:
        question = self.question
        self.marking, self.explanation = None, None
        self.place.layout.display = None if question.seen else "none"
        self.flight.hidden = sorted({*question.hidden, "before"})
        self.place.add_class("drill-asking")
        (self.place.add_class if "flight" in question.hidden else self.place.remove_class)("drill-blind")
        self.flight.offered = ["hold_path"]  # nothing moves before the answer
        if question.before:
            self._fly(question.before, question.before)
        with self.form.hold_sync():
            self.form.trouble, self.form.marking, self.form.page = "", {}, {}
            self.form.question = {
                "title": EXERCISES[question.exercise].title,
                "kind": f"{GROUPS[question.group]}: {KINDS[question.kind]}",
                "text": question.text,
                "given": [list(row) for row in question.given],
                "options": [option.text for option in question.options],
                "unit": question.answer_hint().partition(",")[0],
                "sides": list(question.sides),
                "number": [question.exercise, question.seed, question.variant],
            }
        self._tell_links()

    def _see(self, before: Controls | None, after: Controls) -> None:
        """Open the whole page, with the flight before dashed beside the one after."""
        self.place.layout.display = None
        self.place.remove_class("drill-asking").remove_class("drill-blind")
        self.flight.hidden, self.flight.offered = [], []
        self._fly(before or after, after)

    def _fly(self, before: Controls, after: Controls) -> None:
        """Put the flight page at one delivery, then at another, both exactly as given."""
        self.flight.begin(before)
        if after != before:
            self.flight.controls = dict(after)

    def _tell_links(self) -> None:
        self.links.value = links_html(self.progress)

    def _heard(self, _: object, message: dict, __: object) -> None:
        """Do what the trainee wants; what goes wrong is said in words, as a callback's error is seen nowhere else."""
        what = message.get("what")
        self.form.trouble = ""
        try:
            if what == "who":
                self.who(str(message.get("word", "")))
            elif what == "group":
                self.about(str(message.get("group", "")))
            elif what == "ask":
                self.ask()
            elif what == "explain":
                self.explain()
            elif what == "show":
                self.show(int(message.get("step", 0)))
            elif what == "answer" and self.question.options:
                self.answer(int(message["place"]))
            elif what == "answer":
                self.answer(_typed(self.question, str(message.get("amount", "")), int(message.get("side", 1))))
        except CoachlabError as err:
            self.form.trouble = "\n".join(part for part in (err.asked, err.found, err.do) if part)
        except Exception as err:  # shown nowhere else in a notebook
            self.form.trouble = f"This is a fault of the program, please report it: {type(err).__name__}: {err}"


def links_html(progress: Progress) -> str:
    """Return how each cause-effect link stands, as a table: weak ones first, those never asked left out."""
    table = progress.table
    asked = table[table["asked"] > 0]
    order = {"weak": 0, "coming": 1, "firm": 2}
    asked = asked.sort_values("state", key=lambda state: state.map(order), kind="stable")
    words = {"weak": "weak: comes back soon", "coming": "coming", "firm": "firm"}
    rows = "".join(
        f"<tr><td>{html.escape(row.words)}</td><td>{html.escape(row.group)}</td>"
        f"<td class='number'>{row.right} of {row.asked}</td><td>{words[row.state]}</td></tr>"
        for row in asked.itertuples()
    )
    body = (
        "<table><thead><tr><th>what follows from what</th><th>group</th><th class='number'>right</th><th>now</th></tr>"
        f"</thead><tbody>{rows}</tbody></table>"
        if rows
        else ""
    )
    new = len(table) - len(asked)
    rest = f"<p>{new} of {len(table)} links not asked yet.</p>" if new else ""
    said = f"<p>{html.escape(progress.text())}</p>"
    return f'<section class="coachlab-text drill-links"><h3>Your links</h3>{said}{body}{rest}</section>'


def _typed(question: Question, amount: str, side: int) -> str:
    """Return what stands in the box with the sign of the side that is chosen beside it.

    Raises
    ------
    DataError
        If it is no number, or has a sign of its own although a side is chosen.
    """
    text = amount.strip()
    if not question.sides:
        return text
    asked = "Your answer was to be marked."
    unit = question.answer_hint().partition(",")[0]
    do = f"Give a number in {unit}, and choose {' or '.join(question.sides)} beside it."
    if not isfinite(number_in(text)):
        raise DataError(asked, f"{text!r} is no number." if text else "The box is empty.", do)
    if text[0] in "-−+":
        raise DataError(asked, f"{text!r} has a sign, and the side is chosen beside it.", do)
    return text if side > 0 else f"-{text}"
