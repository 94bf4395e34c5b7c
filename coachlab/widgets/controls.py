"""What the ball-flight page offers to move: each control with its words, units and ends, and where it starts."""

from collections.abc import Mapping
from dataclasses import asdict, replace
from math import asin, degrees, radians, sin

from coachlab.academy.assumptions import Assumptions
from coachlab.errors import DataError
from coachlab.physics.air import Air
from coachlab.physics.arc import ARCS, arc_azimuth, path_from_arc
from coachlab.physics.impact import Delivery
from coachlab.physics.shot import FLIGHT, LAUNCH, Shot, shot_of
from coachlab.physics.tables import physics_tables
from coachlab.schema import CLUBS, show_club
from coachlab.units import FOOT_M, MPH_MPS, shown

SYSTEMS = ("yards", "metres")
OFFERED_CLUBS = ("driver", "iron-7", "wedge-pw")
"""One club of each kind of head: for these the usual delivery of a mid-handicap adult is assumed somewhere."""

GROUPS = {"swing": "How the head swings", "face": "How the face meets the ball", "air": "Wind and air"}

LIMITS: Mapping[str, object] = {
    "club_speed_mps": 80,
    "attack_up_deg": 45,
    "path_out_deg": 60,
    "face_open_deg": 60,
    "apart_deg": 60,
    "delivered_loft_deg": 85,
    "strike_toe_mm": 60,
    "strike_high_mm": 40,
    "air": {"temperature_c": (-60, 60), "altitude_m": (-500, 9000), "tail_mps": (-40, 40), "cross_mps": (-40, 40)},
}
"""Beyond these a delivery or an air is refused: the rules of `check_delivery` and `Air`, which a test compares."""

WORDS: Mapping[str, str] = {
    "Attack": "how steeply the head is moving as it meets the ball; up is plus.",
    "Low point": "where the arc of the head is lowest; ahead of the ball is plus. On a given arc it goes with attack.",
    "Path": "where the head is moving, seen from above; right of the target is plus.",
    "Face": "where the face points; right of the target is plus. Open to the path means further right than the path.",
    "Delivered loft": "how far up the face points as it meets the ball, not the number stamped on the club.",
    "Strike across, up": "where on the face the ball is met, from the point in front of the head's centre of mass.",
    "Arc": "the way of the head near the ball, in a leaning plane. Where that plane points is where the arc points.",
    "Spin axis": "what the ball turns about. Level makes it rise only; leaning right makes it curve right.",
    "Wind": "given at 10 m (33 ft) above the ground; a tail wind is plus, against you is minus.",
}
"""The page's words for somebody who never met them."""

NOTE = (
    "A model's answer, no measurement: typical heads, one kind of ball, level ground, seen for a right-hander (a "
    "left-hander reads it in a mirror). The range goes over four published models of how a ball flies and three grips "
    "of the face; the carry of wedges is good to about 4 %. The starting numbers are assumed for a mid-handicap adult."
)

_DELIVERY = (
    "club_speed_mps", "attack_up_deg", "path_out_deg", "face_open_deg", "delivered_loft_deg", "strike_toe_mm",
    "strike_high_mm",
)  # fmt: skip
_AIR = ("tail_mps", "cross_mps", "profile", "temperature_c", "altitude_m")


