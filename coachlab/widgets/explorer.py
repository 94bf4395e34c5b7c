"""The cue explorer: which cue moves which number, for which swing pattern, and how sure are we."""

import asyncio
import html
from collections.abc import Callable, Iterator
from dataclasses import replace

import ipywidgets as w
import pandas as pd
from matplotlib.figure import Figure

from coachlab.cues.pattern import default_pattern
from coachlab.errors import CoachlabError
from coachlab.intake.shots import Shots
from coachlab.settings import Settings
from coachlab.widgets.garbage import garbage_waits
from coachlab.widgets.image import DPI, Picture, png_of
from coachlab.widgets.offer import directions, offered_choices
from coachlab.widgets.page import WIDE_PX, draw_view, view_html
from coachlab.widgets.view import Choice, ExplorerView, explorer_view

_DEBOUNCE_S, _IDLE_S, _BREATH_S = 0.06, 0.7, 0.05
"""How long the controls must be still before the panel answers, looks ahead, and looks ahead again."""


def explore_cues(shots: Shots, cues: pd.DataFrame | None = None, settings: Settings | None = None) -> "Explorer":
    """Return a panel to explore which cue moves which number, for which swing pattern.

    Parameters
    ----------
    shots : Shots
        Cleaned shots with their lesson log joined.
    cues : DataFrame or None
        The cue cards (`read_cues`); None: ids only, without names and families.
    settings : Settings or None
        The academy's thresholds and units.

    Raises
    ------
    DataError
        If the shots hold no analysed shot of any cue.
    """
    return Explorer(shots, cues, settings)


