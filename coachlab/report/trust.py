"""The section on whether the main answer can be trusted: twelve looks at the model behind it."""

import io
from dataclasses import replace

import numpy as np
import pandas as pd

from coachlab.cues.diagnose import Diagnostics, diagnose
from coachlab.cues.looks import NAMES
from coachlab.report.evidence import Evidence
from coachlab.report.page import Page, Picture, draw
from coachlab.report.words import what

SEED = 1
"""Of the simulated lessons: the same files give the same page."""
_WIDE = {1: 3.2, 10: 3.0, 11: 1.8, 12: 1.9}
"""Looks as wide as the page, and their height in inches; the others stand two in a row."""
_COLOURS = 96


def trust(evidence: Evidence) -> Page:
    """Return twelve looks at the model of the main contrast: pictures, what was found, what it means."""
    title = "Can the main answer be trusted?"
    primary = evidence.declared.primary_cue
    able = evidence.shifts.table.loc[np.isfinite(evidence.shifts.table["estimate"]), "cue"].astype("str")
    if not len(able):
        return Page("trust", title, ("No cue has an estimate, so that there is no model to look at.",))
    named = primary in set(able)
    cue = primary if named else able.iloc[0]
    found = diagnose(evidence.table, cue, evidence.settings, evidence.study.shots, seed=SEED, level=evidence.level)
    which = "the main contrast" if named else "the first cue, since no main contrast was named that has an estimate"
    said = (
        f"Twelve looks at the model of {what(evidence)} with {evidence.name(cue)}, {which}. Those that go by chance "
        "raise a hand (▲ look) in about one of a hundred sound studies each. SD is the usual distance of single values "
        "from their mean.",
        found.brief(),
    )
    real = found.seen.lineup
    after = () if real is None else (f"Look 12: the real lessons stand in panel {real.reveal()}.",)
    return Page(
        "trust",
        title,
        said,
        pictures=tuple(_picture(found, number) for number in range(1, len(NAMES) + 1)),
        table=_rows(found),
        caption="What was found, and what it means",
        after=after,
    )


def _picture(found: Diagnostics, number: int) -> Picture:
    from coachlab.plots import LOOK_PICTURES, describe_look
    from coachlab.plots.diagnostics import SIGNS

    width, height = (8.4, _WIDE[number]) if number in _WIDE else (4.2, 3.1)
    alt = describe_look(found, number)
    picture = draw(LOOK_PICTURES[number - 1], found, alt=alt, width_in=width, height_in=height)
    sign = SIGNS.get(found.table["sign"].iloc[number - 1], "")
    caption = f"{number} {NAMES[number - 1]}" + (f" · {sign}" if sign else "")
    return replace(picture, png=_lighter(picture.png), caption=caption, wide=number in _WIDE)


def _lighter(png: bytes) -> bytes:
    """Return a picture in a palette of few colours: a third of the bytes, so that twelve more fit into one file."""
    from PIL import Image

    file = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("RGB").quantize(_COLOURS).save(file, "png", optimize=True)
    return file.getvalue()


def _rows(found: Diagnostics) -> pd.DataFrame:
    table = found.table
    return pd.DataFrame(
        {
            "look": [f"{row.number} {row.check}" for row in table.itertuples()],
            "found": table["found"],
            "sign": table["sign"],
            "what it means": table["remark"],
        }
    )
