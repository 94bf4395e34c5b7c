"""Do the readings of a shot go together? What physics allows and a device may break; remarks, no deletions."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from coachlab.physics.air import GRAVITY_MPS2, Air
from coachlab.physics.arc import ARCS
from coachlab.physics.flight import fly
from coachlab.physics.impact import Head, centred_closed_form, head_of
from coachlab.physics.launch import BALL_KG, RPM_RAD, Launch, check_launch
from coachlab.physics.ops import as_numbers, count_of, length_of

CONSISTENCY: Mapping[str, str] = MappingProxyType(
    {
        "ball too fast": "ball speed is more than this head can give at that speed",
        "ball too slow": "with a driver the ball is under 1.30 times as fast as the head: off the centre, or misread",
        "start outside path and face": "the ball starts outside the directions of path and face, by more than these "
        "readings scatter",
        "launch outside attack and loft": "the ball starts above the loft or below the attack, by more than these "
        "readings scatter",
        "tilt against face to path": "the spin axis tilts to the other side than face to path says",
        "tilt far from face to path": "the spin axis is further from the one that face, loft and the head's way give "
        "than these readings scatter",
        "spin too high": "the ball spins more than a face that springs back could make it",
        "time against peak": "time in the air does not go with the peak",
        "carry off the model": "carry is more than 6 % off the flight of this launch in the measured air",
        "path off the arc": "path is not what this attack gives on the student's usual arc, by more than these "
        "readings scatter",
    }
)
"""The rules by name, and what each says. A strike off the centre breaks the ones of start, launch and tilt honestly."""

_START_SLACK_DEG = {"driver": 2.5, "iron": 1.0, "wedge": 1.0}
_TILT_SLACK_DEG = {"driver": 10.0, "iron": 5.0, "wedge": 5.0}
_SPRINGY_E_T = 0.35
_TIME_LOW, _TIME_HIGH = 1.08, 1.60
_CHIP_MPS = 25.0  # slower balls are hardly lifted, and honest ones fall to the limit of no air, 1.0
_CARRY_SHARE = 0.06
_ARC_DEG = 6.0  # three SDs of a mid-handicap player's arc from shot to shot; assumed

_FACE_SHARE = {"driver": 0.85, "iron": 0.78, "wedge": 0.68}  # of the start direction, in this model's own strikes
_SCATTERS, _WIDEST = 3.5, 3.0
LEAST_FOR_SCATTER = 30
"""Shots of one kind of head from which the scatter of a device's readings is told."""

_LAUNCH = ("ball_speed_mps", "launch_up_deg", "launch_out_deg", "spin_rpm", "spin_tilt_deg")
_DELIVERY = ("club_speed_mps", "attack_up_deg", "path_out_deg", "face_open_deg", "delivered_loft_deg")
NEEDS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "ball too fast": ("club_speed_mps", "ball_speed_mps"),
        "ball too slow": ("club_speed_mps", "ball_speed_mps"),
        "start outside path and face": ("path_out_deg", "face_open_deg", "launch_out_deg"),
        "launch outside attack and loft": ("attack_up_deg", "delivered_loft_deg", "launch_up_deg"),
        "tilt against face to path": ("path_out_deg", "face_open_deg", "spin_tilt_deg"),
        "tilt far from face to path": (*_DELIVERY[1:], "spin_tilt_deg"),
        "spin too high": (*_DELIVERY, "spin_rpm"),
        "time against peak": ("peak_m", "flight_s"),
        "carry off the model": (*_LAUNCH, "carry_m"),
        "path off the arc": ("attack_up_deg", "path_out_deg", "arc_azimuth_deg"),
    }
)
"""The readings without which a rule says nothing."""

SCATTERING = (
    "start outside path and face", "launch outside attack and loft", "tilt far from face to path", "path off the arc",
)  # fmt: skip
"""The rules whose limits a device's own scatter may widen."""

_OPTIONAL = ("arc_incline_deg",)
_USED = tuple(dict.fromkeys(name for names in NEEDS.values() for name in names)) + _OPTIONAL


