"""What to do after seeing the shifts, and what to mind before anyone swings."""

from collections.abc import Sequence

import pandas as pd

from coachlab import claims
from coachlab.cues.shift import CueShifts
from coachlab.cues.verdict import say_verdict
from coachlab.schema import OUTCOMES

CAUTION = (
    "Before anyone hits: ask about pain, and stop if it hurts. Pain that is new, severe or spreading, numbness or "
    "weakness goes to a licensed clinician. One hitter to a bay, nobody forward of the line, and the range's local "
    "rules come first."
)


def next_steps(shifts: CueShifts, order: Sequence[str] | None = None) -> tuple[str, ...]:
    """Return what to do after seeing these shifts, in sentences that claim nothing new and rank nothing.

    Parameters
    ----------
    shifts : CueShifts
        What was seen.
    order : sequence of str or None
        The cues in the order in which they are named; None: as in the table.
    """
    table = shifts.table.set_index("cue").loc[list(order or shifts.table["cue"])]
    table["name"] = [shifts.names[cue] for cue in table.index]
    graded = table["grade"].isin(["A", "B"])
    verdict, up = table["verdict"], table["estimate"] > 0
    said = []
    for sign in (1, -1):
        mine = list(table.loc[(verdict == "useful") & (up == (sign > 0)), "name"])
        if mine:
            offer = f"offer {mine[0]}" if len(mine) == 1 else f"let a draw choose between {listed(mine, 'and')}"
            said.append(f"For a student who needs {_change(shifts.outcome, sign)}: {offer}.")
    if said:
        rank = ", since this picture does not rank the cues" if (verdict == "useful").sum() > 1 else ""
        said.append(f"Two plain and two cue blocks in drawn order; judge by that student's own shots{rank}.")
    for sign in (1, -1):
        mine = list(table.loc[(verdict == "wrong way") & (up == (sign < 0)), "name"])
        if mine:
            said.append(f"Not for a student who needs {_change(shifts.outcome, sign)}: {listed(mine, 'and')}.")
    least = shifts.settings.verdict_students
    shown = [say_verdict(row.verdict, row.estimate, row.students, least) for row in table.itertuples()]
    moved = list(table.loc[[word.startswith("moved") for word in shown], "name"])
    if moved:
        said.append(f"Moved without being meant to: {listed(moved, 'and')}. Look whether that helps before keeping it.")
    open_yet = pd.Series([word in ("not yet clear", "none yet") for word in shown], index=table.index)
    unclear = list(table.loc[graded & open_yet, "name"])
    if unclear:
        said.append(
            f"Not yet clear: {listed(unclear, 'and')}. More students narrow an interval; more balls by the same "
            "students hardly do."
        )
    if not graded.all():
        said.append(
            f"For {listed(list(table.loc[~graded, 'name']), 'and')}: let the kit draw the order, and log plain blocks "
            "in the same lesson, so that the next season can compare."
        )
    if not said:
        said.append("No cue here moves this number enough to matter: look at another number, or try another cue.")
    return tuple(said)


def listed(names: Sequence[str], word: str) -> str:
    """Return names as a list in a sentence.

    >>> listed(["S1", "S2", "I1"], "or")
    'S1, S2 or I1'
    """
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {word} {names[-1]}"


def _change(outcome: str, sign: int) -> str:
    """Return the change that a student may need, as in ``a higher attack`` or ``a path further out``."""
    word, state = OUTCOMES[outcome], claims.state(outcome, sign)
    return f"a {word} {state}" if " " in state else f"a {state} {word}"