def control_list() -> list[dict[str, object]]:
    """Return the controls in the order of the page.

    Each has ``name``, ``label``, ``group`` and either ``options`` (value, words) or, for each system of units,
    ``shown``: unit, factor from our own unit, digits, the slider's ends, its smallest step and that of an arrow key.
    ``words`` are said for values above and below zero, ``plus`` stands beside the label.
    """
    mph, kmh = ("mph", 1 / MPH_MPS), ("m/s", 1.0)
    degree, mm = ("°", 1.0), ("mm", 1.0)
    clubs = [(club, show_club(club)) for club in OFFERED_CLUBS]
    winds = [("uniform", "even with height"), ("log", "weaker low down")]
    updown, sides = ("up", "down"), ("right", "left")
    return [
        {"name": "club", "label": "Club", "group": "swing", "options": clubs},
        _number("club_speed_mps", "Head speed", "swing", ends(mph, 20, 130, 0.5, 1), ends(kmh, 9, 58, 0.2, 0.5)),
        _number("attack_up_deg", "Attack", "swing", ends(degree, -12, 12, 0.1, 0.5), words=updown, plus="up"),
        _number(
            "arc_bottom_fwd_mm",
            "Low point",
            "swing",
            ends(("cm", 0.1), -40, 40, 0.5, 1),
            words=("ahead of the ball", "behind the ball"),
            plus="ahead",
        ),
        _number("path_out_deg", "Path", "swing", ends(degree, -20, 20, 0.1, 0.5), words=sides, plus="right"),
        _number("face_open_deg", "Face", "face", ends(degree, -20, 20, 0.1, 0.5), words=sides, plus="right"),
        _number("delivered_loft_deg", "Delivered loft", "face", ends(degree, 0, 65, 0.1, 0.5)),
        _number(
            "strike_toe_mm",
            "Strike across",
            "face",
            ends(mm, -40, 40, 1, 1, 0),
            words=("towards the toe", "towards the heel"),
            plus="toe",
        ),
        _number("strike_high_mm", "Strike up", "face", ends(mm, -25, 25, 1, 1, 0), words=("high", "low"), plus="high"),
        _number(
            "tail_mps",
            "Tail wind",
            "air",
            ends(mph, -30, 30, 1, 1, 0),
            ends(kmh, -14, 14, 0.5, 0.5),
            words=("helping", "against"),
        ),
        _number(
            "cross_mps",
            "Cross wind",
            "air",
            ends(mph, -30, 30, 1, 1, 0),
            ends(kmh, -14, 14, 0.5, 0.5),
            words=("to the right", "to the left"),
            plus="right",
        ),
        {"name": "profile", "label": "Wind is", "group": "air", "options": winds},
        _number("temperature_c", "Temperature", "air", ends(("°C", 1.0), -10, 45, 1, 1, 0)),
        _number(
            "altitude_m",
            "Altitude",
            "air",
            ends(("ft", 1 / FOOT_M), 0, 10_000, 100, 250, 0),
            ends(("m", 1.0), 0, 3_000, 25, 50, 0),
        ),
    ]


def ends(
    unit: tuple[str, float], low: float, high: float, step: float, key: float, digits: int = 1
) -> dict[str, object]:
    """Return how a control is shown in one system: ends and steps stand in the unit that is shown."""
    name, factor = unit
    return {"unit": name, "factor": factor, "digits": digits, "low": low, "high": high, "step": step, "key": key}


def page_numbers() -> dict[str, object]:
    """Return everything that the page computes and labels with, as a dict that JSON can hold."""
    clubs = {club: {"head": CLUBS[club], "usual": _usual(club)} for club in OFFERED_CLUBS}
    outcomes = {
        system: {
            # a tenth of a yard would say more than the model knows
            name: asdict(
                replace(shown(name, system), digits=0) if name.endswith(("_m", "_mps")) else shown(name, system)
            )
            for name in (*FLIGHT, *LAUNCH)
        }
        for system in SYSTEMS
    }
    return physics_tables() | {
        "clubs": clubs,
        "controls": control_list(),
        "groups": [{"name": name, "label": label} for name, label in GROUPS.items()],
        "limits": LIMITS,
        "shown": outcomes,
        "start": start(),
        "words": WORDS,
        "note": NOTE,
    }


def start() -> dict[str, object]:
    """Return where the controls begin: a driver as a mid-handicap adult swings it, path and face at the target."""
    usual, air = _usual("driver"), Air()
    return {
        "club": "driver",
        "club_speed_mps": usual["club_speed_mps"],
        "attack_up_deg": usual["attack_up_deg"],
        "path_out_deg": 0.0,
        "face_open_deg": 0.0,
        "delivered_loft_deg": usual["delivered_loft_deg"],
        "strike_toe_mm": 0.0,
        "strike_high_mm": 0.0,
    } | {name: getattr(air, name) for name in _AIR}


