"""The column map as a panel: each guess with its reason and sample cells, corrected by lists, tried on the shots."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from coachlab.errors import CoachlabError, DataError, need
from coachlab.intake.columns import MAPPABLE, READINGS, ColumnMap, Mapped, sign_of, words_for
from coachlab.intake.guess import propose_map
from coachlab.intake.headings import plain_heading, without_unit
from coachlab.intake.proposal import MapProposal
from coachlab.intake.read import read_shots
from coachlab.intake.shots import Shots
from coachlab.intake.write import file_name, write_bytes
from coachlab.schema import COLUMNS, LATERAL, show_club
from coachlab.settings import Settings
from coachlab.units import shown, units_for
from coachlab.widgets import sheet
from coachlab.widgets.sheet import Part, Sheet

SURE, LIKELY = 0.75, 0.4
COLUMN_WORDS: Mapping[str, str] = {
    "student": "student", "coach": "coach", "hand": "hand", "session": "visit", "session_day": "day", "block": "block",
    "shot": "shot number", "struck_at": "time of the shot", "club": "club", "phase": "phase", "cue": "cue",
    "club_speed_mps": "club speed", "attack_up_deg": "attack", "path_out_deg": "path", "face_open_deg": "face",
    "face_to_path_deg": "face to path", "delivered_loft_deg": "delivered loft", "strike_toe_mm": "strike across",
    "strike_high_mm": "strike up and down", "ball_speed_mps": "ball speed", "speed_ratio": "ball over club speed",
    "launch_up_deg": "launch angle", "launch_out_deg": "start direction", "spin_rpm": "spin",
    "spin_tilt_deg": "spin tilt", "carry_m": "carry", "side_out_m": "carry, sideways", "peak_m": "height of flight",
    "land_angle_deg": "landing angle", "flight_s": "time in the air", "arc_azimuth_deg": "direction of the arc",
    "arc_incline_deg": "incline of the arc", "arc_bottom_fwd_mm": "low point of the arc",
}  # fmt: skip
"""Our columns as a coach says them."""
UNIT_WORDS = {"mps": "m/s", "kmh": "km/h", "deg": "°", "yd": "yards", "m": "metres", "ft": "feet", "in": "inches"}

_LARGE_BYTES = 5_000_000
_FIRST = 5
_SHOWN = (
    "shot", "club", "club_speed_mps", "attack_up_deg", "path_out_deg", "face_open_deg", "ball_speed_mps", "carry_m",
    "side_out_m",
)  # fmt: skip


def map_panel(
    file: str | Path,
    known_maps: Iterable[ColumnMap | str | Path] | str | Path = (),
    settings: Settings | None = None,
    folder: str | Path | None = None,
) -> Sheet:
    """Return a panel in which the column map of a file is proposed, corrected and saved.

    Parameters
    ----------
    file : path
        An export, as `read_shots` takes it.
    known_maps : maps, their paths, or a folder of them
        Maps that were made for other files; a heading that stands in one of them is understood as there.
    settings : Settings or None
        Units and limits.
    folder : path or None
        Where the map is saved; None: beside the file.

    Raises
    ------
    DataError
        If the file cannot be read, or no line looks like a header.
    """
    need(file, (str, Path), "A panel for a column map was asked for.", "file", "Give the path of an export.")
    return Sheet(MapBook(file, known_maps, settings, folder))


class MapBook:
    """The page of `map_panel`: a proposal, the first shots as it would read them, and what each action does."""

    def __init__(
        self,
        file: str | Path,
        known_maps: Iterable[ColumnMap | str | Path] | str | Path = (),
        settings: Settings | None = None,
        folder: str | Path | None = None,
    ) -> None:
        self.file, self.settings = Path(file), settings or Settings()
        self.folder = Path(folder) if folder is not None else self.file.parent
        self.proposal: MapProposal = propose_map(self.file, known_maps, self.settings)
        # what a person mapped before needs no second look
        known = {(name, _plain(heading)) for name, mapped in _mapped(known_maps) for heading in mapped.headings}
        self.doubtful = [
            not row.column
            or row.confidence < SURE
            or (is_turned(row.column, row.positive) and (row.column, _plain(row.heading)) not in known)
            for row in self.proposal.table.itertuples()
        ]
        self.saved: Path | None = None
        self.asked_to_replace = False
        self.shots: Shots | None = None
        self.trouble: tuple[str, ...] = ()
        self.seen = self.file.stat().st_size <= _LARGE_BYTES
        self.read()

    @property
    def target(self) -> Path:
        """Where the map is saved."""
        return self.folder / file_name(self.file.stem, ".toml")

    def read(self) -> None:
        """Read the file as the map has it now, unless it is large and nobody asked to see it."""
        self.shots, self.trouble = None, ()
        if not any(column in READINGS for column in self.proposal.table["column"]):
            self.trouble = ("No heading is understood as a measure yet.", "Choose what at least one of them is.")
        elif self.seen:
            try:
                self.shots = read_shots(self.file, self.proposal.map, settings=self.settings)
            except CoachlabError as err:  # shown beside the columns, which mend it
                self.trouble = tuple(line for line in (err.asked, err.found, err.do) if line)

    def parts(self) -> list[Part]:
        """Return the guesses, what to look at, the first shots, and the button that saves."""
        done = [sheet.text(f"Saved as {self.saved.name}.", tone="done")] if self.saved else []
        name = self.target.name
        save = [sheet.button("save", f"Save the map as {name}", main=not self.saved)]
        if self.asked_to_replace:
            save = [
                sheet.button("replace", f"Replace {name}", main=True),
                sheet.button("keep", "Leave it as it was", why=f"{name} is there already."),
            ]
        return [
            sheet.title(f"Which heading of {self.file.name} is what?", "Nothing is saved before you say so."),
            *map_parts(self),
            *done,
            sheet.buttons(*save),
        ]

    def act(self, action: str, values: Mapping[str, Any]) -> str:
        """Do what was asked, and return what was done."""
        if action == "set":
            return self.choose(values)
        if action == "see":
            self.seen = True
            self.read()
            return "The first shots are shown."
        if action == "keep":
            self.asked_to_replace = False
            return "Nothing was saved."
        return self.save(replace=action == "replace")

    def choose(self, values: Mapping[str, Any]) -> str:
        """Take over what was chosen in the lists: ``column 3``, ``unit 3``, ``side 3``, by the row of the table."""
        self.saved, self.asked_to_replace = None, False
        for name, value in values.items():
            kind, _, place = name.partition(" ")
            row = self.proposal.table.iloc[int(place)]
            if kind == "column":
                units = units_for(value) if value else []
                unit = units[0] if len(units) == 1 else None
                self.proposal = self.proposal.choose(row["heading"], value or None, unit)
            elif kind == "unit":
                self.proposal = self.proposal.choose(row["heading"], row["column"], unit=value)
            else:
                self.proposal = self.proposal.choose(row["heading"], row["column"], positive=value)
            said = COLUMN_WORDS.get(str(value), str(value)) or "left out"
            self.read()
            return f"{row['heading']}: {said}."
        return ""

    def save(self, replace: bool = False) -> str:
        """Write the map, unless one is there that says something else and nobody said to replace it."""
        if self.trouble:
            raise DataError(self.trouble[0], *self.trouble[1:])
        there = self.target.read_text(encoding="utf-8") if self.target.exists() else None
        if there not in (None, self.proposal.toml) and not replace:
            self.asked_to_replace = True
            return f"{self.target.name} is there already. Say whether to replace it."
        write_bytes(self.target, self.proposal.toml)
        self.saved, self.asked_to_replace = self.target, False
        return f"Saved as {self.target.name}."


def map_parts(book: MapBook) -> list[Part]:
    """Return the guesses as lists, those to look at first, and the first shots as they would be read."""
    table = book.proposal.table
    rows = [
        _row(place, row, doubt)
        for place, (row, doubt) in enumerate(zip(table.itertuples(index=False), book.doubtful, strict=True))
    ]
    look = [row for row, doubt in zip(rows, book.doubtful, strict=True) if doubt]
    sure = [row for row, doubt in zip(rows, book.doubtful, strict=True) if not doubt]
    understood = int((table["column"] != "").sum())
    said = f"{understood} of {len(table)} headings are understood" + (
        f"; look at {len(look)} of them before you go on." if look else ", all of them surely."
    )
    heads = ["in the file", "is our", "unit", "plus is", "how sure"]
    parts = [sheet.text(said)]
    if look:
        parts.append(sheet.table("To look at: headings with their first five cells", heads, look, stack=True))
    if book.proposal.warnings:
        count = len(book.proposal.warnings)
        told = sheet.text(*book.proposal.warnings, tone="aside")
        parts.append(told if count <= 2 else sheet.fold(f"{count} remarks on signs and units", told))
    if sure:
        shown = sheet.table("Headings with their first five cells", heads, sure, stack=True)
        parts.append(sheet.fold(f"The {len(sure)} headings that are understood surely", shown))
    return [*parts, *_first_shots(book)]


def is_turned(column: str, positive: str) -> bool:
    """Return whether a column counts the other way round than ours.

    >>> is_turned("path_out_deg", "left"), is_turned("land_angle_deg", "down"), is_turned("carry_m", "")
    (True, False, False)
    """
    return bool(column) and sign_of(column, positive or None)[0] < 0


def _mapped(known_maps: Iterable[ColumnMap | str | Path] | str | Path) -> list[tuple[str, Mapped]]:
    """Return the columns of the maps that were given one by one, as a folder's are not those of this file."""
    maps = [] if isinstance(known_maps, str | Path) else known_maps
    read = [one if isinstance(one, ColumnMap) else ColumnMap.from_toml(one) for one in maps]
    return [pair for one in read for pair in one.columns.items()]


