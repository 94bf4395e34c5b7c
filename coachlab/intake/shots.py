"""`Shots`: what came of a file, with every raw row accounted for."""

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from coachlab.errors import DataError, need

FLAG_COLUMNS = ("source", "source_row", "shot", "column", "rule", "value")
REJECT_COLUMNS = ("source", "source_row", "session", "shot", "rule")


@dataclass(frozen=True, eq=False)
class Shots:
    """Shots, the rows that were none, and remarks; nothing is dropped in silence.

    Attributes
    ----------
    table : DataFrame
        One row a shot, those set aside included; columns of `schema.TABLES["shots"]`, and, once the log is joined,
        those of the block and the session.
    raw : DataFrame
        Every non-blank line below the header, as the file has it, with ``source`` and ``source_row``; names of
        students stand as pseudonyms.
    rejects : DataFrame
        The raw rows that are no shot: ``source``, ``source_row``, ``rule``, and ``session`` and ``shot`` where the row
        says them (a shot that the device did not read still has a number).
    flags : DataFrame
        Remarks on single shots: ``source``, ``source_row``, ``shot``, ``column``, ``rule``, ``value``.
    notes : tuple of str
        What the reader assumed, in sentences (a hand, a decimal mark).

    Raises
    ------
    DataError
        If raw rows are not exactly the shots and the rejects together.
    """

    table: pd.DataFrame
    raw: pd.DataFrame
    rejects: pd.DataFrame
    flags: pd.DataFrame
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if len(self.raw) != len(self.table) + len(self.rejects):
            raise DataError(
                "Raw rows were accounted for.",
                f"{len(self.raw)} raw rows are not {len(self.table)} shots and {len(self.rejects)} rejects.",
                "This is a fault of the program: please report it with the file.",
            )

    @cached_property
    def usable(self) -> pd.Series:
        """True for the shots that are analysed: read well, and set aside by nobody."""
        return is_usable(self.table)

    @property
    def analysed(self) -> pd.DataFrame:
        """The rows of the table that are analysed."""
        return self.table[self.usable]

    @property
    def counts(self) -> pd.Series:
        """The account of rows: raw = shots + rejects, shots = analysed + set_aside."""
        analysed = int(self.usable.sum())
        return pd.Series(
            {
                "raw": len(self.raw),
                "rejects": len(self.rejects),
                "shots": len(self.table),
                "analysed": analysed,
                "set_aside": len(self.table) - analysed,
            },
            name="rows",
        )

    def text(self) -> str:
        """Return the account in one sentence."""
        n = self.counts
        return (
            f"{n.raw:,} rows = {n.shots:,} shots + {n.rejects:,} rejects; "
            f"{n.shots:,} shots = {n.analysed:,} analysed + {n.set_aside:,} set aside."
        )

    def __len__(self) -> int:
        return len(self.table)

    def __repr__(self) -> str:
        return f"<Shots: {self.text()}>"

    def _repr_html_(self) -> str:
        return f"<p>{self.text()}</p>" + self.counts.to_frame().T.to_html(index=False)


def is_usable(table: pd.DataFrame) -> pd.Series:
    """Return True for each row that is analysed; a table without the two quality columns is all usable."""
    usable = pd.Series(True, index=table.index)
    if "read_ok" in table.columns:
        usable &= table["read_ok"].astype(bool)
    if "excluded" in table.columns:
        usable &= ~table["excluded"].astype(bool)
    return usable


def shots_table(shots: Shots | pd.DataFrame, asked: str) -> pd.DataFrame:
    """Return the table of shots; what holds none is refused."""
    study = hasattr(shots, "shots")
    do = (
        "Pass the shots in it, as in study.shots."
        if study
        else "Pass shots: those of read_study(folder).shots or read_shots(file)."
    )
    need(shots, (Shots, pd.DataFrame), asked, "shots", do)
    return shots.table if isinstance(shots, Shots) else shots
