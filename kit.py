"""Set coachlab up and run it, with Python's standard library alone.

``python3 kit.py demo | lab | app | test | bench`` each make the environment in ``.venv`` if it is missing, half made
or older than ``constraints.txt`` and ``pyproject.toml``, and then run. The file parses on every Python since 3.6, so
that an old one gets a sentence instead of a traceback: no annotation here may need a new Python.
"""

import contextlib
import difflib
import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent
OLDEST = (3, 11)
PYTHON = "py" if os.name == "nt" else "python3"
HELP = f"""coachlab: which cue works for which swing pattern, and how sure are we.

  {PYTHON} kit.py demo            run the demo on a simulated academy, from files to report
  {PYTHON} kit.py check FILE      say what is wrong with a file of yours, all of it
  {PYTHON} kit.py map FILE        propose which of its headings is what
  {PYTHON} kit.py bring FILE ...  from files to one clean table, with an account of every row
  {PYTHON} kit.py cues FOLDER     which cue moves attack and path, from a folder of yours
  {PYTHON} kit.py report FOLDER   the same as a report in one file
  {PYTHON} kit.py flight-page     write the ball-flight page as one file
  {PYTHON} kit.py doctor          look whether everything stands
  {PYTHON} kit.py lab             open the notebooks in JupyterLab
  {PYTHON} kit.py app             serve the notebooks as pages without code
  {PYTHON} kit.py test [--slow]   run every check and test; anything else goes on to pytest
  {PYTHON} kit.py bench [NAMES]   measure how quick it is, each time against a yardstick

The first run sets up an environment in .venv, which takes about a minute and 0.8 GB; later runs start at once.
Set COACHLAB_VENV to a folder to have it elsewhere.
Whatever follows a command goes on to it: --help after check, map, bring, cues or report shows its own options.
"""


def main(arguments):
    """Run one command and return its exit code."""
    if sys.version_info < OLDEST:
        return say(too_old(sys.version_info), 2)
    if not arguments:
        return say("Say what to run.\n\n" + HELP, 2)
    command, rest = arguments[0], arguments[1:]
    # `test` and `bench` would set up and check for minutes before pytest showed its options
    own = command in ("test", "bench") and rest[:1] in (["-h"], ["--help"])
    if command in ("-h", "--help", "help") or own:
        print(HELP, end="")
        return 0
    if command not in COMMANDS:
        close = difflib.get_close_matches(command, COMMANDS, n=1)
        hint = f" Did you mean {close[0]}?" if close else ""
        return say(f"There is no command {command!r}.{hint}\n\n{HELP}", 2)
    try:
        return COMMANDS[command](rest)
    except Trouble as trouble:
        return say(str(trouble), trouble.code)
    except KeyboardInterrupt:
        return say("\nStopped. Run the same command to go on.", 130)


class Trouble(Exception):
    """What keeps the set-up from standing, in words, with an exit code."""

    def __init__(self, text, code=1):
        super().__init__(text)
        self.code = code


def too_old(version):
    """Return the sentence for a Python that is too old."""
    return "coachlab needs Python {}.{} or newer; this is Python {}.{} ({}).".format(
        *OLDEST, *version[:2], sys.executable
    )


# The commands ---------------------------------------------------------------------------------------------------------


def demo(rest):
    """Run ``coachlab demo``."""
    home = prepare()
    return run([tool(home, "coachlab"), "demo", *rest])


def lab(rest):
    """Open JupyterLab on the notebooks."""
    home = prepare()
    root = ["--allow-root"] if is_root() else []
    return run([python_of(home), "-m", "jupyterlab", "notebooks", *root, *rest], jupyter_environment())


def app(rest):
    """Serve the notebooks through Voila."""
    home = prepare()
    return run([python_of(home), "-m", "voila", "notebooks", *rest], jupyter_environment())


def bench(rest):
    """Run the benchmarks."""
    home = prepare("dev")
    return run([python_of(home), str(Path("tests", "benchmarks")), *rest])


def test(rest):
    """Run the checks, then pytest, whose closing line is the last one printed."""
    slow = ["-m", ""] if "--slow" in rest else []
    rest = [argument for argument in rest if argument != "--slow"]
    home = prepare("dev")
    python = python_of(home)
    checks = {
        "format": [python, "-m", "ruff", "format", "--check", "."],
        "lint": [python, "-m", "ruff", "check", "."],
        "import order": [tool(home, "lint-imports")],
        "types": [python, "-m", "mypy"],
    }
    notebooks = sorted(str(path.relative_to(ROOT)) for path in ROOT.glob("notebooks/*.ipynb"))
    if notebooks:
        checks["notebooks stripped"] = [
            *(python, "-m", "nbstripout", "--verify", "--keep-id"),
            *("--extra-keys", "metadata.language_info cell.metadata.execution", *notebooks),
        ]
    failed = []
    for name, command in checks.items():
        code, output = step("check: " + name, command)
        if code:
            failed.append(name)
            print(output, file=sys.stderr, flush=True)
    # pytest tells of failed checks in its summary (tests/conftest.py), so that its closing line stays the last.
    environment = dict(os.environ, COACHLAB_FAILED_CHECKS=", ".join(failed))
    return run([python, "-m", "pytest", *slow, *rest], environment) or int(bool(failed))


