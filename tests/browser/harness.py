"""A JupyterLab or Voila server and a headless browser, private to one run and cut off from every other machine.

Used by the tests (fixtures in ``conftest.py``) and by ``look.py``, which takes a picture of a page for the eye.
"""

import ctypes
import json
import os
import re
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

from playwright.sync_api import Browser, Locator, Page, sync_playwright

ROOT = Path(__file__).resolve().parents[2]
SETTINGS = ROOT / "coachlab" / "assets" / "jupyter"
_AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
PROGRAMS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]
OUTSIDE = re.compile(r"^(?:https?|wss?)://(?!127\.0\.0\.1[:/])")
PATIENCE_S = 180
"""How long anything that a test waits for may take: a busy machine is slow, and slow is not wrong."""
TALLEST = 16000  # pixels; Chromium's own limit for the side of a picture is 16384


def find_browser() -> str | None:
    """Return the path of an installed browser of the Chromium family, or None."""
    return next((path for path in map(shutil.which, PROGRAMS) if path), None)


def obstacle() -> str | None:
    """Return in words why no page can be opened here, or None."""
    if not find_browser():
        return "no browser of the Chromium family is installed"
    if sys.platform == "linux":
        try:
            ctypes.CDLL("libatomic.so.1")
        except OSError:
            return "Playwright's driver needs libatomic (on Debian: apt-get install libatomic1)"
    return None


def lay_out(folder: Path, *notebooks: Path) -> Path:
    """Lay the demo data and copies of notebooks out in a folder as they lie in the project; return the folder."""
    (folder / "notebooks").mkdir(parents=True)
    for notebook in notebooks or sorted(ROOT.glob("notebooks/*.ipynb")):
        shutil.copy(notebook, folder / "notebooks")
    shutil.copytree(ROOT / "data", folder / "data")
    return folder


# Servers --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Server:
    """A running server: ``program`` is jupyterlab or voila, ``folder`` what it serves."""

    program: str
    folder: Path
    url: str
    token: str

    def address(self, notebook: str) -> str:
        """Return the address of a notebook of ``folder/notebooks``."""
        path = quote(f"notebooks/{notebook}")
        if self.program == "voila":
            return f"{self.url}/voila/render/{path}"
        return f"{self.url}/doc/tree/{path}?token={self.token}&reset"

    def ask(self, path: str, method: str = "GET") -> bytes:
        """Return what the server answers."""
        header = {"Authorization": f"token {self.token}"}
        with urllib.request.urlopen(urllib.request.Request(self.url + path, method=method, headers=header)) as reply:
            return reply.read()

    def stop_kernels(self) -> None:
        """End the kernels of notebooks that were open, so that they do not pile up (Voila ends its own)."""
        if self.program == "jupyterlab":
            for kernel in json.loads(self.ask("/api/kernels")):
                self.ask(f"/api/kernels/{kernel['id']}", "DELETE")


