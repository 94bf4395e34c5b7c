"""How often ranges for a level drawn anew hold it, counted over simulated studies: ``python make_coverage.py [STUDIES]``.

Writes ``coachlab/assets/coverage.csv``, which every label of such a range reads. The coverage of one study is exact,
since the distribution that new levels are drawn from is known; ``error`` is the Monte-Carlo standard error of the mean
over studies. Spreads are in units of the scale of the prior.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import norm

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from studies import STUDENT, answer_of, crossover, part_of, values, with_outcome  # noqa: E402

import coachlab as cl  # noqa: E402
from coachlab.cues.blocks import paired_means  # noqa: E402
from coachlab.cues.shift import raw_range  # noqa: E402
from coachlab.mixed.newcomer import new_level  # noqa: E402

LEVELS, SPREADS, NOMINAL = (6, 8, 12, 20, 40), (0.4, 1.0, 1.8), (0.9, 0.95)
SHIFT, MEAN = 1.2, -4.0
AT = pd.DataFrame({"on": [1.0], "on_h": [0.5], "per_c": [0.0], "lshot_c": [0.0]})


def count(levels, spread, studies, seed=0):
    """Coverage of each kind and nominal level in each study: a list of (kind, nominal, coverage)."""
    rng = np.random.default_rng([seed, levels, int(10 * spread)])
    frame = crossover(levels)
    lessons, found = part_of(frame, rng), []
    for _ in range(studies):
        part = with_outcome(lessons, values(frame, rng, spread, SHIFT))
        fit = answer_of(part).fit
        own = new_level(fit, "on", "student", 1.0, "on_h" if "on_h" in fit.formula else "on")
        for nominal in NOMINAL:
            found.append(("new level", nominal, held(*own.ends(nominal), SHIFT, spread)))
            row = cl.predictions(fit, AT, new_levels="student", level=nominal).table.iloc[0]
            of_row = held(row["low"], row["high"], MEAN + SHIFT, np.hypot(STUDENT, spread))
            found.append(("predictions", nominal, of_row))
        shift = paired_means(part.blocks, "X")["shift"].to_numpy()
        found.append(("raw differences", 0.9, held(*raw_range(shift), SHIFT, spread)))
    return found


def held(low, high, mean, sd):
    """Share of a normal distribution between two ends."""
    return norm.cdf((high - mean) / sd) - norm.cdf((low - mean) / sd)


def table_of(studies, levels=LEVELS, spreads=SPREADS):
    """The table that is written, from so many studies in each cell."""
    rows = []
    for n in levels:
        for spread in spreads:
            frame = pd.DataFrame(count(n, spread, studies), columns=["kind", "nominal", "coverage"])
            for (kind, nominal), own in frame.groupby(["kind", "nominal"], sort=True)["coverage"]:
                rows.append((kind, nominal, n, spread, studies, own.mean(), own.std() / np.sqrt(studies)))
            print(n, spread, *(f"{row[0]} {row[1]:g}: {row[5]:.3f}" for row in rows[-5:]), flush=True)
    columns = ["kind", "nominal", "levels", "spread", "studies", "coverage", "error"]
    return pd.DataFrame(rows, columns=columns).sort_values(["kind", "nominal", "levels", "spread"]).round(4)


if __name__ == "__main__":
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    table_of(many).to_csv(ROOT / "coachlab" / "assets" / "coverage.csv", index=False, lineterminator="\n")
