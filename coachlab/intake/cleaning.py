"""`cleaning_report`: per file what came, what was set aside and why, and what the audits of the shots found."""

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape

import numpy as np
import pandas as pd

from coachlab.errors import need
from coachlab.intake.audit import audit_logging, kept_in
from coachlab.intake.clean import MISREAD, RULES
from coachlab.intake.clock import audit_clock
from coachlab.intake.decide import decisions_of
from coachlab.intake.findings import Findings, found, together
from coachlab.intake.journal import Log
from coachlab.intake.log import join_log
from coachlab.intake.narrow import audit_scatter
from coachlab.intake.scales import audit_units
from coachlab.intake.shots import Shots
from coachlab.intake.signs import audit_hands, audit_signs
from coachlab.intake.swaps import audit_clubs
from coachlab.schema import COLUMNS, OUTCOMES

_NAMED = {**OUTCOMES, "speed_ratio": "ball speed over club speed", "launch_up_deg": "launch"}
_GIVE_SHOTS = "Give what read_shots and clean_shots return."
APART = 0.03
"""How far the misread rates of cue and plain blocks may lie apart before it is said (methods: 3 points)."""


@dataclass(frozen=True, eq=False)
class CleaningReport:
    """What became of the rows of some files.

    Attributes
    ----------
    tables : mapping of str to DataFrame
        ``files``: source, raw, rejects, shots, analysed, set_aside, misread_share. ``set_aside``: source, reason,
        shots. ``rejects``: source, rule, rows. ``remarks``: rule, shots, meaning. ``phases``: phase, struck, misread,
        not_read, share, low, high (95 % interval of the share misread or not read). ``gaps``: session, source, first,
        last, missing, which. ``decisions``: source, source_row, decision, reason. ``audits``: as `Findings.table`.
    findings : Findings
        What the audits found.
    shots : Shots
        The shots themselves, joined with the log if one was given.
    """

    tables: Mapping[str, pd.DataFrame]
    findings: Findings
    shots: Shots

    @property
    def table(self) -> pd.DataFrame:
        """The account by file."""
        return self.tables["files"]

    def warnings(self) -> list[str]:
        """Return what needs a look, in sentences."""
        said = [f"{row.where}: {row.what} {row.do}" for row in self.findings.table.itertuples()]
        phases = self.tables["phases"].set_index("phase")
        if {"cue", "plain"} <= set(phases.index):
            cue, plain = phases.loc["cue", "share"], phases.loc["plain", "share"]
            if abs(cue - plain) > APART:
                said.append(
                    f"{100 * cue:.1f} % of the shots in cue blocks are misread or not read, {100 * plain:.1f} % in "
                    "plain ones: a cue may move what the device can see."
                )
        return said

    def text(self) -> str:
        """Return the account, the reasons and the warnings in sentences."""
        reasons = self.tables["set_aside"].groupby("reason", sort=False)["shots"].sum()
        parts = [self.shots.text()]
        parts += (
            [f"Set aside: {', '.join(f'{count:,} {reason}' for reason, count in reasons.items())}."]
            if len(reasons)
            else []
        )
        return " ".join([*parts, *(self.warnings() or ["No audit found anything."])])

    def __repr__(self) -> str:
        return f"<CleaningReport: {self.text()}>"

    def _repr_html_(self) -> str:
        parts = [f"<p>{escape(self.text())}</p>"]
        for name, table in self.tables.items():
            if len(table):
                parts.append(f"<h4>{TITLES[name]}</h4>{table.to_html(index=False, escape=True, na_rep='')}")
        return "\n".join(parts)


TITLES = {
    "files": "What came, file by file",
    "set_aside": "What was set aside, and why",
    "rejects": "Lines that are no shot",
    "remarks": "Remarks on single shots",
    "phases": "How well the device read, phase by phase",
    "gaps": "Gaps in the shot numbers",
    "decisions": "What a person decided",
    "audits": "What the audits found",
}