def _plain(heading: str) -> str:
    return plain_heading(without_unit(heading))


def _row(place: int, row: Any, doubt: bool) -> list[object]:
    names = [("", "– left out –"), *((name, COLUMN_WORDS.get(name, name)) for name in MAPPABLE)]
    column = sheet.choice(f"column {place}", f"Column for {row.heading}", names, row.column)
    unit: object = ""
    side: object = ""
    if row.column:
        units = units_for(row.column)
        if len(units) > 1:
            options = [*([] if row.unit else [("", "choose ...")]), *((one, UNIT_WORDS.get(one, one)) for one in units)]
            unit = {"field": sheet.choice(f"unit {place}", f"Unit of {row.heading}", options, row.unit, short=True)}
        elif units:
            unit = UNIT_WORDS.get(units[0], units[0])
        ways = words_for(row.column)
        if ways:
            usual = [] if row.column in LATERAL else [("", ways[0])]
            options = [*usual, *((way, way) for way in ways if row.column in LATERAL or way != ways[0])]
            side = {"field": sheet.choice(f"side {place}", f"Plus of {row.heading}", options, row.positive, short=True)}
    words = [(SURE, "sure"), (LIKELY, "likely"), (-1.0, "a guess")]
    sure = next(word for least, word in words if row.confidence >= least) if row.column else ""
    turned = is_turned(row.column, row.positive)
    level = f"{sure} ({row.confidence:.2f})" if sure else ""
    return [
        sheet.cell(row.heading or "(no heading)", row.samples),
        {"field": column}, unit, side,
        sheet.cell(level + (", counts the other way round" if turned else ""), row.reason if row.column else "",
                   "warn" if doubt and (turned or sure == "a guess") else ""),
    ]  # fmt: skip


