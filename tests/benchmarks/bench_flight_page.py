"""From a hand on a slider to pixels: the ball-flight page against the same slider with the physics left in Python.

Both stand in the app in one headless browser and are dragged in turn with a real pointer. A move counts from the
slider's event to the frame painted after something was drawn on a canvas; and, since a browser keeps a pointer's moves
back until its next frame (up to 17 ms at 60 a second), from the pointer's own time stamp too.
"""

import statistics
import sys
import tempfile
from pathlib import Path

import nbformat
import numpy as np
from timing import Row

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))  # the harness stands beside its tests

from harness import ROOT, lay_out, open_browser, open_notebook, open_page, serve  # noqa: E402

MOVES, TURNS = 60, 3
AIM = 0.2
"""16 ms against the 80 ms that physics in Python took (p95, two cores) when the aim was set; the must is 33 ms."""

YARDSTICK = '''
import anywidget, traitlets, coachlab as cl

class Slider(anywidget.AnyWidget):
    _esm = """
    export default { render({ model, el }) {
      const slider = Object.assign(document.createElement("input"), { type: "range", min: -20, max: 20, step: 0.1, value: 0 });
      slider.style.width = "100%";
      const canvas = Object.assign(document.createElement("canvas"), { width: 760, height: 320 });
      el.append(slider, canvas);
      const pen = canvas.getContext("2d");
      slider.addEventListener("input", () => { model.set("face", slider.valueAsNumber); model.save_changes(); });
      model.on("change:track", () => requestAnimationFrame(() => {
        pen.clearRect(0, 0, 760, 320);
        pen.beginPath();
        for (const [x, side] of model.get("track")) pen.lineTo(3 * x, 160 + 3 * side);
        pen.stroke();
      }));
    } };
    """
    face = traitlets.Float(0.0).tag(sync=True)
    track = traitlets.List().tag(sync=True)

    @traitlets.observe("face")
    def _fly(self, change):
        track = cl.fly(cl.strike(cl.Delivery(41.0, -1.5, 0.0, change["new"], 14.0))).track
        self.track = [list(pair) for pair in zip(track["x_m"].tolist(), track["side_m"].tolist())]

Slider()
'''

WATCH = """() => {
    window.latencies = []; window.frames = 0;
    let pointer = 0, asked = null;
    addEventListener("pointermove", (event) => { pointer = event.timeStamp; }, true);
    addEventListener("input", () => { asked = asked ?? [performance.now(), pointer]; }, true);
    // both pages draw in an animation frame: a message sent from there comes after that frame is painted
    const painted = new MessageChannel();
    painted.port1.onmessage = ({ data }) => window.latencies.push(data.map((since) => performance.now() - since));
    const plain = CanvasRenderingContext2D.prototype.stroke;
    CanvasRenderingContext2D.prototype.stroke = function (...path) {
        if (asked) { window.frames += 1; painted.port2.postMessage(asked); asked = null; }
        return plain.apply(this, path);
    };
}"""


def measure() -> list[Row]:
    """Drag both sliders in turn and compare the 95th percentiles."""
    ours, theirs, ours_frames, their_frames = [], [], [], []
    with tempfile.TemporaryDirectory() as place, open_browser() as browser:
        folder = lay_out(Path(place) / "project", ROOT / "notebooks" / "ball-flight.ipynb")
        cell = nbformat.v4.new_code_cell(YARDSTICK, id="yardstick")
        kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
        nbformat.write(
            nbformat.v4.new_notebook(cells=[cell], metadata={"kernelspec": kernel}),
            folder / "notebooks" / "yardstick.ipynb",
        )
        with (
            serve("voila", folder, Path(place) / "private") as app,
            open_page(browser, 1280) as mine,
            open_page(browser, 1280) as other,
        ):
            open_notebook(mine, app, "ball-flight.ipynb")
            open_notebook(other, app, "yardstick.ipynb")
            for visit in (mine, other):
                visit.page.evaluate(WATCH)
            for turn in range(TURNS + 1):
                for visit, handle, times, frames in (
                    (mine, "[id$='-face_open_deg']", ours, ours_frames),
                    (other, "input[type=range]", theirs, their_frames),
                ):
                    found, drawn = drag(visit.page, handle)
                    if turn:  # the first turn warms both up and is not counted
                        times += found
                        frames.append(drawn)
            faults = mine.console + other.console
    if faults or len(ours) < MOVES or not theirs:
        raise RuntimeError(f"the pages did not follow the pointer: {faults or (len(ours), len(theirs))}")
    mine_ms, other_ms = np.array(ours).T, np.array(theirs).T
    frames = (
        f"{statistics.mean(ours_frames):.0f} frames drawn of {MOVES} moves, theirs {statistics.mean(their_frames):.0f}"
    )
    return [
        Row(
            what=f"{name} to pixels, {which}" + (f"; {frames}" if aim else ""),
            ours_s=float(np.quantile(mine_ms[at], q)) / 1000,
            yardstick="the same slider, physics in Python",
            yardstick_s=float(np.quantile(other_ms[at], q)) / 1000,
            aim=aim,
        )
        for at, name, which, q, aim in (
            (0, "slider", "p95", 0.95, AIM),
            (0, "slider", "p50", 0.5, None),
            (1, "pointer", "p95", 0.95, None),
        )
    ]


def drag(page, handle: str) -> tuple[list[list[float]], int]:
    """Drag a slider to and fro for about a second; return the milliseconds of each move and how many frames were drawn."""
    page.bring_to_front()
    page.evaluate("window.latencies = []; window.frames = 0;")
    slider = page.locator(handle)
    slider.scroll_into_view_if_needed()
    box = slider.bounding_box()
    y, middle = box["y"] + box["height"] / 2, box["x"] + box["width"] / 2
    page.mouse.move(middle, y)
    page.mouse.down()
    for at in range(MOVES):
        page.mouse.move(middle + 0.4 * box["width"] * np.sin(2 * np.pi * at / MOVES), y)
        page.wait_for_timeout(14)  # with the way to the browser about one frame
    page.mouse.up()
    page.wait_for_timeout(300)
    return page.evaluate("[window.latencies, window.frames]")
