"""How small a shift still matters, and what is good enough: from the flight's slopes at a student's own delivery."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from coachlab.errors import DataError
from coachlab.physics.aero import ENSEMBLE
from coachlab.physics.air import Air
from coachlab.physics.impact import Delivery, head_of
from coachlab.schema import OUTCOMES, show_club
from coachlab.settings import Settings
from coachlab.units import shown
from coachlab.worth.model import (
    ATTACK,
    LOFT,
    LOFTS,
    NAMES,
    head_of_club,
    land,
    own_delivery,
    usual_spread,
)

USEFUL_COLUMNS = ("outcome", "along", "slope_m", "useful", "low", "high")

_STEP = {"attack_up_deg": 1.0, "path_out_deg": 1.0, "face_open_deg": 1.0, "club_speed_mps": 0.5}
_ALONG = {"attack_up_deg": "carry", "club_speed_mps": "carry", "path_out_deg": "side", "face_open_deg": "side"}
_REACH = {"attack_up_deg": 5.0, "path_out_deg": 6.0, "face_open_deg": 5.0, "club_speed_mps": 2.5}
_GRID = 41


@dataclass(frozen=True, eq=False)
class UsefulShifts:
    """The smallest useful shift of each outcome for one student and club, from the flight's own slopes.

    ``table`` has `USEFUL_COLUMNS`: ``along`` says whether the shift is judged by carry or by where the ball lands
    sideways, ``slope_m`` is metres for one unit of the outcome, ``useful`` the shift that makes `distance_m`, in the
    outcome's own unit; ``low`` and ``high`` go over the models. A shift that could not make that distance within reach
    has no value.
    """

    table: pd.DataFrame
    distance_m: float
    loft: str
    club: str
    settings: Settings

    @property
    def values(self) -> dict[str, float]:
        """The useful shifts by outcome, with the carry itself, to go into ``Settings.smallest_useful_by_club``."""
        known = self.table.dropna(subset="useful")
        return {"carry_m": self.distance_m} | dict(zip(known["outcome"], known["useful"].astype(float), strict=True))

    def text(self) -> str:
        """Return the useful shifts in a sentence."""
        system = self.settings.units
        parts = [
            f"{OUTCOMES[row.outcome]} {shown(row.outcome, system).text(row.useful)} "
            f"({shown(row.outcome, system).number(row.low)} to {shown(row.outcome, system).number(row.high)})"
            for row in self.table.dropna(subset="useful").itertuples()
        ]
        distance = shown("carry_m", system).text(self.distance_m)
        return (
            f"With {show_club(self.club)} and {LOFTS[self.loft]}, {distance} along or sideways takes: "
            f"{', '.join(parts)}; the ranges go over models of ball and face."
        )

    def _repr_html_(self) -> str:
        return self.table.round(2).to_html(index=False) + f"<p>{self.text()}</p>"


@dataclass(frozen=True)
class Window:
    """What is good enough for one student, club and outcome, in the outcome's own unit.

    From ``low`` to ``high`` the ball lands within ``distance_m`` of the best that is within reach (``best``); ``own``
    is where the student is. ``widened`` says that it was made as wide as a test block can tell (``least_width``).
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

    @property
    def inside(self) -> bool:
        """Whether the student is there already."""
        return self.low <= self.own <= self.high

    @property
    def table(self) -> pd.DataFrame:
        """One row: ``outcome low high best own inside``."""
        return pd.DataFrame(
            [[self.outcome, self.low, self.high, self.best, self.own, self.inside]],
            columns=["outcome", "low", "high", "best", "own", "inside"],
        )

    def text(self) -> str:
        """Return the window in a sentence."""
        unit = shown(self.outcome, self.settings.units)
        low, high, own = (
            unit.text(value, sign=self.outcome != "club_speed_mps") for value in (self.low, self.high, self.own)
        )
        wide = ", as wide as a test block can tell" if self.widened else ""
        where = "inside" if self.inside else "outside"
        distance = shown("carry_m", self.settings.units).text(self.distance_m)
        return (
            f"With {show_club(self.club)} and {LOFTS[self.loft]}, {OUTCOMES[self.outcome]} from {low} to {high} is "
            f"within {distance} of the best in reach{wide}; {own} now is {where}."
        )

    def _repr_html_(self) -> str:
        return f"<p>{self.text()}</p>"


