"""`combine_shots`: several files as one, a shot that stands in more than one of them analysed once."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from coachlab.errors import DataError
from coachlab.intake.findings import sound
from coachlab.intake.shots import Shots
from coachlab.schema import MEASURES

COPY = "copy of a shot in "
"""How the reason begins that stands beside a shot which another file has already."""
COPY_RULE = "stands in another file too"

LEAST_READINGS, MANY_READINGS, LEAST_RUN = 3, 6, 3
"""Readings that must agree where the time is the same, or the neighbours; where nothing else is; shots in a row."""

_BAYS = 8
"""How many shots may be struck in the same second."""


def combine_shots(parts: Sequence[Shots]) -> Shots:
    """Return the shots of several files as one, each part's rows in its own order.

    A shot that stands in an earlier part already is flagged and set aside, with that file as the reason: kept, and not
    counted twice. It is known by its content, whatever the file's name, units, order or kind: the same second and the
    same readings; without times six equal readings, or three in a run of shots. Readings are equal that differ by no
    more than the two files round.

    Parameters
    ----------
    parts : sequence of Shots
        At least one.

    Raises
    ------
    DataError
        If there is no part.
    """
    parts = list(parts)
    if not parts:
        raise DataError("Shots of several files were put together.", "No file was given.", "Give at least one.")
    if len(parts) == 1:
        return parts[0]
    shots = Shots(
        _stack([part.table for part in parts]),
        _stack([part.raw for part in parts]),
        _stack([part.rejects for part in parts]),
        _stack([part.flags for part in parts]),
        tuple(dict.fromkeys(note for part in parts for note in part.notes)),
    )
    part_of = np.repeat(np.arange(len(parts)), [len(part.table) for part in parts])
    return _set_aside(shots, find_copies(shots.table, part_of), part_of)


def find_copies(table: pd.DataFrame, part_of: np.ndarray) -> np.ndarray:
    """Return for each shot the row of the same shot in an earlier part, -1 where there is none.

    Parameters
    ----------
    table : DataFrame
        Shots of several files.
    part_of : int array, shape (n,)
        Which part a shot belongs to, in their order.
    """
    names = [name for name in MEASURES if name in table]
    readings = table[names].to_numpy(dtype=float, na_value=np.nan)
    readings = sound(readings)  # a misread says nothing of the shot
    labels = [pd.factorize(table[name])[0] for name in ("student", "club") if name in table]
    times = table["struck_at"].to_numpy().astype("M8[s]").astype("int64") if "struck_at" in table else None
    if times is not None:
        times = np.where(table["struck_at"].isna(), np.iinfo("int64").min, times)
    found = np.full(len(table), -1, dtype=np.int64)
    for part in np.unique(part_of)[1:]:
        later = np.flatnonzero(part_of == part)
        earlier = np.flatnonzero((part_of < part) & (found < 0))
        pairs = _Pairs(readings, labels, _step(readings[later]) + _step(readings[earlier]))
        if times is not None:
            _by_time(pairs, later, earlier, times, found)
        _by_content(pairs, later[found[later] < 0], earlier, times, found)
    return found


class _Pairs:
    """Says of pairs of rows whether they are the same shot, by all the readings that both have."""

    def __init__(self, readings: np.ndarray, labels: list[np.ndarray], step: np.ndarray) -> None:
        self.readings, self.labels = readings, labels
        self.slack = 0.51 * step + 1e-6  # each file rounds by half its own step

    def agreeing(self, one: np.ndarray, other: np.ndarray) -> np.ndarray:
        """Return how many readings agree, 0 where any differs."""
        with np.errstate(invalid="ignore"):
            apart = np.abs(self.readings[one] - self.readings[other])
        both = np.isfinite(apart)
        same = (~both | (apart <= self.slack)).all(axis=1)
        for codes in self.labels:
            a, b = codes[one], codes[other]
            same &= (a < 0) | (b < 0) | (a == b)
        return np.where(same, both.sum(axis=1), 0)


def _step(readings: np.ndarray) -> np.ndarray:
    """Return the step in which each column is written: the least distance between two of its values."""
    steps = []
    for column in readings.T:
        values = np.unique(np.round(column[np.isfinite(column)][:5000], 6))
        apart = np.diff(values)
        steps.append(apart.min() if len(apart) else 0.0)
    return np.array(steps)


def _by_time(pairs: _Pairs, later: np.ndarray, earlier: np.ndarray, times: np.ndarray, found: np.ndarray) -> None:
    order = earlier[np.argsort(times[earlier], kind="stable")]
    first = np.searchsorted(times[order], times[later])
    for step in range(_BAYS):
        rest = np.flatnonzero((found[later] < 0) & (first + step < len(order)))
        one, other = later[rest], order[first[rest] + step]
        known = (times[other] == times[one]) & (times[one] > np.iinfo("int64").min)
        same = known & (pairs.agreeing(one, other) >= LEAST_READINGS)
        found[one[same]] = other[same]


def _by_content(
    pairs: _Pairs, later: np.ndarray, earlier: np.ndarray, times: np.ndarray | None, found: np.ndarray
) -> None:
    """Find the rest by the nearest shot in the readings that most rows of both have."""
    if not len(later) or not len(earlier):
        return
    share = np.minimum(
        np.isfinite(pairs.readings[later]).mean(axis=0), np.isfinite(pairs.readings[earlier]).mean(axis=0)
    )
    columns = [int(place) for place in np.argsort(-share, kind="stable") if share[place] > 0.5][:5]
    if len(columns) < LEAST_READINGS:
        return
    whole = [rows[np.isfinite(pairs.readings[rows][:, columns]).all(axis=1)] for rows in (later, earlier)]
    if not len(whole[0]) or not len(whole[1]):
        return
    here, there = (pairs.readings[rows][:, columns] / pairs.slack[columns] for rows in whole)
    far, place = cKDTree(there).query(here, p=np.inf, distance_upper_bound=1.0 + 1e-9)
    near = np.isfinite(far)
    one, other = whole[0][near], whole[1][place[near]]
    count = pairs.agreeing(one, other)
    one, other, count = (values[count >= LEAST_READINGS] for values in (one, other, count))
    partner = np.full(len(found), -10, dtype=np.int64)
    partner[one] = other
    run = _runs(partner, one)
    never = np.iinfo("int64").min
    timed = np.zeros(len(one), bool) if times is None else (times[one] > never) & (times[other] > never)
    same = np.where(timed, run >= LEAST_RUN, (count >= MANY_READINGS) | (run >= LEAST_RUN))
    found[one[same]] = other[same]


def _runs(partner: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Return in how long a run each row stands whose partners follow each other as the rows do."""
    follows = np.zeros(len(partner), dtype=bool)
    follows[1:] = (partner[1:] >= 0) & (partner[1:] == partner[:-1] + 1)
    starts = np.flatnonzero(~follows)
    group = np.cumsum(~follows) - 1
    length = np.diff(np.append(starts, len(partner)))
    return length[group[rows]] if len(rows) else np.zeros(0, dtype=np.int64)


