"""What ``import coachlab`` costs somebody who only starts it."""

import statistics
import subprocess
import sys

from timing import Row

REPEATS = 15


def measure() -> list[Row]:
    """Time the import inside fresh processes, in turn, so that starting Python itself is not part of it."""
    times: dict[str, list[float]] = {"coachlab": [], "numpy": []}
    for turn in range(REPEATS + 1):
        for module in sorted(times, reverse=turn % 2 == 1):
            seconds = import_seconds(module)
            if turn:  # the first turn fills the disk's cache and writes byte code
                times[module].append(seconds)
    ours, yardstick = (statistics.median(times[module]) for module in ("coachlab", "numpy"))
    return [Row(what="import coachlab", ours_s=ours, yardstick="import numpy", yardstick_s=yardstick, aim=1.3)]


def import_seconds(module: str) -> float:
    code = f"import time; start = time.perf_counter(); import {module}; print(time.perf_counter() - start)"
    return float(subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout)
