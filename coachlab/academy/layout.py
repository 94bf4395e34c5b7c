"""The plan of a simulated winter: who comes when to whom, which blocks a visit holds, which cue in which order."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from coachlab.academy.assumptions import HEADS, Assumptions
from coachlab.orders import deal, draw_pairs
from coachlab.schema import CLUBS

FIRST_DAY = np.datetime64("2025-11-03", "D")
WARMUP_SHOTS = (8, 10)
SCREEN_SHOTS = 10
RESET_SHOTS = 6


@dataclass(frozen=True, eq=False)
class Cueing:
    """Which cue each lesson is about, and in which order it meets the plain swing.

    ``cue`` has shape (students, lessons) and counts the cues; ``on`` (students, lessons, test blocks) is True where
    the cue is offered; ``plan`` and ``seed`` (students, lessons) are texts, empty where nothing was drawn.
    """

    cue: np.ndarray
    on: np.ndarray
    plan: np.ndarray
    seed: np.ndarray


def lay_blocks(
    students: int, lessons: int, clubs: Sequence[str], tests: int, screened: bool, block_shots: tuple[int, int],
    a: Assumptions, rng: np.random.Generator,
) -> pd.DataFrame:  # fmt: skip
    """Return one row a planned block, in order: codes and counts, no names yet.

    Columns: ``student``, ``session`` (both counted from 0 over the academy), ``lesson`` (from 0, -1 for the screening
    visit), ``index`` (from 1), ``test`` (place among the lesson's test blocks, -1 for the others), ``phase``, ``club``
    (place among `clubs`; their number stands for the club of the reset shots), ``head``, ``shots``, ``rest_s``,
    ``lost``.
    """
    one = _one_winter(lessons, len(clubs), tests, screened)
    rows, sessions = len(one), lessons + screened
    blocks = (
        pd.concat([one] * students, ignore_index=True)
        if students < 50
        else one.iloc[np.tile(np.arange(rows), students)]
    )
    blocks = blocks.reset_index(drop=True)
    blocks.insert(0, "student", np.repeat(np.arange(students), rows))
    blocks.insert(1, "session", blocks["student"] * sessions + blocks["lesson"] + screened)
    # each student's lessons go through the clubs in turn, from a place that is dealt
    turn = (deal(len(clubs), students, rng)[blocks["student"]] + blocks["lesson"]) % len(clubs)
    blocks["club"] = np.where(blocks["club"] < 0, np.where(blocks["lesson"] < 0, 0, turn), blocks["club"])
    names = [*clubs, reset_club(clubs)]
    blocks["head"] = np.array([HEADS.index(CLUBS[name]) for name in names])[blocks["club"]]
    limits = {"warmup": WARMUP_SHOTS, "screen": (SCREEN_SHOTS,) * 2, "test": block_shots, "reset": (RESET_SHOTS,) * 2}
    low, high = (np.array([limits[phase][side] for phase in one["phase"]]) for side in (0, 1))
    blocks["shots"] = rng.integers(np.tile(low, students), np.tile(high, students) + 1)
    blocks["rest_s"] = np.where(blocks["index"] == 1, 0, rng.integers(120, 181, len(blocks)))
    blocks["lost"] = (blocks["test"] >= 0) & (rng.random(len(blocks)) < a.missing_blocks)
    return blocks


def reset_club(clubs: Sequence[str]) -> str:
    """Return the other club with which reset shots are hit."""
    return "wedge-pw" if all(CLUBS[club] != "wedge" for club in clubs) else "iron-8"


def visit_times(students: int, visits: int, rng: np.random.Generator) -> np.ndarray:
    """Return when each visit begins, shape (students * visits,): about a week apart, in the day."""
    gaps = np.hstack([rng.integers(0, 12, (students, 1)), rng.integers(6, 9, (students, visits - 1))])
    days = FIRST_DAY + np.cumsum(gaps, axis=1)
    quarters = rng.integers(9 * 4, 19 * 4, (students, visits))
    return (days.astype("M8[us]") + quarters * np.timedelta64(15, "m")).ravel()


def draw_cueing(lessons: int, students: int, ids: Sequence[str], pairs: int, seed: int) -> Cueing:
    """Return drawn lessons: cues dealt evenly, the order of each plain-cue pair drawn by the kit.

    In every set of as many students as there are cues, each cue is dealt equally often, to each lesson in turn. The
    orders of one cue's lessons are `orders.draw_pairs` with the seed that stands in the log.
    """
    rng = np.random.default_rng(seed)
    place = np.arange(students) % len(ids)
    sets = np.arange(students) // len(ids)
    names = rng.permuted(np.tile(np.arange(len(ids)), (sets[-1] + 1, 1)), axis=1)
    where = rng.permuted(np.tile(np.arange(lessons), (sets[-1] + 1, 1)), axis=1)
    cue = names[sets[:, None], (place[:, None] + where[sets]) % len(ids)]
    on = np.zeros((*cue.shape, 2 * pairs), bool)
    plan = np.empty(cue.shape, object)
    seeds = np.random.SeedSequence(seed).generate_state(len(ids))
    text = np.array([str(one) for one in seeds], object)[cue]
    for number, name in enumerate(ids):
        given = cue == number
        if given.any():
            drawn = draw_pairs(name, int(given.sum()), pairs=pairs, seed=int(seeds[number]))
            flags = np.array([[block == name for block in one.split()] for one in drawn.plans])
            on[given] = flags[drawn.table["order"].to_numpy() - 1]
            plan[given] = np.array(drawn.plans, object)[drawn.table["order"].to_numpy() - 1]
    return Cueing(cue, on, plan, text)


def choose_cueing(
    above_mean_deg: np.ndarray, ids: Sequence[str], on: Sequence[bool], a: Assumptions, rng: np.random.Generator
) -> Cueing:
    """Return lessons whose cue the coach chose by what they saw: the steeper, the likelier I2 or S1.

    Parameters
    ----------
    above_mean_deg : array, shape (students, lessons)
        The attack that the coach saw, less the mean.
    ids : sequence of str
        The cues.
    on : sequence of bool
        Which test blocks of each lesson offer the cue.
    a, rng
        Assumptions, and the source of the draw.
    """
    lift = np.array([name in ("I2", "S1") for name in ids])
    likely = 1 / (1 + np.exp(-a.chosen_slope * above_mean_deg))
    if lift.all() or not lift.any():
        cue = rng.integers(len(ids), size=above_mean_deg.shape)
    else:
        lifted = rng.random(above_mean_deg.shape) < likely
        cue = np.where(
            lifted,
            rng.choice(np.flatnonzero(lift), above_mean_deg.shape),
            rng.choice(np.flatnonzero(~lift), above_mean_deg.shape),
        )
    none = np.full(cue.shape, "", object)
    return Cueing(cue, np.broadcast_to(np.array(on, bool), (*cue.shape, len(on))), none, none)


def _one_winter(lessons: int, clubs: int, tests: int, screened: bool) -> pd.DataFrame:
    """Return the blocks of one student; club -1 is the lesson's own."""
    rows: list[tuple[int, int, int, str, int]] = []
    if screened:
        rows.append((-1, 1, -1, "warmup", -1))
        rows += [(-1, 2 + number, -1, "screen", number // 2) for number in range(2 * clubs)]
    for lesson in range(lessons):
        rows.append((lesson, 1, -1, "warmup", -1))
        for test in range(tests):
            if test:
                rows.append((lesson, 2 * test + 1, -1, "reset", clubs))
            rows.append((lesson, 2 * test + 2, test, "test", -1))
    return pd.DataFrame(rows, columns=["lesson", "index", "test", "phase", "club"])
