"""Every section of a report, in the order in which it is read."""

from coachlab.report.backing import limits, methods
from coachlab.report.checklist import checklist
from coachlab.report.delivery import earned
from coachlab.report.evidence import Evidence, gather_evidence
from coachlab.report.findings import (
    beside,
    for_whom,
    next_steps,
    paired,
    result,
    steadiness,
    summary,
)
from coachlab.report.lessons import balls, baseline, cards, people, title
from coachlab.report.page import Page
from coachlab.report.trust import trust

SECTIONS = (
    title,
    summary,
    people,
    cards,
    balls,
    baseline,
    result,
    for_whom,
    paired,
    beside,
    earned,
    steadiness,
    next_steps,
    methods,
    trust,
    limits,
    checklist,
)

__all__ = ["SECTIONS", "Evidence", "Page", "gather_evidence", *(section.__name__ for section in SECTIONS)]
