"""A simulated academy written down as bays and coaches would: exports with headings of their own, maps, logs, cards.

Three bays, three ways: a comma file in mph and yards, a semicolon file with decimal commas whose sideways numbers
count to the left, and a spreadsheet. The headings are invented for this.
"""

import re
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd

from coachlab.academy.value import LOG_COLUMNS, Academy
from coachlab.errors import DataError
from coachlab.intake.write import csv_text, file_name, neutral
from coachlab.schema import CLUBS, LATERAL, show_club
from coachlab.settings import toml_text
from coachlab.units import factor_to_column

SIMULATED = "Simulated data of the invented Quillbeck Academy: no real person, no real shot."
_WRITTEN = (
    2026,
    2,
    2,
    8,
    0,
    0,
)  # a spreadsheet holds when it was saved: fixed, so that the same academy gives the same bytes


@dataclass(frozen=True)
class _Bay:
    """How one device writes: file name, our column -> (heading, unit), and its manners."""

    stem: str
    kind: str
    device: str
    title: str
    headings: dict[str, tuple[str, str]]
    hands: tuple[str, str]
    club: Callable[[str], str]
    positive: str
    unread: str
    total: str
    time: str


def _word_club(club: str) -> str:
    return "P wedge" if club == "wedge-pw" else show_club(club).replace("-", " ")


def _short_club(club: str) -> str:
    kind, _, which = club.partition("-")
    return (which.upper() if which.isalpha() else kind[0].upper() + which) or "D"


def _turned_club(club: str) -> str:
    kind, _, which = club.partition("-")
    return f"{kind} {which}".strip().capitalize()


_BAYS = (
    _Bay(
        stem="bays-1-2", kind="comma", device="unit A", title=f"Bays 1 and 2. {SIMULATED}",
        headings={
            "student": ("Member", ""), "hand": ("Hand", ""), "session": ("Visit", ""), "shot": ("Ball", ""),
            "struck_at": ("Struck", ""), "club": ("Club", ""), "club_speed_mps": ("Head speed", "mph"),
            "attack_up_deg": ("Attack", "deg"), "path_out_deg": ("Path", "deg"), "face_open_deg": ("Face", "deg"),
            "delivered_loft_deg": ("Loft", "deg"), "ball_speed_mps": ("Ball speed", "mph"),
            "launch_up_deg": ("Rise", "deg"), "launch_out_deg": ("Start", "deg"), "spin_rpm": ("Spin", "rpm"),
            "spin_tilt_deg": ("Tilt", "deg"), "carry_m": ("Carry", "yd"), "side_out_m": ("Side", "yd"),
            "peak_m": ("Top", "yd"), "land_angle_deg": ("Fall", "deg"), "flight_s": ("In the air", "s"),
        },
        hands=("R", "L"), club=_word_club, positive="right", unread="", total="Average", time="%Y-%m-%d %H:%M:%S",
    ),
    _Bay(
        stem="bay-3", kind="semicolon", device="unit B", title=f"Bay 3. {SIMULATED}",
        headings={
            "student": ("Who", ""), "hand": ("Plays", ""), "session": ("Session no.", ""), "shot": ("No.", ""),
            "struck_at": ("When", ""), "club": ("With", ""), "club_speed_mps": ("Speed of head", "km/h"),
            "attack_up_deg": ("Into the ball", "°"), "path_out_deg": ("Swings to", "°"),
            "face_open_deg": ("Face looks to", "°"), "delivered_loft_deg": ("Face leans back", "°"),
            "ball_speed_mps": ("Speed of ball", "km/h"), "launch_up_deg": ("Climbs", "°"),
            "launch_out_deg": ("Sets off to", "°"), "spin_rpm": ("Turns", "rpm"),
            "spin_tilt_deg": ("Axis leans to", "°"), "carry_m": ("Flies", "m"), "side_out_m": ("Lands beside", "m"),
            "peak_m": ("Highest", "m"), "land_angle_deg": ("Comes down at", "°"), "flight_s": ("Stays up", "s"),
        },
        hands=("right", "left"), club=_short_club, positive="left", unread="-", total="Total", time="%d.%m.%Y %H:%M:%S",
    ),
    _Bay(
        stem="bay-4", kind="sheet", device="unit C", title=f"Bay 4. {SIMULATED}",
        headings={
            "session": ("Lesson", ""), "student": ("Pupil", ""), "shot": ("Count", ""), "struck_at": ("At", ""),
            "hand": ("Handed", ""), "club": ("Club in hand", ""), "club_speed_mps": ("Pace of club", "m/s"),
            "ball_speed_mps": ("Pace of ball", "m/s"), "attack_up_deg": ("Down or up", "deg"),
            "path_out_deg": ("In or out", "deg"), "face_open_deg": ("Shut or open", "deg"),
            "delivered_loft_deg": ("Loft at ball", "deg"), "launch_up_deg": ("Height angle", "deg"),
            "launch_out_deg": ("Line angle", "deg"), "spin_rpm": ("Spin rate", "rpm"),
            "spin_tilt_deg": ("Spin lean", "deg"), "carry_m": ("Length", "m"), "side_out_m": ("Off line", "m"),
            "peak_m": ("Top of flight", "m"), "land_angle_deg": ("Angle down", "deg"), "flight_s": ("Time up", "s"),
        },
        hands=("RH", "LH"), club=_turned_club, positive="right", unread="no reading", total="Mean", time="",
    ),
)  # fmt: skip


