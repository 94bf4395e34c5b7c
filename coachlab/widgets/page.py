"""How a view is laid out: one picture, and the sections below it."""

import html
from collections.abc import Iterable

import pandas as pd
from matplotlib.figure import Figure

from coachlab.plots import plot_paired, plot_patterns, plot_shift_against_pattern, plot_shifts
from coachlab.widgets.image import DPI
from coachlab.widgets.view import ExplorerView

WIDE_PX = 1150
"""From this width on the two halves of a picture stand side by side."""
NARROW_PX = 560
"""Below this width names stand above their rows: beside them they would leave no room for the shifts."""

_SUMMARY = '<summary data-lm-suppress-shortcuts="true">'
"""JupyterLab would take the key that unfolds it for itself."""


def draw_view(view: ExplorerView, figure: Figure, cues: pd.DataFrame | None, room_px: int) -> None:
    """Draw a view's picture into a figure of the width that the page has: side by side, or one above the other.

    Margins are set in inches by what stands in them: a layout engine would cost more than the drawing.
    """
    if view.shifts is None or view.patterns is None:
        return
    width = min(max(room_px, 320), 1400) / DPI
    wide, narrow = room_px >= WIDE_PX, room_px < NARROW_PX
    rows = (0.62 if narrow else 0.4) * len(view.shifts.table)
    height = 3.0 if view.choice.cue else max(rows, 1.0)
    figure.clear()
    figure.set_size_inches(width, (height + 1.2) if wide else 2 * (height + 1.3))
    if view.choice.cue:
        left, right = _two_axes(figure, wide, height, (0.75, 0.2), (0.75, 0.2))
        plot_paired(view.shifts, view.choice.cue, cues, left)
        plot_shift_against_pattern(view.shifts, view.choice.cue, view.patterns, cues, right)
        return
    sides = ((0.1, 0.1),) * 2 if narrow else ((1.45, 1.75), (0.1 if wide else 1.45, 0.2))
    left, right = _two_axes(figure, wide, height, *sides)
    plot_shifts(view.shifts, cues, left, narrow)
    plot_patterns(view.patterns, cues, right, narrow)
    ends = [end for axes in (left, right) for end in axes.get_xlim()]
    for axes in (left, right):
        axes.set_xlim(min(ends), max(ends))
    if wide:
        right.tick_params(axis="y", labelleft=False)


def view_html(view: ExplorerView) -> dict[str, str]:
    """Return the sections below the picture: what may be said and how sure, what to do next, where the shots went."""
    steps = "".join(
        f"<tr><td>{html.escape(row.step)}</td><td class='number'>{_number(row.shots)}</td><td class='number'>"
        f"{'' if pd.isna(row.students) else row.students}</td></tr>"
        for row in view.flow.itertuples()
    )
    flow = (
        f"<p>{html.escape(view.account)}</p><details>{_SUMMARY}Every loss by name</summary><table><tr><th>step</th>"
        f"<th class='number'>shots</th><th class='number'>students</th></tr>{steps}</table></details>"
    )
    claims, why, notes = _by_cue(view.claims), _by_cue(view.grades[["cue", "reason"]]), _by_cue(view.notes)
    grade = dict(zip(view.grades["cue"], view.grades["grade"], strict=True))
    said = "".join(
        _cue(cue, grade[cue], claims[cue], [*why[cue], *notes.get(cue, [])], unfolded=bool(view.choice.cue))
        for cue in claims
    )
    return {
        "said": _section("What may be said, and how sure it is", said + _paragraphs((*view.general, *view.hidden))),
        "next": _section(
            "What to do next", f"{_paragraphs(view.next_steps)}<p class='aside'>{html.escape(view.caution)}</p>"
        ),
        "flow": _section("Where the shots went", flow),
    }


def _cue(cue: str, grade: str, claims: list[str], reasons: list[str], unfolded: bool) -> str:
    """Return what may be said of one cue: the shift in sight, the rest and the grade's reasons behind a fold."""
    return (
        f"<p class='claim'>{html.escape(claims[0])}</p><details{' open' if unfolded else ''}>{_SUMMARY}"
        f"{html.escape(cue)}: more, and why grade {grade}</summary>{_paragraphs(claims[1:])}{_list(reasons)}</details>"
    )


def _by_cue(rows: pd.DataFrame) -> dict[str, list[str]]:
    """Return the second column's texts by the first."""
    found: dict[str, list[str]] = {}
    for cue, text in rows.itertuples(index=False):
        found.setdefault(cue, []).append(text)
    return found


def _two_axes(figure: Figure, wide: bool, height: float, first: tuple, second: tuple) -> list:
    """Return two axes with the given inches to their left and right, one beside or below the other."""
    width, tall = figure.get_size_inches()
    if not wide:
        return [
            figure.add_axes((a / width, bottom / tall, (width - a - b) / width, height / tall))
            for (a, b), bottom in ((first, tall - height - 0.55), (second, 0.7))
        ]
    free = (width - sum(first) - sum(second)) / 2
    return [
        figure.add_axes((start / width, 0.6 / tall, free / width, height / tall))
        for start in (first[0], sum(first) + free + second[0])
    ]


def _number(count: int) -> str:
    return f"{count:,}".replace("-", "−")


def _section(title: str, body: str) -> str:
    return f'<section class="coachlab-text"><h3>{title}</h3>{body}</section>'


def _paragraphs(sentences: Iterable[str]) -> str:
    return "".join(f"<p>{html.escape(sentence)}</p>" for sentence in sentences)


def _list(sentences: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{html.escape(sentence)}</li>" for sentence in sentences) + "</ul>"