@contextmanager
def serve(program: str, folder: Path, private: Path, patience_s: float = PATIENCE_S) -> Iterator[Server]:
    """Run a server on a folder, with the package's own settings and nobody's private ones, until the block ends."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = Server(program, folder, f"http://127.0.0.1:{port}", secrets.token_hex(16))
    options = {
        "jupyterlab": [
            *("--no-browser", "--allow-root", "--ServerApp.ip=127.0.0.1", f"--ServerApp.port={port}"),
            *("--ServerApp.port_retries=0", f"--ServerApp.root_dir={folder}", "--LabApp.expose_app_in_browser=True"),
            f"--IdentityProvider.token={server.token}",
        ],
        "voila": [str(folder), "--no-browser", "--Voila.ip=127.0.0.1", f"--port={port}"],
    }[program]
    names = ["CONFIG_DIR", "DATA_DIR", "RUNTIME_DIR", "LAB_SETTINGS_DIR", "LAB_WORKSPACES_DIR"]
    own = {f"JUPYTER{'' if name.startswith('LAB') else '_'}{name}": str(private / name.lower()) for name in names}
    own |= {"IPYTHONDIR": str(private / "ipython"), "JUPYTER_PATH": str(SETTINGS), "JUPYTER_CONFIG_PATH": str(SETTINGS)}
    private.mkdir(parents=True, exist_ok=True)
    log = private / "server.log"
    with log.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", program, *options],
            cwd=folder,
            env=os.environ | own,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
    try:
        wait_for(server, process, log, patience_s)
        yield server
    finally:
        stop(process)


def wait_for(server: Server, process: subprocess.Popen, log: Path, patience_s: float) -> None:
    """Return once the server answers; raise with the end of its log where it does not."""
    end = time.monotonic() + patience_s
    while process.poll() is None and time.monotonic() < end:
        try:
            server.ask("/api/status" if server.program == "jupyterlab" else "/")
            return
        except urllib.error.HTTPError as error:
            error.close()
            raise
        except OSError:
            time.sleep(0.1)
    raise RuntimeError(f"{server.program} did not start:\n" + "\n".join(log.read_text().splitlines()[-20:]))


def stop(process: subprocess.Popen) -> None:
    """End a server with all that runs in its process group; it ends its kernels itself when asked politely."""
    for wish in (signal.SIGTERM, signal.SIGKILL):
        if process.poll() is None:
            os.killpg(process.pid, wish) if hasattr(os, "killpg") else process.terminate()
            try:
                process.wait(15)
            except subprocess.TimeoutExpired:
                continue


# Pages ----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Visit:
    """An open page, and what it should not have done: errors on its console, requests to other machines."""

    page: Page
    console: list[str] = field(default_factory=list)
    outside: list[str] = field(default_factory=list)

    @property
    def outputs(self) -> Locator:
        """What cells have shown; code and markdown cells are not part of it."""
        return self.page.locator(".jp-OutputArea-output")

    @property
    def errors(self) -> list[str]:
        """The text of every traceback and every line on stderr that a cell or a widget shows."""
        kinds = [f'[data-mime-type="application/vnd.jupyter.{kind}"]' for kind in ("error", "stderr")]
        return self.page.locator(", ".join(kinds)).all_inner_texts()


@contextmanager
def open_browser() -> Iterator[Browser]:
    """Run the installed browser without a window until the block ends."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=find_browser(), args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def open_page(browser: Browser, width: int = 1400, height: int = 1000) -> Iterator[Visit]:
    """Open an empty page that can reach this machine only and whose misdeeds are collected."""
    context = browser.new_context(viewport={"width": width, "height": height})
    context.set_default_timeout(PATIENCE_S * 1000)
    context.add_init_script(_UNANSWERED)
    visit = Visit(context.new_page())

    def refuse(route) -> None:
        visit.outside.append(route.request.url)
        route.abort()

    context.route(OUTSIDE, refuse)
    visit.page.on("websocket", lambda socket: visit.outside.append(socket.url) if OUTSIDE.match(socket.url) else None)
    visit.page.on("console", lambda line: visit.console.append(line.text) if line.type == "error" else None)
    visit.page.on("pageerror", lambda error: visit.console.append(str(error)))
    try:
        yield visit
    finally:
        context.close()


def open_notebook(visit: Visit, server: Server, notebook: str) -> None:
    """Open a notebook: in JupyterLab until its kernel is idle, in Voila until all of it is shown."""
    visit.page.goto(server.address(notebook))
    if server.program == "voila":
        visit.page.locator("#rendered_cells").wait_for(state="visible")
        settle(visit)
        return
    visit.page.wait_for_function("window.jupyterapp?.shell?.currentWidget?.context?.isReady")
    visit.page.evaluate("window.jupyterapp.started.then(() => null)")
    visit.page.wait_for_function(IDLE)


IDLE = "window.jupyterapp.shell.currentWidget.sessionContext.session?.kernel?.status === 'idle'"


def run_all(visit: Visit) -> None:
    """Run every cell of the notebook that is open in JupyterLab, and wait until nothing moves any more."""
    visit.page.evaluate("window.jupyterapp.commands.execute('notebook:run-all-cells').then(() => null)")
    settle(visit)


_UNANSWERED = """(() => {
    // Widgets' messages that a kernel has not done with yet: it says "idle" to each, and sends what follows before.
    const waiting = (window.unanswered = new Map());
    const text = new TextDecoder();
    const parts = (data) => {
        if (typeof data === "string") {
            const { channel, header, parent_header } = JSON.parse(data);
            return { channel, header, parent: parent_header, content: () => JSON.parse(data).content };
        }
        const view = new DataView(data);
        const at = (n) => Number(view.getBigUint64(8 * (n + 1), true));
        const piece = (n) => text.decode(new Uint8Array(data, at(n), at(n + 1) - at(n)));
        const json = (n) => JSON.parse(piece(n));
        return { channel: piece(0), header: json(1), parent: json(2), content: () => json(4) };
    };
    const bare = (data) => (ArrayBuffer.isView(data) ? data.slice().buffer : data);
    window.WebSocket = class extends window.WebSocket {
        constructor(...given) {
            super(...given);
            if (!/\\/channels(\\?|$)/.test(this.url)) return;
            this.binaryType = "arraybuffer";
            this.addEventListener("message", ({ data }) => {
                const { channel, header, parent, content } = parts(data);
                if (channel !== "iopub" || header.msg_type !== "status") return;
                if (content().execution_state === "idle") waiting.delete(parent.msg_id);
            });
            this.addEventListener("close", () => {
                for (const [id, socket] of waiting) if (socket === this) waiting.delete(id);
            });
        }
        send(data) {
            if (/\\/channels(\\?|$)/.test(this.url)) {
                const { header } = parts(bare(data));
                if (header.msg_type === "comm_msg") waiting.set(header.msg_id, this);
            }
            super.send(data);
        }
    };
})()"""


