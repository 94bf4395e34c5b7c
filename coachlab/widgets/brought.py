"""What each step of `bring_panel` shows: the files, the guesses, the account of every line, the logs, what is saved."""

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from coachlab.intake.cleaning import TITLES, CleaningReport
from coachlab.schema import OUTCOMES
from coachlab.units import shown
from coachlab.widgets import sheet
from coachlab.widgets.mapping import map_parts, shots_part
from coachlab.widgets.sheet import Part

if TYPE_CHECKING:
    from coachlab.widgets.bring import Bring

STEPS = ("Files", "Columns", "Cleaning", "Lesson log", "Save")
USE_REASONS = ("a real shot, as hit", "the rule does not fit this student", "checked against video")
"""Why a shot that a rule set aside may be used: a closed list, so that no remark about a person is kept."""

_MOST_ROWS = 20
_SHARES = ("misread_share", "share", "low", "high")
_HEADS = {
    "source": "file", "raw": "rows", "rejects": "no shots", "shots": "shots", "analysed": "analysed",
    "set_aside": "set aside", "misread_share": "misread", "not_read": "not read", "low": "from", "high": "to",
    "which": "which numbers",
}  # fmt: skip


def step_parts(page: "Bring") -> list[Part]:
    """Return the step that the page stands at."""
    row = sheet.steps(STEPS, page.at)
    note = [sheet.text(page.settings.note, tone="note")] if page.settings.note else []
    if page.writing is not None:
        back = sheet.button("log_done", "Back to the logs", main=page.writing.saved is not None)
        return [row, *page.writing.parts(), sheet.buttons(back), *note]
    step = (_files, _columns, _cleaning, _log, _save)[page.at]
    return [row, *step(page), *note]


def _files(page: "Bring") -> list[Part]:
    files = [(path.name, path.name, False, _about(path)) for path in page.exports]
    listed = (
        [sheet.fields({**sheet.several("files", "Which of them?", files, page.chosen), "wide": True})]
        if files
        else [
            sheet.text(
                f"No export is in {page.folder.name or page.folder}.",
                "Put what your device exports there (CSV, XLSX, ODS, Parquet), or name another folder.",
                tone="aside",
            )
        ]
    )
    return [
        sheet.title("Which files do you bring?", "They stay as they are; what comes of them is saved elsewhere."),
        sheet.fields(sheet.entry("folder", "Folder", str(page.folder), wide=True)),
        *listed,
        sheet.buttons(sheet.button("files_done", "Go on", main=True, disabled=not files)),
    ]


def _columns(page: "Bring") -> list[Part]:
    book = page.mapping
    if book is None:
        return []
    many = f" ({page.turn + 1} of {len(page.files)})" if len(page.files) > 1 else ""
    map_file = page.known_map(book.file)
    where = "lies beside the file" if map_file and map_file.parent == book.file.parent else "was saved before"
    known = f"{map_file.name} {where} and is followed." if map_file else "Nothing is saved before you say so."
    return [
        sheet.title(f"Which heading of {book.file.name} is what?{many}", known),
        *map_parts(book),
        sheet.buttons(
            sheet.button("map_done", "This is right, go on", main=True, disabled=bool(book.trouble)),
            sheet.button("back", "Back"),
        ),
    ]


def _cleaning(page: "Bring") -> list[Part]:
    report = page.report
    if report is None:
        return []
    warnings = report.warnings()
    found = sheet.text(*warnings, tone="aside") if warnings else sheet.text("No audit found anything to look at.")
    return [
        sheet.title(
            "What came, and what is set aside", "Nothing is thrown away: every line of the file has its place."
        ),
        sheet.text(*account_lines(report)),
        shots_part(report.shots, page.settings.units, "The first shots"),
        sheet.heading("Before you trust it"),
        found,
        *_tables(report, ("files", "set_aside", "rejects", "remarks", "gaps")),
        _aside_fold(page, report),
        sheet.buttons(sheet.button("cleaned", "Go on", main=True), sheet.button("back", "Back")),
    ]


def _log(page: "Bring") -> list[Part]:
    logs = [(name, name, False, "") for name in page.logs]
    title = sheet.title(
        "Which shots were hit under which cue?",
        "A lesson log says what each run of shots was for. Without one the shots are kept, and no cue can be judged.",
    )
    write = sheet.button("write_log", "Write the log of a visit here", main=not logs)
    without = sheet.button("without_log", "Go on without a log")
    back = sheet.button("back", "Back")
    if not logs:
        return [title, sheet.text("No log (log-....csv) lies beside the files."), sheet.buttons(write, without, back)]
    listed = {**sheet.several("logs", "Logs that lie beside the files", logs, page.chosen_logs), "wide": True}
    note = "Rows that speak of other visits than these are left alone."
    if page.clock:
        corrected = sheet.button("join_corrected", "Correct the clock and join", main=True)
        as_it_is = sheet.button("join_as_it_is", "Join as it stands")
        told = sheet.text(page.clock, tone="aside")
        return [title, sheet.fields(listed), told, sheet.buttons(corrected, as_it_is, without, back)]
    join = sheet.button("join", "Join these logs", main=True)
    return [title, sheet.fields(listed), sheet.text(note, tone="quiet"), sheet.buttons(join, write, without, back)]