def write_academy(academy: Academy, folder: str | Path, name: str = "Quillbeck Academy") -> list[Path]:
    """Write a simulated academy as raw files, and return their paths.

    Three exports (``bays-1-2.csv``, ``bay-3.csv``, ``bay-4.xlsx``), each with its column map of the same name
    (``.toml``), a lesson log of each coach (``log-c1.csv`` ...), ``cues.toml`` and ``academy.toml``. Sideways numbers
    carry the world's signs; rows without a reading, repeated headings, blank lines and totals stand in the exports as
    in real ones. The same academy gives the same bytes.

    Parameters
    ----------
    academy : Academy
        What to write.
    folder : path
        Where; made if it is not there. Files of these names are written over.
    name : str
        The academy's name in ``academy.toml``.

    Raises
    ------
    DataError
        If the folder cannot be written.
    """
    folder = Path(folder)
    files: dict[str, bytes] = {}
    rows = academy.shots.raw.merge(academy.log.drop_duplicates("session")[["session", "device"]], on="session")
    for bay in _BAYS:
        part = rows[rows["device"] == bay.device]
        part = part.assign(first=part.groupby("session")["struck_at"].transform("min"))
        part = part.sort_values(["first", "session", "shot"], kind="stable")
        if len(part):
            suffix = "xlsx" if bay.kind == "sheet" else "csv"
            files[f"{bay.stem}.{suffix}"] = (_sheet if bay.kind == "sheet" else _text_file)(part, bay)
            files[f"{bay.stem}.toml"] = _map_of(part, bay).encode()
    for coach, part in academy.log.groupby("coach", observed=True):
        files[file_name(f"log-{coach}", ".csv")] = _log_of(part, str(coach)).encode()
    files["cues.toml"] = _cards_of(academy).encode()
    files["academy.toml"] = _settings_of(name).encode()
    paths = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            (folder / name).write_bytes(content)
            paths.append(folder / name)
    except OSError as err:
        raise DataError(
            f"A simulated academy was to be written to {folder}.",
            f"It cannot be written there ({err.strerror}).",
            "Choose a folder that you may write to.",
            path=str(folder),
        ) from err
    return paths


def _cells(rows: pd.DataFrame, bay: _Bay) -> pd.DataFrame:
    """Return the cells of an export: numbers as the device rounds them, missing where it read nothing."""
    cells = {}
    for column, (heading, unit) in bay.headings.items():
        values = rows[column].reset_index(drop=True)
        if column == "hand":
            values = values.astype("str").map(dict(zip("RL", bay.hands, strict=True)))
        elif column == "club":
            values = values.astype("str").map({club: bay.club(club) for club in CLUBS})
        elif column not in ("student", "session", "shot", "struck_at"):
            sign = -1.0 if column in LATERAL and bay.positive == "left" else 1.0
            values = (values.astype(float) * sign / factor_to_column(unit, column)).round(
                0 if unit == "rpm" else 1
            ) + 0.0
        cells[heading] = values
    return pd.DataFrame(cells)


