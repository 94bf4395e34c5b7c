"""The one look of all pictures: colours, marks, the order of the cues, the words on the axes."""

from collections.abc import Iterable

import matplotlib.pyplot as plt
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from coachlab import claims
from coachlab.schema import FAMILIES, OUTCOMES, show_club
from coachlab.settings import Settings, cards_or_none
from coachlab.units import shown

PALETTE: list[str] = sns.color_palette("colorblind").as_hex()
INK, QUIET, BAND = "0.15", "0.45", "0.92"
SMALL = 9.0

FAMILY_MARKS: dict[str, tuple[str, str]] = {"setup": ("s", PALETTE[0]), "intent": ("o", PALETTE[1])}
"""Marker and colour of a family; shape and colour say the same, so that neither is needed alone."""
NO_FAMILY = ("D", PALETTE[7])


def axes_of(ax: Axes | None) -> Axes:
    """Return the axes to draw in, new ones that make room for the words beside them where none are given."""
    if ax is None:
        _, ax = plt.subplots(layout="constrained")
    ax.spines[["top", "right", "left"]].set_visible(False)
    ax.tick_params(axis="y", length=0)
    return ax


def families_of(cues: pd.DataFrame | None) -> dict[str, str]:
    """Return the family of each cue from the cue cards; empty without cards."""
    cues = cards_or_none(cues)
    if cues is None or "family" not in cues.columns:
        return {}
    return dict(zip(cues["cue"].astype("str"), cues["family"].astype("str"), strict=True))


def in_order(names: Iterable[str], cues: pd.DataFrame | None) -> list[str]:
    """Return cues as every picture lists them: by family, then by id; never by estimate, which would be a ranking."""
    family = families_of(cues)
    rank = {name: place for place, name in enumerate(FAMILIES)}
    return sorted(names, key=lambda cue: (rank.get(family.get(cue, ""), len(rank)), cue))


def cue_rows(ax: Axes, names: list[str], labels: dict[str, str]) -> None:
    """Give the y axis one row a cue, the first on top."""
    ax.set_yticks(range(len(names)), [labels[cue] for cue in names])
    ax.set_ylim(len(names) - 0.4, -0.6)


def names_above(ax: Axes, names: list[str], labels: dict[str, str], notes: dict[str, str]) -> None:
    """Give the y axis one row a cue, its name and a note above the marks, for a picture as narrow as a phone.

    The words stand on paper: neither the band nor the line of no shift goes through them.
    """
    for place, cue in enumerate(names):
        note = notes.get(cue, "")
        ax.axhspan(place - 0.75, place - 0.28, color="white", linewidth=0, zorder=1.5)
        for words, up, colour in ((labels[cue], 0.71 if note else 0.54, INK), (note, 0.49, QUIET)):
            ax.text(
                0, place - up, words, transform=ax.get_yaxis_transform(), va="top", fontsize=SMALL, color=colour,
                fontweight="bold" if colour == INK else "normal",
            )  # fmt: skip
    ax.set_yticks([])
    ax.set_ylim(len(names) - 0.6, -0.78)


def two_lines(label: str) -> str:
    """Return an axis label with what stands in brackets on a line of its own, for a narrow picture."""
    return label.replace(" (", "\n(", 1)


def shift_ground(ax: Axes, outcome: str, club: str, settings: Settings, along: str = "x") -> None:
    """Lay the ground of a shift axis: the band that is too small to matter, the line of no shift, the label."""
    unit = shown(outcome, settings.units)
    useful = settings.smallest_useful_shift(outcome, club) * unit.factor
    band, line = (ax.axvspan, ax.axvline) if along == "x" else (ax.axhspan, ax.axhline)
    band(-useful, useful, color=BAND, linewidth=0, zorder=0)
    line(0, color=QUIET, linewidth=1, zorder=1)
    words = f"shift of {show_club(club)} {OUTCOMES[outcome]} ({unit.unit}; plus is {claims.state(outcome, 1)})"
    ax.set(**{f"{along}label": words})


def legend_above(ax: Axes, handles: list, ncols: int = 2, title: str = "") -> None:
    """Put a legend above the axes, where it hides no value."""
    ax.legend(
        handles=handles,
        loc="lower left",
        bbox_to_anchor=(0, 1),
        ncols=ncols,
        frameon=False,
        fontsize=SMALL,
        title=title or None,
        title_fontsize=SMALL,
        alignment="left",
        handletextpad=0.3,
        columnspacing=1.0,
        borderaxespad=0.2,
    )


def value_label(column: str, club: str, system: str) -> str:
    """Return the axis label of a measured value."""
    return f"{show_club(club)} {OUTCOMES[column]} ({shown(column, system).unit})"


def level_text(level: float) -> str:
    """Return a level as it stands in a sentence.

    >>> level_text(.95)
    '95 %'
    """
    return f"{level * 100:g} %"


def dot(marker: str, colour: str, label: str, filled: bool = True) -> Line2D:
    """Return a mark for a legend."""
    face = colour if filled else "white"
    return Line2D([], [], marker=marker, linestyle="", markerfacecolor=face, markeredgecolor=colour, label=label)
