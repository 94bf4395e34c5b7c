"""What a cue's shift is worth to one student: the mean shift of those who tried it, at this student's own delivery."""

from dataclasses import replace

import numpy as np
import pandas as pd

from coachlab.cues.blocks import paired_means
from coachlab.cues.ladder import LEAST_STUDENTS
from coachlab.cues.parts import cue_parts
from coachlab.cues.table import model_table
from coachlab.errors import DataError, need
from coachlab.intake.headings import close_to
from coachlab.intake.shots import Shots, is_usable, shots_table
from coachlab.physics.air import Air
from coachlab.schema import PLAIN, show_club
from coachlab.settings import cards_or_none
from coachlab.worth import Costs, Worth, shift_worth

MOVED = ("attack_up_deg", "path_out_deg", "face_open_deg", "club_speed_mps")
"""The numbers of a delivery whose shifts are taken, where they were measured; attack and path must be."""


def cue_worth(
    costs: Costs,
    shots: Shots | pd.DataFrame,
    cue: str,
    cues: pd.DataFrame | None = None,
    air: Air | None = None,
    level: float = 0.95,
) -> Worth:
    """Return what the average shift of a cue would be worth at one student's own delivery, with all its spread.

    Parameters
    ----------
    costs : Costs
        From `costliest`: the student, the club, the own mean delivery and the academy's settings.
    shots : Shots or DataFrame
        Joined shots, of all students.
    cue : str
        Which cue.
    cues : DataFrame or None
        The cue cards; None or none in it: all cues that the log names.
    air : Air or None
        None: 20 degrees at the sea, no wind.
    level : float
        Level of the shift's uncertainty.

    Returns
    -------
    Worth
        Of the mean shift over students of attack, path, face and club speed together. Its uncertainty is the next
        student's and not that of the mean: SD between students times sqrt(1 + 1/N), the chance of their few blocks in
        it. The four are taken as independent.

    Raises
    ------
    DataError
        If no shot was hit with the cue, fewer than six students hit the club with and without it, or attack or path was
        not measured.
    """
    asked = f"What cue {cue} is worth to a student was asked for."
    need(costs, Costs, asked, "costs", "Pass what costliest(shots, student, club) gives.")
    asked = f"What cue {cue} is worth to a student with {show_club(costs.club)} was asked for."
    table = shots_table(shots, asked)
    _refuse_cue(asked, cue, table, costs.club)
    shift, se, least = {}, {}, len(table)
    cards = cards_or_none(cues)
    known = [cue] if cards is None else cards[cards["cue"].isin([cue, PLAIN])]
    for outcome in MOVED:
        if outcome in MOVED[2:] and (outcome not in table or not table[outcome].notna().any()):
            continue
        part = cue_parts(model_table(shots, outcome, costs.club, known), costs.settings).get(cue)
        own = paired_means(part.blocks, cue)["shift"].to_numpy(float) if part is not None else np.empty(0)
        if part is None or part.grade.grade == "D" or len(own) < LEAST_STUDENTS:
            raise DataError(
                asked,
                f"{len(own)} students hit it with and without the cue in lessons with an own baseline.",
                f"Ask for a cue that at least {LEAST_STUDENTS} students tried so.",
                cue=cue,
            )
        least = min(least, len(own))
        shift[outcome] = float(own.mean())
        se[outcome] = float(own.std(ddof=1) * np.sqrt(1 + 1 / len(own)))
    worth = shift_worth(costs.delivery, shift, se, costs.club, air, settings=costs.settings, level=level)
    return replace(worth, students=least)


def _refuse_cue(asked: str, cue: str, table: pd.DataFrame, club: str) -> None:
    """Refuse a cue with which nobody hit the club; name those with which somebody did."""
    if not {"cue", "club", "phase"} <= set(table.columns):
        return  # the model table says which column is missing
    tried = is_usable(table) & (table["club"].astype("str") == club) & (table["phase"].astype("str") == "cue")
    known = sorted(table.loc[tried, "cue"].dropna().astype("str").unique())
    if cue not in known:
        raise DataError(
            asked,
            f"No analysed shot was hit with the cue {cue!r}{close_to(str(cue), known)}.",
            f"Its cues are: {', '.join(known) or 'none'}.",
            cue=cue,
        )
