"""Every table and column of the academy: name, unit, range, sign, meaning, measured or derived.

One place says what a column is. The dictionary in ``data/README.md`` is written from here (`dictionary`), the
reader takes its units and mirrored columns from here, and `check` refuses a frame that does not fit.

Signs are those of the player: up, out, open, toe, high and forward are positive; out is to the right for a
right-hander. Left-handers are mirrored once, when a file is read, in the columns marked ``lateral``.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np
import pandas as pd

from coachlab.errors import DataError
from coachlab.units import SUFFIXES, suffix_of

PHASES = ("warmup", "screen", "plain", "cue", "sham", "reset", "retention", "transfer")
FAMILIES = ("setup", "intent", "none")
PLAIN = "plain"
"""The id of the baseline cue: the student's own plain swing."""


@dataclass(frozen=True)
class Column:
    """One column: what it is called, holds and means.

    ``kind`` is label, number, count, flag, day or time; ``low`` and ``high`` bound a believable value, in the
    column's unit; ``lateral`` columns change sign for a left-hander; ``positive`` says which way is plus.
    """

    name: str
    kind: str
    meaning: str
    low: float = -np.inf
    high: float = np.inf
    positive: str = ""
    lateral: bool = False
    origin: str = "given"
    choices: tuple[str, ...] = ()

    @property
    def unit(self) -> str:
        """The unit in which values stand, empty for a label or a bare number."""
        return SUFFIXES.get(suffix_of(self.name) or "", "")

    @property
    def numeric(self) -> bool:
        """Whether values are numbers."""
        return self.kind in ("number", "count")


def _measure(name: str, meaning: str, low: float, high: float, positive: str = "", lateral: bool = False) -> Column:
    return Column(name, "number", meaning, low, high, positive, lateral, "measured")


def _derived(name: str, meaning: str, low: float, high: float, positive: str = "", lateral: bool = False) -> Column:
    return Column(name, "number", meaning, low, high, positive, lateral, "derived")


_SHOTS = [
    Column("student", "label", "pseudonym of the student"),
    Column("coach", "label", "pseudonym of the coach"),
    Column("session", "label", "one visit of one student; unique in the library"),
    Column("block", "label", "a run of shots under one instruction; unique in the library"),
    Column("shot", "count", "number of the shot in its session as the device counts, mishits included", 0, 1e6),
    Column("struck_at", "time", "when the ball was struck, as the device's clock says"),
    Column("club", "label", "the club, in the one vocabulary of `CLUBS`"),
    _measure("club_speed_mps", "speed of the head just before the ball", 10, 62),
    _measure("attack_up_deg", "attack angle: vertical direction of the head at the ball", -15, 12, "up"),
    _measure("path_out_deg", "path: horizontal direction of the head at the ball", -20, 20, "out", True),
    _measure("face_open_deg", "face: horizontal direction the face points at the ball", -20, 20, "open", True),
    _measure("delivered_loft_deg", "loft of the face at the ball, from the vertical", -10, 80, "up"),
    _measure("strike_toe_mm", "where on the face, across", -60, 60, "toe"),
    _measure("strike_high_mm", "where on the face, up and down", -40, 40, "high"),
    _measure("ball_speed_mps", "speed of the ball just after the strike", 5, 95),
    _measure("launch_up_deg", "vertical start direction of the ball", -5, 60, "up"),
    _measure("launch_out_deg", "horizontal start direction of the ball", -45, 45, "out", True),
    _measure("spin_rpm", "rate of spin of the ball", 0, 15000),
    _measure("spin_tilt_deg", "tilt of the spin axis above the horizon; plus curves out", -90, 90, "out", True),
    _measure("carry_m", "ground distance from the ball to where it lands at the same height", 0, 320),
    _measure("side_out_m", "sideways distance of that landing point from the target line", -150, 150, "out", True),
    _measure("peak_m", "greatest height of the flight", 0, 80, "up"),
    _measure("land_angle_deg", "angle of the fall at landing, below the horizon", 0, 90, "down"),
    _measure("flight_s", "time in the air", 0, 12),
    Column("read_ok", "flag", "False where a range rule says that the device misread"),
    Column("excluded", "flag", "True where a person set the shot aside"),
    Column("excluded_reason", "label", "why a person set it aside"),
    Column("source", "label", "name of the file it came from"),
    Column("source_row", "count", "row of that file, the first line being 1", 0, 1e9),
]

_DERIVED = [
    _derived("face_to_path_deg", "face minus path", -25, 25, "open", True),
    _derived("speed_ratio", "ball speed over head speed", 0.7, 1.56),
    _derived("arc_azimuth_deg", "horizontal direction of the plane in which the head moves", -40, 40, "out", True),
    _derived("arc_incline_deg", "angle of that plane from the ground", 30, 80, "up"),
    _derived("arc_bottom_fwd_mm", "how far ahead of the ball the head is lowest", -600, 600, "forward"),
]

