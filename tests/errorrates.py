"""Error rates of the product's own interval, counted over studies without any shift: ``python tests/errorrates.py``.

Every study goes through `coachlab.cues.ladder.fit_shift`, which prints intervals: the full model, its ladder, and t with
at most the number of students less one. A Markdown table is printed, with the machine and the date.
"""

import os
import platform
import sys
import time
from datetime import UTC, datetime
from functools import cache, partial
from unittest import mock

import numpy as np
from scipy import sparse, stats
from studies import answer_of, crossover, part_of, values, with_outcome

from coachlab.cues import ladder
from coachlab.mixed.bootstrap import made_fit
from coachlab.mixed.fit import fit_mixed
from coachlab.mixed.many import Many, Responses, fit_many

AT_ONCE = 500  # outcomes that are fitted together
STUDENTS, SLOPE_SDS, STUDIES = (8, 12, 24), (0.0, 0.3, 0.6, 1.0), 2000


@cache
def rates(students, slope_sd, studies=STUDIES, seed=0):
    """Shares of studies without a shift: rejected at 5 % by the interval, by z; and that left the first rung."""
    rng = np.random.default_rng([seed, students, int(10 * slope_sd)])
    frame = crossover(students)
    lessons = part_of(frame, rng)
    found = []
    for first in range(0, studies, AT_ONCE):
        outcomes = [values(frame, rng, slope_sd) for _ in range(first, min(first + AT_ONCE, studies))]
        found += [
            (abs(answer.estimate) / answer.se, stats.t.ppf(0.975, answer.df), answer.ladder.rung != "a")
            for answer in answers(lessons, outcomes)
        ]
    ratio, limit, stepped = np.array(found).T
    return {
        "rejected": np.mean(ratio > limit),
        "z": np.mean(ratio > stats.norm.ppf(0.975)),
        "stepped": np.mean(stepped),
    }


def answers(lessons, outcomes):
    """The product's answer for each outcome of the same lessons; the engine fits all of a model's outcomes together."""
    fits: dict[str, Many] = {}

    def fitted(which, formula, rows, weights=None):
        if weights is not None:
            return fit_mixed(formula, rows, weights=weights)
        if formula not in fits:
            fits[formula] = _all(fit_mixed(formula, rows), outcomes)
        return made_fit(fits[formula], which)

    found = []
    for which, outcome in enumerate(outcomes):
        with mock.patch.object(ladder, "fit_mixed", partial(fitted, which)):
            found.append(answer_of(with_outcome(lessons, outcome)))
    return found


def _all(fit, outcomes):
    """One model fitted to every outcome of the rows of a fit."""
    m, design = fit.problem.moments, fit.design
    y = np.array(outcomes).T - m.centre[-1]
    x = design.x - m.centre[:-1]
    x[:, design.coding.intercept] = 1.0
    in_cell = sparse.csr_matrix((np.ones(len(y)), (design.cell, np.arange(len(y)))))
    cross = np.stack([in_cell @ (column[:, None] * y) for column in design.z.T], axis=1)
    top = np.repeat(m.top[None], y.shape[1], axis=0)
    top[:, 0, :-1, -1] = top[:, 0, -1, :-1] = y.T @ x
    top[:, 0, -1, -1] = np.einsum("ni,ni->i", y, y)
    columns = fit.problem.columns
    return fit_many(fit.problem, fit.inference.optimum.x, Responses(cross, top[:, :, columns][:, :, :, columns]))


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
