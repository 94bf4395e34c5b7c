"""Exercises on where the ball is met on the face: start and curve, speed, height and spin."""

import numpy as np

from coachlab.drills.pick import head_speed, one_of, pick, sign
from coachlab.drills.value import Asked, Case, Exercise, Option, Slip
from coachlab.drills.words import RIGHT_LEFT, far, given, percent, sided, strike_place
from coachlab.drills.worlds import PLAIN, Controls, Worlds, flown, started, states, usual
from coachlab.schema import show_club
from coachlab.units import Shown, shown

_SEEN = ("flight", "before", "numbers", "why")
_START_DEG, _CURVE_M = 1.0, 1.5
"""From where on a start is off to the side, and a curve is one."""


def _shot(case: Case, **changes: float) -> Controls:
    return usual(str(case.get("club", "driver")), club_speed_mps=case["club_speed_mps"], **changes)


# Which way does it start and curve? -----------------------------------------------------------------------------------


def _draw_gear(rng: np.random.Generator) -> Case:
    return {"club_speed_mps": head_speed(rng, "driver"), "strike_toe_mm": sign(rng) * pick(rng, 14, 20, 1)}


def _solve_gear(case: Case, worlds: Worlds) -> np.ndarray:
    shots = flown([_shot(case, strike_toe_mm=float(case["strike_toe_mm"]))], worlds)
    start, curve = shots["launch_out_deg"][0], shots["curve_m"][0]
    rows = []
    for side, bend in ((1, -1), (-1, 1), (1, 1), (-1, -1)):
        rows.append(
            states(
                (side * start > _START_DEG) & (bend * curve > _CURVE_M),
                (side * start < -_START_DEG) | (bend * curve < -_CURVE_M),
            )
        )
    off = (np.abs(start) > _START_DEG) & (np.abs(curve) > _CURVE_M)
    rows.append(states((np.abs(start) < 0.3) & (np.abs(curve) < 0.5), off))
    return np.array(rows)


def _ask_gear(case: Case, found: np.ndarray, units: str) -> Asked:
    toe = float(case["strike_toe_mm"])
    shot = _shot(case, strike_toe_mm=toe)
    ball = flown([shot], PLAIN)
    start, curve = float(ball["launch_out_deg"][0, 0]), float(ball["curve_m"][0, 0])
    straight = "Off the centre the face is rounded and the head twists: neither start nor spin stay."
    start_told = "The rounded face starts the ball to the side on which it was struck."
    curve_told = (
        "As the head twists it turns the ball the other way round, like one cog turning another, so it curves back."
    )
    both = f"{start_told} {curve_told}"
    right = toe > 0
    return Asked(
        f"Path and face of this driver both point straight at the target, and the ball is met {strike_place(shot)}. "
        "How does it fly?",
        given(shot, units),
        f"It starts {sided(start)} and curves about {far(curve, units)} to the {RIGHT_LEFT[int(curve < 0)]}. {both}",
        "On the page move the strike across the face and watch start and curve work against each other.",
        shot,
        shot,
        _SEEN,
        (
            Option("It starts right and curves left", both, "gear"),
            Option("It starts left and curves right", both, "gear"),
            Option("It starts right and curves right", curve_told if right else both, "gear"),
            Option("It starts left and curves left", both if right else curve_told, "gear"),
            Option("It flies straight", straight, "gear"),
        ),
    )


# How much shorter? ----------------------------------------------------------------------------------------------------