def audit_shots(shots: Shots, log: Log | None = None, key: bytes | None = None) -> Findings:
    """Return what all audits find: signs, hands, clubs, units, clock, and logs that hold the best shots only.

    Parameters
    ----------
    shots : Shots
        Cleaned, the files told apart by ``source``; joined with the log or not.
    log : path, folder, sequence of paths, or DataFrame, optional
        The lesson log, for the clock.
    key : bytes, optional
        The key with which the shots were read, if it was not the process's own.
    """
    need(shots, Shots, "Shots were to be audited.", "shots", _GIVE_SHOTS)
    parts = [audit_signs(shots), audit_hands(shots), audit_clubs(shots), audit_units(shots)]
    if log is not None:
        parts.append(audit_clock(shots, log, key))
    if {"block", "phase", "shots_logged", "shots_missing"} <= set(shots.table.columns):
        logging = audit_logging(shots)
        rows = [
            (
                "logging", f"coach {row.coach}{kept_in(shots, row.coach, log)}", "shot",
                f"{row.cue_missing_share:.0%} of the shots in cue blocks are missing, {row.plain_missing_share:.0%} in "
                "plain blocks: the log looks like best shots only.",
                "Ask for every ball, and set these lessons aside.", round(row.cue_missing_share / 0.05, 2),
            )
            for row in logging.table[logging.table["warned"]].itertuples()
        ]  # fmt: skip
        parts.append(found(rows, f"Best shots: {len(logging.table)} coaches had cue blocks."))
    parts.append(audit_scatter(shots, log))
    return together(parts)


def cleaning_report(shots: Shots, log: Log | None = None, key: bytes | None = None) -> CleaningReport:
    """Return per file what came, what was set aside and why, how well the device read, gaps, and what audits found.

    Parameters
    ----------
    shots : Shots
        Cleaned. Phases and gaps need the log: joined before, or given here.
    log : path, folder, sequence of paths, or DataFrame, optional
        As `join_log` takes it; where its clock differs from the device's the shots are not joined, and the report says
        so.
    key : bytes, optional
        The key with which the shots were read, if it was not the process's own.

    Raises
    ------
    DataError
        If the log cannot be read or joined.
    """
    need(shots, Shots, "A cleaning report was asked for.", "shots", _GIVE_SHOTS)
    findings = audit_shots(shots, log, key)
    if log is not None and "shots_logged" not in shots.table and "clock" not in set(findings.table["audit"]):
        shots = join_log(shots, log, key=key)
        findings = audit_shots(shots, log, key)
    tables = {
        "files": _files(shots),
        "set_aside": _set_aside(shots),
        "rejects": _counted(shots.rejects, ["source", "rule"], "rows"),
        "remarks": _remarks(shots),
        "phases": _phases(shots),
        "gaps": _gaps(shots),
        "decisions": decisions_of(shots).query("decision == 'use'"),
        "audits": findings.table,
    }
    return CleaningReport(tables, findings, shots)


def _files(shots: Shots) -> pd.DataFrame:
    table = shots.table
    names = shots.raw["source"].astype("str")
    of = table["source"].astype("str")
    files = pd.DataFrame({"raw": names.groupby(names, sort=False).size()})
    files["rejects"] = shots.rejects["source"].astype("str").value_counts().reindex(files.index).fillna(0).astype(int)
    files["shots"] = of.value_counts().reindex(files.index).fillna(0).astype(int)
    files["analysed"] = of[shots.usable].value_counts().reindex(files.index).fillna(0).astype(int)
    files["set_aside"] = files["shots"] - files["analysed"]
    misread = of[~table["read_ok"].to_numpy(dtype=bool)].value_counts().reindex(files.index).fillna(0)
    files["misread_share"] = (misread / files["shots"].where(files["shots"] > 0)).round(4)
    return files.rename_axis("source").reset_index()


def _set_aside(shots: Shots) -> pd.DataFrame:
    table = shots.table
    aside = table[~shots.usable]
    misread = shots.flags[shots.flags["rule"] == MISREAD].drop_duplicates(["source", "source_row"])
    keys = pd.MultiIndex.from_arrays([misread["source"].astype("str"), misread["source_row"]])
    column = pd.Series(misread["column"].to_numpy(), index=keys)
    here = pd.MultiIndex.from_arrays([aside["source"].astype("str"), aside["source_row"]])
    named = column[~column.index.duplicated()].reindex(here).to_numpy()
    reason = [
        f"by a person or a warning: {text}" if excluded else f"misread: {_NAMED.get(name, name)} out of range"
        for excluded, text, name in zip(
            aside["excluded"].to_numpy(dtype=bool), aside["excluded_reason"].astype("str"), named, strict=True
        )
    ]
    rows = pd.DataFrame({"source": aside["source"].astype("str").to_numpy(), "reason": pd.array(reason, dtype="str")})
    return _counted(rows, ["source", "reason"], "shots").sort_values(
        ["source", "shots"], ascending=[True, False], kind="stable", ignore_index=True
    )