def consistency(
    delivery: Mapping[str, ArrayLike],
    launch: Mapping[str, ArrayLike],
    flight: Mapping[str, ArrayLike],
    head: str = "driver",
    air: Air | None = None,
    scatter: Mapping[str, ArrayLike] | None = None,
) -> dict[str, np.ndarray]:
    """Return which shots break which rule, as arrays of True and False by the rules' names.

    Parameters
    ----------
    delivery : mapping of str to array, shape (n,)
        Any of ``club_speed_mps``, ``attack_up_deg``, ``path_out_deg``, ``face_open_deg``, ``delivered_loft_deg``, and
        the student's usual ``arc_azimuth_deg`` and ``arc_incline_deg`` (else the head's typical incline).
    launch : mapping of str to array, shape (n,)
        Any of ``ball_speed_mps``, ``launch_up_deg``, ``launch_out_deg``, ``spin_rpm``, ``spin_tilt_deg``.
    flight : mapping of str to array, shape (n,)
        Any of ``carry_m``, ``peak_m``, ``flight_s``.
    head : {"driver", "iron", "wedge"}
        The kind of head of all these shots.
    air : Air or None
        The measured air. Without it carry is not held against the model.
    scatter : mapping of str to float or array, shape (n,), or None
        By rule, how the device's readings scatter (`scatter_of`), degrees: a rule's limit is then at least 3.5 times
        that, and at most three times its own. None: readings without error, the limits of physics alone.

    Returns
    -------
    dict of str to ndarray of bool, shape (n,)
        One entry a rule of `CONSISTENCY`. A shot that lacks what a rule needs does not break it.

    Raises
    ------
    FlightError
        If there is no such head, or the arrays have different lengths.
    """
    asked = "Readings of shots were held against each other."
    made = head_of(head, asked)
    given = {name: value for part in (delivery, launch, flight) for name, value in part.items() if name in _USED}
    numbers = as_numbers(asked, given)
    n = count_of(length_of(*numbers.values()))
    at: dict[str, Any] = {name: np.broadcast_to(numbers.get(name, np.nan), n) for name in _USED}
    at["arc_incline_deg"] = numbers.get("arc_incline_deg", np.float64(np.nan))  # one tangent, where it is one number
    with np.errstate(invalid="ignore", divide="ignore"):
        can = {rule for rule, names in NEEDS.items() if set(names) <= numbers.keys()}
        broken = {rule: np.zeros(n, dtype=bool) for rule in CONSISTENCY}
        found = _broken(at, can, head, made, air, scatter or {})
        broken |= {rule: where for rule, where in found.items() if rule in can}
    return broken


def scatter_of(
    delivery: Mapping[str, ArrayLike], launch: Mapping[str, ArrayLike], head: str = "driver"
) -> dict[str, float]:
    """Return how readings scatter about what a strike in the centre makes of them, degrees, by the rules it bears on.

    A device's random errors and strikes off the centre both scatter; neither is a fault of one shot. A robust SD (from
    the median), so that a few broken readings do not hide themselves; only for rules whose readings at least
    `LEAST_FOR_SCATTER` shots have.

    Parameters
    ----------
    delivery, launch : mapping of str to array, shape (n,)
        As `consistency`, of one device and one kind of head.
    head : {"driver", "iron", "wedge"}
        The kind of head.

    Raises
    ------
    FlightError
        As `consistency`.
    """
    asked = "The scatter of readings was asked for."
    head_of(head, asked)
    given = {name: value for part in (delivery, launch) for name, value in part.items() if name in _USED}
    numbers = as_numbers(asked, given)
    n = count_of(length_of(*numbers.values()))
    at = {name: np.broadcast_to(value, n) for name, value in numbers.items()}
    share, found = _FACE_SHARE[head], {}
    for rule in SCATTERING:
        if not set(NEEDS[rule]) <= at.keys():
            continue
        with np.errstate(invalid="ignore"):
            if rule == "start outside path and face":
                off = at["launch_out_deg"] - share * at["face_open_deg"] - (1 - share) * at["path_out_deg"]
            elif rule == "launch outside attack and loft":
                off = at["launch_up_deg"] - share * at["delivered_loft_deg"] - (1 - share) * at["attack_up_deg"]
            elif rule == "tilt far from face to path":
                off = at["spin_tilt_deg"] - _centred(at)[2]
            else:
                off = at["path_out_deg"] - _on_arc(at | {"arc_incline_deg": at.get("arc_incline_deg", np.nan)}, head)
        off = off[np.isfinite(off)]
        if len(off) >= LEAST_FOR_SCATTER:
            found[rule] = 1.4826 * float(np.median(np.abs(off - np.median(off))))
    return found


def _limit(rule: str, own: float, scatter: Mapping[str, ArrayLike]) -> Any:
    """Return a rule's limit in degrees, its own or as wide as the readings scatter."""
    wide = np.asarray(scatter.get(rule, 0.0), float)
    return np.clip(_SCATTERS * np.where(np.isfinite(wide), wide, 0.0), own, _WIDEST * own)


