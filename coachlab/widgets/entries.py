"""What the lesson log's panel shows: the questions about pain, the strip, the blocks, and what is to be settled."""

from typing import TYPE_CHECKING

from coachlab.intake.faults import Settlement
from coachlab.intake.ledger import OFFERED, REASONS, sessions_of
from coachlab.intake.pain import PLACES, RANGE, barred_cues
from coachlab.schema import PLAIN
from coachlab.widgets import sheet
from coachlab.widgets.sheet import Part
from coachlab.widgets.strip import PHASE_WORDS, strip_part

if TYPE_CHECKING:
    from coachlab.widgets.logbook import Logbook


def log_page_parts(book: "Logbook") -> list[Part]:
    """Return the questions about pain, or the log."""
    return _pain_parts(book) if book.asked is None else _log_parts(book)


def _pain_parts(book: "Logbook") -> list[Part]:
    known = sessions_of(book.shots)
    which = []
    if len(known) > 1:
        options = [(name, name) for name in known]
        which = [sheet.fields(sheet.choice("session", "Which visit", options, book.ledger.session))]
    answers = book.answers
    return [
        sheet.title(
            "Before the first ball: does anything hurt?",
            "Ask the student every time. For a lesson that is over, enter what they answered then.",
        ),
        *which,
        sheet.fields(
            sheet.number("pain", "Pain today, 0 to 10", answers["pain"], (0, 10), hint="0 is none"),
            sheet.several("places", "Where", [(place, place) for place in PLACES], answers["places"]),
            sheet.check("recent", "Surgery, or a flare of an old trouble, within three months", answers["recent"]),
            sheet.check(
                "alarm",
                "New, severe or spreading pain, pain at night, numbness or weakness",
                answers["alarm"],
            ),
            sheet.check("junior", "A junior, or back after a break", answers["junior"], "the lower cap of swings"),
        ),
        sheet.text(
            "Only the number gets into the log. Where it hurts and the other answers serve this lesson and are not "
            "written down.",
            tone="quiet",
        ),
        sheet.text(RANGE, tone="aside"),
        sheet.buttons(
            sheet.button("screened", "Go on to the log", main=True),
            sheet.button("not_asked", "Nobody was asked"),
        ),
    ]


def _log_parts(book: "Logbook") -> list[Part]:
    settlement = book.settlement
    return [
        sheet.title(f"Lesson log of {book.ledger.session}", book.ledger.text()),
        *_body_parts(book),
        strip_part(book.ledger, (book.draft["first"], book.draft["last"]), book.cues, book.settings.units),
        *_draft_parts(book),
        *_block_parts(book),
        _visit_fold(book),
        *_settle_parts(book, settlement),
        *_save_parts(book, settlement),
        _notes_fold(book),
    ]


def _body_parts(book: "Logbook") -> list[Part]:
    allowed = book.allowed
    if allowed is None:
        return []
    if not allowed.may_swing:
        return [sheet.text(*allowed.sentences, tone="trouble")]
    barred = {} if book.cues is None or book.ledger.pain is None else barred_cues(book.cues, book.ledger.pain)
    left = [f"{book.name_of(cue)} is left out today. {why}" for cue, why in barred.items()]
    return [sheet.text(*allowed.sentences, *left, RANGE, tone="aside")]


def _draft_parts(book: "Logbook") -> list[Part]:
    draft = book.draft
    shot = book.ledger.shots["shot"]
    ends = int(shot.min()), int(shot.max())
    asked = [
        sheet.number("first", "First shot", draft["first"], ends),
        sheet.number("last", "Last shot", draft["last"], ends),
        sheet.choice("phase", "What it was for", [("", "choose ..."), *PHASE_WORDS.items()], draft["phase"]),
    ]
    if draft["phase"] == "cue":
        asked.append(_cue_field(book))
        ways = [("", "choose ..."), *((way, way) for way in OFFERED)]
        asked.append(sheet.choice("offered", "Chosen by", ways, draft["offered"], "drawn: by the kit's order", True))
        asked.append(sheet.number("followed", "Done, 0 to 10", draft["followed"], (0, 10), 0.5, "how much they did it"))
    asked.append(sheet.number("pain_now", "Pain, 0 to 10", draft["pain_now"], (0, 10), 1))
    name = "Add this block" if book.editing is None else f"Change block {book.editing + 1}"
    shown = [sheet.button("add", name, main=not book.settlement.ready)]
    if book.editing is None:
        shown.append(sheet.button("stop", "It hurts: stop", stop=True))
    else:
        shown.append(sheet.button("leave_editing", "Leave it as it was"))
    reasons = [("", "choose ..."), *((reason, reason) for reason in REASONS)]
    return [
        sheet.fields(*asked, legend=f"Shots {draft['first']} to {draft['last']}"),
        sheet.buttons(*shown),
        sheet.fold(
            "Leave these shots out of every block",
            sheet.fields(sheet.choice("reason", "Why", reasons, draft["reason"])),
            sheet.buttons(sheet.button("leave", "Leave them out")),
        ),
    ]


def _cue_field(book: "Logbook") -> Part:
    if book.cues is None:
        return sheet.entry("cue", "Cue", book.draft["cue"], "its id, as in S1")
    barred = {} if book.ledger.pain is None else barred_cues(book.cues, book.ledger.pain)
    options = [("", "choose ...")]
    for cue in book.cues["cue"]:
        if cue != PLAIN:
            options.append((cue, book.name_of(cue) + (" (not today)" if cue in barred else "")))
    card = book.cues.set_index("cue")["card_text"].get(book.draft["cue"], "")
    return sheet.choice("cue", "Cue", options, book.draft["cue"], f"“{card}”" if card else "")


