"""Whether a file's units are those of its map: a wrong one that stays inside the ranges shows in the ball's flight.

Carry, peak and time in the air follow from ball speed, start and spin by the flight model; ball speed follows from club
speed within narrow bounds. A whole file that lies off by the factor between two units was read in the wrong one.
"""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from coachlab.intake.findings import Findings, counted, found
from coachlab.intake.shots import Shots
from coachlab.physics.flight import fly
from coachlab.physics.launch import Launch, check_launch
from coachlab.units import factor_to_column, units_for

LEAST_SHOTS, MOST_SHOTS = 20, 400
"""How many shots a file needs, and how many of it are flown."""
NEAR, FAR = 0.035, 0.07
"""How near (log of a ratio) the middle shot must lie to the factor between two units, and how far from none."""

_LAUNCH = ("ball_speed_mps", "launch_up_deg", "launch_out_deg", "spin_rpm", "spin_tilt_deg")
_FLOWN = ("carry_m", "peak_m", "flight_s")
_RATIO_LOG = {"driver": np.log(1.45), "iron": np.log(1.33), "wedge": np.log(1.15)}


def audit_units(shots: Shots) -> Findings:
    """Return the columns of each file that seem to have been read in the wrong unit.

    Parameters
    ----------
    shots : Shots
        Cleaned, with ball speed, start and spin, and at least one of carry, peak and time in the air.

    Notes
    -----
    Held against the flight model at 20 °C and the sea, no wind. At 1,500 m a ball carries about as much farther as a
    yard read as a metre makes it: the finding says so where carry alone is off. A wrong speed is told by all three.
    """
    rows, looked = [], 0
    table = counted(shots)
    for source, part in table.groupby(table["source"].astype("str"), sort=False) if len(table) else []:
        offs = off_the_model(part)
        looked += bool(offs)
        for name, factor, strength in _explained(offs):
            best, value = factor
            do = f"Look at unit of {name} in the map of this file: {best} fits."
            if name == "carry_m" and abs(offs.get("peak_m", 0.0)) < NEAR:
                do += " High, hot places carry as far: if it was one, say so in the log."
            rows.append(
                (
                    "units", source, name,
                    f"{name} is {value:.2f} times what the ball's start gives, as if its numbers were in {best}.",
                    do, round(strength, 2),
                )
            )  # fmt: skip
    return found(rows, f"Units: {looked} files had the ball's start and its flight.")


def off_the_model(part: pd.DataFrame) -> dict[str, float]:
    """Return the middle log ratio of carry, peak and time over those of the flight model, where they can be had."""
    return dict(_off(part))


def _off(part: pd.DataFrame) -> Iterator[tuple[str, float]]:
    names = [name for name in _FLOWN if name in part]
    if not names or not set(_LAUNCH) - {"launch_out_deg", "spin_tilt_deg"} <= set(part.columns):
        return
    launch = [
        part[name].to_numpy(dtype=float, na_value=np.nan) if name in part else np.zeros(len(part)) for name in _LAUNCH
    ]
    for place in (2, 4):  # a start to the side and a tilt that was not read are small
        launch[place] = np.nan_to_num(launch[place])
    can = np.flatnonzero(check_launch(*launch) == "")
    if len(can) < LEAST_SHOTS:
        return
    some = can[np.linspace(0, len(can) - 1, min(len(can), MOST_SHOTS)).astype(int)]
    flight = fly(Launch(*(values[some] for values in launch)), coarse=True)
    for name in names:
        values = part[name].to_numpy(dtype=float, na_value=np.nan)[some]
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = np.log(values / getattr(flight, name))
        ratio = ratio[np.isfinite(ratio)]
        if len(ratio) >= LEAST_SHOTS:
            yield name, float(np.median(ratio))


def _explained(offs: dict[str, float]) -> Iterator[tuple[str, tuple[str, float], float]]:
    """Yield the columns whose unit explains what is off: column, unit with the ratio, strength."""
    carry, peak, time = (offs.get(name) for name in _FLOWN)
    if time is not None and abs(time) > FAR and carry is not None and abs(carry) > FAR and carry * time > 0:
        # all of the flight off the same way: the ball started at another speed than the file was read to say
        speed = min(_factors("ball_speed_mps"), key=lambda one: abs(_carried(one[1]) - carry))
        yield "ball_speed_mps", (speed[0], float(np.exp(-speed[1]))), abs(carry) / FAR
        return
    for name, off in (("carry_m", carry), ("peak_m", peak)):
        if off is None or abs(off) < FAR:
            continue
        unit, factor = min(_factors(name), key=lambda one: abs(one[1] - off))
        if abs(factor - off) < NEAR:
            yield name, (unit, float(np.exp(off))), abs(off) / FAR


def _factors(name: str) -> list[tuple[str, float]]:
    """Return units by the log of how far off a column is whose numbers were in that unit and read as in another."""
    sizes = {unit: factor_to_column(unit, name) for unit in units_for(name)}
    return [
        (unit, float(np.log(other / size))) for unit, size in sizes.items() for other in sizes.values() if other != size
    ]


def _carried(speed: float) -> float:
    """Return about how far the carry read lies off (log) where speed is too great by a factor (log)."""
    return -1.4 * speed
