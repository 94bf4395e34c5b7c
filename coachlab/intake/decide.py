"""What a person decides about single shots: set aside, or used all the same; the reason is kept beside it.

Decisions stand in a small file of their own (``decisions.csv``), so that reading the exports again keeps them.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from coachlab.errors import DataError, need
from coachlab.intake.clean import USED, chosen_rows, exclude
from coachlab.intake.headings import close_to
from coachlab.intake.plain import check_headings
from coachlab.intake.shots import Shots
from coachlab.intake.write import csv_text, plain_cell, write_bytes

NAME = "decisions.csv"
DECISION_COLUMNS = ("source", "source_row", "decision", "reason")
SET_ASIDE, USE = "set aside", "use"


def restore(shots: Shots, where: pd.Series | np.ndarray, reason: str) -> Shots:
    """Return the shots with some used all the same, whatever rule or person set them aside.

    The flags of the rules stay; beside them stands a flag "used all the same" with the reason, which `clean_shots`
    respects however often it runs.

    Parameters
    ----------
    shots : Shots
        Not changed.
    where : bool array or Series, shape (n,)
        True for the shots to use.
    reason : str
        Why; may not be blank.

    Raises
    ------
    DataError
        If no reason is given, or `where` does not say yes or no for each shot.
    """
    asked = "Shots were to be used all the same."
    need(shots, Shots, asked, "shots", "Give what read_shots and clean_shots return.")
    need(reason, str, asked, "reason", "Say why, in a few words.")
    if not reason.strip():
        raise DataError(asked, "No reason is given.", "Say why, in a few words.")
    rows = np.flatnonzero(chosen_rows(shots, where))
    if not len(rows):
        return shots
    table = shots.table.copy(deep=False)
    read_ok, excluded = (table[name].to_numpy(dtype=bool).copy() for name in ("read_ok", "excluded"))
    read_ok[rows], excluded[rows] = True, False
    texts = table["excluded_reason"].astype("str").to_numpy().astype(object)
    texts[rows] = ""
    table["read_ok"], table["excluded"], table["excluded_reason"] = read_ok, excluded, pd.array(texts, dtype="str")
    said = pd.DataFrame(
        {
            "source": table["source"].astype("str").to_numpy()[rows],
            "source_row": table["source_row"].to_numpy()[rows],
            "shot": table["shot"].to_numpy()[rows] if "shot" in table else np.nan,
            "column": "read_ok",
            "rule": USED,
            "value": reason.strip(),
        }
    )
    here = pd.MultiIndex.from_frame(said[["source", "source_row"]])
    old = (shots.flags["rule"] == USED).to_numpy(dtype=bool)
    if old.any():
        keys = pd.MultiIndex.from_arrays([shots.flags["source"].astype("str"), shots.flags["source_row"]])
        old &= keys.isin(here)
    flags = [part for part in (shots.flags[~old], said) if len(part)]
    return replace(shots, table=table, flags=pd.concat(flags, ignore_index=True))


def apply_decisions(shots: Shots, decisions: str | Path | pd.DataFrame) -> Shots:
    """Return the shots with a person's decisions applied, in the order of the file; the last one of a shot holds.

    Parameters
    ----------
    shots : Shots
        Not changed.
    decisions : path or DataFrame
        ``source`` and ``source_row`` of a shot, ``decision`` ("use" or "set aside") and ``reason``.

    Raises
    ------
    DataError
        If a column or a reason is missing, a decision is another word, or there is no such shot.
    """
    if isinstance(decisions, pd.DataFrame):
        table = _checked(decisions, "A table was taken for decisions about single shots.", "Entry", 1)
    else:
        table = read_decisions(decisions)
    if not len(table):
        return shots
    keys = pd.MultiIndex.from_arrays([shots.table["source"].astype("str"), shots.table["source_row"]])
    for (decision, reason), part in table.groupby(["decision", "reason"], sort=False):
        wanted = pd.MultiIndex.from_arrays([part["source"].astype("str"), part["source_row"].astype("int64")])
        missing = ~wanted.isin(keys)
        if missing.any():
            row = part[missing].iloc[0]
            raise DataError(
                "Decisions about single shots were applied.",
                f"There is no shot in {row['source']}, row {row['source_row']}"
                f"{close_to(str(row['source']), shots.table['source'].astype('str').unique())}.",
                f"Correct {NAME}, or take the line out.",
                source=row["source"],
                row=int(row["source_row"]),
            )
        where = keys.isin(wanted)
        shots = restore(shots, where, reason) if decision == USE else exclude(shots, where, reason)
    return shots


def read_decisions(path: str | Path) -> pd.DataFrame:
    """Return a file of decisions as a checked table; `apply_decisions` says what it holds.

    Raises
    ------
    DataError
        If it cannot be read, or a cell does not fit.
    """
    do = f"Give the path of {NAME}, or its table."
    need(path, (str, Path), "Decisions about single shots were to be read.", "decisions", do)
    path = Path(path)
    asked = f"{path.name} was read as decisions about single shots."
    try:
        table = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except (OSError, ValueError, pd.errors.ParserError) as err:
        raise DataError(asked, f"It cannot be read ({err}).", "Write it as CSV.", path=path.name) from err
    return _checked(table, asked, "Line", 2, path=path.name)


def _checked(table: pd.DataFrame, asked: str, line: str, first: int, **facts: object) -> pd.DataFrame:
    """Return decisions as texts and rows, the last one of each shot; refuse what is none."""
    check_headings(table, asked)
    missing = [name for name in DECISION_COLUMNS if name not in table]
    if missing:
        raise DataError(
            asked, f"No column {', '.join(missing)}.", f"Its columns are: {', '.join(DECISION_COLUMNS)}.", **facts
        )
    table = table[list(DECISION_COLUMNS)].reset_index(drop=True)
    table = table.where(table.notna(), "").astype("object").map(lambda value: plain_cell(str(value).strip()))
    for name, wrong, what in (
        ("decision", ~table["decision"].isin([USE, SET_ASIDE]), f"is neither {USE!r} nor {SET_ASIDE!r}"),
        ("reason", table["reason"] == "", "is blank: say why, in a few words"),
        ("source_row", ~table["source_row"].str.fullmatch(r"\d{1,9}(?:\.0)?").astype(bool), "is no row of a file"),
    ):
        if wrong.any():
            place = int(np.flatnonzero(wrong)[0])
            raise DataError(
                asked, f"{line} {place + first}, {name}: {table[name][place]!r} {what}.", "Correct that cell.", **facts
            )
    table["source_row"] = table["source_row"].astype(float).astype("int64")
    return table.drop_duplicates(["source", "source_row"], keep="last")


def decisions_of(shots: Shots) -> pd.DataFrame:
    """Return the decisions of persons that the shots carry, as a table that `write_decisions` takes."""
    aside = shots.table[shots.table["excluded"].to_numpy(dtype=bool)]
    used = shots.flags[shots.flags["rule"] == USED]
    parts = [
        aside[["source", "source_row"]].assign(decision=SET_ASIDE, reason=aside["excluded_reason"]),
        used[["source", "source_row"]].assign(decision=USE, reason=used["value"]),
    ]
    parts = [part.astype({"source": "str", "reason": "str"}) for part in parts]
    filled = [part for part in parts if len(part)]
    return pd.concat(filled, ignore_index=True) if filled else pd.DataFrame(columns=list(DECISION_COLUMNS))


def write_decisions(decisions: pd.DataFrame, folder: str | Path) -> Path:
    """Write decisions into a study's folder as ``decisions.csv``, and return its path."""
    return write_bytes(Path(folder) / NAME, csv_text(decisions[list(DECISION_COLUMNS)]))
