"""What the whole report costs beside a bare notebook of the same length that reads nothing and fits nothing."""

import tempfile
import time
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from nbconvert import HTMLExporter
from timing import Row
from traitlets.config import Config

from coachlab.report.export import write_report
from coachlab.report.places import shipped

REPEATS = 2
BARE = [
    "import numpy as np, pandas as pd, scipy.stats, formulaic\nimport matplotlib.pyplot as plt, seaborn as sns",
    *["fig, ax = plt.subplots(); sns.pointplot(x=np.arange(500) % 7, y=np.arange(500.0) % 13, ax=ax); fig"] * 10,
]


def measure() -> list[Row]:
    """Time both in turn; a kernel of its own for each run, as a user has it."""
    times: tuple[list[float], list[float]] = ([], [])
    with tempfile.TemporaryDirectory() as place:
        for turn in range(REPEATS + 1):
            for which, run in enumerate((lambda: write_report(shipped("data/demo"), place), bare)):
                start = time.perf_counter()
                run()
                if turn:  # the first turn fills the disk's cache
                    times[which].append(time.perf_counter() - start)
        size = (Path(place) / "academy-report.html").stat().st_size
    what = f"write_report of the demo: 12,000 shots, 42 models, 10 pictures, {size / 1000:.0f} kB"
    yardstick = "bare notebook: same imports, 10 seaborn plots, nbclient and nbconvert"
    return [Row(what=what, ours_s=min(times[0]), yardstick=yardstick, yardstick_s=min(times[1]), aim=2.0)]


def bare() -> None:
    """Run and export a notebook that only imports and draws."""
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(source) for source in BARE])
    quiet = Config({"KernelManager": {"transport_encryption": "auto"}})
    HTMLExporter().from_notebook_node(NotebookClient(notebook, kernel_name="python3", config=quiet).execute())
