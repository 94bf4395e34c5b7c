"""Run the benchmarks: ``python3 kit.py bench [NAMES] [--json FILE]``.

Each ``bench_NAME.py`` beside this file has ``measure()``, which returns a list of rows as in ``timing.Row``. A missed
aim is said; only a benchmark that breaks makes the exit code 1.
"""

import argparse
import importlib
import json
import os
import platform
import sys
import time
import traceback
from datetime import UTC, datetime
from pathlib import Path

from rich import box
from rich.console import Console
from rich.table import Table

HERE = Path(__file__).resolve().parent
KEYS = {"what", "ours_s", "yardstick", "yardstick_s"}


def main(arguments: list[str]) -> int:
    """Run what was asked for, print one table, and return the exit code."""
    known = sorted(path.stem.removeprefix("bench_") for path in HERE.glob("bench_*.py"))
    parser = argparse.ArgumentParser(prog="kit.py bench", description=f"Known: {', '.join(known)}. Without names: all.")
    parser.add_argument("names", nargs="*", metavar="NAME")
    parser.add_argument("--json", type=Path, metavar="FILE", help="also write everything to this file")
    asked = parser.parse_args(arguments)
    unknown = sorted(set(asked.names) - set(known))
    if unknown:
        parser.error(f"there is no benchmark {', '.join(unknown)}; known are {', '.join(known)}")
    rows, broken = [], {}
    for name in asked.names or known:
        start = time.monotonic()
        try:
            rows += [{"bench": name, **complete(row)} for row in importlib.import_module(f"bench_{name}").measure()]
        except Exception:  # one broken benchmark must not hide what the others measured
            broken[name] = traceback.format_exc()
        print(
            f"{name}: {'broken' if name in broken else 'measured'} in {time.monotonic() - start:.0f} s", file=sys.stderr
        )
    report = {"machine": machine(), "rows": rows, "broken": broken}
    show(report, Console(width=None if sys.stdout.isatty() else 140))
    if asked.json:
        asked.json.write_text(json.dumps(report, indent=1), encoding="utf-8")
    return 1 if broken else 0


def complete(row: dict) -> dict:
    """Return the row with its ratio and whether the aim is met; refuse one that lacks a key or a time."""
    missing = KEYS - set(row)
    if missing or not (row["ours_s"] > 0 and row["yardstick_s"] > 0):
        raise ValueError(f"a row needs {sorted(KEYS)} and times above zero; this one is {row}")
    times = {key: float(row[key]) for key in ("ours_s", "yardstick_s")}
    ratio = times["ours_s"] / times["yardstick_s"]
    aim = row.get("aim")
    return {**row, **times, "aim": aim, "ratio": ratio, "met": None if aim is None else bool(ratio <= aim)}


def machine() -> dict:
    """Return what the numbers depend on: processor, cores, memory, system, Python, date."""
    return {
        "processor": processor(),
        "cores": os.cpu_count(),
        "memory_gb": memory_gb(),
        "system": platform.platform(),
        "python": platform.python_version(),
        "date": datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
    }


def processor() -> str:
    """Return the processor's name; the platform module knows it on Windows and macOS only."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.processor() or platform.machine()
    names = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.machine()


def memory_gb() -> float | None:
    """Return the machine's memory where the system tells it."""
    try:
        return round(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9, 1)
    except (AttributeError, ValueError, OSError):
        return None


def show(report: dict, console: Console) -> None:
    """Print the table, what broke, and the machine."""
    table = Table("benchmark", "what", "ours", "yardstick", "its time", "ratio", "aim", "met", box=box.SIMPLE)
    for row in report["rows"]:
        aim = "–" if row["aim"] is None else f"≤ {row['aim']:g}"
        met = {None: "–", True: "yes", False: "NO"}[row["met"]]
        ours, theirs = seconds(row["ours_s"]), seconds(row["yardstick_s"])
        table.add_row(row["bench"], row["what"], ours, row["yardstick"], theirs, f"{row['ratio']:.3g}", aim, met)
    console.print(table)
    for name, text in report["broken"].items():
        console.print(f"{name} broke:\n{text}", markup=False, highlight=False)
    facts = report["machine"]
    memory = f"{facts['memory_gb']} GB, " if facts["memory_gb"] else ""
    line = f"{facts['processor']}, {facts['cores']} cores, {memory}{facts['system']}, Python {facts['python']}, {facts['date']}"
    console.print(line, markup=False, highlight=False, soft_wrap=True)


def seconds(value: float) -> str:
    """Return a time with three digits in s or ms."""
    return f"{value:.3g} s" if value >= 1 else f"{value * 1000:.3g} ms"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
