"""What it costs to simulate an academy, beside drawing as many random numbers as that takes."""

import time

import numpy as np
from timing import Row, paired

from coachlab.academy import simulate_academy

DRAWS_PER_SHOT = 19  # 15 normal ones (swing, sensor, ball) and 4 even ones (mishit, clock, misread, no reading)


def measure() -> list[Row]:
    """Time one academy of 38 students, 2,000 students, and once 20,000."""
    rows = []
    for students, repeats, aim in ((38, 9, 40.0), (2000, 3, 12.0), (20_000, 1, 12.0)):
        shots = students * 331  # what a student hits in a screening and five lessons, on average

        def ours(students: int = students) -> object:
            return simulate_academy(students=students, seed=1)

        def draw(shots: int = shots) -> object:
            rng = np.random.default_rng(1)
            return [rng.standard_normal(shots) for _ in range(DRAWS_PER_SHOT)]

        if repeats > 1:
            ours_s, yardstick_s = paired(ours, draw, repeats)
        else:
            ours_s, yardstick_s = _once(ours), _once(draw)
        rows.append(
            Row(
                what=f"simulate an academy of {students:,} students",
                ours_s=ours_s,
                yardstick=f"draw {DRAWS_PER_SHOT} normal numbers a shot",
                yardstick_s=yardstick_s,
                aim=aim,
            )
        )
    return rows


def _once(work) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start
