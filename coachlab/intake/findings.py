"""`Findings`: what an audit of shots found, each with where it is, what speaks for it and what to do."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
import pandas as pd

from coachlab.intake.columns import READINGS
from coachlab.intake.shots import Shots

FINDING_COLUMNS = ("audit", "where", "column", "what", "do", "strength")
LARGEST = 1e30
"""From here on sums of squares overflow: a reading this large is a misread in any column and unit."""


@dataclass(frozen=True, eq=False)
class Findings:
    """What one or several audits found.

    Attributes
    ----------
    table : DataFrame
        One row a finding: ``audit`` (signs, hands, clubs, units, clock, logging, scatter), ``where`` (a file, student,
        session, coach), ``column``, ``what`` was found, what to ``do``, and ``strength``, how far the evidence lies
        beyond what the audit calls nothing (1 is its border).
    looked : tuple of str
        One sentence an audit: what was looked at, or why it could not be.
    """

    table: pd.DataFrame
    looked: tuple[str, ...] = ()

    def text(self) -> str:
        """Return the findings in sentences, or that there are none."""
        if not len(self.table):
            return " ".join(["Nothing was found.", *self.looked])
        return " ".join(f"{row.where}: {row.what} {row.do}" for row in self.table.itertuples())

    def __len__(self) -> int:
        return len(self.table)

    def __repr__(self) -> str:
        return f"<Findings: {len(self.table)}; {self.text()}>"

    def _repr_html_(self) -> str:
        told = "".join(f"<p>{escape(line)}</p>" for line in self.looked)
        if not len(self.table):
            return f"<p>Nothing was found.</p>{told}"
        shown = self.table[["where", "what", "do"]]
        return shown.to_html(index=False, escape=True) + told


def sound(values: np.ndarray) -> np.ndarray:
    """Return readings without those beyond `LARGEST`, which are misreads."""
    low, high = (end.reduce(values, axis=None, initial=0.0) for end in (np.fmin, np.fmax))
    if max(-low, high) < LARGEST:
        return values  # nearly always, and then without a copy of a million of them
    return np.where(np.abs(values) < LARGEST, values, np.nan)


def counted(shots: Shots) -> pd.DataFrame:
    """Return the analysed shots as audits count them: a reading beyond `LARGEST` is a misread, and missing."""
    table = shots.analysed
    values = {name: table[name].to_numpy(dtype=float, na_value=np.nan) for name in READINGS if name in table}
    heard = {name: sound(there) for name, there in values.items()}
    return table.assign(**{name: there for name, there in heard.items() if there is not values[name]})


def found(rows: Iterable[Sequence[object]], looked: str) -> Findings:
    """Return rows of findings as the value."""
    return Findings(pd.DataFrame(list(rows), columns=list(FINDING_COLUMNS)), (looked,))


def together(parts: Iterable[Findings]) -> Findings:
    """Return the findings of several audits as one."""
    parts = list(parts)
    filled = [part.table for part in parts if len(part.table)]
    table = pd.concat(filled, ignore_index=True) if filled else pd.DataFrame(columns=list(FINDING_COLUMNS))
    return Findings(table, tuple(line for part in parts for line in part.looked))
