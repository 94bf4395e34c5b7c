"""When a link comes back: soon after a miss, later and later after right answers.

Each link climbs a ladder: a right answer takes it one step up, a miss down to the bottom. On step k it comes back after
`GAPS[k]` further answers, so a missed link after two, one that was right five times running after 64.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

GAPS = (2, 4, 8, 16, 32, 64)
"""How many further answers lie between two questions on a link, by its step."""


@dataclass(frozen=True)
class Standing:
    """Where one link stands: how often asked and right, its step, and after how many answers in all it is due."""

    asked: int = 0
    right: int = 0
    step: int = 0
    due_at: int = 0

    @property
    def weak(self) -> bool:
        """Whether its last answer was a miss."""
        return self.asked > 0 and self.step == 0


def standings(answers: pd.DataFrame, links: Sequence[str]) -> dict[str, Standing]:
    """Return where each link stands after these answers (columns ``link mark_ratio``, in their order)."""
    found = {link: Standing() for link in links}
    for count, (link, ratio) in enumerate(zip(answers["link"], answers["mark_ratio"], strict=True), start=1):
        if link in found:
            was, good = found[link], ratio >= 0.5
            step = min(was.step + 1, len(GAPS) - 1) if good else 0
            found[link] = Standing(was.asked + 1, was.right + good, step, count + GAPS[step])
    return found


def next_link(standing: dict[str, Standing], answered: int) -> str:
    """Return which link to ask for next.

    First what is due, the longest overdue first; then the first that was never asked; then what is due soonest.
    """
    seen = {link: each for link, each in standing.items() if each.asked}
    due = [link for link, each in seen.items() if each.due_at <= answered]
    new = [link for link in standing if link not in seen]
    if due or not new:
        return min(due or seen, key=lambda link: standing[link].due_at)
    return new[0]
