"""Looks at a fit: one student left out in turn from sums, beside fitting the rows anew; and all twelve looks at once."""

import warnings

import numpy as np
import pandas as pd
from timing import Row, paired

import coachlab as cl
from coachlab.mixed.influence import leave_out

STUDENTS = 24
M1 = "y ~ on + per_c + lshot_c + (1 + on | student) + (1 | block)"
SAME = 1e-6  # in the response's unit: what the two ways of leaving out may differ by


def measure() -> list[Row]:
    """Time leaving out each of 24 students, and the twelve looks beside a single fit of statsmodels."""
    data = lessons()
    whole = cl.fit_mixed(M1, data)
    students = list(data["student"].unique())

    def from_sums() -> np.ndarray:
        return leave_out(whole, "student", "on").table["estimate"].to_numpy()

    def from_rows() -> np.ndarray:
        fits = [cl.fit_mixed(M1, data[data["student"] != student]) for student in students]
        return np.array([fit.coefficients().table["estimate"][1] for fit in fits])

    if np.abs(from_sums() - from_rows()).max() > SAME:
        raise ValueError("leaving out from sums and from rows give different answers")
    one = data[data["student"] != students[0]]
    sums_s, rows_s = paired(from_sums, from_rows, 5)
    each_s, theirs_s = paired(lambda: from_sums(), lambda: theirs(one), 3)
    academy = cl.simulate_academy(students=38, seed=1, rogue=False)
    table = cl.model_table(academy.shots, cues=academy.cues)
    looks_s, single_s = paired(lambda: cl.diagnose(table, "I2", seed=1), lambda: theirs(data), 3)
    return [
        Row(
            what=f"{STUDENTS} students left out in turn, from sums ({len(data)} shots)",
            ours_s=sums_s,
            yardstick="our own fits of the rows left",
            yardstick_s=rows_s,
            aim=0.5,
        ),
        Row(
            what="one student left out, from sums",
            ours_s=each_s / STUDENTS,
            yardstick="statsmodels MixedLM, one fit of the rows left",
            yardstick_s=theirs_s,
            aim=0.05,
        ),
        Row(
            what="twelve looks at one cue, 999 simulated studies",
            ours_s=looks_s,
            yardstick="statsmodels MixedLM, one fit of a study of that size",
            yardstick_s=single_s,
            aim=None,
        ),
    ]


def theirs(data: pd.DataFrame) -> object:
    """Fit the same model with the general-purpose routine."""
    import statsmodels.formula.api as smf

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = smf.mixedlm(
            "y ~ on + per_c + lshot_c",
            data,
            groups="student",
            re_formula="1 + on",
            vc_formula={"block": "0 + C(block)"},
        )
        return model.fit(method=["lbfgs"])


def lessons(seed: int = 0, blocks: int = 4, shots: int = 9) -> pd.DataFrame:
    """Simulate a study of one cue: two plain and two cue blocks a student, in either order."""
    rng = np.random.default_rng(seed)
    n = STUDENTS * blocks * shots
    student, block = np.arange(n) // (blocks * shots), np.arange(n) // shots
    on, shot = ((block + student) % 2).astype(float), np.arange(n) % (blocks * shots) + 1.0
    y = rng.normal(0, 2, STUDENTS)[student] + on * rng.normal(1, 1, STUDENTS)[student]
    y = y + rng.normal(0, 0.6, block[-1] + 1)[block] + rng.normal(0, 1.8, n)
    frame = pd.DataFrame(
        {"student": [f"s{code:02d}" for code in student], "block": [f"b{code:03d}" for code in block]}
    ).astype("object")
    return frame.assign(on=on, per_c=block % blocks - 1.5, lshot_c=np.log(shot) - 2.7, y=y)