def _block_parts(book: "Logbook") -> list[Part]:
    if not book.ledger.blocks and not book.ledger.left_out:
        return []
    rows: list[list] = []
    for place, block in enumerate(book.ledger.blocks):
        what = book.name_of(block.cue) if block.holds_cue else PHASE_WORDS[block.phase]
        rows.append(
            [
                f"{place + 1}", f"{block.first_shot}\u00a0to\u00a0{block.last_shot}",
                sheet.cell(what, "ended because it hurt" if block.stopped else ""), block.offered,
                _number_text(block.followed_0_10), _number_text(block.pain_0_10), _minutes_text(block.rest_s),
                {
                    "buttons": [
                        sheet.button("edit", "Change", row=place, full=f"Change block {place + 1}"),
                        sheet.button("remove", "Remove", row=place, full=f"Remove block {place + 1}"),
                    ]
                },
            ]
        )  # fmt: skip
    for place, gap in enumerate(book.ledger.left_out):
        span = f"{gap.first_shot} to {gap.last_shot}"
        back = sheet.button("take_back", "Take back", row=place, full=f"Take back shots {span}")
        rows.append(["–", span, sheet.cell("left out", gap.reason), "", "", "", "", {"buttons": [back]}])
    heads = ["block", "shots", "what for", "chosen by", "done", "pain", "rest before", ""]
    marked = -1 if book.editing is None else book.editing
    return [sheet.table("The blocks so far", heads, rows, ("done", "pain"), marked, stack=True)]


def _visit_fold(book: "Logbook") -> Part:
    visit = book.ledger.visit
    seen = [("", "choose ..."), ("no", "no"), ("yes", "yes")]
    roof = [("", "choose ..."), ("yes", "yes"), ("no", "no")]
    return sheet.fold(
        "About this visit: coach, place, drawn order",
        sheet.fields(
            sheet.entry("coach", "Coach", visit.get("coach", ""), "a name or number; a pseudonym on its way in"),
            sheet.choice(
                "feedback_shown",
                "Student saw the numbers",
                seen,
                visit.get("feedback_shown", ""),
                "in plain and cue blocks",
            ),
            sheet.entry("bay", "Bay", visit.get("bay", "")),
            sheet.entry("surface", "The ball lay on", visit.get("surface", ""), "as in mat or grass"),
            sheet.choice("indoors", "Under a roof", roof, visit.get("indoors", "")),
            sheet.entry(
                "order_plan", "Drawn order", visit.get("order_plan", ""), "from the order card, as in plain I2 I2 plain"
            ),
            sheet.entry("order_seed", "Seed of the draw", visit.get("order_seed", ""), "from the order card"),
        ),
    )


def _settle_parts(book: "Logbook", settlement: Settlement) -> list[Part]:
    if not book.ledger.blocks:
        return []
    parts = []
    for must, caption in ((True, "To settle before it can be saved"), (False, "To mind; saved all the same")):
        mine = settlement.table[settlement.table["must"] == must]
        if len(mine):
            rows = [[row.what, row.do] for row in mine.itertuples()]
            shown = sheet.table(caption, ["what was found", "what to do"], rows, stack=True)
            parts.append(shown if must else sheet.fold(f"{caption} ({len(rows)})", shown))
    return parts


def _save_parts(book: "Logbook", settlement: Settlement) -> list[Part]:
    done = []
    if book.saved is not None:
        done = [sheet.text(f"Saved as {book.saved.name}, {len(book.ledger.blocks)} blocks.", tone="done")]
    ready = settlement.ready and bool(book.ledger.blocks)
    why = settlement.text() if book.ledger.blocks else "Put a run of shots into a block first."
    save = sheet.button("save", "Save the log", main=ready and not done, disabled=not ready, why=why)
    more = bool(done) and len(sessions_of(book.shots)) > 1
    another = [sheet.button("another", "Write the log of the next visit")] if more else []
    return [*done, sheet.buttons(save, *another)]


def _notes_fold(book: "Logbook") -> Part:
    parts: list[Part] = [
        sheet.text(
            "Notes by the clock: a lesson log with starts_at (and ends_at, where it is known) in place of shot "
            "numbers.",
            tone="quiet",
        ),
        sheet.fields(
            sheet.entry("notes", "File with notes by the clock", book.files["notes"], f"in {book.folder.name or '.'}")
        ),
        sheet.buttons(sheet.button("read_notes", "Lay the notes beside the shots")),
    ]
    if book.offset is not None:
        parts.append(sheet.text(book.offset.text()))
        if book.offset.found:
            way = "later" if book.offset.offset_s > 0 else "earlier"
            words = f"{abs(book.offset.offset_s) / 60:.0f} minutes {way}"
            parts.append(
                sheet.buttons(
                    sheet.button("place_corrected", f"Take the notes {words}"),
                    sheet.button("place", "Take them as they stand"),
                )
            )
        else:
            parts.append(sheet.buttons(sheet.button("place", "Take their blocks")))
    parts += [
        sheet.fields(sheet.entry("log", "A lesson log saved before", book.files["log"], "its blocks replace these")),
        sheet.buttons(sheet.button("open_log", "Open it")),
    ]
    return sheet.fold("Begin from notes by the clock, or from a log", *parts)


def _number_text(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _minutes_text(seconds: float | None) -> str:
    if seconds is None:
        return ""
    return f"{seconds:.0f} s" if seconds < 60 else f"{seconds / 60:.0f} min"