_BLOCKS = [
    Column("block", "label", "a run of shots under one instruction; unique in the library"),
    Column("session", "label", "the visit it belongs to"),
    Column("block_index", "count", "place of the block in its session, from 1", 1, 100),
    Column("period", "count", "place among the plain, cue and sham blocks of the session, from 1", 1, 100),
    Column("phase", "label", "what the block was for", choices=PHASES),
    Column("cue", "label", "the cue that was offered; `plain` is the baseline"),
    Column("cue_version", "label", "version of the cue card's wording"),
    Column("offered", "label", "how the cue was chosen: drawn, coach or student"),
    Column("followed_0_10", "number", "the student's own rating of how much they did it", 0, 10),
    Column("dose_value", "number", "measured amount of the change, where there is one"),
    Column("dose_unit", "label", "unit of that amount"),
    Column("order_plan", "label", "name of the drawn order, empty where none was drawn"),
    Column("order_seed", "label", "seed of the draw"),
    Column("pain_0_10", "number", "pain the student reports", 0, 10),
    Column("rest_s", "number", "rest before the block", 0, 7200),
    Column("stopped", "flag", "True where the student ended the block because it hurt"),
]

_SESSIONS = [
    Column("session", "label", "one visit of one student; unique in the library"),
    Column("coach", "label", "pseudonym of the coach"),
    Column("session_day", "day", "calendar day of the visit"),
    Column("device", "label", "which device measured"),
    Column("bay", "label", "where"),
    Column("indoors", "flag", "True under a roof"),
    Column("surface", "label", "what the ball lay on"),
    Column("ball_type", "label", "which kind of ball"),
    Column("temperature_c", "number", "air temperature", -30, 60),
    Column("pressure_pa", "number", "air pressure at the place itself", 50000, 110000),
    Column("altitude_m", "number", "height above the sea", -430, 5000),
    Column("humidity", "number", "relative humidity as a fraction", 0, 1),
    Column("tail_mps", "number", "wind towards the target", -40, 40, "towards the target"),
    Column("cross_mps", "number", "wind across", -40, 40, "out", True),
    Column("feedback_shown", "flag", "True where the student saw the numbers during test blocks"),
]

_STUDENTS = [
    Column("student", "label", "pseudonym of the student"),
    Column("hand", "label", "which way the student plays", choices=("R", "L")),
    Column("handicap_band", "label", "low, mid or high"),
    Column("age_band", "label", "an age band; no birthday is kept"),
    Column("minor", "flag", "True under 18, or the local age"),
    Column("consents", "label", "which uses were agreed to: lesson, reports, draws, retention"),
]

_CUES = [
    Column("cue", "label", "id of the cue"),
    Column("version", "label", "version of the card's wording; a changed wording is a new version"),
    Column("family", "label", "setup: seen before the swing starts; intent: imagined or felt", choices=FAMILIES),
    Column("card_text", "label", "what the coach says, word for word"),
    Column("moves", "label", "the outcomes it is meant to move"),
    Column("direction", "number", "which way it is meant to move them: +1 or -1", -1, 1),
    Column("clubs", "label", "the clubs it is for; empty: all"),
    Column("exclusions", "label", "who should not be given it"),
]

_OFFERS = [
    Column("block", "label", "the block in which the cue was offered"),
    Column("offer_set", "label", "the cues among which was drawn"),
    Column("offer_prob", "number", "probability with which the offered cue was drawn", 0, 1),
    Column("coach_would_pick", "label", "the coach's own choice, asked before the draw"),
]

_ANSWERS = [
    Column("student", "label", "pseudonym of the trainee"),
    Column("exercise", "label", "id of the exercise"),
    Column("answered_at", "time", "when"),
    Column("answer", "label", "what was answered"),
    Column("mark_ratio", "number", "share of the answer that was right", 0, 1),
]

TABLES: dict[str, dict[str, Column]] = {
    table: {column.name: column for column in columns}
    for table, columns in {
        "shots": _SHOTS,
        "derived": _DERIVED,
        "blocks": _BLOCKS,
        "sessions": _SESSIONS,
        "students": _STUDENTS,
        "cues": _CUES,
        "offers": _OFFERS,
        "answers": _ANSWERS,
    }.items()
}

COLUMNS: dict[str, Column] = {name: column for table in reversed(TABLES.values()) for name, column in table.items()}
"""Every column by name; a name means the same in every table in which it stands."""

MEASURES: tuple[str, ...] = tuple(name for name, column in TABLES["shots"].items() if column.origin == "measured")
"""What a device measures, in the order of the shots table."""

LATERAL: tuple[str, ...] = tuple(name for name, column in COLUMNS.items() if column.lateral and name != "cross_mps")
"""The columns of a shot that are mirrored for a left-hander, and need a direction in a column map."""

RANGE_RULES: tuple[str, ...] = (
    "attack_up_deg",
    "path_out_deg",
    "face_open_deg",
    "club_speed_mps",
    "speed_ratio",
    "launch_up_deg",
    "carry_m",
    "face_to_path_deg",
)
"""A shot outside the range of one of these columns is a misread (``read_ok`` False); the others only flag."""

