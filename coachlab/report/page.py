"""`Page`: one section of a report, as a value that shows itself in a notebook and in the exported file."""

import base64
import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from html import escape

import pandas as pd

from coachlab.scroll import scrolled

DPI = 200
"""Dots per inch of a picture: sharp on a screen of double density and in print."""


LEAST = 5 / 6
"""A picture is not shrunk below this share of its size: the smallest words, 9 points, are then 10 pixels high."""

_COLUMN = 24
"""Letters of a line in a column of long text, where a table is at its narrowest."""
_FIRST = "position:sticky;left:0;background:var(--jp-layout-color0,#fff)"
_STAYS = "position:sticky;left:0;display:inline-block;max-width:100cqw"


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture and what it shows, in words for whoever does not see it; a caption below, and whether it is wide."""

    png: bytes
    alt: str
    caption: str = ""
    wide: bool = False

    @property
    def size(self) -> tuple[int, int]:
        """Width and height on a page, in its own pixels of 1/96 inch."""
        # the first chunk of a PNG (IHDR) holds width and height in bytes 16 to 24
        width, height = (int.from_bytes(self.png[place : place + 4], "big") for place in (16, 20))
        return round(width * 96 / DPI), round(height * 96 / DPI)


@dataclass(frozen=True, eq=False)
class Page:
    """One section of a report.

    Attributes
    ----------
    name : str
        Short id, unique in a report; the checklist refers to it.
    title : str
        Heading.
    sentences : tuple of str
        What is said, one paragraph each.
    pictures : tuple of Picture
        Drawn before the table.
    table : DataFrame or None
        Values as they are shown: text, numbers already with their units.
    caption : str
        What the table shows.
    claims : tuple of (grade, sentences)
        What is said of cues, one pair a cue, each sentence from the closed list of its evidence grade (`claims`).
    after : tuple of str
        What is said below.
    caution : tuple of str
        What to mind for body and range, shown in a frame.
    banner : str
        A remark that stands above everything else.
    level : int
        1 for the title of the report, 2 for a section.
    """

    name: str
    title: str
    sentences: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()
    table: pd.DataFrame | None = None
    caption: str = ""
    claims: tuple[tuple[str, tuple[str, ...]], ...] = ()
    after: tuple[str, ...] = ()
    caution: tuple[str, ...] = ()
    banner: str = ""
    level: int = 2

    def text(self) -> str:
        """Return what the section says, without pictures and table."""
        told = [sentence for _, sentences in self.claims for sentence in sentences]
        return " ".join([*filter(None, [self.banner]), *self.sentences, *told, *self.after, *self.caution])

    def __repr__(self) -> str:
        return f"<Page {self.name}: {self.title}>"

    def _repr_html_(self) -> str:
        parts = [f'<section class="page" id="{escape(self.name)}">']
        if self.banner:
            parts.append(f'<p class="banner" role="note">{_prose(self.banner)}</p>')
        parts.append(f"<h{self.level}>{_prose(self.title)}</h{self.level}>")
        parts += [f"<p>{_prose(sentence)}</p>" for sentence in self.sentences]
        if self.pictures:
            kind = "several" if len(self.pictures) > 1 else "single"
            parts.append(f'<div class="{kind}">{"".join(map(_figure, self.pictures))}</div>')
        if self.table is not None:
            parts.append(_table(self.table, self.caption))
        if self.claims:
            told = "".join(
                f'<li data-grade="{grade}">{" ".join(f"<span>{_prose(one)}</span>" for one in sentences)}</li>'
                for grade, sentences in self.claims
            )
            parts.append(f'<ul class="claims">{told}</ul>')
        parts += [f"<p>{_prose(sentence)}</p>" for sentence in self.after]
        if self.caution:
            lines = "".join(f"<p>{_prose(line)}</p>" for line in self.caution)
            frame = 'style="border-left:4px solid #d55e00; padding-left:1rem"'
            parts.append(f'<aside class="caution" aria-label="Body and range" {frame}>{lines}</aside>')
        return "\n".join([*parts, "</section>"])


def draw(plot: Callable, *values: object, alt: str, width_in: float = 5.6, height_in: float = 3.4) -> Picture:
    """Return a plot function's picture with its words.

    Parameters
    ----------
    plot : callable
        Takes the values and ``ax``.
    *values
        What is drawn.
    alt : str
        What the picture shows.
    width_in, height_in : float
        Size in inches; words are 10 points at this size.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasAgg(figure)
    plot(*values, ax=figure.subplots())
    file = io.BytesIO()
    # without the version of the drawing program in it, the same data give the same report
    figure.savefig(file, format="png", dpi=DPI, metadata={"Software": None})
    return Picture(file.getvalue(), alt)


