"""Can this answer be trusted: a panel that shows twelve looks at the model of one cue, and a second opinion."""

import base64
import html
from importlib.resources import files

import ipywidgets as w
import pandas as pd
from matplotlib.figure import Figure

from coachlab.cues.diagnose import Diagnostics, diagnose
from coachlab.cues.looks import GOOD, LOOK
from coachlab.cues.second import SecondOpinion, second_opinion
from coachlab.cues.table import model_table
from coachlab.errors import CoachlabError, DataError
from coachlab.intake.shots import Shots
from coachlab.plots.diagnostics import LAYOUT, SIGNS, describe_look, draw_look
from coachlab.schema import show_club
from coachlab.scroll import scrolled
from coachlab.settings import Settings
from coachlab.widgets.image import DPI, Picture, png_of
from coachlab.widgets.offer import offered_choices

SHARP = 1.6
"""Device pixels a page pixel that pictures are drawn for: sharp on most screens, and half the bytes of 2."""

LEAST_PX = 80
"""Pixels an inch below which a picture is not shrunk, but slides: its smallest words, 9 points, are then 10 high."""


def explore_trust(
    shots: Shots,
    cues: pd.DataFrame | None = None,
    settings: Settings | None = None,
    outcome: str = "attack_up_deg",
    club: str = "iron-7",
    cue: str | None = None,
    seed: int | None = None,
) -> "Trust":
    """Return a panel that shows whether the answer on a cue can be trusted: twelve looks, and a second opinion.

    Parameters
    ----------
    shots : Shots
        Cleaned shots with their lesson log joined.
    cues : DataFrame or None
        The cue cards; None: ids only.
    settings : Settings or None
        The academy's thresholds and units.
    outcome, club : str
        What is shown first: a key of `schema.OUTCOMES`, a key of `schema.CLUBS`.
    cue : str or None
        The cue that is shown first; None: the first.
    seed : int or None
        Of the simulated lessons; None: another draw each time.

    Raises
    ------
    DataError
        If the shots hold no analysed shot of any cue, or what is to be shown first is not among them.
    """
    return Trust(shots, cues, settings or Settings(), {"club": club, "outcome": outcome, "cue": cue}, seed)


class Trust(w.VBox):
    """The panel: three controls, twelve pictures with their sentences, and the other program on request."""

    def __init__(
        self, shots: Shots, cues: pd.DataFrame | None, settings: Settings, first: dict, seed: int | None
    ) -> None:
        self._shots, self._cues, self._settings, self._seed = shots, cues, settings, seed
        self._tables: dict[tuple[str, str], pd.DataFrame] = {}
        self.diagnostics: Diagnostics | None = None
        self.opinion: SecondOpinion | None = None
        offered = offered_choices(shots, cues)
        offered["cue"] = [choice for choice in offered["cue"] if choice[1]]
        words = {"club": "club", "outcome": "what moved", "cue": "with"}
        self.controls = {name: self._control(name, words[name], offered[name], first[name]) for name in words}
        self.status = Picture()  # without a picture: its caption is told to screen readers, its script keeps keys
        self.trouble = w.HTML()
        self.page = w.HTML()
        self.ask = w.Button(
            description="Ask another program",
            tooltip="the same model in statsmodels, side by side",
            layout=w.Layout(width="auto", margin="1em 0 0", align_self="flex-start"),
        )
        self.second = w.HTML()
        controls = w.Box(list(self.controls.values()), layout=w.Layout(flex_flow="row wrap"))
        controls.add_class("coachlab-controls")
        note = w.HTML(f'<p class="coachlab-note">{html.escape(settings.note)}</p>' if settings.note else "")
        style = w.HTML(f"<style>{_asset('looks.css')}</style>")
        super().__init__([style, controls, self.status, self.trouble, self.page, self.ask, self.second, note])
        self.add_class("coachlab-panel")
        for control in self.controls.values():
            control.observe(lambda _: self.refresh(), "value")
        self.ask.on_click(lambda _: self.compare())
        self.refresh()

    def refresh(self) -> None:
        """Look at what the controls ask, and show it; an error is shown in words in its place."""
        self.diagnostics = self.opinion = None
        self.second.value = ""
        self.status.clear("Fitting and simulating …")
        self.trouble.value = ""
        try:
            table = self._table()
            found = diagnose(table, self.controls["cue"].value, self._settings, self._shots, seed=self._seed)
            least = self._settings.small_group_students
            if len(found.seen.students) < least:
                raise DataError(
                    f"Looks at {found.question} were asked for.",
                    f"Fewer than {least} students hit with it: a small group can give a person away.",
                    "Choose a cue that more students tried.",
                )
            self.page.value = looks_html(found)
            self.diagnostics = found
            self.status.clear(found.brief())
            self.ask.disabled = False
        except CoachlabError as err:
            self._fail(err.asked, err.found, err.do)
        except Exception as err:  # a callback's exception is shown nowhere else in a notebook
            self._fail(
                "This choice could not be shown.",
                f"{type(err).__name__}: {err}",
                "This is a fault of the program: please report it with the choice that led to it.",
            )

    def compare(self) -> None:
        """Ask the other program about what is shown."""
        if self.diagnostics is None:
            return
        self.second.value = _words("Asking statsmodels …")
        try:
            self.opinion = second_opinion(self._table(), self.diagnostics.cue, self._settings)
            self.second.value = opinion_html(self.opinion)
        except CoachlabError as err:
            self.second.value = _words(" ".join((err.asked, err.found, err.do)))

    def _table(self) -> pd.DataFrame:
        key = (self.controls["outcome"].value, self.controls["club"].value)
        if key not in self._tables:
            self._tables[key] = model_table(self._shots, *key, self._cues)
        return self._tables[key]

    def _control(self, name: str, words: str, options: list, first: object) -> w.Dropdown:
        values = [value for _, value in options]
        if first is not None and first not in values:
            raise DataError(
                "A panel of looks at an answer was asked for.",
                f"{name} is {first!r}; these shots hold: {', '.join(map(str, values))}.",
                "Choose one of these.",
            )
        return w.Dropdown(
            options=options,
            value=first if first is not None else values[0],
            description=words,
            style={"description_width": "6.5em"},
            layout=w.Layout(width="22em", max_width="100%"),
        )

    def _fail(self, *lines: str) -> None:
        self.page.value = ""
        self.ask.disabled = True
        words = "".join(f"<p>{html.escape(line)}</p>" for line in lines if line)
        self.status.clear("")
        self.trouble.value = f'<div class="coachlab-text"><div class="trouble" role="alert">{words}</div></div>'


