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
    seen = values.to_numpy(object)
    return np.where(pd.isna(seen), None, seen)


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
