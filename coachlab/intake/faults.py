"""What is to be mended in a lesson log before it is saved, and what is to be minded: a row each, in plain words."""

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

import pandas as pd

from coachlab.errors import DataError
from coachlab.intake.ledger import IN_SEVERAL, OUTSIDE, Block, Ledger, account
from coachlab.intake.pain import allow_swings, barred_cues
from coachlab.schema import PLAIN, show_club
from coachlab.settings import Settings, cards_or_none

COLUMNS = ("kind", "first_shot", "last_shot", "what", "do", "must")
TESTS = ("plain", "sham", "cue")


@dataclass(frozen=True, eq=False)
class Settlement:
    """What is wrong with a lesson log.

    Attributes
    ----------
    table : DataFrame
        ``kind``; ``first_shot last_shot``, the shots that it is about; ``what`` is wrong; what to ``do``; ``must``:
        True where saving before it is mended would lose data.
    """

    table: pd.DataFrame

    @property
    def ready(self) -> bool:
        """Whether nothing is left that would lose data."""
        return not self.table["must"].any()

    def text(self) -> str:
        """Return in a sentence whether the log can be saved."""
        must = int(self.table["must"].sum())
        mind = len(self.table) - must
        remarks = (
            "" if not mind else f" {mind} to mind." if must else f" {mind} to mind; none keeps it from being saved."
        )
        if must:
            return f"{must} to settle before it can be saved.{remarks}"
        return f"Every shot has its place: the log can be saved.{remarks}"

    def __repr__(self) -> str:
        return f"<Settlement: {self.text()}>"

    def _repr_html_(self) -> str:
        return f"<p>{escape(self.text())}</p>" + self.table.to_html(index=False, escape=True)


def settle(
    ledger: Ledger,
    cues: pd.DataFrame | None = None,
    settings: Settings | None = None,
    junior: bool = False,
    clock: str = "",
) -> Settlement:
    """Return what is to be mended in a lesson log, and what is to be minded.

    Parameters
    ----------
    ledger : Ledger
        The unfinished log.
    cues : DataFrame or None
        Cue cards (`read_cues`): a cue without one must be mended. None: cues are not looked at.
    settings : Settings or None
        The academy's least shots of a block and caps of swings.
    junior : bool
        As `pain.allow_swings`.
    clock : str
        The sentence on a difference of the clocks (`notes.ClockOffset.text`), where the blocks were noted by time and
        one was found.
    """
    settings = settings or Settings()
    shots = account(ledger)
    rows: list[tuple] = []
    for found in (
        _overlaps(ledger, shots),
        _outside(ledger, shots),
        _empty(ledger),
        _few(ledger, settings),
        _missing(ledger),
        _clock(clock),
        _cues(ledger, cues),
        _rules(ledger),
        _visit(ledger),
        _body(ledger, cues, settings, junior),
    ):
        rows.extend(found)
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    table = table.astype({"must": bool}).sort_values("must", ascending=False, kind="stable", ignore_index=True)
    return Settlement(table)


def refuse_unsettled(settlement: Settlement, session: str) -> None:
    """Refuse a log that would lose data.

    Raises
    ------
    DataError
        With the first thing to mend.
    """
    if not settlement.ready:
        first = settlement.table[settlement.table["must"]].iloc[0]
        more = int(settlement.table["must"].sum()) - 1
        raise DataError(
            f"The lesson log of {session} was to be saved.",
            f"{first.what}{f' And {more} more to settle.' if more else ''}",
            str(first.do),
            kind=first.kind,
        )


def _overlaps(ledger: Ledger, table: pd.DataFrame) -> Iterable[tuple]:
    for first, last in _stretches(table, table["state"] == IN_SEVERAL):
        names = [
            str(place)
            for place, block in enumerate(ledger.blocks, 1)
            if block.first_shot <= last and block.last_shot >= first
        ]
        yield (
            "overlap", first, last,
            f"{_shots(first, last)} stand in blocks {' and '.join(names)}.",
            "Change the first or last shot of one of them: a shot belongs to one block.", True,
        )  # fmt: skip


