"""What reading and cleaning an export costs beside `pandas.read_csv` of the same file, which checks nothing."""

import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from timing import Row, paired

import coachlab as cl

ROWS = 100_000
SHOTS_A_SESSION = 60
MAP = """
name = "bench"
[club_names]
"7 I" = "iron-7"
"DR" = "driver"
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
    # our column: heading with its unit, mean, SD, decimals, which way is plus
    "club_speed_mps": ("Head [mph]", 82.0, 6.0, 1, ""),
    "attack_up_deg": ("Attack [deg]", -3.5, 2.5, 1, ""),
    "path_out_deg": ("Path [deg]", 0.5, 3.5, 1, "right"),
    "face_open_deg": ("Face [deg]", 0.5, 3.0, 1, "right"),
    "delivered_loft_deg": ("Loft [deg]", 26.0, 3.0, 1, ""),
    "ball_speed_mps": ("Ball [mph]", 110.0, 9.0, 1, ""),
    "launch_up_deg": ("Rise [deg]", 17.0, 3.0, 1, ""),
    "launch_out_deg": ("Start [deg]", 0.5, 3.0, 1, "right"),
    "spin_rpm": ("Spin [rpm]", 5900.0, 900.0, 0, ""),
    "spin_tilt_deg": ("Tilt [deg]", 0.0, 8.0, 1, "right"),
    "carry_m": ("Carry [yd]", 140.0, 15.0, 1, ""),
    "side_out_m": ("Side [yd]", 0.0, 12.0, 1, "right"),
}


def write_export(folder: Path, rows: int, seed: int = 0) -> tuple[Path, Path]:
    """Write an export of random shots and its map."""
    rng = np.random.default_rng(seed)
    session = np.arange(rows) // SHOTS_A_SESSION
    student = session // 5
    frame = {
        "Name": np.char.add("Player ", student.astype(str)),
        "Plays": np.where(student % 12, "R", "L"),
        "Visit": np.char.add("v", session.astype(str)),
        "No.": np.arange(rows) % SHOTS_A_SESSION + 1,
        "When": pd.Timestamp("2026-01-05 09:00") + pd.to_timedelta(np.arange(rows) * 25, unit="s"),
        "Club": np.where(np.arange(rows) % 2, "7 I", "DR"),
    }
    text = MAP
    for column, (heading, mean, sd, digits, positive) in MEASURED.items():
        frame[heading] = rng.normal(mean, sd, rows).round(digits) + 0.0
        text += f'[column.{column}]\nheading = "{heading}"\n' + (f'positive = "{positive}"\n' if positive else "")
    export, columns = folder / "bench.csv", folder / "bench.toml"
    pd.DataFrame(frame).astype({"Spin [rpm]": int}).to_csv(export, index=False)
    columns.write_text(text)
    return export, columns


def measure() -> list[Row]:
    """Time 100,000 rows from the file to cleaned shots."""
    with tempfile.TemporaryDirectory() as folder:
        export, toml = write_export(Path(folder), ROWS)
        columns = cl.ColumnMap.from_toml(toml)

        def ours() -> cl.Shots:
            return cl.clean_shots(cl.read_shots(export, columns))

        assert len(ours()) == ROWS
        ours_s, yardstick_s = paired(ours, lambda: pd.read_csv(export), repeats=9)
    return [
        Row(
            what="read and clean 100,000 rows",
            ours_s=ours_s,
            yardstick="pandas.read_csv",
            yardstick_s=yardstick_s,
            aim=4,
        )
    ]
