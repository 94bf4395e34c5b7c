"""`MapProposal`: a column map that is not yet decided, to be looked at, corrected and saved."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from html import escape
from pathlib import Path

import pandas as pd

from coachlab.errors import MapError
from coachlab.intake.columns import ColumnMap, check_map, words_for
from coachlab.schema import LATERAL
from coachlab.settings import toml_text
from coachlab.units import units_for

PROPOSAL_COLUMNS = ("heading", "column", "unit", "positive", "confidence", "reason", "samples")


@dataclass(frozen=True, eq=False)
class MapProposal:
    """A proposed column map, to be looked at, corrected and saved by the user.

    Attributes
    ----------
    name : str
        The file.
    table : DataFrame
        One row a heading, in the order of the file: ``heading``; ``column`` (blank: left out), ``unit``, ``positive``;
        ``confidence`` from 0 to 1; ``reason``; ``samples``, five cells. Names of people stand as pseudonyms, and texts
        that were not understood are not shown.
    map : ColumnMap
        The map itself.
    club_names : mapping of str to str
        The file's words for clubs that are not ours.
    warnings : tuple of str
        What to look at before it is saved: sides that look mirrored, units that stand nowhere.
    sheet : str, optional
        Of a spreadsheet.
    """

    name: str
    table: pd.DataFrame
    club_names: Mapping[str, str]
    warnings: tuple[str, ...] = ()
    sheet: str | None = None

    @property
    def map(self) -> ColumnMap:
        """The proposal as a map."""
        return _built(self)[0]

    @property
    def toml(self) -> str:
        """The proposal as the text of a map file."""
        return _toml_of(self)

    def choose(
        self, heading: str, column: str | None, unit: str | None = None, positive: str | None = None
    ) -> "MapProposal":
        """Return the proposal with one heading as the user has it: another column, unit or side, or none.

        A unit or side that is not given stays as it was where it fits.

        Raises
        ------
        MapError
            If there is no such heading, or the map would be wrong.
        """
        table = self.table.copy()
        rows = table["heading"] == heading
        before = table[rows].iloc[0] if rows.any() else None
        if not rows.any():
            raise MapError(
                f"A heading of {self.name} was to be mapped.",
                f"There is no heading {heading!r}.",
                f"Choose one of: {', '.join(map(repr, table['heading']))}.",
                heading=heading,
            )
        if column:
            table.loc[(table["column"] == column) & ~rows, ["column", "unit", "positive"]] = ""
        if before is not None and column:
            unit = unit if unit is not None else before["unit"] if before["unit"] in units_for(column) else ""
            kept = before["positive"] if before["positive"] in words_for(column) else ""
            positive = positive if positive is not None else kept or ("right" if column in LATERAL else "")
        chosen = [
            column or "",
            (unit or "") if column else "",
            (positive or "") if column else "",
            1.0,
            "chosen by you",
        ]
        table.loc[rows, ["column", "unit", "positive", "confidence", "reason"]] = chosen
        changed = replace(self, table=table)
        faults = _built(changed)[1]
        if faults:
            raise faults[0]
        return changed

    def text(self) -> str:
        """Return what is proposed, in sentences."""
        made = self.table[self.table["column"] != ""]
        left = self.table.loc[self.table["column"] == "", "heading"].tolist()
        sure = int((made["confidence"] >= 0.75).sum())
        said = [f"{self.name}: {len(made)} of {len(self.table)} headings are understood, {sure} of them surely."]
        said += [f"Left out: {', '.join(map(repr, left))}."] if left else []
        return " ".join([*said, *self.warnings])

    def __repr__(self) -> str:
        return f"<MapProposal: {self.text()}>"

    def _repr_html_(self) -> str:
        shown = self.table.assign(confidence=[f"{value:.0%}" for value in self.table["confidence"]])
        told = "".join(f"<p>{escape(line)}</p>" for line in (self.text(),))
        return told + shown.to_html(index=False, escape=True, na_rep="")


def _toml_of(proposal: MapProposal) -> str:
    name = Path(proposal.name).stem
    lines = ["# Proposed from the file's own headings and numbers: look at each line before you use it."]
    lines += [f"name = {toml_text(name)}"]
    lines += [f"sheet = {toml_text(proposal.sheet)}"] if proposal.sheet else []
    if proposal.club_names:
        lines += ["", "[club_names]"]
        lines += [f"{toml_text(alias)} = {toml_text(club)}" for alias, club in proposal.club_names.items()]
    for row in proposal.table.itertuples():
        if row.column:
            lines += ["", f"[column.{row.column}]", f"heading = {toml_text(row.heading)}"]
            lines += [f"unit = {toml_text(row.unit)}"] if row.unit and units_for(row.column) else []
            lines += [f"positive = {toml_text(row.positive)}"] if row.positive else []
    return "\n".join(lines) + "\n"


def _built(proposal: MapProposal) -> tuple[ColumnMap, list[MapError]]:
    return check_map(tomllib.loads(proposal.toml), proposal.name)
