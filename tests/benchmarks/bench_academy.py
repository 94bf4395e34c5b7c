"""What it costs to simulate an academy, beside striking and flying as many balls alone.

A simulated ball is struck and flown by the package's own physics, so the flights are the floor; what is measured here is
what swings, sensors, the log and the cleaning add to them. Against drawing 19 normal numbers a shot, the yardstick while
ball data came from a formula, an academy of 2,000 students now costs about 40 times as much.
"""

import time

import numpy as np
from timing import Row, paired

from coachlab.academy import simulate_academy
from coachlab.academy.ball import struck

SHOTS_PER_STUDENT = 331
"""What a student hits in a screening and five lessons, on average."""


def measure() -> list[Row]:
    """Time one academy of 38 students, 2,000 students, and once 20,000."""
    rows = []
    for students, repeats, aim in ((38, 9, 4.0), (2000, 3, 2.5), (20_000, 1, 2.5)):
        blows = draw(students * SHOTS_PER_STUDENT)

        def ours(students: int = students) -> object:
            return simulate_academy(students=students, seed=1)

        def flights(blows: dict = blows) -> object:
            n = len(blows["club_speed_mps"])
            return struck(np.ones(n, dtype=int), blows, np.ones(n))

        if repeats > 1:
            ours_s, yardstick_s = paired(ours, flights, repeats)
        else:
            ours_s, yardstick_s = _once(ours), _once(flights)
        rows.append(
            Row(
                what=f"simulate an academy of {students:,} students",
                ours_s=ours_s,
                yardstick="strike and fly as many balls, in long steps as it does",
                yardstick_s=yardstick_s,
                aim=aim,
            )
        )
    return rows


def draw(n: int) -> dict[str, np.ndarray]:
    """Return blows with a mid iron, arrays of shape (n,)."""
    rng = np.random.default_rng(1)
    usual = {
        "club_speed_mps": (33, 3), "attack_up_deg": (-3.5, 2.5), "path_out_deg": (-1, 3), "face_open_deg": (0, 3),
        "delivered_loft_deg": (24, 2), "strike_toe_mm": (0, 7), "strike_high_mm": (0, 5),
    }  # fmt: skip
    return {name: rng.normal(mean, sd, n) for name, (mean, sd) in usual.items()}


def _once(work) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start
