"""What headings alone do not say: units by the flight of the ball, sides by what physics ties together."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import pandas as pd

from coachlab.intake.columns import READINGS, read_hand, sign_of, words_for
from coachlab.intake.sample import Looked
from coachlab.intake.scales import off_the_model
from coachlab.intake.signs import Turned, find_turned
from coachlab.schema import COLUMNS, LATERAL
from coachlab.units import factor_to_column, units_for

_USUAL: dict[str, tuple[float, float, float, float]] = {
    # where the middle of a session's readings lies, and how far they spread (SD), in the column's own unit; assumed
    "club_speed_mps": (18, 55, 0.2, 8), "attack_up_deg": (-9, 6, 0.8, 6), "path_out_deg": (-9, 9, 1, 8),
    "face_open_deg": (-8, 8, 1, 8), "face_to_path_deg": (-8, 8, 1, 8), "delivered_loft_deg": (8, 62, 0.8, 14),
    "strike_toe_mm": (-20, 20, 2, 20), "strike_high_mm": (-15, 15, 2, 15), "ball_speed_mps": (18, 82, 0.5, 16),
    "launch_up_deg": (6, 48, 1, 14), "launch_out_deg": (-8, 8, 1, 8), "spin_rpm": (1500, 11500, 150, 3000),
    "spin_tilt_deg": (-25, 25, 3, 20), "carry_m": (30, 290, 3, 60), "side_out_m": (-40, 40, 3, 35),
    "peak_m": (6, 45, 1, 14), "land_angle_deg": (20, 60, 1.5, 14), "flight_s": (2.2, 8.5, 0.1, 1.8),
    "speed_ratio": (0.85, 1.52, 0.01, 0.25), "arc_azimuth_deg": (-12, 12, 1, 8), "arc_incline_deg": (40, 72, 0.3, 8),
    "arc_bottom_fwd_mm": (-250, 250, 5, 150),
}  # fmt: skip


@dataclass(frozen=True)
class Guess:
    """What one heading may be: its column, unit and side, how sure, why, and its numbers in our own unit."""

    column: str = ""
    unit: str = ""
    positive: str = ""
    confidence: float = 0.0
    reason: str = "its words and numbers fit no column"
    values: np.ndarray | None = None


def settle_units(guesses: list[Guess], looked: list[Looked]) -> list[Guess]:
    """Return the guesses, units that stand nowhere chosen so that the balls fly as the flight model has it."""
    place = {guess.column: number for number, guess in enumerate(guesses) if guess.column}
    needed = ("ball_speed_mps", "launch_up_deg", "spin_rpm")
    if not set(needed) <= place.keys():
        return guesses

    def options(name: str) -> list[str]:
        number = place.get(name)
        if number is None:
            return [""]
        one, guess = looked[number], guesses[number]
        fixed = bool(one.unit) or guess.confidence >= 0.97
        return [guess.unit] if fixed else [u for u in units_for(name) if fit_of(converted(one, name, u), name) >= 0]

    best: tuple[float, dict[str, str]] = (np.inf, {})
    for speed in options("ball_speed_mps"):
        start = {name: converted(looked[place[name]], name, guesses[place[name]].unit) for name in needed}
        start["ball_speed_mps"] = converted(looked[place["ball_speed_mps"]], "ball_speed_mps", speed)
        for carry, peak in product(options("carry_m"), options("peak_m")):
            flight = {
                name: converted(looked[place[name]], name, unit)
                for name, unit in (("carry_m", carry), ("peak_m", peak), ("flight_s", "s"))
                if name in place
            }
            off = off_the_model(pd.DataFrame({**start, **flight}))
            if off and sum(map(abs, off.values())) < best[0] - 1e-9:
                units = {
                    "ball_speed_mps": speed,
                    "club_speed_mps": speed,
                    "carry_m": carry,
                    "side_out_m": carry,
                    "peak_m": peak,
                }
                best = sum(map(abs, off.values())), units
    result = list(guesses)
    for name, unit in best[1].items():
        number = place.get(name)
        if number is None or looked[number].unit or guesses[number].confidence >= 0.97 or unit == guesses[number].unit:
            continue
        if unit in units_for(name) and fit_of(converted(looked[number], name, unit), name) >= 0:
            why = f"{guesses[number].reason}; in {unit} the balls fly as they start"
            result[number] = replace(
                guesses[number], unit=unit, reason=why, values=converted(looked[number], name, unit)
            )
    return result


def settle_sides(
    guesses: list[Guess], looked: list[Looked], values: Mapping[str, np.ndarray]
) -> tuple[list[Guess], list[str]]:
    """Return the guesses with their sides, turned where physics says so, and what to look at."""
    by_column = {guess.column: place for place, guess in enumerate(guesses) if guess.column}
    group = np.zeros(min((len(v) for v in values.values()), default=0), dtype=np.int64)
    for name in ("student", "club"):
        if name in by_column and len(group):
            codes = pd.factorize(np.asarray(_rows(looked[by_column[name]], len(group)), dtype=object))[0]
            group = group * (codes.max() + 2) + codes + 1
    left = np.zeros(len(group), dtype=bool)
    if "hand" in by_column:
        hands = _rows(looked[by_column["hand"]], len(group))
        left = np.array([read_hand(text) == "L" for text in hands], dtype=bool)
    seen = {}
    for name, numbers in values.items():
        guess = guesses[by_column[name]]
        sign, world = sign_of(name, guess.positive or None)
        ours = sign * numbers[: len(group)]
        mirrored = name in LATERAL and (world or not guess.positive)
        seen[name] = np.where(left, -ours, ours) if mirrored else ours
    turned = find_turned(seen, group) if len(group) else Turned({}, ())
    warnings = []
    result = list(guesses)
    decided = {"attack_up_deg", "path_out_deg"} <= set(turned.looked_at)
    open_sides = [name for name in values if name in LATERAL and not guesses[by_column[name]].positive]
    if not decided and not all(looked[by_column[name]].sided for name in open_sides):
        warnings.append("Nothing here tells right from left: right is taken for plus. Look at a shot you know.")
    for name, place in by_column.items():
        guess, one = result[place], looked[place]
        if name not in READINGS or not words_for(name):
            continue
        mirrored = turned.columns.get(name, 0.0) >= 1
        if guess.positive:
            if mirrored:
                warnings.append(f"{one.heading!r}, {guess.positive} being plus, runs against the other columns.")
            continue
        if name in LATERAL:
            way = "left" if mirrored else "right"
            why = "sides stand in the cells" if one.sided else f"plus {way} goes together with the other columns"
            if not one.sided and (name not in turned.looked_at or (not decided and not mirrored)):
                why = "nothing tells its side: right is assumed"
            result[place] = replace(guess, positive=way, reason=f"{guess.reason}; {why}")
        elif mirrored:
            result[place] = replace(
                guess, positive=words_for(name)[-1], reason=f"{guess.reason}; it runs the other way"
            )
        if mirrored:
            warnings.append(
                f"{one.heading!r} counts the other way round: {result[place].positive} is plus there. Look at a "
                "shot you know."
            )
    return result, warnings


def fit_of(values: np.ndarray, column: str) -> float:
    """Return how well numbers look like a column's: -1 where they cannot be, up to .45."""
    there = values[np.isfinite(values)]
    if not len(there):
        return -1.0
    about = COLUMNS[column]
    if ((there < about.low) | (there > about.high)).mean() > 0.2:
        return -1.0
    low, high, tight, wide = _USUAL[column]
    middle = float(np.median(there))
    inside = low <= middle <= high
    if column in LATERAL or low < 0:
        inside = inside and bool((there < 0).any() or (column == "attack_up_deg" and middle < 1))
    elif (there < 0).mean() > 0.3:
        inside = False
    spread = float(1.4826 * np.median(np.abs(there - middle)))
    return 0.3 * inside + 0.15 * (tight <= spread <= wide or len(there) < 8)


def converted(one: Looked, column: str, unit: str) -> np.ndarray:
    """Return the numbers of a heading in the unit of a column, if they were in this one."""
    known = unit and unit in units_for(column)
    return one.values * factor_to_column(unit, column) if known else one.values


def _rows(one: Looked, n: int) -> list[str]:
    texts = one.cells.trimmed.to_pylist()
    places = range(len(texts)) if one.cells.codes is None else one.cells.codes
    return [texts[int(place)] for place in list(places)[:n]]