def through(command):
    """Return a command that hands everything on to the program of the same name in the environment."""

    def handed(rest):
        return run([tool(prepare(), "coachlab"), command, *rest])

    return handed


COMMANDS = {
    "demo": demo,
    "check": through("check"),
    "cues": through("cues"),
    "report": through("report"),
    "map": through("map"),
    "bring": through("bring"),
    "flight-page": through("flight-page"),
    "doctor": through("doctor"),
    "lab": lab,
    "app": app,
    "test": test,
    "bench": bench,
}


def jupyter_environment():
    """Return the environment in which Jupyter finds the package's own settings and page template."""
    own = str(ROOT / "coachlab" / "assets" / "jupyter")
    more = {
        name: os.pathsep.join(filter(None, [own, os.environ.get(name)]))
        for name in ("JUPYTER_PATH", "JUPYTER_CONFIG_PATH")
    }
    return dict(os.environ, **more)


# The environment ------------------------------------------------------------------------------------------------------


def prepare(*extras):
    """Return the folder of an environment that has what the two files ask, making or mending it first."""
    home = Path(os.environ.get("COACHLAB_VENV") or ROOT / ".venv").expanduser().absolute()
    with only_one(home):
        stamp = read_stamp(home)
        wanted = fingerprint()
        works = python_works(home)
        moved = stamp.get("root", str(ROOT)) != str(ROOT)
        has_all = stamp.get("files") == wanted and set(extras) <= set(stamp.get("extras", []))
        if works and has_all and not moved:
            return home
        uv = find_uv()
        # An environment without a stamp was made by hand: it is kept. One that was begun and not finished, that was
        # moved, or whose Python has gone cannot be mended by installing over it.
        if not works or moved or "begun" in stamp or not (uv or has_pip(home)):
            remove(home, stamp)
            make(home, uv)
        write_stamp(home, begun=True)
        what = ".[{}]".format(",".join(extras)) if extras else "."
        installer = (
            [uv, "pip", "install", "--python", python_of(home)] if uv else [python_of(home), "-m", "pip", "install"]
        )
        options = ["--quiet"] if uv else ["--quiet", "--disable-pip-version-check", "--no-input"]
        text = "install the packages with {}".format("uv" if uv else "pip")
        code, output = step(text, [*installer, *options, "-c", "constraints.txt", "-e", what])
        if code:
            raise Trouble(
                f"{output}\nThe packages could not be installed. If the network was away, run the same again."
            )
        write_stamp(home, files=wanted, extras=sorted(extras))
    return home


def fingerprint():
    """Return a hash of what decides which packages stand in the environment."""
    content = b"\0".join((ROOT / name).read_bytes() for name in ("constraints.txt", "pyproject.toml"))
    return hashlib.sha256(content).hexdigest()


