"""What is good enough for one student: what lands the ball near the best within reach, or what the academy has set."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from coachlab.errors import DataError, need
from coachlab.physics.aero import ENSEMBLE
from coachlab.physics.air import Air
from coachlab.physics.impact import Delivery, head_of
from coachlab.physics.ops import said
from coachlab.schema import OUTCOMES, show_club
from coachlab.settings import FLOWN, OWN, Settings
from coachlab.units import shown
from coachlab.worth.cost import Costs
from coachlab.worth.model import LOFTS, NAMES, head_of_club, land, number, own_delivery, usual_spread
from coachlab.worth.useful import ALONG, REACH, distance_worth, loft_assumed, with_loft

WINDOW_COLUMNS = ("outcome", "low", "high", "best", "own", "inside", "source")

BASIS = (
    "A window holds the values, one number changed alone, that land the ball within the distance worth having of the "
    "best within two of this student's own shot-to-shot SDs; it is never narrower than the mean of a test block can be "
    "told. It is a model's figure for strikes in the centre, and no promise."
)
"""What windows rest on, said wherever they are shown."""

SPAN = 2.0
"""How many of their own shot-to-shot SDs a student's window may lie away: what their shots span already."""

_GRID = 41


@dataclass(frozen=True)
class Window:
    """What is good enough for one student, club and outcome, in the outcome's own unit.

    From ``low`` to ``high`` the ball lands within ``distance_m`` of the best that is within reach (``best``); ``own``
    is where the student is. ``widened`` says that it was made as wide as a test block can tell (``least_width``).
    ``source`` says where the window comes from: `settings.FLOWN`, or `settings.OWN` where the academy has set one.
    """

    outcome: str
    low: float
    high: float
    best: float
    own: float
    distance_m: float
    least_width: float
    widened: bool
    loft: str
    club: str
    settings: Settings
    source: str = FLOWN

    @property
    def inside(self) -> bool:
        """Whether the student is there already."""
        return self.low <= self.own <= self.high

    @property
    def table(self) -> pd.DataFrame:
        """One row: `WINDOW_COLUMNS`, in the outcome's own unit."""
        row = [self.outcome, self.low, self.high, self.best, self.own, self.inside, self.source]
        return pd.DataFrame([row], columns=list(WINDOW_COLUMNS))

    def text(self) -> str:
        """Return the window in a sentence."""
        unit = shown(self.outcome, self.settings.units)
        low, high, own = (
            unit.text(value, sign=self.outcome != "club_speed_mps") for value in (self.low, self.high, self.own)
        )
        wide = ", as wide as a test block can tell" if self.widened else ""
        where = "inside" if self.inside else "outside"
        if self.source == OWN:
            return (
                f"With {show_club(self.club)}, the academy's own window for {OUTCOMES[self.outcome]} is {low} to "
                f"{high}; {own} now is {where}."
            )
        distance = shown("carry_m", self.settings.units).text(self.distance_m)
        return (
            f"With {show_club(self.club)} and {LOFTS[self.loft]}, {OUTCOMES[self.outcome]} from {low} to {high} is "
            f"within {distance} of the best in reach{wide}; {own} now is {where}."
        )

    def _repr_html_(self) -> str:
        return f"<p>{self.text()}</p>"