def _first_shots(book: MapBook) -> list[Part]:
    if book.trouble:
        return [sheet.text(*book.trouble, tone="trouble")]
    if book.shots is None:
        return [
            sheet.text("The file is large, so its shots are not read at each change.", tone="quiet"),
            sheet.buttons(sheet.button("see", "Show the first shots as they would be read")),
        ]
    return [shots_part(book.shots, book.settings.units, "The first shots, as they would be read")]


def shots_part(shots: Shots, system: str, caption: str) -> Part:
    """Return the first shots as a table in yards and mph or metres, the player's own signs."""
    head = shots.table.head(_FIRST)
    names = [name for name in _SHOWN if name in head and head[name].notna().any()]
    heads, rows = [], []
    for name in names:
        unit = shown(name, system).unit if name in READINGS else ""
        heads.append(COLUMN_WORDS.get(name, name) + (f" ({unit})" if unit else ""))
    for row in head.to_dict("records"):
        rows.append([_shown(name, row[name], system) for name in names])
    numbers = [head for head, name in zip(heads, names, strict=True) if name in READINGS or name == "shot"]
    signs = "; ".join(
        f"{COLUMN_WORDS[name]}: plus is {COLUMNS[name].positive}" for name in names if COLUMNS[name].positive
    )
    return sheet.table(f"{caption}. {signs[:1].upper()}{signs[1:]}." if signs else f"{caption}.", heads, rows, numbers)


def _shown(name: str, value: object, system: str) -> str:
    if value is None or pd.isna(value):
        return "–"
    if name in READINGS:
        return shown(name, system).number(float(value))  # type: ignore[arg-type]
    if name == "club":
        return show_club(str(value))
    return f"{value:g}" if isinstance(value, float) else str(value)