def read_stamp(home):
    """Return what the environment was last stamped with; empty where there is no stamp."""
    try:
        return json.loads((home / "coachlab.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}


def write_stamp(home, **facts):
    """Stamp the environment: ``begun`` before it is touched, the fingerprint once it is whole."""
    (home / "coachlab.json").write_text(json.dumps(dict(facts, root=str(ROOT))), encoding="utf-8")


def python_of(home):
    """Return the path of the environment's Python."""
    return tool(home, "python")


def tool(home, name):
    """Return the path of a program of the environment."""
    return str(home / "Scripts" / (name + ".exe") if os.name == "nt" else home / "bin" / name)


def python_works(home):
    """Whether the environment has a Python that starts and is new enough."""
    return answers([python_of(home), "-c", f"import sys; sys.exit(sys.version_info < {OLDEST})"])


def has_pip(home):
    """Whether the environment can install packages by itself."""
    return answers([python_of(home), "-m", "pip", "--version"])


def find_uv():
    """Return the path of a uv that runs, or None."""
    uv = shutil.which("uv")
    return uv if uv and answers([uv, "--version"]) else None


def answers(command):
    """Whether a command starts and ends well."""
    try:
        return subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, cwd=str(ROOT)).returncode == 0
    except OSError:
        return False


def remove(home, stamp):
    """Remove what stands in the place of the environment, but never a folder that may be somebody's own."""
    if not home.exists():
        return
    ours = home == ROOT / ".venv" or stamp or (home / "pyvenv.cfg").exists() or not any(home.iterdir())
    if not ours:
        raise Trouble(f"COACHLAB_VENV names {home}, which holds other files. Name an empty or a new folder.", 2)
    try:
        shutil.rmtree(str(home))
    except OSError as error:
        raise Trouble(
            f"The old environment cannot be removed: {error}\nClose what runs from it, and try again."
        ) from error


def make(home, uv):
    """Make an empty environment with uv, venv or virtualenv, whichever is there."""
    home.mkdir(parents=True)
    write_stamp(home, begun=True)
    makers = {}
    if uv:
        makers["uv"] = [uv, "venv", "--quiet", "--allow-existing", "--python", sys.executable, str(home)]
    if importable("ensurepip", "venv"):
        makers["venv"] = [sys.executable, "-m", "venv", str(home)]
    if importable("virtualenv"):
        makers["virtualenv"] = [sys.executable, "-m", "virtualenv", "--quiet", str(home)]
    elif shutil.which("virtualenv"):
        makers["virtualenv"] = ["virtualenv", "--quiet", "--python", sys.executable, str(home)]
    output = ""
    for name, command in makers.items():
        code, output = step(f"make {home.name} with {name}", command)
        if code == 0:
            return
    shutil.rmtree(str(home))
    text = "This Python cannot make an environment ({}). One command mends it:\n\n    {}\n\nThen run the same again."
    missing = "the last try said:\n" + output if output else "ensurepip is missing, and so are uv and virtualenv"
    raise Trouble(text.format(missing, mending_command()), 2)


def importable(*names):
    """Whether modules of this Python can be imported; Debian leaves some of the standard library out."""
    try:
        for name in names:
            __import__(name)
    except ImportError:
        return False
    return True


def mending_command():
    """Return the command that brings what makes environments, for the system this is."""
    admin = "" if is_root() else "sudo "
    own = Path("/usr/bin/python3")
    if shutil.which("apt-get"):
        default = own.exists() and own.resolve() == Path(sys.executable).resolve()
        version = "3" if default else "{}.{}".format(*sys.version_info[:2])
        return f"{admin}apt-get install -y python{version}-venv"
    for manager, package in (
        ("dnf", "python3-virtualenv"),
        ("zypper", "python3-virtualenv"),
        ("apk", "py3-virtualenv"),
    ):
        if shutil.which(manager):
            return "{}{} {} {}".format(admin, manager, "add" if manager == "apk" else "install", package)
    return f"{PYTHON} -m pip install --user virtualenv"


def is_root():
    """Whether this runs as the administrator of a Unix system."""
    return hasattr(os, "geteuid") and os.geteuid() == 0


@contextlib.contextmanager
def only_one(home):
    """Keep a second kit.py waiting while one sets the environment up; the lock goes with the process that holds it."""
    home.parent.mkdir(parents=True, exist_ok=True)
    with open(str(home) + ".lock", "a+") as file:
        said = False
        while not locked(file):
            if not said:
                say(f"Another kit.py is setting up {home.name}; waiting for it.")
            said = True
            time.sleep(0.2)
        yield  # closing the file frees the lock


def locked(file):
    """Take the lock if it is free, and say whether."""
    try:
        if os.name == "nt":
            import msvcrt

            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


# Running and saying ---------------------------------------------------------------------------------------------------


def step(what, command):
    """Run a command under one line that counts the seconds; return its exit code and what it printed."""
    start = time.monotonic()
    live = sys.stderr.isatty()
    with tempfile.TemporaryFile() as log:
        process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=log, stderr=subprocess.STDOUT, cwd=str(ROOT)
        )
        try:
            while process.poll() is None:
                if live:
                    print(f"\r{what} ... {time.monotonic() - start:.0f} s", end="", file=sys.stderr, flush=True)
                with contextlib.suppress(subprocess.TimeoutExpired):
                    process.wait(1)
        except BaseException:
            process.terminate()
            process.wait()
            raise
        log.seek(0)
        output = log.read().decode(errors="replace").strip()
    end = "done" if process.returncode == 0 else "failed"
    say("{}{} ... {}, {:.1f} s".format("\r" if live else "", what, end, time.monotonic() - start))
    return process.returncode, output


def run(command, environment=None):
    """Run a program in the foreground and return its exit code; Ctrl-C is left to the program, which gets it too."""
    process = subprocess.Popen(command, cwd=str(ROOT), env=environment)
    while True:
        try:
            return process.wait()
        except KeyboardInterrupt:
            continue


def say(text, code=0):
    """Print a text for the person, beside the program's own output, and return the exit code."""
    print(text, file=sys.stderr, flush=True)
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