OUTCOMES: dict[str, str] = {
    "attack_up_deg": "attack",
    "path_out_deg": "path",
    "face_open_deg": "face",
    "face_to_path_deg": "face to path",
    "club_speed_mps": "club speed",
    "carry_m": "carry",
}
"""What a cue study may ask about, and the word for it in a sentence."""


def _clubs() -> dict[str, str]:
    heads = {"driver": "driver"}
    heads |= {f"wood-{number}": "driver" for number in (2, 3, 4, 5, 7, 9)}
    heads |= {f"hybrid-{number}": "iron" for number in range(2, 8)}
    heads |= {f"iron-{number}": "iron" for number in range(1, 10)}
    heads |= {f"wedge-{name}": "wedge" for name in ("pw", "gw", "sw", "lw", *range(44, 65))}
    return heads


CLUBS: dict[str, str] = _clubs()
"""The one vocabulary of clubs, each with the head (driver, iron, wedge) and so the arc that physics uses."""


def show_club(club: str) -> str:
    """Return a club as a golfer says it.

    >>> show_club("iron-7"), show_club("wedge-pw"), show_club("driver"), show_club("wood-3")
    ('7-iron', 'pitching wedge', 'driver', '3-wood')
    """
    kind, _, which = club.partition("-")
    wedges = {"pw": "pitching wedge", "gw": "gap wedge", "sw": "sand wedge", "lw": "lob wedge"}
    if kind == "wedge":
        return wedges.get(which, f"{which}° wedge")
    return f"{which}-{kind}" if which else kind


def check(table: str, frame: pd.DataFrame, required: Iterable[str] = (), where: str = "") -> None:
    """Refuse a frame that is not the table it is taken for; return nothing where it fits.

    Looks at required columns, at numbers that are text, at choices outside their list, and, in every table but
    ``shots`` (there `intake` flags them), at numbers outside their range. Unknown columns are left alone.

    Parameters
    ----------
    table : str
        A key of `TABLES`.
    frame : DataFrame
        The rows; not changed.
    required : iterable of str
        Columns that must be there.
    where : str
        File or table name for the message.

    Raises
    ------
    DataError
        Naming the column and the first row (the frame's own index) that does not fit.
    """
    asked = f"{where or 'The frame'} was read as the table {table!r}."
    missing = [name for name in required if name not in frame.columns]
    if missing:
        close = get_close_matches(missing[0], [str(name) for name in frame.columns], n=1)
        hint = f" ({close[0]!r} is close)" if close else ""
        raise DataError(
            asked,
            f"No column {', '.join(map(repr, missing))}{hint}; found: {', '.join(map(str, frame.columns)) or 'none'}.",
            f"Add the column, or rename the one that holds it ({COLUMNS[missing[0]].meaning})."
            if missing[0] in COLUMNS
            else "Add the column.",
            column=missing[0],
        )
    for name, column in TABLES[table].items():
        if name in frame.columns and len(frame):
            _check_column(asked, column, frame[name], ranges=table not in ("shots", "derived"))


def _check_column(asked: str, column: Column, values: pd.Series, ranges: bool) -> None:
    bad = pd.Series(False, index=values.index)
    what = ""
    if column.numeric:
        numbers, what = pd.to_numeric(values, errors="coerce"), "is no number"
        if not pd.api.types.is_numeric_dtype(values):  # writing millions of numbers as text would take seconds
            bad = numbers.isna() & values.notna() & (values.astype(str).str.strip() != "")
        if ranges and not bad.any():
            bad = (numbers < column.low) | (numbers > column.high)
            what = f"lies outside {column.low:g} to {column.high:g}"
    elif column.choices:
        bad = ~values.isin(column.choices) & values.notna()
        what = f"is none of {', '.join(column.choices)}"
    if bad.any():
        row = bad.idxmax()
        raise DataError(
            asked,
            f"Row {row}, column {column.name}: {values[row]!r} {what} ({int(bad.sum())} such rows).",
            f"Correct the column; what it should hold: {column.meaning}.",
            column=column.name,
            row=row,
        )


def dictionary() -> str:
    """Return the data dictionary as Markdown, one table of columns for each of `TABLES`."""
    parts = []
    for table, columns in TABLES.items():
        parts += [
            f"### {table}",
            "",
            "| column | unit | range | plus is | meaning | origin |",
            "|---|---|---|---|---|---|",
        ]
        for column in columns.values():
            span = "" if np.isinf(column.low) else f"{column.low:g} to {column.high:g}"
            span = ", ".join(column.choices) or span
            side = column.positive + (" (mirrored for a left-hander)" if column.lateral else "")
            parts.append(f"| {column.name} | {column.unit} | {span} | {side} | {column.meaning} | {column.origin} |")
        parts.append("")
    return "\n".join(parts)