def _draw_short(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7"))
    toe = sign(rng) * (pick(rng, 18, 24, 1) if club == "driver" else pick(rng, 15, 20, 1))
    return {"club": club, "club_speed_mps": head_speed(rng, club), "strike_toe_mm": toe}


def _solve_short(case: Case, worlds: Worlds) -> np.ndarray:
    carry = flown([_shot(case), _shot(case, strike_toe_mm=float(case["strike_toe_mm"]))], worlds)["carry_m"]
    return carry[0] - carry[1]


def _ask_short(case: Case, found: np.ndarray, units: str) -> Asked:
    before, after = _shot(case), _shot(case, strike_toe_mm=float(case["strike_toe_mm"]))
    ball = flown([before, after], PLAIN)
    carry, speeds = ball["carry_m"][:, 0], ball["ball_speed_mps"][:, 0]
    unit = shown("carry_m", units)
    return Asked(
        f"In the centre this {show_club(str(case['club']))} carries {far(float(carry[0]), units)}. Now it is struck "
        f"{strike_place(after)}, with everything else alike. How much carry is lost?",
        given(before, units),
        f"The head turns away under the blow, so the ball leaves {percent(1 - speeds[1] / speeds[0])} more slowly and "
        f"carries {far(float(found[0]), units)} less.",
        "On the page move the strike across the face: near the centre hardly anything is lost, further out more and "
        "more.",
        after,
        before,
        _SEEN,
        slips=(
            Slip(0.0, "Off the centre the head turns, and some of the speed is lost in that turn."),
            Slip(
                max(0.25 * float(carry[0]), 25.0), "It is not that bad: most of the head still stands behind the ball."
            ),
        ),
        measure=Shown(unit.unit, unit.factor, 0),
        slack=3.5,
        widest=5.0,
    )


# Where on the face? ---------------------------------------------------------------------------------------------------

_PLACES = ("High on the face", "Low on the face", "Towards the toe", "Towards the heel")


def _draw_high(rng: np.random.Generator) -> Case:
    return {"club_speed_mps": head_speed(rng, "driver"), "strike_high_mm": sign(rng) * pick(rng, 8, 14, 1)}


def _four(case: Case) -> list[Controls]:
    off = abs(float(case["strike_high_mm"]))
    places = ({"strike_high_mm": off}, {"strike_high_mm": -off}, {"strike_toe_mm": off}, {"strike_toe_mm": -off})
    return [_shot(case), *(_shot(case, **place) for place in places)]


def _solve_high(case: Case, worlds: Worlds) -> np.ndarray:
    ball = started(_four(case), worlds)
    side = np.sign(float(case["strike_high_mm"]))
    up = side * (ball["launch_up_deg"][1:] - ball["launch_up_deg"][:1])
    spin = side * (ball["spin_rpm"][1:] - ball["spin_rpm"][:1])
    return states((up > 1.0) & (spin < -200), (up < 0.5) | (spin > -60))


def _ask_high(case: Case, found: np.ndarray, units: str) -> Asked:
    shots, high = _four(case), float(case["strike_high_mm"])
    right = 0 if high > 0 else 1
    ball = started(shots, PLAIN)
    up = float(ball["launch_up_deg"][right + 1, 0] - ball["launch_up_deg"][0, 0])
    spin = float(ball["spin_rpm"][right + 1, 0] - ball["spin_rpm"][0, 0])
    said = f"{abs(up):.1f}° {'higher' if up > 0 else 'lower'}, with {abs(spin):,.0f} turns a minute {_more(spin)} spin"
    other = "Across the face the start goes to the side, and its height hardly changes."
    words = ["The other end of the face: high means higher with less spin, low means lower with more."] * 2 + [
        other
    ] * 2
    links = ("strike-height", "strike-height", "gear", "gear")
    return Asked(
        f"Same swing, same driver: one ball starts {said} than a centred one. Where was it struck?",
        given(shots[0], units, ("strike",)),
        "The face is rounded from sole to crown, so higher up it points higher; and as the head tips back it takes "
        "spin off the ball. Low on the face both go the other way.",
        "On the page move the strike up and down the face, and read start and spin in the table.",
        shots[right + 1],
        shots[0],
        ("before",),
        tuple(
            Option(place, word, link, each)
            for place, word, link, each in zip(_PLACES, words, links, shots[1:], strict=True)
        ),
    )


# What mends a ball that is struck off the centre? ---------------------------------------------------------------------


def _draw_mend(rng: np.random.Generator) -> Case:
    return {"club_speed_mps": head_speed(rng, "driver"), "strike_toe_mm": sign(rng) * pick(rng, 16, 20, 1)}


def _mends(case: Case) -> list[Controls]:
    toe = float(case["strike_toe_mm"])
    side = float(np.sign(toe))
    return [
        _shot(case),
        _shot(case, strike_toe_mm=toe, face_open_deg=-4.0 * side),
        _shot(case, strike_toe_mm=toe, face_open_deg=3.0 * side),
        _shot(case, strike_toe_mm=toe, path_out_deg=-4.0 * side),
        _shot(case, strike_toe_mm=toe, path_out_deg=4.0 * side),
    ]


def _solve_mend(case: Case, worlds: Worlds) -> np.ndarray:
    shots = flown(_mends(case), worlds)
    start, curve = np.abs(shots["launch_out_deg"]), np.abs(shots["curve_m"])
    return states((start < 0.5) & (curve < 1.0), (start > _START_DEG) | (curve > 3.0))


def _ask_mend(case: Case, found: np.ndarray, units: str) -> Asked:
    toe, after = float(case["strike_toe_mm"]), _mends(case)
    side, other = RIGHT_LEFT[int(toe < 0)], RIGHT_LEFT[int(toe > 0)]
    before = _shot(case, strike_toe_mm=toe)
    ball = flown([before, *after], PLAIN)
    starts, curves = ball["launch_out_deg"][:, 0], ball["curve_m"][:, 0]
    told = [
        f"Then it starts {sided(float(start))} and curves {far(float(bend), units)} to the {RIGHT_LEFT[int(bend < 0)]}."
        for start, bend in zip(starts[1:], curves[1:], strict=True)
    ]
    texts = (
        "Meet the ball in the centre again",
        f"Turn the face 4° to the {other}",
        f"Turn the face 3° to the {side}",
        f"Turn the path 4° to the {other}",
        f"Turn the path 4° to the {side}",
    )
    return Asked(
        f"A drive starts {sided(float(starts[0]))} and curves about {far(float(curves[0]), units)} to the "
        f"{RIGHT_LEFT[int(curves[0] < 0)]}. Path and face were measured: both straight at the target. Which one change "
        "makes it start at the target and fly straight?",
        given(before, units, ("strike",)),
        f"With path and face straight only the place on the face is left: the ball was met {strike_place(before)}. "
        "Turning face or path covers one fault with another.",
        "On the page try each of these; the strike in the centre is the only one that mends start and curve together.",
        after[0],
        before,
        ("flight", "before", "numbers", "why", "impact", "arc"),  # the controls would show the strike
        tuple(Option(text, tell, "gear", each) for text, tell, each in zip(texts, told, after, strict=True)),
        shuffled=True,
    )


def _more(value: float) -> str:
    return "more" if value > 0 else "less"


EXERCISES = (
    Exercise("strike-1", "forward", "gear", "Toe or heel", _draw_gear, _solve_gear, _ask_gear),
    Exercise("strike-2", "forward", "off-centre", "What off the centre costs", _draw_short, _solve_short, _ask_short),
    Exercise("strike-3", "backward", "strike-height", "Where was it struck?", _draw_high, _solve_high, _ask_high),
    Exercise("strike-4", "mend", "gear", "Straight again", _draw_mend, _solve_mend, _ask_mend),
)