def settle(visit: Visit, patience_s: float = PATIENCE_S, quiet_ms: int = 300) -> None:
    """Wait until every message of a widget is answered, the kernel is idle and the page has not changed for a while.

    The while is counted in turns of the page too, so that a page that got no time is not taken for a quiet one; what
    the page itself has put off by less than ``quiet_ms`` is done by then.
    """
    quiet = """([quiet, patience]) => new Promise((done, fail) => requestAnimationFrame(() => {
        const turn = 25;
        const start = performance.now();
        let [last, turns] = [start, 0];
        const again = () => { [last, turns] = [performance.now(), 0]; };
        const watch = new MutationObserver(again);
        watch.observe(document.body, {subtree: true, childList: true, attributes: true, characterData: true});
        const status = () => window.jupyterapp?.shell?.currentWidget?.sessionContext?.session?.kernel?.status ?? "idle";
        const look = setInterval(() => {
            turns += 1;
            if (status() !== "idle" || window.unanswered?.size) again();
            const over = performance.now() - start > patience;
            if ((performance.now() - last < quiet || turns < quiet / turn) && !over) return;
            clearInterval(look);
            watch.disconnect();
            over ? fail(new Error("the page did not come to rest")) : done(null);
        }, turn);
    }))"""
    visit.page.evaluate(quiet, [quiet_ms, patience_s * 1000])


def slider(visit: Visit, label: str) -> Locator:
    """Return the handle of the slider with this label (of ipywidgets), or this accessible name (of any other)."""
    named = visit.page.get_by_role("slider", name=label, exact=True)
    row = visit.page.locator(".jupyter-widgets", has=visit.page.locator(f'.widget-label:text-is("{label}")'))
    return named.or_(row.get_by_role("slider")).first


def move_slider(visit: Visit, label: str, presses: int = 1, key: str = "ArrowRight") -> None:
    """Move a slider with the keyboard, as somebody without a mouse would, and wait for what follows."""
    handle = slider(visit, label)
    handle.focus()
    for _ in range(presses):
        handle.press(key)
    settle(visit)


def take_picture(visit: Visit, path: Path) -> None:
    """Save the page as a PNG, in full: a notebook scrolls inside its panel, so the window grows to fit it first."""
    bottom = """() => {
        let bottom = 0;
        for (const cell of document.querySelectorAll(".jp-NotebookPanel .jp-Cell, #rendered_cells .jp-Cell")) {
            let here = cell.getBoundingClientRect().bottom;
            for (let around = cell.parentElement; around; around = around.parentElement) here += around.scrollTop;
            bottom = Math.max(bottom, here);
        }
        return Math.ceil(bottom);
    }"""
    below = 60  # the status bar of JupyterLab and some air
    size = visit.page.viewport_size or {"width": 1400, "height": 1000}
    for _ in range(2):  # a taller window may lay the page out anew
        tall = visit.page.evaluate(bottom) + below
        size = size | {"height": min(TALLEST, max(size["height"], tall))}
        visit.page.set_viewport_size(size)
        settle(visit)
    visit.page.screenshot(path=path, full_page=True)


def grave(page: Page, inside: str) -> dict[str, list[str]]:
    """Return what axe-core calls serious or critical inside an element, once nothing moves or fades any more."""
    page.locator(inside).first.wait_for()
    page.evaluate(_AXE)
    found = page.evaluate(
        """async (inside) => {
            await Promise.allSettled(document.getAnimations().map((one) => one.finished));
            return (await axe.run(inside, {resultTypes: ["violations"]})).violations;
        }""",
        inside,
    )
    rules = [rule for rule in found if rule["impact"] in ("serious", "critical")]
    return {rule["id"]: [node["html"] for node in rule["nodes"]] for rule in rules}
