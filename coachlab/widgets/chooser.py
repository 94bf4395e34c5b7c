"""Whose delivery, which club, which cue: a panel that chooses, and the pages that follow its choice."""

import html
from collections.abc import Callable
from functools import cached_property
from typing import Protocol

import ipywidgets as w

from coachlab.cues.earned import FreeEarned
from coachlab.cues.split import free_and_earned
from coachlab.cues.value import cue_worth
from coachlab.errors import CoachlabError, DataError, need
from coachlab.intake.study import Study
from coachlab.schema import CLUBS, show_club
from coachlab.widgets.image import Picture
from coachlab.widgets.offer import offered_choices
from coachlab.worth import Costs, Worth, costliest
from coachlab.worth.cost import counted_students
from coachlab.worth.window import Windows, student_windows

_STYLE = """<style>
.coachlab-follows { font-size: var(--jp-content-font-size1, 14px); line-height: 1.5; }
.coachlab-follows table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
.coachlab-follows td, .coachlab-follows th { padding: 0.25em 1.4em 0.25em 0; vertical-align: top; }
.coachlab-follows tr + tr { border-top: 1px solid #8883; }
.coachlab-follows img { max-width: 100%; height: auto; }
</style>"""
"""A page in a widget has none of the notebook's own style."""


class Shows(Protocol):
    """What shows itself in a notebook, as the pages of a report do."""

    def _repr_html_(self) -> str: ...


class Asked:
    """What is chosen, and the answers on it, each worked out when first looked at."""

    def __init__(self, study: Study, student: str, club: str, cue: str) -> None:
        self.study, self.student, self.club, self.cue = study, student, club, cue

    @cached_property
    def costs(self) -> Costs:
        """What each number of the student's delivery costs."""
        return costliest(self.study.shots, self.student, self.club, settings=self.study.settings)

    @cached_property
    def windows(self) -> Windows:
        """What is good enough for the student."""
        return student_windows(self.costs)

    @cached_property
    def worth(self) -> Worth:
        """What the cue's average shift would be worth to the student."""
        return cue_worth(self.costs, self.study.shots, self.cue, self.study.cues)

    @cached_property
    def split(self) -> FreeEarned:
        """Every cue's path shift in its free and its earned part."""
        return free_and_earned(self.study.shots, self.club, self.study.cues, settings=self.study.settings)


def choose_student(
    study: Study, student: str | None = None, club: str | None = None, cue: str | None = None
) -> "Chooser":
    """Return a panel that chooses student, club and cue, and whose pages (`Chooser.show`) follow the choice.

    Students stand as pseudonyms with how many plain shots they have. A box finds one by the name in the files: it
    becomes the pseudonym in memory, and is shown and kept nowhere.

    Parameters
    ----------
    study : Study
        From `read_study`.
    student, club, cue : str or None
        What is chosen first; None: the club with most cue shots, its student with most plain shots, the first cue.

    Raises
    ------
    DataError
        If nobody has enough plain shots, or what is to be chosen first is not there.
    """
    need(study, Study, "A panel that chooses a student was asked for.", "study", "Give what read_study returns.")
    return Chooser(study, student, club, cue)