def _save(page: "Bring") -> list[Part]:
    report = page.report
    if report is None:
        return []
    kinds = [("csv", "CSV, for a spreadsheet"), ("parquet", "Parquet, small and exact")]
    told = [sheet.text(page.joined)] if page.joined else []
    phases = _tables(report, ("phases",), folded=False)
    warnings = report.warnings()
    looked = [sheet.text(*warnings, tone="aside")] if warnings else []
    if page.done:
        return [
            sheet.title("Saved", f"In {page.out}."),
            sheet.text(*account_lines(report), tone="done"),
            sheet.text(f"Written: {', '.join(page.done)}."),
            sheet.text(
                "To ask which cue moves the club, lay the map (and the log) beside the export and open the notebook "
                "which-cue with that folder."
            ),
            sheet.buttons(sheet.button("again", "Bring in other files", main=True), sheet.button("back", "Back")),
        ]
    return [
        sheet.title("Save the table", "Shots in our own names and units, and beside them every line that is none."),
        sheet.text(*account_lines(report)),
        *told,
        *phases,
        *looked,
        sheet.fields(
            sheet.entry("out", "Into the folder", str(page.out), "made if it is not there"),
            sheet.choice("kind", "As", kinds, page.kind),
        ),
        sheet.buttons(sheet.button("save", "Save the table", main=True), sheet.button("back", "Back")),
    ]


def account_lines(report: CleaningReport) -> list[str]:
    """Return the four counts as two sums in words."""
    n = report.shots.counts
    return [
        f"{n.raw:,} rows = {n.shots:,} shots + {n.rejects:,} lines that are no shot.",
        f"{n.shots:,} shots = {n.analysed:,} analysed + {n.set_aside:,} set aside.",
    ]


def _tables(report: CleaningReport, names: tuple[str, ...], folded: bool = True) -> list[Part]:
    parts = []
    for name in names:
        table = report.tables[name]
        if len(table):
            numbers = [_HEADS.get(head, head) for head in table.columns if table[head].dtype.kind in "iuf"]
            rows = [
                [_cell(head, row[head]) for head in table.columns] for row in table.head(_MOST_ROWS).to_dict("records")
            ]
            more = f"; the first {_MOST_ROWS} of {len(table)}" if len(table) > _MOST_ROWS else ""
            heads = [_HEADS.get(head, head) for head in table.columns]
            shown_table = sheet.table(f"{TITLES[name]}{more}", heads, rows, numbers, stack=len(heads) < 5)
            parts.append(sheet.fold(TITLES[name], shown_table) if folded else shown_table)
    return parts


def _aside_fold(page: "Bring", report: CleaningReport) -> Part:
    """Return the shots that are set aside, each with a button that uses it all the same."""
    table = report.shots.table
    aside = table[~report.shots.usable]
    flags = report.shots.flags[report.shots.flags["rule"] == "out of range"].drop_duplicates(["source", "source_row"])
    why = {(str(row.source), int(row.source_row)): row for row in flags.itertuples()}
    rows: list[list] = []
    for row in aside.head(_MOST_ROWS).to_dict("records"):
        key = (str(row["source"]), int(row["source_row"]))
        flag = why.get(key)
        reason = str(row.get("excluded_reason") or "set aside")
        if flag is not None:
            unit = shown(str(flag.column), page.settings.units)
            reason = f"{OUTCOMES.get(str(flag.column), str(flag.column))} {unit.text(float(flag.value))}"
        name = f"row {key[1]} of {key[0]}"
        button = sheet.button("use", "Use it", row=f"{key[0]}:{key[1]}", full=f"Use {name}")
        rows.append(
            [name, _cell("session", row.get("session")), _cell("shot", row.get("shot")), reason, {"buttons": [button]}]
        )
    caption = f"{len(aside)} shots are set aside" + (f"; the first {_MOST_ROWS}" if len(aside) > _MOST_ROWS else "")
    reasons = [("", "choose ..."), *((reason, reason) for reason in USE_REASONS)]
    return sheet.fold(
        "Use a shot that was set aside",
        sheet.fields(sheet.choice("reason", "Why it is used", reasons, page.reason, "is kept beside the shot")),
        sheet.table(caption, ["line", "visit", "shot", "because of", ""], rows, ("shot",), stack=True),
    )


def _cell(name: str, value: object) -> str:
    if value is None or pd.isna(value):
        return ""
    if name in _SHARES:
        return f"{100 * float(value):.1f} %"  # type: ignore[arg-type]
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{value:,.0f}" if float(value).is_integer() else f"{value:g}"
    return str(value)


def _about(path: Path) -> str:
    size = path.stat().st_size
    day = dt.datetime.fromtimestamp(path.stat().st_mtime).strftime("%d %B %Y").lstrip("0")
    shown_size = f"{size / 1e6:.1f} MB" if size >= 1e6 else f"{max(size / 1e3, 1):.0f} kB"
    return f"{shown_size}, {day}"