@dataclass(frozen=True)
class Windows:
    """The target windows of one student and club, one a number of the delivery."""

    windows: tuple[Window, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a number: `WINDOW_COLUMNS`, each in its own unit."""
        return pd.concat([window.table for window in self.windows], ignore_index=True)

    def sentences(self) -> list[str]:
        """Return one sentence a number, then what they rest on."""
        return [*(window.text() for window in self.windows), BASIS]

    def text(self) -> str:
        """Return all sentences as one text."""
        return " ".join(self.sentences())

    def as_read(self) -> pd.DataFrame:
        """Return the table as a reader sees it: number, now, good enough, there, comes from."""
        rows = []
        for window in self.windows:
            unit = shown(window.outcome, window.settings.units)
            sign = window.outcome != "club_speed_mps"
            model = f"flight model, with {LOFTS[window.loft]}" if window.outcome == "attack_up_deg" else "flight model"
            rows.append(
                {
                    "number": OUTCOMES[window.outcome],
                    "now": unit.text(window.own, sign=sign),
                    "good enough": f"{unit.number(window.low, sign=sign)} to {unit.text(window.high, sign=sign)}",
                    "there": "inside" if window.inside else "outside",
                    "comes from": "the academy's own setting" if window.source == OWN else model,
                }
            )
        return pd.DataFrame(rows)

    def _repr_html_(self) -> str:
        return self.as_read().to_html(index=False, escape=True) + f"<p>{BASIS}</p>"


def target_window(
    delivery: Delivery,
    outcome: str,
    club: str = "driver",
    reach: float | None = None,
    distance_m: float | None = None,
    shot_sd: float | None = None,
    loft: str | None = None,
    air: Air | None = None,
    settings: Settings | None = None,
) -> Window:
    """Return what is good enough for a student: the values that land the ball near the best within reach.

    Where the academy has set a window of its own for the club (``[window.iron-7]`` in academy.toml), that one.

    Parameters
    ----------
    delivery : Delivery
        The student's own mean delivery.
    outcome : {"attack_up_deg", "path_out_deg", "face_open_deg", "club_speed_mps"}
        Judged by carry (attack, speed) or by how far off the line the ball lands (path, face), all else held.
    club : str
        Whose head.
    reach : float or None
        How far from their own value the student could come, in the outcome's unit; None: 5 degrees of attack or face, 6
        of path, 2.5 m/s.
    distance_m : float or None
        How near to the best is good enough; None: the academy's smallest useful carry for this club.
    shot_sd : float or None
        The student's shot-to-shot SD of this outcome; None: a mid-handicap adult's. The window is at least as wide as
        twice the error of a test block's mean, or students would be told that they fail though they cannot pass.
    loft, air, settings
        As `useful_shifts`.

    Raises
    ------
    DataError
        If the outcome, the club, the reach or another number is not one.
    """
    head, loft = head_of_club(club), loft_assumed(club, loft)
    asked = f"A target window with {show_club(club)} was asked for."
    settings, air = settings or Settings(), air or Air()
    if not isinstance(outcome, str) or outcome not in ALONG:
        raise DataError(
            asked, f"There is no window for {said(outcome)}.", f"Use one of {', '.join(ALONG)}.", column=outcome
        )
    base = own_delivery(delivery, asked)
    reach = REACH[outcome] if reach is None else number(asked, "reach", reach)
    spread = usual_spread(head)[outcome] if shot_sd is None else number(asked, "shot_sd", shot_sd)
    if not (reach > 0 and spread >= 0):
        raise DataError(
            asked, f"reach is {said(reach)}, shot_sd {said(spread)}.", "Give a reach above 0 and an SD of 0 or more."
        )
    distance = distance_worth(club, distance_m, settings)
    own = float(base[NAMES.index(outcome)])
    values = own + np.linspace(-reach, reach, _GRID)
    cases = np.repeat(base[:, None], _GRID, axis=1)
    cases[NAMES.index(outcome)] = values
    e_t = head_of(head, "").e_t
    carry, side, _ = land([(with_loft(cases, base, loft), loft, e_t)], head, air, ENSEMBLE[0])[0]
    score = carry if ALONG[outcome] == "carry" else -np.abs(side)
    best = int(np.nanargmax(score))
    low, high = _edges(values, score - score[best] + distance, best)
    least = 2 * spread / np.sqrt(settings.block_shots)
    widened = high - low < least
    if widened:
        # towards the inside of the reach, so that the window stays where the student can come
        middle = (
            np.clip((low + high) / 2, own - reach + least / 2, own + reach - least / 2) if least < 2 * reach else own
        )
        low, high = middle - least / 2, middle + least / 2
    set_by_academy = settings.windows_by_club.get(club, {}).get(outcome)
    if set_by_academy is not None:
        (low, high), widened = set_by_academy, False
    return Window(
        outcome,
        float(low),
        float(high),
        float(values[best]),
        own,
        distance,
        float(least),
        bool(widened),
        loft,
        club,
        settings,
        OWN if set_by_academy is not None else FLOWN,
    )


def student_windows(costs: Costs, air: Air | None = None) -> Windows:
    """Return what is good enough for one student with one club: a target window for each number of the delivery.

    Parameters
    ----------
    costs : Costs
        From `costliest`: whose own mean delivery and shot-to-shot SDs are taken.
    air : Air or None
        None: 20 degrees at the sea, no wind.

    Returns
    -------
    Windows
        In the order of the ranking of `costs`; within `SPAN` of the student's own shot-to-shot SDs.
    """
    asked = "Target windows of a student were asked for."
    need(costs, Costs, asked, "costs", "Pass what costliest(shots, student, club) gives.")
    need(air, (Air, type(None)), asked, "air", "Give Air(...), or nothing for 20 degrees at the sea.")
    sd = costs.table.drop_duplicates("number").set_index("number")["reach"]
    return Windows(
        tuple(
            target_window(
                costs.delivery,
                name,
                costs.club,
                reach=max(SPAN * float(sd[name]), 1e-6),
                shot_sd=float(sd[name]),
                air=air,
                settings=costs.settings,
            )
            for name in costs.ranking
        )
    )


def _edges(values: np.ndarray, slack: np.ndarray, best: int) -> tuple[float, float]:
    """Return where slack, positive at `best`, first falls to 0 on either side, or the end of the values."""
    ends = []
    for step, last in ((-1, 0), (1, len(values) - 1)):
        at = best
        while at != last and slack[at + step] >= 0:
            at += step
        if at == last or not np.isfinite(slack[at + step]):
            ends.append(values[at])
        else:
            ends.append(values[at] + (values[at + step] - values[at]) * slack[at] / (slack[at] - slack[at + step]))
    return ends[0], ends[1]
