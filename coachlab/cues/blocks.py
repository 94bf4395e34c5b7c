"""Shots of a model table brought together by block: the level at which lessons are planned and judged."""

import numpy as np
import pandas as pd

from coachlab.cues.table import DESIGN, outcome_of

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
    blocks = table[[name for name in _KEPT if name in table.columns]].iloc[first].reset_index(drop=True)
    blocks["shots"], blocks["mean"] = count, mean
    blocks["sd"] = np.sqrt(scatter / np.maximum(count - 1, 1))
    if "period" not in blocks:
        blocks["period"] = blocks.groupby("session", observed=True).cumcount() + 1.0
    for name in ("order_plan", "order_seed"):
        blocks[name] = blocks[name].fillna("").astype("str") if name in blocks else ""
    if "cue" not in blocks:
        blocks["cue"] = np.where(blocks["on"] > 0, "cue", "plain")
    for name in ("student", "session", "block", "cue"):
        blocks[name] = blocks[name].astype("str")
    return blocks.sort_values(["student", "session", "period"], kind="stable").reset_index(drop=True)


def cue_blocks(blocks: pd.DataFrame, cue: str) -> pd.DataFrame:
    """Return the blocks of one cue and the plain blocks of the same lessons."""
    mine = (blocks["cue"] == cue) & (blocks["on"] > 0)
    lessons = set(blocks.loc[mine, "session"])
    return blocks[mine | ((blocks["on"] == 0) & blocks["session"].isin(lessons))]


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
