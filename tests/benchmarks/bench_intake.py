"""What reading and cleaning an export costs beside `pandas.read_csv` of the same file, which checks nothing."""

import subprocess
import sys
import tempfile
from pathlib import Path

import pandas as pd
from timing import Row, paired

import coachlab as cl
from coachlab.intake.many import read_many

ROWS, MANY_ROWS = 100_000, 1_000_000
FILES, FILE_ROWS = 24, 5_000
MAP = """
name = "bench"
[club_names]
"7 I" = "iron-7"
"PW" = "wedge-pw"
[column.student]
heading = "Name"
[column.hand]
heading = "Plays"
[column.session]
heading = "Visit"
[column.shot]
heading = "No."
[column.struck_at]
heading = "When"
[column.club]
heading = "Club"
"""
MEASURED = {
    # our column: heading with its unit, size of that unit in ours, decimals, which way is plus
    "club_speed_mps": ("Head [mph]", 0.44704, 1, ""),
    "attack_up_deg": ("Attack [deg]", 1, 1, ""),
    "path_out_deg": ("Path [deg]", 1, 1, "out"),
    "face_open_deg": ("Face [deg]", 1, 1, "open"),
    "delivered_loft_deg": ("Loft [deg]", 1, 1, ""),
    "ball_speed_mps": ("Ball [mph]", 0.44704, 1, ""),
    "launch_up_deg": ("Rise [deg]", 1, 1, ""),
    "launch_out_deg": ("Start [deg]", 1, 1, "out"),
    "spin_rpm": ("Spin [rpm]", 1, 0, ""),
    "spin_tilt_deg": ("Tilt [deg]", 1, 1, "out"),
    "carry_m": ("Carry [yd]", 0.9144, 1, ""),
    "side_out_m": ("Side [yd]", 0.9144, 1, "out"),
}


def write_export(folder: Path, rows: int, seed: int = 0) -> tuple[Path, Path]:
    """Write an export of simulated shots, whose readings hang together as real ones do, and its map."""
    academy = cl.simulate_academy(students=rows // 250, seed=seed)
    shots = academy.shots.table.iloc[:rows].reset_index(drop=True)
    frame = {
        "Name": "Player " + shots["student"].astype("str"),
        "Plays": shots["hand"],
        "Visit": shots["session"],
        "No.": shots["shot"],
        "When": shots["struck_at"],
        "Club": shots["club"].map({"iron-7": "7 I", "wedge-pw": "PW"}),
    }
    text = MAP
    for column, (heading, size, digits, positive) in MEASURED.items():
        frame[heading] = (shots[column] / size).round(digits)
        text += f'[column.{column}]\nheading = "{heading}"\n' + (f'positive = "{positive}"\n' if positive else "")
    export, columns = folder / "bench.csv", folder / "bench.toml"
    pd.DataFrame(frame).to_csv(export, index=False)
    columns.write_text(text)
    return export, columns


def measure() -> list[Row]:
    """Time 100,000 and 1,000,000 rows from the file to cleaned shots, and weigh the larger run's memory."""
    rows = []
    for count, repeats, aim in ((ROWS, 9, 4), (MANY_ROWS, 5, 2.5)):
        with tempfile.TemporaryDirectory() as folder:
            export, toml = write_export(Path(folder), count)
            columns = cl.ColumnMap.from_toml(toml)

            def ours(export: Path = export, columns: cl.ColumnMap = columns) -> cl.Shots:
                return cl.clean_shots(cl.read_shots(export, columns))

            assert len(ours()) == count
            ours_s, yardstick_s = paired(ours, lambda export=export: pd.read_csv(export), repeats=repeats)
            peak_mb = peak_memory_mb(export, toml) if count == MANY_ROWS else None
            weight = f"; peak memory {peak_mb / (export.stat().st_size / 1e6):.1f} x the file" if peak_mb else ""
        rows.append(
            Row(
                what=f"read and clean {count:,} rows{weight}",
                ours_s=ours_s,
                yardstick="pandas.read_csv",
                yardstick_s=yardstick_s,
                aim=aim,
            )
        )
    return [*rows, a_folder()]


def a_folder() -> Row:
    """Time a folder of exports, read together, beside the same files one after another."""
    with tempfile.TemporaryDirectory() as folder:
        paths = []
        for number in range(FILES):
            place = Path(folder) / f"{number:02}"
            place.mkdir()
            export, toml = write_export(place, FILE_ROWS, seed=number)
            paths.append(export)
        columns = cl.ColumnMap.from_toml(toml)

        def read(path: Path) -> cl.Shots:
            return cl.clean_shots(cl.read_shots(path, columns))

        assert sum(map(len, read_many(paths, read))) == FILES * FILE_ROWS
        together_s, apart_s = paired(
            lambda: read_many(paths, read), lambda: read_many(paths, read, workers=1), repeats=9
        )
    return Row(
        what=f"{FILES} files of {FILE_ROWS:,} rows, read and cleaned together",
        ours_s=together_s,
        yardstick="the same, one after another",
        yardstick_s=apart_s,
        aim=1,
    )


def peak_memory_mb(export: Path, toml: Path) -> float | None:
    """Return what a process of its own takes at most to read and clean a file, imports apart; None off Linux."""
    if not Path("/proc/self/status").exists():
        return None
    code = (
        "import re, sys, coachlab as cl, pandas\n"
        "def peak(): return int(re.search(r'VmHWM:\\s*(\\d+)', open('/proc/self/status').read())[1]) / 1024\n"
        "cl.read_shots, cl.clean_shots\n"
        "before = peak()\n"
        "cl.clean_shots(cl.read_shots(sys.argv[1], sys.argv[2]))\n"
        "print(peak() - before)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(export), str(toml)], capture_output=True, check=True, text=True
    )
    return float(done.stdout)
