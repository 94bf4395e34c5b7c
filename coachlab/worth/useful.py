"""How small a shift still matters: from the flight's slopes at a delivery, for one student or for a club."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pandas as pd

from coachlab.academy.assumptions import Assumptions
from coachlab.errors import DataError
from coachlab.physics.aero import ENSEMBLE
from coachlab.physics.air import Air
from coachlab.physics.impact import Delivery, head_of
from coachlab.physics.ops import said
from coachlab.schema import CLUBS, OUTCOMES, show_club
from coachlab.settings import DEFAULT, FLOWN, OWN, Settings
from coachlab.units import shown
from coachlab.worth.model import ATTACK, LOFT, LOFTS, NAMES, head_of_club, land, number, own_delivery

USEFUL_COLUMNS = ("outcome", "along", "slope_m", "useful", "low", "high")

STEP = {"attack_up_deg": 1.0, "path_out_deg": 1.0, "face_open_deg": 1.0, "club_speed_mps": 0.5}
ALONG = {"attack_up_deg": "carry", "club_speed_mps": "carry", "path_out_deg": "side", "face_open_deg": "side"}
"""By what a number is judged: carry, or how far off the line the ball lands."""
REACH = {"attack_up_deg": 5.0, "path_out_deg": 6.0, "face_open_deg": 5.0, "club_speed_mps": 2.5}
"""How far from their own value a student could come; assumed."""

_SPEED_STEP_MPS, _LOFT_STEP_DEG = 0.5, 0.5


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
    head, loft = head_of_club(club), loft_assumed(club, loft)
    base = own_delivery(delivery, f"The smallest useful shifts with {show_club(club)} were asked for.")
    distance = distance_worth(club, distance_m, settings)
    made = head_of(head, "")
    ends = with_loft(_ends(base), base, loft)
    e_ts = (made.e_t, *made.e_t_span)
    slopes = [
        _slopes(carry, side)
        for aero in ENSEMBLE
        for carry, side, _ in land([(ends, loft, e_t) for e_t in e_ts], head, air, aero)
    ]
    rows = _rows(np.array(slopes), distance)
    return UsefulShifts(pd.DataFrame(rows)[list(USEFUL_COLUMNS)], distance, loft, club, settings)


def flown_settings(settings: Settings, club: str, speed_mps: float = np.nan, loft_deg: float = np.nan) -> Settings:
    """Return the settings with the club's smallest useful shifts from the flight model, for what the academy left open.

    The one place that decides. What the academy has set stays; the distance worth having is its smallest useful carry.
    Settings that hold the club's values already come back as they are.

    Parameters
    ----------
    settings : Settings
        The academy's.
    club : str
        A club of the one vocabulary; settings come back as they are for any other.
    speed_mps, loft_deg : float
        The students' usual club speed and delivered loft with it; missing: the head's typical ones.

    Notes
    -----
    The delivery is the head's typical one, straight along the line, at this speed and loft: nothing of what a cue moved
    goes into the threshold that it is judged by. A shift of attack with an iron or a wedge is judged under that
    assumption about loft which asks for less, so that none that may matter is called too small; with a driver the loft
    is refitted. Two limits are put on what the slopes say: not below one reading's own error (the simulated academy's
    sensor, assumed), which no coach could tell from the device; and not above half of what a student can reach
    (`REACH`), since an aim beyond that would call every shift too small.
    """
    if club not in CLUBS or club in settings.flown_useful:
        return settings
    usual = Assumptions().heads[CLUBS[club]]
    speed = speed_mps if np.isfinite(speed_mps) and 5 < speed_mps < 75 else usual.speed_men
    loft = loft_deg if np.isfinite(loft_deg) and usual.attack + 4 < loft_deg < 75 else usual.loft
    found = _flown(
        club,
        round(speed / _SPEED_STEP_MPS) * _SPEED_STEP_MPS,
        round(loft / _LOFT_STEP_DEG) * _LOFT_STEP_DEG,
        settings.smallest_useful_shift("carry_m", club),
    )
    return replace(settings, flown_useful=settings.flown_useful | {club: dict(found) | {"usual_speed_mps": speed}})


def useful_limits(outcome: str) -> tuple[float, float]:
    """Return the least and the most that a smallest useful shift from the flight model may be, in the outcome's unit.

    >>> useful_limits("attack_up_deg")
    (0.5, 2.5)
    """
    sensor = Assumptions().sensor
    floors = {
        "attack_up_deg": sensor.attack,
        "path_out_deg": sensor.path,
        "face_open_deg": sensor.face,
        "face_to_path_deg": float(np.hypot(sensor.path, sensor.face)),
        "club_speed_mps": sensor.speed,
    }
    return floors[outcome], REACH["path_out_deg" if outcome == "face_to_path_deg" else outcome] / 2


@lru_cache(maxsize=256)
def _flown(club: str, speed: float, loft: float, distance: float) -> tuple[tuple[str, float], ...]:
    """Return the smallest useful shifts of a club by outcome, within their limits."""
    head = CLUBS[club]
    base = np.array([speed, Assumptions().heads[head].attack, 0.0, 0.0, loft, 0.0, 0.0])
    lofts = ["refitted"] if head == "driver" else ["held", "rises"]
    e_t = head_of(head, "").e_t
    # the mean model alone: its spread says how sure a shift's worth is, and moves no threshold
    landed = land([(with_loft(_ends(base), base, each), each, e_t) for each in lofts], head, Air(), ENSEMBLE[0])
    slopes = np.array([_slopes(carry, side) for carry, side, _ in landed])
    found = {}
    for row in _rows(np.abs(slopes).max(axis=0)[None], distance):
        least, most = useful_limits(str(row["outcome"]))
        asked = distance / max(abs(float(str(row["slope_m"]))), 1e-9)
        found[str(row["outcome"])] = float(np.clip(round(asked, 2), least, most))
    return tuple(found.items())


def _ends(base: np.ndarray) -> np.ndarray:
    """Return a delivery with each number of `STEP` a step lower and higher, shape (7, 2 x numbers)."""
    ends = np.repeat(base[:, None], 2 * len(STEP), axis=1)
    for at, (name, step) in enumerate(STEP.items()):
        ends[NAMES.index(name), [2 * at, 2 * at + 1]] += np.array([-1, 1]) * step
    return ends


def _slopes(carry: np.ndarray, side: np.ndarray) -> list[float]:
    """Return metres for one unit of each number of `STEP`, from where the deliveries of `_ends` land."""
    across = {"carry": np.diff(carry)[::2], "side": np.diff(side)[::2]}
    return [float(across[ALONG[name]][at]) / (2 * step) for at, (name, step) in enumerate(STEP.items())]


def _rows(by_model: np.ndarray, distance: float) -> list[dict[str, object]]:
    """Return the rows of all outcomes from slopes by model, shape (models, numbers), the default model first."""
    names = list(STEP)
    rows = [_row(name, by_model[:, at], distance) for at, name in enumerate(names)]
    # with the face held, opening face to path by a degree is moving the path in by one
    rows.insert(3, _row("face_to_path_deg", -by_model[:, names.index("path_out_deg")], distance))
    return rows


def say_useful(settings: Settings, outcome: str, club: str) -> dict[str, str]:
    """Return how the smallest useful shift of an outcome is written and where it comes from, for a sentence.

    Keys: ``kind`` (``useful own``, ``useful flown`` or ``useful default``), ``useful``, ``distance``, ``along``,
    ``speed``, ``club``, ``outcome``, ``limit`` (empty, or which limit it was held to).
    """
    value, source = settings.smallest_useful_shift(outcome, club), settings.useful_source(outcome, club)
    unit = shown(outcome, settings.units)
    limit, speed = "", np.nan
    if source == FLOWN:
        speed = settings.flown_useful[club]["usual_speed_mps"]
        least, most = useful_limits(outcome)
        if value <= least + 1e-9:
            limit = "; the flight would ask for less, but that is no more than one reading's own error"
        elif value >= most - 1e-9:
            limit = "; the flight would ask for more, but that is more than half of what a student can reach"
    return {
        "kind": {OWN: "useful own", FLOWN: "useful flown", DEFAULT: "useful default"}[source],
        "useful": unit.text(value),
        "distance": shown("carry_m", settings.units).text(settings.smallest_useful_shift("carry_m", club)),
        "along": _ALONG_WORDS[outcome],
        "speed": shown("club_speed_mps", settings.units).text(speed),
        "club": show_club(club),
        "outcome": OUTCOMES[outcome],
        "limit": limit,
    }


_ALONG_WORDS = {
    "attack_up_deg": "in carry",
    "club_speed_mps": "in carry",
    "carry_m": "in carry",
    "path_out_deg": "sideways, with the face as it is",
    "face_open_deg": "sideways",
    "face_to_path_deg": "sideways, with the face as it is",
}


def with_loft(cases: np.ndarray, base: np.ndarray, loft: str) -> np.ndarray:
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
    known = shifts <= 2 * REACH[source]
    return {
        "outcome": name,
        "along": ALONG[source],
        "slope_m": slopes[0],
        "useful": shifts[0] if known[0] else np.nan,
        "low": shifts.min() if known[0] else np.nan,
        "high": shifts.max() if known[0] else np.nan,
    }


def loft_assumed(club: str, loft: str | None) -> str:
    """Return what loft is taken to do: as asked; None: refitted with a driver, rising with the attack else."""
    if loft is None:
        return "refitted" if head_of_club(club) == "driver" else "rises"
    if not isinstance(loft, str) or loft not in ("refitted", "held", "rises"):
        raise DataError(
            f"A flight's slopes with {show_club(club)} were asked for.",
            f"loft is {said(loft)}.",
            "Choose refitted, held or rises.",
        )
    return loft


def distance_worth(club: str, distance_m: float | None, settings: Settings) -> float:
    """Return the distance worth having in metres: as given; None: the academy's smallest useful carry with the club."""
    asked = f"A distance worth having with {show_club(club)} was given."
    asked_for = settings.smallest_useful_shift("carry_m", club) if distance_m is None else distance_m
    distance = number(asked, "distance_m", asked_for)
    if not distance > 0:
        raise DataError(asked, f"distance_m is {said(distance)}.", "Give metres above 0.")
    return distance
