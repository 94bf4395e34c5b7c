"""The lesson log as a panel: pain is asked first, runs of shots become blocks, faults are settled, then it is saved."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from coachlab.errors import DataError, need
from coachlab.intake.faults import Settlement, settle
from coachlab.intake.journal import read_log
from coachlab.intake.ledger import (
    OUTSIDE,
    Block,
    Gap,
    Ledger,
    account,
    add_block,
    change_block,
    leave_out,
    make_room,
    open_ledger,
    remove_block,
    rest_before,
    runs_of,
    sessions_of,
    take_back,
)
from coachlab.intake.notes import ClockOffset, blocks_by_time, compare_clocks, read_notes
from coachlab.intake.pain import Allowance, Pain, allow_swings
from coachlab.intake.shots import Shots
from coachlab.intake.write import file_name
from coachlab.intake.written import VISIT, read_ledger, save_ledger
from coachlab.schema import PLAIN
from coachlab.settings import Settings
from coachlab.widgets.entries import log_page_parts
from coachlab.widgets.sheet import Part, Sheet


def lesson_panel(
    shots: Shots,
    cues: pd.DataFrame | None = None,
    settings: Settings | None = None,
    folder: str | Path = ".",
    session: str | None = None,
) -> Sheet:
    """Return a panel in which the lesson log of a session is written beside its shots, and saved.

    Parameters
    ----------
    shots : Shots
        As `read_shots` or `clean_shots` return them.
    cues : DataFrame or None
        The cue cards (`read_cues`); None: a cue is typed in by its id.
    settings : Settings or None
        The academy's caps of swings, least shots of a block, and units.
    folder : path
        Where logs are opened and saved, as ``log-SESSION.csv``.
    session : str or None
        Which one to begin with; None: the first.

    Raises
    ------
    DataError
        If the shots have no such session.
    """
    need(shots, Shots, "A lesson log was to be written.", "shots", "Give what read_shots or clean_shots return.")
    return Sheet(Logbook(shots, cues, settings, folder, session))


class Logbook:
    """The page of `lesson_panel`: state, its parts, and what each action does; the log itself is an `intake.Ledger`."""

    def __init__(
        self,
        shots: Shots,
        cues: pd.DataFrame | None = None,
        settings: Settings | None = None,
        folder: str | Path = ".",
        session: str | None = None,
    ) -> None:
        self.shots, self.cues, self.settings, self.folder = shots, cues, settings or Settings(), Path(folder)
        known = sessions_of(shots)
        self.begin(session if session is not None else known[0] if known else "lesson-1")

    def begin(self, session: str) -> None:
        """Open the empty log of a session, and ask about pain."""
        known = sessions_of(self.shots)
        self.ledger: Ledger = open_ledger(self.shots, session if known else None, session)
        self.asked: bool | None = None
        self.answers: dict[str, Any] = {"pain": None, "places": [], "recent": False, "alarm": False, "junior": False}
        self.notes: pd.DataFrame | None = None
        self.offset: ClockOffset | None = None
        self.saved: Path | None = None
        self.files = {"notes": "", "log": ""}
        self._settled: tuple[tuple, Settlement] | None = None
        self.editing: int | None = None
        self.draft: dict[str, Any] = {}
        self._next_run()

    @property
    def allowed(self) -> Allowance | None:
        """What the answers about pain allow; None where nobody asked."""
        pain = self.ledger.pain
        return None if pain is None else allow_swings(pain, self.settings, self.answers["junior"])

    @property
    def settlement(self) -> Settlement:
        """What is to be settled now; worked out anew only where the log or an answer changed."""
        clock = self.offset.text() if self.offset is not None and self.offset.found else ""
        asked = self.ledger, self.answers["junior"], clock
        if self._settled is None or self._settled[0][0] is not asked[0] or self._settled[0][1:] != asked[1:]:
            self._settled = asked, settle(self.ledger, self.cues, self.settings, self.answers["junior"], clock)
        return self._settled[1]

    def parts(self) -> list[Part]:
        """Return the questions about pain, or the log."""
        return log_page_parts(self)

    # What each action does --------------------------------------------------------------------------------------------

    def act(self, action: str, values: Mapping[str, Any]) -> str:
        """Do what was asked, and return what was done."""
        if action != "set" and action != "select":
            self.saved = None
        return getattr(self, f"_do_{action}")(**values)

    def _do_set(self, **values: Any) -> str:
        for name, value in values.items():
            if name == "session":
                self.begin(value)
            elif name in self.answers:
                self.answers[name] = value
            elif name in VISIT:
                visit = {**self.ledger.visit, name: str(value or "").strip()}
                self.ledger = replace(self.ledger, visit={key: text for key, text in visit.items() if text})
            elif name in self.files:
                self.files[name] = value
            elif name in self.draft:
                self.draft[name] = int(value) if name in ("first", "last") and value is not None else value
        return ""

    def _do_select(self, first: int, last: int) -> str:
        self.draft |= {"first": int(first), "last": int(last)}
        return f"Shots {first} to {last} chosen."

    def _do_screened(self) -> str:
        given = self.answers
        if given["pain"] is None:
            raise DataError("A student was asked about pain.", "No number is given.", "Give 0 for none, up to 10.")
        pain = Pain(float(given["pain"]), tuple(given["places"]), given["recent"], given["alarm"])
        self.ledger = replace(self.ledger, pain=pain)
        self.asked = True
        self.draft["pain_now"] = given["pain"]
        return self.allowed.text() if self.allowed else ""

    def _do_not_asked(self) -> str:
        self.asked = False
        return "The log says that nobody was asked about pain."

    def _do_add(self) -> str:
        block = self._drafted()
        if self.editing is not None:
            self.ledger = change_block(self.ledger, self.editing, block)
        else:
            self.ledger = add_block(self.ledger, block)
        self.editing = None
        self._next_run()
        return f"Shots {block.first_shot} to {block.last_shot} are in the log. {self.settlement.text()}"

    def _do_stop(self) -> str:
        if not self.draft["pain_now"]:
            raise DataError(
                "A block was to end because it hurt.",
                "No pain is given for it.",
                "Ask how much it hurts, 1 to 10, and write that beside the block.",
            )
        block = replace(self._drafted(), stopped=True)
        self.ledger = add_block(self.ledger, block)
        self._next_run()
        return (
            f"The block ends at shot {block.last_shot}, and the log keeps that it hurt. That is the end of the lesson; "
            "pain that is new, severe or spreading goes to a licensed clinician."
        )

    def _do_leave(self) -> str:
        first, last = self.draft["first"], self.draft["last"]
        if not self.draft["reason"]:
            raise DataError(
                f"Shots {first} to {last} were to be left out.", "No reason is given.", "Choose why; the log keeps it."
            )
        self.ledger = leave_out(make_room(self.ledger, first, last), Gap(first, last, self.draft["reason"]))
        self._next_run()
        return f"Shots {first} to {last} are left out."

    def _do_take_back(self, row: int) -> str:
        self.ledger = take_back(self.ledger, row)
        self._next_run()
        return "These shots are outside again."

    def _do_edit(self, row: int) -> str:
        block = self.ledger.blocks[row]
        self.editing = row
        self.draft |= {
            "first": block.first_shot, "last": block.last_shot, "phase": block.phase,
            "cue": block.cue if block.holds_cue else "", "offered": block.offered, "followed": block.followed_0_10,
            "pain_now": block.pain_0_10,
        }  # fmt: skip
        return f"Block {row + 1} can be changed."

    def _do_leave_editing(self) -> str:
        self.editing = None
        self._next_run()
        return "Nothing was changed."

    def _do_remove(self, row: int) -> str:
        self.ledger = remove_block(self.ledger, row)
        self.editing = None
        self._next_run()
        return f"Block {row + 1} is gone; its shots are outside again."

    def _do_read_notes(self) -> str:
        self.notes = read_notes(self._file("notes"), self.ledger)
        self.offset = compare_clocks(self.ledger, self.shots, self.notes)
        return self.offset.text()

    def _do_place(self, offset_s: float = 0.0) -> str:
        if self.notes is None:
            raise DataError("Notes were to be taken.", "None are read yet.", "Name their file first.")
        self.ledger, lost = blocks_by_time(replace(self.ledger, blocks=()), self.notes, offset_s)
        if offset_s:
            self.offset = None
        self._next_run()
        return " ".join([f"{len(self.ledger.blocks)} blocks from the notes.", *lost])

    def _do_place_corrected(self) -> str:
        return self._do_place(self.offset.offset_s if self.offset else 0.0)

    def _do_open_log(self) -> str:
        self.ledger = read_ledger(self._file("log"), self.ledger)
        self._next_run()
        return f"{len(self.ledger.blocks)} blocks opened."

    def _do_save(self) -> str:
        own = file_name(f"log-{self.ledger.session}", ".csv")
        for path in sorted(self.folder.glob("log-*.csv")):
            if path.name != own and self.ledger.session in set(read_log(path)["session"]):
                raise DataError(
                    f"The lesson log of {self.ledger.session} was to be saved in {self.folder.name or '.'}.",
                    f"{path.name} speaks of this session already, and two logs of one session would contradict.",
                    f"Take its rows out of {path.name}, or save into another folder.",
                    path=path.name,
                )
        self.saved = save_ledger(self.ledger, self.folder, self.settlement)
        return f"Saved as {self.saved.name}."

    def _do_another(self) -> str:
        known = sessions_of(self.shots)
        self.begin(known[(known.index(self.ledger.session) + 1) % len(known)])
        return f"The log of {self.ledger.session}."

    def _drafted(self) -> Block:
        draft = self.draft
        if draft["first"] is None or draft["last"] is None:
            raise DataError("A block was to be added.", "Its first or last shot is blank.", "Give both numbers.")
        if not draft["phase"]:
            raise DataError(
                f"Shots {draft['first']} to {draft['last']} were to become a block.",
                "It is not said what the block was for.",
                "Choose that first.",
            )
        cue = draft["cue"] if draft["phase"] == "cue" else PLAIN
        kept = Block(1, 1, "plain") if self.editing is None else self.ledger.blocks[self.editing]
        return replace(
            kept,
            first_shot=draft["first"],
            last_shot=draft["last"],
            phase=draft["phase"],
            cue=cue,
            cue_version=self._version(cue),
            offered=draft["offered"] if draft["phase"] == "cue" else "",
            followed_0_10=draft["followed"] if draft["phase"] == "cue" else None,
            pain_0_10=draft["pain_now"],
            rest_s=rest_before(self.ledger, draft["first"]),
        )

    def _next_run(self) -> None:
        """Choose the next run that is in no block; what was said of the last one is not taken over."""
        table = account(self.ledger)
        open_shots = set(table.loc[table["state"] == OUTSIDE, "shot"])
        runs = runs_of(self.ledger)
        first, last = next(
            ((first, last) for first, last in runs if any(number in open_shots for number in range(first, last + 1))),
            runs[-1],
        )
        inside = [number for number in range(first, last + 1) if number in open_shots]
        if inside:
            first, last = inside[0], inside[-1]
        self.draft = {
            "first": first, "last": last, "phase": "", "cue": self.draft.get("cue", ""),
            "offered": self.draft.get("offered", ""), "followed": None,
            # what was answered before the first ball holds for the first block; later ones must be asked for
            "pain_now": self.answers["pain"] if self.asked and not self.ledger.blocks else None, "reason": "",
        }  # fmt: skip

    def _file(self, kind: str) -> Path:
        if not self.files[kind].strip():
            raise DataError(
                "A file was to be opened.", "No name is given.", f"Name a file in {self.folder.name or '.'}."
            )
        return self.folder / self.files[kind].strip()

    def name_of(self, cue: str) -> str:
        """Return a cue with the name of its card."""
        if self.cues is None or "name" not in self.cues:
            return cue
        name = dict(zip(self.cues["cue"], self.cues["name"], strict=True)).get(cue, cue)
        return cue if name == cue else f"{cue} {name}"

    def _version(self, cue: str) -> str:
        if self.cues is None or "version" not in self.cues:
            return "1"
        return str(dict(zip(self.cues["cue"], self.cues["version"], strict=True)).get(cue, "1"))
