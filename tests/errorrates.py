"""Error rates of the product's own interval, counted over studies without any shift: ``python tests/errorrates.py``.

Every study goes through `coachlab.cues.ladder.fit_shift`, which prints intervals: the full model, its ladder, and t with
at most the number of students less one. A Markdown table is printed, with the machine and the date.
"""

import os
import platform
import sys
import time
from datetime import UTC, datetime
from functools import cache

import numpy as np
from scipy import stats
from studies import answer_of, crossover, part_of, values, with_outcome

STUDENTS, SLOPE_SDS, STUDIES = (8, 12, 24), (0.0, 0.3, 0.6, 1.0), 2000


@cache
def rates(students, slope_sd, studies=STUDIES, seed=0):
    """Shares of studies without a shift: rejected at 5 % by the interval, by z; and that left the first rung."""
    rng = np.random.default_rng([seed, students, int(10 * slope_sd)])
    frame = crossover(students)
    lessons = part_of(frame, rng)
    found = np.empty((studies, 3))
    for i in range(studies):
        answer = answer_of(with_outcome(lessons, values(frame, rng, slope_sd)))
        ratio = abs(answer.estimate) / answer.se
        found[i] = ratio > stats.t.ppf(0.975, answer.df), ratio > stats.norm.ppf(0.975), answer.ladder.rung != "a"
    rejected, by_z, stepped = found.mean(axis=0)
    return {"rejected": rejected, "z": by_z, "stepped": stepped}


def main():
    """Print the table."""
    start = time.monotonic()
    print("| students | slope SD | rejected at 5 % | 95 % interval holds | rejected by z | left rung a |")
    print("|---|---|---|---|---|---|")
    for students in STUDENTS:
        for slope_sd in SLOPE_SDS:
            r = rates(students, slope_sd)
            shares = (r["rejected"], 1 - r["rejected"], r["z"], r["stepped"])
            print(
                f"| {students} | {slope_sd:g} | {' | '.join(f'{100 * share:.1f} %' for share in shares)} |", flush=True
            )
    error = 100 * np.sqrt(0.05 * 0.95 / STUDIES)
    print(
        f"\n{STUDIES} studies a row, Monte-Carlo error of 5 %: {error:.2f} points. Python {platform.python_version()}, "
        f"{platform.machine()}, {os.cpu_count()} cores, {datetime.now(UTC):%Y-%m-%d %H:%M} UTC, "
        f"{time.monotonic() - start:.0f} s."
    )


if __name__ == "__main__":
    sys.exit(main())
