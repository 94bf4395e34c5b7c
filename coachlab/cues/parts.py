"""A model table cut by cue: each cue's own lessons, their grade, and the rows for its models."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from coachlab.cues.blocks import MODELLED, block_table, cue_blocks, full_blocks
from coachlab.cues.grade import Grade, grade_blocks
from coachlab.cues.table import outcome_of
from coachlab.settings import Settings


@dataclass(frozen=True, eq=False)
class Part:
    """The lessons of one cue: full blocks, the rows to be modelled, the grade, and remarks on what was left out."""

    cue: str
    blocks: pd.DataFrame
    rows: pd.DataFrame
    grade: Grade
    remarks: tuple[str, ...]


def cue_parts(table: pd.DataFrame, settings: Settings | None = None) -> dict[str, Part]:
    """Return the part of each cue in a model table, by cue in their order.

    At grade D, where nothing is compared, all blocks are kept to be counted.
    """
    settings = settings or Settings()
    outcome = outcome_of(table)
    blocks = block_table(table)
    codes, names = pd.factorize(table["block"])
    modelled = table[[name for name in table.columns if name in MODELLED or name == outcome]]
    parts = {}
    for cue in sorted(set(blocks["cue"].to_numpy()[blocks["on"].to_numpy() > 0])):
        mine = cue_blocks(blocks, cue)
        grade = grade_blocks(mine, settings)
        mine, remarks = full_blocks(mine, settings) if grade.grade != "D" else (mine, [])
        wanted = set(mine["block"].to_numpy())
        rows = modelled[np.fromiter((name in wanted for name in names), bool, len(names))[codes]]
        parts[cue] = Part(cue, mine, rows, grade, tuple(remarks))
    return parts
