"""The cleaning report as pages: what came, what was set aside and why, and what needs a look."""

import pandas as pd

from coachlab.intake.cleaning import TITLES, CleaningReport
from coachlab.report.export import as_page
from coachlab.report.page import Page

_HEADS = {
    "source": "file", "raw": "lines", "rejects": "no shots", "shots": "shots", "analysed": "analysed",
    "set_aside": "set aside", "misread_share": "misread", "reason": "why", "rule": "what was remarked",
    "rows": "lines", "meaning": "what it means", "phase": "phase", "struck": "balls struck", "misread": "misread",
    "not_read": "not read", "share": "share of both", "low": "95 % interval from", "high": "to", "session": "visit",
    "first": "first", "last": "last", "missing": "missing", "which": "which", "source_row": "line",
    "decision": "decision", "where": "where", "what": "what was found", "do": "what to do",
}  # fmt: skip
_SAID = {
    "files": "Every line of a file is a shot or is none; every shot is analysed or set aside. Nothing is dropped.",
    "set_aside": "These shots are kept and never analysed. Each can be taken back, with a reason: decisions.csv.",
    "rejects": "Rows of units, repeated headings, totals, and balls that the device did not read.",
    "remarks": "A remark sets nothing aside: it says what to look at.",
    "phases": "A ball is lost where a reading cannot be, or none is there. Cue and plain blocks should lose as many.",
    "gaps": "A number that no line of the file has: the ball was struck, and its line was left out.",
    "decisions": "Shots that a person uses whatever a rule says.",
    "audits": "What speaks for each finding is said; nothing is changed for it.",
}
_MOST = 40


def cleaning_pages(report: CleaningReport) -> list[Page]:
    """Return the sections of a cleaning report; one that has nothing to show says so in a sentence."""
    head = Page(
        "cleaning",
        "Cleaning report",
        (report.shots.text(), *report.shots.notes),
        after=tuple(report.warnings()),
        level=1,
    )
    pages = [head]
    for name, title in TITLES.items():
        table = report.tables[name]
        if name == "audits":
            sentences = (_SAID[name], *report.findings.looked)
        else:
            sentences = (_SAID[name],) if len(table) else ("None.",)
        shown = _shown(table.head(_MOST)) if len(table) else None
        after = (f"And {len(table) - _MOST:,} more.",) if len(table) > _MOST else ()
        pages.append(Page(name.replace("_", "-"), title, sentences, table=shown, after=after))
    return pages


def cleaning_page(report: CleaningReport) -> str:
    """Return a cleaning report as one HTML document that needs nothing else."""
    return as_page("\n".join(page._repr_html_() for page in cleaning_pages(report)))


def _shown(table: pd.DataFrame) -> pd.DataFrame:
    shown = table.drop(columns=[name for name in ("audit", "column", "strength") if name in table and "what" in table])
    for name in ("misread_share", "share", "low", "high"):
        if name in shown:
            shown[name] = [f"{100 * value:.1f} %" if value == value else "" for value in shown[name]]
    return shown.rename(columns=_HEADS)
