"""Mixed models: fits of an academy's size against statsmodels and, where R is installed, lme4.

The data are simulated here. Every timed fit starts from a table and a formula and ends with coefficients and intervals.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
from timing import Row, paired

import coachlab as cl

M1 = "y ~ on + per_c + lshot_c + (1 + on | student) + (1 | session) + (1 | block)"
M2 = "y ~ cue * pattern + club + (1 + on | student) + (1 | student:session)"
M3 = M2 + " + (1 | coach)"
SMALL = "y ~ on + (1 + on | student) + (1 | block)"
STUDIES = 1000  # simulated responses in one turn of ours; R's seconds are of REFITS of them, times as many
REFITS = 50
LONG = "COACHLAB_BENCH_LONG"  # set it for the largest row too: minutes in lme4
ABOVE = 1e-8  # relative: what our criterion may exceed another's by


def measure() -> list[Row]:
    """Return the rows of the table; a deviance above the yardstick's is an error, not a time."""
    return [*against_statsmodels(), *against_packages(), *against_lme4()]


def lessons(students: int, sessions: int, blocks: int, shots: int, seed: int = 0) -> pd.DataFrame:
    """Simulate alternating blocks of plain and cue with shifts by student, session and block."""
    rng = np.random.default_rng(seed)
    n = students * sessions * blocks * shots
    student, session, block = (np.arange(n) // size for size in (n // students, blocks * shots, shots))
    on, own, shift = block % 2, rng.normal(0, 1, students), rng.normal(0, 0.6, students)
    at = np.arange(n) % (blocks * shots)
    y = own[student] + on * (1 + shift[student]) + rng.normal(0, 0.4, session[-1] + 1)[session]
    y = y + rng.normal(0, 0.4, block[-1] + 1)[block] + rng.normal(0, 2, n)
    words = {"student": student, "session": session, "block": block}
    frame = pd.DataFrame({name: pd.Series(codes).map("{:05d}".format) for name, codes in words.items()})
    return frame.assign(on=on, per_c=block % blocks - (blocks - 1) / 2, lshot_c=np.log1p(at) - 3, y=y)


def clubs(students: int, mean_shots: int = 58, seed: int = 0) -> pd.DataFrame:
    """Simulate students of several patterns and coaches who hit many clubs with four cues in a few sessions."""
    rng = np.random.default_rng(seed)
    per = rng.poisson(mean_shots, students) + 4
    student = np.repeat(np.arange(students), per)
    n = len(student)
    session = rng.integers(0, 3, n)
    cue, club = rng.integers(0, 4, n), rng.integers(0, 16, n)
    pattern = rng.integers(0, 4, students)[student]
    coach = (student % 40 + (rng.random(n) < 0.1)) % 40
    y = rng.normal(0, 1, students)[student] + (cue > 0) * (1 + rng.normal(0, 0.5, students)[student]) + 0.3 * pattern
    y = y + rng.normal(0, 0.4, (students, 3))[student, session] + rng.normal(0, 0.5, 40)[coach] + 0.1 * club
    words = {"cue": cue, "pattern": pattern, "club": club, "coach": coach, "session": session, "student": student}
    frame = pd.DataFrame(
        {name: pd.Categorical([f"{name}-{i}" for i in range(codes.max() + 1)])[codes] for name, codes in words.items()}
    )
    return frame.assign(on=(cue > 0).astype(float), y=y + rng.normal(0, 2, n))


def ours(formula, data):
    fit = cl.fit_mixed(formula, data)
    fit.coefficients()
    return fit


def again(fit, response):
    return fit.refit(response).coefficients()


def against_statsmodels() -> list[Row]:
    """Fit students' slopes with sessions and blocks as variance components, and the small study of a widget."""
    import statsmodels.formula.api as smf

    def theirs(data):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            parts = {"session": "0 + C(session)", "block": "0 + C(block)"}
            model = smf.mixedlm(
                "y ~ on + per_c + lshot_c", data, groups="student", re_formula="1 + on", vc_formula=parts
            )
            return model.fit(method=["lbfgs"])

    rows = []
    for label, data, repeats in (
        ("27 students x 36 shots, sessions and blocks", lessons(27, 1, 4, 9), 3),
        ("11,856 shots, 38 students, 228 sessions, 912 blocks", lessons(38, 6, 4, 13), 1),
    ):
        found, other = ours(M1, data), theirs(data)
        not_above(found.criterion, -2 * other.llf, label)
        mine, his = paired(partial(ours, M1, data), partial(theirs, data), repeats)
        rows.append(Row(what=label, ours_s=mine, yardstick="statsmodels MixedLM", yardstick_s=his, aim=0.01))
    return rows


def not_above(mine, other, what):
    if mine > other + ABOVE * abs(other):
        raise ValueError(f"{what}: our criterion {mine} is above {other}")


R_FIT = """
suppressPackageStartupMessages({library(lme4); library(lmerTest); library(pbkrtest)})
args <- commandArgs(TRUE)
d <- read.csv(args[1], stringsAsFactors = TRUE); d$student <- factor(d$student); d$session <- factor(d$session)
if ("block" %in% names(d)) d$block <- factor(d$block)
quick <- lmerControl(calc.derivs = FALSE)
fit <- lme4::lmer(as.formula(args[2]), d, control = quick)
cat("ready", sprintf("%.12g", REMLcrit(fit)), "\\n"); flush.console()
kr <- args[3] == "kr"; again <- args[3] == "refit"
drawn <- if (again) simulate(fit, as.integer(args[4]), seed = 1)
input <- file("stdin", "r")
while (length(readLines(input, 1)) > 0) {
  start <- proc.time()[[3]]
  if (kr) { v <- vcovAdj(fit); for (i in seq_along(fixef(fit))) { L <- rep(0, length(fixef(fit))); L[i] <- 1; Lb_ddf(L, vcov(fit), v) } }
  else if (again) { for (y in drawn) refit(fit, y, control = quick) }
  else fit <- lme4::lmer(as.formula(args[2]), d, control = quick)
  cat(sprintf("%.6f", proc.time()[[3]] - start), "\\n"); flush.console()
}
"""


PYTHON_FIT = """
import sys, time, warnings
import pandas as pd
warnings.simplefilter("ignore")
package, path, formula = sys.argv[1:4]
data = pd.read_csv(path, dtype={name: str for name in ("student", "session", "block")})
if package == "glmm":
    import glmm
    fit = lambda: glmm.fit(data, formula, reml=True)
else:
    import mixedlm
    fit = lambda: mixedlm.lmer(formula, data)
fit()
print("ready nan", flush=True)
for line in sys.stdin:
    start = time.perf_counter()
    fit()
    print(time.perf_counter() - start, flush=True)
"""


class Other:
    """A process of another program with one data set, so that both are timed in turn; its own clock is read."""

    def __init__(self, folder, call, script, data, *arguments):
        data.to_csv(folder / "data.csv", index=False)
        (folder / "script").write_text(script, encoding="utf-8")
        command = [*call, str(folder / "script"), *(str(folder / "data.csv") if a is DATA else a for a in arguments)]
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )
        ready = self.process.stdout.readline().split()
        if not ready:
            raise ValueError(f"{' '.join(call)} could not fit {[a for a in arguments if a is not DATA]}")
        self.criterion = float(ready[1])

    def seconds(self) -> float:
        """Fit once and return the seconds it took."""
        self.process.stdin.write("go\n")
        self.process.stdin.flush()
        return float(self.process.stdout.readline())

    def close(self):
        self.process.stdin.close()
        self.process.wait()


