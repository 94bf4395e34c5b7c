"""A sheet: parts that Python describes, shown by one dumb view, and what was done with them told to a page.

A page owns state and two plain questions: what are your parts now, and what follows from this action? So every panel
can be read and tested without a browser.
"""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Protocol

import anywidget
import traitlets

from coachlab.errors import CoachlabError

_ASSETS = Path(__file__).parents[1] / "assets"

Part = dict[str, Any]


class Page(Protocol):
    """What a sheet shows: ``parts`` as they are now, and ``act``, which does an action and says what it did."""

    def parts(self) -> list[Part]:
        """Return what is in sight."""

    def act(self, action: str, values: Mapping[str, Any]) -> str:
        """Do what was asked, and return a sentence on it, or nothing."""


class Sheet(anywidget.AnyWidget):
    """Shows a page, and hands on what is done with it; an error is shown in words, and what was there stays.

    Parameters
    ----------
    page : Page
        What is shown.
    """

    _esm = (_ASSETS / "sheet.js").read_text(encoding="utf-8")
    _css = (_ASSETS / "sheet.css").read_text(encoding="utf-8")
    parts: traitlets.List = traitlets.List().tag(sync=True)
    said = traitlets.Unicode("").tag(sync=True)

    def __init__(self, page: Page) -> None:
        super().__init__()
        self.page = page
        self.on_msg(self._heard)
        self.parts = page.parts()

    def _heard(self, _: object, content: Mapping[str, Any], __: object) -> None:
        self.act(content["action"], content.get("values") or {})
        self.send({"answered": content["action"]})

    def act(self, action: str, values: Mapping[str, Any] | None = None) -> None:
        """Do an action as if it had been done on the page."""
        said, trouble = self._try(lambda: self.page.act(action, values or {}))
        parts: list[Part] = list(self.parts)

        def look() -> str:
            parts[:] = self.page.parts()
            return said

        told, more = self._try(look)
        if not trouble:
            said, trouble = told, more
        self.parts = _with_trouble(parts, [line for line in trouble if line])
        self.said = said

    @staticmethod
    def _try(do: Callable[[], str]) -> tuple[str, list[str]]:
        """Return what is said of something that was done, and, where it failed, what is wrong."""
        try:
            return do(), []
        except CoachlabError as err:
            return err.found or err.asked, [err.asked, err.found, err.do]
        except Exception as err:  # a callback's exception is shown nowhere else in a notebook
            said = "This could not be done."
            return said, [said, f"{type(err).__name__}: {err}", "This is a fault of the program: please report it."]


def _with_trouble(parts: list[Part], lines: list[str]) -> list[Part]:
    """Return the parts with an error above the last buttons, where the eye is, and without the one before."""
    kept = [part for part in parts if not part.get("error")]
    if not lines:
        return kept
    places = [place for place, part in enumerate(kept) if part["kind"] == "buttons"]
    place = places[-1] if places else len(kept)
    return [*kept[:place], {"kind": "text", "tone": "trouble", "text": lines, "error": True}, *kept[place:]]


# Parts ----------------------------------------------------------------------------------------------------------------


def title(text: str, sub: str = "") -> Part:
    """Return the heading of a step."""
    return {"kind": "title", "text": text, "sub": sub}


def heading(text: str) -> Part:
    """Return the heading of a part of a step."""
    return {"kind": "heading", "text": text}


def steps(names: Sequence[str], at: int) -> Part:
    """Return the row that says which steps there are and at which we stand, from 0."""
    return {"kind": "steps", "names": list(names), "at": at}


def text(*lines: str, tone: str = "") -> Part:
    """Return paragraphs; ``tone``: quiet, aside, done or trouble."""
    return {"kind": "text", "text": [line for line in lines if line], "tone": tone}


def fields(*asked: Part, legend: str = "") -> Part:
    """Return fields side by side, as `choice`, `number`, `entry`, `check`, `several` and `one` make them."""
    return {"kind": "fields", "fields": list(asked), "legend": legend}


def buttons(*shown: Part) -> Part:
    """Return buttons side by side, as `button` makes them."""
    return {"kind": "buttons", "buttons": list(shown)}


def table(
    caption: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[object]],
    numbers: Sequence[str] = (),
    marked: int = -1,
    stack: bool = False,
) -> Part:
    """Return a table; columns in ``numbers`` are set to the right, ``stack`` lets a narrow page pile the cells."""
    shown = [{"text": head, "number": head in numbers} for head in heads]
    return {
        "kind": "table", "caption": caption, "heads": shown, "rows": [list(row) for row in rows], "marked": marked,
        "stack": stack,
    }  # fmt: skip


def fold(label: str, *parts: Part) -> Part:
    """Return parts behind a fold."""
    return {"kind": "fold", "label": label, "parts": list(parts)}


def choice(
    name: str, label: str, options: Sequence[Sequence], value: object, hint: str = "", short: bool = False
) -> Part:
    """Return a field with a list of options (value, words, and True where it cannot be chosen)."""
    return {
        "kind": "choice", "name": name, "label": label, "options": [list(one) for one in options], "value": value,
        "hint": hint, "short": short,
    }  # fmt: skip


def number(
    name: str,
    label: str,
    value: float | None,
    ends: tuple[float, float],
    step: float = 1,
    hint: str = "",
) -> Part:
    """Return a field for a number between two ends."""
    return {
        "kind": "number", "name": name, "label": label, "value": value, "min": ends[0], "max": ends[1], "step": step,
        "hint": hint, "short": True,
    }  # fmt: skip


def entry(name: str, label: str, value: str, hint: str = "", wide: bool = False, lines: int = 0) -> Part:
    """Return a field for a text."""
    return {
        "kind": "text", "name": name, "label": label, "value": value, "hint": hint, "wide": wide, "lines": lines,
    }  # fmt: skip


def check(name: str, label: str, value: bool, hint: str = "") -> Part:
    """Return a box to tick."""
    return {"kind": "check", "name": name, "label": label, "value": value, "hint": hint}


def several(name: str, label: str, options: Sequence[Sequence], value: Sequence[str], hint: str = "") -> Part:
    """Return boxes of which several may be ticked."""
    return {
        "kind": "several", "name": name, "label": label, "options": [list(one) for one in options],
        "value": list(value), "hint": hint,
    }  # fmt: skip


def one(name: str, label: str, options: Sequence[Sequence], value: str, wide: bool = False) -> Part:
    """Return options (value, words, whether it cannot be chosen, a line below) of which one is chosen."""
    return {
        "kind": "one", "name": name, "label": label, "options": [list(each) for each in options], "value": value,
        "wide": wide,
    }  # fmt: skip


def button(
    name: str,
    label: str,
    main: bool = False,
    stop: bool = False,
    disabled: bool = False,
    row: object = None,
    full: str | None = None,
    why: str = "",
) -> Part:
    """Return a button: ``row`` is told with it, ``full`` is its name for a screen reader, ``why`` stands beside it."""
    shown: Part = {"name": name, "label": label, "main": main, "stop": stop, "disabled": disabled, "why": why}
    if row is not None:
        shown["row"] = row
    if full is not None:
        shown["full"] = full
    return shown


def cell(text: object, small: str = "", tone: str = "") -> Part:
    """Return a cell of a table with a quiet line below it."""
    return {"text": str(text), "small": small, "tone": tone}