def _text_file(rows: pd.DataFrame, bay: _Bay) -> bytes:
    cells = _cells(rows, bay)
    comma = bay.kind == "comma"
    separator, mark = (",", ".") if comma else (";", ",")
    units = [unit for _, unit in bay.headings.values()]
    sides = {heading for column, (heading, _) in bay.headings.items() if comma and column in LATERAL}
    header = separator.join(
        heading if comma or not unit else f"{heading} [{unit}]"
        for heading, unit in zip(cells.columns, units, strict=True)
    )
    written = []
    for heading, unit in zip(cells.columns, units, strict=True):
        values = cells[heading]
        if heading == bay.headings["struck_at"][0]:
            written.append(values.dt.strftime(bay.time).tolist())
        elif not unit:
            written.append([_cell(str(value), separator) for value in values.astype("str")])
        else:
            written.append([_number(value, unit, mark, heading in sides, bay.unread) for value in values])
    lines = [bay.title, header]
    if comma:
        lines.append(separator.join(f"[{unit}]" if unit else "" for unit in units))
    visits = rows["session"].to_numpy()
    # a page of the device's own print ends with a visit, after some 1,500 balls: a blank line, and the heading again
    ends = np.flatnonzero(visits[1:] != visits[:-1]) + 1
    pages = {int(ends[ends >= size].min()) for size in range(1500, len(rows), 1500) if (ends >= size).any()}
    blanks = set(ends[::12].tolist())
    for number, line in enumerate(zip(*written, strict=True)):
        if number in pages:
            lines += ["", header]
        elif number in blanks:
            lines.append("")
        lines.append(separator.join(line))
    total = []
    for heading, unit in zip(cells.columns, units, strict=True):
        total.append(_number(round(cells[heading].mean(), 1) + 0.0, unit, mark, heading in sides, "") if unit else "")
    total[0] = bay.total
    lines += ["", separator.join(total)]
    return ("" if comma else "\ufeff").encode() + ("\n".join(lines) + "\n").encode()


def _cell(text: str, separator: str) -> str:
    """Return a text as a cell of a text file: no formula, and in quotes where it holds a sign of the file."""
    text = str(neutral(text))
    return f'"{text.replace(chr(34), chr(34) * 2)}"' if re.search(rf'["\r\n{separator}]', text) else text


def _number(value: float, unit: str, mark: str, side: bool, unread: str) -> str:
    if np.isnan(value):
        return unread
    text = f"{abs(value) if side else value:.{0 if unit == 'rpm' else 1}f}".replace(".", mark)
    return f"{text} {'R' if value > 0 else 'L'}" if side and value else text


def _sheet(rows: pd.DataFrame, bay: _Bay) -> bytes:
    cells = _cells(rows, bay)
    book = openpyxl.Workbook()
    note = book.active
    note.title = "About"
    for line in (bay.title, "The balls stand on the sheet Balls.", "Signs: right, up and open are plus."):
        note.append([line])
    sheet = book.create_sheet("Balls")
    sheet.append([bay.title])
    sheet.append([])
    sheet.append(list(cells.columns))
    first_measure = list(cells.columns).index(bay.headings["club_speed_mps"][0])
    for values in cells.astype(object).where(cells.notna(), None).itertuples(index=False):
        row = [
            value.to_pydatetime().replace(microsecond=0) if isinstance(value, pd.Timestamp) else neutral(value)
            for value in values
        ]
        if row[first_measure] is None:
            row[first_measure] = bay.unread
        sheet.append(row)
    means = [
        bay.total,
        *[None] * (first_measure - 1),
        *(round(float(mean), 1) for mean in cells.iloc[:, first_measure:].mean()),
    ]
    sheet.append([])
    sheet.append(means)
    stream = BytesIO()
    book.save(stream)
    return _without_clock(stream.getvalue())


