"""Do the readings of a shot go together, as physics has it? Remarks on shots; nothing is set aside for it."""

import os
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from coachlab.intake.findings import sound
from coachlab.physics.air import Air, pressure_at
from coachlab.physics.arc import ARCS
from coachlab.physics.consistency import NEEDS, SCATTERING, consistency, scatter_of
from coachlab.schema import CLUBS, COLUMNS

JUDGED: Mapping[str, str] = MappingProxyType(
    {
        "ball too fast": "speed_ratio",
        "ball too slow": "speed_ratio",
        "start outside path and face": "launch_out_deg",
        "launch outside attack and loft": "launch_up_deg",
        "tilt against face to path": "spin_tilt_deg",
        "tilt far from face to path": "spin_tilt_deg",
        "spin too high": "spin_rpm",
        "time against peak": "flight_s",
        "carry off the model": "carry_m",
        "path off the arc": "path_out_deg",
    }
)
"""The reading that a flag of each rule names."""

CARRY = "carry off the model"
HEADS = tuple(ARCS)
_ENOUGH = 2_000  # shots tell a scatter to 3 %
_BLOCK = 32_768  # shots at once: what is worked out between keeps to the cache, and a large file needs no more memory
LEAST_ON_ARC = 10
"""Shots of a visit with one club from which the student's usual arc is told."""

_AIR = ("temperature_c", "altitude_m", "pressure_pa", "humidity", "tail_mps", "cross_mps")


def disagreements(
    table: pd.DataFrame, usable: np.ndarray, air: Air | None = None
) -> Iterator[tuple[str, str, np.ndarray, np.ndarray]]:
    """Give the shots whose readings do not go together, rule by rule.

    Parameters
    ----------
    table : DataFrame
        Shots; without ``club`` nothing can be said, as every rule hangs on the head.
    usable : bool array, shape (n,)
        The shots to look at: a misread is remarked upon once.
    air : Air or None
        The air that is assumed where a shot's own was not measured. Without either, carry is not looked at.

    Yields
    ------
    column, rule : str
    rows : bool array, shape (n,)
    values : float array, shape (n,)
        The reading that the rule is about.
    """
    rules = _askable(table)
    known, around = _air_of(table, air) if CARRY in rules else (np.zeros(len(table), dtype=bool), {})
    if not known.any():
        rules = [rule for rule in rules if rule != CARRY]
    if not rules or not usable.any():
        return
    codes, clubs = pd.factorize(table["club"])
    codes = codes.astype(np.int32)
    kinds = [CLUBS.get(str(club), "") for club in clubs] + [""]
    heads = np.array([HEADS.index(kind) if kind in HEADS else len(HEADS) for kind in kinds], np.int8)[codes]
    names = [name for name in dict.fromkeys(name for rule in rules for name in NEEDS[rule]) if name in table]
    at = {name: sound(table[name].to_numpy(dtype=float, na_value=np.nan)) for name in names}
    if "path off the arc" in rules:
        if "arc_incline_deg" in table:
            at["arc_incline_deg"] = _incline(table)
        at["arc_azimuth_deg"] = _usual_azimuth(table, at, heads, codes, usable)
    files = _codes(table["source"]) if "source" in table else np.zeros(len(table), dtype=np.int32)
    scatter = _scatter(files, at, heads, usable, rules)
    broken = {rule: np.zeros(len(table), dtype=bool) for rule in rules}

    def look(first: int) -> None:
        here = slice(first, first + _BLOCK)
        for which, head in enumerate(HEADS):
            ours = usable[here] & (heads[here] == which)
            for rows, with_air in ((ours & known[here], True), (ours & ~known[here], False)):
                place = first + np.flatnonzero(rows)
                if not len(place):
                    continue
                part = {name: values[place] for name, values in at.items()}
                blown = Air(**{name: values[place] for name, values in around.items()}) if with_air else None
                wide = {rule: values[files[place], which] for rule, values in scatter.items()}
                for rule, where in consistency(part, part, part, head, blown, wide).items():
                    if rule in broken:
                        broken[rule][place] = where

    with ThreadPoolExecutor(os.cpu_count()) as pool:  # blocks share nothing, and their arithmetic frees the others
        list(pool.map(look, range(0, len(table), _BLOCK)))
    for rule, where in broken.items():
        if where.any():
            yield JUDGED[rule], rule, where, _value(at, JUDGED[rule])


def air_sentence(table: pd.DataFrame, air: Air | None) -> str | None:
    """Return in which air carry is held against the model; None where it is not."""
    if CARRY not in _askable(table):
        return None
    known = int(_measured_air(table)[0].sum())
    if not known and air is None:
        return None
    told = f"{known:,} of {len(table):,} shots in the air measured for their session"
    if air is None:
        return f"Carry was held against the model's flight for {told}."
    if air.length is None:
        assumed = f"{air.temperature_c:g} °C, {air.altitude_m:g} m above the sea, wind {air.tail_mps:+g} m/s along"
    else:
        assumed = "given shot by shot"
    rest = f"; {told}" if known else ""
    return f"Carry was held against the model's flight in assumed air ({assumed}){rest}."


def has_air(table: pd.DataFrame) -> bool:
    """Return whether the air of any shot was measured well enough to hold its carry against the model."""
    return bool(_measured_air(table)[0].any())


def _askable(table: pd.DataFrame) -> list[str]:
    """Return the rules for which the table has the columns."""
    if "club" not in table:
        return []
    there = set(table.columns)
    if {"session", "student"} & there:
        there.add("arc_azimuth_deg")  # the usual one follows from the visit's own shots
    else:
        there.discard("arc_azimuth_deg")
    return [rule for rule, names in NEEDS.items() if set(names) <= there]