def _counted(rows: pd.DataFrame, keys: list[str], name: str) -> pd.DataFrame:
    labels = [rows[key].astype("str").rename(key) for key in keys]
    return rows.groupby(labels, sort=False).size().rename(name).reset_index()


def _remarks(shots: Shots) -> pd.DataFrame:
    once = shots.flags.drop_duplicates(["source", "source_row", "rule"])
    counts = _counted(once, ["rule"], "shots").sort_values("shots", ascending=False, ignore_index=True)
    return counts.assign(meaning=[RULES.get(rule, rule) for rule in counts["rule"]])


def _phases(shots: Shots) -> pd.DataFrame:
    columns = ["phase", "struck", "misread", "not_read", "share", "low", "high"]
    table = shots.table
    if not {"phase", "block", "shots_logged", "shots_missing"} <= set(table.columns):
        return pd.DataFrame(columns=columns)
    inside = table[table["phase"].notna()]
    by_block = inside.groupby(inside["block"].astype("str"), sort=False)
    blocks = by_block[["shots_logged", "shots_missing"]].first().astype(float)
    blocks["phase"] = by_block["phase"].first().astype("str")
    blocks["shots"] = by_block.size()
    blocks["misread"] = (~inside["read_ok"].astype(bool)).groupby(inside["block"].astype("str"), sort=False).sum()
    blocks["not_read"] = (blocks["shots_logged"] - blocks["shots_missing"] - blocks["shots"]).clip(lower=0)
    total = blocks.groupby("phase", sort=False)[["shots", "misread", "not_read"]].sum().astype(int)
    struck = total["shots"] + total["not_read"]
    bad = total["misread"] + total["not_read"]
    low, high = _wilson(bad.to_numpy(float), struck.to_numpy(float))
    return pd.DataFrame(
        {
            "phase": total.index, "struck": struck.to_numpy(), "misread": total["misread"].to_numpy(),
            "not_read": total["not_read"].to_numpy(), "share": (bad / struck).to_numpy().round(4),
            "low": low.round(4), "high": high.round(4),
        }
    )  # fmt: skip


def _wilson(count: np.ndarray, of: np.ndarray, z: float = 1.959964) -> tuple[np.ndarray, np.ndarray]:
    """Return the 95 % interval of a share (Wilson, J. Am. Stat. Assoc. 22, 1927, 209)."""
    share = count / of
    middle = (share + z**2 / (2 * of)) / (1 + z**2 / of)
    half = z / (1 + z**2 / of) * np.sqrt(share * (1 - share) / of + z**2 / (4 * of**2))
    return np.maximum(middle - half, 0.0), np.minimum(middle + half, 1.0)


def _gaps(shots: Shots) -> pd.DataFrame:
    """Return the sessions in which numbers are missing between the first and the last that stand in a file."""
    columns = ["session", "source", "first", "last", "missing", "which"]
    table, rejects = shots.table, shots.rejects
    if "shot" not in table or "session" not in table:
        return pd.DataFrame(columns=columns)
    kinds = {"session": "str", "source": "str", "shot": float}
    both = pd.concat(
        [part[list(kinds)].astype(kinds) for part in (table, rejects) if len(part)] or [table[list(kinds)]]
    )
    both = both[both["session"].notna() & both["shot"].between(0, COLUMNS["shot"].high)]
    rows = []
    for session, part in both.groupby("session", sort=False):
        numbers = np.unique(part["shot"].to_numpy()).astype(int)
        span = int(numbers[-1] - numbers[0]) + 1
        if span - len(numbers) and span < 100_000:
            missing = np.setdiff1d(np.arange(numbers[0], numbers[-1] + 1), numbers)
            which = ", ".join(map(str, missing[:8])) + (", ..." if len(missing) > 8 else "")
            rows.append((session, part["source"].iloc[0], numbers[0], numbers[-1], len(missing), which))
    return pd.DataFrame(rows, columns=columns)
