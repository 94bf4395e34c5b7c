"""Looks whether everything stands that the kit needs, and says what to do where it does not."""

import os
import platform
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path

from coachlab.errors import DataError
from coachlab.report.places import shipped

BROWSERS = ("google-chrome", "chromium", "chromium-browser", "microsoft-edge", "msedge", "chrome", "firefox", "safari")


@dataclass(frozen=True)
class Finding:
    """One thing that was looked at: ``state`` is ok, note or wrong; ``do`` is empty where it is ok."""

    what: str
    state: str
    found: str
    do: str = ""


def examine() -> Iterator[Finding]:
    """Return findings one after the other: Python, packages, kernel, folders, what came with the package, browser."""
    yield _python()
    yield _packages()
    yield _kernel()
    for name, folder in (
        ("this folder", Path.cwd()),
        ("temporary folder", Path(tempfile.gettempdir())),
        ("Jupyter's folder", _jupyter_folder()),
    ):
        yield _writable(name, folder)
    for name in ("notebooks", "data/demo"):
        yield _shipped(name)
    yield _browser()


def _python() -> Finding:
    found = f"Python {platform.python_version()}, {sys.executable}"
    return Finding("Python", "ok", found)


def _packages() -> Finding:
    from packaging.requirements import Requirement

    wanted = [Requirement(text) for text in requires("coachlab") or []]
    wanted = [one for one in wanted if one.marker is None or one.marker.evaluate({"extra": ""})]
    missing, old = [], []
    for one in wanted:
        try:
            if not one.specifier.contains(version(one.name), prereleases=True):
                old.append(f"{one.name} {version(one.name)} ({one.specifier} needed)")
        except PackageNotFoundError:
            missing.append(one.name)
    if missing or old:
        found = "; ".join(filter(None, [f"missing: {', '.join(missing)}" * bool(missing), ", ".join(old)]))
        return Finding("packages", "wrong", found, "Run python3 kit.py demo again, which installs them.")
    return Finding("packages", "ok", f"{len(wanted)} of {len(wanted)}, coachlab {version('coachlab')}")


def _kernel() -> Finding:
    """Start the kernel that notebooks use and ask it where it is and whether it finds the package."""
    from jupyter_client.kernelspec import KernelSpecManager, NoSuchKernel

    again = "Run: python -m ipykernel install --sys-prefix, with the Python of this line above."
    try:
        command = list(KernelSpecManager().get_kernel_spec("python3").argv)
    except NoSuchKernel:
        return Finding("kernel", "wrong", "no kernel called python3", again)
    program = command[0] if os.path.isabs(command[0]) else sys.executable
    question = "import sys, coachlab, ipykernel; print(sys.prefix)"
    try:
        done = subprocess.run([program, "-c", question], capture_output=True, text=True, timeout=60, check=False)
    except (OSError, subprocess.TimeoutExpired) as err:
        return Finding("kernel", "wrong", f"{program} does not start ({err})", again)
    if done.returncode:
        return Finding("kernel", "wrong", f"{program} does not find coachlab and ipykernel", again)
    if os.path.realpath(done.stdout.strip()) != os.path.realpath(sys.prefix):
        return Finding("kernel", "wrong", f"it belongs to another environment, {done.stdout.strip()}", again)
    return Finding("kernel", "ok", "python3, in the same environment as the lab")


def _writable(name: str, folder: Path) -> Finding:
    place = next((one for one in (folder, *folder.parents) if one.exists()), folder)
    try:
        with tempfile.NamedTemporaryFile(dir=place, prefix=".coachlab-"):
            return Finding(name, "ok", f"{folder} can be written")
    except OSError as err:
        return Finding(name, "wrong", f"{folder} cannot be written ({err.strerror})", "Choose a folder of your own.")


def _jupyter_folder() -> Path:
    from jupyter_core.paths import jupyter_runtime_dir

    return Path(jupyter_runtime_dir())


def _shipped(name: str) -> Finding:
    try:
        return Finding(name, "ok", str(shipped(name)))
    except DataError as err:
        return Finding(name, "wrong", err.found, err.do)


def _browser() -> Finding:
    import webbrowser

    found = next((path for path in map(shutil.which, BROWSERS) if path), None)
    if found:
        return Finding("browser", "ok", found)
    try:
        webbrowser.get()
    except webbrowser.Error:
        return Finding("browser", "note", "none found on this machine", "Open the report on a machine that has one.")
    return Finding("browser", "ok", "the system's own")