def _outside(ledger: Ledger, table: pd.DataFrame) -> Iterable[tuple]:
    for first, last in _stretches(table, table["state"] == OUTSIDE):
        yield (
            "outside", first, last,
            f"{_shots(first, last)} {'stands' if first == last else 'stand'} in no block, so nothing could be said of "
            f"{'it' if first == last else 'them'}.",
            "Put them into a block, or leave them out and say why.", True,
        )  # fmt: skip
    if ledger.unnumbered:
        yield (
            "unnumbered", None, None,
            f"{ledger.unnumbered} shots have no number although others have one: no block can hold them.",
            "Look at the counter in the export; the shots are kept, and not analysed.", False,
        )  # fmt: skip


def _empty(ledger: Ledger) -> Iterable[tuple]:
    shot = ledger.shots["shot"]
    low, high = int(shot.min()), int(shot.max())
    for place, block in enumerate(ledger.blocks, 1):
        inside = int(((shot >= block.first_shot) & (shot <= block.last_shot)).sum())
        beyond = block.last_shot - high
        span = block.last_shot - block.first_shot + 1
        if not inside or 2 * beyond > span:
            yield (
                "not there", block.first_shot, block.last_shot,
                f"Block {place} names shots {block.first_shot} to {block.last_shot}; the device has {low} to {high}.",
                "Correct its first and last shot.", True,
            )  # fmt: skip
        elif beyond > 0:
            yield (
                "beyond", block.first_shot, block.last_shot,
                f"Block {place} ends at shot {block.last_shot}; the device's last one is {high}.",
                "If more balls were hit they are counted as missing; otherwise correct its last shot.", False,
            )  # fmt: skip


def _few(ledger: Ledger, settings: Settings) -> Iterable[tuple]:
    least = settings.block_shots
    for place, block in enumerate(ledger.blocks, 1):
        mine = ledger.shots[ledger.shots["shot"].between(block.first_shot, block.last_shot)]
        usable = int(mine["usable"].sum())
        if block.phase in TESTS and usable < least and len(mine):
            stopped = (
                " It was ended because it hurt, which is right: nothing is filled in for it." if block.stopped else ""
            )
            yield (
                "few", block.first_shot, block.last_shot,
                f"Block {place} has {usable} shots that were read well, fewer than {least}.{stopped}",
                "Keep it as it is; a block this short says little by itself.", False,
            )  # fmt: skip


def _missing(ledger: Ledger) -> Iterable[tuple]:
    numbers = set(ledger.shots["shot"])
    for place, block in enumerate(ledger.blocks, 1):
        last = min(block.last_shot, max(numbers))
        lost = [number for number in range(block.first_shot, last + 1) if number not in numbers]
        if lost:
            shown = ", ".join(map(str, lost[:6])) + (" ..." if len(lost) > 6 else "")
            yield (
                "gap", lost[0], lost[-1],
                f"Block {place}: the device has no shot {shown}.",
                "If the ball was hit, its row was deleted in the device or on the way: keep every ball, good or bad.",
                False,
            )  # fmt: skip


def _clock(clock: str) -> Iterable[tuple]:
    if clock:
        yield "clock", None, None, clock, "Correct the times of the notes if that is so; nobody else does.", False


def _cues(ledger: Ledger, cues: pd.DataFrame | None) -> Iterable[tuple]:
    cards = cards_or_none(cues)
    known = None if cards is None else {str(cue) for cue in cards["cue"]} | {PLAIN}
    for place, block in enumerate(ledger.blocks, 1):
        span = block.first_shot, block.last_shot
        if known is not None and block.cue not in known:
            yield (
                "no card", *span, f"Block {place}: the cue {block.cue!r} has no card.",
                "Choose a cue that has one, or write its card first.", True,
            )  # fmt: skip
        if block.holds_cue and not block.offered:
            yield (
                "how offered", *span, f"Block {place} does not say how its cue was chosen.",
                "Say drawn, coach or student; a drawn order is the strongest evidence.", False,
            )  # fmt: skip