DATA = object()


def in_turn(work, other, repeats):
    """Median seconds of both."""
    work()
    mine, his = [], []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        mine.append(time.perf_counter() - start)
        his.append(other.seconds())
    return float(np.median(mine)), float(np.median(his))


def against_packages() -> list[Row]:
    """Fit with two other packages of Python, installed into an environment that lives as long as this run."""
    rows = []
    cases = [("11,856 shots, sessions and blocks", M1, lessons(38, 6, 4, 13)), ("12k shots, m2", M2, clubs(206))]
    with tempfile.TemporaryDirectory() as home:
        python = str(Path(home) / "bin" / "python")
        make = [
            [sys.executable, "-m", "venv", home],
            [python, "-m", "pip", "install", "-q", "glmm", "mixedlm", "pandas"],
        ]
        if any(subprocess.run(command, capture_output=True).returncode for command in make):
            print("mixed: glmm and mixedlm cannot be installed here; their rows are left out", file=sys.stderr)
            return []
        for what, formula, data in cases:
            for package in ("glmm", "mixedlm"):
                with tempfile.TemporaryDirectory() as folder:
                    try:
                        other = Other(Path(folder), [python], PYTHON_FIT, data, package, DATA, formula)
                    except ValueError as err:
                        print(f"mixed: {err}; left out", file=sys.stderr)
                        continue
                    mine, his = in_turn(partial(ours, formula, data), other, 5)
                    other.close()
                rows.append(Row(what=what, ours_s=mine, yardstick=package, yardstick_s=his, aim=1.0))
    return rows