def _incline(table: pd.DataFrame) -> np.ndarray:
    """Return the measured inclines; missing where they cannot be, where the head's usual one is taken."""
    measured = table["arc_incline_deg"].to_numpy(dtype=float, na_value=np.nan)
    return np.where((measured >= 1) & (measured <= 90), measured, np.nan)


def _usual_azimuth(
    table: pd.DataFrame, at: Mapping[str, np.ndarray], heads: np.ndarray, clubs: np.ndarray, usable: np.ndarray
) -> np.ndarray:
    """Return the middle of the arc's azimuth over the visit's shots with the club (over the student's, without visits).

    Misreads and steep attacks are left out; missing where there are too few shots to tell.
    """
    visit = _codes(table["session" if "session" in table else "student"])
    group = np.where((visit < 0) | (clubs < 0), -1, visit * (clubs.max() + 1) + clubs)
    code, known = pd.factorize(group)
    del visit, group  # of millions of shots: what is done with makes room
    azimuth = np.full(len(table), np.nan)
    usual = np.array([ARCS[head].incline_deg for head in HEADS] + [np.nan])
    for first in range(0, len(table), _BLOCK):
        here = slice(first, first + _BLOCK)
        lean = np.tan(np.radians(usual))[heads[here]]
        if "arc_incline_deg" in at:
            measured = at["arc_incline_deg"][here]
            lean = np.where(np.isnan(measured), lean, np.tan(np.radians(measured)))
        with np.errstate(invalid="ignore"):
            turned = at["path_out_deg"][here] + np.degrees(
                np.arcsin(np.tan(np.radians(at["attack_up_deg"][here])) / lean)
            )
        azimuth[here] = np.where(usable[here], turned, np.nan)
    many = np.bincount(code[~np.isnan(azimuth)], minlength=len(known)) >= LEAST_ON_ARC
    middle = pd.Series(azimuth).groupby(code).median().to_numpy()
    return np.where(many & (known >= 0), middle, np.nan)[code]


def _scatter(
    files: np.ndarray, at: Mapping[str, np.ndarray], heads: np.ndarray, usable: np.ndarray, rules: list[str]
) -> dict[str, np.ndarray]:
    """Return by rule how readings scatter by file (the last: none) and kind of head, degrees; 0 where unknown.

    A device's limits are its own: without this, one whose tilt is good to two degrees would have every tenth honest
    iron remarked upon. Told from evenly chosen shots of a file, where there are many.
    """
    found = {rule: np.zeros((files.max(initial=0) + 2, len(HEADS))) for rule in rules if rule in SCATTERING}
    if not found:
        return {}
    for which, head in enumerate(HEADS):
        ours = np.flatnonzero(usable & (heads == which))
        if not len(ours):
            continue
        ours = ours[np.argsort(files[ours], kind="stable")]
        for rows in np.split(ours, np.flatnonzero(np.diff(files[ours])) + 1):
            some = rows[:: max(len(rows) // _ENOUGH, 1)]
            part = {name: values[some] for name, values in at.items()}
            for rule, value in scatter_of(part, part, head).items():
                if rule in found:
                    found[rule][files[rows[0]], which] = value
    return found


def _codes(column: pd.Series) -> np.ndarray:
    """Return for each row which of the column's distinct values stands there, -1 for none."""
    return pd.factorize(column)[0].astype(np.int32)


def _value(at: Mapping[str, np.ndarray], name: str) -> np.ndarray:
    if name != "speed_ratio":
        return at[name]
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        return at["ball_speed_mps"] / at["club_speed_mps"]


def _measured_air(table: pd.DataFrame) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Return which shots' own air is known, and its numbers, shape (n,) each; NaN where it is not.

    Known is a temperature with a pressure or an altitude, and with the wind, or a roof above.
    """
    if "temperature_c" not in table or not {"pressure_pa", "altitude_m"} & set(table.columns):
        return np.zeros(len(table), dtype=bool), {}
    found = {}
    for name in _AIR:
        values = table[name].to_numpy(dtype=float, na_value=np.nan) if name in table else np.full(len(table), np.nan)
        column = COLUMNS[name]
        found[name] = np.where((values >= column.low) & (values <= column.high), values, np.nan)
    roof = table["indoors"].to_numpy(dtype=object) == True if "indoors" in table else False  # noqa: E712
    for name in ("tail_mps", "cross_mps"):
        found[name] = np.where(np.isnan(found[name]) & roof, 0.0, found[name])
    pressed, high = ~np.isnan(found["pressure_pa"]), ~np.isnan(found["altitude_m"])
    known = ~np.isnan(found["temperature_c"]) & (pressed | high)
    known &= ~np.isnan(found["tail_mps"]) & ~np.isnan(found["cross_mps"])
    found["altitude_m"] = np.where(high, found["altitude_m"], 0.0)
    found["pressure_pa"] = np.where(pressed, found["pressure_pa"], pressure_at(found["altitude_m"]))
    found["humidity"] = np.where(np.isnan(found["humidity"]), Air().humidity, found["humidity"])
    return known, found


def _air_of(table: pd.DataFrame, air: Air | None) -> tuple[np.ndarray, dict[str, Any]]:
    """Return which shots have an air, measured or assumed, and its numbers."""
    known, found = _measured_air(table)
    if air is None:
        return known, found
    assumed = {item.name: getattr(air, item.name) for item in fields(air) if item.name != "profile"}
    if assumed["pressure_pa"] is None:
        assumed["pressure_pa"] = pressure_at(air.altitude_m)
    return np.ones(len(table), bool), {
        name: np.where(known, found[name], value) if found else np.broadcast_to(value, len(table))
        for name, value in assumed.items()
    }
