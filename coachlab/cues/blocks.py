"""Shots of a model table brought together by block: the level at which lessons are planned and judged."""

from typing import NamedTuple

import numpy as np
import pandas as pd

from coachlab.cues.table import DESIGN, outcome_of
from coachlab.settings import Settings

MODELLED = ("student", "coach", "session", "block", "cue", "on", "on_setup", "on_intent", "per_c", "lshot_c", "pat_c")
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


class Lesson(NamedTuple):
    """One lesson: whose, its drawn order, and its blocks as letters in order, p for plain and c for cue."""

    student: str
    session: str
    plan: str
    seed: str
    states: str

    @property
    def changes(self) -> int:
        """How often plain and cue change."""
        return sum(a != b for a, b in zip(self.states, self.states[1:], strict=False))

    @property
    def both(self) -> bool:
        """Whether it holds plain and cue blocks."""
        return "p" in self.states and "c" in self.states


def lessons_of(blocks: pd.DataFrame) -> list[Lesson]:
    """Return the lessons of blocks from `block_table`, in their order.

    Plain tuples: a frame made for each look at some thirty lessons would cost more than the model.
    """
    names = ("student", "session", "order_plan", "order_seed")
    student, session, plan, seed = (blocks[name].to_numpy() for name in names)
    letters = np.where(blocks["on"].to_numpy() > 0, "c", "p")
    if not len(session):
        return []
    starts = np.flatnonzero(np.r_[True, session[1:] != session[:-1]])
    ends = np.r_[starts[1:], len(session)]
    return [
        Lesson(student[a], session[a], plan[a], seed[a], "".join(letters[a:b]))
        for a, b in zip(starts, ends, strict=True)
    ]


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