def useful_shifts(
    delivery: Delivery,
    club: str = "driver",
    distance_m: float | None = None,
    loft: str | None = None,
    air: Air | None = None,
    settings: Settings | None = None,
) -> UsefulShifts:
    """Return how far each outcome must move to move the ball by a distance worth having, at a student's own delivery.

    Attack and club speed are judged by carry; path, face and face to path by where the ball lands sideways, face to
    path with the face held.

    Parameters
    ----------
    delivery : Delivery
        The student's own mean delivery.
    club : str
        Whose head.
    distance_m : float or None
        The distance worth having; None: the academy's smallest useful carry for this club.
    loft : {"refitted", "held", "rises"} or None
        What loft does while the attack changes; None: refitted with a driver, rising with other clubs.
    air : Air or None
        None: 20 degrees at the sea, no wind.
    settings : Settings or None
        The academy's.

    Raises
    ------
    DataError
        If the club, the distance or the assumption is not one.
    """
    settings, air = settings or Settings(), air or Air()
    head, loft = head_of_club(club), _loft(club, loft)
    base = own_delivery(delivery, f"The smallest useful shifts with {show_club(club)} were asked for.")
    distance = _distance(club, distance_m, settings)
    names = list(_STEP)
    ends = np.repeat(base[:, None], 2 * len(names), axis=1)
    for at, name in enumerate(names):
        ends[NAMES.index(name), [2 * at, 2 * at + 1]] += np.array([-1, 1]) * _STEP[name]
    made = head_of(head, "")
    ends = _with_loft(ends, base, loft)
    slopes = []
    for aero in ENSEMBLE:
        for carry, side, _ in land([(ends, loft, e_t) for e_t in (made.e_t, *made.e_t_span)], head, air, aero):
            across = {"carry": np.diff(carry)[::2], "side": np.diff(side)[::2]}
            slopes.append([across[_ALONG[name]][at] / (2 * _STEP[name]) for at, name in enumerate(names)])
    by_model = np.array(slopes)
    rows = [_row(name, by_model[:, at], distance) for at, name in enumerate(names)]
    # with the face held, opening face to path by a degree is moving the path in by one
    rows.insert(3, _row("face_to_path_deg", -by_model[:, names.index("path_out_deg")], distance))
    return UsefulShifts(pd.DataFrame(rows)[list(USEFUL_COLUMNS)], distance, loft, club, settings)


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
    asked = f"A target window with {show_club(club)} was asked for."
    settings, air = settings or Settings(), air or Air()
    head, loft = head_of_club(club), _loft(club, loft)
    if outcome not in _STEP:
        raise DataError(
            asked, f"There is no window for {outcome!r}.", f"Use one of {', '.join(_STEP)}.", column=outcome
        )
    base = own_delivery(delivery, asked)
    reach = _REACH[outcome] if reach is None else reach
    spread = usual_spread(head)[outcome] if shot_sd is None else shot_sd
    if not (reach > 0 and spread >= 0):
        raise DataError(
            asked, f"reach is {reach!r}, shot_sd {spread!r}.", "Give a reach above 0 and an SD of 0 or more."
        )
    distance = _distance(club, distance_m, settings)
    own = float(base[NAMES.index(outcome)])
    values = own + np.linspace(-reach, reach, _GRID)
    cases = np.repeat(base[:, None], _GRID, axis=1)
    cases[NAMES.index(outcome)] = values
    e_t = head_of(head, "").e_t
    carry, side, _ = land([(_with_loft(cases, base, loft), loft, e_t)], head, air, ENSEMBLE[0])[0]
    score = carry if _ALONG[outcome] == "carry" else -np.abs(side)
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


def _with_loft(cases: np.ndarray, base: np.ndarray, loft: str) -> np.ndarray:
    """Return the deliveries with the loft raised with the attack, where that is assumed."""
    moved = cases.copy()
    if loft == "rises":
        moved[LOFT] += cases[ATTACK] - base[ATTACK]
    return moved


def _row(name: str, slopes: np.ndarray, distance: float) -> dict[str, object]:
    """Return one outcome's useful shift; none where that much is out of reach."""
    source = "path_out_deg" if name == "face_to_path_deg" else name
    with np.errstate(divide="ignore"):
        shifts = distance / np.abs(slopes)
    known = shifts <= 2 * _REACH[source]
    return {
        "outcome": name,
        "along": _ALONG[source],
        "slope_m": slopes[0],
        "useful": shifts[0] if known[0] else np.nan,
        "low": shifts.min() if known[0] else np.nan,
        "high": shifts.max() if known[0] else np.nan,
    }


def _loft(club: str, loft: str | None) -> str:
    if loft is None:
        return "refitted" if head_of_club(club) == "driver" else "rises"
    if loft not in ("refitted", "held", "rises"):
        raise DataError(
            f"A flight's slopes with {show_club(club)} were asked for.",
            f"loft is {loft!r}.",
            "Choose refitted, held or rises.",
        )
    return loft


def _distance(club: str, distance_m: float | None, settings: Settings) -> float:
    distance = settings.smallest_useful_shift("carry_m", club) if distance_m is None else distance_m
    if not distance > 0:
        raise DataError(
            f"A distance worth having with {show_club(club)} was given.",
            f"distance_m is {distance!r}.",
            "Give metres above 0.",
        )
    return float(distance)