def looks_html(diagnostics: Diagnostics) -> str:
    """Return the twelve looks as a page: pictures with text alternatives, what was found, what a good one is."""
    rows, figure = diagnostics.table.set_index("number"), Figure()
    parts = []
    for number, (columns, _) in LAYOUT.items():
        row = rows.loc[number]
        image = base64.b64encode(png_of(draw_look(diagnostics, number, figure), DPI * SHARP)).decode("ascii")
        least, most = (round(figure.get_size_inches()[0] * inch) for inch in (LEAST_PX, DPI))
        shown = (
            f'<img alt="{html.escape(describe_look(diagnostics, number))}" src="data:image/png;base64,{image}" '
            f'style="max-width:{most}px">'
        )
        sign = SIGNS.get(row["sign"], "")
        kind = "sign look" if row["sign"] == LOOK else "sign"
        more = _reveal(diagnostics) if number == 12 else ""
        parts.append(
            f'<figure class="of-{columns}"><h4><span>{number} {html.escape(row["check"])}</span>'
            f'<span class="{kind}">{sign}</span></h4>'
            f"{scrolled(shown, least, f'picture {number}')}"
            f"<figcaption><p>{html.escape(_capital(row['found']))}. {html.escape(row['remark'])}</p>"
            f'<p class="good">A good one: {html.escape(GOOD[number - 1])}</p>{more}</figcaption></figure>'
        )
    question = html.escape(f"{show_club(diagnostics.club)}: {diagnostics.question}")
    return (
        f'<div class="coachlab-room"><div class="coachlab-looks" aria-label="{question}">{"".join(parts)}</div></div>'
    )


def opinion_html(opinion: SecondOpinion) -> str:
    """Return the second opinion as a section: a sentence and the table."""
    rows = "".join(
        "<tr>" + "".join(f"<td>{html.escape(str(cell))}</td>" for cell in row) + "</tr>"
        for row in opinion.table.itertuples(index=False)
    )
    head = "".join(f"<th>{name}</th>" for name in ("what", "ours", "statsmodels", "remark"))
    return (
        f'<section class="coachlab-text"><h3>A second opinion</h3><p>{html.escape(opinion.text())}</p>'
        f"{scrolled(f'<table><tr>{head}</tr>{rows}</table>', 480, 'both programs')}</section>"
    )


def _reveal(diagnostics: Diagnostics) -> str:
    lineup = diagnostics.seen.lineup
    if lineup is None:
        return ""
    return (
        '<details><summary data-lm-suppress-shortcuts="true">Which panel is real?</summary>'
        f"<p>Panel {lineup.reveal()}.</p></details>"
    )


def _asset(name: str) -> str:
    return files("coachlab").joinpath(f"assets/{name}").read_text(encoding="utf-8")


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def _words(text: str) -> str:
    return f'<div class="coachlab-text" aria-live="polite"><p>{html.escape(text)}</p></div>'
