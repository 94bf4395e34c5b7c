"""A lesson as a strip of shots by number, with its blocks, their means and their spread."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from coachlab.intake.ledger import Ledger, runs_of
from coachlab.schema import OUTCOMES, PLAIN, show_club
from coachlab.units import shown
from coachlab.widgets.sheet import Part

PHASE_WORDS: Mapping[str, str] = {
    "warmup": "warm-up, not used",
    "screen": "first look, chooses the cue",
    "plain": "plain: the student's normal shot",
    "cue": "a cue",
    "sham": "other words that ask for nothing",
    "reset": "reset shots in between",
    "retention": "a later day, no cue",
    "transfer": "another task, no cue",
}
"""What a block was for, as a coach says it."""

_SHORT = {
    "warmup": "warm-up", "screen": "first look", "plain": "plain", "cue": "cue", "sham": "sham", "reset": "reset",
    "retention": "retention", "transfer": "transfer",
}  # fmt: skip


def measure_of(ledger: Ledger) -> str:
    """Return the number that the strip shows: attack, or the first that was measured."""
    for name in OUTCOMES:
        if name in ledger.shots and ledger.shots[name].notna().any():
            return name
    return ""


def strip_part(ledger: Ledger, selected: tuple[int, int], cues: pd.DataFrame | None, system: str) -> Part:
    """Return the strip as a part of a sheet: every number of the device, the blocks with mean and spread."""
    column = measure_of(ledger)
    unit = shown(column, system) if column else None
    factor = unit.factor if unit else 1.0
    values = ledger.shots[column] * factor if column else pd.Series(np.nan, index=ledger.shots.index)
    seen: dict[int, dict] = {}
    for number, value, usable, club in zip(
        ledger.shots["shot"],
        values,
        ledger.shots["usable"],
        ledger.shots.get("club", pd.Series("", index=ledger.shots.index)),
        strict=True,
    ):
        missing = bool(pd.isna(value))
        words = "not read" if missing else f"{unit.text(value / factor) if unit else ''}"
        if not missing and not usable:
            words += ", set aside"
        if isinstance(club, str) and club not in ("", "nan"):
            words += f", {show_club(club)}"
        seen[int(number)] = {
            "n": int(number), "y": None if missing else round(float(value), 2), "ok": bool(usable), "text": words,
        }  # fmt: skip
    family = {} if cues is None else dict(zip(cues["cue"], cues["family"], strict=True))
    blocks = []
    for place, block in enumerate(ledger.blocks, 1):
        mine = values[ledger.shots["shot"].between(block.first_shot, block.last_shot) & ledger.shots["usable"]].dropna()
        label = block.cue if block.holds_cue else _SHORT[block.phase]
        blocks.append(
            {
                "first": max(block.first_shot, min(seen)), "last": min(block.last_shot, max(seen)),
                "label": f"{place} {label}{' (hurt)' if block.stopped else ''}", "short": str(place),
                "tone": family.get(block.cue, "cue") if block.cue != PLAIN and block.holds_cue else "plain",
                "mean": round(float(mine.mean()), 3) if len(mine) else None,
                "sd": round(float(mine.std(ddof=1)), 3) if len(mine) > 1 else 0.0,
            }
        )  # fmt: skip
    word = OUTCOMES.get(column, "shots")
    plus = {"attack_up_deg": ", up is plus", "path_out_deg": ", out is plus", "face_open_deg": ", open is plus"}
    return {
        "kind": "strip", "shots": list(seen.values()), "blocks": blocks, "selected": list(selected),
        "pauses": [first for first, _ in runs_of(ledger)[1:]],
        "label": f"Strip of {word} by shot number. Two handles mark the first and the last shot of a run.",
        "unit": unit.unit if unit and unit.unit == "°" else "",
        "up": f"{word}{plus.get(column, '')}{f' ({unit.unit})' if unit and unit.unit != '°' else ''}",
        "across": "shot number",
        "caption": (
            "Drag over the shots, or move the two handles with the arrow keys. Dotted lines are pauses of over two "
            "minutes or a change of club. In a block the line is its mean and the band its spread (one standard "
            "deviation); rings are shots set aside, crosses balls that were not read."
        ),
    }  # fmt: skip
