"""What an answer of the panels costs that ask: a block into the lesson log, a correction of the column map."""

import io
import json
from pathlib import Path

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from timing import Row, paired

import coachlab as cl
from coachlab.widgets.sheet import Sheet

DEMO = Path(__file__).resolve().parents[2] / "data" / "demo"
PHASES = ("warmup", "plain", "reset", "plain", "reset", "plain", "reset", "plain")


def measure() -> list[Row]:
    """Time both against what a notebook does otherwise: draw the strip as a picture, read the file with pandas."""
    shots = cl.clean_shots(cl.read_shots(DEMO / "bay-3.csv", DEMO / "bay-3.toml"))
    lesson = cl.lesson_panel(shots, cl.read_cues(DEMO / "cues.toml"), session="v0008")
    lesson.act("set", {"pain": 0})
    lesson.act("screened")
    for phase in PHASES[:-1]:
        lesson.act("set", {"phase": phase})
        lesson.act("add")
    strip = lesson.page.ledger.shots

    def add_and_take_out() -> None:
        answer(lesson, "set", {"phase": "plain"})
        answer(lesson, "add", {})
        answer(lesson, "remove", {"row": len(lesson.page.ledger.blocks) - 1})

    def draw() -> None:
        for _ in range(3):
            picture(strip["shot"].to_numpy(), strip["attack_up_deg"].to_numpy())

    mapping = cl.map_panel(DEMO / "bay-3.csv", folder=".")
    place = mapping.page.proposal.table.index[mapping.page.proposal.table["heading"] == "Swings to [°]"][0]
    sides = iter(["right", "left"] * 50)

    def turn() -> None:
        answer(mapping, "set", {f"side {place}": next(sides)})

    ours, drawn = paired(add_and_take_out, draw)
    turned, read = paired(turn, lambda: cl.read_shots(DEMO / "bay-3.csv", DEMO / "bay-3.toml"))
    return [
        Row(what="three answers of the lesson log", ours_s=ours, yardstick="the strip drawn three times by matplotlib",
            yardstick_s=drawn, aim=1.0),
        Row(what="a correction of the map, 3,501 rows read again", ours_s=turned, yardstick="read_shots alone",
            yardstick_s=read, aim=1.5),
    ]  # fmt: skip


def answer(panel: Sheet, action: str, values: dict) -> str:
    """Do an action, and write down what would go to the browser."""
    panel.act(action, values)
    if any(part.get("error") for part in panel.parts):
        raise RuntimeError(panel.said)
    return json.dumps(panel.parts)


def picture(shot: np.ndarray, value: np.ndarray) -> bytes:
    """The same shots as a plain picture of a notebook."""
    figure = Figure(figsize=(9, 2.6), dpi=100)
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    axes.plot(shot, value, "o")
    for start in range(1, len(shot), 9):
        axes.axvspan(start, start + 8, alpha=0.2)
    file = io.BytesIO()
    figure.savefig(file, format="png")
    return file.getvalue()