class Explorer(w.VBox):
    """The panel: controls, one picture, and what may be said of it. It owns no number; see `explorer_view`."""

    def __init__(self, shots: Shots, cues: pd.DataFrame | None = None, settings: Settings | None = None) -> None:
        self._ask = (shots, cues, settings or Settings())
        self._known: dict = {}
        self._views: dict[Choice, ExplorerView] = {}
        self._timer: asyncio.TimerHandle | None = None
        self._drawn: dict[tuple, bytes] = {}
        self._refused: set[Choice] = set()
        self._setting = False
        self.view: ExplorerView | None = None
        self._build(offered_choices(shots, cues))
        self.picture = Picture()
        self.sections = {name: w.HTML() for name in ("said", "next", "flow")}
        self.trouble = w.HTML()
        note = w.HTML(f'<p class="coachlab-note">{html.escape(self._ask[2].note)}</p>' if self._ask[2].note else "")
        below = w.Box(
            [self.sections["said"], w.VBox([self.sections["next"], self.sections["flow"]])],
            layout=w.Layout(flex_flow="row wrap"),
        )
        below.add_class("coachlab-below")
        controls = w.Box(list(self.controls.values()), layout=w.Layout(flex_flow="row wrap"))
        controls.add_class("coachlab-controls")
        super().__init__([controls, self.trouble, self.picture, below, note])
        self.add_class("coachlab-panel")
        for control in self.controls.values():
            control.observe(self._moved, "value")
        self.picture.observe(self._refresh_soon, ["room_px", "ratio"])
        self.refresh()

    @property
    def choice(self) -> Choice:
        """What the controls ask."""
        asked = {name: control.value for name, control in self.controls.items()}
        return Choice(**asked | {"direction": asked["direction"] or None})

    def refresh(self) -> None:
        """Compute what the controls ask, and show it; an error is shown in words in its place."""
        try:
            with garbage_waits():
                self.view = self._answer(self.choice)
                self._draw()
                self._tell()
            self.trouble.value = ""
        except CoachlabError as err:
            self._fail(err.asked, err.found, err.do)
        except Exception as err:  # a callback's exception is shown nowhere else in a notebook
            self._fail(
                "This choice could not be shown.",
                f"{type(err).__name__}: {err}",
                "This is a fault of the program: please report it with the choice that led to it.",
            )
        if self.picture.room_px:  # before a page shows the panel, its messages come first
            self._later(_IDLE_S, self._look_ahead)

    def _answer(self, choice: Choice) -> ExplorerView:
        if choice not in self._views:
            shots, cues, settings = self._ask
            self._views[choice] = explorer_view(shots, choice, cues, settings, self._known)
        return self._views[choice]

    def _look_ahead(self) -> None:
        """Answer and draw, while nobody moves a control, what one move would ask next; one answer a turn."""
        for choice in self._next_choices():
            if self._key(choice) not in self._drawn and choice not in self._refused:
                try:
                    with garbage_waits():
                        self._picture_of(self._answer(choice))
                except CoachlabError:  # shown in words if anybody asks
                    self._refused.add(choice)
                self._later(_BREATH_S, self._look_ahead)
                return

    def _next_choices(self) -> Iterator[Choice]:
        """Yield what is one move away: another number first, then what needs no more models."""
        here = self.choice
        for _, outcome in self.controls["outcome"].options:
            yield replace(here, outcome=outcome, pattern=default_pattern(outcome))
        for name in ("family", "cue"):
            for _, value in self.controls[name].options:
                yield replace(here, **{name: value})

    def _build(self, offered: dict[str, list[tuple[str, object]]]) -> None:
        names = {
            "club": "club",
            "outcome": "what moved",
            "direction": "wanted",
            "family": "kind of cue",
            "cue": "closer look at",
            "pattern": "pattern from",
            "coach": "coach",
        }
        self.controls = {
            name: w.Dropdown(
                options=offered[name],
                description=words,
                style={"description_width": "7.5em"},
                layout=w.Layout(width="22em", max_width="100%"),
            )
            for name, words in names.items()
        }

    def _moved(self, change: dict) -> None:
        if self._setting:
            return
        if change["owner"] is self.controls["outcome"]:
            self._setting = True
            self.controls["pattern"].value = default_pattern(change["new"])
            wanted = self.controls["direction"].value
            self.controls["direction"].options = directions(change["new"])
            self.controls["direction"].value = wanted
            self._setting = False
        self._refresh_soon()

    def _refresh_soon(self, _: dict | None = None) -> None:
        if not self._later(_DEBOUNCE_S, self.refresh):
            self.refresh()

    def _later(self, seconds: float, action: Callable[[], None]) -> bool:
        """Act once nothing else was asked for so long; return False where no loop runs (a script, a test)."""
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            return False
        if self._timer:
            self._timer.cancel()
        self._timer = loop.call_later(seconds, action)
        return True

    def _draw(self) -> None:
        view = self.view
        if view is None:
            return
        if view.shifts is None:
            self.picture.clear(view.picture)
            return
        self.picture.show(self._picture_of(view), view.picture, view.picture.partition(". ")[0].rstrip(".") + ".")

    def _key(self, choice: Choice) -> tuple:
        return choice, self.picture.room_px or WIDE_PX, self.picture.sharpness

    def _picture_of(self, view: ExplorerView) -> bytes:
        key = self._key(view.choice)
        _, room_px, sharpness = key
        if key not in self._drawn:
            figure = Figure()  # to clear the last one would cost more
            draw_view(view, figure, self._ask[1], room_px)
            self._drawn[key] = png_of(figure, DPI * sharpness)
        return self._drawn[key]

    def _tell(self) -> None:
        view = self.view
        if view is not None:
            for name, text in view_html(view).items():
                self.sections[name].value = text

    def _fail(self, *lines: str) -> None:
        self.view = None
        self.picture.clear("No picture: " + lines[0])
        for section in self.sections.values():
            section.value = ""
        words = "".join(f"<p>{html.escape(line)}</p>" for line in lines if line)
        self.trouble.value = f'<div class="coachlab-text"><div class="trouble" role="alert">{words}</div></div>'
