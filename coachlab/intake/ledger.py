"""An unfinished lesson log over the shots of one session: blocks are added, changed and removed; no shot is lost.

A ledger may hold what a log may not yet: blocks that overlap, shots in no block. `faults.settle` says what is to be
mended, and `save_ledger` writes the log that `join_log` reads.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np
import pandas as pd

from coachlab.errors import DataError
from coachlab.intake.match import number_shots
from coachlab.intake.pain import Pain
from coachlab.intake.shots import Shots, is_usable
from coachlab.schema import COLUMNS, PHASES, PLAIN

OFFERED = ("drawn", "coach", "student")
"""How a cue may have been chosen."""
REASONS = ("practice between blocks", "another drill", "somebody else hit", "not part of the lesson")
"""Why shots may be left out of every block; a closed list, so that no remark about a person gets into a log."""
IN_ONE, IN_SEVERAL, LEFT_OUT, OUTSIDE = "in one block", "in several blocks", "left out", "outside every block"
PAUSE_S = 120.0
"""A longer pause between two shots parts two runs; methods rest two to three minutes between blocks."""

_MEASURES = ("attack_up_deg", "path_out_deg", "face_open_deg", "club_speed_mps")


@dataclass(frozen=True)
class Block:
    """A run of shots under one instruction, from its first to its last number.

    Parameters
    ----------
    first_shot, last_shot : int
        Numbers of the device's counter.
    phase : str
        One of `schema.PHASES`.
    cue, cue_version : str
        What was offered; `plain` is the baseline.
    offered : str
        How it was chosen, of `OFFERED`; empty where nobody knows.
    followed_0_10, pain_0_10, rest_s : float or None
        The student's own rating of how much they did it, the pain they report, the rest before the block.
    stopped : bool
        True where the student ended the block because it hurt.
    block_index, period : int or None
        Its place in the session and among the test blocks, where a log says another one than counting gives (a planned
        block was left out before it).

    Raises
    ------
    DataError
        If a value is not what its column needs, or a block of phase cue has no cue.
    """

    first_shot: int
    last_shot: int
    phase: str
    cue: str = PLAIN
    cue_version: str = "1"
    offered: str = ""
    followed_0_10: float | None = None
    pain_0_10: float | None = None
    rest_s: float | None = None
    stopped: bool = False
    block_index: int | None = None
    period: int | None = None

    def __post_init__(self) -> None:
        asked = f"A block of shots {self.first_shot} to {self.last_shot} was described."
        for name in ("first_shot", "last_shot"):
            value = getattr(self, name)
            if isinstance(value, bool) or not isinstance(value, int | np.integer) or not 0 <= value <= 10**6:
                raise DataError(asked, f"{name} is {value!r}.", "Give the whole number of a shot.", column=name)
        if self.last_shot < self.first_shot:
            raise DataError(asked, "The last shot lies before the first.", "Give the first one first.")
        if self.phase not in PHASES:
            raise DataError(asked, f"The phase is {self.phase!r}.", f"Use {', '.join(PHASES)}.", column="phase")
        if not self.cue.strip() or (self.phase == "cue" and self.cue == PLAIN):
            found = "Its phase is cue, and no cue is named." if self.phase == "cue" else "Its cue is blank."
            raise DataError(asked, found, f"Name the cue, or write {PLAIN} in another phase.", column="cue")
        if self.offered and self.offered not in OFFERED:
            raise DataError(asked, f"offered is {self.offered!r}.", f"Use {', '.join(OFFERED)}.", column="offered")
        for name in ("followed_0_10", "pain_0_10", "rest_s"):
            value, column = getattr(self, name), COLUMNS[name]
            if value is not None and not column.low <= value <= column.high:
                raise DataError(asked, f"{name} is {value!r}.", f"Give {column.low:g} to {column.high:g}.", column=name)

    @property
    def holds_cue(self) -> bool:
        """Whether a cue was offered in it."""
        return self.phase == "cue"


@dataclass(frozen=True)
class Gap:
    """Shots that a person leaves out of every block, with a reason of `REASONS`."""

    first_shot: int
    last_shot: int
    reason: str

    def __post_init__(self) -> None:
        asked = f"Shots {self.first_shot} to {self.last_shot} were to be left out of the log."
        if self.last_shot < self.first_shot:
            raise DataError(asked, "The last shot lies before the first.", "Give the first one first.")
        if self.reason not in REASONS:
            raise DataError(asked, f"The reason is {self.reason!r}.", f"Use one of: {', '.join(REASONS)}.")


@dataclass(frozen=True, eq=False)
class Ledger:
    """A lesson log that is being written, beside the shots that it speaks of.

    Attributes
    ----------
    session : str
        The visit.
    shots : DataFrame
        One row a number of the device: ``shot``, ``struck_at``, ``club``, the measures, ``read`` (False where the
        device has a row without a reading), ``usable``. Not changed by any function.
    blocks : tuple of Block
        In the order of their first shots.
    left_out : tuple of Gap
        What a person leaves out of every block.
    pain : Pain or None
        The answers before the first ball; None: nobody asked.
    visit : mapping of str to str
        What holds for the whole session, by the log's own columns: coach, bay, surface, order_plan ...
    unnumbered : int
        Shots of the session that have no number although others have one: no block can hold them.
    """

    session: str
    shots: pd.DataFrame
    blocks: tuple[Block, ...] = ()
    left_out: tuple[Gap, ...] = ()
    pain: Pain | None = None
    visit: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    unnumbered: int = 0

    def text(self) -> str:
        """Return how many shots are accounted for, in one sentence."""
        n = account(self)["state"].value_counts()
        several = f", {n[IN_SEVERAL]} in more than one" if IN_SEVERAL in n else ""
        return (
            f"{len(self.shots)} shots in {self.session}: {n.get(IN_ONE, 0)} in one of {len(self.blocks)} blocks"
            f"{several}, {n.get(LEFT_OUT, 0)} left out for a reason, {n.get(OUTSIDE, 0)} in no block yet."
        )

    def __repr__(self) -> str:
        return f"<Ledger: {self.text()}>"


def open_ledger(shots: Shots, session: str | None = None, name: str = "") -> Ledger:
    """Return the empty log of one session of these shots.

    Parameters
    ----------
    shots : Shots
        As `read_shots` or `clean_shots` return them.
    session : str, optional
        Which one; not needed where there is one only.
    name : str
        What the session is called where the file names none.

    Raises
    ------
    DataError
        If there is no such session, or several and none is chosen.
    """
    table, rejects = shots.table, shots.rejects
    known = sessions_of(shots)
    asked = "A lesson log was to be written."
    if known and session is None and len(known) > 1:
        raise DataError(asked, f"The shots have {len(known)} sessions.", f"Choose one, as in {known[0]!r}.")
    session = session if session is not None else known[0] if known else name
    if known and session not in known:
        raise DataError(asked, f"There is no session {session!r}.", f"Choose one of {', '.join(known[:8])}.")
    if not session:
        raise DataError(asked, "The file names no session.", "Give the visit a name of its own.")
    mine, lost = table, rejects.iloc[:0]
    if known:
        mine = table[(table["session"].astype("str") == session).to_numpy()]
        lost = rejects[(rejects["session"].astype("str") == session).to_numpy()]
    here = mine.copy(deep=False)
    numbers, lost_numbers, unnumbered = number_shots(
        here, lost, np.zeros(len(here), dtype=int), np.zeros(len(lost), dtype=int)
    )
    rows = pd.DataFrame({"shot": numbers.to_numpy(dtype=float)})
    for column in ("struck_at", "club", *_MEASURES):
        if column in here:
            rows[column] = here[column].to_numpy()
    rows["read"], rows["usable"] = True, is_usable(here).to_numpy()
    lost_rows = pd.DataFrame({"shot": lost_numbers.to_numpy(dtype=float), "read": False, "usable": False})
    rows = pd.concat([rows, lost_rows], ignore_index=True) if len(lost_rows) else rows
    rows = rows[rows["shot"].notna()].sort_values("shot", kind="stable", ignore_index=True)
    if not len(rows):
        raise DataError(asked, f"Session {session!r} has no shot with a number.", "Read another file.")
    rows["shot"] = rows["shot"].astype("int64")
    if "club" in rows:
        rows["club"] = rows["club"].astype("str")
    return Ledger(session, rows, visit=MappingProxyType(_visit_of(here)), unnumbered=unnumbered)


def sessions_of(shots: Shots) -> list[str]:
    """Return the sessions that the shots name, in their order; empty where they name none."""
    if "session" not in shots.table:
        return []
    return [str(name) for name in shots.table["session"].dropna().unique()]


def add_block(ledger: Ledger, block: Block) -> Ledger:
    """Return the ledger with one more block; it may overlap others, which `settle` then says."""
    return replace(ledger, blocks=_ordered([*ledger.blocks, block]))


def change_block(ledger: Ledger, place: int, block: Block) -> Ledger:
    """Return the ledger with another block in place of the one at `place`, counted from 0.

    Raises
    ------
    DataError
        If there is no such block.
    """
    kept = list(remove_block(ledger, place).blocks)
    return replace(ledger, blocks=_ordered([*kept, block]))


def remove_block(ledger: Ledger, place: int) -> Ledger:
    """Return the ledger without the block at `place`, counted from 0; its shots are outside again.

    Raises
    ------
    DataError
        If there is no such block.
    """
    return replace(ledger, blocks=_without_one(ledger.blocks, place, "block"))


def make_room(ledger: Ledger, first_shot: int, last_shot: int) -> Ledger:
    """Return the ledger with a run of shots taken out of every block and gap; what is left of them keeps its words."""
    blocks = [part for block in ledger.blocks for part in _without(block, first_shot, last_shot)]
    gaps = [part for gap in ledger.left_out for part in _without(gap, first_shot, last_shot)]
    return replace(ledger, blocks=_ordered(blocks), left_out=tuple(gaps))


def leave_out(ledger: Ledger, gap: Gap) -> Ledger:
    """Return the ledger with some shots left out of every block on purpose; blocks go first where both name a shot."""
    gaps = sorted([*ledger.left_out, gap], key=lambda gap: (gap.first_shot, gap.last_shot))
    return replace(ledger, left_out=tuple(gaps))


def take_back(ledger: Ledger, place: int) -> Ledger:
    """Return the ledger without the gap at `place`, counted from 0; its shots are outside again.

    Raises
    ------
    DataError
        If there is no such gap.
    """
    return replace(ledger, left_out=_without_one(ledger.left_out, place, "gap"))


def _without_one(kept: tuple, place: int, what: str) -> tuple:
    """Return all blocks or gaps but the one at `place`."""
    if not 0 <= place < len(kept):
        raise DataError(
            f"{what.capitalize()} {place + 1} of the lesson log was asked for.",
            f"The log has {len(kept)} {what}{'' if len(kept) == 1 else 's'}.",
            "Choose one of them.",
        )
    return kept[:place] + kept[place + 1 :]


def stop_block(ledger: Ledger, place: int, pain_0_10: float, last_shot: int | None = None) -> Ledger:
    """Return the ledger with a block ended because it hurt, at `last_shot` or where it ended; the log keeps that.

    Raises
    ------
    DataError
        If there is no such block, or the shot lies before it.
    """
    remove_block(ledger, place)
    block = ledger.blocks[place]
    last = block.last_shot if last_shot is None else min(last_shot, block.last_shot)
    return change_block(ledger, place, replace(block, last_shot=last, pain_0_10=pain_0_10, stopped=True))


def account(ledger: Ledger) -> pd.DataFrame:
    """Return each shot once: it is in one block, in several, left out on purpose, or outside.

    Returns
    -------
    DataFrame
        As ``ledger.shots``, with ``block`` (the first that holds it, counted from 1; 0 for none), ``blocks`` (how many
        do) and ``state``.
    """
    table = ledger.shots.copy(deep=False)
    shot = table["shot"].to_numpy()
    inside = np.array([(shot >= block.first_shot) & (shot <= block.last_shot) for block in ledger.blocks])
    inside = inside.reshape(len(ledger.blocks), len(shot))
    count = inside.sum(axis=0)
    left = np.zeros(len(shot), dtype=bool)
    for gap in ledger.left_out:
        left |= (shot >= gap.first_shot) & (shot <= gap.last_shot)
    table["block"] = np.where(count > 0, inside.argmax(axis=0) + 1 if len(ledger.blocks) else 0, 0)
    table["blocks"] = count
    table["state"] = np.select([count > 1, count == 1, left], [IN_SEVERAL, IN_ONE, LEFT_OUT], OUTSIDE)
    return table


def runs_of(ledger: Ledger) -> list[tuple[int, int]]:
    """Return the runs of shots, first and last, that pauses of over two minutes or another club set apart."""
    shots = ledger.shots
    start = np.zeros(len(shots), dtype=bool)
    start[0] = True
    if "struck_at" in shots:
        pause = shots["struck_at"].ffill().diff().dt.total_seconds().to_numpy()
        start |= np.nan_to_num(pause) > PAUSE_S
    if "club" in shots:
        club = shots["club"].ffill()
        start |= ((club != club.shift()) & club.shift().notna()).to_numpy()
    firsts = np.flatnonzero(start)
    lasts = np.append(firsts[1:], len(shots)) - 1
    shot = shots["shot"].to_numpy()
    return [(int(shot[first]), int(shot[last])) for first, last in zip(firsts, lasts, strict=True)]


def rest_before(ledger: Ledger, first_shot: int) -> float | None:
    """Return the seconds from the shot before to this one; None for the first, or where the times are not known."""
    if "struck_at" not in ledger.shots:
        return None
    times = ledger.shots.dropna(subset="struck_at")
    here, before = times[times["shot"] == first_shot], times[times["shot"] < first_shot]
    if not len(here) or not len(before):
        return 0.0 if len(here) else None
    rest = (here["struck_at"].iloc[0] - before["struck_at"].iloc[-1]).total_seconds()
    return float(round(rest)) if 0 <= rest <= COLUMNS["rest_s"].high else None


def _without(run: Block | Gap, first: int, last: int) -> list:
    """Return what is left of a run once some of its shots are taken out."""
    if last < run.first_shot or first > run.last_shot:
        return [run]
    parts: list = []
    if run.first_shot < first:
        parts.append(replace(run, last_shot=first - 1))
    if run.last_shot > last:
        rest = replace(run, first_shot=last + 1)
        parts.append(replace(rest, block_index=None, period=None) if isinstance(rest, Block) else rest)
    return parts


def _ordered(blocks: list[Block]) -> tuple[Block, ...]:
    return tuple(sorted(blocks, key=lambda block: (block.first_shot, block.last_shot)))


def _visit_of(table: pd.DataFrame) -> dict[str, str]:
    """Return what the file itself says of the whole session."""
    found = {}
    for name in ("session_day", "bay", "device"):
        values = table[name].dropna().unique() if name in table else []
        if len(values) == 1:
            found[name] = f"{values[0]:%Y-%m-%d}" if name == "session_day" else str(values[0])
    if "session_day" not in found and "struck_at" in table and table["struck_at"].notna().any():
        found["session_day"] = f"{table['struck_at'].dropna().iloc[0]:%Y-%m-%d}"
    return found
