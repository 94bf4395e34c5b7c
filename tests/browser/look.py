"""Take a picture of a page to look at it: ``python tests/browser/look.py NOTEBOOK.ipynb out.png [--app]``.

A notebook is copied beside the demo data, opened in JupyterLab, run from top to bottom and shown in full; with
``--app`` the same in Voila. An HTML file is opened as it is. What went wrong is printed, and the exit code is then 1.
"""

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))  # so that `python -m tests.browser.look` works too

from harness import (  # noqa: E402
    lay_out,
    move_slider,
    obstacle,
    open_browser,
    open_notebook,
    open_page,
    run_all,
    serve,
    settle,
    take_picture,
)


def main() -> int:
    """Take the picture and return 0 where the page did nothing wrong."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("page", type=Path, help="a notebook or an HTML file")
    parser.add_argument("picture", type=Path, help="the PNG file to write")
    parser.add_argument("--app", action="store_true", help="the notebook as Voila shows it, without code")
    parser.add_argument("--width", type=int, default=1400, help="width of the window in pixels (a phone: 400)")
    moves = "first move the slider with this label by so many key presses; may be given again"
    parser.add_argument("--move", nargs=2, action="append", default=[], metavar=("SLIDER", "STEPS"), help=moves)
    asked = parser.parse_args()
    word = obstacle()
    if word:
        print(word)
        return 2
    with tempfile.TemporaryDirectory() as folder, open_browser() as browser:
        if asked.page.suffix != ".ipynb":
            return look(browser, asked, lambda visit: visit.page.goto(asked.page.resolve().as_uri()))
        project = lay_out(Path(folder) / "project", asked.page)
        with serve("voila" if asked.app else "jupyterlab", project, Path(folder) / "private") as server:
            return look(browser, asked, lambda visit: open_notebook(visit, server, asked.page.name), not asked.app)


def look(browser, asked, go, run=False) -> int:
    """Open the page with `go`, run its cells where asked, move what is to be moved, save the picture, say the faults."""
    with open_page(browser, asked.width) as visit:
        go(visit)
        if run:
            run_all(visit)
        settle(visit)
        for label, steps in asked.move:
            move_slider(visit, label, abs(int(steps)), "ArrowLeft" if int(steps) < 0 else "ArrowRight")
        take_picture(visit, asked.picture)
        print(asked.picture)
        faults = {
            "error in a cell": visit.errors,
            "error on the console": visit.console,
            "asked outside": visit.outside,
        }
    for kind, texts in faults.items():
        for text in texts:
            print(f"{kind}: {text}")
    return int(any(faults.values()))


if __name__ == "__main__":
    sys.exit(main())