def _broken(
    at: Mapping[str, Any], can: set[str], head: str, made: Head, air: Air | None, scatter: Mapping[str, ArrayLike]
) -> dict[str, np.ndarray]:
    """Return where the rules are broken; what a rule that cannot be asked takes is not worked out."""
    found: dict[str, np.ndarray] = {}
    path, face = at["path_out_deg"], at["face_open_deg"]
    slack = {rule: _limit(rule, _START_SLACK_DEG[head], scatter) for rule in SCATTERING[:2]}
    if "tilt against face to path" in can:
        found["tilt against face to path"] = (np.abs(face - path) > 2) & (at["spin_tilt_deg"] * (face - path) < 0)
    if "start outside path and face" in can:
        near = slack["start outside path and face"]
        found["start outside path and face"] = _outside(at["launch_out_deg"], path, face, near)
    if "launch outside attack and loft" in can:
        ends = at["attack_up_deg"], at["delivered_loft_deg"]
        near = slack["launch outside attack and loft"]
        found["launch outside attack and loft"] = _outside(at["launch_up_deg"], *ends, near)
    if can & {"ball too fast", "tilt far from face to path", "spin too high"}:
        cosine, sine, tilt = _centred(at)
        ratio = at["ball_speed_mps"] / at["club_speed_mps"]
        square = np.where(np.isnan(cosine), 1.0, cosine)
        found["ball too fast"] = ratio > 1.005 * (1 + made.e_max) / (1 + BALL_KG / made.mass_kg) * square
        found["ball too slow"] = (ratio < 1.30) & (head == "driver")
        rule = "tilt far from face to path"
        found[rule] = np.abs(at["spin_tilt_deg"] - tilt) > _limit(rule, _TILT_SLACK_DEG[head], scatter)
        across = centred_closed_form(1.0, 90.0, head, _SPRINGY_E_T)[2] / RPM_RAD  # spin goes with the speed across
        found["spin too high"] = at["spin_rpm"] > across * at["club_speed_mps"] * sine
    if "time against peak" in can:
        time = at["flight_s"] / np.sqrt(8 * at["peak_m"] / GRAVITY_MPS2)
        found["time against peak"] = (time > _TIME_HIGH) | ((time < _TIME_LOW) & ~(at["ball_speed_mps"] < _CHIP_MPS))
    if "carry off the model" in can:
        found["carry off the model"] = _carry_off(at, air)
    if "path off the arc" in can:
        off_arc = np.abs(at["path_out_deg"] - _on_arc(at, head))
        found["path off the arc"] = off_arc > _limit("path off the arc", _ARC_DEG, scatter)
    return found


def _centred(at: Mapping[str, Any]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return cosine and sine of the angle from head's way to face normal, and the tilt of a centred strike, degrees.

    Its spin axis is normal to the plane of both. Written out in the angles: a million shots are looked at by it.
    """
    attack, loft = (np.radians(at[name]) for name in ("attack_up_deg", "delivered_loft_deg"))
    turn = np.radians(at["face_open_deg"] - at["path_out_deg"])
    less, more = np.cos(loft - attack), np.cos(loft + attack)
    level = (less + more) / 2
    cosine = np.clip(level * np.cos(turn) + (less - more) / 2, -1.0, 1.0)
    sine = np.sqrt(1 - cosine**2)
    return cosine, sine, np.degrees(np.arcsin(np.clip(level * np.sin(turn) / sine, -1.0, 1.0)))


def _on_arc(at: Mapping[str, Any], head: str) -> np.ndarray:
    """Return the path that each attack gives on the student's usual arc."""
    incline = np.where(np.isnan(at["arc_incline_deg"]), ARCS[head].incline_deg, at["arc_incline_deg"])
    swing = np.tan(np.radians(at["attack_up_deg"])) / np.tan(np.radians(incline))
    return at["arc_azimuth_deg"] - np.degrees(np.arcsin(swing))


def _outside(value: np.ndarray, one: np.ndarray, other: np.ndarray, slack: Any) -> np.ndarray:
    return (value < np.minimum(one, other) - slack) | (value > np.maximum(one, other) + slack)


def _carry_off(at: Mapping[str, Any], air: Air | None) -> np.ndarray:
    off = np.zeros(len(at["carry_m"]), dtype=bool)
    if air is None:
        return off
    can = (check_launch(*(at[name] for name in _LAUNCH)) == "") & ~np.isnan(at["carry_m"])
    if can.any():
        flown = fly(Launch(*(at[name][can] for name in _LAUNCH)), _air_of(air, can)).carry_m
        off[can] = np.abs(at["carry_m"][can] - flown) > _CARRY_SHARE * np.asarray(flown)
    return off


def _air_of(air: Air, can: np.ndarray) -> Air:
    """Return the air of some of the shots."""
    names = ("temperature_c", "altitude_m", "pressure_pa", "humidity", "tail_mps", "cross_mps")
    values = {name: getattr(air, name) for name in names}
    chosen = {name: value[can] if isinstance(value, np.ndarray) else value for name, value in values.items()}
    return Air(**chosen, profile=air.profile)