class Chooser(w.VBox):
    """The panel: three lists, a box that finds by name, and what was chosen in words."""

    def __init__(self, study: Study, student: str | None, club: str | None, cue: str | None) -> None:
        self._study = study
        self._pages: list[tuple[Callable[[Asked], Shows], w.HTML]] = []
        self._splits: dict[str, FreeEarned] = {}
        self._setting = False
        counts = counted_students(study.shots)
        there = set(counts["club"])
        clubs = [(show_club(name), name) for name in CLUBS if name in there]
        cues = [choice for choice in offered_choices(study.shots, study.cues)["cue"] if choice[1]]
        self._counts = counts
        if not clubs:
            raise DataError(
                "What a number costs a student was asked for.",
                "Nobody has enough plain shots with attack, path, face and club speed.",
                "Read more lessons, or map those columns.",
            )
        most = counts.groupby("club", observed=True)["shots"].sum().idxmax()
        self.controls = {
            "student": self._list("student", []),
            "club": self._list("club", clubs, club or str(most)),
            "cue": self._list("cue", cues, cue),
        }
        self._offer_students(student)
        self.find = w.Text(
            description="find by name",
            placeholder="as it stands in your files, then Enter",
            continuous_update=False,
            style={"description_width": "7.5em"},
            layout=w.Layout(width="26em", max_width="100%"),
        )
        self.status = Picture()  # without a picture: its caption is told to screen readers
        controls = w.Box([*self.controls.values(), self.find], layout=w.Layout(flex_flow="row wrap"))
        controls.add_class("coachlab-controls")
        super().__init__([controls, self.status])
        self.add_class("coachlab-panel")
        for control in self.controls.values():
            control.observe(self._moved, "value")
        self.find.observe(self._find, "value")
        self.refresh()

    def show(self, make: Callable[[Asked], Shows]) -> w.HTML:
        """Return a page that follows the choice: `make` is called with what is asked, again at each choice."""
        page = w.HTML()
        page.add_class("coachlab-panel")
        self._pages.append((make, page))
        page.value = self._made(make)
        return page

    def refresh(self, word: str = "") -> None:
        """Answer what is chosen, and say it; an error of a page stands in its place in words."""
        chosen = {name: control.value for name, control in self.controls.items()}
        self.asked = Asked(self._study, **chosen)
        if chosen["club"] in self._splits:
            self.asked.__dict__["split"] = self._splits[chosen["club"]]
        for make, page in self._pages:
            page.value = self._made(make)
        shots = self._counts.set_index(["club", "student"]).loc[(chosen["club"], chosen["student"]), "shots"]
        said = (
            f"Student {chosen['student']} with the {show_club(chosen['club'])}: {shots:,} plain shots. The cue "
            f"below is {chosen['cue']}."
        )
        self.status.clear(f"{word} {said}".strip())

    def _made(self, make: Callable[[Asked], Shows]) -> str:
        try:
            shown = make(self.asked)._repr_html_()
            if "split" in self.asked.__dict__:
                self._splits[self.asked.club] = self.asked.split
            return f'{_STYLE}<div class="coachlab-follows">{shown}</div>'
        except CoachlabError as err:
            words = "".join(f"<p>{html.escape(line)}</p>" for line in (err.asked, err.found, err.do) if line)
            return f'<div class="coachlab-text"><div class="trouble" role="alert">{words}</div></div>'

    def _moved(self, change: dict) -> None:
        if self._setting:
            return
        if change["owner"] is self.controls["club"]:
            self._offer_students(self.controls["student"].value, or_first=True)
        self.refresh()

    def _find(self, change: dict) -> None:
        """Choose the student of a name; the name leaves the page at once, whoever it is."""
        name = str(change["new"]).strip()
        if not name:
            return
        self.find.value = ""
        student = self._study.student_of(name)
        has = self._counts[self._counts["student"] == student]
        if not len(has):
            self.refresh("Nobody of that name has enough plain shots; write it as it stands in your files.")
            return
        if self.controls["club"].value not in set(has["club"]):
            self._set("club", str(has.loc[has["shots"].idxmax(), "club"]))
            self._offer_students(student)
        self._set("student", student)
        self.refresh("Found.")

    def _set(self, name: str, value: str) -> None:
        self._setting = True
        self.controls[name].value = value
        self._setting = False

    def _offer_students(self, student: str | None, or_first: bool = False) -> None:
        """Offer the students of the club, the one with most shots first."""
        club = self.controls["club"].value
        mine = self._counts[self._counts["club"] == club].sort_values("shots", ascending=False, kind="stable")
        options = [(f"{row.student} ({row.shots:,} shots)", row.student) for row in mine.itertuples()]
        known = [value for _, value in options]
        if student is not None and student not in known and not or_first:
            costliest(self._study.shots, student, club)  # which says why not
        self._setting = True
        self.controls["student"].options = options
        self.controls["student"].value = student if student in known else known[0]
        self._setting = False

    def _list(self, name: str, options: list, first: str | None = None) -> w.Dropdown:
        values = [value for _, value in options]
        if first is not None and first not in values:
            raise DataError(
                "A panel to choose a student was asked for.",
                f"{name} is {first!r}; these shots hold: {', '.join(map(str, values))}.",
                "Choose one of these.",
            )
        return w.Dropdown(
            options=options,
            value=first if first is not None else (values[0] if values else None),
            description=name,
            style={"description_width": "7.5em"},
            layout=w.Layout(width="22em", max_width="100%"),
        )