def _figure(picture: Picture) -> str:
    image = base64.b64encode(picture.png).decode("ascii")
    width, height = picture.size
    kind = ' class="wide"' if picture.wide else ""
    caption = f"<figcaption>{_prose(picture.caption)}</figcaption>" if picture.caption else ""
    least = round(width * LEAST)
    shown = f'<img alt="{escape(picture.alt)}" width="{width}" height="{height}" src="data:image/png;base64,{image}">'
    box = scrolled(shown, least, picture.caption or "a picture")
    # a notebook's own style would set the picture in from both sides
    return f'<figure{kind} style="margin-left:0;margin-right:0">{caption}{box}</figure>'


def _table(table: pd.DataFrame, caption: str) -> str:
    """Return a table that scrolls on a narrow screen, its first column and its caption staying in sight."""
    names = [str(name) for name in table.columns]
    cells = [[_text(value) for value in values] for values in table.itertuples(index=False)]
    kinds = [_kind([row[place] for row in cells]) for place in range(len(names))]
    kinds[0] = f'{kinds[0][:-1]};{_FIRST}"'
    head = "".join(f'<th scope="col" {kind}>{_prose(name)}</th>' for name, kind in zip(names, kinds, strict=True))
    rows = []
    for first, *rest in cells:
        line = [f'<th scope="row" {kinds[0]}>{_prose(first)}</th>']
        line += [f"<td {kind}>{_prose(value)}</td>" for kind, value in zip(kinds[1:], rest, strict=True)]
        rows.append(f"<tr>{''.join(line)}</tr>")
    words = f'<caption style="text-align:left"><span style="{_STAYS}">{_prose(caption)}</span></caption>'
    least = _least_px(names, cells)
    kind = ' class="brief"' if len(rows) <= 10 else ""
    whole = (
        f"<table{kind}>{words if caption else ''}<thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
    )
    return scrolled(whole, least, caption or "a table")


def _least_px(names: list[str], cells: list[list[str]]) -> int:
    """Return the width below which a table would be a column of single words; never more than a page of a report."""
    columns = [[name, *(row[place] for row in cells)] for place, name in enumerate(names)]
    letters = [min(max(map(len, [*column[1:], *column[0].split()])), _COLUMN) for column in columns]
    return min(sum(7 * many + 13 for many in letters), 640)


def _text(value: object) -> str:
    if value is None or value is pd.NA or value != value:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def _kind(cells: list[str]) -> str:
    """Return the class of a column: numbers stand at the right, short words keep to one line.

    The side is said in the cell too, since JupyterLab has its own for every table.
    """
    filled = [cell for cell in cells if cell]
    if filled and all(re.fullmatch(r"[+−–]?[\d,.]*( ?\S{1,4})?", cell) and re.search(r"\d|–", cell) for cell in filled):
        return 'class="number" style="text-align:right"'
    short = 'class="short" ' if all(len(cell) <= 16 for cell in filled) else ""
    return f'{short}style="text-align:left"'


def _prose(text: str) -> str:
    """Return a text for the page; a number keeps its unit, and an interval its ends, on one line."""
    text = re.sub(r"(?<=\d) (?=%)", "\u00a0", text)
    text = re.sub(r"(?<=[\d°]) to (?=[+−]?[\d.])", "\u00a0to\u00a0", text)
    return escape(text)
