"""A ledger as the file that `join_log` reads, and back again: the same blocks, the same gaps, the same words."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd

from coachlab.errors import DataError
from coachlab.intake.faults import Settlement, refuse_unsettled
from coachlab.intake.journal import read_log
from coachlab.intake.ledger import Block, Gap, Ledger, add_block, leave_out
from coachlab.intake.log import TESTS
from coachlab.intake.write import csv_text, file_name, plain_cell, write_bytes
from coachlab.schema import PLAIN, TABLES

VISIT = (*(name for name in TABLES["sessions"] if name != "session"), "order_plan", "order_seed")
"""What a log says of the whole session."""

_LEFT = "# left out: shots {first} to {last}: {reason}"
_READ_LEFT = re.compile(r'^"?# left out: shots (\d+) to (\d+): ([^"]*?)"?\s*$')
_HEAD = "# Lesson log, one row a block; shots as the device counts them."
_BLOCK = ("cue", "cue_version", "offered", "followed_0_10", "pain_0_10", "rest_s")


def log_table(ledger: Ledger) -> pd.DataFrame:
    """Return the ledger as a lesson log, one row a block, with the columns that `join_log` takes.

    No name of a student stands in it: the session says whose shots they are.
    """
    rows = []
    for block, (place, period) in zip(ledger.blocks, _places(ledger.blocks), strict=True):
        rows.append(
            {
                "session": ledger.session,
                **{name: ledger.visit[name] for name in VISIT if ledger.visit.get(name)},
                "block": f"{ledger.session}/{place}",
                "block_index": place,
                "period": period,
                "phase": block.phase,
                **{name: _as_text(getattr(block, name)) for name in _BLOCK},
                "stopped": "yes" if block.stopped else "no",
                "first_shot": block.first_shot,
                "last_shot": block.last_shot,
            }
        )
    table = pd.DataFrame(rows)
    return table.astype({"period": "Int64"}) if len(table) else table


def save_ledger(ledger: Ledger, folder: str | Path, settlement: Settlement) -> Path:
    """Write the log of a session as ``log-SESSION.csv`` into a folder, and return its path; whole or not at all.

    Parameters
    ----------
    ledger : Ledger
        What is to be written.
    folder : path
        Where; made if it is not there.
    settlement : Settlement
        What `settle` says of this ledger.

    Raises
    ------
    DataError
        If something would be lost, there is no block, or the file cannot be written.
    """
    if not ledger.blocks:
        raise DataError(
            f"The lesson log of {ledger.session} was to be saved.", "It has no block.", "Put at least one run into one."
        )
    refuse_unsettled(settlement, ledger.session)
    return write_bytes(Path(folder) / file_name(f"log-{ledger.session}", ".csv"), ledger_text(ledger))


def ledger_text(ledger: Ledger) -> str:
    """Return the ledger as the text of its file."""
    left = [_LEFT.format(first=gap.first_shot, last=gap.last_shot, reason=gap.reason) for gap in ledger.left_out]
    return "\n".join([_HEAD, *left, csv_text(log_table(ledger))])


def read_ledger(path: str | Path, ledger: Ledger) -> Ledger:
    """Return the ledger with the blocks of a log that was saved before, in place of its own.

    Parameters
    ----------
    path : path
        A lesson log; rows of other sessions are left alone.
    ledger : Ledger
        The session's shots (`open_ledger`).

    Raises
    ------
    DataError
        If the log cannot be read, or has no row of this session.
    """
    log = read_log(path)
    if "first_shot" not in log:
        raise DataError(
            f"{Path(path).name} was opened for the session {ledger.session!r}.",
            "It notes blocks by time, not by shot number.",
            "Open it as notes by the clock.",
        )
    mine = log[log["session"].map(plain_cell) == ledger.session]
    if not len(mine):
        raise DataError(
            f"{Path(path).name} was opened for the session {ledger.session!r}.",
            f"It speaks of: {', '.join(map(repr, log['session'].unique()[:8]))}.",
            "Open the log of this session.",
            session=ledger.session,
        )
    visit = dict(ledger.visit)
    for name in VISIT:
        if name in mine and mine[name].notna().any():
            value = mine[name].dropna().iloc[0]
            visit[name] = f"{value:%Y-%m-%d}" if name == "session_day" else _word(value)
    opened = Ledger(ledger.session, ledger.shots, (), (), ledger.pain, visit, ledger.unnumbered)
    for row in mine.to_dict("records"):
        opened = add_block(opened, block_of(row))
    opened = replace(opened, blocks=_as_counted(opened.blocks))
    if isinstance(path, str | Path) and Path(path).suffix.lower() == ".csv":
        for line in Path(path).read_text(encoding="utf-8-sig", errors="replace").splitlines():
            if found := _READ_LEFT.match(line):
                opened = leave_out(opened, Gap(int(found[1]), int(found[2]), found[3]))
    return opened


def _places(blocks: Sequence[Block]) -> list[tuple[int, int | None]]:
    """Return index and period of each block: what a block says itself, if it fits behind the one before, or counted."""
    found: list[tuple[int, int | None]] = []
    index = period = 0
    for block in blocks:
        index = max(index + 1, block.block_index or 0)
        test = block.phase in TESTS
        period = max(period + 1, block.period or 0) if test else period
        found.append((index, period if test else None))
    return found


def _as_counted(blocks: Sequence[Block]) -> tuple[Block, ...]:
    """Return the blocks without the index and the period that counting gives anyway."""
    kept: list[Block] = []
    for block in blocks:
        index, period = _places([*kept, replace(block, block_index=None, period=None)])[-1]
        same = block.block_index == index, block.period == period or period is None
        kept.append(
            replace(
                block,
                block_index=None if same[0] else block.block_index,
                period=None if same[1] else block.period,
            )
        )
    return tuple(kept)


def block_of(row: Mapping) -> Block:
    """Return the block that a row of a lesson log describes; columns that a block does not have are left alone."""

    def text(name: str, otherwise: str) -> str:
        value = row.get(name)
        return otherwise if value is None or pd.isna(value) else plain_cell(str(value))

    def number(name: str) -> float | None:
        value = row.get(name)
        return None if value is None or pd.isna(value) else float(value)

    def whole(name: str) -> int | None:
        value = number(name)
        return None if value is None else int(value)

    stopped = row.get("stopped")
    return Block(
        int(row["first_shot"]),
        int(row["last_shot"]),
        str(row["phase"]),
        text("cue", PLAIN),
        text("cue_version", "1"),
        text("offered", ""),
        number("followed_0_10"),
        number("pain_0_10"),
        number("rest_s"),
        stopped is not None and not pd.isna(stopped) and bool(stopped),
        whole("block_index"),
        whole("period"),
    )


def _as_text(value: object) -> str | None:
    """Return a value as it is written, the same whether it is a whole number or a float."""
    if isinstance(value, int | float):
        return repr(int(value)) if float(value).is_integer() else repr(float(value))
    return None if value is None else str(value)


def _word(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return plain_cell(f"{value:g}" if isinstance(value, float) else str(value))