def _set_aside(shots: Shots, found: np.ndarray, part_of: np.ndarray) -> Shots:
    rows = np.flatnonzero(found >= 0)
    if not len(rows):
        return shots
    table = shots.table.copy(deep=False)
    source, line = table["source"].astype("str").to_numpy(), table["source_row"].to_numpy()
    reason = table["excluded_reason"].astype("str").fillna("").to_numpy().astype(object)
    reason[rows] = [f"{COPY}{source[of]}" for of in found[rows]]
    excluded = table["excluded"].to_numpy(dtype=bool).copy()
    excluded[rows] = True
    table["excluded"], table["excluded_reason"] = excluded, pd.array(reason, dtype="str")
    flags = pd.DataFrame(
        {
            "source": source[rows],
            "source_row": line[rows],
            "shot": table["shot"].to_numpy()[rows] if "shot" in table else np.nan,
            "column": "shot",
            "rule": COPY_RULE,
            "value": [f"{source[of]}, row {line[of]}" for of in found[rows]],
        }
    )
    notes = list(_told(source, part_of, found))
    kept = [part for part in (shots.flags, flags) if len(part)]
    return replace(shots, table=table, flags=pd.concat(kept, ignore_index=True), notes=(*shots.notes, *notes))


def _told(source: np.ndarray, part_of: np.ndarray, found: np.ndarray) -> Iterable[str]:
    rows = np.flatnonzero(found >= 0)
    pairs = pd.DataFrame({"one": source[rows], "other": source[found[rows]], "part": part_of[rows]})
    size = np.bincount(part_of)
    for (one, other, part), some in pairs.groupby(["one", "other", "part"], sort=False):
        count, all_ = len(some), int(size[part])
        what = f"all {all_:,} shots" if count == all_ else f"{count:,} of {all_:,} shots"
        yield f"{one}: {what} stand in {other} too; they are set aside here, so that none is counted twice."


def _stack(frames: list[pd.DataFrame]) -> pd.DataFrame:
    filled = [frame for frame in frames if len(frame)] or frames[:1]
    for name in dict.fromkeys(name for frame in filled for name in frame.columns):
        kinds = [frame[name].dtype for frame in filled if name in frame]
        if any(isinstance(kind, pd.CategoricalDtype) for kind in kinds) and any(kind != kinds[0] for kind in kinds):
            # categories that differ would become objects, which take ten times the memory
            filled = [frame.assign(**{name: frame[name].astype("str")}) if name in frame else frame for frame in filled]
    return pd.concat(filled, ignore_index=True)
