"""Time our own work against a yardstick in the same run, so that a slow or busy machine slows both."""

import statistics
import time
from collections.abc import Callable
from typing import TypedDict


class Row(TypedDict, total=False):
    """One comparison; ``aim`` is the largest ratio of ours to the yardstick's time that is meant, or None."""

    what: str
    ours_s: float
    yardstick: str
    yardstick_s: float
    aim: float | None


def paired(ours: Callable[[], object], yardstick: Callable[[], object], repeats: int = 7) -> tuple[float, float]:
    """Return the median seconds of both, run in turn and changing who goes first, after one untimed turn of each."""
    ours()
    yardstick()
    times: tuple[list[float], list[float]] = ([], [])
    for turn in range(repeats):
        for which in (0, 1) if turn % 2 == 0 else (1, 0):
            start = time.perf_counter()
            (ours, yardstick)[which]()
            times[which].append(time.perf_counter() - start)
    return statistics.median(times[0]), statistics.median(times[1])
