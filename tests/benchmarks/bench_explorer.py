"""What a move of the explorer's controls costs, from the new value to the finished picture and sentences."""

import io
import time
import warnings
from collections.abc import Callable

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from timing import Row

import coachlab as cl
from coachlab.academy import Academy
from coachlab.schema import OUTCOMES
from coachlab.widgets.explorer import Explorer

ROUNDS = 4
AIM = 0.39
"""150 ms against the 387 ms that the naive tool took (p95, two cores, in the browser) when the aim was set."""


def measure() -> list[Row]:
    """Time moves of the outcome's control: with every model refit, and with the answer found ahead."""
    academy = cl.simulate_academy(students=38, seed=1)
    panel = cl.explore_cues(academy.shots, academy.cues)
    tables = {outcome: naive_table(academy, outcome) for outcome in OUTCOMES}
    naive, refit, ahead = [], [], []
    outcomes = list(OUTCOMES)
    for turn in range(ROUNDS + 1):
        for outcome, other in zip(outcomes, [*outcomes[1:], outcomes[0]], strict=True):
            move(panel, other)
            forget(panel)
            times = [seconds(lambda outcome=outcome: move(panel, outcome))]
            move(panel, other)
            times.append(seconds(lambda outcome=outcome: move(panel, outcome)))
            times.append(seconds(lambda outcome=outcome: draw_naive(tables[outcome], outcome)))
            if turn:  # the first turn fills caches and is not timed
                for kept, taken in zip((refit, ahead, naive), times, strict=True):
                    kept.append(taken)
    yardstick = {
        "yardstick": "seaborn.pointplot of the same shots, 200 bootstraps, p95",
        "yardstick_s": p95(naive),
        "aim": AIM,
    }
    return [
        Row(what="a move, all models refit, p95", ours_s=p95(refit), **yardstick),
        Row(what="a move, answered ahead, p95", ours_s=p95(ahead), **yardstick),
    ]


def move(panel: Explorer, outcome: str) -> None:
    """Move the control; without a running loop the panel answers at once."""
    panel.controls["outcome"].value = outcome
    if panel.trouble.value or panel.view is None or panel.view.choice.outcome != outcome:
        raise RuntimeError(panel.trouble.value or "the panel did not follow its control")


def forget(panel: Explorer) -> None:
    """Take all answers from the panel, so that the next move has to fit every model; the model tables stay."""
    panel._views.clear()
    for key in [key for key in panel._known if key[0] == "answers"]:
        del panel._known[key]


def naive_table(academy: Academy, outcome: str) -> pd.DataFrame:
    """The model table with the students cut into three groups by their pattern, as one would without a model."""
    table = cl.model_table(academy.shots, outcome, cues=academy.cues)
    return table.assign(third=pd.qcut(table["pattern"], 3, labels=["low", "middle", "high"]))


def draw_naive(table: pd.DataFrame, outcome: str) -> bytes:
    """Means with bootstrap intervals by cue, and by cue and third of the pattern, drawn at the panel's size."""
    figure = Figure(figsize=(11.5, 3.6), dpi=100)
    FigureCanvasAgg(figure)
    left, right = figure.subplots(1, 2)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        sns.pointplot(table, x=outcome, y="cue", n_boot=200, linestyle="none", ax=left)
        sns.pointplot(table, x=outcome, y="cue", hue="third", n_boot=200, linestyle="none", ax=right)
    file = io.BytesIO()
    figure.savefig(file, format="png")
    return file.getvalue()


def seconds(action: Callable[[], object]) -> float:
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def p95(times: list[float]) -> float:
    return float(np.quantile(times, 0.95))