def against_lme4() -> list[Row]:
    """Fit the models of the engine's table; without R they are left out with a word."""
    if (
        not shutil.which("Rscript")
        or subprocess.run(
            ["Rscript", "-e", "library(lme4); library(lmerTest); library(pbkrtest)"], capture_output=True
        ).returncode
    ):
        print("mixed: R with lme4, lmerTest and pbkrtest is not installed; its rows are left out", file=sys.stderr)
        return []
    small, academy = clubs(26), clubs(206)
    cases = [
        ("12k shots, m2", M2, academy, 5, 0.03, "fit"),
        ("12k shots, m2, refit on a cached design", M2, academy, 5, 0.01, "refit"),
        ("116k shots, 2,000 students, m2", M2, clubs(2000), 3, 0.01, "fit"),
        *([("1.17M shots, 20,000 students, m3", M3, clubs(20000), 1, 0.01, "fit")] if os.environ.get(LONG) else []),
        ("1,500 shots, Kenward-Roger, all coefficients", M2, small, 3, 0.01, "kr"),
        (f"{STUDIES} simulated studies, 24 students x 60 shots", SMALL, lessons(24, 1, 6, 10), 5, 0.03, "studies"),
        (f"{STUDIES} draws of its students, refitted", SMALL, lessons(24, 1, 6, 10), 5, 0.03, "students"),
    ]
    rows = []
    for what, formula, data, repeats, aim, kind in cases:
        with tempfile.TemporaryDirectory() as folder:
            part = {"kr": "kr", "studies": "refit", "students": "refit"}.get(kind, "fit")
            other = Other(Path(folder), ["Rscript"], R_FIT, data, DATA, formula, part, str(REFITS))
            try:
                fit = ours(formula, data)
                not_above(fit.criterion, other.criterion, what)
                work = {
                    "fit": partial(ours, formula, data),
                    "refit": partial(again, fit, data["y"].to_numpy() + 0.1 * np.sin(np.arange(len(data)))),
                    "kr": partial(fit.coefficients, df="kenward-roger"),
                    "studies": partial(cl.bootstrap, fit, refits=STUDIES, seed=1),
                    "students": partial(cl.bootstrap, fit, by="student", refits=STUDIES, seed=1),
                }[kind]
                mine, his = in_turn(work, other, repeats)
                his *= STUDIES / REFITS if part == "refit" else 1
            finally:
                other.close()
        name = {"kr": "pbkrtest", "refit": "lme4 refit"}.get(part, "lme4, calc.derivs=FALSE")
        rows.append(Row(what=what, ours_s=mine, yardstick=name, yardstick_s=his, aim=aim))
    return rows