def placed(present: Mapping[str, object], given: Mapping[str, object]) -> dict[str, object]:
    """Return controls with some of them put exactly where they are given; a low point becomes the attack it makes.

    Examples
    --------
    >>> round(placed(start(), {"arc_bottom_fwd_mm": 57.0})["attack_up_deg"], 1)
    -1.5
    """
    new = {**present, **given}
    low = new.pop("arc_bottom_fwd_mm", None)
    if low is not None and "attack_up_deg" not in given:
        arc = ARCS[CLUBS[str(new["club"])]]
        share = -float(low) / 1000 / arc.radius_m * sin(radians(arc.incline_deg))  # type: ignore[arg-type]
        # beyond a quarter turn no arc goes: the number only goes on, to be refused where it is flown, as on the page
        new["attack_up_deg"] = degrees(asin(share)) if abs(share) <= 1 else 90 * share
    return new


def moved(present: Mapping[str, object], given: Mapping[str, object]) -> dict[str, object]:
    """Return controls after some were moved, as the page moves them.

    A club brings its usual swing, and attack takes the path along the arc unless that is held; what is given stands as
    it is given.

    Examples
    --------
    >>> round(moved(start(), {"attack_up_deg": 1.5})["path_out_deg"], 1)
    -2.8
    """
    club = str(given.get("club", present["club"]))
    brought = {**present, **(_usual(club) if club != present["club"] else {})}
    new = placed(brought, given)
    attacks = [float(each["attack_up_deg"]) for each in (brought, new)]  # type: ignore[arg-type]
    incline = ARCS[CLUBS[club]].incline_deg
    on_arc = all(abs(attack) < incline for attack in attacks)
    if attacks[0] != attacks[1] and on_arc and "path_out_deg" not in given and not new.get("hold_path"):
        azimuth = arc_azimuth(float(new["path_out_deg"]), attacks[0], incline)  # type: ignore[arg-type]
        new["path_out_deg"] = float(path_from_arc(azimuth, attacks[1], incline))
    return new


def checked(controls: Mapping[str, object]) -> dict[str, object]:
    """Return controls as they were given, after a look at names and kinds; what cannot be struck the page tells.

    Raises
    ------
    DataError
        If there is no control of a name, or a value is no number, no club, no profile, or no truth value.
    """
    asked = "Controls of the ball-flight page were set."
    known = {str(control["name"]): control for control in control_list()}
    for name, value in controls.items():
        if name == "hold_path":
            good, wanted = isinstance(value, bool), "True or False"
        elif name not in known:
            raise DataError(asked, f"There is no control {name!r}.", f"Use {', '.join(known)}, hold_path.", column=name)
        elif options := known[name].get("options"):
            choices = [key for key, _ in options]  # type: ignore[attr-defined]
            good, wanted = value in choices, f"one of {', '.join(choices)}"
        else:
            good, wanted = isinstance(value, (int, float)) and not isinstance(value, bool), "a number"
        if not good:
            raise DataError(asked, f"{name} is {value!r}.", f"Give {wanted}.", column=name)
    return dict(controls)


def shot_at(controls: Mapping[str, object]) -> Shot:
    """Return the shot that the page shows for these controls, computed in Python.

    Raises
    ------
    FlightError
        If the controls make no shot that can be.
    """
    given = start() | {
        name: value for name, value in controls.items() if name not in ("hold_path", "arc_bottom_fwd_mm")
    }
    delivery = Delivery(**{name: given[name] for name in _DELIVERY})  # type: ignore[arg-type]
    air = Air(**{name: given[name] for name in _AIR})  # type: ignore[arg-type]
    return shot_of(delivery, CLUBS[str(given["club"])], air)


def _usual(club: str) -> dict[str, float]:
    """Return the swing that a club brings, as a mid-handicap adult makes it."""
    mine = Assumptions().heads[CLUBS[club]]
    return {
        "club_speed_mps": float(mine.speed_men),
        "attack_up_deg": mine.attack,
        "delivered_loft_deg": mine.loft,
    }


def _number(
    name: str,
    label: str,
    group: str,
    yards: dict[str, object],
    metres: dict[str, object] | None = None,
    words: tuple[str, str] | None = None,
    plus: str = "",
) -> dict[str, object]:
    by_system = {"yards": yards, "metres": metres or yards}
    return {"name": name, "label": label, "group": group, "shown": by_system, "words": words, "plus": plus}