def _without_clock(content: bytes) -> bytes:
    """Return a spreadsheet without the moment at which it was saved."""
    stream = BytesIO()
    then = datetime(*_WRITTEN).strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    with zipfile.ZipFile(BytesIO(content)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            part = old.read(name)
            if name == "docProps/core.xml":
                part = re.sub(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*", rb"\g<1>" + then, part)
            entry = zipfile.ZipInfo(name, _WRITTEN)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, part)
    return stream.getvalue()


def _map_of(rows: pd.DataFrame, bay: _Bay) -> str:
    """Return the column map of an export, as a user would write it."""
    lines = [
        f"# {SIMULATED}",
        f"# How the export of {bay.stem.replace('-', ' ', 1)} becomes our columns.",
        f'name = "{bay.stem}"',
    ]
    if bay.kind == "semicolon":
        lines.append('decimal = ","')
    if bay.kind == "sheet":
        lines.append('sheet = "Balls"')
    lines += ["", "[club_names]"]
    lines += [f'"{bay.club(club)}" = "{club}"' for club in sorted(rows["club"].astype("str").unique())]
    for column, (heading, unit) in bay.headings.items():
        lines += ["", f"[column.{column}]", f'heading = "{heading}"']
        if unit and bay.kind == "sheet":
            lines.append(f'unit = "{unit}"')
        if column in LATERAL:
            lines.append(f'positive = "{bay.positive}"')
    if bay.kind == "comma":
        lines.insert(3, "# The units stand in the row below the headings.")
    return "\n".join(lines) + "\n"


def _log_of(log: pd.DataFrame, coach: str) -> str:
    table = log[list(LOG_COLUMNS)].copy()
    table["session_day"] = table["session_day"].dt.strftime("%Y-%m-%d")
    for name in ("indoors", "feedback_shown"):
        table[name] = table[name].map({True: "yes", False: "no"})
    whole = ["block_index", "period", "followed_0_10", "pain_0_10", "rest_s", "first_shot", "last_shot"]
    table[whole] = table[whole].astype("Int64")
    named = " ".join(coach.split())
    head = f"# {SIMULATED}\n# Lesson log of coach {named}: one row a block; shots as the bay counts them.\n"
    return head + csv_text(table)


def _cards_of(academy: Academy) -> str:
    lines = [f'note = "{SIMULATED}"']
    for card in academy.cues.itertuples():
        lines += [
            "",
            f"[{card.cue if str(card.cue).isidentifier() else toml_text(card.cue)}]",
            f"name = {toml_text(card.name)}",
            f"version = {toml_text(card.version)}",
            f"family = {toml_text(card.family)}",
        ]
        lines.append(f"card_text = {toml_text(card.card_text)}")
        if card.moves:
            lines.append(f"moves = [{', '.join(_quoted(card.moves))}]")
        lines.append(f"direction = {card.direction}")
        for name, texts in (("clubs", card.clubs), ("exclusions", card.exclusions)):
            if texts:
                lines.append(f"{name} = [{', '.join(_quoted(texts))}]")
    return "\n".join(lines) + "\n"


def _quoted(texts: str) -> list[str]:
    return [toml_text(text) for text in texts.split()]


def _settings_of(name: str) -> str:
    return "\n".join(
        [
            f"# {SIMULATED}",
            f"name = {toml_text(name)}",
            f'note = "{SIMULATED}"',
            'units = "yards"',
            "small_group_students = 5",
            "verdict_students = 8",
            "",
            "# The least shift worth having, in the unit of each outcome, where the academy has set one. What is left",
            "# out comes from the flight model, as what moves the ball by the smallest useful carry with that club.",
            "[smallest_useful]",
            "carry_m = 3.0",
            "",
            "[smallest_useful.iron-7]",
            "attack_up_deg = 1.0  # set before the first lesson",
            "",
            "[smallest_useful.driver]",
            "carry_m = 4.0",
            "",
        ]
    )
