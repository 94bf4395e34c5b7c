"""Write the data sets that mixed models are checked on: all simulated here, seeds fixed, nobody's measurements.

Run ``python make_data.py``, then ``Rscript make_references.R``; both write beside themselves.
"""

from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).parent
BASE = "on + per_c + lshot_c + (1 + on | student) + (1 | session) + (1 | block)"
MODELS = [  # data, response ~ model, weights, factor, by
    ("balanced", "y ~ on + (1 + on | student) + (1 | session) + (1 | block)", "", "", ""),
    ("unbalanced", f"y ~ {BASE}", "", "", ""),
    ("singular", "y ~ on + (1 + on | student)", "", "", ""),
    ("empty", "y ~ cue * pattern + (1 | student)", "", "cue", "pattern"),
    ("crossed", "y ~ cue + (1 | student) + (1 | coach) + (1 | item)", "", "cue", ""),
    ("nested", "y ~ x + (1 | student/session)", "", "", ""),
    ("slopes", "y ~ cue + (1 + cue | student)", "", "cue", ""),
    ("large", f"y ~ {BASE}", "", "", ""),
    ("tiny", "y ~ x + (1 | student) + (1 | session)", "", "", ""),
    ("sparse", "y ~ on + (1 | student) + (1 | block)", "", "", ""),
    ("cues", "y ~ cue + per_c + (1 + on | student) + (0 + on_setup | student:cue) + (0 + on_intent | student:cue) "
             "+ (1 | session) + (1 | block)", "", "cue", ""),
    ("weighted", "y ~ cue + x + (1 + x | student)", "w", "cue", ""),
    ("curved", "y ~ x + I(x^2) + (x || student)", "", "", ""),
    ("both", "y ~ cue * on + x + (1 + on | student) + (0 + on | coach)", "", "cue", "on"),
]  # fmt: skip
# Drawn so that "singular" has a correlation of 1 and the others an interior optimum.
SEEDS = {"unbalanced": 104, "singular": 108, "large": 102, "slopes": 101}


def lessons(
    rng, students=14, sessions=2, blocks=4, shots=5, intercept=1.0, slope=0.6, session=0.4, block=0.4, noise=1.5
):
    rows = []
    for s in range(students):
        own, shift = rng.normal(0, intercept), rng.normal(0, slope)
        for k in range(sessions):
            day, first = rng.normal(0, session), int(rng.integers(2))
            for b in range(blocks):
                u, on = rng.normal(0, block), (b + first) % 2
                for i in range(shots):
                    y = 2 + own + day + u + on * (1 + shift) + rng.normal(0, noise)
                    rows.append(
                        (f"s{s:02d}", f"s{s:02d}-{k}", f"s{s:02d}-{k}-{b}", on, b - 1.5, np.log(1 + b * shots + i), y)
                    )
    table = pd.DataFrame(rows, columns=["student", "session", "block", "on", "per_c", "lshot_c", "y"])
    table["lshot_c"] -= table["lshot_c"].mean()
    return table


def cues(rng, students=18, sessions=2, shots=4):
    family = {"plain": "", "alder": "setup", "birch": "setup", "cedar": "intent"}
    rows = []
    for s in range(students):
        own, shift = rng.normal(0, 1), rng.normal(0, 0.5)
        each = {cue: rng.normal(0, 0.5) for cue in family}
        for k in range(sessions):
            day = rng.normal(0, 0.4)
            for b, cue in enumerate(rng.permutation(list(family))):
                u, on = rng.normal(0, 0.4), int(cue != "plain")
                for _ in range(shots):
                    y = own + day + u + on * (1 + shift + each[cue]) + rng.normal(0, 1.2)
                    rows.append((f"s{s:02d}", f"s{s:02d}-{k}", f"s{s:02d}-{k}-{b}", cue, on, int(family[cue] == "setup"),
                                 int(family[cue] == "intent"), b - 1.5, y))  # fmt: skip
    return pd.DataFrame(
        rows, columns=["student", "session", "block", "cue", "on", "on_setup", "on_intent", "per_c", "y"]
    )


def make(name, rng):
    if name == "balanced":
        return lessons(rng)
    if name == "unbalanced":
        table = lessons(rng, students=20, sessions=3)
        return table[rng.random(len(table)) < np.where(table["student"] < "s06", 0.3, 0.8)]
    if name == "singular":
        return lessons(rng, students=8, sessions=1, slope=0.0, session=0.0, block=0.0)
    if name == "large":
        table = lessons(rng, students=12, shots=4)
        return table.assign(y=table["y"] + 1e6)
    if name == "tiny":
        table = lessons(rng, students=15, sessions=3, blocks=2, session=0.02, slope=0.0)
        return table.assign(y=table["y"] * 1e-6, x=rng.normal(2024, 3, len(table)))
    if name == "sparse":
        table = lessons(rng, students=16, sessions=2, blocks=6, shots=2)
        return table[(table.groupby("block").cumcount() == 0) | (rng.random(len(table)) < 0.25)]
    if name == "cues":
        return cues(rng)
    if name == "nested":
        table = lessons(rng, students=12, sessions=4, blocks=1, shots=6)
        return table.assign(session="d" + table["session"].str[-1], x=rng.normal(0, 1, len(table)))
    n = {"empty": 240, "crossed": 300, "slopes": 1200, "weighted": 250, "curved": 260, "both": 320}[name]
    student, cue = rng.integers(0, 15, n), rng.integers(0, 3, n)
    coach, item = rng.integers(0, 6, n), rng.integers(0, 9, n)
    x, on, w = rng.normal(0.5, 1, n), rng.integers(0, 2, n), rng.uniform(0.3, 3, n)
    own, shift = rng.normal(0, 1, (15, 3)), rng.normal(0, 0.7, 15)
    y = own[student, 0] + 0.6 * own[student, cue] + cue + (shift[student] + 0.5) * x + rng.normal(0, 1, 6)[coach]
    y = y + rng.normal(0, 0.5, 9)[item] + (rng.normal(0, 1, 6)[coach] + 0.4) * on + rng.normal(0, 1.3, n) / np.sqrt(w)
    table = pd.DataFrame({
        "student": [f"s{s:02d}" for s in student], "cue": np.array(["alder", "birch", "cedar"])[cue],
        "pattern": np.array(["down", "level", "up"])[student % 3], "coach": [f"c{c}" for c in coach],
        "item": [f"i{i}" for i in item], "on": on, "x": x, "w": w, "y": y,
    })  # fmt: skip
    if name == "empty":
        table = table[~((table["cue"] == "cedar") & (table["pattern"] == "level"))]
    return table


if __name__ == "__main__":
    for name, *_ in MODELS:
        table = make(name, np.random.default_rng(SEEDS.get(name, 100)))
        table.round(12 if name == "tiny" else 6).to_csv(HERE / f"{name}.csv", index=False)
    pd.DataFrame(MODELS, columns=["data", "formula", "weights", "factor", "by"]).to_csv(
        HERE / "models.csv", index=False
    )
