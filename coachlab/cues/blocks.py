"""Shots of a model table brought together by block: the level at which lessons are planned and judged."""

import numpy as np
import pandas as pd

from coachlab.cues.table import DESIGN, outcome_of
from coachlab.settings import Settings

MODELLED = ("student", "session", "block", "cue", "on", "on_setup", "on_intent", "per_c", "lshot_c", "pat_c")
"""The columns of a model table that a model formula may name, besides the outcome."""

_KEPT = ("student", "coach", "session", "block", "cue", "on", "period", "pattern", *DESIGN)


def block_table(table: pd.DataFrame) -> pd.DataFrame:
    """Return one row a block: its ids and design columns, ``shots``, and ``mean`` and ``sd`` of the outcome.

    Blocks come in the order of student, session and period. Made by counting codes, not by grouping, since it stands
    in the path of every move of a panel.

    Parameters
    ----------
    table : DataFrame
        From `model_table`; any columns of `DESIGN` that it lacks are left out.
    """
    outcome = outcome_of(table)
    codes, _ = pd.factorize(table["block"])
    count = np.bincount(codes)
    values = table[outcome].to_numpy(float)
    mean = np.bincount(codes, values) / count
    scatter = np.bincount(codes, (values - mean[codes]) ** 2)
    first = np.unique(codes, return_index=True)[1]
    kept = table[[name for name in _KEPT if name in table.columns]].iloc[first]
    # text as plain Python objects: with some hundred rows a look at an Arrow column costs more than what is asked of it
    columns = {name: _plain(values) for name, values in kept.items()}
    for name in ("order_plan", "order_seed"):
        seen = columns.get(name, np.full(len(first), "", object))
        columns[name] = np.where(pd.isna(seen), "", seen)
    columns.setdefault("cue", np.where(kept["on"] > 0, "cue", "plain").astype(object))
    blocks = _frame(columns | {"shots": count, "mean": mean, "sd": np.sqrt(scatter / np.maximum(count - 1, 1))})
    if "period" not in blocks:
        blocks["period"] = blocks.groupby("session").cumcount() + 1.0
    return blocks.sort_values(["student", "session", "period"], kind="stable").reset_index(drop=True)


def _frame(columns: dict[str, np.ndarray]) -> pd.DataFrame:
    # a Series of its own for each column, since a frame made from arrays of text turns them into Arrow columns
    return pd.DataFrame({name: pd.Series(values, dtype=values.dtype, copy=False) for name, values in columns.items()})


def _plain(values: pd.Series) -> np.ndarray:
    if values.dtype.kind in "fiub":
        return values.to_numpy()
    seen = np.array(values, dtype=object)
    seen[pd.isna(seen)] = None
    return seen


def cue_blocks(blocks: pd.DataFrame, cue: str) -> pd.DataFrame:
    """Return the blocks of one cue and the plain blocks of the same lessons."""
    on, session = blocks["on"].to_numpy() > 0, blocks["session"].to_numpy()
    mine = on & (blocks["cue"].to_numpy() == cue)
    lessons = set(session[mine])
    return blocks[mine | (~on & np.fromiter((name in lessons for name in session), bool, len(session)))]


def lesson_table(blocks: pd.DataFrame) -> pd.DataFrame:
    """Return one row a lesson: ``student session plan seed blocks cued states changes``.

    ``states`` writes the lesson as letters in order, p for plain and c for cue; ``changes`` counts how often they
    change; ``cued`` counts the cue blocks.
    """
    rows = []
    for (student, session), part in _grouped(blocks):
        states = "".join("c" if on else "p" for on in part["on"])
        changes = sum(a != b for a, b in zip(states, states[1:], strict=False))
        plan, seed = part["order_plan"][0], part["order_seed"][0]
        rows.append((student, session, plan, seed, len(states), states.count("c"), states, changes))
    names = ["student", "session", "plan", "seed", "blocks", "cued", "states", "changes"]
    return pd.DataFrame(rows, columns=names)


def full_blocks(blocks: pd.DataFrame, settings: Settings) -> tuple[pd.DataFrame, list[str]]:
    """Leave out blocks with too few shots, then lessons without both conditions; say in sentences how many."""
    remarks = []
    short = blocks["shots"] < settings.block_shots
    if short.any():
        remarks.append(f"{short.sum()} blocks with fewer than {settings.block_shots} shots are left out.")
    blocks = blocks[~short]
    on, session = blocks["on"].to_numpy() > 0, blocks["session"].to_numpy()
    full = set(session[on]) & set(session[~on])
    both = np.fromiter((name in full for name in session), bool, len(session))
    if not both.all():
        lone = len(set(session[~both]))
        remarks.append(f"{lone} lessons lack either plain or cue shots and are left out.")
    return blocks[both], remarks


def rows_of(table: pd.DataFrame, codes: np.ndarray, names: pd.Index, blocks: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of a table that belong to some blocks; ``codes, names = pd.factorize(table["block"])``."""
    wanted = set(blocks["block"])
    return table[np.fromiter((name in wanted for name in names), bool, len(names))[codes]]


def paired_means(blocks: pd.DataFrame, cue: str) -> pd.DataFrame:
    """Return each student's plain and cue mean (mean of block means) and shift, students with both only.

    Columns: ``cue student coach pattern plain cued shift shots``, in the outcome's own unit.
    """
    student, names = pd.factorize(blocks["student"])
    on = blocks["on"].to_numpy() > 0
    sums = [np.bincount(student[side], blocks["mean"].to_numpy()[side], len(names)) for side in (~on, on)]
    counts = [np.bincount(student[side], minlength=len(names)) for side in (~on, on)]
    both = (counts[0] > 0) & (counts[1] > 0)
    first = np.unique(student, return_index=True)[1][both]
    plain, cued = (total[both] / count[both] for total, count in zip(sums, counts, strict=True))
    return pd.DataFrame(
        {
            "cue": cue,
            "student": names[both],
            "coach": blocks["coach"].to_numpy()[first] if "coach" in blocks else "unknown",
            "pattern": blocks["pattern"].to_numpy(float)[first] if "pattern" in blocks else np.nan,
            "plain": plain,
            "cued": cued,
            "shift": cued - plain,
            "shots": np.bincount(student, blocks["shots"], len(names))[both].astype(int),
        }
    )


def _grouped(blocks: pd.DataFrame) -> list[tuple[tuple[str, str], dict[str, np.ndarray]]]:
    """Cut the sorted blocks into lessons; plain arrays: a frame for each lesson would cost more than the model."""
    if not len(blocks):
        return []
    columns = {name: blocks[name].to_numpy() for name in ("student", "session", "on", "order_plan", "order_seed")}
    session = columns["session"]
    starts = np.flatnonzero(np.r_[True, session[1:] != session[:-1]])
    ends = np.r_[starts[1:], len(session)]
    return [
        ((columns["student"][a], session[a]), {name: column[a:b] for name, column in columns.items()})
        for a, b in zip(starts, ends, strict=True)
    ]