def _rules(ledger: Ledger) -> Iterable[tuple]:
    """Say what the order of the blocks can and cannot show."""
    cues = [block for block in ledger.blocks if block.holds_cue]
    plain = [block for block in ledger.blocks if block.phase in ("plain", "sham")]
    if not cues:
        return
    span = cues[0].first_shot, cues[-1].last_shot
    if not plain:
        screened = any(block.phase == "screen" for block in ledger.blocks)
        what = (
            "The first look chose the cue, and there is no other plain block: the shots that chose a cue cannot "
            "measure it too, for whoever is chosen on a bad day does better the next time by chance."
            if screened
            else "There is no plain block to compare the cue with."
        )
        yield "no baseline", *span, what, "Log a plain block of its own in the same lesson.", False
        return
    order = [block.holds_cue for block in ledger.blocks if block.phase in TESTS]
    changes = sum(before != after for before, after in zip(order[:-1], order[1:], strict=True))
    if changes < 2:
        yield (
            "before and after", *span,
            "All plain blocks come before the cue, or all after it: weak evidence, because warming up, tiring and "
            "practice look just like the cue.",
            "Next time alternate, as in plain, cue, plain, cue: what drifts then shows as drift, and the block's own "
            "wobble can be told from the cue.",
            False,
        )  # fmt: skip
    elif changes < 3:
        yield (
            "few changes", *span,
            f"Plain and cue change {changes} times; three changes are the usual least.",
            "Next time add one more pair of blocks.", False,
        )  # fmt: skip


def _visit(ledger: Ledger) -> Iterable[tuple]:
    """Say what of the visit itself a later reader would miss."""
    if not ledger.visit.get("coach"):
        yield (
            "coach", None, None, "The log does not say who coached.",
            "Write a name or a number; it becomes a pseudonym on its way in.", False,
        )  # fmt: skip
    if not ledger.visit.get("feedback_shown"):
        yield (
            "feedback", None, None, "The log does not say whether the student saw the numbers in plain and cue blocks.",
            "Say yes or no: whoever sees a number chases it.", False,
        )  # fmt: skip
    drawn = any(block.offered == "drawn" for block in ledger.blocks)
    if drawn and not (ledger.visit.get("order_plan") and ledger.visit.get("order_seed")):
        yield (
            "order", None, None, "Blocks are called drawn, and the log holds no drawn order.",
            "Write the order card's plan and seed; without them the order counts as fixed.", False,
        )  # fmt: skip


def _body(ledger: Ledger, cues: pd.DataFrame | None, settings: Settings, junior: bool) -> Iterable[tuple]:
    for place, block in enumerate(ledger.blocks[:-1], 1):
        after = ledger.blocks[place]
        if block.stopped:
            yield (
                "after a stop", after.first_shot, ledger.blocks[-1].last_shot,
                f"Block {place} ended because it hurt, and shots were hit after it.",
                "Keep them in the log. Next time that is the end of the lesson.", False,
            )  # fmt: skip
    if ledger.pain is None:
        yield (
            "pain not asked", None, None, "Nobody was asked about pain before this lesson.",
            "Ask before the first ball; the log keeps the number.", False,
        )  # fmt: skip
        return
    allowed = allow_swings(ledger.pain, settings, junior)
    hit = len(ledger.shots)
    driver = int((ledger.shots["club"] == "driver").sum()) if "club" in ledger.shots else 0
    for number, cap, what in ((hit, allowed.swings, "shots"), (driver, allowed.driver_swings, show_club("driver"))):
        if number > cap:
            said = f"{number} shots were hit" if what == "shots" else f"{number} shots were hit with the {what}"
            yield "swings", None, None, f"{said}; {cap} were the most for today.", "Plan fewer next time.", False
    barred = {} if cues is None else barred_cues(cues, ledger.pain)
    for place, block in enumerate(ledger.blocks, 1):
        if block.holds_cue and block.cue in barred:
            yield (
                "cue for another day", block.first_shot, block.last_shot,
                f"Block {place} offered {block.cue}. {barred[block.cue]}",
                "Keep what was done in the log, and leave this cue out until the trouble is gone.", False,
            )  # fmt: skip


def _stretches(table: pd.DataFrame, where: pd.Series) -> list[tuple[int, int]]:
    """Return the runs of shots for which something holds, first and last number."""
    same = (where != where.shift()) | (table["block"] != table["block"].shift())
    groups = table.loc[where, "shot"].groupby(same.cumsum()[where])
    return [(int(group.iloc[0]), int(group.iloc[-1])) for _, group in groups]


def _shots(first: int, last: int) -> str:
    return f"Shot {first}" if first == last else f"Shots {first} to {last}"


def describe_block(block: Block, names: dict[str, str] | None = None) -> str:
    """Return a block in a few words, as in ``shots 9 to 18, cue I2``."""
    cue = (names or {}).get(block.cue, block.cue)
    return f"{_shots(block.first_shot, block.last_shot).lower()}, {block.phase}{f' {cue}' if block.holds_cue else ''}"
